"""Limits and assumptions that count: those a second person approved, and a tighter limit at once."""

import datetime as dt
from collections.abc import Collection
from typing import Any, Final

import pandas as pd
from sqlalchemy import Select, select
from sqlalchemy.orm import Session

from db.base import Fact, table_of
from db.frames import frame_of
from db.lookup import Known
from db.observed import read_all
from db.records.economics import AssumptionEntry
from db.records.fleet import WearLimit

SIGN: Final = {"left": 1, "gap": -1, "used": -1}  # a tighter limit is a longer pin, a smaller gap, less used
SCOPES: Final = ("weight_variant", "position_group")


def limits_that_count(
    session: Session, on: dt.date, known: Known, *, as_if_approved: Collection[int] = ()
) -> pd.DataFrame:
    """
    Approved limits effective by the day; of the others those that are tighter than the one in force in their place.

    Tighter is told within one convention; a limit where there is none is tighter too. Versions with record numbers in
    `as_if_approved` are taken as approved: what would follow if they were.
    """
    versions = read_all(session, "wear_limits", _versions(WearLimit, known)).sort_values("version")
    versions["approved"] |= versions["record"].isin(list(as_if_approved))
    approved = approved_versions(versions)
    approved = approved[approved["effective_on"] <= pd.Timestamp(on)]
    latest = versions.drop_duplicates("fact", keep="last")
    waiting = latest[
        ~latest["approved"] & ~latest["withdrawn"] & (latest["effective_on"] <= pd.Timestamp(on))
    ]
    tighter = [_is_tighter(row, approved) for row in waiting.itertuples(index=False)]
    counting = pd.concat([approved, waiting[pd.array(tighter, dtype="bool")]])
    return counting.sort_values("record", ignore_index=True)


def approved_assumptions(
    session: Session, on: dt.date, known: Known, *, as_if_approved: Collection[int] = ()
) -> pd.DataFrame:
    """Assumptions approved and dated by the day, references still record numbers."""
    versions = frame_of(session, _versions(AssumptionEntry, known)).sort_values("version")
    versions["approved"] |= versions["id"].isin(list(as_if_approved))
    approved = approved_versions(versions)
    return approved[approved["dated"] <= pd.Timestamp(on)].sort_values("id", ignore_index=True)


def approved_versions(versions: pd.DataFrame) -> pd.DataFrame:
    """Latest approved version of each fact that is not withdrawn; a later one that waits leaves it in force."""
    latest = versions.drop_duplicates("fact", keep="last")
    withdrawn = latest.loc[latest["withdrawn"], "fact"]
    approved = versions[versions["approved"] & ~versions["withdrawn"] & ~versions["fact"].isin(withdrawn)]
    return approved.drop_duplicates("fact", keep="last")


def _versions(model: type[Fact], known: Known) -> Select[Any]:
    return select(table_of(model)).where(model.seq <= known.seq, model.known_on <= known.day)


def _is_tighter(waiting: Any, approved: pd.DataFrame) -> bool:  # noqa: ANN401 - a row of a frame
    """Against the limit that holds in its place: the narrowest that covers it, of these the latest."""
    covering = approved[approved["brake_type"] == waiting.brake_type]
    for scope in SCOPES:
        covering = covering[covering[scope].isin(["", getattr(waiting, scope)])]
    if covering.empty:
        return True
    named = (covering[list(SCOPES)] != "").sum(axis=1)
    held = covering.assign(named=named).sort_values(["named", "effective_on", "record"]).iloc[-1]
    if held["convention"] != waiting.convention:
        return False
    sign = SIGN[waiting.convention]
    before = (sign * held["limit_nm"], held["at_limit"] == "off")
    return bool((sign * waiting.limit_nm, waiting.at_limit == "off") > before)
