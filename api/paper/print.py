"""A sheet as PDF, by its kind."""

from collections.abc import Callable, Mapping
from typing import Final

from api.paper.frame import PAPERS, Drawn, pdf_of
from api.paper.landings_sheet import draw_landings_sheet
from api.paper.move_slip import draw_move_slip
from api.paper.wear_check import draw_wear_check
from db.errors import LedgerError
from db.sheets import IssuedSheet

DRAWN: Final[Mapping[str, Callable[[IssuedSheet, str], Drawn]]] = {
    "landings": draw_landings_sheet,
    "wear check": draw_wear_check,
    "move slip": draw_move_slip,
}


def print_sheet(sheet: IssuedSheet, paper: str) -> bytes:
    """The sheet as issued, on A4 or Letter; the same sheet and paper give the same bytes."""
    if paper not in PAPERS:
        raise LedgerError(f"{paper!r} is no paper known here; wanted one of {', '.join(PAPERS)}")
    return pdf_of(sheet, DRAWN[sheet.kind](sheet, paper), paper)
