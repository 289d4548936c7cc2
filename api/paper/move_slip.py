"""The move slip on paper: what comes off, where it goes, what goes on, position by position, under one work order."""

from typing import Any

from reportlab.lib.units import mm
from reportlab.platypus import KeepTogether, Spacer, Table, TableStyle

from api.paper.frame import BODY, BOLD, EDGE, INK, SMALL, Drawn, text, width_of
from db.sheets import IssuedSheet

CERTIFIED = "Records work certified elsewhere; enter the work order."
BOX_HEIGHT = 12 * mm


def draw_move_slip(sheet: IssuedSheet, paper: str) -> Drawn:
    """The slip of one aircraft and the positions chosen."""
    width = width_of(paper)
    places: list[dict[str, Any]] = sheet.asks["positions"]
    return Drawn(
        "Move slip",
        [
            text(CERTIFIED, BOLD),
            Spacer(0, 3 * mm),
            _order(sheet, width),
            *(KeepTogether([Spacer(0, 4 * mm), _place(each, width)]) for each in places),
            Spacer(0, 4 * mm),
            text(f"Reasons: {', '.join(sheet.asks['reasons'])}.", SMALL),
            text(
                "Where it goes: shop and which work; stock at a base, serviceable or not; scrap; a position.",
                SMALL,
            ),
        ],
    )


def _order(sheet: IssuedSheet, width: float) -> Table:
    asked = [
        ("Work order", sheet.work_order),
        ("Day", ""),
        ("Landings counter", ""),
        ("Release reference", ""),
    ]
    cells = [[text(name, SMALL), text(words, BODY)] for name, words in asked]
    return _boxes([cells], [width / 4] * 4, [14 * mm])


def _place(place: dict[str, Any], width: float) -> Table:
    """Both sides of one position: the last four of a serial have a box each."""
    there = place["serial"] or "no brake"
    head = [
        text(f"Position {place['position']}" + (f", {place['group']}" if place["group"] else ""), BOLD),
        [text("Comes off, as on record", SMALL), text(f"{there} {place['brake_type']}".strip(), BOLD)],
        "",
        "",
        "",
    ]
    off = [text("Off"), *(text(each, SMALL) for each in ("Last four", "Reason", "Pins", "Where it goes"))]
    on = [
        text("On"),
        *(text(each, SMALL) for each in ("Last four", "Whole serial", "Starts as", "Pin at the start")),
    ]
    table = _boxes(
        [head, off, on],
        [0.16 * width, 0.24 * width, 0.2 * width, 0.2 * width, 0.2 * width],
        [None, BOX_HEIGHT, BOX_HEIGHT],
    )
    table.setStyle(TableStyle([("SPAN", (1, 0), (4, 0)), ("LINEABOVE", (0, 0), (-1, 0), 1.2, INK)]))
    return table


def _boxes(rows: list[list[Any]], widths: list[float], heights: list[float | None]) -> Table:
    table = Table(rows, colWidths=widths, rowHeights=heights)
    table.setStyle(TableStyle([("GRID", (0, 0), (-1, -1), 0.5, EDGE), ("VALIGN", (0, 0), (-1, -1), "TOP")]))
    return table
