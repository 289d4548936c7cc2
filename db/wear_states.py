"""What the last study kept knew of each brake's pin: replaced as a whole, looked up brake by brake."""

from collections.abc import Iterable
from typing import Any

import pandas as pd
from sqlalchemy import delete, insert, select
from sqlalchemy.orm import Session

from db.base import Base, table_of
from db.frames import records
from db.locks import lock_record
from db.lookup import among
from db.records.checks import WearPrior, WearState

# Studies are kept one after another; no record has this number.
ONE_AT_A_TIME = -1


def replace_wear_states(session: Session, study: str, states: pd.DataFrame, priors: pd.DataFrame) -> None:
    """Keep these states and priors (columns as their tables) instead of those of an earlier study."""
    lock_record(session, ONE_AT_A_TIME)
    for model, frame in ((WearState, states), (WearPrior, priors)):
        table = table_of(model)
        session.execute(delete(table))
        rows = [{**row, "study": study} for row in _plain(model, frame)]
        if rows:
            session.execute(insert(table), rows)


def wear_states(session: Session, brakes: Iterable[int]) -> dict[int, WearState]:
    """Return the states kept of these brakes."""
    wanted = set(brakes)
    found = session.scalars(select(WearState).where(among(WearState.brake, wanted)))
    return {state.brake: state for state in found if state.brake in wanted}


def wear_priors(session: Session) -> dict[str, WearPrior]:
    """Return what is kept of each brake type; "" stands for a type that the study did not know."""
    return {prior.brake_type: prior for prior in session.scalars(select(WearPrior))}


def _plain(model: type[Base], frame: pd.DataFrame) -> list[dict[str, Any]]:
    names = [column.key for column in table_of(model).columns if column.key != "study"]
    rows = records(frame[names])
    return [{**row, "since": row["since"].date()} if "since" in row else row for row in rows]


def wear_study(session: Session) -> str:
    """Return the number of the study whose states are kept; "" where there is none."""
    return session.scalar(select(WearPrior.study).limit(1)) or ""
