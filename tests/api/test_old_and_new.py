"""A migration that only adds, under load: the program that ran before goes on without an error, beside the next one."""

import subprocess
import sys
import tarfile
import time

import pytest
from alembic.script import ScriptDirectory

from api import cli
from db import schema
from tests.api.client_at import SCOPE
from tests.api.nursery import ROOT, kill, nursery
from tests.api.test_killed import Office
from tests.db.test_upgrades import empty_url  # noqa: F401 - a fixture

NEXT = """
import sqlalchemy as sa
from alembic import op
revision = "next"
down_revision = {head!r}


def upgrade():
    for table in ("landing", "pin_reading", "change"):
        op.add_column(table, sa.Column("later", sa.String(), nullable=True))
    op.create_index("ix_landing_later", "landing", ["later"])
    op.create_table("later", sa.Column("id", sa.BigInteger(), primary_key=True))
"""


# The program before adds the person itself, as its schema has it.
TOKEN = """
import datetime as dt, sys
from db.people import add_person
from db.session import Session, open_engine
from db.tokens import issue_token
now, scope = dt.datetime.now(dt.UTC), tuple(sys.argv[2].split())
with Session(open_engine(sys.argv[1])) as session, session.begin():
    add_person(session, "ann", "administrator", now=now)
    print(issue_token(session, "ann", label="t", scope=scope, bases=(), days=30, now=now))
"""


def with_next(tmp_path, monkeypatch):
    """A program that knows one migration more."""
    scripts = ScriptDirectory.from_config(schema.configuration())
    (tmp_path / "next.py").write_text(NEXT.format(head=scripts.get_current_head()))
    config = schema.configuration()
    config.set_main_option("version_locations", f"{scripts.versions}\n{tmp_path}")
    config.set_main_option("path_separator", "newline")
    monkeypatch.setattr(schema, "configuration", lambda: config)


def test_the_running_program_goes_on_over_a_migration_that_adds(postgresql_url, tmp_path, monkeypatch):
    (tmp_path / "files").mkdir()
    with nursery() as born:
        office = Office(postgresql_url, born, tmp_path / "files", 1)
        serving, address = born.serve(postgresql_url)
        with office.working(address):
            office.wait_for_work()
            with monkeypatch.context() as patched:
                with_next(tmp_path, patched)
                schema.migrate(postgresql_url)
            office.wait_for_work()
            office.wait_for_work()
        kill(serving)
        entries, _ = office.check()
        assert entries > 6
        assert sum(clerk.away for clerk in office.clerks) == 0


@pytest.mark.long
def test_the_program_before_the_last_migration_and_this_one_work_together(empty_url, tmp_path):  # noqa: F811
    scripts = ScriptDirectory.from_config(schema.configuration())
    head = scripts.get_revision("head")
    added = git("log", "--format=%H", "--diff-filter=A", "--", head.path).split()
    if not added:
        pytest.skip("no history here: the program of the schema before is not known")
    old = tmp_path / "old"
    archive = tmp_path / "old.tar"
    git("archive", "-o", str(archive), f"{added[-1]}^")
    with tarfile.open(archive) as packed:
        packed.extractall(old, filter="data")
    url = empty_url("postgresql")
    schema.migrate(url, head.down_revision)
    with nursery(old) as before, nursery() as after:
        told = subprocess.run(
            [sys.executable, "-c", TOKEN, url, " ".join(SCOPE)],
            cwd=old,
            capture_output=True,
            text=True,
            check=True,
        )
        office = Office(url, before, tmp_path, 1, told.stdout.strip())
        running, address = before.serve(url)
        with office.working(address):
            office.wait_for_work()
            assert cli.main(["migrate", "--db", url]) == 0
            beside, other = after.serve(url)
            with office.working(other, office.newcomers):
                time.sleep(10)
        kill(running)
        kill(beside)
        entries, _ = office.check()
        assert sum(clerk.away for clerk in (*office.clerks, *office.newcomers)) == 0
    new = sum(len(clerk.acknowledged) for clerk in office.newcomers)
    assert min(entries, new) > 0
    told = f"{entries} entries by the old, {new} by the new, no error"
    print(f"{head.down_revision} with {head.revision}: {told}")  # noqa: T201


def git(*words):
    """What git prints; nothing where there is no history."""
    return subprocess.run(["git", *words], cwd=ROOT, capture_output=True, text=True, check=False).stdout


# Servers and load of minutes: with the long forms, so that the normal run stays short.
pytestmark = pytest.mark.long
