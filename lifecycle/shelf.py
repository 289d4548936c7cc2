"""Serviceable stock of a base month by month: counted, ordered, coming back from the shop, drawn by demand."""

import datetime as dt
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from lifecycle.assumptions import AssumptionSet
from lifecycle.days import day_number, day_numbers
from lifecycle.observations import Records

Floats = npt.NDArray[np.float64]

# Assumptions that a shelf is counted with.
ON_THE_SHELF: Final = ("shop_turnaround_days", "scrap_fraction", "lead_time_days")


@dataclass(frozen=True)
class Shelf:
    """
    One brake type at one base as it stands.

    ``arrivals`` are (days from now, brakes) of open orders; ``back_in_days`` one entry for each brake in the shop.
    """

    base: str
    brake_type: str
    counted_on: dt.date
    serviceable: float
    arrivals: tuple[tuple[float, float], ...]
    back_in_days: tuple[float, ...]
    turnaround_days: float | None
    scrap_fraction: float
    warnings: tuple[str, ...]

    @property
    def on_order(self) -> float:
        """Brakes ordered and not on the shelf yet."""
        return sum(quantity for _, quantity in self.arrivals)


def count_shelf(
    records: Records, assumptions: AssumptionSet, *, base: str, brake_type: str, on: dt.date
) -> Shelf | None:
    """
    What one base has of one type, or None where nothing was ever counted.

    Parameters
    ----------
    records : Records
        Stock counts, orders, shop visits, installations.
    assumptions : AssumptionSet
        ``shop_turnaround_days``, ``scrap_fraction``, and ``lead_time_days`` for orders without a due day.
    base, brake_type : str
        Whose stock.
    on : date
        The day.

    Returns
    -------
    Shelf or None
        From the last count by that day. An order past its due day and a brake past its turnaround are taken to come
        at once; an order without a due day and without a lead time is not counted, and a warning says so.
    """
    counts = _of(records.stock, base, brake_type)
    counts = counts[counts["counted_on"] <= pd.Timestamp(on)]
    if counts.empty:
        return None
    last = counts.sort_values("counted_on", kind="stable").tail(1)
    counted_on = pd.Timestamp(last["counted_on"].iloc[0])
    turnaround = assumptions.find("shop_turnaround_days", brake_type=brake_type, base=base)
    scrap = assumptions.find("scrap_fraction", brake_type=brake_type, base=base)
    lead = assumptions.find("lead_time_days", brake_type=brake_type, base=base)
    orders = _of(records.orders, base, brake_type)
    orders = orders[orders["due_on"].isna() | (orders["due_on"] > counted_on)]
    days, quantity = _arrivals(orders, on=on, lead_days=lead.value if lead else None)
    dated = np.isfinite(days)
    away = _days_in_shop(records, base, brake_type, on)
    warnings = [] if turnaround else ["no shop_turnaround_days assumed: nothing is counted as coming back"]
    if not dated.all():
        warnings.append(
            f"{quantity[~dated].sum():g} ordered without a due day or lead_time_days: not counted"
        )
    return Shelf(
        base=base,
        brake_type=brake_type,
        counted_on=counted_on.date(),
        serviceable=float(last["serviceable"].iloc[0]),
        arrivals=tuple(zip(days[dated].tolist(), quantity[dated].tolist(), strict=True)),
        back_in_days=tuple(np.maximum(turnaround.value - away, 0.0).tolist()) if turnaround else (),
        turnaround_days=turnaround.value if turnaround else None,
        scrap_fraction=scrap.value if scrap else 0.0,
        warnings=tuple(warnings),
    )


def project_shelf(shelf: Shelf, demand_mean: Floats, days: Floats) -> Floats:
    """
    Serviceable stock at each month's end, before that month's own demand is drawn.

    Parameters
    ----------
    shelf : Shelf
        Where it stands.
    demand_mean : array of shape (n_months,)
        Expected removals a month.
    days : array of shape (n_months,)
        Days from now to each month's end.

    Returns
    -------
    array of shape (n_months,)
        Counted + arrived by the month's end + back from the shop by then - demand of the months before. Negative
        where more is drawn than comes.
    """
    drawn = np.concatenate([[0.0], np.cumsum(demand_mean)])
    arrived = np.array([sum(quantity for due, quantity in shelf.arrivals if due <= end) for end in days])
    returned = np.zeros_like(drawn[1:])
    if shelf.turnaround_days is not None:
        now_away = np.array([sum(left <= end for left in shelf.back_in_days) for end in days])
        by_then = np.interp(days - shelf.turnaround_days, np.concatenate([[0.0], days]), drawn, left=0.0)
        returned = (1.0 - shelf.scrap_fraction) * (now_away + by_then)
    return np.asarray(shelf.serviceable + arrived + returned - drawn[:-1])


def _of(frame: pd.DataFrame, base: str, brake_type: str) -> pd.DataFrame:
    return frame[(frame["base"] == base) & (frame["brake_type"] == brake_type)]


def _arrivals(orders: pd.DataFrame, *, on: dt.date, lead_days: float | None) -> tuple[Floats, Floats]:
    """Days from now until each order is there, NaN where neither a due day nor a lead time says, and its brakes."""
    ordered = (day_numbers(orders["ordered_on"]) - day_number(on)).astype(float)
    due = (day_numbers(orders["due_on"]) - day_number(on)).astype(float)
    by_lead = ordered + (np.nan if lead_days is None else lead_days)
    days = np.where(orders["due_on"].isna().to_numpy(), by_lead, due)
    return np.maximum(days, 0.0), orders["quantity"].to_numpy(dtype=float)


def _days_in_shop(records: Records, base: str, brake_type: str, on: dt.date) -> Floats:
    """How long each brake of this type that last flew from this base has been in the shop."""
    visits = records.shop_visits.merge(records.brakes[["brake", "brake_type"]], on="brake")
    visits = visits[
        (visits["brake_type"] == brake_type)
        & (visits["sent_on"] <= pd.Timestamp(on))
        & visits["back_on"].isna()
        & (visits["work"] != "scrap")
    ]
    last = records.installations.sort_values("installed_on").drop_duplicates("brake", keep="last")
    home = last.merge(records.aircraft[["aircraft", "base"]], on="aircraft").set_index("brake")["base"]
    here = visits[visits["brake"].map(home).fillna("") == base]
    return (day_number(on) - day_numbers(here["sent_on"])).astype(float)
