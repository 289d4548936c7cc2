"""What moved since the last study kept of earlier records."""

import datetime as dt

from api.moved_since import moved_since
from api.studies import ask
from db.records.log import KeptStudy
from db.session import Session
from db.studies import kept_before
from lifecycle.study import changeouts

DAY = dt.date(2026, 5, 20)


def by_place(study):
    return {(each.serial, each.brake_type, each.position): each.date_p50 for each in changeouts(study)}


def test_middle_days_are_compared_with_the_last_study_of_fewer_records(shown_app):
    engine = shown_app.state.engine
    now = ask(engine, on=DAY, known_on=None, seed=7)
    with Session(engine) as session:
        seq = session.get(KeptStudy, now.number).known_seq
        assert kept_before(session, "S-NONE", on=DAY) is None
    before = ask(engine, on=DAY, known_on=None, seed=7, known_seq=seq - 1)
    found = moved_since(engine, now, changeouts(now))
    assert (found.study, found.on) == (before.number, DAY)
    one, other = by_place(before), by_place(now)
    assert found.moved == sum(one[place] != other[place] for place in other if place in one)


def test_a_study_of_the_first_records_has_nothing_before_it(shown_app):
    engine = shown_app.state.engine
    early = dt.date(2026, 1, 20)
    study = ask(engine, on=early, known_on=None, seed=7)
    with Session(engine) as session:
        assert kept_before(session, study.number, on=early) is None
    assert moved_since(engine, study, changeouts(study)) is None
