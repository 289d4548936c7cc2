"""Letting people in: passwords, second factors, attempts, API tokens, identities from elsewhere."""

import sqlalchemy as sa
from alembic import op

from migrations.tables import text, whole, yes_or_no

revision = "0005"
down_revision = "0004"


def upgrade() -> None:
    op.add_column("person_session", text("began_by", null=True))
    op.create_table("person_password", _person(key=True), text("hash"), text("set_at"))
    op.create_table(
        "person_authenticator",
        _person(key=True),
        text("secret"),
        whole("last_step"),
        yes_or_no("confirmed"),
        text("added_at"),
    )
    op.create_table("sign_in_attempt", text("id", key=True), text("subject"), text("at"))
    op.create_index(op.f("ix_sign_in_attempt_subject"), "sign_in_attempt", ["subject"])
    op.create_index(op.f("ix_sign_in_attempt_at"), "sign_in_attempt", ["at"])
    op.create_table(
        "api_token",
        text("digest", key=True),
        _person(),
        text("label"),
        text("scope"),
        text("bases"),
        text("made_at"),
        text("expires_at"),
        text("last_used_at", null=True),
        text("ended_at", null=True),
    )
    op.create_index(op.f("ix_api_token_person"), "api_token", ["person"])
    op.create_table(
        "outside_identity", text("issuer", key=True), text("subject", key=True), _person(), text("added_at")
    )
    op.create_table(
        "sign_in_begun",
        text("digest", key=True),
        text("verifier"),
        text("nonce"),
        _person(null=True),
        text("began_at"),
    )


def _person(*, key: bool = False, null: bool = False) -> "sa.Column[str]":
    return sa.Column("person", sa.String(), sa.ForeignKey("person.name"), nullable=null, primary_key=key)
