"""Landings of an aircraft found by their day, however long the log is."""

from alembic import op

revision = "0013"
down_revision = "0012"


def upgrade() -> None:
    op.create_index("ix_landing_day", "landing", ["aircraft", "day"])
