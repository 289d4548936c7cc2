"""
How fast the wear fit is, printed: `python tests/benchmarks/bench_wear.py`.

A fit of 240,000 runs of 12 readings from arrays, the posterior of all of them, and the plain mixed model at 2,000
runs beside the reference library's.
"""
# ruff: noqa: T201 (what it prints is what it is for)

import argparse
import sys
import time
import warnings
from pathlib import Path

import numpy as np
import statsmodels.api as sm

sys.path[:0] = [str(Path(__file__).parents[2]), str(Path(__file__).parents[1] / "lifecycle")]

from wear_fleet import paths  # noqa: E402 the paths above come first

from lifecycle.posterior import posterior  # noqa: E402 the same
from lifecycle.wear_fit import fit_wear  # noqa: E402 the same


def timed(what, work):
    """Do the work and print wall and processor seconds."""
    wall, processor = time.perf_counter(), time.process_time()
    done = work()
    wall, processor = time.perf_counter() - wall, time.process_time() - processor
    print(f"{what:<58} {wall:8.2f} s wall {processor:8.2f} s processor")
    return done, processor


def whole_fleet(runs):
    """The fit and the posterior at full size."""
    x, w = paths(np.random.default_rng(1), runs, 12)
    ones = np.ones((runs, 1))
    fit, _ = timed(f"fit, {runs:,} runs x 12 readings", lambda: fit_wear(x, w, design=ones))
    timed("posterior of all of them", lambda: posterior(fit, x, w, design=ones))
    some = np.arange(runs) % 10 > 0
    timed("fit, a tenth of the starts unknown", lambda: fit_wear(x, w, design=ones, known_start=some))
    print(
        f"rate {fit.rate[0]:.5f}, sd {fit.rate_sd:.5f}, path {fit.path_sd:.4f}, error {fit.measurement_sd:.4f}"
    )


def beside_the_library(runs):
    """The plain mixed model, by both."""
    x, w = paths(np.random.default_rng(2), runs, 12, path_sd=0.0)
    column, group = x.ravel()[:, None], np.repeat(np.arange(runs), 12)
    model = sm.MixedLM(w.ravel(), column, group, exog_re=column)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        theirs, slow = timed(
            f"statsmodels MixedLM, {runs:,} runs",
            lambda: model.fit(reml=True, method="powell", xtol=1e-12, ftol=1e-14),
        )
    ones = np.ones((runs, 1))
    ours, fast = timed("ours, the same model", lambda: fit_wear(x, w, design=ones, path_noise=False))
    apart = abs(ours.rate_sd**2 / theirs.cov_re[0, 0] - 1)
    print(f"{slow / fast:,.0f} times faster; variances of the rate apart by {apart:.1e}")


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=240_000)
    whole_fleet(parser.parse_args().runs)
    beside_the_library(2_000)
