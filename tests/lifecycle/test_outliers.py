import numpy as np
import pytest

from lifecycle.outliers import gate
from lifecycle.pathfilter import arrange
from lifecycle.wear import fit_fleet
from lifecycle.wear_fit import fit_wear
from tests.lifecycle.wear_fleet import Brake, paths, runs_of

RUNS = 40
ONES = np.ones((RUNS, 1))


@pytest.fixture
def clean():
    x, w = paths(np.random.default_rng(1), RUNS, 10)
    return x, w, fit_wear(x, w, design=ONES)


def brakes(x, w):
    return [Brake(tuple(a), tuple(b)) for a, b in zip(x, w, strict=True)]


def test_a_reading_five_deviations_off_is_kept_out_and_its_neighbours_are_not(clean):
    x, w, fit = clean
    w[3, 4] += 6.0
    judged = gate(fit, arrange(x, w), ONES)
    assert np.argwhere(judged.gated).tolist() == [[4, 3]]
    assert not judged.reopened.any()
    assert judged.away[4, 3] > 4


def test_readings_within_four_deviations_all_stay(clean):
    x, w, fit = clean
    assert not gate(fit, arrange(x, w), ONES).gated.any()


def test_without_the_gate_a_slip_spoils_the_variances(clean):
    """Guard taken away: with the gate at infinity the slip goes into the fit."""
    x, w, fit = clean
    w[3, 4] = 480.0
    spoiled = fit_wear(x, w, design=ONES)
    saved = fit_fleet(runs_of(brakes(x, w))).types[0]
    assert spoiled.measurement_sd > 10 * fit.measurement_sd
    assert saved.measurement_sd == pytest.approx(fit.measurement_sd, rel=0.3)
    assert saved.path_sd == pytest.approx(fit.path_sd, rel=0.3)


@pytest.mark.parametrize("share", [0.02, 0.10])
def test_slips_of_many_kinds_leave_the_fit_where_it_was(share):
    rng = np.random.default_rng(2)
    x, w = paths(rng, 60, 12)
    right = fit_fleet(runs_of(brakes(x, w))).types[0]
    wrong = w.copy()
    slips = rng.random(w.shape) < share
    wrong[slips] = rng.choice([25.4, 1 / 25.4, 10.0, -1.0], slips.sum()) * w[slips] + rng.normal(
        0, 5, slips.sum()
    )
    fit = fit_fleet(runs_of(brakes(x, wrong)))
    one = fit.types[0]
    assert one.rate_mm_per_landing == pytest.approx(right.rate_mm_per_landing, rel=0.03)
    assert one.rate_sd == pytest.approx(right.rate_sd, rel=0.35)
    assert one.path_sd == pytest.approx(right.path_sd, rel=0.35)
    assert fit.posterior["gated"].sum() >= 0.7 * slips.sum()


def test_brakes_of_widely_different_rates_are_no_slips():
    """Rates that differ by more than is believed of a type: nothing is kept out, and the scatter is what it is."""
    rng = np.random.default_rng(4)
    x, w = paths(rng, 40, 10, rate=rng.permutation(np.linspace(0.01, 0.11, 40)), rate_sd=0.0)
    fit = fit_fleet(runs_of(brakes(x, w)))
    assert fit.posterior["gated"].sum() <= 1
    assert fit.types[0].rate_sd == pytest.approx(np.linspace(0.01, 0.11, 40).std(), rel=0.2)


def test_two_in_a_row_on_the_same_side_take_the_level_anew(clean):
    x, w, fit = clean
    w[3, 5:] -= 8.0
    judged = gate(fit, arrange(x, w), ONES)
    assert np.argwhere(judged.gated).tolist() == [[5, 3]]
    assert np.argwhere(judged.reopened).tolist() == [[6, 3]]
    assert judged.readings.restart[6, 3]


def test_two_in_a_row_on_opposite_sides_are_two_slips(clean):
    x, w, fit = clean
    w[3, 5] -= 8.0
    w[3, 6] += 8.0
    judged = gate(fit, arrange(x, w), ONES)
    assert np.argwhere(judged.gated).tolist() == [[5, 3], [6, 3]]
    assert not judged.reopened.any()


def test_a_gated_reading_stays_in_view_with_its_record(clean):
    x, w, _ = clean
    w[3, 9] += 9.0
    fit = fit_fleet(runs_of(brakes(x, w)))
    row = fit.gated.iloc[0]
    assert (row["run"], row["record"], row["wear_mm"]) == (3, 3009, w[3, 9])
    assert not row["reopened"]
    assert fit.posterior.loc[3, "readings"] == 9
    assert fit.posterior.loc[3, "gated"] == 1
    assert fit.posterior.loc[3, "landings_at"] == x[3, 8]
    assert "kept out" in fit.posterior.loc[3, "warnings"][0]
