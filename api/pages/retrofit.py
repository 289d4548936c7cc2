"""Retrofit brief: whether to change, and when it pays back; frozen as an edition by who may."""

from dataclasses import dataclass, replace
from typing import Annotated

from fastapi import APIRouter, Query, Request, Response

from api.access import LetIn, allowed, need
from api.deps import AskedStudy
from api.figures.brief_words import dated_flows
from api.figures.retrofit import cash_by_year, swing
from api.pages.brake_types import types_of
from api.pages.frame import Frame, figures_answer, render
from api.pages.navigation import RETROFIT
from api.pages.origin import Origin, origin_of
from api.pages.pairs import Pair, opened_first, pairs_of
from api.pages.scope import frame_of
from api.shown_brief import BEHIND, ShownBrief, brief_of
from api.tables import AskedForm, download
from lifecycle import study as chain
from lifecycle.errors import LifecycleError
from lifecycle.study import Study

router = APIRouter(dependencies=[need("money.read")])

FromType = Annotated[str, Query(alias="from", description="brake type in service")]
ToType = Annotated[str, Query(alias="to", description="brake type proposed")]


@dataclass(frozen=True)
class RetrofitPage:
    """What retrofit.html receives; there is no brief until two types are chosen. `freezes`: the caller may keep it."""

    frame: Frame
    types: tuple[str, ...]
    from_type: str
    to_type: str
    pairs: tuple[Pair, ...]
    charts: str
    origin: Origin
    shown: ShownBrief | None = None
    freezes: bool = False


@router.get(RETROFIT.path)
def retrofit(  # noqa: PLR0913, PLR0917 - one argument a word of the address
    request: Request,
    study: AskedStudy,
    person: LetIn,
    form: AskedForm,
    from_type: FromType = "",
    to_type: ToType = "",
) -> Response:
    """The brief of one change, or its cash as a file; without types, the only change with a price, or a choice."""
    first = None if from_type or to_type else opened_first(pairs_of(study.runs, study.assumptions))
    shown = None
    if first:
        shown = brief_if_told(study, first)
        from_type, to_type = (first.from_type, first.to_type) if shown else ("", "")
    elif from_type and to_type:
        shown = brief_of(study, from_type, to_type)
    if form and shown:
        return download(shown.flows, name="retrofit-cash", form=form, head=study.ledger_head)
    frame = frame_of(request, RETROFIT, study)
    # Links of the page name the types even where nobody typed them.
    frame = replace(frame, asked={**frame.asked, "from": from_type, "to": to_type})
    page = page_of(frame, study, from_type, to_type, shown)
    return render("retrofit.html", replace(page, freezes=allowed(person, "money.freeze")))


def brief_if_told(study: Study, pair: Pair) -> ShownBrief | None:
    """The brief of a change that nobody asked for: where it cannot be given, the page asks instead of refusing."""
    try:
        return brief_of(study, pair.from_type, pair.to_type)
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
    frame: Frame, study: Study, from_type: str, to_type: str, shown: ShownBrief | None
) -> RetrofitPage:
    """What the template shows of a brief, or of the choice before one."""
    origin = origin_of(frame, study, "the retrofit brief", kinds=BEHIND)
    return RetrofitPage(
        frame=frame,
        types=tuple(types_of(study).materials),
        from_type=from_type,
        to_type=to_type,
        pairs=pairs_of(study.runs, study.assumptions),
        charts=frame.link(f"{RETROFIT.path}/figures.json"),
        origin=replace(origin, assumptions=shown.briefing.assumptions) if shown else origin,
        shown=shown,
    )
