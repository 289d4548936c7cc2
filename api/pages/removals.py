"""Removals: why brakes come off early, and how often."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Final

from fastapi import APIRouter, Request, Response

from api import words
from api.access import need
from api.deps import AskedStudy
from api.figures.removals import rates_by_cause
from api.pages.brake_types import types_of
from api.pages.frame import Frame, figures_answer, render
from api.pages.navigation import REMOVALS
from api.pages.origin import Origin, origin_of
from api.pages.scope import frame_of
from api.tables import AskedForm, download
from lifecycle import study as chain
from lifecycle.reliability import ALL, WORN, RemovalRate, Removals, rate_interval
from lifecycle.study import Study

router = APIRouter(dependencies=[need("fleet.read")])

BEHIND: Final = ("installations", "landings", "brakes", "shop_visits", "pin_readings")


@dataclass(frozen=True)
class RateLine:
    """One cause of one type; `with_age` says in words what the fitted shape tells."""

    rate: RemovalRate
    with_age: str


@dataclass(frozen=True)
class TypeRates:
    """One brake type: all unscheduled removals, each cause seen on it, those that only others saw, and worn."""

    brake_type: str
    material: str
    landings: float
    total: RateLine
    causes: tuple[RateLine, ...]
    none_seen: tuple[str, ...]
    worn: RateLine

    @property
    def most_of_none(self) -> float:
        """Upper end of the rate of a cause that was not seen, per 1 000 landings."""
        return 1000 * rate_interval(0, self.landings).high


@dataclass(frozen=True)
class RemovalsPage:
    """What removals.html receives."""

    frame: Frame
    answer: str
    more: tuple[str, ...]
    types: tuple[TypeRates, ...]
    charts: str
    origin: Origin


@router.get(REMOVALS.path)
def removals(request: Request, study: AskedStudy, form: AskedForm) -> Response:
    """The page, or its table as a file."""
    found = chain.removals(study)
    if form:
        return download(found.rates, name="removals", form=form, head=study.ledger_head)
    return render("removals.html", page_of(frame_of(request, REMOVALS, study), study, found))


@router.get(f"{REMOVALS.path}/figures.json")
def figures(study: AskedStudy) -> Response:
    """Rates by cause of each type."""
    found = chain.removals(study)
    return figures_answer({name: rates_by_cause(rates) for name, rates in _by_type(found.rates)})


def page_of(frame: Frame, study: Study, found: Removals) -> RemovalsPage:
    """What the template shows of these rates."""
    materials = types_of(study).materials
    types = tuple(_type_rates(name, materials.get(name, ""), rates) for name, rates in _by_type(found.rates))
    return RemovalsPage(
        frame=frame,
        answer=answer(types),
        more=tuple(more(found)),
        types=types,
        charts=frame.link(f"{REMOVALS.path}/figures.json"),
        origin=origin_of(frame, study, "removals", kinds=BEHIND),
    )


def _by_type(rates: Sequence[RemovalRate]) -> list[tuple[str, list[RemovalRate]]]:
    return [(name, list(group)) for name, group in groupby(rates, key=lambda each: each.brake_type)]


def _type_rates(name: str, material: str, rates: Sequence[RemovalRate]) -> TypeRates:
    lines = {each.cause: RateLine(each, with_age(each)) for each in rates}
    causes = [line for cause, line in lines.items() if cause not in (ALL, WORN)]
    seen = sorted((line for line in causes if line.rate.removals), key=lambda line: -line.rate.removals)
    none_seen = tuple(line.rate.cause for line in causes if not line.rate.removals)
    return TypeRates(name, material, rates[0].landings, lines[ALL], tuple(seen), none_seen, lines[WORN])


def answer(types: Sequence[TypeRates]) -> str:
    """The type with the highest rate of early removals, its main cause, and how many landings lie between."""
    seen = [each for each in types if each.total.rate.removals]
    if not types:
        return "No landings of a brake are on record yet."
    if not seen:
        return "No brake has come off early on record."
    worst = max(seen, key=lambda each: each.total.rate.per_1000)
    rate, first = worst.total.rate, worst.causes[0].rate
    alike = [
        each for each in types if each is not worst and each.total.rate.per_1000_high >= rate.per_1000_low
    ]
    return (
        f"{worst.brake_type} comes off early {'' if alike else 'most often: '}once in about "
        f"{words.about(rate.landings_between or 0.0)} brake landings ({words.counted(rate.removals, 'removal')}), "
        f"most for {first.cause} ({words.number(first.removals)}){_as_often(alike)}."
    )


def _as_often(alike: Sequence[TypeRates]) -> str:
    """The types whose rates the records do not tell from the one named."""
    return f"; {words.listed([each.brake_type for each in alike])} may do so as often" if alike else ""


def more(found: Removals) -> list[str]:
    """What the rates leave out."""
    told = []
    if found.other:
        told.append(
            f"{words.counted(found.other, 'removal')} for the operator's own reasons (robbed, opportunity, "
            "modification and the like) count as none of these."
        )
    if found.not_told:
        told.append(
            f"{words.counted(found.not_told, 'removal')} without a reason on record: the rates are too low by them."
        )
    return told


def with_age(rate: RemovalRate) -> str:
    """What the interval of the shape says; "" where no life is fitted."""
    if rate.shape is None or rate.shape_low is None or rate.shape_high is None:
        return ""
    if rate.shape_low > 1:
        return "rises with age"
    return "falls with age" if rate.shape_high < 1 else "no trend told"
