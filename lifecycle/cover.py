"""What a stock covers: share of demands met at once, for each number kept, with the number held today."""

import datetime as dt
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from lifecycle.assumptions import AssumptionSet
from lifecycle.exposure import Runs
from lifecycle.flying import Flying
from lifecycle.observations import Records
from lifecycle.shelf import count_shelf
from lifecycle.spares import DemandAhead, demand_ahead
from lifecycle.stock import expected_backorders, fill_rate, ready_rate
from lifecycle.wear import FleetFit

Floats = npt.NDArray[np.float64]

TURNAROUND: Final = "shop_turnaround_days"
ENOUGH: Final = 0.99  # fill rate up to which numbers are listed
DAYS_A_MONTH: Final = 28.0


@dataclass(frozen=True)
class CoverPoint:
    """
    One number kept: share of demands met at once, chance that nothing waits, brakes waiting on average.

    The number counts what is serviceable, on order and in the shop together.
    """

    stock: int
    fill_rate: float
    ready_rate: float
    backorders: float


@dataclass(frozen=True)
class StockCover:
    """
    One brake type at one base: demand over the days that it takes to replace a brake, and what each number covers.

    ``today`` is the point of the number held now, None where no stock was ever counted.
    """

    base: str
    brake_type: str
    days: float
    demand_mean: float
    points: tuple[CoverPoint, ...]
    today: CoverPoint | None


def stock_cover(  # noqa: PLR0913 - the chain hands over what it has
    runs: Runs, fit: FleetFit, flying: Flying, records: Records, assumptions: AssumptionSet, *, on: dt.date
) -> tuple[StockCover, ...]:
    """
    Stock against fill rate, by base and brake type.

    Parameters
    ----------
    runs, fit, flying : Runs, FleetFit, Flying
        What is fitted where, how it wears, how it is flown.
    records, assumptions : Records, AssumptionSet
        Stock, orders and shop visits; ``shop_turnaround_days``, without which a cell is left out.
    on : date
        The day.

    Returns
    -------
    tuple of StockCover
        By base and brake type.

    Notes
    -----
    A removed brake is back after the shop's turnaround, so that a stock of s covers a removal if fewer than s were
    taken in the turnaround before it. The demand is that forecast for the next turnaround, not a steady one: a wave is
    in it. One brake back for each removed: scrap and a full shop are left out.
    """
    told = [each.value for each in assumptions.items if each.name == TURNAROUND]
    months = int(np.ceil(max(told, default=0.0) / DAYS_A_MONTH)) + 1
    ahead = demand_ahead(runs, fit, flying, records, on=on, months=months)
    found = []
    for at, (base, brake_type) in enumerate(ahead.cells):
        turnaround = assumptions.find(TURNAROUND, brake_type=brake_type, base=base)
        if turnaround is None:
            continue
        means, variances = _within(ahead, at, turnaround.value)
        shelf = count_shelf(records, assumptions, base=base, brake_type=brake_type, on=on)
        held = None if shelf is None else round(shelf.serviceable + shelf.on_order + len(shelf.back_in_days))
        found.append(
            StockCover(
                base=base,
                brake_type=brake_type,
                days=turnaround.value,
                demand_mean=float(means.mean()),
                points=_points(means, variances),
                today=None if held is None else _point(max(held, 0), means, variances),
            )
        )
    return tuple(found)


def _within(ahead: DemandAhead, at: int, days: float) -> tuple[Floats, Floats]:
    """Moments of the demand of the next days under each state: whole months, then a share of the last."""
    begins = np.concatenate([[0.0], ahead.days[:-1]])
    share = np.clip((days - begins) / (ahead.days - begins), 0.0, 1.0)[:, None]
    return (ahead.means[at] * share).sum(axis=0), (ahead.variances[at] * share).sum(axis=0)


def _point(stock: int, means: Floats, variances: Floats) -> CoverPoint:
    kept = np.array([stock])
    moments = (means, variances)
    return CoverPoint(
        stock,
        fill_rate=float(fill_rate(kept, *moments)[0]),
        ready_rate=float(ready_rate(kept, *moments)[0]),
        backorders=float(expected_backorders(kept, *moments)[0]),
    )


def _points(means: Floats, variances: Floats) -> tuple[CoverPoint, ...]:
    """From none to the first number that meets all but 1 in 100 at once."""
    top = float(means.max())
    kept = np.arange(int(top + 12 * np.sqrt(top + 1) + 12))
    enough = int(np.argmax(fill_rate(kept, means, variances) >= ENOUGH))
    return tuple(_point(stock, means, variances) for stock in range(enough + 1))
