"""The one place that turns errors into problems (RFC 9457) with a status, for JSON, pages and the command line."""

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

from db.errors import (
    AwayError,
    BrokenChainError,
    DamagedError,
    FullError,
    KeyReusedError,
    LedgerError,
    NotFoundError,
    RowsRefusedError,
    SchemaError,
    StaleVersionError,
    TooManyWritesError,
)
from db.outage import outage_of
from lifecycle.errors import BadAssumptionError, LifecycleError, MissingAssumptionError, NotEnoughDataError


@dataclass(frozen=True)
class Problem:
    """A refusal in words; `errors` lists rows that were refused, `current` is what stands now."""

    title: str
    status: int
    detail: str
    errors: tuple[dict[str, Any], ...] = ()
    current: Mapping[str, Any] | None = None

    def body(self) -> dict[str, Any]:
        """The members of RFC 9457; `errors` only where there are some."""
        told: dict[str, Any] = {
            "type": "about:blank",
            "title": self.title,
            "status": self.status,
            "detail": self.detail,
        }
        if self.errors:
            told["errors"] = list(self.errors)
        if self.current is not None:
            told["current"] = dict(self.current)
        return told


STATUS: tuple[tuple[type[Exception], int, str], ...] = (
    (RowsRefusedError, 422, "Rows refused"),
    (NotFoundError, 404, "Not found"),
    (StaleVersionError, 412, "Corrected meanwhile"),
    (KeyReusedError, 422, "Key used before"),
    (TooManyWritesError, 429, "Too many writes"),
    (BrokenChainError, 409, "The log does not verify"),
    (SchemaError, 503, "The database has another schema"),
    (FullError, 507, "No room left"),
    (AwayError, 503, "The database is away"),
    (DamagedError, 503, "The database is damaged"),
    (LedgerError, 409, "Refused by the ledger"),
    (MissingAssumptionError, 409, "An assumption is missing"),
    (BadAssumptionError, 422, "An assumption cannot be used"),
    (NotEnoughDataError, 409, "Not enough data"),
    (LifecycleError, 422, "Cannot be computed"),
)


def problem_of(error: Exception) -> Problem | None:
    """The problem that an error is, or None for a fault of the program."""
    error = outage_of(error) or error
    for kind, status, title in STATUS:
        if isinstance(error, kind):
            rows = tuple(asdict(row) for row in error.errors) if isinstance(error, RowsRefusedError) else ()
            now = None
            if isinstance(error, StaleVersionError):
                now = {"version": error.tag, "values": dict(error.told)}
            return Problem(title=title, status=status, detail=str(error), errors=rows, current=now)
    return None
