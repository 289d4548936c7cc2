"""The tables, by noun."""

from db.records import brakes, economics, fleet, log, people, readings, sheets

__all__ = ["brakes", "economics", "fleet", "log", "people", "readings", "sheets"]
