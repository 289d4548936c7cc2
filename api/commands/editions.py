"""Commands on editions: list them beside today's answer, print one, withdraw one."""

import argparse
import json
import sys
from dataclasses import asdict

from api.editions import moved_of
from api.output import plain, write
from api.pages.editions import line_of
from api.shown_brief import read_again
from api.studies import ask
from db.chain import Act
from db.editions import edition, shown_in
from db.entry.editions import withdraw_edition
from db.people import check_writer
from db.schema import check
from db.session import Session, open_engine, reading

COLUMNS = (
    *("number", "title", "from_type", "to_type", "forecast_on", "frozen_by"),
    *("recommendation_then", "recommendation_now", "npv_then", "npv_now"),
    *("payback_years_p50_then", "payback_years_p50_now", "withdrawn_by"),
)


def editions(asked: argparse.Namespace) -> int:
    """List every edition, or print one as it was frozen."""
    engine = open_engine(asked.db)
    check(engine)
    if asked.number is not None:
        with Session(reading(engine)) as session:
            found, shown = edition(session, asked.number), shown_in(session, asked.number)
        whole = {"edition": plain(found), "shown": json.loads(shown)}
        write(whole, asked.format, rows=read_again(shown).flows)
        sys.stderr.write(f"head of the log then: {found.records_head}; its own entry: {found.entry}\n")
        return 0
    study = ask(engine, on=asked.on, known_on=asked.known_on, seed=asked.seed, known_head=asked.known_head)
    moved = moved_of(engine, study, withdrawn=True)
    write(moved, asked.format, rows=[line_of(each) for each in moved], columns=COLUMNS)
    if not moved:
        sys.stderr.write("no edition is kept; freeze one with `pinledger briefing ... --freeze TITLE`\n")
    return 0


def withdraw(asked: argparse.Namespace) -> int:
    """Withdraw an edition with a reason; it stays readable."""
    engine = open_engine(asked.db)
    check(engine)
    act = Act(asked.person, f"command edition {asked.number}", "withdraw an edition", asked.reason)
    with Session(engine) as session:
        check_writer(session, asked.person)
        version = edition(session, asked.number).version
        found = withdraw_edition(session, act, asked.number, version=version)
        session.commit()
    write([asdict(found)], asked.format, columns=("number", "title", "withdrawn_by", "reason"))
    return 0
