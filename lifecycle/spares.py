"""Spares demand per base and month: first change-outs, then renewals."""

import datetime as dt
from dataclasses import dataclass


@dataclass(frozen=True)
class SparesMonth:
    """Demand for one brake type at one base in one month (its first day); stock at the month's end."""

    base: str
    brake_type: str
    month: dt.date
    mean: float
    p10: float
    p50: float
    p90: float
    stock: float | None
    short: float | None
