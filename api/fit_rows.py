"""Model fit by brake type as rows: for the page, its file and the command."""

from dataclasses import dataclass
from typing import Final

from lifecycle.diagnostics import TypeDiagnosis

BETTER: Final = {"wiener": "Wiener path", "gamma": "gamma process", "neither": "not told apart"}


@dataclass(frozen=True)
class TypeRow:
    """One brake type of the table, as its file lists it."""

    brake_type: str
    runs: int
    readings: int
    spread: float
    beyond_3: float
    correlation: float | None
    correlation_band: float | None
    rate_change: float | None
    rate_change_low: float | None
    rate_change_high: float | None
    rate_change_over_landings: float | None
    chance_of_a_straight_line: float | None
    gamma_less_wiener: float | None
    better: str
    doubts: str
    kept_out: int
    too_few_runs: bool


def row_of(told: TypeDiagnosis) -> TypeRow:
    """One type as a row."""
    first = told.lags[0] if told.lags else None
    bend = told.curvature
    processes = told.processes
    return TypeRow(
        brake_type=told.brake_type,
        runs=told.runs,
        readings=told.innovations,
        spread=told.sd,
        beyond_3=told.beyond_3,
        correlation=first.correlation if first else None,
        correlation_band=first.band if first else None,
        rate_change=bend.change if bend else None,
        rate_change_low=bend.low if bend else None,
        rate_change_high=bend.high if bend else None,
        rate_change_over_landings=bend.over_landings if bend else None,
        chance_of_a_straight_line=bend.chance if bend else None,
        gamma_less_wiener=processes.advantage if processes else None,
        better=BETTER[processes.better] if processes else "too few readings",
        doubts="; ".join(told.doubts),
        kept_out=told.kept_out,
        too_few_runs=told.too_few,
    )
