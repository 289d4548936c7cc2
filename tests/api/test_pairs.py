"""Retrofits on offer: pairs that share an aircraft type, most landings first, the only priced one opened."""

import datetime as dt

from api.pages.pairs import opened_first, pairs_of
from lifecycle.assumptions import Assumption, AssumptionSet
from lifecycle.study import open_study
from tests.builders import aircraft, aircraft_type, brake, brake_type, daily, installation, records

ON = dt.date(2026, 3, 1)


def kit(brake_type):
    return Assumption("kit_cost", 9000.0, "EUR", "invented", ON, brake_type=brake_type)


def study(*assumptions):
    log = records(
        aircraft_type("twin"), aircraft_type("jet"),
        aircraft(1), aircraft(2), aircraft(3, aircraft_type="jet"),
        brake_type("S-1"), brake_type("C-1"), brake_type("J-1"),
        brake(1, brake_type="S-1"), brake(2, brake_type="C-1"), brake(3, brake_type="J-1"),
        installation(1, "2026-01-01"), installation(2, "2026-02-01", aircraft=2),
        installation(3, "2026-01-01", aircraft=3),
        *(daily(number, "2026-01-01", 58, 2) for number in (1, 2, 3)),
    )  # fmt: skip
    return open_study(log, AssumptionSet(assumptions), on=ON, known_on=ON, seed=1, number="S-1")


def test_types_of_one_aircraft_type_are_paired_most_landings_first():
    made = study()
    pairs = pairs_of(made.runs, made.assumptions)
    assert [(pair.from_type, pair.to_type) for pair in pairs] == [("S-1", "C-1"), ("C-1", "S-1")]
    assert pairs[0].landings > pairs[1].landings > 0
    assert {pair.aircraft_type for pair in pairs} == {"twin"}


def test_the_only_pair_with_a_kit_cost_is_opened_first():
    made = study(kit("C-1"))
    first = opened_first(pairs_of(made.runs, made.assumptions))
    assert first is not None
    assert (first.from_type, first.to_type) == ("S-1", "C-1")


def test_nothing_is_opened_where_no_pair_or_more_than_one_has_a_kit_cost():
    for kits in ((), (kit("C-1"), kit("S-1"))):
        made = study(*kits)
        assert opened_first(pairs_of(made.runs, made.assumptions)) is None
