"""Pieces of the migrations: columns by kind, and the one shape of a fact table with the rules that guard it."""

from typing import Any

import sqlalchemy as sa
from alembic import op

INTEGER = sa.BigInteger().with_variant(sa.Integer(), "sqlite")

# `null=True` on any of these: the value may be unknown.


def whole(name: str, *rules: sa.CheckConstraint, null: bool = False, key: bool = False) -> sa.Column[Any]:
    """Whole number."""
    return sa.Column(name, INTEGER, *rules, nullable=null, primary_key=key, autoincrement=False)


def number(name: str, *rules: sa.CheckConstraint) -> sa.Column[Any]:
    """Number, where known."""
    return sa.Column(name, sa.Double(), *rules, nullable=True)


def text(name: str, *, null: bool = False, key: bool = False) -> sa.Column[Any]:
    """Text."""
    return sa.Column(name, sa.String(), nullable=null, primary_key=key)


def day(name: str, *, null: bool = False) -> sa.Column[Any]:
    """Day."""
    return sa.Column(name, sa.Date(), nullable=null)


def yes_or_no(name: str) -> sa.Column[Any]:
    """True or false."""
    return sa.Column(name, sa.Boolean(), nullable=False)


def content(name: str) -> sa.Column[Any]:
    """Bytes."""
    return sa.Column(name, sa.LargeBinary(), nullable=False)


def word(name: str, *allowed: str, null: bool = False, rule: str = "") -> sa.Column[Any]:
    """One of the allowed words."""
    kind = sa.Enum(*allowed, name=rule or name, native_enum=False, create_constraint=True, length=40)
    return sa.Column(name, kind, nullable=null)


def refers(name: str, target: str, *, null: bool = False, key: bool = False) -> sa.Column[Any]:
    """Record number in another table."""
    return sa.Column(
        name, INTEGER, sa.ForeignKey(target), nullable=null, primary_key=key, autoincrement=False
    )


def not_negative(name: str) -> sa.CheckConstraint:
    """Refuse numbers below zero."""
    return sa.CheckConstraint(f"{name} >= 0", name=name)


def fact_table(name: str, *columns: sa.Column[Any], key: tuple[str, ...] = ()) -> None:
    """Create a table of facts: their bookkeeping, append-only, and one first version a key."""
    op.create_table(
        name,
        whole("id", key=True),
        whole("fact"),
        whole("version"),
        day("known_on"),
        yes_or_no("withdrawn"),
        text("reason", null=True),
        text("work_order", null=True),
        text("note", null=True),
        refers("seq", "change.seq"),
        refers("supersedes", f"{name}.id", null=True),
        *columns,
        sa.UniqueConstraint("fact", "version"),
        sa.UniqueConstraint("supersedes"),
    )
    op.create_index(op.f(f"ix_{name}_seq"), name, ["seq"])
    if key:
        first = sa.text("version = 1")
        parts = [sa.text(part) if "(" in part else part for part in key]
        op.create_index(
            f"uq_{name}_key", name, parts, unique=True, sqlite_where=first, postgresql_where=first
        )
    append_only(name)


def blank_or(name: str, blank: str = "''") -> str:
    """Return a part of a key that may be blank; two blanks are the same key."""
    return f"coalesce({name}, {blank})"


def append_only(table: str) -> None:
    """Refuse UPDATE and DELETE (on SQLite so also REPLACE), and TRUNCATE on PostgreSQL."""
    if op.get_context().dialect.name == "sqlite":
        for act in ("UPDATE", "DELETE"):
            op.execute(
                f"CREATE TRIGGER {table}_append_only_{act.lower()} BEFORE {act} ON {table} "
                f"BEGIN SELECT RAISE(ABORT, 'append_only: {act} on {table}'); END"
            )
        return
    op.execute(
        f"CREATE TRIGGER {table}_append_only BEFORE UPDATE OR DELETE OR TRUNCATE ON {table} "
        "FOR EACH STATEMENT EXECUTE FUNCTION refuse_change()"
    )


def postgresql_function(name: str, body: str) -> None:
    """Create a trigger function, on PostgreSQL only."""
    if op.get_context().dialect.name == "postgresql":
        op.execute(f"CREATE FUNCTION {name}() RETURNS trigger LANGUAGE plpgsql AS $${body}$$")
