"""Brakes and where they were; no two in one position, none in two places, back-dated moves included."""

import sqlalchemy as sa
from alembic import op

from migrations.tables import day, fact_table, number, refers, text, whole, word

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    _brakes()
    _moves()
    _work()
    _occupancy()
    if op.get_context().dialect.name == "sqlite":
        _no_overlap_sqlite("one_brake_a_position", "aircraft = NEW.aircraft AND position = NEW.position")
        _no_overlap_sqlite("one_position_a_brake", "brake = NEW.brake")
    else:
        op.execute("CREATE EXTENSION IF NOT EXISTS btree_gist")
        _no_overlap_postgresql("one_brake_a_position", "aircraft WITH =, position WITH =")
        _no_overlap_postgresql("one_position_a_brake", "brake WITH =")


def _brakes() -> None:
    fact_table(
        "brake",
        refers("brake_type", "brake_type.id"),
        text("serial"),
        text("owner", null=True),
        word("arrangement", "owned", "loan", "pool", "exchange", "by the hour", null=True),
        whole("landings_since_new", null=True),
        whole("landings_since_overhaul", null=True),
        key=("brake_type", "serial"),
    )
    op.create_index(op.f("ix_brake_brake_type"), "brake", ["brake_type"])
    op.create_index(op.f("ix_brake_serial"), "brake", ["serial"])


def _moves() -> None:
    fact_table(
        "installation",
        refers("brake", "brake.id"),
        refers("aircraft", "aircraft.id"),
        text("position"),
        day("installed_on"),
        word("starts_as", "new", "overhauled", "refurbished", "same run", "unknown"),
        number("start_pin_mm"),
        whole("aircraft_landings", null=True),
        text("release_reference", null=True),
        key=("brake", "installed_on"),
    )
    op.create_index(op.f("ix_installation_brake"), "installation", ["brake"])
    op.create_index(op.f("ix_installation_aircraft"), "installation", ["aircraft"])
    fact_table(
        "removal",
        refers("installation", "installation.id"),
        day("removed_on"),
        word(
            "removal_reason",
            "worn",
            "leak",
            "overheat",
            "rejected take-off",
            "oxidation",
            "contamination",
            "damage",
            "foreign object",
            "vibration",
            "dragging",
            "pin broken",
            "fuse plug",
            "robbed",
            "opportunity",
            "modification",
            "service bulletin",
            "storage expired",
            "lease return",
            "other",
            null=True,
        ),
        whole("aircraft_landings", null=True),
        key=("installation",),
    )


def _work() -> None:
    fact_table(
        "reshim",
        refers("brake", "brake.id"),
        day("day"),
        sa.Column("step_mm", sa.Double(), nullable=False),
        number("step_sd_mm"),
        key=("brake", "day"),
    )
    fact_table(
        "deactivation",
        refers("brake", "brake.id"),
        day("from_on"),
        day("to_on", null=True),
        text("why", null=True),
        key=("brake", "from_on"),
    )
    fact_table(
        "shop_visit",
        refers("brake", "brake.id"),
        day("sent_on"),
        day("back_on", null=True),
        refers("brake_back", "brake.id", null=True),
        word(
            "work",
            "overhaul",
            "refurbish",
            "repair",
            "re-shim",
            "modification",
            "test",
            "no fault found",
            "scrap",
        ),
        number("cost"),
        text("currency", null=True),
        key=("brake", "sent_on"),
    )
    for table in ("reshim", "deactivation", "shop_visit"):
        op.create_index(op.f(f"ix_{table}_brake"), table, ["brake"])


def _occupancy() -> None:
    op.create_table(
        "occupancy",
        refers("installation", "installation.id", key=True),
        refers("brake", "brake.id"),
        refers("aircraft", "aircraft.id"),
        text("position"),
        day("from_on"),
        day("to_on", null=True),
        sa.CheckConstraint("to_on IS NULL OR to_on >= from_on", name="in_order"),
    )
    op.create_index(op.f("ix_occupancy_brake"), "occupancy", ["brake"])
    op.create_index("ix_occupancy_position", "occupancy", ["aircraft", "position", "from_on"])
    for rule, columns in (
        ("one_brake_a_position", ["aircraft", "position"]),
        ("one_position_a_brake", ["brake"]),
    ):
        still = sa.text("to_on IS NULL")
        op.create_index(
            f"uq_occupancy_{rule}",
            "occupancy",
            columns,
            unique=True,
            sqlite_where=still,
            postgresql_where=still,
        )


def _no_overlap_postgresql(rule: str, same: str) -> None:
    op.execute(
        f"ALTER TABLE occupancy ADD CONSTRAINT {rule} EXCLUDE USING gist "
        f"({same}, daterange(from_on, to_on, '[)') WITH &&)"
    )


def _no_overlap_sqlite(rule: str, same: str) -> None:
    # Intervals are [from, to); an empty one, on and off within a day, overlaps nothing, as in PostgreSQL's dateranges.
    end = "9999-12-31"
    overlaps = (
        f"SELECT RAISE(ABORT, '{rule}') WHERE EXISTS (SELECT 1 FROM occupancy WHERE {same} "  # noqa: S608 - no input
        "AND installation <> NEW.installation "
        f"AND from_on < coalesce(to_on, '{end}') AND NEW.from_on < coalesce(NEW.to_on, '{end}') "
        f"AND from_on < coalesce(NEW.to_on, '{end}') AND NEW.from_on < coalesce(to_on, '{end}'))"
    )
    for act in ("INSERT", "UPDATE"):
        op.execute(
            f"CREATE TRIGGER occupancy_{rule}_{act.lower()} BEFORE {act} ON occupancy BEGIN {overlaps}; END"
        )
