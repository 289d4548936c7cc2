"""
The fit of the demo against what is true of it: the rates, scatters and errors of scenario.toml (invented).

The way there is the whole one: files, import, ledger, observation, exposure, fit.
"""

import numpy as np
import pytest
from scipy.stats import norm, t

from lifecycle.exposure import measure_runs
from lifecycle.wear import fit_fleet

ENOUGH_READINGS = 3


@pytest.fixture(scope="module")
def runs(observed, scenario):
    return measure_runs(observed, scenario.last_day)


@pytest.fixture(scope="module")
def fit(runs):
    return fit_fleet(runs)


@pytest.fixture(scope="module")
def types(fit, made):
    """Estimate and truth of every brake type, side by side."""
    truth = made.types.set_index("brake_type")
    assert {found.brake_type for found in fit.types} == set(truth.index)
    return [(found, truth.loc[found.brake_type]) for found in fit.types]


@pytest.fixture(scope="module")
def rates(runs, fit, made):
    """Posterior and truth of every run that was read a few times."""
    posterior = fit.posterior[["rate_mm", "rate_var", "dof", "readings"]]
    both = runs.runs[["serial", "run", "brake_type"]].join(posterior)
    both = both.merge(made.runs.drop(columns="brake_type"), on=["serial", "run"])
    return both[both["readings"] >= ENOUGH_READINGS]


def test_the_rate_of_every_type_is_recovered(types, made):
    for found, true in types:
        half = (found.rate_high - found.rate_low) / 2 * norm.ppf(0.995) / norm.ppf(0.9)
        off = found.rate_mm_per_landing - true["rate_mm_per_landing"]
        assert abs(off) < half, f"{found.brake_type}: off by {off:.6f}, seed {made.seed}"
        assert abs(off) < 0.03 * true["rate_mm_per_landing"]


def test_the_scatter_between_heat_sinks_is_recovered(types):
    for found, true in types:
        assert found.rate_sd == pytest.approx(true["rate_sd"], rel=0.25)


def test_the_path_noise_of_every_type_is_recovered(types):
    for found, true in types:
        assert found.path_sd == pytest.approx(true["path_sd"], rel=0.15)


def test_the_gauge_error_of_every_type_is_recovered_with_the_rounding_on_top(types):
    for found, true in types:
        assert found.measurement_sd == pytest.approx(true["measurement_sd"], rel=0.2)


def test_four_in_five_intervals_hold_the_true_rate_of_their_brake(rates, made):
    half = t.ppf(0.9, rates["dof"]) * np.sqrt(rates["rate_var"])
    inside = (rates["rate_mm"] - rates["rate_mm_per_landing"]).abs() < half
    assert len(inside) > 1000
    assert 0.76 < inside.mean() < 0.84, f"seed {made.seed}"


def test_the_rates_of_single_brakes_are_not_biased(rates):
    ratio = rates["rate_mm"] / rates["rate_mm_per_landing"]
    assert ratio.mean() == pytest.approx(1, abs=0.01)
    assert ratio.groupby(rates["brake_type"]).mean().to_numpy() == pytest.approx(1, abs=0.025)


def test_braked_landings_of_the_runs_are_those_flown(runs, made):
    """Apart from sheets that were lost or have not come in, and landings counted before the log."""
    both = runs.runs.merge(made.runs, on=["serial", "run"], suffixes=("", "_true"))
    since = both[both["started_on"] >= "2022-11-01"]
    off = since["landings"] / since["landings_true"] - 1
    finished = off[since["ended_on"].notna()]
    assert finished.abs().quantile(0.98) < 0.02
    assert off.median() == pytest.approx(0, abs=0.005)


def test_most_slips_are_kept_out_of_the_rate(fit, runs):
    kept_out = runs.readings["why_not"].isin(["held", "refused"]).sum() + len(fit.gated)
    assert 30 < kept_out < 250
