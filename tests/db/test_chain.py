import datetime as dt
import json
import zlib

import pandas as pd
import pytest
from sqlalchemy import select
from sqlalchemy.exc import IntegrityError

from db import chain
from db.chain import Act, packed, unpacked
from db.errors import ConflictError, LedgerError
from db.lookup import base_ids, current, known_by
from db.records.fleet import Aircraft, BaseStation, BrakeType
from db.records.log import Change
from db.verify import verify

ACT = Act("ann", "form", "record a base")


def bases(*names):
    return [(BaseStation, [{"base": name} for name in names])]


def test_record_and_sequence_numbers_count_up_over_changes(session):
    first = chain.append(session, ACT, bases("Home", "Away"))
    second = chain.append(session, ACT, bases("Third"))
    assert (first.records, first.changes) == ((range(1, 3),), range(1, 2))
    assert (second.records, second.changes) == ((range(3, 4),), range(2, 3))
    assert base_ids(session) == {"Home": 1, "Away": 2, "Third": 3}


def test_a_frame_and_rows_are_the_same_facts(session):
    frame = pd.DataFrame({"base": pd.Series(["Home"], dtype="str"), "name": pd.Series([""], dtype="str")})
    chain.append(session, ACT, [(BaseStation, frame)])
    row = session.execute(current(BaseStation)).one()
    assert (row.base, row.name, row.version, row.withdrawn) == ("Home", None, 1, False)


def test_the_same_key_twice_has_one_winner(session):
    chain.append(session, ACT, bases("Home"))
    with pytest.raises(ConflictError, match="entered the same record first"):
        chain.append(session, ACT, bases("Home"))


def test_what_is_known_is_known_on_its_day(session):
    chain.append(session, ACT, [(BaseStation, [{"base": "Old", "known_on": dt.date(2020, 1, 1)}])])
    chain.append(session, ACT, bases("New"))
    known = known_by(session, dt.date(2021, 1, 1))
    assert [row.base for row in session.execute(current(BaseStation, known))] == ["Old"]


def test_every_bit_of_the_kept_bytes_counts():
    """The last bits of a compressed stream mean nothing to the decompressor; the checksum covers them."""
    body = b'{"act":"record a base","facts":[],"seq":1}'
    kept = packed(body)
    for place in range(8 * len(kept)):
        flipped = bytearray(kept)
        flipped[place // 8] ^= 1 << place % 8
        with pytest.raises((ValueError, zlib.error)):
            unpacked(bytes(flipped))


def test_a_large_load_is_cut_into_changes_of_at_most_five_thousand(session):
    seen = []
    rows = [{"base": f"B{number}"} for number in range(12_000)]
    appended = chain.append(session, ACT, [(BaseStation, rows), *bases("Last")], progress=seen.append)
    assert appended.changes == range(1, 4)
    assert appended.records == (range(1, 12_001), range(12_001, 12_002))
    assert seen == [5_000, 10_000, 12_001]
    assert verify(session, rebuild=True).facts == 12_001


def test_nothing_appended_is_no_change(session):
    assert chain.append(session, ACT, [(BaseStation, [])]).changes == range(1, 1)


@pytest.mark.parametrize(
    "row", [{"base": "B", "colour": "red"}, {"base": 7}, {"base": "B", "withdrawn": "no"}, {"base": "\ud800"}]
)
def test_values_of_another_kind_are_refused(session, row):
    with pytest.raises(LedgerError):
        chain.append(session, ACT, [(BaseStation, [row])])


def test_numbers_without_end_and_fractions_of_whole_numbers_are_refused(session):
    for pins, mass in ((1.5, 1.0), (1.0, float("inf"))):
        frame = pd.DataFrame({"brake_type": ["B"], "material": ["steel"], "pins": [pins], "mass_kg": [mass]})
        with pytest.raises(LedgerError):
            chain.append(session, ACT, [(BrakeType, frame)])


def test_a_row_that_refers_to_nothing_is_refused(session):
    lost = {"registration": "ZZ-1", "aircraft_type": 99}
    with pytest.raises(IntegrityError):
        chain.append(session, ACT, [(Aircraft, [lost])])


def test_the_act_is_in_the_log(session):
    act = Act("ben", "form", "correct a base", reason="wrong name")
    chain.append(session, act, bases("Home"))
    change = session.execute(select(Change)).scalar_one()
    log = json.loads(unpacked(change.body))
    assert (change.person, change.source, change.act, log["reason"]) == (
        "ben",
        "form",
        "correct a base",
        "wrong name",
    )
    assert session.execute(current(BaseStation)).one().reason == "wrong name"
