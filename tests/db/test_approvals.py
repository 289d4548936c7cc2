"""Nobody approves what they entered, on both databases."""

import datetime as dt

import pytest
from sqlalchemy import select

from db.approved import approved_assumptions
from db.chain import Act
from db.entry.approvals import approve
from db.entry.corrections import correct
from db.entry.economics import record_assumptions
from db.entry.fleet import record_wear_limits
from db.errors import NotFoundError, RowsRefusedError, StaleVersionError
from db.lookup import known_by
from db.recorded import read_record
from db.records.economics import AssumptionEntry
from db.records.fleet import WearLimit
from db.verify import verify
from tests.ledger import rows

TODAY = dt.date(2026, 6, 1)


def act(person):
    return Act(person, "form", "approve a record", "as the letter of 2 May says")


def proposed(session, person="ann"):
    row = {"name": "lead_time_days", "value": 30, "unit": "d", "source": "letter", "dated": "2026-05-02"}
    record_assumptions(session, act(person), rows("assumptions", row))
    return read_record(
        session, session.scalars(select(AssumptionEntry.id).order_by(AssumptionEntry.id.desc())).first()
    )


def counting(session):
    return approved_assumptions(session, TODAY, known_by(session))["value"].tolist()


def test_it_counts_once_another_person_has_approved_it(small_fleet):
    record = proposed(small_fleet)
    assert counting(small_fleet) == []
    with pytest.raises(RowsRefusedError, match="was entered by ann, who cannot approve it"):
        approve(small_fleet, act("ann"), record.fact, version=record.tag)
    approved = approve(small_fleet, act("bob"), record.fact, version=record.tag)
    assert counting(small_fleet) == [30.0]
    assert [each.person for each in approved.versions] == ["ann", "bob"]
    verify(small_fleet, rebuild=True)


def test_whoever_corrected_it_since_does_not_approve_it_and_the_first_may(small_fleet):
    record = proposed(small_fleet)
    record = approve(small_fleet, act("bob"), record.fact, version=record.tag)
    record = correct(
        small_fleet, act("bob"), record.fact, version=record.tag, values={"value": "40"}, today=TODAY
    ).record
    assert counting(small_fleet) == [30.0], "the approved version stays in force while the later one waits"
    with pytest.raises(RowsRefusedError, match="was entered by bob"):
        approve(small_fleet, act("bob"), record.fact, version=record.tag)
    approve(small_fleet, act("ann"), record.fact, version=record.tag)
    assert counting(small_fleet) == [40.0]


def test_two_who_both_had_a_hand_in_it_need_a_third(small_fleet):
    record = proposed(small_fleet)
    record = correct(
        small_fleet, act("bob"), record.fact, version=record.tag, values={"value": "40"}, today=TODAY
    ).record
    for person in ("ann", "bob"):
        with pytest.raises(RowsRefusedError, match="ask a second person"):
            approve(small_fleet, act(person), record.fact, version=record.tag)
    approve(small_fleet, act("cid"), record.fact, version=record.tag)


def test_a_limit_is_approved_the_same_way(small_fleet):
    row = {"brake_type": "BT-1", "limit": 5, "effective_on": "2026-01-01", "source": "manual"}
    record_wear_limits(small_fleet, act("ann"), rows("wear_limits", row))
    record = read_record(small_fleet, small_fleet.scalars(select(WearLimit.id)).one())
    with pytest.raises(RowsRefusedError, match="was entered by ann"):
        approve(small_fleet, act("ann"), record.fact, version=record.tag)
    approve(small_fleet, act("bob"), record.fact, version=record.tag)
    with pytest.raises(RowsRefusedError, match="approved as it stands"):
        approve(small_fleet, act("cid"), record.fact, version=read_record(small_fleet, record.fact).tag)


def test_what_was_looked_at_must_still_stand_and_be_a_limit_or_an_assumption(small_fleet):
    record = proposed(small_fleet)
    with pytest.raises(StaleVersionError, match="look at it as it is now"):
        approve(small_fleet, act("bob"), record.fact, version=f"{record.fact}-7")
    with pytest.raises(RowsRefusedError, match="only limits and assumptions"):
        approve(small_fleet, act("bob"), 1, version="1-1")
    with pytest.raises(NotFoundError):
        approve(small_fleet, act("bob"), 10**6, version="")
