"""Work on a brake that leaves it where it is: re-shims within a run, and days on which it does not brake."""

import pandas as pd
from sqlalchemy.orm import Session

from db.chain import Act
from db.entry.named import Named
from db.entry.outcome import Outcome
from db.entry.possible import refuse_days_ahead
from db.files import FILES
from db.records.brakes import Deactivation, Reshim


def record_reshims(session: Session, act: Act, rows: pd.DataFrame) -> Outcome:
    """Record that spacers restored pin stroke within a run."""
    named = Named(session, FILES["reshims"], rows)
    refuse_days_ahead(named, "day")
    return named.record(act, Reshim, brake=named.brakes())


def record_deactivations(session: Session, act: Act, rows: pd.DataFrame) -> Outcome:
    """Record from when to when a brake is installed and not braking; an end filled in later completes it."""
    named = Named(session, FILES["deactivations"], rows)
    refuse_days_ahead(named, "from", "to")
    return named.record(act, Deactivation, brake=named.brakes())
