"""Brakes found by the end of their serial, and which of them can go on a position of an aircraft."""

import datetime as dt
from collections.abc import Collection
from dataclasses import dataclass
from typing import Final

import pandas as pd
from sqlalchemy.orm import Session

from db.based import bases_of
from db.entry.fits import effective_there
from db.whereabouts import CANNOT_GO_ON, GONE, ON_AIRCRAFT, Whereabouts, brakes_ending, whereabouts

LAST: Final = 4  # characters of a serial that name it on the shop floor
MOST: Final = 100


@dataclass(frozen=True)
class Candidate:
    """A brake whose serial ends so; whether it can go on now, and whether the effectivity on record has it there."""

    place: Whereabouts
    free: bool
    effective: bool


def brakes_called(
    session: Session, tail: str, *, bases: Collection[str], on: dt.date, least: int = LAST
) -> list[Whereabouts]:
    """
    Return the brakes whose serial ends so, of these bases where some are named, at most MOST of them.

    At least the last four characters are wanted (`least`), or the whole serial where it is shorter.
    """
    found = whereabouts(session, brakes_ending(session, tail)[:MOST]) if tail else {}
    called = [each for each in found.values() if len(tail) >= min(least, len(each.serial))]
    own = [each for each in called if not bases or _of(session, each.brake, on) in ("", *bases)]
    return sorted(own, key=lambda each: (each.serial, each.brake_type))


def alike(
    session: Session, tail: str, brake: int, *, bases: Collection[str], on: dt.date
) -> tuple[Whereabouts, ...]:
    """Return the brakes other than this one whose serial ends so too, without those that are gone for good."""
    called = brakes_called(session, tail, bases=bases, on=on)
    return tuple(each for each in called if each.brake != brake and each.kind not in GONE)


def candidates(
    session: Session, called: Collection[Whereabouts], *, aircraft: int, position: str, day: dt.date
) -> tuple[Candidate, ...]:
    """Say of each brake whether it can go on a position on a day; one on another aircraft can, if it is taken off."""
    if not called:
        return ()
    placed = pd.DataFrame(
        {
            "brake": [each.brake for each in called],
            "aircraft": aircraft,
            "position": position,
            "day": pd.Timestamp(day).as_unit("s"),
        }
    )
    fits = effective_there(session, placed)
    return tuple(
        Candidate(each, each.kind not in CANNOT_GO_ON, fit) for each, fit in zip(called, fits, strict=True)
    )


def meant(found: Collection[Candidate], *, coming_off: Collection[int]) -> list[Candidate]:
    """
    Return the brakes that can be meant: those off the aircraft, or coming off now, that may go there by effectivity.

    Where there is none, those that may go there and are on another aircraft; then those that can go on at all.
    """
    fit = [each for each in found if each.free and each.effective]
    off = [each for each in fit if each.place.kind != ON_AIRCRAFT or each.place.brake in coming_off]
    return off or fit or [each for each in found if each.free] or list(found)


def _of(session: Session, brake: int, on: dt.date) -> str:
    return next(iter(bases_of(session, "brakes", [brake], on=on)))
