"""What Removals says first is true of the table under it."""

from api.pages.removals import RateLine, TypeRates, answer
from lifecycle.reliability import RemovalRate


def type_rates(name, removals, low, high):
    """A type seen for 1 000 landings a removal or so."""
    per = (low + high) / 2
    known = dict.fromkeys(RemovalRate.__dataclass_fields__, 1.0)
    known |= {"brake_type": name, "cause": "leak", "removals": removals, "landings": removals * 1000 / per}
    known |= {"per_1000": per, "per_1000_low": low, "per_1000_high": high, "landings_between": 1000 / per}
    line = RateLine(RemovalRate(**known), "")
    return TypeRates(name, "steel", known["landings"], line, (line,), (), line)


def test_the_type_named_as_coming_off_most_often_is_told_apart_from_the_others():
    told = answer([type_rates("S-1", 57, 0.081, 0.12), type_rates("C-1", 20, 0.04, 0.08)])
    assert told.startswith("S-1 comes off early most often: once in about")
    assert "as often" not in told


def test_types_whose_rates_are_not_told_apart_are_named_beside():
    told = answer([type_rates("S-1", 57, 0.081, 0.12), type_rates("C-1", 10, 0.064, 0.16)])
    assert told.startswith("C-1 comes off early once in about")
    assert told.endswith("; S-1 may do so as often.")


def test_a_type_that_hardly_flew_may_do_so_as_often_though_none_came_off():
    told = answer([type_rates("S-1", 57, 0.081, 0.12), type_rates("C-1", 0, 0.0, 1.9)])
    assert told.startswith("S-1 comes off early once in about")
    assert told.endswith("; C-1 may do so as often.")
