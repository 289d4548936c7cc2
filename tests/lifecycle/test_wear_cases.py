"""Awkward records, each through the whole fit on data made for it; all invented, seeds in the tests."""

from dataclasses import replace

import numpy as np
import pytest

from lifecycle import judged_alone
from lifecycle.wear import fit_fleet, refresh
from tests.lifecycle.wear_fleet import Brake, paths, runs_of


def fleet(seed, runs=12, readings=8, **more):
    x, w = paths(np.random.default_rng(seed), runs, readings, **more)
    return [Brake(tuple(a), tuple(b)) for a, b in zip(x, w, strict=True)]


def with_odd_run():
    """Twenty brakes that hardly differ; the last has one reading, at less than half of the wear that they show."""
    brakes = fleet(3, runs=19, rate_sd=0.002, path_sd=0.04, measurement_sd=0.15)
    return [*brakes, Brake((200.0,), (2.7,), flown=200.0)]


def test_an_odd_run_of_a_small_type_does_not_set_its_own_measure():
    """Its one reading would widen the spread between brakes until it fits; the other runs leave it no room."""
    fit = fit_fleet(runs_of(with_odd_run()))
    assert fit.posterior["gated"].iloc[-1] == 1
    assert "kept out" in fit.posterior["warnings"].iloc[-1][0]
    assert fit.types[0].rate_sd < 0.003
    assert fit.posterior["rate_mm"].iloc[-1] == pytest.approx(fit.types[0].rate_mm_per_landing, rel=1e-6)


def test_without_the_judgement_by_the_others_the_odd_run_stays(monkeypatch):
    """Guard taken away: no reading is odd enough to ask the others."""
    monkeypatch.setattr(judged_alone, "ODD", np.inf)
    fit = fit_fleet(runs_of(with_odd_run()))
    assert fit.posterior["gated"].iloc[-1] == 0
    assert fit.types[0].rate_sd > 0.0033


def test_brakes_that_really_differ_stay_in_though_each_is_judged_by_the_others():
    brakes = fleet(5, runs=20, rate_sd=0.01)
    assert fit_fleet(runs_of(brakes)).posterior["gated"].sum() == 0


def test_copied_readings_of_one_brake_are_flagged_and_nobody_elses():
    brakes = fleet(6)
    same = brakes[4].wear_mm[2]
    brakes[4] = replace(brakes[4], wear_mm=(same,) * 8)
    warnings = fit_fleet(runs_of(brakes)).posterior["warnings"]
    flagged = [any("copied or unread" in said for said in each) for each in warnings]
    assert np.flatnonzero(flagged).tolist() == [4]


def test_equal_readings_without_landings_between_are_no_copies():
    brakes = fleet(6)
    brakes[4] = Brake((300.0, 300.0, 300.0), (9.1, 9.1, 9.1))
    assert fit_fleet(runs_of(brakes)).posterior["warnings"].iloc[4] == ()


def test_two_slips_in_a_row_take_the_level_anew_and_a_person_is_asked():
    brakes = fleet(7, readings=10)
    wear = np.array(brakes[3].wear_mm)
    wear[6:] -= 9.0
    brakes[3] = replace(brakes[3], wear_mm=tuple(wear))
    fit = fit_fleet(runs_of(brakes))
    row = fit.posterior.iloc[3]
    assert any("ask what happened" in said for said in row["warnings"])
    assert fit.gated.loc[fit.gated["run"] == 3, "reopened"].tolist() == [False, True]
    assert row["wear_mm"] == pytest.approx(wear[-1], abs=1.0)
    assert row["rate_mm"] == pytest.approx(0.03, rel=0.35)


def test_an_uncertain_re_shim_keeps_the_rate_and_takes_the_level_anew():
    """The pin is 3 mm off from the fifth reading on: as one segment it would be a slip, as two the rate goes on."""
    brakes = fleet(8, readings=10)
    before = fit_fleet(runs_of(brakes)).posterior.iloc[2]
    moved = tuple(w + 3.0 * (place >= 5) for place, w in enumerate(brakes[2].wear_mm))
    brakes[2] = replace(brakes[2], wear_mm=moved, segment=(0,) * 5 + (1,) * 5)
    after = fit_fleet(runs_of(brakes)).posterior.iloc[2]
    assert after["gated"] == 0
    assert after["rate_mm"] == pytest.approx(before["rate_mm"], rel=0.1)
    assert after["wear_mm"] == pytest.approx(before["wear_mm"] + 3.0, abs=0.3)


def test_a_span_of_known_fault_stays_out_of_the_rate():
    """Wear at three times the rate in an excluded span: with the span out the brake's rate is that of the others."""
    brakes = fleet(9, readings=10)
    x, w = np.array(brakes[1].landings), np.array(brakes[1].wear_mm)
    w = w + 0.06 * (np.clip(x, x[4], x[7]) - x[4])
    why, segment = ("",) * 5 + ("excluded",) * 3 + ("",) * 2, (0,) * 8 + (1,) * 2
    brakes[1] = replace(brakes[1], wear_mm=tuple(w), why_not=why, segment=segment)
    row = fit_fleet(runs_of(brakes)).posterior.iloc[1]
    assert row["rate_mm"] == pytest.approx(0.03, rel=0.3)
    assert row["wear_mm"] == pytest.approx(w[-1], abs=1.0)


@pytest.mark.parametrize(
    ("landings", "wear_mm"),
    [
        ((), ()),
        ((200.0,), (6.0,)),
        ((200.0, 200.0), (6.0, 6.1)),
        ((0.0, 0.0), (0.0, 0.1)),
        ((100.0, 300.0), (0.0, 0.0)),
    ],
    ids=["no reading", "one", "the same landings twice", "no landings", "all zero"],
)
def test_a_run_that_says_little_has_a_finite_answer_near_its_type(landings, wear_mm):
    fit = fit_fleet(runs_of(fleet(10, runs=20)))
    row = refresh(fit, runs_of([Brake(landings, wear_mm)])).iloc[0]
    figures = row[["rate_mm", "rate_var", "wear_mm", "wear_var", "gap", "filter_p"]].to_numpy(float)
    assert np.isfinite(figures).all()
    assert row["rate_var"] > 0
    assert row["kind"] == ("estimated" if landings else "assumed")
    if not landings or max(landings) == 0:
        assert row["rate_mm"] == pytest.approx(fit.types[0].rate_mm_per_landing, rel=1e-9)
