"""Spares ahead: how many each base will need, and whether stock covers it."""

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import groupby
from typing import Annotated, Final, Literal

from fastapi import APIRouter, Query, Request, Response
from pydantic import BaseModel

from api import words
from api.access import need
from api.deps import AskedStudy
from api.figures.spares import demand_and_stock
from api.pages.brake_types import types_of
from api.pages.frame import Frame, figures_answer, render
from api.pages.navigation import SPARES
from api.pages.origin import Origin, origin_of
from api.pages.scope import frame_of
from api.tables import AskedForm, download
from lifecycle import study as chain
from lifecycle.cover import StockCover, stock_cover
from lifecycle.once import once
from lifecycle.shelf import ON_THE_SHELF, Shelf, count_shelf
from lifecycle.spares import SparesMonth
from lifecycle.study import Study

router = APIRouter(dependencies=[need("records.read")])

MONTHS_A_TABLE: Final = 12
MOST_CHARTS: Final = 12
LEVELS: Final = {"0.8": "8 in 10", "0.9": "9 in 10", "0.95": "19 in 20"}
SPANS: Final = ("12", "24", "36")


class Asked(BaseModel):
    """What the page is asked: a base or all, how many months, and how surely stock should cover demand."""

    base: str = ""
    months: Literal["12", "24", "36"] = "12"
    level: Literal["0.8", "0.9", "0.95"] = "0.9"


AskedQuery = Annotated[Asked, Query()]


@dataclass(frozen=True)
class Row:
    """One brake type at one base, month by month."""

    base: str
    brake_type: str
    material: str
    months: tuple[SparesMonth, ...]

    @property
    def name(self) -> str:
        """What the row and its chart are called."""
        return f"{self.base}, {self.brake_type}"


@dataclass(frozen=True)
class Year:
    """Twelve months of all rows."""

    months: tuple[dt.date, ...]
    rows: tuple[Row, ...]


@dataclass(frozen=True)
class CoverLine:
    """What numbers of one type at one base meet so many removals at once; None where none does within reach."""

    cover: StockCover
    wanted: tuple[tuple[str, int], ...]


@dataclass(frozen=True)
class SparesPage:
    """What spares.html receives."""

    frame: Frame
    answer: str
    short: tuple[str, ...]
    no_stock: tuple[str, ...]
    level: str
    levels: Mapping[str, str]
    months: str
    spans: tuple[str, ...]
    years: tuple[Year, ...]
    pipeline: tuple[Shelf, ...]
    cover: tuple[CoverLine, ...]
    warnings: tuple[str, ...]
    charted: tuple[Row, ...]
    charts: str
    origin: Origin


def rows_of(months: Sequence[SparesMonth], materials: Mapping[str, str], base: str = "") -> tuple[Row, ...]:
    """The months of each base and brake type together, of one base or of all."""
    asked = [each for each in months if base in ("", each.base)]
    groups = groupby(sorted(asked, key=lambda each: (each.base, each.brake_type, each.month)), _place)
    return tuple(
        Row(place[0], place[1], materials.get(place[1], ""), tuple(group)) for place, group in groups
    )


def _place(each: SparesMonth) -> tuple[str, str]:
    return each.base, each.brake_type


def short_in_words(row: Row) -> str:
    """`Norbay, P-100: short of 1 brake from Mar 2027`, or nothing where stock covers the level."""
    short = [each for each in row.months if words.whole(each.short or 0.0)]
    if not short:
        return ""
    worst = max(short, key=lambda each: each.short or 0.0)
    told = f"{row.name}: short from {words.month(short[0].month)}"
    if len(short) == 1:
        return f"{told} by {words.counted(words.whole(worst.short or 0.0), 'brake')}, that month alone"
    return (
        f"{told}, in {words.counted(len(short), 'month')} of {len(row.months)}; most in {words.month(worst.month)}, "
        f"by {words.counted(words.whole(worst.short or 0.0), 'brake')}"
    )


def answer(rows: Sequence[Row], level: str) -> str:
    """How many in all, and whether stock covers it."""
    if not rows:
        return "No brake is due for a spare: no brakes are installed on record here."
    mean = sum(each.mean for row in rows for each in row.months)
    told = (
        f"About {words.counted(words.whole(mean), 'brake')} will be needed in {len(rows[0].months)} months; "
        "the range of each month is below."
    )
    stocked = [row for row in rows if row.months[0].stock is not None]
    short = [row for row in stocked if short_in_words(row)]
    if not stocked:
        return f"{told} No stock is on record, so nothing can be said of cover."
    if not short:
        return f"{told} Stock on record covers every month, at {LEVELS[level]}."
    return (
        f"{told} Of {words.counted(len(stocked), 'stock')} on record, {words.number(len(short))} "
        f"{'does' if len(short) == 1 else 'do'} not cover every month, at {LEVELS[level]}."
    )


def charted(rows: Sequence[Row]) -> tuple[Row, ...]:
    """The rows that get a chart: those that fall short first, no more than a page can hold."""
    return tuple(sorted(rows, key=lambda row: not short_in_words(row))[:MOST_CHARTS])


def years_of(rows: Sequence[Row]) -> tuple[Year, ...]:
    """The rows cut into tables of twelve months."""
    if not rows:
        return ()
    span = len(rows[0].months)
    return tuple(
        Year(
            tuple(each.month for each in rows[0].months[start : start + MONTHS_A_TABLE]),
            tuple(
                Row(row.base, row.brake_type, row.material, row.months[start : start + MONTHS_A_TABLE])
                for row in rows
            ),
        )
        for start in range(0, span, MONTHS_A_TABLE)
    )


def in_whole_brakes(each: SparesMonth) -> SparesMonth:
    """The month with what falls short in whole brakes, as the page tells it."""
    return each if each.short is None else replace(each, short=words.whole(each.short))


@router.get(SPARES.path)
def spares(request: Request, study: AskedStudy, form: AskedForm, asked: AskedQuery) -> Response:
    """The page, or its table as a file."""
    forecast = chain.spares(study, months=int(asked.months), level=float(asked.level))
    if form:
        here = [in_whole_brakes(each) for each in forecast if asked.base in ("", each.base)]
        return download(here, name="spares", form=form, head=study.ledger_head)
    frame = frame_of(request, SPARES, study, asked.base)
    rows = rows_of(forecast, types_of(study).materials, asked.base)
    return render("spares.html", page_of(frame, study, rows, asked))


def pipeline_of(study: Study, rows: Sequence[Row]) -> tuple[Shelf, ...]:
    """What stands on each shelf, is on order and in the shop, where stock was ever counted."""
    found = (shelf_of(study, row.base, row.brake_type) for row in rows)
    return tuple(shelf for shelf in found if shelf is not None)


@once
def shelf_of(study: Study, base: str, brake_type: str) -> Shelf | None:
    """What is there of a type at a base; None where stock was never counted."""
    return count_shelf(study.records, study.assumptions, base=base, brake_type=brake_type, on=study.on)


@once
def covers_of(study: Study) -> tuple[StockCover, ...]:
    """Stock against fill rate everywhere."""
    return stock_cover(study.runs, study.fit, study.flying, study.records, study.assumptions, on=study.on)


def cover_of(study: Study, base: str) -> tuple[CoverLine, ...]:
    """Stock against fill rate of one base or of all."""
    return tuple(
        CoverLine(each, tuple((name, _least(each, float(share))) for share, name in LEVELS.items()))
        for each in covers_of(study)
        if base in ("", each.base)
    )


def _least(cover: StockCover, share: float) -> int:
    """The least number that meets this share of removals at once."""
    return next(each.stock for each in cover.points if each.fill_rate >= share)


def page_of(frame: Frame, study: Study, rows: Sequence[Row], asked: Asked) -> SparesPage:
    """What the template shows of these rows."""
    return SparesPage(
        frame=frame,
        answer=answer(rows, asked.level),
        short=tuple(filter(None, map(short_in_words, rows))),
        no_stock=tuple(row.name for row in rows if row.months[0].stock is None),
        level=asked.level,
        levels=LEVELS,
        months=asked.months,
        spans=SPANS,
        years=years_of(rows),
        pipeline=pipeline_of(study, rows),
        cover=cover_of(study, asked.base),
        warnings=tuple(f"{row.name}: {told}" for row in rows for told in row.months[0].warnings),
        charted=charted(rows),
        charts=frame.link(f"{SPARES.path}/figures.json"),
        origin=origin_of(
            frame,
            study,
            "spares by base and month",
            kinds=("stock", "orders", "shop_visits", "pin_readings", "installations", "landings"),
            assumptions=ON_THE_SHELF,
        ),
    )


@router.get(f"{SPARES.path}/figures.json")
def figures(study: AskedStudy, asked: AskedQuery) -> Response:
    """Demand and stock of each brake type at each base."""
    forecast = chain.spares(study, months=int(asked.months), level=float(asked.level))
    shown = charted(rows_of(forecast, {}, asked.base))
    return figures_answer({row.name: demand_and_stock(row.months) for row in shown})
