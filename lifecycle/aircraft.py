"""What an aircraft is called, where it is kept, its weight variant and status, on any day."""

from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from lifecycle.days import FAR, IntArray, day_numbers, keys, latest
from lifecycle.landings import codes_of
from lifecycle.observations import Records

# Column of the changes and the column of the aircraft that it replaces ("" where the aircraft has none).
ATTRIBUTES: Final = {
    "registration": "new_registration",
    "base": "base",
    "weight_variant": "weight_variant",
    "status": "status",
}
FLYING: Final = "flying"
FLYING_WORDS: Final = (FLYING, "deployed")


def aircraft_on(records: Records, attribute: str, code: IntArray, day: IntArray) -> npt.NDArray[np.object_]:
    """
    One attribute of many aircraft, each on its own day.

    Parameters
    ----------
    records : Records
        Needs aircraft and aircraft_changes.
    attribute : str
        ``registration``, ``base``, ``weight_variant`` or ``status``.
    code, day : arrays of int64, shape (n,)
        Aircraft as positions in ``records.aircraft`` (-1 for none), and day numbers.

    Returns
    -------
    array of str, shape (n,)
        The latest change effective by the day, else what the aircraft began with; "" for no aircraft. A status
        never given is ``flying``.
    """
    craft = records.aircraft
    begins = np.full(len(craft), FLYING) if attribute == "status" else craft[attribute]
    values = np.append(np.asarray(begins, dtype=object), "")[code]
    changes = records.aircraft_changes
    changes = changes[changes[ATTRIBUTES[attribute]] != ""]
    if changes.empty:
        return values
    which = codes_of(pd.Index(craft["aircraft"]), changes["aircraft"], "aircraft in aircraft_changes")
    key = keys(which, day_numbers(changes["from_on"]))
    order = np.argsort(key, kind="stable")
    at = latest(key[order], code, day)
    changed = changes[ATTRIBUTES[attribute]].to_numpy(dtype=object)[order]
    return np.where(at >= 0, changed[at], values)


def grounded_spans(records: Records) -> tuple[IntArray, IntArray, IntArray]:
    """
    When aircraft did not fly here: stored, in check, leased out, sold, not yet in service, or retired.

    Parameters
    ----------
    records : Records
        Needs aircraft and aircraft_changes.

    Returns
    -------
    tuple of three arrays of int64, shape (n,)
        Aircraft as position in ``records.aircraft``, first day of the span, and first day after it; -FAR and FAR where
        open.
    """
    craft, changes = records.aircraft, records.aircraft_changes
    changes = changes[changes["status"] != ""]
    code = codes_of(pd.Index(craft["aircraft"]), changes["aircraft"], "aircraft in aircraft_changes")
    key = keys(code, day_numbers(changes["from_on"]))
    order = np.argsort(key, kind="stable")
    code, day = code[order], day_numbers(changes["from_on"])[order]
    until = np.where(np.append(code[1:], -1)[: len(code)] == code, np.append(day[1:], FAR)[: len(code)], FAR)
    away = ~changes["status"].isin(FLYING_WORDS).to_numpy()[order]
    every = np.arange(len(craft))
    in_service, retires = day_numbers(craft["in_service_on"], missing=-FAR), day_numbers(craft["retires_on"])
    return (
        np.concatenate([code[away], every, every]),
        np.concatenate([day[away], np.full(len(craft), -FAR), retires]),
        np.concatenate([until[away], in_service, np.full(len(craft), FAR)]),
    )


def position_groups(
    records: Records, code: IntArray, position: npt.NDArray[np.object_]
) -> npt.NDArray[np.object_]:
    """
    Position group of each (aircraft, position).

    Parameters
    ----------
    records : Records
        Needs aircraft and aircraft_types.
    code : array of int64, shape (n,)
        Aircraft as positions in ``records.aircraft``, -1 for none.
    position : array of str, shape (n,)
        Names of positions.

    Returns
    -------
    array of str, shape (n,)
        The group in the type's table, "" where the table has none or lacks the position.
    """
    of_type = np.append(records.aircraft["aircraft_type"].to_numpy(dtype=object), "")[code]
    table = {
        (kind, name): group
        for kind, names, groups in zip(
            *(
                records.aircraft_types[column].tolist()
                for column in ("aircraft_type", "positions", "position_groups")
            ),
            strict=True,
        )
        for name, group in zip(names, groups, strict=False)
    }
    pairs = pd.MultiIndex.from_arrays([of_type, position])
    wanted = pd.MultiIndex.from_tuples(list(table), names=None) if table else pairs[:0]
    found = wanted.get_indexer(pairs)
    return np.append(np.array(list(table.values()), dtype=object), "")[found]


def positions_on_type(records: Records) -> IntArray:
    """
    Number of brake positions of each aircraft.

    Parameters
    ----------
    records : Records
        Needs aircraft and aircraft_types.

    Returns
    -------
    array of int64, shape (a,)
        In the order of ``records.aircraft``.

    Raises
    ------
    BadRecordsError
        If an aircraft's type is not in the records.
    """
    types = records.aircraft_types
    at = codes_of(pd.Index(types["aircraft_type"]), records.aircraft["aircraft_type"], "aircraft type")
    counts = np.array([len(names) for names in types["positions"]], dtype=np.int64)
    return counts[at] if len(at) else np.zeros(0, dtype=np.int64)
