"""Pin readings put to the stay, and so the run, that they belong to."""

import datetime as dt
from dataclasses import dataclass

import numpy as np
import pandas as pd

from lifecycle.days import FAR, FloatArray, IntArray, day_number, day_numbers, keys, latest
from lifecycle.landings import codes_of
from lifecycle.observations import Records
from lifecycle.runs import Stays, lay_out


@dataclass(frozen=True)
class Placed:
    """Readings by a day: row of ``records.pin_readings``, stay, day number and aircraft landings typed."""

    row: IntArray
    stay: IntArray
    day: IntArray
    counter: FloatArray


@dataclass(frozen=True)
class Book:
    """Records read on one day and laid out by brake: its stays on aircraft, and the readings in them."""

    records: Records
    on: dt.date
    stays: Stays
    placed: Placed


def lay_open(records: Records, on: dt.date) -> Book:
    """
    Lay the records out by brake.

    Parameters
    ----------
    records : Records
        Needs brakes, aircraft, installations, shop_visits and pin_readings.
    on : date
        What is dated later is left out.

    Returns
    -------
    Book
        Installations in runs, and readings in them.
    """
    stays = lay_out(records, on)
    return Book(records, on, stays, place_readings(records, stays, on))


def place_readings(records: Records, stays: Stays, on: dt.date) -> Placed:
    """
    Find the stay, and so the run, that each reading belongs to.

    Parameters
    ----------
    records : Records
        Needs brakes and pin_readings.
    stays : Stays
        From `runs.lay_out`.
    on : date
        Later readings are left out.

    Returns
    -------
    Placed
        In the order of the records. A reading belongs to the last stay begun by its day, or to the first.
        Aircraft landings typed with an accepted reading count, while the brake was on the aircraft.
    """
    day = day_numbers(records.pin_readings["day"])
    row = np.flatnonzero(day <= day_number(on))
    day = day[row]
    read = records.pin_readings.iloc[row]
    brake = codes_of(pd.Index(records.brakes["brake"]), read["brake"], "brake in pin_readings")
    begun = stays.key()
    stay = latest(begun, brake, day)
    first = np.searchsorted(begun, keys(brake, np.full(len(brake), -FAR)), side="left")
    stay = np.where(stay >= 0, stay, first)
    counter = read["aircraft_landings"].to_numpy(dtype=float)
    fitted = (stays.row[stay] >= 0) & (read["state"] == "accepted").to_numpy()
    fitted &= (day >= stays.begun[stay]) & (day <= stays.ended[stay])
    return Placed(row, stay, day, np.where(fitted, counter, np.nan))
