"""The tables, by noun."""

from db.records import brakes, checks, economics, fleet, log, people, readings, sheets

__all__ = ["brakes", "checks", "economics", "fleet", "log", "people", "readings", "sheets"]
