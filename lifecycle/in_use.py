"""When aircraft are in use: status, checks, entry into service and retirement on the line of days."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from lifecycle.aircraft import aircraft_on, grounded_spans
from lifecycle.days import FAR, FloatArray, day_numbers
from lifecycle.observations import Records

CHECK_DAYS: Final = 30.0
CHECK_DAYS_MORE: Final = 7.0


@dataclass(frozen=True)
class Use:
    """
    Days between which each aircraft flies and flew, counted from one day, arrays of shape (a,).

    Attributes
    ----------
    begins, stops : arrays of float
        0 and inf for most; ``begins`` inf for an aircraft that does not fly.
    flew_from, flew_to : arrays of float
        Not after 0: the last spell of flying without a break.
    """

    begins: FloatArray
    stops: FloatArray
    flew_from: FloatArray
    flew_to: FloatArray


def when_in_use(records: Records, today: int) -> Use:
    """
    When each aircraft flies and flew.

    Parameters
    ----------
    records : Records
        Needs aircraft and aircraft_changes.
    today : int
        Day number counted from.

    Returns
    -------
    Use
        An aircraft stored, leased out, sold or retired does not fly; one in check begins again `CHECK_DAYS` after the
        check began (practice, no source), one longer in check in `CHECK_DAYS_MORE`.
    """
    code, begun, ended = grounded_spans(records)
    begun, ended = begun - today, ended - today
    now, past, ahead = (begun <= 0) & (ended > 0), ended <= 0, begun > 0
    some = begun < ended
    n = len(records.aircraft)
    begins, stops = np.zeros(n), np.full(n, np.inf)
    flew_from, flew_to = np.full(n, -np.inf), np.zeros(n)
    # A span of days is counted from the end of the day before it to the end of its last day.
    np.maximum.at(begins, code[now & some], np.where(ended < FAR - today, ended - 1.0, np.inf)[now & some])
    np.minimum.at(stops, code[ahead & some], begun[ahead & some] - 1.0)
    np.minimum.at(flew_to, code[now & some], begun[now & some] - 1.0)
    np.maximum.at(flew_from, code[past & some], ended[past & some] - 1.0)
    status = aircraft_on(records, "status", np.arange(n), np.full(n, today))
    in_check = (status == "in check") & np.isinf(begins)
    begins[in_check] = np.maximum(CHECK_DAYS + flew_to[in_check], CHECK_DAYS_MORE)
    gone = (status == "sold") | (day_numbers(records.aircraft["retires_on"]) <= today)
    return Use(
        np.where(gone, np.inf, begins), np.where(gone, 0.0, stops), np.minimum(flew_from, flew_to), flew_to
    )
