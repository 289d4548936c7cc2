"""
A retrofit brief as it is shown: every figure and word of it, so that it can be kept and shown again unchanged.

Editions keep this for years. A field may be added, with a value to take where an old edition has none; none is renamed
or taken away.
"""

import datetime as dt
from dataclasses import dataclass
from functools import cache
from typing import Final

from pydantic import TypeAdapter

from api import words
from api.figures.brief_words import DatedFlow, Swing, dated_flows, discount_rate, swings
from api.pages.origin import numbers_told
from api.pages.reach import reach_of
from lifecycle import study as chain
from lifecycle.retrofit import Briefing, Option
from lifecycle.study import Study

BEHIND: Final = ("aircraft", "landings", "pin_readings", "installations", "shop_visits", "stock")
HEADLINES: Final = {
    "retrofit": "Retrofit.",
    "do not retrofit": "Do not retrofit.",
    "not enough data": "There is not enough data to say.",
}


@dataclass(frozen=True)
class ShownBrief:
    """What the page of a brief shows, and of which records."""

    from_type: str
    to_type: str
    on: dt.date
    known_on: dt.date
    seed: int
    records_through: dt.date | None
    missing_aircraft_days: int
    records: tuple[str, ...]
    briefing: Briefing
    headline: str
    payback: str
    flows: tuple[DatedFlow, ...]
    scale: float
    unit: str
    decimals: int
    rate: float
    drivers: tuple[Swing, ...]
    options: tuple[Option, ...]


def brief_of(study: Study, from_type: str, to_type: str) -> ShownBrief:
    """The brief of one change, worked out and put into words."""
    briefing = chain.briefing(study, from_type=from_type, to_type=to_type)
    flows = dated_flows(briefing, study.on.year)
    scale, unit = words.money_scale([briefing.npv, *(flow.current for flow in flows)], briefing.currency)
    reach = reach_of(study.records, "")
    return ShownBrief(
        from_type=from_type,
        to_type=to_type,
        on=study.on,
        known_on=study.known_on,
        seed=study.seed,
        records_through=reach.through,
        missing_aircraft_days=reach.missing_aircraft_days,
        records=tuple(numbers_told(kind, getattr(study.records, kind)["record"]) for kind in BEHIND),
        briefing=briefing,
        headline=HEADLINES[briefing.recommendation],
        payback=payback_in_words(briefing),
        flows=flows,
        scale=scale,
        unit=unit,
        decimals=2 if scale == 1e6 else 0,
        rate=discount_rate(briefing),
        drivers=swings(briefing),
        options=tuple(sorted(briefing.options, key=lambda each: -each.npv)),
    )


def payback_in_words(found: Briefing) -> str:
    """When it pays back, with its range, and how surely before the aircraft retire."""
    sure = f"the chance that it has paid back before the aircraft retire is {words.in_ten(found.chance_by_retirement)}"
    low, middle, high = found.payback_years_p10, found.payback_years_p50, found.payback_years_p90
    if middle is None:
        return f"Discounted, in the middle of the forecast it never pays back; {sure}."
    if low is None or high is None:
        return f"Discounted, it pays back in about {middle:.1f} years, in 1 case of 10 or more never; {sure}."
    between = f"{words.number(low, 1)} to {words.number(high, 1)}"
    return f"Discounted, it pays back in about {words.number(middle, 1)} years (8 in 10: {between}); {sure}."


def read_again(shown: str) -> ShownBrief:
    """A brief as it was frozen, from its JSON; nothing is worked out."""
    return _adapter().validate_json(shown)


@cache
def _adapter() -> TypeAdapter[ShownBrief]:
    return TypeAdapter(ShownBrief)
