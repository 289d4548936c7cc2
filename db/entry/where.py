"""Who is where since when: spans of brakes in positions, and which of them cannot both be true."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import numpy.typing as npt
import pandas as pd
from sqlalchemy import or_, select
from sqlalchemy.orm import Session

from db.base import table_of
from db.fleet_on import brake_names, registrations_of
from db.frames import frame_of, records
from db.lookup import among
from db.records.brakes import Occupancy

STILL: Final = pd.Timestamp("9999-12-31").as_unit("s")
IN_ONE_POSITION: Final = ("aircraft", "position")
IN_TWO_PLACES: Final = ("brake",)


@dataclass(frozen=True)
class Clash:
    """Two spans that overlap: the row of the file that cannot be, and the span (place in the frame) in its way."""

    row: int
    other: int


def spans_on_record(session: Session, brakes: Iterable[int], aircraft: Iterable[int]) -> pd.DataFrame:
    """Return where these brakes were, and who was on these aircraft; row 0 stands for "on record"."""
    which = or_(among(Occupancy.brake, brakes), among(Occupancy.aircraft, aircraft))
    return frame_of(session, select(table_of(Occupancy)).where(which)).assign(row=0)


def clashes(spans: pd.DataFrame, by: tuple[str, ...]) -> list[Clash]:
    """
    Find overlapping spans [from_on, to_on) of one position, or of one brake.

    Of two, the row further down in the file is the one that cannot be. A span on and off within a day overlaps only
    what began before that day and ended after it.
    """
    start, end = _days(spans["from_on"]), _days(spans["to_on"].fillna(STILL))
    group = spans.groupby(list(by), sort=False).ngroup().to_numpy()
    order = np.lexsort((end, start, group))
    # The latest end so far in the group and whose it is, in one number, so that one running maximum carries both.
    carried = pd.Series(end[order] * len(spans) + order)
    reached = carried.groupby(group[order]).cummax().groupby(group[order]).shift(fill_value=-1).to_numpy()
    late = (reached // len(spans) > start[order]) & (reached >= 0)
    rows = spans["row"].to_numpy()
    pairs = zip(order[late], reached[late] % len(spans), strict=True)
    return [
        Clash(int(rows[a]), int(b)) if rows[a] > rows[b] else Clash(int(rows[b]), int(a)) for a, b in pairs
    ]


def told(session: Session, spans: pd.DataFrame, found: list[Clash]) -> dict[int, str]:
    """Say for each row who is where since when."""
    others = spans.iloc[[clash.other for clash in found]]
    brakes = brake_names(session, others["brake"].tolist())
    aircraft = registrations_of(session, others["aircraft"].tolist())
    sentences = {}
    for clash, span in zip(found, records(others), strict=True):
        until = "and is still there" if pd.isna(span["to_on"]) else f"until {span['to_on'].date()}"
        where = f"{aircraft[span['aircraft']]} position {span['position']}"
        source = f" (row {span['row']})" if span["row"] else ""
        who = brakes[span["brake"]]
        sentences[clash.row] = f"{who} is in {where} from {span['from_on'].date()} {until}{source}"
    return sentences


def _days(days: "pd.Series[Any]") -> npt.NDArray[np.int64]:
    return days.to_numpy().astype("datetime64[D]").astype(np.int64)
