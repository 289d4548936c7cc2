"""Keys of answered writes found by their age, to be forgotten after seven days."""

from alembic import op

revision = "0006"
down_revision = "0005"


def upgrade() -> None:
    op.create_index(op.f("ix_answered_key_answered_at"), "answered_key", ["answered_at"])
