"""
The role that the application connects as on PostgreSQL: it may add facts and read them, and change none.

Migrations are another's, the owner of the tables. What is no fact (sessions, drafts, answered keys, the chain's head)
the application may change, as its work asks for.
"""

from typing import Final

from sqlalchemy import Connection, Engine, text
from sqlalchemy.exc import ProgrammingError

import db.records
from db.base import Base, Fact
from db.errors import LedgerError

__all__ = ["db", "grant", "granted"]

FACTS: Final = {model.__tablename__ for model in Fact.__subclasses__()} | {"change", "access_act"}
VERSION: Final = "alembic_version"
NOT_ALLOWED: Final = "42501"  # SQLSTATE insufficient_privilege


def grant(engine: Engine, role: str) -> bool:
    """Give the role what the application needs and nothing more; True where the role was made for it."""
    if engine.dialect.name != "postgresql":
        raise LedgerError(
            f"{engine.url!r} has no roles, {role!r} cannot be set up there; a SQLite ledger refuses changes by triggers"
        )
    with engine.begin() as connection:
        name = connection.dialect.identifier_preparer.quote(role)
        made = not _is_there(connection, role)
        if made:
            _make(connection, name)
        _refuse_powerful(connection, role)
        database = connection.dialect.identifier_preparer.quote(str(connection.engine.url.database))
        for statement in (
            f"GRANT CONNECT ON DATABASE {database} TO {name}",
            "REVOKE CREATE ON SCHEMA public FROM PUBLIC",
            f"GRANT USAGE ON SCHEMA public TO {name}",
            f"REVOKE ALL ON ALL TABLES IN SCHEMA public FROM {name}",
            f"GRANT SELECT ON {VERSION} TO {name}",
            f"GRANT USAGE ON ALL SEQUENCES IN SCHEMA public TO {name}",
        ):
            connection.execute(text(statement))
        quote = connection.dialect.identifier_preparer.quote
        for table in Base.metadata.sorted_tables:
            may = "SELECT, INSERT" if table.name in FACTS else "SELECT, INSERT, UPDATE, DELETE"
            connection.execute(text(f"GRANT {may} ON {quote(table.name)} TO {name}"))
    return made


def granted(engine: Engine) -> tuple[str, ...]:
    """Roles that were set up before, so that a later migration can give them its new tables."""
    if engine.dialect.name != "postgresql":
        return ()
    query = text(
        "SELECT DISTINCT grantee FROM information_schema.role_table_grants "
        "WHERE table_schema = 'public' AND table_name = 'change' AND privilege_type = 'INSERT' "
        "AND grantee NOT IN (SELECT tableowner FROM pg_tables WHERE schemaname = 'public' AND tablename = 'change') "
        "ORDER BY grantee"
    )
    with engine.connect() as connection:
        return tuple(connection.execute(query).scalars())


def _make(connection: Connection, name: str) -> None:
    try:
        connection.execute(text(f"CREATE ROLE {name} LOGIN"))
    except ProgrammingError as error:
        if getattr(error.orig, "sqlstate", None) != NOT_ALLOWED:
            raise
        raise LedgerError(
            f"{connection.engine.url!r} may not make roles; have a superuser run CREATE ROLE {name} LOGIN, then again"
        ) from error


def _is_there(connection: Connection, role: str) -> bool:
    return (
        connection.execute(text("SELECT 1 FROM pg_roles WHERE rolname = :role"), {"role": role}).first()
        is not None
    )


def _refuse_powerful(connection: Connection, role: str) -> None:
    """A superuser, the owner, or a member of the owner's role is held by no grant."""
    query = text(
        "SELECT rolsuper OR pg_has_role(rolname, tableowner, 'MEMBER') FROM pg_roles, pg_tables "
        "WHERE rolname = :role AND schemaname = 'public' AND tablename = 'change'"
    )
    if connection.execute(query, {"role": role}).scalar_one():
        raise LedgerError(
            f"role {role!r} is a superuser or owns the tables, so that no grant holds it back; name a role of its own"
        )
