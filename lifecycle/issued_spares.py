"""Spares as they were shown and kept, held against the removals that came."""

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

from lifecycle import score
from lifecycle.observations import UNSCHEDULED
from lifecycle.reliability import WORN
from lifecycle.study import Study

# What a forecast of spares speaks of; brakes taken off for the operator's own reasons want none by themselves.
COUNTED: Final = frozenset({WORN, *UNSCHEDULED})


@dataclass(frozen=True)
class IssuedSpares:
    """Brakes of one type that one base was shown to need in one month (its first day)."""

    shown_on: dt.date
    base: str
    brake_type: str
    month: dt.date
    p50: float
    p90: float


@dataclass(frozen=True)
class SparesScore:
    """
    Forecasts of spares whose month lies in the past, one for each base, type, month and day shown.

    ``within_p90`` came to no more than their P90; ``bias`` is the mean of forecast (P50) less removals, the pinball
    scores are in brakes; None without an outcome.
    """

    months: int
    within_p90: int
    bias: float | None = None
    pinball_p50: float | None = None
    pinball_p90: float | None = None


NO_SPARES: Final = SparesScore(0, 0)


def score_issued_spares(study: Study, issued: Iterable[IssuedSpares]) -> SparesScore:
    """
    Score spares as they were shown.

    Parameters
    ----------
    study : Study
        What is known now.
    issued : iterable of IssuedSpares
        Forecasts; of several of one base, type and month shown on one day the last counts.

    Returns
    -------
    SparesScore
        Of months that began after the day shown and have ended by the study's.

    Notes
    -----
    A removal counts where the aircraft was kept when the brake came on, for wear or for an unscheduled cause. Quantile
    (pinball) loss: `lifecycle.score.pinball`.
    """
    over = {
        (each.shown_on, each.base, each.brake_type, each.month): each
        for each in issued
        if each.shown_on < each.month and _next_month(each.month) <= study.on
    }
    if not over:
        return NO_SPARES
    came = _removals(study)
    seen = np.array([came.get((base, kind, month), 0) for _, base, kind, month in over], dtype=float)
    p50, p90 = (np.array([getattr(each, name) for each in over.values()]) for name in ("p50", "p90"))
    return SparesScore(
        months=len(over),
        within_p90=int((seen <= p90).sum()),
        bias=float((p50 - seen).mean()),
        pinball_p50=float(score.pinball(seen, p50, level=0.5).mean()),
        pinball_p90=float(score.pinball(seen, p90, level=0.9).mean()),
    )


def _removals(study: Study) -> dict[tuple[str, str, dt.date], int]:
    """Removals that want a spare, by base, brake type and month."""
    spans = study.runs.spans
    reasons = study.records.installations.set_index("record")["removal_reason"].reindex(spans["record"])
    gone = spans["to_on"].notna().to_numpy() & reasons.isin(COUNTED).to_numpy()
    ended = spans[gone]
    months = pd.DatetimeIndex(ended["to_on"]).to_period("M").to_timestamp()
    kinds = study.runs.runs["brake_type"].reindex(ended["run"])
    counted: dict[tuple[str, str, dt.date], int] = {}
    for base, kind, month in zip(ended["base"], kinds, months, strict=True):
        place = (str(base), str(kind), month.date())
        counted[place] = counted.get(place, 0) + 1
    return counted


def _next_month(month: dt.date) -> dt.date:
    return (month.replace(day=1) + dt.timedelta(days=32)).replace(day=1)
