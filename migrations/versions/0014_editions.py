"""Editions: briefs of a retrofit, frozen."""

from migrations.tables import day, fact_table, text, whole

revision = "0014"
down_revision = "0013"


def upgrade() -> None:
    fact_table(
        "edition",
        text("title"),
        text("from_type"),
        text("to_type"),
        text("study"),
        day("forecast_on"),
        day("records_known_on"),
        text("records_head"),
        whole("seed"),
        text("shown"),
    )
