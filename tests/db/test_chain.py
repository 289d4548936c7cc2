import datetime as dt

import pandas as pd
import pytest

from db import chain
from db.chain import Act
from db.errors import ConflictError
from db.lookup import base_ids, current, known_by
from db.records.fleet import BaseStation

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
