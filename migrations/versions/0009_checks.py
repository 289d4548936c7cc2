"""What a reading is checked against as it is typed, who was asked to look again, and what a correction put in doubt."""

import sqlalchemy as sa
from alembic import op

from migrations.tables import day, refers, text, whole, yes_or_no

revision = "0009"
down_revision = "0008"


def upgrade() -> None:
    op.create_table(
        "wear_state",
        refers("brake", "brake.id", key=True),
        text("study"),
        day("since"),
        *_numbers("left_mm", "left_var", "rate_mm", "rate_var", "both"),
        *_numbers("path_sd", "measurement_sd", "dof"),
        text("kind"),
    )
    op.create_table(
        "wear_prior",
        text("brake_type", key=True),
        text("study"),
        *_numbers("rate_mm", "rate_var", "path_sd", "measurement_sd", "dof"),
        text("kind"),
    )
    op.create_table(
        "look_again",
        refers("reading", "pin_reading.id", key=True),
        whole("pin", key=True),
        text("asked"),
        text("first"),
        text("reason"),
        yes_or_no("changed"),
        text("person"),
        text("asked_at"),
    )
    op.create_table(
        "doubted_reading",
        refers("record", "pin_reading.id", key=True),
        refers("correction", "change.seq"),
        text("why"),
    )


def _numbers(*names: str) -> "list[sa.Column[float]]":
    return [sa.Column(name, sa.Double(), nullable=False) for name in names]
