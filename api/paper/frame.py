"""What every printed sheet has: title, scope, its code large and as a QR code, and the line at the foot."""

import io
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Final
from xml.sax.saxutils import escape

import segno
from reportlab.lib.colors import HexColor
from reportlab.lib.pagesizes import A4, LETTER
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import BaseDocTemplate, Frame, PageTemplate, Paragraph, Table, TableStyle

from api.paper.letters import font_of, printable
from api.words import day
from db.sheets import IssuedSheet

FOOT: Final = "Planning record. Follow the approved maintenance manual. This tool does not release aircraft."
PAPERS: Final = {"A4": A4, "Letter": LETTER}
INK: Final = HexColor("#1D2326")
MUTED: Final = HexColor("#545C60")
EDGE: Final = HexColor("#7A8284")
MARGIN: Final = 14 * mm
HEAD: Final = 34 * mm
HEAD_LATER: Final = 17 * mm
FOOT_HEIGHT: Final = 16 * mm
QR: Final = 24 * mm
QUIET: Final = 4  # empty modules around a QR code, as ISO/IEC 18004 asks

BODY: Final = ParagraphStyle("body", fontName="Helvetica", fontSize=10, leading=13, textColor=INK)
SMALL: Final = ParagraphStyle("small", parent=BODY, fontSize=8, leading=10, textColor=MUTED)
BOLD: Final = ParagraphStyle("bold", parent=BODY, fontName="Helvetica-Bold")
CAUTION: Final = ParagraphStyle(
    "caution", parent=BOLD, fontSize=12, leading=15, borderColor=INK, borderWidth=1.2, borderPadding=6,
    spaceBefore=8, spaceAfter=12, leftIndent=7, rightIndent=7,
)  # fmt: skip


@dataclass(frozen=True)
class Drawn:
    """A sheet as drawn: what it is called, and what stands on it."""

    title: str
    story: Sequence[Any]


def text(words: object, style: ParagraphStyle = BODY) -> Paragraph:
    """A paragraph of plain words, in a font that has their letters."""
    told = printable(str(words))
    font = font_of(told, style.fontName)
    return Paragraph(escape(told), style if font == style.fontName else style.clone(font, fontName=font))


def ruled(rows: Sequence[list[Any]], widths: Sequence[float], heights: Any = None) -> Table:  # noqa: ANN401 - as the library
    """A table whose head comes again on each page."""
    made = Table(rows, colWidths=list(widths), rowHeights=heights, repeatRows=1, hAlign="LEFT")
    made.setStyle(
        TableStyle(
            [
                ("LINEBELOW", (0, 0), (-1, 0), 1.2, INK),
                ("LINEBELOW", (0, 1), (-1, -1), 0.5, EDGE),
                ("LINEAFTER", (0, 0), (-2, -1), 0.5, EDGE),
                ("VALIGN", (0, 0), (-1, 0), "BOTTOM"),
                ("VALIGN", (0, 1), (-1, -1), "MIDDLE"),
                ("LEFTPADDING", (0, 0), (-1, -1), 4),
                ("RIGHTPADDING", (0, 0), (-1, -1), 4),
            ]
        )
    )
    return made


def pdf_of(sheet: IssuedSheet, drawn: Drawn, paper: str) -> bytes:
    """The sheet on this paper."""
    size = PAPERS[paper]
    out = io.BytesIO()
    document = BaseDocTemplate(
        out,
        pagesize=size,
        leftMargin=MARGIN,
        rightMargin=MARGIN,
        title=printable(f"{drawn.title}, sheet {sheet.code}"),
        author="Pinledger",
        invariant=1,
    )
    width, height = size[0] - 2 * MARGIN, size[1] - 2 * MARGIN - FOOT_HEIGHT
    first, later = (
        Frame(MARGIN, MARGIN + FOOT_HEIGHT, width, height - head, 0, 0, 0, 0) for head in (HEAD, HEAD_LATER)
    )
    document.addPageTemplates(
        [
            PageTemplate("first", [first], autoNextPageTemplate="later"),
            PageTemplate("later", [later]),
        ]
    )
    document.build(list(drawn.story), canvasmaker=_canvas_of(sheet, drawn.title, size))
    return out.getvalue()


def width_of(paper: str) -> float:
    """Width between the margins."""
    return float(PAPERS[paper][0] - 2 * MARGIN)


def _canvas_of(sheet: IssuedSheet, title: str, size: tuple[float, float]) -> Callable[..., Canvas]:
    """A canvas that holds its pages back until it knows how many there are."""

    class Numbered(Canvas):
        def __init__(self, *given: Any, **named: Any) -> None:  # noqa: ANN401 - as the library calls it
            super().__init__(*given, **named)
            self.held: list[dict[str, Any]] = []

        def showPage(self) -> None:  # noqa: N802 - the library's name
            self.held.append(dict(self.__dict__))
            self._startPage()  # type: ignore[attr-defined] # the library's own way to begin a page

        def save(self) -> None:
            for number, page in enumerate(self.held, 1):
                self.__dict__.update(page)
                _draw_head(self, sheet, title, size, first=number == 1)
                _draw_foot(self, sheet, size[0], f"page {number} of {len(self.held)}")
                super().showPage()
            super().save()

    return Numbered


def _draw_head(
    canvas: Canvas, sheet: IssuedSheet, title: str, size: tuple[float, float], *, first: bool
) -> None:
    width, height = size
    top = height - MARGIN
    side = QR if first else QR / 2
    draw_qr(canvas, sheet.code, width - MARGIN - side, top - side, side)
    canvas.setFillColor(INK)
    canvas.setFont("Helvetica-Bold", 26 if first else 14)
    canvas.drawRightString(width - MARGIN - side - 4 * mm, top - (9 * mm if first else 6 * mm), sheet.code)
    canvas.setFont("Helvetica", 8)
    canvas.setFillColor(MUTED)
    canvas.drawRightString(width - MARGIN - side - 4 * mm, top - (13 * mm if first else 10 * mm), "sheet")
    canvas.setFillColor(INK)
    name = printable(title)
    canvas.setFont(font_of(name, "Helvetica-Bold"), 18 if first else 11)
    canvas.drawString(MARGIN, top - (6 * mm if first else 5 * mm), name)
    for at, line in enumerate(_scope(sheet)[: 3 if first else 1]):
        told = printable(line)[:60]
        canvas.setFont(font_of(told, "Helvetica"), 11 if first else 9)
        canvas.drawString(MARGIN, top - (13 * mm + at * 5 * mm if first else 10 * mm), told)
    below = top - (HEAD if first else HEAD_LATER) + 4 * mm
    canvas.setLineWidth(1)
    canvas.setStrokeColor(INK)
    canvas.line(MARGIN, below, width - MARGIN, below)


def _scope(sheet: IssuedSheet) -> list[str]:
    place = ", ".join(each for each in (sheet.registration, sheet.base) if each)
    number = f"Work order {sheet.work_order}" if sheet.work_order else ""
    issued = f"Issued {sheet.issued_at[:10]} by {sheet.issued_by}"
    of_day = day(sheet.day).replace("\N{NO-BREAK SPACE}", " ")
    return [each for each in (", ".join(filter(None, (place, of_day))), number, issued) if each]


def _draw_foot(canvas: Canvas, sheet: IssuedSheet, width: float, pages: str) -> None:
    canvas.setStrokeColor(EDGE)
    canvas.setLineWidth(0.5)
    canvas.line(MARGIN, MARGIN + 8 * mm, width - MARGIN, MARGIN + 8 * mm)
    canvas.setFillColor(INK)
    canvas.setFont("Helvetica", 8)
    canvas.drawString(MARGIN, MARGIN + 4 * mm, FOOT)
    canvas.drawString(MARGIN, MARGIN, "Type it back: bring up the sheet by its code.")
    canvas.drawRightString(width - MARGIN, MARGIN, f"Sheet {sheet.code}, {pages}")


def draw_qr(canvas: Canvas, code: str, x: float, y: float, side: float) -> None:
    """Draw the code as a QR code with its quiet zone, the lower left corner at x and y."""
    modules = [list(row) for row in segno.make_qr(code, error="m").matrix]
    step = side / (len(modules) + 2 * QUIET)
    canvas.setFillColor(INK)
    path = canvas.beginPath()
    for down, row in enumerate(modules):
        for across, dark in enumerate(row):
            if dark:
                path.rect(x + (across + QUIET) * step, y + side - (down + QUIET + 1) * step, step, step)
    canvas.drawPath(path, stroke=0, fill=1)
