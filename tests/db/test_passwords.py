"""A password made of the own name, said twice or with a word of this place, is refused; a sentence with it is not."""

import datetime as dt

import pytest

from db import passwords
from db.errors import LedgerError
from db.people import add_person
from db.session import Session, open_engine

NOW = dt.datetime(2026, 3, 14, 8, 0, tzinfo=dt.UTC)


@pytest.fixture
def session(sqlite_url):
    engine = open_engine(sqlite_url)
    with Session(engine) as session:
        add_person(session, "Clerk Two", "clerk", now=NOW)
        yield session
    engine.dispose()


@pytest.mark.parametrize("weak", ["clerk two clerk two", "Two.Clerk.Two.Clerk.1", "clerktwo!pinledger42"])
def test_a_password_made_of_the_own_name_is_refused(session, weak):
    with pytest.raises(LedgerError, match="made of your own name"):
        passwords.set_password(session, "Clerk Two", weak, now=NOW)


def test_a_sentence_may_have_the_name_in_it(session):
    passwords.set_password(session, "Clerk Two", "two grey otters at noon", now=NOW)
    assert passwords.is_password(session, "Clerk Two", "two grey otters at noon")
