"""An upload that is not opened any further, and why."""

from typing import Final

from db.errors import LedgerError, RowError
from db.uploads.limits import BY_COMMAND, MIB, MOST_BYTES


class UploadRefusedError(LedgerError):
    """The whole file is refused: the rule it breaks and what to do."""

    def __init__(self, rule: str, suggestion: str) -> None:
        super().__init__(f"{rule}; {suggestion}")
        self.rule = rule
        self.suggestion = suggestion

    def of_file(self, name: str) -> RowError:
        """Return it as an error of this file."""
        return RowError(name, 0, "", name, self.rule, self.suggestion)


TOO_LARGE: Final = UploadRefusedError(f"is larger than {MOST_BYTES // MIB} MiB", BY_COMMAND)
