"""The tables, by noun."""
