"""How often the unseen rest of life falls into the 80 % interval, on invented fleets whose law is the model's."""

import numpy as np
import pandas as pd
import pytest

from lifecycle.installed import law_of
from lifecycle.posterior import posterior
from lifecycle.wear import fit_fleet
from lifecycle.wear_fit import WearFit, fit_wear
from tests.lifecycle.wear_fleet import Brake, runs_of

LIMIT_MM = 40.0
RATE, RATE_SD, PATH_SD, MEASUREMENT_SD = 0.03, 0.0036, 0.05, 0.2
LEVELS = np.arange(1, 40) / 40


def half_worn(rng, runs):
    """Readings up to a random part of life, and the landings from the last reading to the limit, drawn exactly."""
    x = np.cumsum(rng.integers(30, 150, (runs, 14)), axis=1).astype(float)
    rate = rng.normal(RATE, RATE_SD, runs)
    path = np.cumsum(rng.normal(size=x.shape) * np.sqrt(np.diff(x, axis=1, prepend=0.0)), axis=1)
    worn = rate[:, None] * x + PATH_SD * path
    last = np.minimum(rng.integers(1, 14, runs), (worn < 0.9 * LIMIT_MM).sum(axis=1) - 1)
    w = worn + rng.normal(0.0, MEASUREMENT_SD, x.shape)
    seen = np.arange(14) <= last[:, None]
    left = LIMIT_MM - worn[np.arange(runs), last]
    life = rng.wald(left / rate, (left / PATH_SD) ** 2)
    return np.where(seen, x, np.nan), np.where(seen, w, np.nan), life


def law(state, path_sd, measurement_sd, dof):
    frame = pd.DataFrame({"limit_wear_mm": np.full(state.rate.size, LIMIT_MM), "flown": 0.0})
    columns = {
        "rate_mm": state.rate,
        "rate_var": state.rate_var,
        "wear_mm": state.wear_mm,
        "gap": state.gap,
        "filter_p": state.filter_p,
        "path_sd": path_sd,
        "measurement_sd": measurement_sd,
        "dof": dof,
    }
    return law_of(frame, pd.DataFrame(columns))


def covered(one, life):
    return (life >= one.landings(0.1)) & (life <= one.landings(0.9))


def crps(one, life):
    """Mean pinball loss over levels, twice, as the continuous ranked probability score."""
    away = [life - np.minimum(one.landings(level), 1e5) for level in LEVELS]
    return 2 * np.mean(
        [np.maximum(level * d, (level - 1) * d) for level, d in zip(LEVELS, away, strict=True)]
    )


def the_truth(x, w):
    """Posterior under the true parameters: the limit of what can be known."""
    fit = WearFit(
        rate=np.array([RATE]),
        covariance=np.zeros((2, 2)),
        rate_sd=RATE_SD,
        path_sd=PATH_SD,
        measurement_sd=MEASUREMENT_SD,
        start_mm=0.0,
        start_sd=0.0,
        start_correlation=0.0,
        has_start=False,
        criterion=0.0,
        degrees=0.0,
        runs=0,
        readings=0,
        columns_kept=np.ones(1, dtype=bool),
    )
    return law(posterior(fit, x, w, design=np.ones((len(x), 1))), PATH_SD, MEASUREMENT_SD, np.inf)


def from_fleet(x, w):
    brakes = [Brake(tuple(a[np.isfinite(a)]), tuple(b[np.isfinite(a)])) for a, b in zip(x, w, strict=True)]
    post = fit_fleet(runs_of(brakes)).posterior
    return law_of(pd.DataFrame({"limit_wear_mm": np.full(len(x), LIMIT_MM), "flown": 0.0}), post)


def study(runs, fleets, seed):
    """Coverage and CRPS over its limit, pooled over fleets."""
    rng = np.random.default_rng(seed)
    hits, ours, best = [], [], []
    for _ in range(fleets):
        x, w, life = half_worn(rng, runs)
        one = from_fleet(x, w)
        hits.append(covered(one, life))
        ours.append(crps(one, life))
        best.append(crps(the_truth(x, w), life))
    outcomes, ratio = np.concatenate(hits), np.mean(ours) / np.mean(best)
    shown = f"coverage {outcomes.mean():.3f}, CRPS ratio {ratio:.3f}"
    print(f"{runs} runs x {fleets} fleets, seed {seed}: {shown}")  # noqa: T201 (the figures are the point)
    return outcomes.mean(), ratio


def test_intervals_cover_what_they_say():
    coverage, ratio = study(400, 5, 20261125)
    assert 0.77 < coverage < 0.83
    assert ratio < 1.03


def test_without_path_noise_the_intervals_are_far_too_narrow():
    x, w, life = half_worn(np.random.default_rng(20261126), 400)
    fit = fit_wear(x, w, design=np.ones((400, 1)), path_noise=False)
    state = posterior(fit, x, w, design=np.ones((400, 1)))
    assert covered(law(state, fit.path_sd, fit.measurement_sd, np.inf), life).mean() < 0.6


@pytest.mark.long
@pytest.mark.parametrize(
    ("runs", "fleets", "most"), [(8, 1250, 1.10), (20, 500, 1.05), (80, 125, 1.03), (400, 25, 1.03)]
)
def test_intervals_cover_what_they_say_over_ten_thousand_outcomes(runs, fleets, most):
    coverage, ratio = study(runs, fleets, 20261127)
    assert 0.78 <= coverage <= 0.82
    assert ratio <= most
