"""Bringing in records from files: read, check everything, record all or nothing."""

from db.imports.check import rows_from
from db.imports.loading import FileLoaded, Loaded, load
from db.imports.refused import ImportRefusedError
from db.imports.source import Progress

__all__ = ["FileLoaded", "ImportRefusedError", "Loaded", "Progress", "load", "rows_from"]
