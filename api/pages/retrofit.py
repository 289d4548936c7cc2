"""Retrofit brief: should we change, and when does it pay back?"""

from dataclasses import dataclass
from typing import Annotated, Final

from fastapi import APIRouter, Query, Request, Response

from api import words
from api.deps import AskedStudy
from api.figures.retrofit import cash_by_year, swing
from api.pages.brake_types import types_of
from api.pages.frame import Frame, figures_answer, render
from api.pages.navigation import RETROFIT
from api.pages.origin import Origin
from api.pages.scope import frame_of
from api.tables import AskedForm, download
from lifecycle import study as chain
from lifecycle.retrofit import Briefing, Driver, Option
from lifecycle.study import Study

router = APIRouter()

FromType = Annotated[str, Query(alias="from", description="brake type in service")]
ToType = Annotated[str, Query(alias="to", description="brake type proposed")]
HEADLINES: Final = {
    "retrofit": "Retrofit.",
    "do not retrofit": "Do not retrofit.",
    "not enough data": "There is not enough data to say.",
}


@dataclass(frozen=True)
class RetrofitPage:
    """What retrofit.html receives; `briefing` is None until two types are chosen."""

    frame: Frame
    types: tuple[str, ...]
    from_type: str
    to_type: str
    briefing: Briefing | None
    headline: str
    payback: str
    drivers: tuple[Driver, ...]
    options: tuple[Option, ...]
    origin: Origin
    charts: str


@router.get(RETROFIT.path)
def retrofit(
    request: Request, study: AskedStudy, from_type: FromType = "", to_type: ToType = "", form: AskedForm = None
) -> Response:
    """The brief of one change, or its yearly cash as a file; without types, the choice alone."""
    chosen = bool(from_type and to_type)
    briefing = chain.briefing(study, from_type=from_type, to_type=to_type) if chosen else None
    if form and briefing:
        return download(briefing.by_year, name="retrofit-cash", form=form)
    frame = frame_of(request, RETROFIT, study)
    return render("retrofit.html", page_of(frame, tuple(types_of(study).materials), from_type, to_type, briefing))


@router.get(f"{RETROFIT.path}/figures.json")
def figures(study: AskedStudy, from_type: FromType, to_type: ToType) -> Response:
    """Cash by year, and what moves the net present value most."""
    briefing = chain.briefing(study, from_type=from_type, to_type=to_type)
    return figures_answer({"cash": cash_by_year(briefing), "swing": swing(briefing)})


def page_of(
    frame: Frame, types: tuple[str, ...], from_type: str, to_type: str, briefing: Briefing | None
) -> RetrofitPage:
    """What the template shows of a briefing."""
    found = briefing
    return RetrofitPage(
        frame=frame,
        types=types,
        from_type=from_type,
        to_type=to_type,
        briefing=found,
        headline=HEADLINES[found.recommendation] if found else "",
        payback=payback_in_words(found) if found else "",
        drivers=widest(found) if found else (),
        options=tuple(sorted(found.options, key=lambda each: -each.npv)) if found else (),
        origin=origin_of(frame, found),
        charts=frame.link(f"{RETROFIT.path}/figures.json"),
    )


def payback_in_words(found: Briefing) -> str:
    """When it pays back, with its range, and how surely before the aircraft retire."""
    sure = f"the chance that it has paid back before the aircraft retire is {words.in_ten(found.chance_by_retirement)}"
    low, middle, high = found.payback_years_p10, found.payback_years_p50, found.payback_years_p90
    if middle is None:
        return f"In the middle of the forecast it never pays back; {sure}."
    if low is None or high is None:
        return f"It pays back in about {words.number(middle, 1)} years, and at the worst in ten not at all; {sure}."
    return f"It pays back in about {words.number(middle, 1)} years (8 in 10: {words.number(low, 1)} to {words.number(high, 1)}); {sure}."


def widest(found: Briefing, most: int = 7) -> tuple[Driver, ...]:
    """The drivers that move the net present value most, seven at most."""
    return tuple(sorted(found.drivers, key=lambda each: -abs(each.npv_high - each.npv_low))[:most])


def origin_of(frame: Frame, found: Briefing | None) -> Origin:
    """How the brief is worked out."""
    return Origin(
        what="the retrofit brief",
        formula=(
            "Net cash of a year: cost of the landings flown with the brakes in service, less cost with the proposed "
            "brakes and what the change itself costs that year.",
            "Net present value: each year's net cash divided by (1 + discount rate) to the power of the year, added up to "
            "the retirement of each aircraft or the horizon.",
            "Discounted payback: the first moment at which the discounted sum is no longer negative.",
            "Savings-to-investment ratio: present value of savings over present value of what is invested. Adjusted "
            "internal rate of return: the yearly return with savings reinvested at the discount rate.",
        ),
        records="Landings, pin readings, installations, shop visits and retirement days of the aircraft that fly either type.",
        scope=frame.told_scope,
        assumptions=found.assumptions if found else (),
    )
