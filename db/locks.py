"""One writer at a time on one record, so that the second sees what the first did."""

from sqlalchemy import text
from sqlalchemy.orm import Session


def lock_record(session: Session, fact: int) -> None:
    """Hold a record until the transaction ends; on SQLite the transaction holds the whole ledger already."""
    if session.get_bind().dialect.name == "postgresql":
        session.execute(text("SELECT pg_advisory_xact_lock(:fact)"), {"fact": fact})
