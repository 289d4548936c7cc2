"""
Whether the database still refuses what it was made to refuse: its triggers and exclusions, as the migrations make them.

A ledger whose guards were taken away may verify today and be changed unseen tomorrow.
"""

import io
import re
import threading
from collections.abc import Iterator
from functools import cache
from typing import Final

from alembic.operations import Operations
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import text
from sqlalchemy.orm import Session

from db.errors import LedgerError
from db.schema import configuration

STATEMENT: Final = re.compile(
    r"^(?P<act>CREATE|DROP) TRIGGER (?P<trigger>\w+).*?;$"
    r"|^ALTER TABLE \w+ ADD CONSTRAINT (?P<exclusion>\w+) (?P<rule>EXCLUDE .*?);$"
    r"|^CREATE (OR REPLACE )?FUNCTION (?P<function>\w+)\(\).*?\$\$(?P<body>.*?)\$\$;$",
    re.MULTILINE | re.DOTALL,
)
CALLED: Final = re.compile(r"EXECUTE FUNCTION (\w+)\(\)")
ONE_AT_A_TIME: Final = threading.Lock()  # the migrations write to the context that was made last
ON: Final = ("O", "A")  # of pg_trigger.tgenabled: fires for everybody, or always
TRIGGERS: Final = text(
    "SELECT tgname, pg_get_triggerdef(pg_trigger.oid), prosrc, tgenabled FROM pg_trigger "
    "JOIN pg_proc ON pg_proc.oid = tgfoid JOIN pg_class ON pg_class.oid = tgrelid "
    "WHERE NOT tgisinternal AND relnamespace = 'public'::regnamespace"
)
EXCLUSIONS: Final = text(
    "SELECT conname, pg_get_constraintdef(oid) FROM pg_constraint "
    "WHERE contype = 'x' AND connamespace = 'public'::regnamespace"
)


def check_guards(session: Session) -> int:
    """How many guards stand as the migrations make them; a ledger that lacks one is refused."""
    dialect = session.get_bind().dialect.name
    found = dict(_on_sqlite(session) if dialect == "sqlite" else _on_postgresql(session))
    wanted = guards_made(dialect)
    wrong = [
        f"{name} ({'not as it was made, or switched off' if name in found else 'gone'})"
        for name, made in sorted(wanted.items())
        if found.get(name) != made
    ]
    if wrong:
        more = f" and {len(wrong) - 5} more" if len(wrong) > 5 else ""
        raise LedgerError(
            f"the database lacks {len(wrong)} of its {len(wanted)} guards against changed records: "
            f"{', '.join(wrong[:5])}{more}. The log and its anchors held, but what they do not cover may have been "
            "changed: find out who took the guards away and when, and restore a backup from before it"
        )
    return len(wanted)


@cache
def guards_made(dialect: str) -> dict[str, str]:
    """What the migrations make, by name: told by their statements, which need no database."""
    written = io.StringIO()
    context = MigrationContext.configure(
        dialect_name=dialect, opts={"as_sql": True, "output_buffer": written}
    )
    with ONE_AT_A_TIME, Operations.context(context):
        for script in reversed(list(ScriptDirectory.from_config(configuration()).walk_revisions())):
            script.module.upgrade()
    made: dict[str, str] = {}
    bodies: dict[str, str] = {}
    # The driver for PostgreSQL wants percent signs doubled.
    for found in STATEMENT.finditer(written.getvalue().replace("%%", "%")):
        if found["function"]:
            bodies[found["function"]] = found["body"]
        elif found["exclusion"]:
            made[found["exclusion"]] = _words(found["rule"])
        elif found["act"] == "DROP":
            made.pop(found["trigger"], None)
        else:
            made[found["trigger"]] = found[0].removesuffix(";")
    if dialect == "sqlite":
        return made
    return {name: _postgresql(told, bodies) for name, told in made.items()}


def _postgresql(told: str, bodies: dict[str, str]) -> str:
    called = CALLED.search(told)
    return f"{_words(told)} {bodies[called[1]]}" if called else told


def _on_sqlite(session: Session) -> Iterator[tuple[str, str]]:
    found = session.execute(text("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'"))
    yield from ((name, sql) for name, sql in found)


def _on_postgresql(session: Session) -> Iterator[tuple[str, str]]:
    """Triggers that fire, with the bodies of their functions, and exclusions; none fires in a session of a replica."""
    fires = session.scalar(text("SHOW session_replication_role")) != "replica"
    for name, told, body, enabled in session.execute(TRIGGERS):
        yield name, f"{_words(told)} {body}" if fires and enabled in ON else ""
    for name, told in session.execute(EXCLUSIONS):
        yield name, _words(told)


def _words(told: str) -> str:
    """A definition as PostgreSQL and we both tell it: words in one order, without brackets, casts and schema."""
    plain = told.lower().replace("public.", "").replace("::text", "")
    return " ".join(sorted(re.findall(r"[\w.]+", plain)))
