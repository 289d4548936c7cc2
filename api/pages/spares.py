"""Spares ahead: how many will each base need, and will stock cover it?"""

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import groupby
from typing import Annotated, Final, Literal

from fastapi import APIRouter, HTTPException, Query, Request, Response

from api import words
from api.deps import AskedStudy
from api.figures.spares import demand_and_stock
from api.pages.brake_types import types_of
from api.pages.frame import Frame, figure_answer, render
from api.pages.navigation import SPARES
from api.pages.origin import Origin
from api.pages.scope import frame_of
from api.tables import AskedForm, download
from lifecycle import study as chain
from lifecycle.spares import SparesMonth

router = APIRouter()

MONTHS_A_TABLE: Final = 12
LEVELS: Final = {"0.8": "8 in 10", "0.9": "9 in 10", "0.95": "19 in 20"}
SPANS: Final = ("12", "24", "36")


@dataclass(frozen=True)
class Row:
    """One brake type at one base, month by month."""

    base: str
    brake_type: str
    material: str
    months: tuple[SparesMonth, ...]
    chart: str = ""


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
    charts: tuple[Row, ...]
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
    told = f"{row.base}, {row.brake_type}: short from {words.month(short[0].month)}"
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
    places = words.counted(len(short), "stock")
    return f"{told} Of {words.counted(len(stocked), 'stock')} on record, {places} will not cover demand, at {LEVELS[level]}."


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
    months: Annotated[Literal["12", "24", "36"], Query()] = "12",
    level: Annotated[Literal["0.8", "0.9", "0.95"], Query()] = "0.9",
    form: AskedForm = None,
) -> Response:
    """The page, or its table as a file."""
    forecast = chain.spares(study, months=int(months), level=float(level))
    if form:
        return download([each for each in forecast if base in ("", each.base)], name="spares", form=form)
    frame = frame_of(request, SPARES, study, base)
    rows = rows_of(forecast, types_of(study).materials, base)
    return render("spares.html", page_of(frame, rows, months=months, level=level))


def page_of(frame: Frame, rows: Sequence[Row], *, months: str, level: str) -> SparesPage:
    """What the template shows of these rows."""
    return SparesPage(
        frame=frame,
        answer=answer(rows, level),
        short=tuple(filter(None, map(short_in_words, rows))),
        no_stock=tuple(f"{row.base}, {row.brake_type}" for row in rows if row.months[0].stock is None),
        level=level,
        levels=LEVELS,
        months=months,
        spans=SPANS,
        years=years_of(rows),
        charts=tuple(_with_chart(frame, row) for row in rows),
        origin=origin_of(frame, level),
    )


@router.get("/spares/figure.json")
def figure(
    study: AskedStudy,
    base: str,
    brake_type: str,
    months: Annotated[Literal["12", "24", "36"], Query()] = "12",
    level: Annotated[Literal["0.8", "0.9", "0.95"], Query()] = "0.9",
) -> Response:
    """Demand and stock of one brake type at one base."""
    forecast = chain.spares(study, months=int(months), level=float(level))
    shown = [each for each in forecast if (each.base, each.brake_type) == (base, brake_type)]
    if not shown:
        raise HTTPException(404, f"no spares forecast for {brake_type!r} at {base!r}; the page lists those there are")
    return figure_answer(demand_and_stock(shown))


def _with_chart(frame: Frame, row: Row) -> Row:
    address = frame.link(f"{SPARES.path}/figure.json", base=row.base, brake_type=row.brake_type)
    return replace(row, chart=address)


def origin_of(frame: Frame, level: str) -> Origin:
    """How demand and shortfall are worked out."""
    return Origin(
        what="spares by base and month",
        formula=(
            "Demand of a month: for every position, the chance that its brake reaches the limit in that month, then the "
            "chance that the brake fitted after it does, and so on, summed over the positions of the base. P10 and P90 "
            "take in that flying and the type's wear rate are known only so well.",
            "Stock at the end of a month: serviceable stock as last counted, less expected demand, plus orders and shop "
            "returns that fall due by then.",
            f"Short: demand at {LEVELS[level]} less the stock, where that is more than nothing.",
        ),
        records="Stock counts, orders, shop visits, and the readings on each brake record.",
        scope=frame.told_scope,
    )
