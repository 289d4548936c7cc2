"""What a brake's landings were like, counted along a run: touch-and-gos, rejected take-offs, energy, season."""

import datetime as dt
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

from lifecycle.counts import Count
from lifecycle.days import FAR, FloatArray, IntArray, day_number, key_day, keys
from lifecycle.landings import FlownDays, read_log, rejected_takeoffs
from lifecycle.observations import Records
from lifecycle.placed import Book
from lifecycle.runs import Stays

# Counters by the name of their column; what one unit of each is stands in `DEVELOPERS.md` and on the page.
TOUCHES: Final = "touch-and-gos"
REJECTED: Final = "rejected take-offs"
ENERGY: Final = "landing energy"
COSINE: Final = "season, January less July"
SINE: Final = "season, April less October"
KINDS: Final = (TOUCHES, REJECTED, ENERGY, COSINE, SINE)
AHEAD: Final = " ahead"  # after the counter's name: its growth per landing expected from now on
YEAR_DAYS: Final = 365.25
# Landings of the fleet's average that steady what one aircraft's last year says.
STEADY: Final = 50.0


@dataclass(frozen=True)
class KindSums:
    """
    Running sums by aircraft and day of one or more counters.

    Attributes
    ----------
    key : array of int64, shape (m,)
        Ascending keys of (aircraft code, day); they may repeat.
    landings : array of float, shape (m + 1,)
        Braked landings of the rows that the counters are known of.
    counters : dict of str to array of float, shape (m + 1,)
        Only differences within one aircraft mean anything.
    """

    key: IntArray
    landings: FloatArray
    counters: dict[str, FloatArray]

    def per_landing(self, code: IntArray, since: IntArray, until: IntArray) -> dict[str, FloatArray]:
        """Growth of each counter per landing, days after `since` through `until`; NaN where nothing is known."""
        first = np.searchsorted(self.key, keys(code, since), side="right")
        last = np.searchsorted(self.key, keys(code, until), side="right")
        landings = self.landings[last] - self.landings[first]
        nothing = np.full(len(code), np.nan)
        return {
            name: np.divide(sums[last] - sums[first], landings, out=nothing.copy(), where=landings > 0)
            for name, sums in self.counters.items()
        }

    def overall(self, name: str) -> float:
        """Growth of a counter per landing over all aircraft."""
        return float(self.counters[name][-1] / self.landings[-1]) if self.landings[-1] > 0 else 0.0


def logged_kinds(records: Records, flown: FlownDays, on: dt.date) -> tuple[KindSums, ...]:
    """
    Running sums of the counters that the records carry.

    Parameters
    ----------
    records : Records
        Needs aircraft, aircraft_types, events and landings.
    flown : FlownDays
        Braked landings of the aircraft.
    on : date
        Later days are left out.

    Returns
    -------
    tuple of KindSums
        The season, from all braked landings; then, from the rows of the log that give landings, touch-and-gos,
        rejected take-offs, and landing energy. The last is the energy of a landing over that at the aircraft type's
        landing mass (the log's mean where the type has none), less 1; a landing whose mass is not known counts 0.

    Notes
    -----
    At one angle of attack touchdown speed grows as the root of mass, so energy m V^2 / 2 as the square of mass. A row
    that covers a period counts on its last day.
    """
    angle = 2 * np.pi * key_day(flown.key) / YEAR_DAYS
    braked = np.diff(flown.braked)
    turning = {COSINE: _running(braked * np.cos(angle)), SINE: _running(braked * np.sin(angle))}
    season = KindSums(flown.key, flown.braked, turning)
    log = records.landings
    told = {
        TOUCHES: (log["touch_and_gos"] > 0).any(),
        REJECTED: (log["rejected_takeoffs"] > 0).any()
        or (records.events["event"] == "rejected take-off").any(),
        ENERGY: log["landing_mass_kg"].notna().any(),
    }
    if not any(told.values()):
        return (season,)
    return (season, _from_rows(records, on, [name for name, carried in told.items() if carried]))


def _from_rows(records: Records, on: dt.date, names: list[str]) -> KindSums:
    rows = read_log(records, on)
    stop_key, stops = rejected_takeoffs(records, rows, on)
    given = ~np.isnan(rows.stops)
    code, full = rows.code[given], rows.stops[given]
    key = np.concatenate([keys(code, np.minimum(rows.last[given], day_number(on))), stop_key])
    energy = full * _energy_above(records, rows.code, rows.mass_kg)[given]
    none, no_stop = np.zeros(len(stop_key)), np.zeros(len(full))
    values = {
        TOUCHES: np.concatenate([rows.touches[given], none]),
        REJECTED: np.concatenate([no_stop, stops]),
        ENERGY: np.concatenate([energy, none]),
    }
    order = np.argsort(key, kind="stable")
    landings = np.concatenate([full, stops])[order]
    return KindSums(key[order], _running(landings), {name: _running(values[name][order]) for name in names})


def _energy_above(records: Records, code: IntArray, mass_kg: FloatArray) -> FloatArray:
    types = records.aircraft_types.set_index("aircraft_type")["landing_mass_kg"]
    normal = types.reindex(records.aircraft["aircraft_type"]).to_numpy(dtype=float)[code]
    kind = records.aircraft["aircraft_type"].to_numpy(dtype=object)[code]
    mean = pd.Series(mass_kg).groupby(kind).transform("mean").to_numpy(dtype=float)
    return np.nan_to_num(np.square(mass_kg / np.where(np.isnan(normal), mean, normal)) - 1.0)


def _running(value: FloatArray) -> FloatArray:
    return np.concatenate([[0.0], np.cumsum(value)])


def kinds_at_readings(sums: tuple[KindSums, ...], book: Book, count: Count) -> pd.DataFrame:
    """
    Counters of each run by each of its readings.

    Parameters
    ----------
    sums : tuple of KindSums
        From `logged_kinds`.
    book : Book
        Stays and readings.
    count : Count
        Landings of the stays, and by the readings.

    Returns
    -------
    DataFrame, n rows
        One column a counter, in the order of ``book.placed``, counted since the run's first installation on record.

    Notes
    -----
    Within a stay a counter is its growth per landing of the aircraft since the installation times the landings of the
    brake: so it keeps step with landings typed from counters and with deactivations.
    """
    stays, placed = book.stays, book.placed
    ended = np.minimum(stays.ended, day_number(book.on))
    whole = _mixes(sums, stays, np.arange(len(stays.brake)), ended)
    stay = placed.stay
    partly = _mixes(sums, stays, stay, np.minimum(placed.day, ended[stay]))
    since = count.at_reading - count.before[stay]
    return pd.DataFrame(
        {name: _earlier(stays, whole[name] * count.within)[stay] + partly[name] * since for name in whole}
    )


def _mixes(
    sums: tuple[KindSums, ...], stays: Stays, stay: IntArray, until: IntArray
) -> dict[str, FloatArray]:
    """Growth of each counter per landing from the beginning of a stay to a day; else the aircraft's or fleet's mean."""
    code, begun = stays.aircraft[stay], stays.begun[stay]
    far = np.full(len(code), FAR)
    found = {}
    for each in sums:
        of_stay, of_aircraft = each.per_landing(code, begun, until), each.per_landing(code, -far, far)
        for name, mix in of_stay.items():
            known = np.where(np.isnan(mix), of_aircraft[name], mix)
            found[name] = np.where(np.isnan(known), each.overall(name), known)
    return found


def _earlier(stays: Stays, of_stay: FloatArray) -> FloatArray:
    """Sum over the earlier stays of the same run."""
    before = np.cumsum(of_stay) - of_stay
    return before - before[stays.first][stays.run]


def kinds_ahead(sums: tuple[KindSums, ...], aircraft: IntArray, on: dt.date) -> pd.DataFrame:
    """
    Growth of each counter per landing to be expected of each run.

    Parameters
    ----------
    sums : tuple of KindSums
        From `logged_kinds`.
    aircraft : array of int64, shape (r,)
        Code of the aircraft that each run is on, -1 for none.
    on : date
        Today.

    Returns
    -------
    DataFrame, r rows
        Columns named as the counters with `AHEAD`: what the aircraft's last 365 days show, steadied by the fleet's
        average. The season's are 0, its average over a year.
    """
    today = np.full(len(aircraft), day_number(on))
    found = {}
    for each in sums:
        since, until = keys(aircraft, today - 365), keys(aircraft, today)
        first, last = (np.searchsorted(each.key, key, side="right") for key in (since, until))
        landings = each.landings[last] - each.landings[first]
        for name, running in each.counters.items():
            steady = each.overall(name) if name not in (COSINE, SINE) else 0.0
            grown = running[last] - running[first] + STEADY * steady
            found[name + AHEAD] = np.where(name in (COSINE, SINE), 0.0, grown / (landings + STEADY))
    return pd.DataFrame(found)
