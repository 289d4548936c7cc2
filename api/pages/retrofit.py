"""Retrofit brief: whether to change, and when it pays back."""

from dataclasses import dataclass, replace
from typing import Annotated, Final

from fastapi import APIRouter, Query, Request, Response

from api import words
from api.access import need
from api.deps import AskedStudy
from api.figures.brief_words import DatedFlow, Swing, dated_flows, discount_rate, swings
from api.figures.retrofit import cash_by_year, swing
from api.pages.brake_types import types_of
from api.pages.frame import Frame, figures_answer, render
from api.pages.navigation import RETROFIT
from api.pages.origin import Origin, origin_of
from api.pages.pairs import Pair, opened_first, pairs_of
from api.pages.scope import frame_of
from api.tables import AskedForm, download
from lifecycle import study as chain
from lifecycle.errors import LifecycleError
from lifecycle.retrofit import Briefing, Option
from lifecycle.study import Study

router = APIRouter(dependencies=[need("money.read")])

FromType = Annotated[str, Query(alias="from", description="brake type in service")]
ToType = Annotated[str, Query(alias="to", description="brake type proposed")]
BEHIND: Final = ("aircraft", "landings", "pin_readings", "installations", "shop_visits", "stock")
HEADLINES: Final = {
    "retrofit": "Retrofit.",
    "do not retrofit": "Do not retrofit.",
    "not enough data": "There is not enough data to say.",
}


@dataclass(frozen=True)
class RetrofitPage:
    """What retrofit.html receives; there is no briefing until two types are chosen."""

    frame: Frame
    types: tuple[str, ...]
    from_type: str
    to_type: str
    pairs: tuple[Pair, ...]
    charts: str
    origin: Origin
    briefing: Briefing | None = None
    headline: str = ""
    payback: str = ""
    flows: tuple[DatedFlow, ...] = ()
    scale: float = 1.0
    unit: str = ""
    decimals: int = 0
    rate: float = 0.0
    drivers: tuple[Swing, ...] = ()
    options: tuple[Option, ...] = ()


@router.get(RETROFIT.path)
def retrofit(
    request: Request, study: AskedStudy, form: AskedForm, from_type: FromType = "", to_type: ToType = ""
) -> Response:
    """The brief of one change, or its cash as a file; without types, the only change with a price, or a choice."""
    first = None if from_type or to_type else opened_first(pairs_of(study.runs, study.assumptions))
    briefing = None
    if first:
        briefing = brief_if_told(study, first)
        from_type, to_type = (first.from_type, first.to_type) if briefing else ("", "")
    elif from_type and to_type:
        briefing = chain.briefing(study, from_type=from_type, to_type=to_type)
    if form and briefing:
        return download(
            dated_flows(briefing, study.on.year), name="retrofit-cash", form=form, head=study.ledger_head
        )
    frame = frame_of(request, RETROFIT, study)
    # Links of the page name the types even where nobody typed them.
    frame = replace(frame, asked={**frame.asked, "from": from_type, "to": to_type})
    return render("retrofit.html", page_of(frame, study, from_type, to_type, briefing))


def brief_if_told(study: Study, pair: Pair) -> Briefing | None:
    """The brief of a change that nobody asked for: where it cannot be given, the page asks instead of refusing."""
    try:
        return chain.briefing(study, from_type=pair.from_type, to_type=pair.to_type)
    except LifecycleError:
        return None


@router.get(f"{RETROFIT.path}/figures.json")
def figures(study: AskedStudy, from_type: FromType, to_type: ToType) -> Response:
    """Cash by year, and what moves the net present value most."""
    briefing = chain.briefing(study, from_type=from_type, to_type=to_type)
    return figures_answer(
        {
            "cash": cash_by_year(dated_flows(briefing, study.on.year), briefing.currency),
            "swing": swing(briefing),
        }
    )


def page_of(
    frame: Frame, study: Study, from_type: str, to_type: str, briefing: Briefing | None
) -> RetrofitPage:
    """What the template shows of a briefing, or of the choice before one."""
    origin = origin_of(frame, study, "the retrofit brief", kinds=BEHIND)
    page = RetrofitPage(
        frame=frame,
        types=tuple(types_of(study).materials),
        from_type=from_type,
        to_type=to_type,
        pairs=pairs_of(study.runs, study.assumptions),
        charts=frame.link(f"{RETROFIT.path}/figures.json"),
        origin=origin,
    )
    if briefing is None:
        return page
    flows = dated_flows(briefing, study.on.year)
    scale, unit = words.money_scale([briefing.npv, *(flow.current for flow in flows)], briefing.currency)
    return replace(
        page,
        flows=flows,
        scale=scale,
        unit=unit,
        decimals=2 if scale == 1e6 else 0,
        rate=discount_rate(briefing),
        briefing=briefing,
        headline=HEADLINES[briefing.recommendation],
        payback=payback_in_words(briefing),
        drivers=swings(briefing),
        options=tuple(sorted(briefing.options, key=lambda each: -each.npv)),
        origin=replace(origin, assumptions=briefing.assumptions),
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
