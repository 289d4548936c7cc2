"""
What records refer to: brakes, aircraft, types and bases, found by their record numbers.

Whoever wrote down a landing knew of the aircraft. So what a known record refers to is known, in its first version, even
where its own row came in later: a history is often brought in with its master data last.
"""

from collections.abc import Iterable, Mapping
from typing import Any, Final

import numpy as np
import numpy.typing as npt
import pandas as pd
from sqlalchemy import select
from sqlalchemy.orm import Session

from db.base import table_of
from db.lookup import among
from db.observed import OBSERVED, read_all

# In this order, since brakes and aircraft refer to types and bases.
REFERRED_BY: Final[Mapping[str, tuple[str, ...]]] = {
    "brakes": ("brake", "brake_back"),
    "aircraft": ("aircraft",),
    "brake_types": ("brake_type",),
    "aircraft_types": ("aircraft_type",),
    "bases": ("base",),
}
NAMED: Final = {"brake_types": "brake_type", "aircraft_types": "aircraft_type", "bases": "base"}


def add_referred(session: Session, frames: dict[str, pd.DataFrame]) -> None:
    """Add to the frames what their rows refer to and what was not known by a row of its own."""
    for name, columns in REFERRED_BY.items():
        if name not in frames:
            continue
        others = [frame for other, frame in frames.items() if other != name]
        referred = _numbers(frame[column] for frame in others for column in columns if column in frame)
        missing = np.setdiff1d(referred, frames[name]["fact"].to_numpy())
        if len(missing):
            model = OBSERVED[name].model
            first = select(table_of(model)).where(model.version == 1, among(model.fact, missing.tolist()))
            rows = read_all(session, name, first)
            rows = rows[rows["fact"].isin(missing)]
            frames[name] = pd.concat([frames[name], rows], ignore_index=True)


def names_of(frames: Mapping[str, pd.DataFrame]) -> dict[str, "pd.Series[str]"]:
    """Name by record number, for each column whose references are told by name."""
    return {
        column: frames[name].set_index("fact")[column].astype("str").rename("name")
        for name, column in NAMED.items()
    }


def tell_names(frames: dict[str, pd.DataFrame]) -> None:
    """Put names where the tables have record numbers of bases and types."""
    names = names_of(frames)
    for frame_name, frame in frames.items():
        for own, column in NAMED.items():
            if column in frame and frame_name != own:
                frame[column] = name_each(frame[column], names[column])


def name_each(numbers: "pd.Series[Any]", names: "pd.Series[str]") -> npt.NDArray[Any]:
    """Name of each record number, "" where there is none."""
    place = names.index.get_indexer(pd.Index(numbers.fillna(-1).astype("int64")))
    known = np.append(names.to_numpy(dtype=object), "")
    return known[place]


def _numbers(columns: Iterable["pd.Series[Any]"]) -> npt.NDArray[np.int64]:
    found = [column.dropna().unique() for column in columns]
    return np.unique(np.concatenate(found)).astype(np.int64) if found else np.empty(0, dtype=np.int64)
