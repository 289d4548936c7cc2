"""Pins as typed, counted exactly: which of them governs, and how finely they were read."""

from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from db.entry.named import Named
from db.files.column import PIN
from lifecycle.errors import BadRecordsError
from lifecycle.units import NM_PER_UNIT, exact_nm

NO_VALUE: Final = -1  # a check without a value
Floats = npt.NDArray[np.float64]


def read_pins(named: Named) -> pd.DataFrame:
    """
    Return pins (as typed, joined), pin_nm (the governing one), resolution_nm, pin_count and `measured`.

    The shortest length left governs; of gap and wear used, the largest. `measured` is the same text for the same
    lengths, however they were typed. A pin that cannot be counted exactly, or is negative, is refused.
    """
    rows = named.rows
    columns = sorted((n for n in map(str, rows.columns) if PIN.fullmatch(n)), key=lambda name: int(name[4:]))
    counted = [_count(named, column) for column in columns]
    lengths = np.column_stack([nm for nm, _ in counted])
    steps = np.column_stack([step for _, step in counted])
    typed = [";".join(pins).rstrip(";") for pins in zip(*(rows[name] for name in columns), strict=True)]
    empty = np.asarray(np.isnan(lengths).all(axis=1), dtype=bool)
    named.refuse(
        "pin_1",
        empty & (rows["within_limit"] == "").to_numpy(),
        "neither a pin nor a check within the limit",
        "write the pins, or yes or no under within_limit",
    )
    shortest = np.nanmin(np.where(empty[:, None], NO_VALUE, lengths), axis=1)
    longest = np.nanmax(np.where(empty[:, None], NO_VALUE, lengths), axis=1)
    left = (rows["convention"] == "left").to_numpy()
    return pd.DataFrame(
        {
            "pins": pd.array(typed, dtype="str"),
            "pin_nm": np.where(left, shortest, longest).astype(np.int64),
            # Read to a tenth, 12.0 and 12.4 are typed with one decimal, but 12 beside 12.4 may be as well.
            "resolution_nm": np.nanmin(np.where(empty[:, None], 0, steps), axis=1).astype(np.int64),
            "pin_count": (~np.isnan(lengths)).sum(axis=1),
            "measured": measured(lengths, rows["within_limit"]),
        },
        index=rows.index,
    )


def measured(lengths: Floats, within_limit: "pd.Series[str]") -> list[str]:
    """Return one text a reading, the same for the same exact lengths and the same check."""
    whole = np.where(np.isnan(lengths), NO_VALUE, lengths).astype(np.int64)
    return [
        ";".join([check, *map(str, row)]) for check, row in zip(within_limit, whole.tolist(), strict=True)
    ]


def measured_on_record(
    pins: "pd.Series[str]", unit: "pd.Series[str]", within: "pd.Series[str]", width: int
) -> list[str]:
    """Return the same text for readings on record, where pins are joined by semicolons."""
    texts = []
    for typed, of_unit, check in zip(pins, unit, within, strict=True):
        lengths = [exact_nm(pin, of_unit) if pin else NO_VALUE for pin in typed.split(";")]
        texts.append(";".join([check, *map(str, lengths), *["-1"] * (width - len(lengths))]))
    return texts


def _count(named: Named, column: str) -> tuple[Floats, Floats]:
    """Nanometres of one pin column and the step it was read in, NaN where blank or refused; each text once."""
    both = named.rows[column] + " " + named.rows["unit"]
    codes, texts = pd.factorize(both)
    lengths, steps = np.full(len(texts), np.nan), np.full(len(texts), np.nan)
    refused: dict[str, str] = {}
    for place, text in enumerate(texts):
        typed, unit = text.rsplit(" ", 1)
        if not typed:
            continue
        try:
            lengths[place] = exact_nm(typed, unit)
        except BadRecordsError as error:
            refused[text] = str(error)
        if lengths[place] < 0:
            refused[text] = f"{typed} {unit} is negative"
        decimals = len(typed.partition(".")[2])
        steps[place] = NM_PER_UNIT.get(unit, 0) / 10**decimals
    bad = both.isin(list(refused)).to_numpy()
    rules = dict(zip(named.rows["row"], both.map(refused), strict=True))
    named.refuse(
        column, bad, lambda row, _: rules[row], "write the length as read, with a point, and its unit"
    )
    return lengths[codes], steps[codes]
