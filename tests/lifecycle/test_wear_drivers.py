"""Effects of landing kinds on wear: known truth found again, and none found where there is none."""

from dataclasses import replace

import numpy as np
import pytest

from lifecycle.kind_choice import corrected
from lifecycle.kind_pooling import POSSIBLE, KindSeen, pooled_belief, weak_belief
from lifecycle.landing_kinds import AHEAD, COSINE, ENERGY, SINE, TOUCHES
from lifecycle.wear import driven, fit_fleet, prior_rate
from tests.lifecycle.kind_fleet import RATE, counted_fleet, plain

TRUE = {"S": {ENERGY: 1.0, TOUCHES: 0.25}, "C": {COSINE: 0.15}, "N": {}}


@pytest.fixture(scope="module")
def fleet():
    """Invented: steel by energy and circuits, carbon by season, a third by landings alone; seed 20261125."""
    return counted_fleet(np.random.default_rng(20261125), TRUE, runs=45, readings=8)


@pytest.fixture(scope="module")
def fit(fleet):
    return fit_fleet(fleet)


@pytest.fixture(scope="module")
def told(fleet, fit):
    return {one.brake_type: {d.driver + d.level: d for d in one.drivers} for one in driven(fit, fleet)}


def test_effects_put_in_are_found_with_their_intervals(told):
    for brake_type, driver, true in (
        ("S", "landing energy", 1.0),
        ("S", "touch-and-gos", 0.25),
        ("C", "seasonJanuary less July", 0.15),
    ):
        found = told[brake_type][driver]
        error = (found.high - found.low) / 2 / 1.28
        assert abs(found.effect - true) < 3 * error
        assert found.chance > 0.999
        assert found.criterion_gain > 10
        assert found.used
        assert found.effect_used == pytest.approx(found.effect, abs=1.5 * error)


def test_effects_that_are_not_there_are_not_in_the_forecast(told, fit):
    assert fit.models["N"].covariates.kinds == ()
    assert all(not found.used for found in told["N"].values())
    assert all(abs(found.effect) < 3.5 * (found.high - found.low) / 2.56 for found in told["N"].values())
    assert not told["S"]["seasonJanuary less July"].used


@pytest.mark.long
def test_eighty_percent_intervals_of_effects_hold_about_that_often():
    """Twelve fleets of the truth above, 6 effects that are there or not in each: binomial limits at 3 deviations."""
    inside = []
    for seed in range(12):
        runs = counted_fleet(np.random.default_rng(seed), {"S": TRUE["S"]}, runs=30, readings=6)
        for one in driven(fit_fleet(runs), runs)[0].drivers:
            true = TRUE["S"].get(
                {"touch-and-gos": TOUCHES, "landing energy": ENERGY}.get(one.driver, ""), 0.0
            )
            inside.append(one.low <= true <= one.high)
    assert abs(np.mean(inside) - 0.8) < 3 * np.sqrt(0.16 / len(inside))


def test_the_rate_to_come_takes_the_landings_to_come(fleet, fit):
    """A brake that flies no more circuits wears slower by what they cost, one that flies them only, faster."""
    changed = fleet.runs[TOUCHES + AHEAD] * 0.0
    no_more = fit_fleet(replace(fleet, runs=fleet.runs.assign(**{TOUCHES + AHEAD: changed})))
    steel = (fleet.runs["brake_type"] == "S").to_numpy()
    effect = fit.models["S"].fit.rate[1:] @ [
        kind.name == TOUCHES for kind in fit.models["S"].covariates.kinds
    ]
    less = fit.posterior["rate_mm"][steel] - no_more.posterior["rate_mm"][steel]
    assert less.to_numpy() == pytest.approx(effect * fleet.runs[TOUCHES + AHEAD][steel].to_numpy(), abs=1e-6)


def test_a_brake_nobody_read_is_taken_to_land_as_the_type_does_on_average(fit):
    model = fit.models["S"]
    assert prior_rate(fit, "S", "in", "A").rate_mm == pytest.approx(model.fit.rate[0], rel=1e-9)


def test_knowing_the_landings_tells_the_next_reading_better_and_where_they_do_not_matter_no_worse():
    """Last readings held back, 3 types x 60 runs, seed 11: root mean square of the forecast against plain landings."""
    whole = counted_fleet(np.random.default_rng(11), TRUE, runs=60)
    last = ~whole.readings["run"].duplicated(keep="last")
    known = replace(whole, readings=whole.readings[~last].reset_index(drop=True))
    kinds = (TOUCHES, ENERGY, COSINE, SINE)
    missed = {}
    for name, asked in (("kinds", known), ("plain", plain(known))):
        runs = asked
        held, before = whole.readings[last], runs.readings.groupby("run").last()
        ahead = held["landings"].to_numpy() - before["landings"].to_numpy()
        if name == "kinds":
            grown = {kind: (held[kind].to_numpy() - before[kind].to_numpy()) / ahead for kind in kinds}
            runs = replace(runs, runs=runs.runs.assign(**{kind + AHEAD: grown[kind] for kind in kinds}))
        post = fit_fleet(runs).posterior
        told = post["wear_mm"].to_numpy() + post["rate_mm"].to_numpy() * ahead
        error = held["wear_mm"].to_numpy() - told
        missed[name] = {
            one: float(np.sqrt(np.mean(error[whole.runs["brake_type"] == one] ** 2))) for one in TRUE
        }
    assert missed["kinds"]["S"] < missed["plain"]["S"]
    assert missed["kinds"]["C"] < 0.97 * missed["plain"]["C"]
    assert missed["kinds"]["N"] == pytest.approx(missed["plain"]["N"], rel=0.01)


def test_a_weak_type_leans_on_what_two_others_show():
    """Circuits cost 0.25 on two large types; a third with six runs gets near that, alone it gets nothing."""
    circuits = {TOUCHES: 0.25}
    types, small = {"A": circuits, "B": circuits, "W": circuits}, {"W": (6, 4)}
    runs = counted_fleet(np.random.default_rng(5), types, runs=80, sizes=small)
    own = runs.runs["brake_type"] == "W"
    weak = replace(
        runs,
        runs=runs.runs[own],
        spans=runs.spans[own],
        readings=runs.readings[runs.readings["run"].isin(runs.runs.index[own])].reset_index(drop=True),
    )
    alone, model = fit_fleet(weak).models["W"], fit_fleet(runs).models["W"]
    names = [kind.name for kind in model.covariates.kinds]
    assert TOUCHES not in [kind.name for kind in alone.covariates.kinds]
    assert model.fit.rate[1 + names.index(TOUCHES)] / RATE == pytest.approx(0.25, abs=0.12)


def test_a_counter_that_follows_another_is_dropped_and_named(fleet):
    doubled = fleet.readings.assign(**{ENERGY: 2.0 * fleet.readings[TOUCHES]})
    same = replace(fleet, readings=doubled, runs=fleet.runs.assign(**{ENERGY + AHEAD: 0.0}))
    dropped = fit_fleet(same).models["S"].covariates.dropped
    assert "landing energy cannot be told from places or other kinds of landings" in dropped


def test_no_type_shows_anything_and_the_belief_is_the_weak_one():
    assert pooled_belief(TOUCHES, []) == weak_belief(TOUCHES)


def test_many_types_that_agree_leave_little_room_and_those_that_differ_leave_much():
    agree = pooled_belief(TOUCHES, [KindSeen(0.2, 0.01)] * 20)
    differ = pooled_belief(TOUCHES, [KindSeen(0.2 + 0.4 * (-1) ** one, 0.01) for one in range(20)])
    assert agree.mean == pytest.approx(0.2, abs=0.01)
    assert agree.sd < 0.1 < POSSIBLE[TOUCHES] < differ.sd
    assert agree.shown


def test_the_corrected_criterion_is_that_of_a_worked_example():
    """Akaike's correction by hand: k = 4 with variances 7, n = 30, -2 log L 100: 100 + 2 x 7 x 30 / 22."""
    assert corrected(100.0, 4, 30) == pytest.approx(100.0 + 420.0 / 22.0)
    assert corrected(100.0, 4, 8) == float("inf")
