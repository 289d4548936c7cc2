"""Days that nobody has reported, against a plain loop over aircraft and days; lines of a landings sheet."""

import datetime as dt

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import select

from db.chain import append
from db.entry.landings import record_landings
from db.entry_quality import SEED, drawn
from db.errors import RowsRefusedError
from db.landing_lines import FLYING_WORDS, lines_of_base
from db.records.fleet import Aircraft, AircraftChange, AircraftType, BaseStation
from db.records.readings import Landing
from db.session import Session
from db.sheet_code import SYMBOLS, with_check
from db.unreported import unreported_days
from tests.ledger import ACT, rows

FIRST = dt.date(2026, 3, 1)
DAYS = 12
PLACES = st.integers(0, 2)
OFFSETS = st.integers(-3, DAYS + 2)
CHANGES = st.lists(
    st.tuples(st.integers(0, 3), OFFSETS, st.sampled_from(["base", "stored", "flying", "sold"]), PLACES),
    max_size=6,
    unique_by=lambda each: each[:2],
)
REPORTS = st.lists(
    st.tuples(st.integers(0, 3), OFFSETS, st.integers(0, 3), st.booleans()),
    min_size=1,
    max_size=25,
    unique_by=lambda each: each[:2],
)


def made_ledger(session, changes, reports):
    """Four aircraft over two bases and none; what is drawn for them, but for reports that overlap."""
    bases = append(session, ACT, [(BaseStation, [{"base": "Home"}, {"base": "Away"}])]).records[0]
    numbers = (None, *bases)
    twin = append(session, ACT, [(AircraftType, [{"aircraft_type": "t", "positions": "1"}])]).records[0][0]
    first = [
        {"registration": f"Z{at}", "aircraft_type": twin, "base": numbers[at % 3], "in_service_on": day}
        for at, day in enumerate((None, None, FIRST + dt.timedelta(4), None))
    ]
    craft = append(session, ACT, [(Aircraft, first)]).records[0]
    rows = [
        {
            "aircraft": craft[at],
            "from_on": FIRST + dt.timedelta(offset),
            "base": numbers[place] if what == "base" else None,
            "status": None if what == "base" else what,
        }
        for at, offset, what, place in changes
    ]
    if rows:
        append(session, ACT, [(AircraftChange, rows)])
    taken, landings = set(), []
    for at, offset, length, told in reports:
        span = {(at, offset + more) for more in range(length + 1)}
        if span & taken:
            continue
        taken |= span
        day = FIRST + dt.timedelta(offset)
        to_day = day + dt.timedelta(length) if length else None
        landings.append(
            {"aircraft": craft[at], "day": day, "to_day": to_day, "full_stops": 0 if told else None}
        )
    append(session, ACT, [(Landing, landings)])
    return (
        dict(zip(craft, first, strict=True)),
        {None: "", bases[0]: "Home", bases[1]: "Away"},
        rows,
        landings,
    )


def plainly(craft, names, changes, landings):
    """The same by one aircraft, one day at a time."""
    begun = min(each["day"] for each in landings)
    found = {}
    for offset in range(DAYS):
        day = FIRST + dt.timedelta(offset)
        if day < begun:
            continue
        for number, each in craft.items():
            base, status = each["base"], "flying"
            for change in sorted((c for c in changes if c["aircraft"] == number), key=lambda c: c["from_on"]):
                if change["from_on"] <= day:
                    base, status = change["base"] or base, change["status"] or status
            if status not in FLYING_WORDS or (each["in_service_on"] or day) > day:
                continue
            told = any(
                row["aircraft"] == number
                and row["full_stops"] is not None
                and row["day"] <= day <= (row["to_day"] or row["day"])
                for row in landings
            )
            left, flying = found.get((names[base], day), (0, 0))
            found[names[base], day] = (left + (not told), flying + 1)
    return {place: counts for place, counts in found.items() if counts[0]}


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(changes=CHANGES, reports=REPORTS)
def test_unreported_days_are_those_a_plain_loop_finds(engine, changes, reports):
    with Session(engine) as session:
        made = made_ledger(session, changes, reports)
        found = unreported_days(session, first=FIRST, last=FIRST + dt.timedelta(DAYS - 1))
        session.rollback()
    assert {(each.base, each.day): (each.aircraft, each.flying) for each in found} == plainly(*made)


def test_only_the_bases_asked_for_are_told(session):
    made_ledger(session, [], [(0, 0, 0, True)])
    last = FIRST + dt.timedelta(DAYS - 1)
    assert {each.base for each in unreported_days(session, first=FIRST, last=last)} == {"", "Away", "Home"}
    some = unreported_days(session, first=FIRST, last=last, bases=("Home",))
    assert {each.base for each in some} == {"", "Home"}


def test_a_running_total_goes_on_with_the_landings_written_down_since(small_fleet):
    craft = small_fleet.scalars(select(Aircraft.fact).order_by(Aircraft.fact)).all()
    told = [
        {"aircraft": craft[0], "day": FIRST, "total_landings": 1000},
        {"aircraft": craft[0], "day": FIRST + dt.timedelta(1), "full_stops": 4, "touch_and_gos": 2},
        {"aircraft": craft[0], "day": FIRST + dt.timedelta(3), "full_stops": 1},
    ]
    append(small_fleet, ACT, [(Landing, told)])
    by_day = [lines_of_base(small_fleet, None, FIRST + dt.timedelta(days))[0] for days in range(5)]
    assert [each.total_before for each in by_day] == [None, 1000, 1006, 1006, 1007]
    assert by_day[3].reported.full_stops == 1
    assert by_day[4].total_on == FIRST


@pytest.mark.parametrize("seed", [SEED, SEED + 1])
def test_one_sheet_in_twenty_is_drawn_and_always_the_same(seed):
    codes = [with_check(a + b + "2" + c) for a in SYMBOLS for b in SYMBOLS for c in SYMBOLS]
    share = sum(drawn(code, seed=seed) for code in codes) / len(codes)
    assert 0.046 < share < 0.054, f"seed {seed}"
    assert [drawn(code, seed=seed) for code in codes[:50]] == [drawn(code, seed=seed) for code in codes[:50]]


def test_a_total_read_long_ago_is_found_all_the_same(small_fleet):
    """Near days are asked first; an aircraft without a row there is looked for in the whole log."""
    craft = small_fleet.scalars(select(Aircraft.fact).order_by(Aircraft.fact)).all()
    told = [
        {"aircraft": craft[0], "day": FIRST - dt.timedelta(400), "total_landings": 1000},
        {"aircraft": craft[0], "day": FIRST - dt.timedelta(300), "full_stops": 5},
        {"aircraft": craft[1], "day": FIRST - dt.timedelta(90), "to_day": FIRST, "total_landings": 70},
    ]
    append(small_fleet, ACT, [(Landing, told)])
    lines = lines_of_base(small_fleet, None, FIRST + dt.timedelta(1))
    assert [each.total_before for each in lines] == [1005, 70]
    falls = {"registration": "ZZ-001", "day": FIRST, "full_stops": "", "total_landings": 999}
    with pytest.raises(RowsRefusedError, match="a running total never falls"):
        record_landings(small_fleet, ACT, rows("landings", falls))
