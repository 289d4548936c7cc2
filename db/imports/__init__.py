"""
Bringing in records from files: read, check everything, record all or nothing.

What is named here is imported when it is asked for: the process that opens an upload needs the readers alone.
"""

import importlib
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from db.imports.check import rows_from
    from db.imports.loading import FileLoaded, Loaded, load
    from db.imports.refused import ImportRefusedError
    from db.imports.source import Progress

__all__ = ["FileLoaded", "ImportRefusedError", "Loaded", "Progress", "load", "rows_from"]

WHERE: Final = {
    "FileLoaded": "loading",
    "ImportRefusedError": "refused",
    "Loaded": "loading",
    "Progress": "source",
    "load": "loading",
    "rows_from": "check",
}


def __getattr__(name: str) -> Any:  # noqa: ANN401 - whatever stands there
    if name not in WHERE:
        raise AttributeError(name)
    return getattr(importlib.import_module(f"db.imports.{WHERE[name]}"), name)
