"""How often somebody was asked to look at a pin again, and what came of it."""

from dataclasses import dataclass

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from db.records.checks import LookAgain
from db.records.log import Change
from db.records.readings import PinReading


@dataclass(frozen=True)
class AskRate:
    """
    Readings of wear checks, those of them that were asked about, and those in which another value was typed then.

    A reading whose first value stood is taken for a good one.
    """

    readings: int
    asked: int
    changed: int

    @property
    def rate(self) -> float | None:
        """The share asked about; None before the first reading."""
        return self.asked / self.readings if self.readings else None

    @property
    def good(self) -> int:
        """Readings whose first value stood."""
        return self.readings - self.changed

    @property
    def asked_for_nothing(self) -> int:
        """Good readings that were asked about."""
        return self.asked - self.changed

    @property
    def rate_on_good(self) -> float | None:
        """The share of good readings asked about; None before the first."""
        return self.asked_for_nothing / self.good if self.good else None


def ask_rate(session: Session) -> AskRate:
    """Count over all wear checks entered by form."""
    by_form = select(func.count()).select_from(PinReading).join(Change, Change.seq == PinReading.seq)
    by_form = by_form.where(PinReading.version == 1, Change.act == "enter a wear check")
    asked = select(func.count(LookAgain.reading.distinct()))
    return AskRate(
        readings=session.scalar(by_form) or 0,
        asked=session.scalar(asked) or 0,
        changed=session.scalar(asked.where(LookAgain.changed)) or 0,
    )
