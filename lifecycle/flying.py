"""Flying learned from the log: each aircraft's level, the fleet's season, and how far past forecasts were off."""

import datetime as dt
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from lifecycle.aircraft import aircraft_on
from lifecycle.days import FAR, FloatArray, IntArray, day_number
from lifecycle.flown_months import flown_months, month_begins, month_numbers
from lifecycle.in_use import CHECK_DAYS, when_in_use
from lifecycle.landings import fly_days
from lifecycle.levels import learn_levels
from lifecycle.observations import Records
from lifecycle.plans import along_rows, cumulative, first_day_along, planned_landings
from lifecycle.season import dispersion, learn_seasons

DAYS_AHEAD: Final = 40 * 366
DAYS_BACK: Final = 3 * 366  # records later than that are not projected further


@dataclass(frozen=True)
class Flying:
    """
    How the fleet flies, learned from its log by one day; days count from that day.

    Attributes
    ----------
    aircraft : Index of int, shape (a,)
        Identities, in the order of the arrays below.
    level : array of float, shape (a,)
        Braked landings a day with the season taken out.
    season : array of float, shape (12,)
        Month factors of the whole fleet, January to December.
    kind : array of int64, shape (a,)
        Aircraft type of each aircraft, as a row of the next two.
    seasons : array of float, shape (k, 12)
        Month factors of each type.
    cv_u, phi : float
        Persistent relative error of a forecast of landings, and scatter of the landings themselves: a forecast of N
        landings has a relative variance of cv_u^2 + phi/N.
    begins, stops : arrays of float, shape (a,)
        Days between which the aircraft will fly: 0 and inf for most; begins inf if it does not.
    flew_from, flew_to : arrays of float, shape (a,)
        Days, not after 0, between which it has flown without a break.
    records_through : array of float, shape (a,)
        Last day of its landings on record, -inf if none is.
    season_days : array of float, shape (k, d)
        Sum of the month factors over the days from ``-DAYS_BACK``; 0 at day 0.
    plan_row : array of int64, shape (a,)
        Row of ``plan``, -1 for no plan.
    plan : array of float, shape (p, m + 1)
        Landings by the end of each planned month; ``plan_edges``, shape (m + 1,), are those days.
    half_life_months : float
        How fast the past fades in ``level``.
    """

    aircraft: pd.Index
    level: FloatArray
    season: FloatArray
    kind: IntArray
    seasons: FloatArray
    cv_u: float
    phi: float
    begins: FloatArray
    stops: FloatArray
    flew_from: FloatArray
    flew_to: FloatArray
    records_through: FloatArray
    season_days: FloatArray
    plan_row: IntArray
    plan: FloatArray
    plan_edges: FloatArray
    half_life_months: float

    def expected_landings(self, aircraft: npt.ArrayLike, days: npt.ArrayLike) -> FloatArray:
        """
        Braked landings expected of aircraft from the day learned on.

        Parameters
        ----------
        aircraft : array of int
            Identities; one that is not in the records (-1) does not fly.
        days : array of int or float, shape that broadcasts with ``aircraft``
            Days ahead, at most 40 years; negative days look back.

        Returns
        -------
        array of float
            Landings in (0, days]; of days back the landings since, negative.
        """
        code, day = np.broadcast_arrays(self._codes(aircraft), np.asarray(days, dtype=float))
        shape, code, day = day.shape, code.ravel(), day.ravel()
        landings = np.where(
            day >= 0, self._ahead(code, np.maximum(day, 0)), self._back(code, np.minimum(day, 0))
        )
        return np.asarray(np.where(code >= 0, landings, 0.0).reshape(shape))

    def landings_between(
        self, aircraft: npt.ArrayLike, from_day: npt.ArrayLike, to_day: npt.ArrayLike
    ) -> FloatArray:
        """
        Braked landings expected in (from_day, to_day], past days included.

        Parameters
        ----------
        aircraft : array of int
            Identities.
        from_day, to_day : arrays of int or float, shapes that broadcast with ``aircraft``
            Days from the day learned on.

        Returns
        -------
        array of float
            Landings.
        """
        return np.asarray(
            self.expected_landings(aircraft, to_day) - self.expected_landings(aircraft, from_day)
        )

    def not_yet_recorded(self, aircraft: npt.ArrayLike, since: npt.ArrayLike) -> FloatArray:
        """
        Braked landings flown by day 0 that the log does not show yet: a projection.

        Parameters
        ----------
        aircraft : array of int
            Identities.
        since : array of int or float, shape that broadcasts with ``aircraft``
            Only those after this day (of a reading), 0 or negative.

        Returns
        -------
        array of float
            Landings after the later of ``since`` and the last day on record.
        """
        through = np.append(self.records_through, 0.0)[self._codes(aircraft)]
        return self.landings_between(aircraft, np.minimum(np.maximum(through, since), 0.0), 0.0)

    def days_to(self, aircraft: npt.ArrayLike, landings: npt.ArrayLike) -> FloatArray:
        """
        Days until so many braked landings are flown: the inverse of `expected_landings`.

        Parameters
        ----------
        aircraft : array of int
            Identities.
        landings : array of float, shape that broadcasts with ``aircraft``
            Braked landings from the day learned on.

        Returns
        -------
        array of float
            Days; 0 for none or fewer; inf where the aircraft never gets there: it does not fly, stops before, or would
            take longer than 40 years.
        """
        code, asked = np.broadcast_arrays(self._codes(aircraft), np.asarray(landings, dtype=float))
        shape, code, asked = asked.shape, code.ravel(), asked.ravel()
        row = np.append(self.plan_row, -1)[code]
        day = np.full(len(asked), np.inf)
        rest = asked.copy()
        planned = np.flatnonzero(row >= 0)
        if len(planned):
            day[planned] = first_day_along(self.plan, row[planned], self.plan_edges, asked[planned])
            rest[planned] = np.maximum(asked[planned] - self.plan[row[planned], -1], 0.0)
        later = self._later(code, self._own_begin(code, row), rest)
        day = np.where(np.isinf(day), later, day)
        day = np.where(day > np.append(self.stops, 0.0)[code], np.inf, day)
        return np.asarray(np.where(asked <= 0, 0.0, np.where(code < 0, np.inf, day)).reshape(shape))

    def landings_a_day(self, aircraft: npt.ArrayLike) -> FloatArray:
        """
        Braked landings a day of aircraft, the season taken out.

        Parameters
        ----------
        aircraft : array of int
            Identities.

        Returns
        -------
        array of float, same shape
            0 for an aircraft that does not fly.
        """
        code = self._codes(aircraft)
        flies = np.append((self.begins <= CHECK_DAYS) & (self.stops > 0), False)[code]
        return np.asarray(np.where(flies, self._level(code), 0.0))

    def _codes(self, aircraft: npt.ArrayLike) -> IntArray:
        asked = np.asarray(aircraft, dtype=np.int64)
        return self.aircraft.get_indexer(pd.Index(asked.ravel())).astype(np.int64).reshape(asked.shape)

    def _level(self, code: IntArray) -> FloatArray:
        return np.append(self.level, 0.0)[code]

    def _season_at(self, code: IntArray, day: FloatArray) -> FloatArray:
        at = np.clip(day, -DAYS_BACK, DAYS_AHEAD) + DAYS_BACK
        whole = np.minimum(at.astype(np.int64), self.season_days.shape[1] - 2)
        kind = np.append(self.kind, 0)[code]
        low = self.season_days[kind, whole]
        return np.asarray(low + (at - whole) * (self.season_days[kind, whole + 1] - low))

    def _later(self, code: IntArray, begin: FloatArray, rest: FloatArray) -> FloatArray:
        """Days at which so many landings are flown at the level of each aircraft, from a day on."""
        level = self._level(code)
        target = self._season_at(code, begin) + rest / np.where(level > 0, level, 1.0)
        day = np.full(len(code), np.inf)
        for kind, sums in enumerate(self.season_days[:, DAYS_BACK:]):
            at = np.flatnonzero((np.append(self.kind, -1)[code] == kind) & (level > 0) & (begin < DAYS_AHEAD))
            at = at[target[at] <= sums[-1]]
            upper = np.clip(np.searchsorted(sums, target[at], side="left"), 1, len(sums) - 1)
            day[at] = upper - 1 + (target[at] - sums[upper - 1]) / (sums[upper] - sums[upper - 1])
        return day

    def _own_begin(self, code: IntArray, row: IntArray) -> FloatArray:
        """Day from which the level counts: when flying begins, and after the plan."""
        begins = np.append(self.begins, np.inf)[code]
        return np.where(row >= 0, np.maximum(begins, self.plan_edges[-1]), begins)

    def _ahead(self, code: IntArray, day: FloatArray) -> FloatArray:
        day = np.minimum(day, np.append(self.stops, 0.0)[code])
        row = np.append(self.plan_row, -1)[code]
        begin = self._own_begin(code, row)
        flown = self._season_at(code, np.maximum(day, begin)) - self._season_at(code, begin)
        landings = self._level(code) * flown
        planned = np.flatnonzero(row >= 0)
        if len(planned):
            landings[planned] += along_rows(self.plan, row[planned], self.plan_edges, day[planned])
        return landings

    def _back(self, code: IntArray, day: FloatArray) -> FloatArray:
        low, high = np.append(self.flew_from, 0.0)[code], np.append(self.flew_to, 0.0)[code]
        flown = self._season_at(code, np.clip(day, low, high)) - self._season_at(code, high)
        return np.asarray(self._level(code) * flown)


def learn_flying(records: Records, on: dt.date, *, touch_and_go_weight: float = 0.0) -> Flying:
    """
    Learn from the log how the fleet flies.

    Parameters
    ----------
    records : Records
        Needs aircraft, aircraft_types, aircraft_changes, landings, events and flying_plan.
    on : date
        The day to forecast from; what is dated later is left out, but for the plan and retirements.
    touch_and_go_weight : float
        Braked landings that one touch-and-go counts for.

    Returns
    -------
    Flying
        Levels, season, errors, plan.

    Raises
    ------
    BadRecordsError
        If a record names an aircraft or type that is not in the records.

    Notes
    -----
    Expected landings of an aircraft in a month are level x month factor x days, out of its own recent flying
    (`levels.learn_levels`) and its type's season (`season.learn_seasons`); rows of the flying plan replace them for
    their months. An aircraft stored, leased out, sold or retired does not fly; one in check begins again `CHECK_DAYS`
    after the check began.
    """
    flown = fly_days(records, on, touch_and_go_weight=touch_and_go_weight)
    months = flown_months(records, flown, on)
    calendar = (months.first_month + np.arange(months.days.shape[1])) % 12
    today, every = day_number(on), np.arange(len(flown.aircraft))
    base = aircraft_on(records, "base", every, np.full(len(every), today))
    at_base, kind = _groups(records, base)
    seasons = learn_seasons(months, kind, dispersion(months, np.ones(months.days.shape)))
    factors = seasons.by_kind[kind][:, calendar]
    phi = dispersion(months, factors)
    levels = learn_levels(months, factors, (at_base, kind), phi)
    use = when_in_use(records, today)
    flying = Flying(
        aircraft=flown.aircraft,
        level=levels.landings_a_day,
        season=seasons.fleet,
        kind=kind,
        seasons=seasons.by_kind,
        cv_u=levels.cv_u,
        phi=phi,
        begins=use.begins,
        stops=use.stops,
        flew_from=use.flew_from,
        flew_to=use.flew_to,
        records_through=np.where(flown.last_day > -FAR, flown.last_day - float(today), -np.inf),
        season_days=_season_days(seasons.by_kind, today),
        plan_row=np.full(len(every), -1, dtype=np.int64),
        plan=np.zeros((0, 1)),
        plan_edges=np.zeros(1),
        half_life_months=levels.half_life_months,
    )
    return _with_plan(flying, records, today, base)


def _groups(records: Records, base: npt.NDArray[np.object_]) -> tuple[IntArray, IntArray]:
    """Number of each aircraft's type and base together, and of its type."""
    craft_type = records.aircraft["aircraft_type"].to_numpy(dtype=object)
    both = pd.DataFrame({"aircraft_type": craft_type, "base": base})
    kind = both.groupby("aircraft_type", sort=False).ngroup()
    at_base = both.groupby(["aircraft_type", "base"], sort=False).ngroup()
    return np.asarray(at_base, dtype=np.int64), np.asarray(kind, dtype=np.int64)


def _season_days(seasons: FloatArray, today: int) -> FloatArray:
    days = np.arange(today - DAYS_BACK + 1, today + DAYS_AHEAD + 1)
    daily = seasons[:, month_numbers(days) % 12]
    sums = np.concatenate([np.zeros((len(seasons), 1)), np.cumsum(daily, axis=1)], axis=1)
    return np.asarray(sums - sums[:, [DAYS_BACK]])


def _with_plan(flying: Flying, records: Records, today: int, base: npt.NDArray[np.object_]) -> Flying:
    this_month = month_numbers(np.array([today]))[0]
    in_use = np.isfinite(flying.begins) & (flying.stops > 0)
    planned = planned_landings(records, int(this_month), np.where(in_use, base, ""), flying.level)
    rows = np.flatnonzero((~np.isnan(planned)).any(axis=1))
    if not len(rows):
        return flying
    starts = month_begins(this_month + np.arange(planned.shape[1] + 1)) - 1 - today
    edges = np.maximum(starts, 0).astype(float)
    at_edges = flying.expected_landings(flying.aircraft[rows].to_numpy()[:, None], edges[None, :])
    plan_row = np.full(len(in_use), -1, dtype=np.int64)
    plan_row[rows] = np.arange(len(rows))
    curve = cumulative(planned[rows], np.diff(at_edges, axis=1), edges[1] / (starts[1] - starts[0]))
    return replace(flying, plan_row=plan_row, plan=curve, plan_edges=edges)
