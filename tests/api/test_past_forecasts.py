"""Forecasts against facts: the first view costs no study, a score is made once, forecasts as shown are scored."""

import datetime as dt
import json
import shutil
import zlib
from dataclasses import replace

import pandas as pd
import pytest
from sqlalchemy import delete, func, select

from api import past_forecasts, studies
from api.output import plain
from api.pages.against_facts import page_of
from api.pages.frame import Frame, render
from api.pages.scope import scope_of
from api.past_forecasts import Shown, score_of, shown_score
from api.studies import ask
from db.lookup import Known, known_by
from db.records.log import KeptStudy
from db.records.scores import KeptScore
from db.scores import keep_score
from db.session import Session, open_engine
from db.studies import keep
from lifecycle import issued_looks
from lifecycle.came import passages
from lifecycle.issued_looks import NO_LOOKS, IssuedLook, score_issued_looks
from lifecycle.issued_spares import IssuedSpares, SparesScore, score_issued_spares
from lifecycle.study import next_looks, spares
from tests.api.shown_fleet import LAST

SHOWN = LAST - dt.timedelta(days=70)


@pytest.fixture(scope="module")
def own_ledger(shown_url, tmp_path_factory):
    """A ledger of its own, so that what is kept in it is kept from the others."""
    path = tmp_path_factory.mktemp("own") / "own.db"
    shutil.copy(shown_url.removeprefix("sqlite:///"), path)
    engine = open_engine(f"sqlite:///{path}")
    yield engine
    engine.dispose()


@pytest.fixture
def ledger(own_ledger):
    """Nothing is kept in it."""
    with Session(own_ledger) as session:
        session.execute(delete(KeptScore))
        session.execute(delete(KeptStudy))
        session.commit()
    return own_ledger


def study_of(engine, on=None):
    return ask(engine, on=on, known_on=None, seed=1)


def row(serial, *days, kind="estimated"):
    """A forecast of a steel brake as it was shown, its days counted from the last on record."""
    p10, p50, p90 = (f"{LAST + dt.timedelta(days=each)}" for each in days)
    told = {"serial": serial, "brake_type": "S-100", "kind": kind}
    return {**told, "date_p10": p10, "date_p50": p50, "date_p90": p90}


def show(engine, *rows, on=SHOWN, kept_on=None, **told):
    """Keep a study of a past day as if it had been shown on it, or later."""
    with Session(engine) as session:
        keep(
            session,
            KeptStudy(
                number=f"S-{on}",
                on=on,
                known_on=on,
                known_seq=1,
                seed=1,
                kept_at=f"{kept_on or on}T12:00:00+00:00",
                results=zlib.compress(json.dumps({"changeouts": rows, **told}).encode()),
            ),
        )
        session.commit()


def kept_scores(engine):
    with Session(engine) as session:
        return session.scalar(select(func.count()).select_from(KeptScore))


def test_the_first_view_makes_no_forecast_again(ledger, monkeypatch):
    study = study_of(ledger)

    def opened(*_):
        raise AssertionError("a past study was opened")

    monkeypatch.setattr(past_forecasts, "_opened", opened)
    found = shown_score(ledger, study)
    assert (found.score, found.own, found.issued.outcomes) == (None, False, 0)


@pytest.fixture(scope="module")
def made(own_ledger):
    """A score from one past day, made once for all, and kept."""
    found, before = score_of(own_ledger, study_of(own_ledger), 1), kept_scores(own_ledger)
    assert before == 1
    return found


def keep_as(engine, made, study):
    with Session(engine) as session:
        keep_score(session, past_forecasts._packed(made, study, 1, seq=1))
        session.commit()


def test_a_score_is_made_once_and_read_back_the_same(ledger, made, monkeypatch):
    study = study_of(ledger)
    keep_as(ledger, made, study)
    monkeypatch.setattr(past_forecasts, "_opened", None)
    assert score_of(ledger, study, 1) == made
    found = shown_score(ledger, study)
    assert (found.score, found.number, found.own) == (made, study.number, True)


def test_a_score_is_kept_once(ledger, made):
    keep_as(ledger, made, study_of(ledger))
    keep_as(ledger, made, study_of(ledger))
    assert kept_scores(ledger) == 1


def test_the_first_view_shows_the_last_score_of_an_earlier_study_as_such(ledger, made):
    study = study_of(ledger)
    keep_as(ledger, made, replace(study, number="S-EARLIER", on=LAST - dt.timedelta(days=2)))
    found = shown_score(ledger, study)
    assert (found.score, found.number, found.own) == (made, "S-EARLIER", False)
    before = replace(study, number="S-BEFORE", on=LAST - dt.timedelta(days=5))
    assert shown_score(ledger, before).score is None


def test_forecasts_are_scored_as_they_were_shown(ledger):
    """No limit was reached by a reading in the rate: today lies in one range that has passed and after two others."""
    show(
        ledger,
        row("LOW-1", -9, -3, 0),
        row("S-3", -30, -20, -10),
        row("S-4", -30, 20, 60),
        row("TWIN", -60, -60, -60, kind="observed"),
    )
    show(ledger, row("LOW-1", -40, -30, -20), on=SHOWN + dt.timedelta(days=1))
    found = shown_score(ledger, study_of(ledger)).issued
    assert (found.studies, found.outcomes, found.inside, found.sooner, found.later) == (2, 3, 1, 0, 2)
    assert found.coverage_80 == pytest.approx(1 / 3)
    assert [(each.forecast.serial, each.came, each.side) for each in found.misses] == [
        ("LOW-1", None, "later"),
        ("S-3", None, "later"),
    ]
    assert found.bias_days < 0
    assert found.misses[0].forecast.shown_on == SHOWN + dt.timedelta(days=1)


def test_of_a_day_the_study_kept_last_counts_and_a_look_back_was_no_forecast(ledger):
    show(ledger, row("LOW-1", -9, -3, 0), kept_on=SHOWN + dt.timedelta(days=40))
    assert shown_score(ledger, study_of(ledger)).issued.studies == 0


def test_the_page_offers_to_forecast_again_and_then_shows_what_came(ledger, made):
    show(ledger, row("LOW-1", -9, -3, 0), row("S-3", -30, -20, -10))
    study, request = study_of(ledger), frame_for("/against-facts")
    first = rendered(study, request, shown_score(ledger, study))
    assert "1 of 2" in first
    assert "Forecast again from 4 past days" in first
    assert "The misses, as shown" in first
    assert "Latest days for a reading are kept as shown; none has passed yet." in first
    again = rendered(
        study, request, Shown(made.issued, score=made, number=study.number, on=study.on, own=True)
    )
    assert "Made again from 1" in again
    assert "Forecast again from 4 past days" not in again


def frame_for(path):
    return Frame(title="", question="", path=path, asked={})


def rendered(study, frame, found):
    """The page's own words, spaces made plain."""
    page = page_of(replace(frame, scope=scope_of(study, "")), study, found)
    return render("against_facts.html", page).body.decode().replace("\N{NO-BREAK SPACE}", " ")


def test_spares_and_reading_days_are_kept_as_shown(ledger):
    study = replace(study_of(ledger), number="S-KEPT")
    studies._keep(ledger, study, Known(study_seq(ledger), study.known_on))
    with Session(ledger) as session:
        told = json.loads(zlib.decompress(session.get(KeptStudy, "S-KEPT").results))
    shown = {(each.base, each.brake_type, f"{each.month}"): each for each in spares(study, months=6)}
    assert len(told["spares"]) == len(shown) > 0
    for each in told["spares"]:
        kept = shown[each["base"], each["brake_type"], each["month"]]
        assert (each["p50"], each["p90"]) == (kept.p50, kept.p90)
    assert {each["serial"] for each in told["readings"]} == {each.serial for each in next_looks(study)}


def test_spares_and_reading_days_as_shown_are_scored_beside_forecasts_made_again(ledger, made):
    next_month = (SHOWN.replace(day=1) + dt.timedelta(days=32)).replace(day=1)
    ended = {
        "base": "Home",
        "brake_type": "S-100",
        "month": f"{next_month}",
        "p50": 0.0,
        "p90": 9.0,
    }
    looked = {
        "serial": "S-3",
        "brake_type": "S-100",
        "level": 0.05,
        "latest_on": f"{SHOWN + dt.timedelta(days=2)}",
    }
    show(ledger, spares=[ended], readings=[looked])
    found = shown_score(ledger, study_of(ledger)).beside(made)
    assert (found.outcomes, found.issued_spares.months, found.issued_spares.within_p90) == (
        made.outcomes,
        1,
        1,
    )
    assert found.issued_looks.days + found.issued_looks.open == 1
    told = plain(found)
    assert (told["issued_spares"]["months"], "share_high" in told["issued_looks"]) == (1, True)


def study_seq(engine):
    with Session(engine) as session:
        return known_by(session).seq


def test_spares_as_shown_are_scored_by_the_removals_of_months_that_have_ended(ledger):
    """One brake of the fleet came off at Home for a leak, on 1 Jan 2026; two months of no removal beside it."""
    before = dt.date(2025, 12, 15)

    def shown(month, p50, p90, on=before):
        return IssuedSpares(on, "Home", "S-100", dt.date(2026, month, 1), p50, p90)

    study = study_of(ledger)
    january = score_issued_spares(study, [shown(1, 0.0, 0.0)])
    assert (january.months, january.within_p90, january.bias) == (1, 0, -1.0)
    assert (january.pinball_p50, january.pinball_p90) == (0.5, 0.9)
    both = score_issued_spares(study, [shown(1, 1.0, 2.0), shown(2, 1.0, 2.0), shown(2, 1.0, 2.0)])
    assert (both.months, both.within_p90, both.bias) == (2, 2, 0.5)
    assert both.pinball_p50 == pytest.approx(0.25)
    assert both.pinball_p90 == pytest.approx((0.1 * 1 + 0.1 * 2) / 2)
    ahead = [shown(5, 0.0, 0.0), shown(1, 0.0, 0.0, on=dt.date(2026, 1, 1))]
    assert score_issued_spares(study, ahead) == SparesScore(0, 0)


def test_latest_days_for_a_reading_are_scored_by_whether_the_limit_had_been_passed_by_then(ledger):
    """By what the brake's readings say of its limit; nothing is known where nobody has read it since."""
    study = study_of(ledger)
    passed = passages(study.runs, study.fit)["passed_on"].dropna()
    read = study.runs.readings.groupby("run")["day"].max().dt.date
    runs = study.runs.runs.reset_index(names="at").set_index(["serial", "brake_type"])
    last = read[runs.loc[("S-3", "S-100"), "at"]]

    def shown(on, latest_on, serial="S-3"):
        return IssuedLook(on, serial, "S-100", 0.05, latest_on)

    day = dt.timedelta(days=1)
    in_time = shown(last - 20 * day, last - 5 * day)
    assert passed.empty
    one = score_issued_looks(study, [in_time, replace(in_time, latest_on=last)])
    assert (one.days, one.passed, one.level, one.open) == (1, 0, 0.05, 0)
    assert one.share_low == 0.0 < one.share_high < 1.0
    unread = shown(last, last + day)
    assert score_issued_looks(study, [unread]) == replace(NO_LOOKS, open=1)
    ahead = [shown(last - day, study.on + day), shown(last, last), shown(last - day, last, serial="NOBODY")]
    assert score_issued_looks(study, ahead) == NO_LOOKS


def test_a_limit_passed_before_the_latest_day_counts_against_it(ledger, monkeypatch):
    study = study_of(ledger)
    runs = study.runs.runs
    found = passages(study.runs, study.fit)
    own = runs.index[(runs["serial"] == "S-3") & (runs["brake_type"] == "S-100")][0]
    passed_on = pd.Timestamp(LAST - dt.timedelta(days=30))
    dated = found["passed_on"].where(found.index != (runs["brake"][own], runs["run"][own]), passed_on)
    monkeypatch.setattr(issued_looks, "passages", lambda *_: found.assign(passed_on=dated))
    shown = [
        IssuedLook(LAST - dt.timedelta(days=60), "S-3", "S-100", 0.05, LAST - dt.timedelta(days=ago))
        for ago in (29, 31)
    ]
    assert [score_issued_looks(study, [each]).passed for each in shown] == [1, 0]
    off_before = found.assign(passed_on=dated, passed_at=found["until"] + 1.0)
    monkeypatch.setattr(issued_looks, "passages", lambda *_: off_before)
    assert score_issued_looks(study, shown[:1]).passed == 0, "taken off as worn before its limit"
