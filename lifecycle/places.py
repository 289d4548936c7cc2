"""Where each run landed: its installations, cut where their aircraft was moved to another base."""

import numpy as np
import pandas as pd

from lifecycle.aircraft import aircraft_on
from lifecycle.days import FloatArray, day_number, day_numbers, keys
from lifecycle.landings import FlownDays, codes_of
from lifecycle.placed import Book


def place_frame(book: Book, flown: FlownDays, spans: pd.DataFrame) -> pd.DataFrame:
    """
    Stretches of every run at one base and in one position group.

    Parameters
    ----------
    book : Book
        Needs aircraft and aircraft_changes of its records.
    flown : FlownDays
        Braked landings of the aircraft.
    spans : DataFrame
        Installations, as `exposure.Runs.spans`.

    Returns
    -------
    DataFrame
        ``run``, ``base``, ``position_group``, ``landings_from``, ``landings_to``: one row a stretch, in the order
        of the installations. The landings of an installation are divided as those of its aircraft were.
    """
    stays = book.stays
    real = np.flatnonzero(stays.row >= 0)
    frame = spans[["run", "base", "position_group", "landings_from", "landings_to"]]
    changes = book.records.aircraft_changes
    changes = changes[changes["base"] != ""]
    if changes.empty:
        return frame
    ids = pd.Index(book.records.aircraft["aircraft"])
    moved = pd.DataFrame(
        {
            "aircraft": codes_of(ids, changes["aircraft"], "aircraft in aircraft_changes"),
            "day": day_numbers(changes["from_on"]),
        }
    )
    ended = np.minimum(stays.ended[real], day_number(book.on))
    fitted = pd.DataFrame(
        {
            "aircraft": stays.aircraft[real],
            "place": np.arange(real.size),
            "begun": stays.begun[real],
            "ended": ended,
        }
    )
    cuts = fitted.merge(moved, on="aircraft")
    cuts = cuts[(cuts["begun"] < cuts["day"]) & (cuts["day"] <= cuts["ended"])]
    return _cut(book, flown, frame, fitted, cuts) if len(cuts) else frame


def _cut(
    book: Book, flown: FlownDays, frame: pd.DataFrame, fitted: pd.DataFrame, cuts: pd.DataFrame
) -> pd.DataFrame:
    """Each installation with a cut becomes one row more for each; a base counts from the landings of its first day."""
    whole = fitted.assign(day=fitted["begun"])
    pieces = pd.concat([whole, cuts[whole.columns]], ignore_index=True)
    pieces = pieces.iloc[
        np.argsort(keys(pieces["place"].to_numpy(), pieces["day"].to_numpy()), kind="stable")
    ]
    place, day = pieces["place"].to_numpy(), pieces["day"].to_numpy()
    first = pieces["day"].to_numpy() == pieces["begun"].to_numpy()
    share = _share_flown(flown, pieces, np.where(first, day, day - 1))
    rows = frame.iloc[place]
    begun, ended = rows["landings_from"].to_numpy(float), rows["landings_to"].to_numpy(float)
    since = begun + share * (ended - begun)
    last = np.append(place[1:] != place[:-1], True)
    base = aircraft_on(book.records, "base", pieces["aircraft"].to_numpy(), day)
    return pd.DataFrame(
        {
            "run": rows["run"].to_numpy(),
            "base": pd.Series(base, dtype="str"),
            "position_group": rows["position_group"].to_numpy(),
            "landings_from": since,
            "landings_to": np.where(last, ended, np.append(since[1:], 0.0)),
        }
    )


def _share_flown(flown: FlownDays, pieces: pd.DataFrame, day: np.ndarray) -> FloatArray:
    """Part of an installation's landings that was flown by the end of a day; of none, the part of its days."""
    code, begun, ended = (pieces[name].to_numpy() for name in ("aircraft", "begun", "ended"))
    start = flown.braked_through(code, begun)
    whole = flown.braked_through(code, ended) - start
    by_day = (day - begun) / np.maximum(ended - begun, 1)
    part = flown.braked_through(code, day) - start
    return np.asarray(np.divide(part, whole, out=by_day.astype(np.float64), where=whole > 0))
