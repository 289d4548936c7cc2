"""How each heat sink run began: known length or not, and landings already in it when the records begin."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from lifecycle.days import DAY_BITS, FAR, BoolArray, FloatArray, IntArray, day_number, day_numbers
from lifecycle.landings import FlownDays
from lifecycle.observations import Records
from lifecycle.placed import Book
from lifecycle.runs import Stays

# An aircraft may stand for weeks between an installation and its next flight; longer, and the log began later.
LOG_GAP_DAYS: Final = 45


@dataclass(frozen=True)
class Starts:
    """
    Start of every run, arrays of shape (r,).

    Attributes
    ----------
    known : array of bool
        The length at landing 0 is known.
    length_mm : array of float
        Length left at landing 0; where not known that of a new pin, 0 where that is not known either.
    landings_before : array of float
        Braked landings in the run when its first installation on record began.
    before_log : array of bool
        The run was installed before the landings on record begin.
    """

    known: BoolArray
    length_mm: FloatArray
    landings_before: FloatArray
    before_log: BoolArray


def starts_of(book: Book, flown: FlownDays) -> Starts:
    """
    Start of every run.

    Parameters
    ----------
    book : Book
        Needs brakes, brake_types, aircraft and installations of its records.
    flown : FlownDays
        Tells since when each aircraft has a log.

    Returns
    -------
    Starts
        One entry a run.

    Notes
    -----
    Known are: a start pin that was written down, and the new length of the brake type where the run starts as
    new or overhauled. A brake that came to these records within its run carries its landings since overhaul
    (else since new) as landings before: where its first installation is `same run` or unknown, and where it was
    installed before its aircraft's log begins. In the latter case, and without such a figure or the aircraft's
    landings at installation, the landings of the run are not known, and the start is taken as not known.
    """
    records, stays = book.records, book.stays
    real = stays.real()
    installed = stays.row[real]
    word = _word(stays, real)
    start_pin = np.append(records.installations["start_pin_mm"].to_numpy(dtype=float), np.nan)[installed]
    new_pin = _new_pin_mm(records, stays)
    before_log = _before_log(book, flown, real)
    in_run = _landings_in_run(records, stays)
    first_of_brake = np.append(True, np.diff(stays.brake[stays.first]) != 0)[: len(real)]
    renewed = np.isin(word, ("new", "overhauled", "refurbished"))
    carries = first_of_brake & ~np.isnan(in_run) & (before_log | ~renewed)
    has_new_length = np.isin(word, ("new", "overhauled")) & ~np.isnan(new_pin)
    measured = ~np.isnan(start_pin)
    known = np.where(measured, ~before_log, has_new_length & (~before_log | carries))
    length = np.where(measured, start_pin, new_pin)
    # A start pin was measured when the brake went on: landings before it are not between it and the readings.
    carries &= ~measured
    return Starts(known, np.nan_to_num(length), np.where(carries, in_run, 0.0), before_log & ~carries)


def _word(stays: Stays, real: IntArray) -> np.ndarray[tuple[int], np.dtype[np.object_]]:
    """The installation's own word, or what the shop made of the brake where that word says nothing new."""
    own, lead = stays.word[real], stays.word[stays.first]
    return np.where(np.isin(own, ("new", "overhauled", "refurbished")), own, lead)


def _new_pin_mm(records: Records, stays: Stays) -> FloatArray:
    new = records.brake_types.set_index("brake_type")["new_pin_mm"]
    of_brake = new.reindex(records.brakes["brake_type"]).to_numpy(dtype=float)
    return of_brake[stays.brake[stays.first]]


def _landings_in_run(records: Records, stays: Stays) -> FloatArray:
    overhaul = records.brakes["landings_since_overhaul"].to_numpy(dtype=float)
    new = records.brakes["landings_since_new"].to_numpy(dtype=float)
    return np.where(np.isnan(overhaul), new, overhaul)[stays.brake[stays.first]]


def _before_log(book: Book, flown: FlownDays, real: IntArray) -> BoolArray:
    """Installed long before the aircraft's log begins, and no counter tells the landings up to there."""
    records, stays = book.records, book.stays
    aircraft = stays.aircraft[real]
    in_service = np.append(day_numbers(records.aircraft["in_service_on"], missing=-FAR), FAR)[aircraft]
    log_begins = np.minimum(np.append(flown.first_day, FAR)[aircraft], day_number(book.on))
    waited = log_begins - np.maximum(stays.begun[real], in_service)
    counter = np.append(records.installations["aircraft_landings_on"].to_numpy(dtype=float), np.nan)
    read_with_counter = stays.aircraft[book.placed.stay[~np.isnan(book.placed.counter)]]
    told = np.isin(aircraft, np.concatenate([flown.total_key >> DAY_BITS, read_with_counter]))
    told &= ~np.isnan(counter[stays.row[real]])
    return np.asarray((aircraft >= 0) & (waited > LOG_GAP_DAYS) & ~told)
