"""Commands on people: add, give a one-time link, list, end access, take a lost authenticator away."""

import argparse
import datetime as dt
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Final

from api.output import write
from db import authenticators, people, schema
from db.access_acts import COMMAND, LINK_LIFE, Doer
from db.session import Session, open_engine

HERE: Final = Doer(way=COMMAND)


def add(asked: argparse.Namespace) -> int:
    """Add a person, and print the link that lets them in."""
    now = dt.datetime.now(dt.UTC)
    with _ledger(asked) as session:
        people.add_person(session, asked.name, asked.role, now=now, bases=tuple(asked.base), by=HERE)
        secret = people.issue_link(session, asked.name, now=now, by=HERE)
    return _print_link(asked, secret)


def link(asked: argparse.Namespace) -> int:
    """Print a new one-time link; with `--lost-authenticator`, no code is asked for any more."""
    with _ledger(asked) as session:
        now = dt.datetime.now(dt.UTC)
        secret = people.issue_link(session, asked.name, now=now, by=HERE, resets=asked.lost_password)
        if asked.lost_authenticator:
            authenticators.remove_authenticator(session, asked.name)
    return _print_link(asked, secret)


def list_all(asked: argparse.Namespace) -> int:
    """List everybody, with their last use."""
    with _ledger(asked) as session:
        known = people.list_people(session, now=dt.datetime.now(dt.UTC))
    write(known, asked.format)
    if not known:
        sys.stderr.write(
            "nobody is added yet; `pinledger person add NAME --role administrator` adds the first\n"
        )
    return 0


def end(asked: argparse.Namespace) -> int:
    """End somebody's access: sessions, links and tokens with it."""
    with _ledger(asked) as session:
        people.end_person(session, asked.name, now=dt.datetime.now(dt.UTC), by=HERE)
    sys.stdout.write(f"{asked.name}: access ended\n")
    return 0


@contextmanager
def _ledger(asked: argparse.Namespace) -> Iterator[Session]:
    engine = open_engine(asked.db)
    schema.check(engine)
    with Session(engine) as session:
        yield session
        session.commit()
    engine.dispose()


def _print_link(asked: argparse.Namespace, secret: str) -> int:
    sys.stdout.write(f"{asked.address.rstrip('/')}/enter/{secret}\n")
    minutes = int(LINK_LIFE.total_seconds() // 60)
    sys.stderr.write(f"lets {asked.name} in once, within {minutes} minutes; give it to nobody else\n")
    return 0
