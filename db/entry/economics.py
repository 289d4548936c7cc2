"""Stock, orders, the flying plan, and what is taken as given."""

import difflib
import re
from collections.abc import Iterator
from typing import Final

import pandas as pd
from sqlalchemy.orm import Session

from db.chain import Act
from db.entry.fleet import with_approval
from db.entry.keyed import shown
from db.entry.named import Named
from db.entry.outcome import Outcome
from db.errors import RowError
from db.files import FILES
from db.records.economics import AssumptionEntry, FlyingPlan, Order, StockCount
from lifecycle.assumptions import UNITS

CURRENCY: Final = "[A-Z]{3}"  # the three letters of ISO 4217
RATES: Final = ("holding_rate", "fuel_escalation", "discount_rate", "landings_growth")
SHARES: Final = ("scrap_fraction", "delay_fraction")
MAY_BE_NEGATIVE: Final = ("fuel_escalation", "discount_rate", "landings_growth", "disposal_cost")


def record_stock(session: Session, act: Act, rows: pd.DataFrame) -> Outcome:
    """Enter counts of brakes on a base's shelf."""
    named = Named(session, FILES["stock"], rows)
    return named.record(act, StockCount, base=named.bases(), brake_type=named.brake_types())


def record_orders(session: Session, act: Act, rows: pd.DataFrame) -> Outcome:
    """Enter brakes ordered for a base."""
    named = Named(session, FILES["orders"], rows)
    return named.record(act, Order, base=named.bases(), brake_type=named.brake_types())


def record_flying_plan(session: Session, act: Act, rows: pd.DataFrame) -> Outcome:
    """Enter landings planned for an aircraft or a base in a month."""
    named = Named(session, FILES["flying_plan"], rows)
    return named.record(act, FlyingPlan, aircraft=named.aircraft(rows["month"]), base=named.bases())


def record_assumptions(session: Session, act: Act, rows: pd.DataFrame, *, approved: bool = False) -> Outcome:
    """Enter assumptions; they count as approved if `approved` (an administrator's load) and the row does not say no."""
    named = Named(session, FILES["assumptions"], rows)
    for row in rows.to_dict("records"):
        for column, rule, suggestion in _problems(
            row["name"], row["value"], row["unit"], row["low"], row["high"]
        ):
            error = RowError("assumptions", row["row"], column, shown(row[column]), rule, suggestion)
            named.errors.append(error)
    outcome = named.record(
        act,
        AssumptionEntry,
        aircraft_type=named.aircraft_types(),
        brake_type=named.brake_types(),
        base=named.bases(),
        approved=(rows["approved"] != "no") & approved,
    )
    return with_approval(outcome, rows, "assumptions", approved=approved)


def _problems(name: str, value: float, unit: str, low: float, high: float) -> Iterator[tuple[str, str, str]]:
    """Column, rule and suggestion of whatever is wrong with one assumption."""
    wanted = UNITS.get(name)
    if wanted is None:
        near = difflib.get_close_matches(name, UNITS, n=1)
        meant = f"{near[0]} if that is meant, or " if near else ""
        yield (
            "name",
            "is not a name that the calculations use",
            f"write {meant}one of {', '.join(sorted(UNITS))}",
        )
    if unit in ("%", "percent"):
        yield "unit", "rates are fractions of unit 1", f"write value {value / 100:.6g} and unit 1"
    elif wanted is not None and not re.fullmatch(re.escape(wanted).replace("CUR", CURRENCY), unit):
        money = ", CUR being a currency's three letters" if "CUR" in wanted else ""
        yield (
            "unit",
            f"{name} has unit {wanted}{money}",
            f"write {wanted.replace('CUR', 'EUR')} or the like, value to match",
        )
    elif (name in RATES and abs(value) >= 1) or (name in SHARES and value > 1):
        yield "value", "is a fraction, at most 1", f"write {value / 100:.6g} if {value:.6g} % is meant"
    if wanted is not None and value < 0 and name not in MAY_BE_NEGATIVE:
        yield "value", f"{name} cannot be negative", "check the sign"
    if low > value:
        yield "low", f"is above the value {value:.6g}", "low <= value <= high is wanted: check all three"
    if high < value:
        yield "high", f"is below the value {value:.6g}", "low <= value <= high is wanted: check all three"
