"""Braked landings of every heat sink run across its installations, and the readings taken in it."""

import datetime as dt
from dataclasses import dataclass

import numpy as np
import pandas as pd

from lifecycle.aircraft import aircraft_on, position_groups
from lifecycle.counts import Count, count_landings
from lifecycle.days import FAR, day_number, to_days
from lifecycle.landing_kinds import kinds_ahead, kinds_at_readings, logged_kinds
from lifecycle.landings import FlownDays, fly_days
from lifecycle.limits import limits_in_force
from lifecycle.notes import Note, Words, fitted_notes, flying_notes, gather
from lifecycle.observations import Records
from lifecycle.pin_notes import never_read, pin_notes
from lifecycle.pins_apart import lengths_by_pin, less_unread, pins_apart
from lifecycle.placed import Book, lay_open
from lifecycle.places import place_frame
from lifecycle.readings import readings_frame
from lifecycle.runs import endings
from lifecycle.scales import Scale, scale_of
from lifecycle.shims import Shims, shims_of
from lifecycle.starts import Starts, starts_of
from lifecycle.units import NM_PER_MM


@dataclass(frozen=True)
class Runs:
    """
    Heat sink runs with their braked landings, as known on one day.

    Attributes
    ----------
    runs : DataFrame
        One row a run, index 0..n-1. Columns: ``brake`` (int), ``serial``, ``brake_type``, ``run`` (1, 2, ... of
        that brake), ``started_on``, ``ended_on`` (day; NaT while the run lasts), ``end_reason`` (removal reason or
        shop work that ended it, "" while it lasts), ``known_start`` (bool: the pin length at its start is known),
        ``start_mm`` (governing pin, length left, at x = 0; the new length where unknown, 0 where that is unknown
        too), ``landings`` (braked landings through ``on`` or the end), ``limit_mm`` (limit in length left in the
        coordinates of ``left_mm``; NaN where no limit is known), ``limit_nm``, ``at_limit``, ``fitted`` (bool:
        on an aircraft on ``on``), ``aircraft`` (int, -1 if not fitted), ``registration``, ``position`` ("" if not
        fitted), ``position_group``, ``base``, ``weight_variant``, ``aircraft_type`` (of the aircraft it was on
        last, as that was when the brake left it), ``records_through`` (last day of that aircraft's landings on
        record, NaT if not fitted), ``warnings`` (tuple of str). A brake never installed has one run that
        never started (``started_on`` NaT); one back from overhaul and not yet installed a run of its own. The
        limit is the one in force on ``on``, for an ended run on the day it ended. Where readings can only be
        measured against the limit, that lies at 0 and no start is known.
    spans : DataFrame
        One row an installation of a run: ``run`` (index into runs), ``record``, ``aircraft``, ``aircraft_type``,
        ``base``, ``position``, ``position_group``, ``from_on``, ``to_on`` (NaT while it lasts), ``landings_from``,
        ``landings_to`` (braked landings of the run when it began and ended, or by ``on``).
    readings : DataFrame
        One row a reading in a run, in time order within it: ``run`` (index), ``record``, ``day``, ``landings``
        (braked landings of the run by then), ``left_mm`` (length left as measured, other conventions converted, less
        ``short_by_mm``: by how much the governing pin is shorter where it was not read, 0 for most; ``short_by_noise``:
        variance of that over one reading's), ``wear_mm``
        (start_mm + re-shim steps so far - left_mm), ``segment`` (0 as long as the level follows from
        the start; one more after each span of known fault and each uncertain re-shim: the rate goes on, the level
        is not known from before), ``usable`` (bool: in the rate), ``why_not`` (""
        if usable, else one of `readings.WHY_NOT`), ``resolution_mm``, ``at_or_below``
        (bool: at or past the limit, in exact decimals, as measured, or checked not to be within it: a pin read hot
        or released reads long, so it may condemn and cannot clear; false for a refused reading),
        ``position_group``, ``base``. A counter that the records carry has a column (`landing_kinds.KINDS`), counted
        along the run; in ``runs`` one of the same name with `landing_kinds.AHEAD`, its growth per landing to come.
    places : DataFrame, optional
        Stretches of the runs at one base, from `places.place_frame`; without it each installation is one.
    pins : DataFrame, optional
        Offsets between the pins of the runs, `pins_apart.PinsApart.pins`.
    """

    runs: pd.DataFrame
    spans: pd.DataFrame
    readings: pd.DataFrame
    places: pd.DataFrame | None = None
    pins: pd.DataFrame | None = None


def measure_runs(records: Records, on: dt.date, *, touch_and_go_weight: float = 0.0) -> Runs:
    """
    Heat sink runs with their braked landings, and the readings in them.

    Parameters
    ----------
    records : Records
        As known on some day; what is dated after ``on`` is left out.
    on : date
        The last day that counts.
    touch_and_go_weight : float
        Braked landings that one touch-and-go counts for.

    Returns
    -------
    Runs
        See there.

    Raises
    ------
    BadRecordsError
        If a record names an aircraft, brake or aircraft type that is not in the records.

    Notes
    -----
    Braked landings of a brake are those of its aircraft (`landings.fly_days`) on the days after it was
    installed, through the day it was removed; none while it is deactivated, when the others share its part
    (`braking.share_out`). Where aircraft landings were typed with an installation, removal or reading, they
    decide instead of the day (`braking.braked_by`).
    """
    book = lay_open(records, on)
    flown = fly_days(records, on, touch_and_go_weight=touch_and_go_weight)
    starts = starts_of(book, flown)
    count = count_landings(book, flown, starts)
    shims = shims_of(records, book.stays, on)
    runs = _run_frame(book, flown)
    limits = limits_in_force(records, runs.assign(day=runs["ended_on"].fillna(pd.Timestamp(on))))
    scale = scale_of(records, book.stays, limits, book.placed)
    on_one_scale = scale.anchor == ""
    runs = runs.assign(
        known_start=starts.known & on_one_scale,
        start_mm=np.where(on_one_scale, starts.length_mm, 0.0),
        landings=(count.before + count.within)[book.stays.last],
        limit_mm=scale.limit_nm / NM_PER_MM,
        limit_nm=scale.limit_nm,
        at_limit=limits["at_limit"],
    )
    notes = [
        *_length_notes(book, limits, scale, starts, shims),
        *flying_notes(book, flown, count),
        *fitted_notes(book, count),
    ]
    readings = readings_frame(book, runs, scale, shims)
    readings.insert(3, "landings", count.at_reading)
    lengths = lengths_by_pin(records.pin_readings.iloc[book.placed.row])
    new_mm = np.where(on_one_scale, scale.new_pin_nm / NM_PER_MM, np.nan)
    apart = pins_apart(lengths, readings, runs["brake_type"].to_numpy(dtype=object), new_mm)
    readings = less_unread(readings, apart)
    pins = runs["brake_type"].map(records.brake_types.set_index("brake_type")["pins"]).to_numpy(float)
    unread = never_read(lengths, readings["run"].to_numpy(np.int64), pins)
    runs["warnings"] = gather([*notes, unread, *pin_notes(apart.pins, readings, len(runs))], len(runs))
    kinds = logged_kinds(records, flown, on)
    readings = pd.concat([readings, kinds_at_readings(kinds, book, count)], axis=1)
    craft = np.where(runs["fitted"], book.stays.aircraft[book.stays.last], -1)
    runs = pd.concat([runs, kinds_ahead(kinds, craft, on)], axis=1)
    spans = _span_frame(book, count)
    return Runs(runs, spans, _in_time_order(readings), place_frame(book, flown, spans), apart.pins)


def _length_notes(book: Book, limits: pd.DataFrame, scale: Scale, starts: Starts, shims: Shims) -> list[Note]:
    return [
        # A brake that waits in the store has no limit until it is known what it goes on: nothing to warn of.
        Note(
            (limits["warning"] != "").to_numpy() & (book.stays.aircraft[book.stays.last] >= 0),
            limits["warning"].to_numpy(dtype=object),
        ),
        Note(scale.anchor != "", "new length not on record: measured against the limit only"),
        Note(starts.before_log, "installed before its aircraft's landings on record begin: start not known"),
        Note(
            shims.is_uncertain(len(limits)),
            "re-shimmed by a step that is not certain: pin level open from then on",
        ),
    ]


def _run_frame(book: Book, flown: FlownDays) -> pd.DataFrame:
    records, stays, on = book.records, book.stays, book.on
    ends = endings(records, stays, on)
    first, last, real = stays.first, stays.last, stays.real()
    brakes = records.brakes.iloc[stays.brake[first]]
    is_last = np.append(np.diff(stays.brake[first]) != 0, True)[: len(first)]
    fitted = (stays.aircraft[last] >= 0) & (stays.ended[last] == FAR) & is_last
    began = stays.begun[real]
    # An aircraft is described as it was when the brake left it, or as it is now.
    code, day = stays.aircraft[last], np.minimum(np.minimum(stays.ended[last], ends.day), day_number(on))
    position = np.append(records.installations["position"].to_numpy(dtype=object), "")[stays.row[last]]
    through = np.append(flown.last_day, -FAR)[code]
    return pd.DataFrame(
        {
            "brake": brakes["brake"].to_numpy(),
            "serial": brakes["serial"].to_numpy(),
            "brake_type": brakes["brake_type"].to_numpy(),
            "run": 1 + np.arange(len(first)) - np.searchsorted(stays.brake[first], stays.brake[first]),
            "started_on": to_days(began),
            "ended_on": to_days(ends.day),
            "end_reason": _text(ends.reason),
            "fitted": fitted,
            "aircraft": np.where(fitted, np.append(records.aircraft["aircraft"], -1)[code], -1),
            "registration": _text(np.where(fitted, aircraft_on(records, "registration", code, day), "")),
            "position": _text(np.where(fitted, position, "")),
            "position_group": _text(position_groups(records, code, position)),
            "base": _text(aircraft_on(records, "base", code, day)),
            "weight_variant": _text(aircraft_on(records, "weight_variant", code, day)),
            "aircraft_type": _text(
                np.append(records.aircraft["aircraft_type"].to_numpy(dtype=object), "")[code]
            ),
            "records_through": to_days(np.where(fitted, through, -FAR)),
        }
    )


def _span_frame(book: Book, count: Count) -> pd.DataFrame:
    records, stays = book.records, book.stays
    real = np.flatnonzero(stays.row >= 0)
    rows = records.installations.iloc[stays.row[real]]
    code, begun = stays.aircraft[real], stays.begun[real]
    position = rows["position"].to_numpy(dtype=object)
    return pd.DataFrame(
        {
            "run": stays.run[real],
            "record": rows["record"].to_numpy(),
            "aircraft": rows["aircraft"].to_numpy(),
            "aircraft_type": records.aircraft["aircraft_type"].iloc[code].to_numpy(),
            "base": _text(aircraft_on(records, "base", code, begun)),
            "position": rows["position"].to_numpy(),
            "position_group": _text(position_groups(records, code, position)),
            "from_on": to_days(begun),
            "to_on": to_days(stays.ended[real]),
            "landings_from": count.before[real],
            "landings_to": (count.before + count.within)[real],
        }
    )


def _in_time_order(readings: pd.DataFrame) -> pd.DataFrame:
    """By run, then day, readings after a re-shim of the day last, then as recorded."""
    columns = ["run", "day", "after_shim"]
    return readings.sort_values(columns, kind="stable").drop(columns="after_shim").reset_index(drop=True)


def _text(words: Words) -> "pd.Series[str]":
    return pd.Series(words, dtype="str")
