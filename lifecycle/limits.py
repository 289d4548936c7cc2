"""The wear limit in force for a brake type, weight variant, position group and day."""

from collections.abc import Iterable
from typing import NamedTuple

import numpy as np
import pandas as pd

from lifecycle.conventions import left_offset_nm, left_sign, whole_nm
from lifecycle.days import day_numbers
from lifecycle.observations import Records


class _Limit(NamedTuple):
    """One row of the limits; ``left_nm`` is it as length left, NaN where the new length is not known."""

    weight_variant: str
    position_group: str
    convention: str
    limit_nm: int
    at_limit: str
    effective_on: int
    left_nm: float


class _Ruling(NamedTuple):
    """What holds: NaN and a warning where nothing can be said."""

    convention: str
    limit_nm: float
    at_limit: str
    warning: str


def limits_in_force(records: Records, asked: pd.DataFrame) -> pd.DataFrame:
    """
    Wear limits for many brakes at once.

    Parameters
    ----------
    records : Records
        Needs wear_limits and brake_types.
    asked : DataFrame, n rows
        Columns ``brake_type``, ``weight_variant``, ``position_group`` ("" where not known) and ``day``.

    Returns
    -------
    DataFrame, n rows
        ``convention``, ``limit_nm`` (in that convention, NaN where there is none), ``at_limit`` (``off`` or
        ``allowed``), ``warning`` ("" if all is known). Index as in ``asked``.

    Notes
    -----
    Of the limits effective by the day, the one naming most of weight variant and position group holds, and of
    these the latest effective. Two that differ and rank the same: the tighter one. Where the variant or the group
    is not known and the limit depends on it, there is no limit and the warning says so.
    """
    by_type = _by_type(records)
    # Days matter only by how many of the type's limits had become effective: that leaves few different questions.
    starts = {name: np.unique([row.effective_on for row in rows]) for name, rows in by_type.items()}
    day, era = day_numbers(asked["day"]), np.zeros(len(asked), dtype=np.int64)
    brake_type = asked["brake_type"].to_numpy(dtype=object)
    for name, days in starts.items():
        at = brake_type == name
        era[at] = np.searchsorted(days, day[at], side="right")
    question = asked[["brake_type", "weight_variant", "position_group"]].assign(era=era)
    number = question.groupby(list(question.columns), sort=False).ngroup().to_numpy()
    first = pd.DataFrame({"number": number}).drop_duplicates().index
    rulings = [
        _rule(_effective(by_type.get(row[0], ()), starts.get(row[0]), row[3]), row[0], row[1], row[2])
        for row in question.iloc[first].itertuples(index=False, name=None)
    ]
    answers = pd.DataFrame(rulings, columns=pd.Index(_Ruling._fields))
    return answers.iloc[number].set_axis(asked.index)


def _by_type(records: Records) -> dict[str, tuple[_Limit, ...]]:
    limits = records.wear_limits
    new = records.brake_types.set_index("brake_type")[["new_pin_mm", "new_gap_mm"]].reindex(
        limits["brake_type"]
    )
    convention = limits["convention"].to_numpy(dtype=object)
    value = limits["limit_nm"].to_numpy(dtype=float)
    offset = left_offset_nm(
        convention, whole_nm(new["new_pin_mm"].to_numpy()), whole_nm(new["new_gap_mm"].to_numpy())
    )
    rows = limits[
        ["brake_type", "weight_variant", "position_group", "convention", "limit_nm", "at_limit"]
    ].assign(effective_on=day_numbers(limits["effective_on"]), left_nm=offset + left_sign(convention) * value)
    found: dict[str, tuple[_Limit, ...]] = {}
    for name, *row in rows.itertuples(index=False, name=None):
        found[name] = (*found.get(name, ()), _Limit(*row))
    return found


def _effective(rows: Iterable[_Limit], days: np.ndarray | None, era: int) -> list[_Limit]:
    if days is None or era == 0:
        return []
    return [row for row in rows if row.effective_on <= days[era - 1]]


def _rule(rows: list[_Limit], brake_type: str, weight_variant: str, position_group: str) -> _Ruling:
    variants = _possible(weight_variant, (row.weight_variant for row in rows))
    groups = _possible(position_group, (row.position_group for row in rows))
    rulings = {_pick(rows, variant, group) for variant in variants for group in groups}
    if len(rulings) > 1:
        unknown = " and ".join(
            name
            for name, choices in (("weight variant", variants), ("position group", groups))
            if len(choices) > 1
        )
        return _Ruling(
            "", np.nan, "off", f"{unknown} not known, and the limits of {brake_type} depend on it: no limit"
        )
    ruling = rulings.pop()
    if ruling is not None:
        return _Ruling(*ruling, "")
    scope = ", ".join(part for part in (brake_type, weight_variant, position_group) if part)
    return _Ruling("", np.nan, "off", f"no wear limit on record for {scope}")


def _possible(known: str, named: Iterable[str]) -> set[str]:
    return {known} if known else {"", *named}


def _pick(rows: list[_Limit], weight_variant: str, position_group: str) -> tuple[str, int, str] | None:
    """Convention, limit and at_limit of the most specific row that fits, or None."""
    fitting = [
        row
        for row in rows
        if row.weight_variant in ("", weight_variant) and row.position_group in ("", position_group)
    ]
    if not fitting:
        return None
    most = max(_scopes(row) for row in fitting)
    fitting = [row for row in fitting if _scopes(row) == most]
    newest = {(row.weight_variant, row.position_group): 0 for row in fitting}
    for row in fitting:
        scope = (row.weight_variant, row.position_group)
        newest[scope] = max(newest[scope], row.effective_on)
    standing = [row for row in fitting if row.effective_on == newest[row.weight_variant, row.position_group]]
    tightest = max(standing, key=_tightness)
    return tightest.convention, tightest.limit_nm, tightest.at_limit or "off"


def _scopes(row: _Limit) -> int:
    return bool(row.weight_variant) + bool(row.position_group)


def _tightness(row: _Limit) -> tuple[float, bool]:
    """Sorts the limit that takes the brake off soonest last; "off" at the limit is tighter than "allowed"."""
    sign = 1 if row.convention == "left" else -1
    as_left = row.left_nm if np.isfinite(row.left_nm) else float(sign * row.limit_nm)
    return as_left, row.at_limit != "allowed"
