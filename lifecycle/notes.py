"""What is shaky about a run, in plain words for the page."""

from collections.abc import Iterable
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from lifecycle.aircraft import FLYING_WORDS, aircraft_on
from lifecycle.counts import Count, sums_by_run
from lifecycle.days import FAR, BoolArray, count_by, day_number
from lifecycle.landings import FlownDays
from lifecycle.placed import Book

Words = npt.NDArray[np.object_]


class Note(NamedTuple):
    """One warning for the runs where ``holds``, the same words for all of them or one text a run."""

    holds: BoolArray
    text: str | Words


def gather(notes: Iterable[Note], runs: int) -> Words:
    """
    Warnings of every run.

    Parameters
    ----------
    notes : iterable of Note
        In the order in which they are to be read.
    runs : int
        Number of runs r.

    Returns
    -------
    array of tuple of str, shape (r,)
        Empty for most.
    """
    gathered = np.empty(runs, dtype=object)
    gathered[:] = [()] * runs
    for note in notes:
        text = np.broadcast_to(np.asarray(note.text, dtype=object), runs)
        for run in np.flatnonzero(note.holds):
            gathered[run] = (*gathered[run], str(text[run]))
    return gathered


def flying_notes(book: Book, flown: FlownDays, count: Count) -> list[Note]:
    """
    Say where the log does not carry the count of landings.

    Parameters
    ----------
    book : Book
        Installations in runs.
    flown : FlownDays
        Tells which days are blank.
    count : Count
        Tells where typed aircraft landings clash.

    Returns
    -------
    list of Note
        Blank days, clashes.
    """
    stays = book.stays
    ended = np.minimum(stays.ended, day_number(book.on))
    blank = count_by(flown.unreported, stays.aircraft, ended)
    blank -= count_by(flown.unreported, stays.aircraft, stays.begun)
    days = sums_by_run(stays, np.where(stays.row >= 0, blank, 0))
    texts = np.array([f"days of flying not reported: {number}" for number in days], dtype=object)
    return [
        Note(days > 0, texts),
        Note(count.clash, "aircraft landings typed with a reading fall behind an earlier reading"),
    ]


def fitted_notes(book: Book, count: Count) -> list[Note]:
    """
    Say where an installed brake does not brake or its aircraft does not fly.

    Parameters
    ----------
    book : Book
        Needs aircraft and aircraft_changes of its records.
    count : Count
        Tells when brakes were deactivated.

    Returns
    -------
    list of Note
        Deactivations and aircraft status on the day of the book.
    """
    stays, last, today = book.stays, book.stays.last, day_number(book.on)
    fitted = (stays.aircraft[last] >= 0) & (stays.ended[last] == FAR)
    idle_now = np.isin(last, count.idle.stay[count.idle.ended > today])
    status = aircraft_on(book.records, "status", stays.aircraft[last], np.full(len(last), today))
    return [
        Note(np.isin(stays.brake[stays.first], stays.overlapping), "shop visit while installed left out"),
        Note(fitted & idle_now, "deactivated: installed and not braking"),
        Note(fitted & ~np.isin(status, FLYING_WORDS), "aircraft " + status),
    ]
