"""The landings sheet on paper: a line for each aircraft of the base, with room to write and nothing to copy."""

from typing import Any

from reportlab.lib.units import mm
from reportlab.platypus import Spacer, Table, TableStyle

from api.paper.frame import BOLD, INK, SMALL, Drawn, ruled, text, width_of
from db.sheets import IssuedSheet

LINE_HEIGHT = 10 * mm
LANDINGS = {"count": "Landings of the day", "total": "Landings counter, running total"}


def draw_landings_sheet(sheet: IssuedSheet, paper: str) -> Drawn:
    """The sheet of a base and a day."""
    head = ["Aircraft", LANDINGS.get(sheet.asks["asks"], ""), "Touch-and-gos", "Rejected take-offs", "Note"]
    lines = [each["registration"] for each in sheet.asks["lines"]]
    rows: list[list[Any]] = [[text(each, BOLD) for each in head]]
    rows += [[text(line, BOLD), "", "", "", ""] for line in lines]
    width = width_of(paper)
    widths = [0.19 * width, 0.23 * width, 0.18 * width, 0.16 * width, 0.24 * width]
    heights = [None, *[LINE_HEIGHT] * len(lines)]
    return Drawn(
        "Landings sheet",
        [
            text(
                "Leave a line empty where nothing was reported; write 0 where the aircraft did not land.",
                SMALL,
            ),
            Spacer(0, 2 * mm),
            ruled(rows, widths, heights),
            Spacer(0, 4 * mm),
            _closing(width),
        ],
    )


def _closing(width: float) -> Table:
    table = Table(
        [[text("Landings of all lines"), "", text("Written by"), ""]],
        colWidths=[0.22 * width, 0.2 * width, 0.14 * width, 0.44 * width],
        rowHeights=[LINE_HEIGHT],
    )
    table.setStyle(
        TableStyle(
            [
                ("BOX", (1, 0), (1, 0), 1, INK),
                ("BOX", (3, 0), (3, 0), 1, INK),
                ("VALIGN", (0, 0), (-1, -1), "MIDDLE"),
            ]
        )
    )
    return table
