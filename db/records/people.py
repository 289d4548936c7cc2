"""People, their sessions, and the one-time links that let the first of them in."""

from sqlalchemy import ForeignKey
from sqlalchemy.orm import Mapped, mapped_column

from db.base import Base, words

ROLES = ("clerk", "planner", "reader", "administrator")


class Person(Base):
    """Someone who may do something here; `bases` empty means every base."""

    __tablename__ = "person"

    name: Mapped[str] = mapped_column(primary_key=True)
    role: Mapped[str] = mapped_column(words("role", *ROLES))
    bases: Mapped[str]
    added_at: Mapped[str]
    ended_at: Mapped[str | None]


class PersonSession(Base):
    """A session: only the digest of its secret is kept."""

    __tablename__ = "person_session"

    digest: Mapped[str] = mapped_column(primary_key=True)
    person: Mapped[str] = mapped_column(ForeignKey("person.name"), index=True)
    began_at: Mapped[str]
    last_used_at: Mapped[str]
    ended_at: Mapped[str | None]


class OneTimeLink(Base):
    """A link that opens one session, once; only the digest of its secret is kept."""

    __tablename__ = "one_time_link"

    digest: Mapped[str] = mapped_column(primary_key=True)
    person: Mapped[str] = mapped_column(ForeignKey("person.name"))
    expires_at: Mapped[str]
    used_at: Mapped[str | None]
