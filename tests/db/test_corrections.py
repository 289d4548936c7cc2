"""Corrections and withdrawals of every kind of record, on both databases: new versions, checked like first entries."""

import datetime as dt

import pytest
from sqlalchemy import func, select

from db.base import table_of
from db.chain import Act, append
from db.corrections import doubted_readings
from db.entry.corrections import correct, references, withdraw
from db.entry.recorders import recorders
from db.entry.rulings import record_rulings
from db.entry.versions import typed_rows
from db.errors import ConflictError, NotFoundError, RowsRefusedError, StaleVersionError
from db.imports.check import rows_from
from db.lookup import current, known_by
from db.observe import observe
from db.recorded import KINDS, read_record
from db.records.brakes import Occupancy
from db.verify import verify

TODAY = dt.datetime.now(dt.UTC).date()
ACT = Act("ann", "form", "correct a record", "copied wrongly from the sheet")
# One change of each kind that stands by itself: file, which row (by what it tells), and what is corrected.
CHANGES = {
    "bases": ({"base": "North"}, {"name": "North Island"}),
    "aircraft_types": ({"aircraft_type": "Petrel"}, {"touchdown_speed_kt": "131"}),
    "brake_types": ({"brake_type": "PL-100"}, {"mass_kg": "70.25"}),
    "wear_limits": ({"brake_type": "PL-100"}, {"limit": "2.60"}),
    "aircraft": ({"registration": "ZZ-AAA"}, {"retires_on": ""}),
    "aircraft_changes": ({"new_registration": "ZZ-CCC"}, {"from": "2024-05-03"}),
    "effectivity": ({"registration": "ZZ-CCC"}, {"to": "2026-02-01"}),
    "brakes": ({"serial": "0018"}, {"serial": "0118", "owner": ""}),
    "installations": ({"serial": "0018"}, {"position": "3", "installed_on": "2024-01-02"}),
    "removals": ({"serial": "G-2"}, {"removal_reason": "damage", "removed_on": "2024-04-02"}),
    "reshims": ({}, {"step_mm": "1.5"}),
    "deactivations": ({}, {"reason": "seized"}),
    "landings": ({"registration": "ZZ-AAA"}, {"touch_and_gos": "9"}),
    "pin_readings": ({}, {"note": "read by torch"}),
    "events": ({}, {"note": "seen by two"}),
    "exclusions": ({}, {"reason": "dragging, found later"}),
    "shop_visits": ({}, {"note": "test report 4"}),
    "stock_movements": ({}, {"condition": "unserviceable"}),
    "stock": ({}, {"serviceable": "9"}),
    "orders": ({}, {"quantity": "7"}),
    "flying_plan": ({}, {"landings": "77.5"}),
    "assumptions": ({"name": "lead_time_days"}, {"note": "checked"}),
}


def record_of(session, kind, **tells):
    """The first record of a kind that tells this."""
    numbers = session.scalars(select(KINDS[kind].id).order_by(KINDS[kind].id)).all()
    found = [read_record(session, number) for number in numbers]
    return next(each for each in found if tells.items() <= each.now.told.items())


def corrected(session, record, act=ACT, **values):
    return correct(session, act, record.fact, version=record.tag, values=values, today=TODAY)


def withdrawn(session, record, act=ACT):
    return withdraw(session, act, record.fact, version=record.tag)


@pytest.mark.parametrize("kind", ["landings", "pin_readings", "installations", "reshims"])
def test_what_was_withdrawn_and_is_typed_again_is_refused_by_its_number(ledger, kind):
    uses = [column for _, column in references(KINDS[kind])]
    numbers = ledger.scalars(select(KINDS[kind].fact).order_by(KINDS[kind].fact.desc())).all()
    free = next(n for n in numbers if not any(used(ledger, column, n) for column in uses))
    found = withdrawn(ledger, read_record(ledger, free)).record
    row = {name: text for name, text in found.now.told.items() if name not in ("state", "approved")}
    with pytest.raises(RowsRefusedError) as refused:
        recorders()[kind](ledger, ACT, typed_rows(kind, [row], today=TODAY))
    (error,) = refused.value.errors
    assert error.rule == f"was entered before as record {found.fact} and withdrawn"
    assert f"bring record {found.fact} back under Corrections" in error.suggestion


def used(session, column, number):
    return session.scalar(select(func.count()).where(column == number))


@pytest.mark.parametrize("kind", CHANGES)
def test_a_correction_is_a_new_version_with_its_reason_and_the_old_one_stays(ledger, kind):
    tells, values = CHANGES[kind]
    before = record_of(ledger, kind, **tells)
    after = corrected(ledger, before, **values).record
    assert [each.record for each in after.versions[:-1]] == [each.record for each in before.versions]
    assert after.versions[:-1] == before.versions
    wanted = {**before.now.told, **values}
    if "approved" in wanted:
        wanted["approved"] = "no"
    assert after.now.told == wanted
    assert (after.now.person, after.now.withdrawn) == ("ann", False)
    assert ACT.reason in after.now.reason
    verify(ledger, rebuild=True)


@pytest.mark.parametrize(
    "kind", ["aircraft_changes", "installations", "removals", "landings", "pin_readings"]
)
def test_what_was_known_before_a_correction_is_answered_as_before(ledger, kind):
    known = known_by(ledger)
    before = observe(ledger, on=TODAY, known=known)
    tells, values = CHANGES[kind]
    corrected(ledger, record_of(ledger, kind, **tells), **values)
    assert_same(before, observe(ledger, on=TODAY, known=known))


def assert_same(one, other):
    for name in vars(one):
        assert getattr(one, name).equals(getattr(other, name)), name


def test_a_correction_needs_a_reason(ledger):
    record = record_of(ledger, "landings")
    for reason in (None, "", "  "):
        with pytest.raises(RowsRefusedError, match="needs a reason"):
            corrected(ledger, record, Act("ann", "form", "correct", reason), touch_and_gos="1")
    with pytest.raises(RowsRefusedError, match="needs a reason"):
        withdrawn(ledger, record, Act("ann", "form", "withdraw"))


def test_a_version_that_no_longer_stands_is_not_corrected(ledger):
    record = record_of(ledger, "landings")
    corrected(ledger, record, touch_and_gos="7")
    with pytest.raises(StaleVersionError, match="corrected by ann") as stale:
        corrected(ledger, record, touch_and_gos="8")
    assert stale.value.tag == f"{record.fact}-2"
    with pytest.raises(StaleVersionError):
        withdrawn(ledger, record)


@pytest.mark.parametrize(
    ("values", "rule"),
    [
        ({}, "nothing differs"),
        ({"full_stops": "2.5"}, "whole"),
        ({"full_stops": "-1"}, "full_stops = '-1'"),
        ({"day": "2099-01-01"}, "future|ahead|later"),
        ({"registration": "ZZ-AAZ"}, "no aircraft with this registration"),
        ({"landed": "2"}, "is not a column of landings"),
    ],
)
def test_a_correction_breaks_no_rule_of_a_first_entry(ledger, values, rule):
    with pytest.raises(RowsRefusedError, match=rule):
        corrected(ledger, record_of(ledger, "landings"), **values)


def test_a_number_that_no_record_has_is_not_found(ledger):
    with pytest.raises(NotFoundError, match="no record has the number 999999"):
        correct(ledger, ACT, 999_999, version="999999-1", values={"note": "x"}, today=TODAY)


def test_a_corrected_installation_moves_the_brake(ledger):
    record = record_of(ledger, "installations", serial="0018")
    corrected(ledger, record, position="4", installed_on="2024-01-03")
    span = ledger.execute(select(table_of(Occupancy)).where(Occupancy.installation == record.fact)).one()
    assert (span.position, span.from_on, span.to_on) == ("4", dt.date(2024, 1, 3), None)


def test_a_correction_that_puts_two_brakes_in_one_position_says_who_is_where(ledger):
    record = record_of(ledger, "installations", serial="0018")
    with pytest.raises(RowsRefusedError, match=r"C-1 \(PL-200\) is in ZZ-AAA position 1 from 2024-03-10"):
        corrected(ledger, record, position="1")


def test_a_withdrawn_removal_puts_the_brake_back_only_where_it_can_be(ledger):
    taken = record_of(ledger, "removals", serial="0017", removed_on="2024-03-10")
    with pytest.raises(RowsRefusedError, match=r"C-1 \(PL-200\) is in ZZ-AAA position 1"):
        withdrawn(ledger, taken)
    free = record_of(ledger, "removals", serial="G-2")
    with pytest.raises(RowsRefusedError, match="this brake is at the shop"):
        withdrawn(ledger, free)
    withdrawn(ledger, record_of(ledger, "shop_visits", serial="G-2"))
    gone = withdrawn(ledger, free).record
    span = ledger.execute(select(table_of(Occupancy)).where(Occupancy.installation == made_for(ledger, free)))
    assert span.one().to_on is None
    back = corrected(ledger, gone, note="it did come off").record
    assert (back.now.withdrawn, back.now.version) == (False, 3)
    verify(ledger, rebuild=True)


def made_for(session, removal):
    model = KINDS["removals"]
    return session.scalars(select(model.installation).where(model.id == removal.fact)).one()


def test_a_withdrawn_installation_takes_its_removal_with_it(ledger):
    record = record_of(ledger, "installations", serial="G-2")
    removal = record_of(ledger, "removals", serial="G-2")
    withdrawn(ledger, record)
    assert read_record(ledger, removal.fact).now.withdrawn
    assert not ledger.execute(select(Occupancy.brake).where(Occupancy.installation == record.fact)).all()
    verify(ledger, rebuild=True)


@pytest.mark.parametrize(
    ("kind", "tells"), [("bases", {"base": "North"}), ("brakes", {"serial": "0018"}), ("aircraft", {})]
)
def test_what_others_refer_to_is_not_withdrawn(ledger, kind, tells):
    with pytest.raises(RowsRefusedError, match="refer to it"):
        withdrawn(ledger, record_of(ledger, kind, **tells))


@pytest.mark.parametrize(
    "kind", ["landings", "pin_readings", "events", "exclusions", "stock", "orders", "flying_plan", "reshims"]
)
def test_a_withdrawn_record_no_longer_counts_and_can_be_brought_back(ledger, kind):
    record = record_of(ledger, kind)
    gone = withdrawn(ledger, record).record
    assert gone.now.withdrawn
    assert record.fact not in [row.fact for row in ledger.execute(current(KINDS[kind]))]
    with pytest.raises(RowsRefusedError, match="withdrawn already"):
        withdrawn(ledger, gone)
    assert not corrected(ledger, gone).record.now.withdrawn


def test_a_corrected_total_never_falls(ledger):
    record = next(
        found
        for number in ledger.scalars(select(KINDS["landings"].id))
        if (found := read_record(ledger, number)).now.told["total_landings"]
    )
    total = int(record.now.told["total_landings"])
    with pytest.raises(RowsRefusedError, match="a running total never falls"):
        corrected(ledger, record, total_landings=str(total + 100_000))


def test_a_ruling_falls_with_the_value_that_it_was_about(ledger):
    record = held_reading(ledger)
    ruled = rows_from("rulings", [{"reading": str(record.fact), "state": "accepted"}], today=TODAY)
    record_rulings(ledger, Act("bob", "form", "rule"), ruled)
    corrected(ledger, record, pin_1="39.0")
    assert reading_state(ledger, record.fact) == "held"
    record_rulings(ledger, Act("bob", "form", "rule"), ruled)
    assert reading_state(ledger, record.fact) == "accepted"
    verify(ledger, rebuild=True)


def test_a_correction_that_is_held_keeps_the_reason_given_beside_why_it_is_held(ledger):
    record = held_reading(ledger)
    assert record.now.held_because.startswith("is about as long as when new")
    now = corrected(ledger, record, pin_1="39.0").record.now
    assert now.reason == f"{ACT.reason}; held: {now.held_because}"
    assert (now.held_because, now.person) == (record.now.held_because, "ann")
    gone = withdrawn(ledger, read_record(ledger, record.fact)).record
    back = corrected(
        ledger, gone, Act("bob", "form", "correct a record", "it was right"), pin_1="39.2"
    ).record.now
    assert back.reason == f"it was right; held: {now.held_because}"


def test_nobody_rules_on_a_reading_that_they_corrected(ledger):
    record = held_reading(ledger)
    corrected(ledger, record, Act("bob", "form", "correct", "misread"), pin_1="39.0")
    ruled = rows_from("rulings", [{"reading": str(record.fact), "state": "accepted"}], today=TODAY)
    with pytest.raises(RowsRefusedError, match="was entered by bob"):
        record_rulings(ledger, Act("bob", "form", "rule"), ruled)


def held_reading(session):
    """A reading that grew, entered by ann."""
    row = {"serial": "0018", "day": "2024-03-05", "pin_1": "39.5", "unit": "mm", "convention": "left"}
    assert recorders()["pin_readings"](session, ACT, rows_from("pin_readings", [row], today=TODAY)).held == 1
    return record_of(session, "pin_readings", day="2024-03-05")


def reading_state(session, fact):
    records = observe(session, on=TODAY, known=known_by(session)).pin_readings
    number = read_record(session, fact).now.record
    return records.loc[records["record"] == number, "state"].iloc[0]


def test_readings_that_a_correction_makes_doubtful_are_named(ledger):
    brakes = [
        {"serial": "0020", "day": day, "pin_1": pin, "unit": "mm", "convention": "left"}
        for day, pin in (("2024-02-10", "20.0"), ("2024-06-01", "38.0"))
    ]
    shim = rows_from("reshims", [{"serial": "0020", "day": "2024-03-01", "step_mm": "18"}], today=TODAY)
    recorders()["reshims"](ledger, ACT, shim)
    outcome = recorders()["pin_readings"](ledger, ACT, rows_from("pin_readings", brakes, today=TODAY))
    assert outcome.held == 0
    found = withdrawn(ledger, record_of(ledger, "reshims", serial="0020"))
    assert any("is longer than the reading before" in flag.text for flag in found.flags), found.flags
    (doubt,) = doubted_readings(ledger)
    assert (doubt.reading.now.told["day"], doubt.corrected) == ("2024-06-01", found.record.fact)
    ruled = rows_from("rulings", [{"reading": str(doubt.reading.fact), "state": "refused"}], today=TODAY)
    with pytest.raises(RowsRefusedError, match="put in doubt by their correction"):
        record_rulings(ledger, ACT, ruled)
    record_rulings(ledger, Act("bob", "form", "rule"), ruled)
    assert doubted_readings(ledger) == []
    assert reading_state(ledger, doubt.reading.fact) == "refused"


def test_whoever_puts_a_reading_in_doubt_does_not_rule_on_it(ledger):
    readings = [
        {"serial": "0020", "day": day, "pin_1": pin, "unit": "mm", "convention": "left"}
        for day, pin in (("2024-02-10", "20.0"), ("2024-06-01", "38.0"))
    ]
    shim = rows_from("reshims", [{"serial": "0020", "day": "2024-03-01", "step_mm": "18"}], today=TODAY)
    recorders()["reshims"](ledger, ACT, shim)
    recorders()["pin_readings"](ledger, ACT, rows_from("pin_readings", readings, today=TODAY))
    record = record_of(ledger, "reshims", serial="0020")
    withdraw(ledger, Act("bob", "form", "withdraw", "another brake"), record.fact, version=record.tag)
    (doubt,) = doubted_readings(ledger)
    ruled = rows_from("rulings", [{"reading": str(doubt.reading.fact), "state": "accepted"}], today=TODAY)
    with pytest.raises(RowsRefusedError, match="put in doubt by their correction"):
        record_rulings(ledger, Act("bob", "form", "rule"), ruled)
    record_rulings(ledger, Act("cid", "form", "rule"), ruled)
    assert doubted_readings(ledger) == []


def test_a_doubt_goes_when_what_made_it_is_corrected_back(ledger):
    readings = [
        {"serial": "0020", "day": day, "pin_1": pin, "unit": "mm", "convention": "left"}
        for day, pin in (("2024-02-10", "20.0"), ("2024-06-01", "38.0"))
    ]
    shim = rows_from("reshims", [{"serial": "0020", "day": "2024-03-01", "step_mm": "18"}], today=TODAY)
    recorders()["reshims"](ledger, ACT, shim)
    recorders()["pin_readings"](ledger, ACT, rows_from("pin_readings", readings, today=TODAY))
    found = withdrawn(ledger, record_of(ledger, "reshims", serial="0020"))
    assert len(doubted_readings(ledger)) == 1
    corrected(ledger, found.record, step_mm="18")
    assert doubted_readings(ledger) == []


def test_a_reading_between_two_people_is_corrected_once(ledger):
    """The database's own rule, should two corrections of one version ever meet."""
    record = record_of(ledger, "landings")
    row = dict(
        ledger.execute(current(KINDS["landings"]).where(KINDS["landings"].fact == record.fact)).one()._mapping
    )
    said = {**row, "supersedes": row["id"], "version": 2, "seq": None, "known_on": None}
    said.pop("id")
    append(ledger, ACT, [(KINDS["landings"], [said])])
    with pytest.raises(ConflictError, match="corrected that record first"):
        append(ledger, ACT, [(KINDS["landings"], [said])])


def entered(session, kind, **values):
    rows = rows_from(kind, [values], today=TODAY)
    return recorders()[kind](session, ACT, rows)


def test_a_key_that_a_correction_left_behind_is_free_again(ledger):
    """Entered for the wrong day, corrected, then entered for the day it was taken for; there it stands alone."""
    row = {"registration": "ZZ-AAA", "day": "2023-03-05", "full_stops": "3"}
    assert entered(ledger, "landings", **row).added == 1
    wrong = record_of(ledger, "landings", day="2023-03-05")
    corrected(ledger, wrong, day="2023-03-06")
    assert entered(ledger, "landings", **{**row, "full_stops": "4"}).added == 1
    with pytest.raises((RowsRefusedError, ConflictError)):
        corrected(ledger, record_of(ledger, "landings", day="2023-03-06"), day="2023-03-05")
    assert record_of(ledger, "landings", day="2023-03-05").now.told["full_stops"] == "4"
    verify(ledger, rebuild=True)
