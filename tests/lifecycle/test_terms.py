"""What a retrofit rests on, looked up by scope; all that is missing said at once."""

from lifecycle.terms import OPTIONAL, terms_of
from tests.priced import assumption, assumptions

HOME, AWAY = ("twin", "Home"), ("twin", "Away")


def found(items, places=(HOME, AWAY), *, open_ended=True):
    return terms_of(assumptions(*items), places, from_type="OLD", to_type="NEW", open_ended=open_ended)


def test_nothing_entered_names_everything_once_with_unit_and_type():
    missing = found([]).missing
    assert len(missing) == len(set(missing)) == 12
    assert "kit_cost (unit CUR) for NEW on twin" in missing
    assert "disposal_cost (unit CUR) for OLD on twin" in missing
    assert "horizon_years (unit year) for NEW on twin" in missing
    assert not any(name in text for text in missing for name in OPTIONAL)


def test_money_missing_is_asked_for_in_the_currency_of_the_study():
    missing = found([assumption("tooling_cost", 5.0)]).missing
    assert "kit_cost (unit EUR) for NEW on twin" in missing
    assert "labour_rate (unit EUR/h) for NEW on twin" in missing
    assert not any("CUR" in text for text in missing)


def test_a_horizon_is_asked_for_only_where_an_aircraft_has_no_retirement_day():
    assert not any("horizon_years" in text for text in found([], open_ended=False).missing)


def test_the_narrowest_scope_counts_at_its_place():
    wide, narrow = (
        assumption("labour_rate", 80.0, "EUR/h"),
        assumption("labour_rate", 95.0, "EUR/h", base="Away"),
    )
    terms = found([wide, narrow])
    assert terms.per_place[HOME]["labour_rate"] == wide
    assert terms.per_place[AWAY]["labour_rate"] == narrow
    assert sum(item.name == "labour_rate" for item in terms.items()) == 2


def test_disposal_is_of_the_legacy_type_and_the_rest_of_the_proposed():
    old, new = (
        assumption("disposal_cost", value, brake_type=kind) for kind, value in (("OLD", 1.0), ("NEW", 2.0))
    )
    kits = [assumption("kit_cost", value, brake_type=kind) for kind, value in (("OLD", 3.0), ("NEW", 4.0))]
    terms = found([old, new, *kits])
    assert terms.per_place[HOME]["disposal_cost"] == old
    assert terms.per_place[HOME]["kit_cost"] == kits[1]


def test_a_price_for_one_aircraft_type_is_not_taken_for_two():
    once = assumption("engineering_cost", 5.0, aircraft_type="twin")
    assert "engineering_cost" in found([once]).once
    assert "engineering_cost" not in found([once], places=(HOME, ("quad", "Home"))).once
