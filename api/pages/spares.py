"""Spares ahead: how many will each base need, and will stock cover it?"""

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Annotated, Final, Literal

from fastapi import APIRouter, Query, Request, Response

from api import words
from api.deps import AskedStudy
from api.figures.spares import demand_and_stock
from api.pages.brake_types import types_of
from api.pages.frame import Frame, figures_answer, render
from api.pages.navigation import SPARES
from api.pages.origin import Origin
from api.pages.scope import frame_of
from api.tables import AskedForm, download
from lifecycle import study as chain
from lifecycle.shelf import Shelf, count_shelf
from lifecycle.spares import SparesMonth
from lifecycle.study import Study

router = APIRouter()

MONTHS_A_TABLE: Final = 12
LEVELS: Final = {"0.8": "8 in 10", "0.9": "9 in 10", "0.95": "19 in 20"}
SPANS: Final = ("12", "24", "36")

Months = Annotated[Literal["12", "24", "36"], Query(description="how many months ahead")]
Level = Annotated[Literal["0.8", "0.9", "0.95"], Query(description="chance that stock should cover demand")]


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
    warnings: tuple[str, ...]
    rows: tuple[Row, ...]
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
    short = [each for each in row.months if each.short and each.short >= 0.5]
    if not short:
        return ""
    worst = max(short, key=lambda each: each.short or 0.0)
    told = f"{row.name}: short from {words.month(short[0].month)}"
    if len(short) == 1:
        return f"{told} by {words.counted(round(worst.short or 0), 'brake')}, that month alone"
    return (
        f"{told}, in {words.counted(len(short), 'month')} of {len(row.months)}; most in {words.month(worst.month)}, "
        f"by {words.counted(round(worst.short or 0), 'brake')}"
    )


def answer(rows: Sequence[Row], level: str) -> str:
    """How many in all, and whether stock covers it."""
    if not rows:
        return "No brake is due for a spare: no brakes are installed on record here."
    mean = sum(each.mean for row in rows for each in row.months)
    told = f"About {words.counted(round(mean), 'brake')} will be needed in {len(rows[0].months)} months."
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


def years_of(rows: Sequence[Row]) -> tuple[Year, ...]:
    """The rows cut into tables of twelve months."""
    if not rows:
        return ()
    span = len(rows[0].months)
    return tuple(
        Year(
            tuple(each.month for each in rows[0].months[start : start + MONTHS_A_TABLE]),
            tuple(
                Row(row.base, row.brake_type, row.material, row.months[start : start + MONTHS_A_TABLE]) for row in rows
            ),
        )
        for start in range(0, span, MONTHS_A_TABLE)
    )


@router.get(SPARES.path)
def spares(
    request: Request,
    study: AskedStudy,
    base: str = "",
    months: Months = "12",
    level: Level = "0.9",
    form: AskedForm = None,
) -> Response:
    """The page, or its table as a file."""
    forecast = chain.spares(study, months=int(months), level=float(level))
    if form:
        return download([each for each in forecast if base in ("", each.base)], name="spares", form=form)
    frame = frame_of(request, SPARES, study, base)
    rows = rows_of(forecast, types_of(study).materials, base)
    return render("spares.html", page_of(frame, rows, pipeline_of(study, rows), months=months, level=level))


def pipeline_of(study: Study, rows: Sequence[Row]) -> tuple[Shelf, ...]:
    """What stands on each shelf, is on order and in the shop, where stock was ever counted."""
    found = (
        count_shelf(study.records, study.assumptions, base=row.base, brake_type=row.brake_type, on=study.on)
        for row in rows
    )
    return tuple(shelf for shelf in found if shelf is not None)


def page_of(
    frame: Frame, rows: Sequence[Row], pipeline: tuple[Shelf, ...], *, months: str, level: str
) -> SparesPage:
    """What the template shows of these rows."""
    return SparesPage(
        frame=frame,
        answer=answer(rows, level),
        short=tuple(filter(None, map(short_in_words, rows))),
        no_stock=tuple(row.name for row in rows if row.months[0].stock is None),
        level=level,
        levels=LEVELS,
        months=months,
        spans=SPANS,
        years=years_of(rows),
        pipeline=pipeline,
        warnings=tuple(
            f"{row.name}: {told}" for row in rows for told in row.months[0].warnings
        ),
        rows=tuple(rows),
        charts=frame.link(f"{SPARES.path}/figures.json"),
        origin=origin_of(frame, level),
    )


@router.get(f"{SPARES.path}/figures.json")
def figures(study: AskedStudy, base: str = "", months: Months = "12", level: Level = "0.9") -> Response:
    """Demand and stock of each brake type at each base."""
    rows = rows_of(chain.spares(study, months=int(months), level=float(level)), {}, base)
    return figures_answer({row.name: demand_and_stock(row.months) for row in rows})


def origin_of(frame: Frame, level: str) -> Origin:
    """How demand and shortfall are worked out."""
    return Origin(
        what="spares by base and month",
        formula=(
            "Demand of a month: for every position, the chance that its brake reaches the limit in that month, then the "
            "chance that the brake fitted after it does, and so on, summed over the positions of the base. P10 and P90 "
            "take in that flying and the type's wear rate are known only so well.",
            "Stock for a month: serviceable stock as last counted, plus orders and shop returns due by the end of it, less "
            "the demand expected in the months before it.",
            f"Short: demand of the month at {LEVELS[level]} less the stock for it, where that is more than nothing.",
        ),
        records="Stock counts, orders, shop visits, and the readings on each brake record.",
        scope=frame.told_scope,
    )
