"""The brake wear check sheet on paper: a plan of the positions, and a box for each pin; no value to copy from."""

from typing import Any

from reportlab.lib.units import mm
from reportlab.platypus import Flowable, Spacer, Table, TableStyle

from api.paper.frame import BOLD, CAUTION, EDGE, INK, SMALL, Drawn, ruled, text, width_of
from api.paper.letters import font_of, printable
from db.sheets import IssuedSheet
from lifecycle.units import pin_letter

HOT = "Brakes may be hot after landing. Wait and approach as the manual directs."
ROW_HEIGHT = 14 * mm
MOST_PINS = 6


def draw_wear_check(sheet: IssuedSheet, paper: str) -> Drawn:
    """The sheet of one aircraft."""
    places: list[dict[str, Any]] = sheet.asks["positions"]
    pins = min(max([1, *(each["pins"] for each in places)]), MOST_PINS)
    width = width_of(paper)
    pin_width = min(26 * mm, 0.5 * width / pins)
    head = ["Position", "Brake, as on record", *(f"Pin {pin_letter(at + 1)}" for at in range(pins)), "Note"]
    rows: list[list[Any]] = [[text(each, BOLD) for each in head]]
    for each in places:
        boxes = ["" if at < each["pins"] or not each["serial"] else text("none", SMALL) for at in range(pins)]
        brake = [text(each["serial"] or "no brake", BOLD), text(each["brake_type"], SMALL)]
        rows.append([[text(each["position"], BOLD), text(each["group"], SMALL)], brake, *boxes, ""])
    left = width - 20 * mm - 42 * mm - pins * pin_width
    widths = [20 * mm, 42 * mm, *[pin_width] * pins, left]
    return Drawn(
        "Brake wear check sheet",
        [
            text(HOT, CAUTION),
            Plan(places, width),
            Spacer(0, 3 * mm),
            _conditions(width),
            Spacer(0, 4 * mm),
            ruled(rows, widths, [None, *[ROW_HEIGHT] * len(places)]),
            Spacer(0, 2 * mm),
            text("Write each pin as the gauge shows it. The shortest governs.", SMALL),
        ],
    )


def _conditions(width: float) -> Table:
    """What holds for the whole sheet: how it was read, by whom, at which count of landings."""
    asked = [
        ("Cold", "yes      /      no"),
        ("Brakes applied", "yes      /      no"),
        ("Unit", "mm      /      in"),
        ("Pins give what is", "left   /   gap   /   used"),
        ("Landings counter", ""),
        ("Read by", ""),
    ]
    cells = [[text(name, SMALL), text(words.replace(" ", "\N{NO-BREAK SPACE}"))] for name, words in asked]
    table = Table([cells[:3], cells[3:]], colWidths=[width / 3] * 3, rowHeights=[13 * mm] * 2)
    table.setStyle(TableStyle([("GRID", (0, 0), (-1, -1), 0.5, EDGE), ("VALIGN", (0, 0), (-1, -1), "TOP")]))
    return table


class Plan(Flowable):
    """The positions as they stand, left to right, the nose above; each a plain box with its name."""

    def __init__(self, places: list[dict[str, Any]], width: float) -> None:
        super().__init__()
        self.places, self.width, self.height = places, width, 21 * mm

    def draw(self) -> None:
        """Draw it on the page."""
        middle = self.width / 2
        self.canv.setFillColor(INK)
        self.canv.setFont("Helvetica", 8)
        self.canv.drawCentredString(middle, 17 * mm, "nose")
        self.canv.setStrokeColor(EDGE)
        self.canv.line(middle, 0, middle, 16 * mm)
        step = min(24 * mm, (self.width - 12 * mm) / max(len(self.places), 1))
        half = len(self.places) / 2
        for at, each in enumerate(self.places):
            gap = 6 * mm if at >= half else -6 * mm
            x = middle + (at - half) * step + gap
            self.canv.setStrokeColor(INK)
            self.canv.rect(x + 1 * mm, 2 * mm, step - 2 * mm, 11 * mm)
            told = printable(each["position"])[:6]
            self.canv.setFont(font_of(told, "Helvetica-Bold"), 12)
            self.canv.drawCentredString(x + step / 2, 6 * mm, told)
