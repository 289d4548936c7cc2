"""The log, people, and the fleet: bases, types, aircraft, limits, effectivity."""

import sqlalchemy as sa
from alembic import op

from migrations.tables import (
    append_only,
    blank_or,
    content,
    day,
    fact_table,
    number,
    postgresql_function,
    refers,
    text,
    whole,
    word,
    yes_or_no,
)

revision = "0001"
down_revision = None


def upgrade() -> None:
    postgresql_function(
        "refuse_change",
        "BEGIN RAISE EXCEPTION 'append_only: % on %', TG_OP, TG_TABLE_NAME "
        "USING ERRCODE = 'integrity_constraint_violation'; END",
    )
    _log()
    _people()
    _types()
    _aircraft()


def _log() -> None:
    op.create_table(
        "change",
        whole("seq", key=True),
        text("recorded_at"),
        day("recorded_on"),
        text("person"),
        text("source"),
        text("act"),
        whole("facts"),
        content("body"),
        text("previous"),
        text("hash"),
        sa.UniqueConstraint("hash"),
    )
    op.create_index(op.f("ix_change_recorded_on"), "change", ["recorded_on"])
    append_only("change")
    op.create_table(
        "chain_head",
        whole("id", key=True),
        whole("seq"),
        whole("record"),
        text("hash"),
        sa.CheckConstraint("id = 1", name="one_row"),
    )
    op.execute(f"INSERT INTO chain_head (id, seq, record, hash) VALUES (1, 0, 0, '{'0' * 64}')")  # noqa: S608 - no input
    op.create_table(
        "answered_key",
        text("key", key=True),
        text("person", key=True),
        text("asked"),
        whole("status"),
        content("answer"),
        text("answered_at"),
    )
    op.create_table(
        "kept_study",
        text("number", key=True),
        day("on"),
        day("known_on"),
        whole("known_seq"),
        whole("seed"),
        text("kept_at"),
        content("results"),
    )


def _people() -> None:
    op.create_table(
        "person",
        text("name", key=True),
        word("role", "clerk", "planner", "reader", "administrator"),
        text("bases"),
        text("added_at"),
        text("ended_at", null=True),
    )
    op.create_table(
        "person_session",
        text("digest", key=True),
        sa.Column("person", sa.String(), sa.ForeignKey("person.name"), nullable=False),
        text("began_at"),
        text("last_used_at"),
        text("ended_at", null=True),
    )
    op.create_index(op.f("ix_person_session_person"), "person_session", ["person"])
    op.create_table(
        "one_time_link",
        text("digest", key=True),
        sa.Column("person", sa.String(), sa.ForeignKey("person.name"), nullable=False),
        text("expires_at"),
        text("used_at", null=True),
    )


def _types() -> None:
    fact_table(
        "base",
        text("base"),
        text("name", null=True),
        word("kind", "line", "depot", null=True, rule="base_kind"),
        key=("base",),
    )
    fact_table(
        "aircraft_type",
        text("aircraft_type"),
        text("positions"),
        text("position_groups", null=True),
        number("landing_mass_kg"),
        number("touchdown_speed_kt"),
        key=("aircraft_type",),
    )
    fact_table(
        "brake_type",
        text("brake_type"),
        text("maker", null=True),
        word("material", "steel", "carbon"),
        number("mass_kg"),
        whole("pins", null=True),
        number("new_pin_mm"),
        number("new_gap_mm"),
        key=("brake_type",),
    )
    fact_table(
        "wear_limit",
        refers("brake_type", "brake_type.id"),
        text("weight_variant", null=True),
        text("position_group", null=True),
        word("convention", "left", "gap", "used"),
        text("limit"),
        word("unit", "mm", "in"),
        whole("limit_nm"),
        word("at_limit", "off", "allowed"),
        day("effective_on"),
        text("source"),
        yes_or_no("approved"),
        key=(
            "brake_type",
            blank_or("weight_variant"),
            blank_or("position_group"),
            "convention",
            "effective_on",
        ),
    )
    op.create_index(op.f("ix_wear_limit_brake_type"), "wear_limit", ["brake_type"])


def _aircraft() -> None:
    fact_table(
        "aircraft",
        text("registration"),
        text("msn", null=True),
        refers("aircraft_type", "aircraft_type.id"),
        refers("base", "base.id", null=True),
        text("weight_variant", null=True),
        day("in_service_on", null=True),
        day("retires_on", null=True),
        key=("registration",),
    )
    fact_table(
        "aircraft_change",
        refers("aircraft", "aircraft.id"),
        day("from_on"),
        refers("base", "base.id", null=True),
        text("weight_variant", null=True),
        text("new_registration", null=True),
        word("status", "flying", "stored", "in check", "leased out", "deployed", "sold", null=True),
        key=("aircraft", "from_on"),
    )
    op.create_index(op.f("ix_aircraft_change_aircraft"), "aircraft_change", ["aircraft"])
    fact_table(
        "effectivity",
        refers("aircraft_type", "aircraft_type.id"),
        refers("aircraft", "aircraft.id", null=True),
        text("weight_variant", null=True),
        refers("brake_type", "brake_type.id"),
        text("position_group", null=True),
        word("mix", "none", "same group", "any"),
        day("from_on", null=True),
        day("to_on", null=True),
        text("source", null=True),
        key=(
            "aircraft_type",
            blank_or("aircraft", "0"),
            blank_or("weight_variant"),
            "brake_type",
            blank_or("position_group"),
            blank_or("from_on", "'0001-01-01'"),
        ),
    )
    op.create_index(op.f("ix_effectivity_aircraft_type"), "effectivity", ["aircraft_type"])
