"""The retrofit decision: yearly cash flows of two brake types to retirement, and the briefing."""

from dataclasses import dataclass

from lifecycle.assumptions import Assumption


@dataclass(frozen=True)
class YearFlow:
    """Cash of one year, counted from the decision; net is current less proposed."""

    year: int
    current: float
    proposed: float
    net: float
    cumulative: float


@dataclass(frozen=True)
class Driver:
    """Net present value when one input runs over its own sourced P10 to P90 and the others stay."""

    name: str
    low: float
    high: float
    npv_low: float
    npv_high: float


@dataclass(frozen=True)
class Option:
    """Net present value of one way to go about it: keep, as worn, phased, all at once."""

    name: str
    npv: float


@dataclass(frozen=True)
class Briefing:
    """What the budget holder is told; payback is null where it never pays back."""

    edition: str
    study: str
    currency: str
    npv: float
    npv_p10: float
    npv_p90: float
    payback_years_p10: float | None
    payback_years_p50: float | None
    payback_years_p90: float | None
    chance_by_retirement: float
    sir: float | None
    airr: float | None
    recommendation: str
    condition: str
    by_year: tuple[YearFlow, ...]
    drivers: tuple[Driver, ...]
    options: tuple[Option, ...]
    assumptions: tuple[Assumption, ...]
