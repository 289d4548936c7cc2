"""The figures of a retrofit briefing as page, file and chart all show them: dated, discounted, with their units."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Final

from api import words
from lifecycle.assumptions import Assumption
from lifecycle.drivers import Driver
from lifecycle.payback import discounted
from lifecycle.retrofit import Briefing, YearFlow

MOST_DRIVERS: Final = 7


@dataclass(frozen=True)
class DatedFlow(YearFlow):
    """A year's cash with the calendar year it ends in, and the present value of all years so far."""

    calendar_year: int
    present_value_so_far: float


@dataclass(frozen=True)
class Swing:
    """One input in words, with the net present value at its P10 and its P90."""

    name: str
    low: str
    high: str
    npv_low: float
    npv_high: float


def discount_rate(briefing: Briefing) -> float:
    """The rate that the briefing's net present value was discounted at."""
    return next(item.value for item in briefing.assumptions if item.name == "discount_rate")


def dated_flows(briefing: Briefing, decided_in: int) -> tuple[DatedFlow, ...]:
    """The years of a briefing; the last present value is the net present value."""
    total, made = 0.0, []
    worth = discounted(discount_rate(briefing), [flow.net for flow in briefing.by_year])
    for flow, part in zip(briefing.by_year, worth, strict=True):
        total += float(part)
        made.append(
            DatedFlow(**asdict(flow), calendar_year=decided_in + flow.year, present_value_so_far=total)
        )
    return tuple(made)


def swings(briefing: Briefing) -> tuple[Swing, ...]:
    """The inputs that move the net present value most, widest first, seven at most."""
    widest = sorted(briefing.drivers, key=lambda each: -abs(each.npv_high - each.npv_low))
    return tuple(_swing(each, briefing.assumptions) for each in widest[:MOST_DRIVERS])


def _swing(driver: Driver, assumptions: Sequence[Assumption]) -> Swing:
    name, unit = _told(driver.name, assumptions)
    low, high = words.with_unit(driver.low, unit), words.with_unit(driver.high, unit)
    return Swing(words.capital(name), low, high, driver.npv_low, driver.npv_high)


def _told(name: str, assumptions: Sequence[Assumption]) -> tuple[str, str]:
    """A driver's name in words and its unit; the chain names it by assumption and scope, or by what was measured."""
    for item in assumptions:
        scope = [part for part in (item.brake_type, item.aircraft_type, item.base) if part]
        if name == " ".join((item.name, *scope)):
            return ", ".join((words.name_in_words(item.name), *scope)), item.unit
    measured, _, unit = name.partition(", ")
    if measured.startswith("landings"):
        return measured, "landings"
    return words.name_in_words(measured), unit or ("times" if measured.startswith("wear") else "")
