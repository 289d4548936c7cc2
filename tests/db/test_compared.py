"""Which tables `verify --rebuild` compares with the log: every table is on one side, and loads are of their changes."""

import pytest
from sqlalchemy import text

import db.records
from db.base import Base
from db.chain import Act, append
from db.compared import COMPARED, OUTSIDE
from db.errors import BrokenChainError
from db.records.fleet import BaseStation
from db.records.loads import FileLoad, LoadWithdrawal
from db.verify import FACTS, verify

__all__ = ["db"]


def test_every_table_is_compared_with_the_log_or_named_as_outside_it():
    sides = [*FACTS, *COMPARED, *(table for tables in OUTSIDE.values() for table in tables)]
    assert len(sides) == len(set(sides))
    assert set(sides) == set(Base.metadata.tables)


@pytest.fixture
def taken_back(small_fleet):
    """A load and its withdrawal, of one change each."""
    loaded = append(small_fleet, Act("bea", "import", "import records"), [(BaseStation, [{"base": "X"}])])
    first = loaded.records[0][0]
    gone = {"base": "X", "fact": first, "version": 2, "supersedes": first, "withdrawn": True}
    back = append(
        small_fleet, Act("cy", "form", "withdraw a load", "the wrong file"), [(BaseStation, [gone])]
    )
    spans = [{"first_seq": one.changes[0], "last_seq": one.changes[-1]} for one in (loaded, back)]
    told = {"loaded_at": "2026-01-01T00:00:00Z", "way": "import", "source": "", "files": "[]", "kinds": "{}"}
    small_fleet.add(FileLoad(number=1, person="bea", **told, **spans[0]))
    small_fleet.flush()
    when = {"withdrawn_at": "2026-01-02T00:00:00Z", "reason": "the wrong file"}
    small_fleet.add(LoadWithdrawal(load=1, person="cy", **when, **spans[1]))
    small_fleet.flush()
    verify(small_fleet, rebuild=True)
    return small_fleet


def test_a_withdrawal_that_found_nothing_left_to_take_back_is_of_no_change(small_fleet):
    act = Act("bea", "import", "import records")
    loaded = append(small_fleet, act, [(BaseStation, [{"base": "X"}])]).changes[0]
    told = {"loaded_at": "2026-01-01T00:00:00Z", "way": "import", "source": "", "files": "[]", "kinds": "{}"}
    small_fleet.add(FileLoad(number=1, person="bea", **told, first_seq=loaded, last_seq=loaded))
    small_fleet.flush()
    when = {"withdrawn_at": "2026-01-02T00:00:00Z", "reason": "the wrong file"}
    small_fleet.add(LoadWithdrawal(load=1, person="cy", **when, first_seq=loaded + 1, last_seq=loaded))
    append(small_fleet, act, [(BaseStation, [{"base": "Y"}])])
    verify(small_fleet, rebuild=True)


@pytest.mark.parametrize(
    "tampering",
    [
        "UPDATE file_load SET person = 'eve'",
        "UPDATE file_load SET last_seq = last_seq + 1",
        "UPDATE file_load SET last_seq = 99",
        "UPDATE load_withdrawal SET person = 'eve'",
        "UPDATE load_withdrawal SET reason = 'as agreed'",
        "UPDATE load_withdrawal SET first_seq = first_seq - 1",
        "DELETE FROM load_withdrawal",
    ],
)
def test_a_load_that_is_not_as_the_log_says_is_found(taken_back, tampering):
    taken_back.execute(text(tampering))
    with pytest.raises(BrokenChainError, match="of a load"):
        verify(taken_back, rebuild=True)
