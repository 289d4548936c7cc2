"""Scores of past forecasts, kept."""

from alembic import op

from migrations.tables import content, day, text, whole

revision = "0012"
down_revision = "0011"


def upgrade() -> None:
    op.create_table(
        "kept_score",
        text("number", key=True),
        whole("past_days", key=True),
        day("on"),
        whole("known_seq"),
        text("kept_at"),
        content("result"),
    )
