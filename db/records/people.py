"""People, and all that lets them in: sessions, one-time links, passwords, second factors, API tokens."""

from sqlalchemy import ForeignKey
from sqlalchemy.orm import Mapped, mapped_column

from db.base import Base, words

ROLES = ("clerk", "planner", "reader", "administrator")
ACCESS_ACTS = ("added", "changed", "signed out", "tokens ended", "ended", "given back", "identity connected")


class Person(Base):
    """Someone who may do something here; `bases` empty means every base."""

    __tablename__ = "person"

    name: Mapped[str] = mapped_column(primary_key=True)
    role: Mapped[str] = mapped_column(words("role", *ROLES))
    bases: Mapped[str]
    added_at: Mapped[str]
    ended_at: Mapped[str | None]


class AccessAct(Base):
    """What was done to somebody's access, by whom and by which way; append-only. The number sorts as the times do."""

    __tablename__ = "access_act"

    number: Mapped[str] = mapped_column(primary_key=True)
    at: Mapped[str]
    person: Mapped[str] = mapped_column(ForeignKey("person.name"), index=True)
    act: Mapped[str] = mapped_column(words("act", *ACCESS_ACTS))
    told: Mapped[str]
    by: Mapped[str]
    way: Mapped[str]


class PersonSession(Base):
    """A session: only the digest of its secret is kept."""

    __tablename__ = "person_session"

    digest: Mapped[str] = mapped_column(primary_key=True)
    person: Mapped[str] = mapped_column(ForeignKey("person.name"), index=True)
    began_at: Mapped[str]
    last_used_at: Mapped[str]
    ended_at: Mapped[str | None]
    began_by: Mapped[str | None]  # link, service (its own link), password or provider
    link: Mapped[str | None]  # digest of the one-time link that it began by


class OneTimeLink(Base):
    """A link that opens one session, once; only the digest of its secret is kept."""

    __tablename__ = "one_time_link"

    digest: Mapped[str] = mapped_column(primary_key=True)
    person: Mapped[str] = mapped_column(ForeignKey("person.name"))
    expires_at: Mapped[str]
    used_at: Mapped[str | None]
    made_at: Mapped[str | None]
    made_by: Mapped[str | None]
    way: Mapped[str | None]  # as of `Doer`
    resets: Mapped[bool | None]  # lets a password be set anew where there is one
    ended_at: Mapped[str | None]  # before it was used
    password_at: Mapped[str | None]  # when a password was set in a session that it began


class PersonPassword(Base):
    """An Argon2id digest of the password, with its own parameters and salt in it."""

    __tablename__ = "person_password"

    person: Mapped[str] = mapped_column(ForeignKey("person.name"), primary_key=True)
    hash: Mapped[str]
    set_at: Mapped[str]


class PersonAuthenticator(Base):
    """A second factor (RFC 6238): its seed, and the last time step used, so that no code works twice."""

    __tablename__ = "person_authenticator"

    person: Mapped[str] = mapped_column(ForeignKey("person.name"), primary_key=True)
    secret: Mapped[str]
    last_step: Mapped[int]
    confirmed: Mapped[bool]
    added_at: Mapped[str]


class SignInAttempt(Base):
    """An attempt to sign in that has not succeeded, by name or by address."""

    __tablename__ = "sign_in_attempt"

    id: Mapped[str] = mapped_column(primary_key=True)
    subject: Mapped[str] = mapped_column(index=True)
    at: Mapped[str] = mapped_column(index=True)


class ApiToken(Base):
    """A token for programs: only its digest is kept; `scope` and `bases` are lists divided by semicolons."""

    __tablename__ = "api_token"

    digest: Mapped[str] = mapped_column(primary_key=True)
    person: Mapped[str] = mapped_column(ForeignKey("person.name"), index=True)
    label: Mapped[str]
    scope: Mapped[str]
    bases: Mapped[str]
    made_at: Mapped[str]
    expires_at: Mapped[str]
    last_used_at: Mapped[str | None]
    ended_at: Mapped[str | None]


class OutsideIdentity(Base):
    """Who a person is at an identity provider: issuer and subject together, never a name or an address."""

    __tablename__ = "outside_identity"

    issuer: Mapped[str] = mapped_column(primary_key=True)
    subject: Mapped[str] = mapped_column(primary_key=True)
    person: Mapped[str] = mapped_column(ForeignKey("person.name"))
    added_at: Mapped[str]


class SignInBegun(Base):
    """A sign-in begun at a provider; `person` where somebody already let in connects it with themselves."""

    __tablename__ = "sign_in_begun"

    digest: Mapped[str] = mapped_column(primary_key=True)
    verifier: Mapped[str]
    nonce: Mapped[str]
    person: Mapped[str | None] = mapped_column(ForeignKey("person.name"))
    began_at: Mapped[str]
