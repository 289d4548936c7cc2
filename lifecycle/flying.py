"""Flying learned from the log: each aircraft's level, the fleet's season, and how far past forecasts were off."""

import datetime as dt
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from lifecycle.aircraft import aircraft_on, grounded_spans
from lifecycle.days import FAR, FloatArray, IntArray, day_number, day_numbers
from lifecycle.flown_months import flown_months, month_begins, month_numbers
from lifecycle.landings import fly_days
from lifecycle.levels import learn_levels
from lifecycle.observations import Records
from lifecycle.plans import along_rows, cumulative, first_day_along, planned_landings
from lifecycle.season import dispersion, learn_season

DAYS_AHEAD: Final = 40 * 366
DAYS_BACK: Final = 3 * 366  # records later than that are not projected further
CHECK_DAYS: Final = 30.0  # a check is taken to last so long,
CHECK_DAYS_MORE: Final = 7.0  # and one that lasts longer to end in a week


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
        Month factors, January to December.
    cv_u, phi : float
        Persistent relative error of a forecast of landings, and scatter of the landings themselves: a forecast of N
        landings has a relative variance of cv_u^2 + phi/N.
    begins, stops : arrays of float, shape (a,)
        Days between which the aircraft will fly: 0 and inf for most; begins inf if it does not.
    flew_from, flew_to : arrays of float, shape (a,)
        Days, not after 0, between which it has flown without a break.
    records_through : array of float, shape (a,)
        Last day of its landings on record, -inf if none is.
    season_days : array of float, shape (d,)
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
        later = self._season_inverse(self._season_at(self._own_begin(code, row)), rest, self._level(code))
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

    def _season_at(self, day: FloatArray) -> FloatArray:
        at = np.clip(day, -DAYS_BACK, DAYS_AHEAD) + DAYS_BACK
        whole = np.minimum(at.astype(np.int64), len(self.season_days) - 2)
        low = self.season_days[whole]
        return np.asarray(low + (at - whole) * (self.season_days[whole + 1] - low))

    def _season_inverse(self, begin: FloatArray, rest: FloatArray, level: FloatArray) -> FloatArray:
        """Days at which ``rest`` landings are flown from where the season's sum is ``begin``."""
        target = begin + rest / np.where(level > 0, level, 1.0)
        ahead = self.season_days[DAYS_BACK:]
        upper = np.clip(np.searchsorted(ahead, target, side="left"), 1, len(ahead) - 1)
        day = upper - 1 + (target - ahead[upper - 1]) / (ahead[upper] - ahead[upper - 1])
        return np.where((level > 0) & (target <= ahead[-1]) & (begin < ahead[-1]), day, np.inf)

    def _own_begin(self, code: IntArray, row: IntArray) -> FloatArray:
        """Day from which the level counts: when flying begins, and after the plan."""
        begins = np.append(self.begins, np.inf)[code]
        return np.where(row >= 0, np.maximum(begins, self.plan_edges[-1]), begins)

    def _ahead(self, code: IntArray, day: FloatArray) -> FloatArray:
        day = np.minimum(day, np.append(self.stops, 0.0)[code])
        row = np.append(self.plan_row, -1)[code]
        begin = self._own_begin(code, row)
        landings = self._level(code) * (self._season_at(np.maximum(day, begin)) - self._season_at(begin))
        planned = np.flatnonzero(row >= 0)
        if len(planned):
            landings[planned] += along_rows(self.plan, row[planned], self.plan_edges, day[planned])
        return landings

    def _back(self, code: IntArray, day: FloatArray) -> FloatArray:
        low, high = np.append(self.flew_from, 0.0)[code], np.append(self.flew_to, 0.0)[code]
        return self._level(code) * (self._season_at(np.clip(day, low, high)) - self._season_at(high))


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
    (`levels.learn_levels`) and the fleet's season (`season.learn_season`); rows of the flying plan replace them for
    their months. An aircraft stored, leased out, sold or retired does not fly; one in check begins again `CHECK_DAYS`
    after the check began.
    """
    flown = fly_days(records, on, touch_and_go_weight=touch_and_go_weight)
    months = flown_months(records, flown, on)
    calendar = (months.first_month + np.arange(months.days.shape[1])) % 12
    season = learn_season(months, dispersion(months, np.ones(len(calendar))))
    phi = dispersion(months, season[calendar])
    today, every = day_number(on), np.arange(len(flown.aircraft))
    base = aircraft_on(records, "base", every, np.full(len(every), today))
    levels = learn_levels(months, season[calendar], _groups(records, base), phi)
    use = _in_use(records, today)
    flying = Flying(
        aircraft=flown.aircraft,
        level=levels.landings_a_day,
        season=season,
        cv_u=levels.cv_u,
        phi=phi,
        begins=use.begins,
        stops=use.stops,
        flew_from=use.flew_from,
        flew_to=use.flew_to,
        records_through=np.where(flown.last_day > -FAR, flown.last_day - float(today), -np.inf),
        season_days=_season_days(season, today),
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


@dataclass(frozen=True)
class _Use:
    """Days between which each aircraft flies and flew, counted from the day learned on."""

    begins: FloatArray
    stops: FloatArray
    flew_from: FloatArray
    flew_to: FloatArray


def _in_use(records: Records, today: int) -> _Use:
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
    return _Use(
        np.where(gone, np.inf, begins), np.where(gone, 0.0, stops), np.minimum(flew_from, flew_to), flew_to
    )


def _season_days(season: FloatArray, today: int) -> FloatArray:
    days = np.arange(today - DAYS_BACK + 1, today + DAYS_AHEAD + 1)
    sums = np.concatenate([[0.0], np.cumsum(season[month_numbers(days) % 12])])
    return np.asarray(sums - sums[DAYS_BACK])


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
