"""The command that asks whether the wear model fits the records."""

import argparse
from typing import Final

from api.commands.results import study_asked
from api.fit_rows import row_of
from api.output import plain, write
from lifecycle import study as chain

COLUMNS: Final = (
    "brake_type",
    "runs",
    "readings",
    "kept_out",
    "spread",
    "beyond_3",
    "correlation",
    "correlation_band",
    "rate_change",
    "chance_of_a_straight_line",
    "gamma_less_wiener",
    "better",
)


def model_fit(asked: argparse.Namespace) -> int:
    """Print a line a brake type, what speaks against the model beneath; JSON has the innovations and runs behind it."""
    found = chain.diagnosis(study_asked(asked), asked.type)
    rows = [row_of(each) for each in found]
    told = [plain(row) | {"warnings": list(each.doubts)} for row, each in zip(rows, found, strict=True)]
    write(found, asked.format, rows=rows if asked.format == "csv" else told, columns=COLUMNS)
    return 0
