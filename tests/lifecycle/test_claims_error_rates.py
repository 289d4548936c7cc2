"""
How often the rules for claims are wrong, by simulation, when somebody looks after every aircraft that comes in.

Each aircraft brings eight brakes that share its effect, or one. Truths and spreads are invented.
`tests/benchmarks/bench_claims.py` prints the table of `DEVELOPERS.md` from the same histories.
"""

import sys

import numpy as np
import pytest

from lifecycle.sequential import ERROR, ZONE
from tests.lifecycle.claim_histories import LIFE, any_time_rule, each_look, outcome, zone_rule


def share(rule, wrong, *, seed=20261125, **more):
    found = outcome(rule, wrong, seed=seed, **more)
    told = f"{wrong} {found.wrong:.3f}, settled {found.settled:.3f}"
    sys.stdout.write(f"{found.histories} histories, seed {seed}: {told}\n")
    return found.wrong


def most(histories):
    """The nominal error and three standard errors."""
    return ERROR + 3 * np.sqrt(ERROR * (1 - ERROR) / histories)


@pytest.mark.parametrize(("rule", "true_life"), [(zone_rule, LIFE * (1 + ZONE)), (any_time_rule, LIFE)])
def test_the_rules_are_wrong_no_more_often_than_they_say(rule, true_life):
    assert share(rule, "fails", true_life=true_life, histories=15, looks=10) <= most(15)


def test_to_be_sure_at_one_of_many_looks_is_wrong_far_more_often():
    """Why there is a rule at all."""
    assert share(each_look, "fails", true_life=LIFE, histories=40, looks=12) > 2 * ERROR


@pytest.mark.long
@pytest.mark.parametrize("brakes", [8, 1])
@pytest.mark.parametrize(
    ("rule", "wrong", "true_life"),
    [
        (zone_rule, "fails", LIFE * (1 + ZONE)),
        (zone_rule, "holds", LIFE / (1 + ZONE)),
        (any_time_rule, "fails", LIFE),
        (any_time_rule, "holds", LIFE),
    ],
)
def test_error_rates_are_at_most_nominal_over_many_histories(rule, wrong, true_life, brakes):
    """At most 0.05, a standard error of chance allowed (0.011 of 400)."""
    found = share(rule, wrong, true_life=true_life, histories=400, looks=24, brakes=brakes, seed=7)
    assert found <= ERROR + 0.011


@pytest.mark.long
def test_brakes_taken_as_independent_make_the_rule_wrong_too_often():
    """Take the aircraft's effect away and the error passes its nominal value."""
    size = {"histories": 400, "looks": 24, "seed": 7}
    assert share(any_time_rule, "fails", true_life=LIFE, independent=True, **size) > 2 * ERROR
