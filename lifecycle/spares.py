"""Spares demand per base and month: first change-outs, then renewals, against the stock that is there."""

import datetime as dt
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.special import ndtri

from lifecycle.assumptions import AssumptionSet
from lifecycle.causes import fit_causes, hazards_of
from lifecycle.common_factors import STATES, by_state
from lifecycle.demand import Positions
from lifecycle.exposure import Runs
from lifecycle.flying import Flying
from lifecycle.installed import Installed, installed_brakes
from lifecycle.observations import Records
from lifecycle.shelf import count_shelf, project_shelf
from lifecycle.stays_watched import ages_now, watched_stays
from lifecycle.stock import mixed_quantile
from lifecycle.wear import FleetFit, prior_rate

Floats = npt.NDArray[np.float64]

# What the whole fleet shares: flying as a whole is off by so much (a share of landings; ours, from trial fleets).
FLYING_SD: Final = 0.08
# A type whose limit is not below its new length, or that does not wear, would be replaced without end or never.
LEAST_USABLE_MM: Final = 1.0
LEAST_RATE_MM: Final = 1e-6
LEAST_SHORT: Final = 0.05  # of a brake; less is none


@dataclass(frozen=True)
class SparesMonth:
    """
    Demand for one brake type at one base in one month (its first day), and stock at the month's end.

    `stock` is what is there before that month's own demand is drawn: counted, arrived and back from the shop by the
    month's end, less the demand of the months before. `short` is demand at the level asked less that, at least 0;
    below 0.05 of a brake it is 0, since what rounds to none lies within what a forecast can tell.
    """

    base: str
    brake_type: str
    month: dt.date
    mean: float
    p10: float
    p50: float
    p90: float
    stock: float | None
    short: float | None
    warnings: tuple[str, ...] = ()


def forecast_spares(  # noqa: PLR0913 - the chain hands over what it has
    runs: Runs,
    fit: FleetFit,
    flying: Flying,
    records: Records,
    assumptions: AssumptionSet,
    *,
    on: dt.date,
    months: int = 24,
    level: float = 0.9,
) -> tuple[SparesMonth, ...]:
    """
    Brakes needed by base, type and month, for wear and for every other reason that wants a spare.

    Parameters
    ----------
    runs, fit, flying : Runs, FleetFit, Flying
        What is fitted where, how it wears, how it is flown.
    records, assumptions : Records, AssumptionSet
        Stock, orders, shop visits and what is assumed of the loop.
    on : date
        The day forecast from.
    months : int
        How many months ahead, the one that holds the next day first.
    level : float
        Chance that stock should cover demand, for `short`.

    Returns
    -------
    tuple of SparesMonth
        By base, brake type and month. Positions whose brake has no limit on record are left out.

    Notes
    -----
    Analytic: first-passage chances per position, renewals by convolution (`lifecycle.demand`), means and variances
    summed over positions; the common factors of flying (8 %), of the type's rate (its own interval) and of its other
    removals move all positions together (`lifecycle.common_factors`). P10, P50, P90 are the quantiles of the mixture
    of two-moment binomials. For planning; wear and other causes both count here, the latter by the age of
    each heat sink (`lifecycle.causes`).
    """
    ahead = demand_ahead(runs, fit, flying, records, on=on, months=months)
    found: list[SparesMonth] = []
    for at, (base, brake_type) in enumerate(ahead.cells):
        shelf = count_shelf(records, assumptions, base=base, brake_type=brake_type, on=on)
        cell_demand = _Cell(base, brake_type, ahead.means[at], ahead.variances[at])
        stock = project_shelf(shelf, cell_demand.mean, ahead.days).tolist() if shelf else None
        found += cell_demand.by_month(list(ahead.firsts), level, stock, shelf.warnings if shelf else ())
    return tuple(found)


@dataclass(frozen=True)
class DemandAhead:
    """
    Moments of the demand of every base and brake type by month.

    Attributes
    ----------
    cells : tuple of (base, brake type)
        In order.
    firsts : tuple of date
        First day of each month; the first holds the next day.
    days : array of shape (n_months,)
        Days from now to each month's end.
    means, variances : array of shape (n_cells, n_months, n_states)
        Under each equally likely state of the common factors.
    """

    cells: tuple[tuple[str, str], ...]
    firsts: tuple[dt.date, ...]
    days: Floats
    means: Floats
    variances: Floats


def demand_ahead(  # noqa: PLR0913 - the chain hands over what it has
    runs: Runs, fit: FleetFit, flying: Flying, records: Records, *, on: dt.date, months: int
) -> DemandAhead:
    """
    Demand by base, brake type and month, before it is held against any stock; parameters as in `forecast_spares`.

    Returns
    -------
    DemandAhead
        Without a cell where no brake with a limit is fitted.
    """
    firsts, days = _months(on, months)
    installed = _wearing(installed_brakes(runs, fit, flying, on))
    spots = installed.frame
    if spots.empty:
        none = np.zeros((0, months, STATES))
        return DemandAhead((), tuple(firsts), days, none, none)
    cells = spots[["base", "brake_type"]].drop_duplicates().sort_values(["base", "brake_type"])
    landings = flying.expected_landings(spots["aircraft"].to_numpy()[:, None], days[None, :])
    age = ages_now(spots, runs, fit, records)
    hazards = hazards_of(
        fit_causes(watched_stays(runs, fit, records)),
        sorted(spots["brake_type"].unique()),
        up_to=float(np.max(age + landings[:, -1])),
    )
    positions = Positions(
        law=installed.law,
        landings=landings,
        group=np.asarray(spots.groupby(["base", "brake_type"], sort=True).ngroup(), dtype=np.int64),
        age=age,
        hazards=hazards,
        kind=np.searchsorted(hazards.brake_types, spots["brake_type"].to_numpy(dtype=str)).astype(np.int64),
        usable_mm=_usable_mm(spots, records),
        **_next_rates(spots, fit),
    )
    kind = np.searchsorted(hazards.brake_types, cells["brake_type"].to_numpy(dtype=str))
    means, variances = by_state(positions, _common_sd(fit, cells["brake_type"]), hazards.doubt[kind])
    return DemandAhead(
        cells=tuple((str(base), str(kind)) for base, kind in cells.itertuples(index=False)),
        firsts=tuple(firsts),
        days=days,
        means=means,
        variances=variances,
    )


@dataclass(frozen=True)
class _Cell:
    """One type at one base: moments of its demand under each state of the common factors, (n_months, n_states)."""

    base: str
    brake_type: str
    means: Floats
    variances: Floats

    @property
    def mean(self) -> Floats:
        return np.asarray(self.means.mean(axis=1))

    def by_month(
        self, firsts: list[dt.date], level: float, stock: list[float] | None, warnings: tuple[str, ...]
    ) -> list[SparesMonth]:
        p10, p50, p90, covered = (
            mixed_quantile(at, self.means, self.variances) for at in (0.1, 0.5, 0.9, level)
        )
        return [
            SparesMonth(
                base=self.base,
                brake_type=self.brake_type,
                month=month,
                mean=float(self.mean[at]),
                p10=float(p10[at]),
                p50=float(p50[at]),
                p90=float(p90[at]),
                stock=stock[at] if stock else None,
                short=_short(float(covered[at]) - stock[at]) if stock else None,
                warnings=warnings,
            )
            for at, month in enumerate(firsts)
        ]


def _short(missing: float) -> float:
    return missing if missing >= LEAST_SHORT else 0.0


def _months(on: dt.date, months: int) -> tuple[list[dt.date], Floats]:
    """First day of each month, and days from now to its end; the first holds the day after `on`."""
    start = pd.Period(on + dt.timedelta(days=1), freq="M")
    periods = [start + ahead for ahead in range(months)]
    return [each.start_time.date() for each in periods], np.array(
        [float((each.end_time.date() - on).days) for each in periods]
    )


def _wearing(installed: Installed) -> Installed:
    """Brakes whose limit is known; one that is due by a reading is due at once, whatever its rate says."""
    known = installed.frame["limit_mm"].notna().to_numpy()
    law, frame = installed.law.at(known), installed.frame[known]
    due = frame["due"].to_numpy()
    at_once = replace(
        law, remaining_mm=np.where(due, -1.0, law.remaining_mm), start_var=np.where(due, 0.0, law.start_var)
    )
    return Installed(frame=frame, law=at_once)


def _usable_mm(spots: pd.DataFrame, records: Records) -> Floats:
    """Wear from new to the limit; where the new length is not recorded, from what the run began with."""
    new_pin_mm = spots["brake_type"].map(records.brake_types.set_index("brake_type")["new_pin_mm"])
    usable = (new_pin_mm.fillna(spots["start_mm"]) - spots["limit_mm"]).to_numpy(dtype=float)
    return np.asarray(np.maximum(usable, LEAST_USABLE_MM))


def _next_rates(spots: pd.DataFrame, fit: FleetFit) -> dict[str, Floats]:
    """Wear of a brake that nobody has read yet, at each position."""
    places = spots[["brake_type", "position_group", "base"]]
    kinds = places.drop_duplicates()
    priors = [prior_rate(fit, *kind) for kind in kinds.itertuples(index=False, name=None)]
    table = kinds.assign(
        **{name: [getattr(prior, name) for prior in priors] for name in ("rate_mm", "rate_var", "path_sd")}
    )
    found = places.merge(table, how="left")
    return {
        "rate": np.maximum(found["rate_mm"].to_numpy(dtype=float), LEAST_RATE_MM),
        "rate_var": found["rate_var"].to_numpy(dtype=float),
        "path_sd": found["path_sd"].to_numpy(dtype=float),
    }


def _common_sd(fit: FleetFit, brake_types: pd.Series) -> Floats:
    """Standard deviation of what moves all positions of a cell together, as a share: flying and the type's rate."""
    eighty = 2 * ndtri(0.9)
    rate_sd = {
        each.brake_type: (each.rate_high - each.rate_low) / eighty / each.rate_mm_per_landing
        for each in fit.types
    }
    return np.asarray(np.hypot(FLYING_SD, brake_types.map(rate_sd).to_numpy(dtype=float)))
