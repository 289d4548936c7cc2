"""Landings whose running totals never fall, pin readings and rulings, events, exclusions."""

from alembic import op

from migrations.tables import (
    blank_or,
    day,
    fact_table,
    not_negative,
    number,
    postgresql_function,
    refers,
    text,
    whole,
    word,
)

revision = "0003"
down_revision = "0002"


def upgrade() -> None:
    _landings()
    _readings()
    _spans()
    _totals_never_fall()


def _landings() -> None:
    fact_table(
        "landing",
        refers("aircraft", "aircraft.id"),
        day("day"),
        day("to_day", null=True),
        refers("base", "base.id", null=True),
        text("airfield", null=True),
        whole("full_stops", not_negative("full_stops"), null=True),
        whole("touch_and_gos", not_negative("touch_and_gos"), null=True),
        whole("rejected_takeoffs", not_negative("rejected_takeoffs"), null=True),
        number("flight_hours", not_negative("flight_hours")),
        whole("counter"),
        whole("total_landings", not_negative("total_landings"), null=True),
        number("landing_mass_kg"),
        key=("aircraft", "day"),
    )
    op.create_index("ix_landing_total", "landing", ["aircraft", "counter", "day"])
    fact_table(
        "counter_change",
        refers("aircraft", "aircraft.id"),
        day("day"),
        whole("counter"),
        whole("starts_at"),
        key=("aircraft", "day"),
    )
    op.create_index(op.f("ix_counter_change_aircraft"), "counter_change", ["aircraft"])


def _readings() -> None:
    fact_table(
        "pin_reading",
        refers("brake", "brake.id"),
        day("day"),
        text("pins", null=True),
        word("unit", "mm", "in"),
        word("convention", "left", "gap", "used"),
        whole("pin_nm"),
        whole("resolution_nm"),
        word("within_limit", "yes", "no", null=True),
        word("brakes_applied", "yes", "no", null=True),
        word("cold", "yes", "no", null=True),
        text("reader", null=True),
        text("occasion", null=True),
        whole("aircraft_landings", null=True),
        word("state", "accepted", "held", "refused"),
    )
    op.create_index("ix_pin_reading_brake", "pin_reading", ["brake", "day"])
    fact_table(
        "ruling",
        refers("reading", "pin_reading.id"),
        word("state", "accepted", "held", "refused"),
        key=("reading",),
    )
    op.create_index(op.f("ix_ruling_reading"), "ruling", ["reading"])


def _spans() -> None:
    fact_table(
        "event",
        refers("aircraft", "aircraft.id"),
        day("day"),
        word("event", "rejected take-off", "overheat", "dragging", "anti-skid fault", "inspection"),
        text("position", null=True),
        number("speed_kt"),
        number("mass_kg"),
        key=("aircraft", "day", "event", blank_or("position")),
    )
    op.create_index(op.f("ix_event_aircraft"), "event", ["aircraft"])
    fact_table(
        "exclusion",
        refers("brake", "brake.id", null=True),
        refers("aircraft", "aircraft.id", null=True),
        day("from_on"),
        day("to_on"),
        text("why"),
        key=(blank_or("brake", "0"), blank_or("aircraft", "0"), "from_on", "why"),
    )
    op.create_index(op.f("ix_exclusion_brake"), "exclusion", ["brake"])
    op.create_index(op.f("ix_exclusion_aircraft"), "exclusion", ["aircraft"])


def _totals_never_fall() -> None:
    """
    Compare a new total with the nearest ones before and after it, of the same aircraft and counter.

    Versions that are withdrawn or superseded (by another or by the new row itself) do not count. The rows of one
    aircraft cannot arrive at once from two sides: whoever writes holds the lock on the chain's head.
    """
    counts = (
        "SELECT total_landings FROM landing AS other "
        "WHERE other.aircraft = NEW.aircraft AND other.counter = NEW.counter AND other.day {side} NEW.day "
        "AND other.total_landings IS NOT NULL AND NOT other.withdrawn AND other.fact <> NEW.fact "
        "AND NOT EXISTS (SELECT 1 FROM landing AS later WHERE later.supersedes = other.id) "
        "ORDER BY other.day {order} LIMIT 1"
    )
    before = counts.format(side="<", order="DESC")
    after = counts.format(side=">", order="ASC")
    falls = f"({before}) > NEW.total_landings OR ({after}) < NEW.total_landings"
    applies = "NEW.total_landings IS NOT NULL AND NOT NEW.withdrawn"
    if op.get_context().dialect.name == "sqlite":
        op.execute(
            f"CREATE TRIGGER landing_totals_never_fall BEFORE INSERT ON landing WHEN {applies} "
            f"BEGIN SELECT RAISE(ABORT, 'totals_never_fall') WHERE {falls}; END"
        )
        return
    postgresql_function(
        "refuse_falling_total",
        f"BEGIN IF {falls} THEN RAISE EXCEPTION 'totals_never_fall' "
        "USING ERRCODE = 'integrity_constraint_violation'; END IF; RETURN NEW; END",
    )
    op.execute(
        "CREATE TRIGGER landing_totals_never_fall BEFORE INSERT ON landing FOR EACH ROW "
        f"WHEN ({applies}) EXECUTE FUNCTION refuse_falling_total()"
    )
