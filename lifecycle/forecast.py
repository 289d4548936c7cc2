"""When each installed brake reaches its limit: braked landings, then dates, conditioned on still being fitted."""

import datetime as dt
from dataclasses import dataclass


@dataclass(frozen=True)
class ChangeOut:
    """Forecast of one installed brake; landings are braked landings after the day forecast from."""

    serial: str
    brake_type: str
    registration: str
    position: str
    base: str
    pin_mm: float | None
    limit_mm: float | None
    read_on: dt.date | None
    rate_mm_per_landing: float
    landings_p10: float | None
    landings_p50: float | None
    landings_p90: float | None
    date_p10: dt.date | None
    date_p50: dt.date | None
    date_p90: dt.date | None
    kind: str
    warnings: tuple[str, ...] = ()
