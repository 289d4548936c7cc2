"""Cost per landing: what a landing costs on each brake type, weight included."""

from collections.abc import Mapping
from dataclasses import dataclass

from fastapi import APIRouter, Request, Response

from api import words
from api.access import need
from api.deps import AskedStudy
from api.figures.cost import cost_elements
from api.pages.brake_types import types_of
from api.pages.frame import Frame, figures_answer, render
from api.pages.navigation import COST
from api.pages.origin import Origin, origin_of
from api.pages.scope import frame_of
from api.tables import AskedForm, download
from lifecycle import study as chain
from lifecycle.cost import CostPerLanding, FuelRoute, TypeCost
from lifecycle.pricing import ASKED, FUEL_INPUTS
from lifecycle.study import Study

router = APIRouter(dependencies=[need("money.read")])


@dataclass(frozen=True)
class FuelLine:
    """What carrying one brake burns in a landing, by each way of working it out, and what that costs."""

    brake_type: str
    mass_kg: float | None
    routes: tuple[FuelRoute, ...]
    cost: float | None


@dataclass(frozen=True)
class CostPage:
    """What cost.html receives."""

    frame: Frame
    answer: str
    like_for_like: tuple[str, ...]
    cost: CostPerLanding
    elements: tuple[str, ...]
    materials: Mapping[str, str]
    warnings: tuple[str, ...]
    fuel: tuple[FuelLine, ...]
    origin: Origin
    charts: str


@router.get(COST.path)
def cost(request: Request, study: AskedStudy, form: AskedForm) -> Response:
    """The page, or its table as a file."""
    found = chain.cost(study)
    if form:
        return download(found.types, name="cost-per-landing", form=form, head=study.ledger_head)
    return render("cost.html", page_of(frame_of(request, COST, study), found, study))


@router.get(f"{COST.path}/figures.json")
def figures(study: AskedStudy) -> Response:
    """Cost by element and type."""
    return figures_answer({"elements": cost_elements(chain.cost(study), types_of(study).materials)})


def page_of(frame: Frame, cost: CostPerLanding, study: Study) -> CostPage:
    """What the template shows of this cost."""
    masses = study.records.brake_types.set_index("brake_type")["mass_kg"].dropna().to_dict()
    return CostPage(
        frame=frame,
        answer=answer(cost),
        like_for_like=tuple(filter(None, (like_for_like(each, cost.reference_type) for each in cost.types))),
        cost=cost,
        elements=tuple(dict.fromkeys(name for each in cost.types for name in each.elements)),
        materials=types_of(study).materials,
        warnings=cost.warnings
        + tuple(f"{each.brake_type}: {told}" for each in cost.types for told in each.warnings),
        fuel=tuple(
            FuelLine(
                each.brake_type, masses.get(each.brake_type), each.fuel_routes, each.elements.get("fuel")
            )
            for each in cost.types
            if each.fuel_routes
        ),
        origin=origin_of(
            frame,
            study,
            "cost per landing",
            kinds=("pin_readings", "installations", "landings", "shop_visits", "stock"),
            assumptions=(*ASKED, *FUEL_INPUTS),
        ),
        charts=frame.link(f"{COST.path}/figures.json"),
    )


def answer(cost: CostPerLanding) -> str:
    """The dearest against the cheapest, each with its range."""
    if not cost.types:
        return "No brake type has landings on record yet, so no cost per landing can be given."
    first, *rest = sorted(cost.types, key=lambda each: each.cost_per_landing)
    told = f"A landing costs {_amount(first, cost.currency)} on each {first.brake_type} brake"
    if not rest:
        return f"{told}, weight included. The range is 8 in 10 sure."
    others = [f"{_amount(each, cost.currency)} on {each.brake_type}" for each in rest]
    return f"{told}, {words.listed(others)}, weight included. Each range is 8 in 10 sure."


def _amount(each: TypeCost, currency: str) -> str:
    middle = words.rounded(each.cost_per_landing, each.low, each.high)
    return f"{currency} {middle} ({words.ranged(each.low, each.high)})"


def like_for_like(each: TypeCost, reference: str) -> str:
    """What renewing heat sinks costs against the reference, nothing where no landings can be compared."""
    ratio, low, high = each.like_for_like_ratio, each.ratio_low, each.ratio_high
    if each.brake_type == reference or ratio is None:
        return ""
    told = f"Like for like, on the same landings, renewing heat sinks costs on {each.brake_type}"
    times, held = f"times what it costs on {reference}", "prices held as assumed"
    if low is None or high is None:
        return f"{told} about {words.significant(ratio)} {times}; {held}, and how surely is not known"
    middle, between = words.rounded(ratio, low, high), words.ranged(low, high)
    return f"{told} {middle} {times} (8 in 10: {between}; {held}, range: wear only)"
