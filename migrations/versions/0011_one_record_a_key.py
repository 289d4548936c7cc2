"""
One record a key, told by the records that stand: a key that a correction left behind is free again.

Before, the first versions held their keys for ever, so that what was entered on the wrong day and then corrected could
never be entered for that day.
"""

import re

from alembic import op

from migrations.tables import postgresql_function

revision = "0011"
down_revision = "0010"

KEYS = {
    "brake": "brake_type, serial",
    "installation": "brake, installed_on",
    "removal": "installation",
    "reshim": "brake, day",
    "deactivation": "brake, from_on",
    "shop_visit": "brake, sent_on",
    "stock_movement": "brake, day",
    "stock": "base, brake_type, counted_on",
    "purchase_order": "base, brake_type, ordered_on, coalesce(work_order, '')",
    "flying_plan": "coalesce(aircraft, 0), coalesce(base, 0), month",
    "assumption": "name, coalesce(aircraft_type, 0), coalesce(brake_type, 0), coalesce(base, 0), dated",
    "base": "base",
    "aircraft_type": "aircraft_type",
    "brake_type": "brake_type",
    "wear_limit": (
        "brake_type, coalesce(weight_variant, ''), coalesce(position_group, ''), convention, effective_on"
    ),
    "effectivity": (
        "aircraft_type, coalesce(aircraft, 0), coalesce(weight_variant, ''), "
        "brake_type, coalesce(position_group, ''), coalesce(from_on, '0001-01-01')"
    ),
    "aircraft": "registration",
    "aircraft_change": "aircraft, from_on",
    "landing": "aircraft, day",
    "counter_change": "aircraft, day",
    "ruling": "reading",
    "event": "aircraft, day, event, coalesce(position, '')",
    "exclusion": "coalesce(brake, 0), coalesce(aircraft, 0), from_on, why",
}
PART = re.compile(r"coalesce\((\w+), ('[^']*'|0)\)|(\w+)")


def upgrade() -> None:
    for table, key in KEYS.items():
        op.drop_index(f"uq_{table}_key", table)
        op.execute(f"CREATE INDEX ix_{table}_key ON {table} ({key})")
        _one_record_a_key(table, key)


def _one_record_a_key(table: str, key: str) -> None:
    """
    Refuse a version that gives a record the key of another one that stands.

    Versions that are withdrawn or superseded do not count. Two of one key cannot arrive at once from two sides: whoever
    writes holds the lock on the chain's head.
    """
    same = " AND ".join(f"{_of('other', part)} = {_of('NEW', part)}" for part in PART.finditer(key))
    taken = (
        f"EXISTS (SELECT 1 FROM {table} AS other WHERE {same} AND other.fact <> NEW.fact "  # noqa: S608 - no input
        f"AND NOT other.withdrawn AND NOT EXISTS (SELECT 1 FROM {table} AS later WHERE later.supersedes = other.id))"
    )
    name = f"{table}_one_record_a_key"
    if op.get_context().dialect.name == "sqlite":
        op.execute(
            f"CREATE TRIGGER {name} BEFORE INSERT ON {table} WHEN NOT NEW.withdrawn "
            f"BEGIN SELECT RAISE(ABORT, 'one_record_a_key') WHERE {taken}; END"
        )
        return
    postgresql_function(
        f"refuse_second_{table}",
        f"BEGIN IF {taken} THEN RAISE EXCEPTION 'one_record_a_key' "
        "USING ERRCODE = 'integrity_constraint_violation'; END IF; RETURN NEW; END",
    )
    op.execute(
        f"CREATE TRIGGER {name} BEFORE INSERT ON {table} FOR EACH ROW "
        f"WHEN (NOT NEW.withdrawn) EXECUTE FUNCTION refuse_second_{table}()"
    )


def _of(row: str, part: re.Match[str]) -> str:
    column, blank, plain = part.groups()
    return f"{row}.{plain}" if plain else f"coalesce({row}.{column}, {blank})"
