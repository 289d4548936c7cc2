import numpy as np
import pytest

from lifecycle.drag import find_drift
from lifecycle.pathfilter import arrange
from lifecycle.wear import fit_fleet, refresh
from tests.lifecycle.wear_fleet import Brake, paths, runs_of


def slow_cusum(values):
    """The definition, one value after the other: the alarm, and how many readings came before it began."""
    above = below = 0.0
    since = [0, 0]
    for place, z in enumerate(values):
        since = [place if c == 0 else began for c, began in zip((above, below), since, strict=True)]
        if np.isfinite(z):
            above, below = max(0.0, above + z - 0.5), max(0.0, below - z - 0.5)
    return float(above > 4) - float(below > 4), since[int(below > 4)]


def test_alarms_are_those_of_the_definition():
    rng = np.random.default_rng(1)
    away = np.where(rng.random((15, 300)) < 0.1, np.nan, rng.normal(0.3, 1.2, (15, 300)))
    x = np.tile(np.arange(1.0, 16) * 100, (300, 1))
    drift = find_drift(away, arrange(x, 0.03 * x))
    sign, before = np.array([slow_cusum(column) for column in away.T]).T
    assert drift.sign.tolist() == sign.tolist()
    assert drift.since[sign != 0].tolist() == (100 * before[sign != 0]).tolist()
    assert 0 < np.count_nonzero(drift.sign > 0) < np.count_nonzero(drift.sign) < 300


def test_without_drift_one_run_in_twenty_alarms_at_most():
    """Average run length 168 (Montgomery, recalled): an alarm that still stands at the last of 12 readings is rarer."""
    away = np.random.default_rng(2).normal(size=(12, 20_000))
    x = np.tile(np.arange(1.0, 13) * 100, (20_000, 1))
    share = np.mean(find_drift(away, arrange(x, 0.03 * x)).sign != 0)
    assert 0.005 < share < 0.05


@pytest.fixture
def fleet():
    rng = np.random.default_rng(3)
    x, w = paths(rng, 120, 12)
    return x, w, fit_fleet(runs_of([Brake(tuple(a), tuple(b)) for a, b in zip(x, w, strict=True)]))


def test_a_dragging_brake_is_seen_within_four_readings_most_times(fleet):
    """A rate of 1.6 times its own from the eighth reading on, invented."""
    x, w, fit = fleet
    dragging = w + 0.6 * 0.03 * np.maximum(x - x[:, 7:8], 0.0)
    seen = []
    for upto in (9, 10, 11, 12):
        runs = runs_of([Brake(tuple(a[:upto]), tuple(b[:upto])) for a, b in zip(x, dragging, strict=True)])
        said = refresh(fit, runs)["warnings"]
        seen.append(np.mean([any("faster" in one or "off the path" in one for one in each) for each in said]))
    assert seen[-1] > 0.75
    assert (np.diff(seen) > 0).all()


def test_an_alarm_widens_the_rate_and_leaves_wear_now_as_it_was(fleet):
    x, w, fit = fleet
    dragging = w + 0.6 * 0.03 * np.maximum(x - x[:, 7:8], 0.0)
    before = fit.posterior
    after = refresh(fit, runs_of([Brake(tuple(a), tuple(b)) for a, b in zip(x, dragging, strict=True)]))
    alarmed = np.array([any("faster" in one for one in each) for each in after["warnings"]])
    assert alarmed.any()
    assert (after["rate_var"][alarmed] > 2 * before["rate_var"][alarmed]).all()
    wear_var = after["measurement_sd"] ** 2 * after["filter_p"] + after["gap"] ** 2 * after["rate_var"]
    assert wear_var.to_numpy() == pytest.approx(after["wear_var"].to_numpy(), rel=1e-9)
