"""Sheets to print and write on, drawn as PDF: the same sheet gives the same bytes."""
