"""
How often the rules for claims are wrong, by simulation, when somebody looks after every aircraft that comes in.

Each aircraft brings eight brakes that share its effect. Truths and spreads are invented.
"""

import sys

import numpy as np
import pytest

from lifecycle.mean_life import mean_life
from lifecycle.sequential import ERROR, OPEN, ZONE, at_any_time, by_zone
from tests.lifecycle.test_claims import LIFE, rates

FIRST_LOOK = 3  # aircraft


def verdicts(rng, rule, *, true_life, aircraft, independent=False):
    """The first verdict of a rule along one history."""
    table = rates(rng, aircraft, 8, life=true_life)
    if independent:
        table["aircraft"] = np.arange(len(table))
    for count in range(FIRST_LOOK, aircraft + 1):
        found = rule(mean_life([table.iloc[: 8 * count]]))
        if found != OPEN:
            return found
    return OPEN


def share(rule, wrong, *, true_life, histories, aircraft, seed=20261125, **more):
    rng = np.random.default_rng(seed)
    given = [verdicts(rng, rule, true_life=true_life, aircraft=aircraft, **more) for _ in range(histories)]
    rate, settled = given.count(wrong) / histories, 1 - given.count(OPEN) / histories
    sys.stdout.write(f"{histories} histories, seed {seed}: {wrong} {rate:.3f}, settled {settled:.3f}\n")
    return rate


def zone_rule(life):
    return by_zone(life, LIFE)


def any_time_rule(life):
    return at_any_time(life, LIFE)


def each_look(life):
    """More than 95 % sure at this look: no such rule is offered."""
    chance = life.chance_above(LIFE)
    return "holds" if chance > 1 - ERROR else "fails" if chance < ERROR else OPEN


def most(histories):
    """The nominal error and three standard errors."""
    return ERROR + 3 * np.sqrt(ERROR * (1 - ERROR) / histories)


def test_the_rules_are_wrong_no_more_often_than_they_say():
    size = {"histories": 80, "aircraft": 14}
    assert share(zone_rule, "fails", true_life=LIFE * (1 + ZONE), **size) <= most(80)
    assert share(any_time_rule, "fails", true_life=LIFE, **size) <= most(80)


def test_to_be_sure_at_one_of_many_looks_is_wrong_far_more_often():
    """Why there is a rule at all."""
    size = {"histories": 80, "aircraft": 14}
    assert share(each_look, "fails", true_life=LIFE, **size) > 2 * ERROR


@pytest.mark.long
@pytest.mark.parametrize(
    ("rule", "wrong", "true_life"),
    [
        (zone_rule, "fails", LIFE * (1 + ZONE)),
        (zone_rule, "holds", LIFE / (1 + ZONE)),
        (any_time_rule, "fails", LIFE),
        (any_time_rule, "holds", LIFE),
    ],
)
def test_error_rates_are_at_most_nominal_over_many_histories(rule, wrong, true_life):
    """At most 0.05, a standard error of chance allowed (0.011 of 400)."""
    assert share(rule, wrong, true_life=true_life, histories=400, aircraft=24, seed=7) <= ERROR + 0.011


@pytest.mark.long
def test_brakes_taken_as_independent_make_the_rule_wrong_too_often():
    """Take the aircraft's effect away and the error passes its nominal value."""
    size = {"histories": 400, "aircraft": 24, "seed": 7}
    assert share(any_time_rule, "fails", true_life=LIFE, independent=True, **size) > 2 * ERROR
