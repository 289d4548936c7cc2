"""
How fast the wear fit is, printed: `python tests/benchmarks/bench_wear.py`.

A fit of 240,000 runs of 12 readings from arrays, the posterior of all of them; the refit of a fleet of 30 brake types
from frames, at a tenth and whole, with its growth; one brake's new reading from that fit, with its target of 5 ms (exit
1 where it is missed); and the plain mixed model at 2,000 runs beside the reference library's. `--runs 24000` for a
tenth of it.
"""
# ruff: noqa: T201 (what it prints is what it is for)

import argparse
import sys
import time
import warnings
from pathlib import Path

import numpy as np
import pandas as pd
import statsmodels.api as sm

sys.path[:0] = [str(Path(__file__).parents[2]), str(Path(__file__).parents[1] / "lifecycle")]

from wear_fleet import paths  # noqa: E402 the paths above come first

from lifecycle.exposure import Runs  # noqa: E402 the same
from lifecycle.posterior import posterior  # noqa: E402 the same
from lifecycle.wear import fit_fleet, refresh  # noqa: E402 the same
from lifecycle.wear_fit import fit_wear  # noqa: E402 the same

TYPES = 30
REFRESH_MS = 5.0  # of processor, at 240,000 brakes


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


def fleet_of(runs):
    """Invented: brakes of 30 types at 8 bases in two position groups, 12 readings each."""
    x, w = paths(np.random.default_rng(3), runs, 12)
    run = np.arange(runs)
    names = np.array([f"BT-{number:02d}" for number in range(TYPES)])
    frame = pd.DataFrame(
        {
            "brake": run,
            "serial": run.astype(str),
            "brake_type": pd.Series(names[run % TYPES], dtype="str"),
            "run": 1,
            "known_start": True,
            "start_mm": 50.0,
            "landings": x[:, -1],
            "limit_mm": 10.0,
            "position_group": pd.Series(np.array(["in", "out"])[run // TYPES % 2], dtype="str"),
            "base": pd.Series(np.array(list("ABCDEFGH"))[run // TYPES // 2 % 8], dtype="str"),
            "fitted": True,
        }
    )
    spans = frame[["position_group", "base"]].assign(run=run, landings_from=0.0, landings_to=x[:, -1])
    readings = pd.DataFrame(
        {
            "run": np.repeat(run, 12),
            "record": np.arange(x.size),
            "landings": x.ravel(),
            "wear_mm": w.ravel(),
            "left_mm": 50.0 - w.ravel(),
            "usable": True,
            "why_not": pd.Series([""] * x.size, dtype="str"),
            "segment": 0,
            "resolution_mm": 0.1,
            "at_or_below": False,
        }
    )
    return Runs(frame, spans, readings)


def whole_refit(runs):
    """All types and runs at a tenth and whole; then one brake with a new reading: True where that is quick."""
    spent = {}
    for count in (runs // 10, runs):
        fleet = fleet_of(count)
        fit, spent[count] = timed(
            f"refit, {count:,} runs of {TYPES} types", lambda fleet=fleet: fit_fleet(fleet)
        )
    growth = spent[runs] / spent[runs // 10]
    print(f"ten times the runs take {growth:.1f} times as long")
    one = Runs(fleet.runs.iloc[[7]], fleet.spans.iloc[[7]], fleet.readings[fleet.readings["run"] == 7])
    each = sorted(_spent(lambda: refresh(fit, one)) for _ in range(50))
    took = 1000 * each[25]
    print(
        f"a new reading's own brake, from the fit of {runs:,}: {took:.2f} ms of processor, middle of 50; "
        f"target {REFRESH_MS:.0f} ms {'met' if took < REFRESH_MS else 'MISSED'}"
    )
    return took < REFRESH_MS


def _spent(work):
    before = time.process_time()
    work()
    return time.process_time() - before


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
    asked = parser.parse_args().runs
    whole_fleet(asked)
    quick = whole_refit(asked)
    beside_the_library(2_000)
    sys.exit(0 if quick else 1)
