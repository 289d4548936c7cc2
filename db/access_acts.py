"""Who gave whom which access: each act is kept as it is done, and nothing of it is changed afterwards."""

import datetime as dt
from dataclasses import dataclass
from typing import Final

from sqlalchemy import select
from sqlalchemy.orm import Session

from db.records.people import AccessAct, OneTimeLink
from db.secrets_kept import new_secret, time_text

PAGE: Final = "page"
COMMAND: Final = "command line"
SERVICE: Final = "service"  # the link that whoever starts the service has printed for themselves
PROVIDER: Final = "provider"  # the step from a provider's sign-in to the code
LINK_LIFE: Final = dt.timedelta(minutes=30)


@dataclass(frozen=True)
class Doer:
    """Who gives or ends access, and by which way; the command line knows no name."""

    name: str = ""
    way: str = ""


UNTOLD: Final = Doer()


@dataclass(frozen=True)
class KnownAct:
    """Something that was done to somebody's access; `told` says from what to what."""

    at: str
    person: str
    act: str
    told: str
    by: Doer


@dataclass(frozen=True)
class KnownLink:
    """A one-time link as it is told afterwards; times that did not come are empty."""

    at: str
    person: str
    by: Doer
    resets: bool
    used_at: str
    ended_at: str
    expires_at: str
    password_at: str


def note_act(  # noqa: PLR0913 - who did what to whom, and when
    session: Session, person: str, act: str, *, by: Doer, now: dt.datetime, told: str = ""
) -> None:
    """Keep one act."""
    # Acts of one second keep their order by the microseconds; the rest tells two of one microsecond apart.
    number = f"{now.astimezone(dt.UTC):%Y%m%dT%H%M%S.%f}-{new_secret()[:8]}"
    session.add(
        AccessAct(number=number, at=time_text(now), person=person, act=act, told=told, by=by.name, way=by.way)
    )


def known_acts(session: Session, person: str = "", *, most: int) -> tuple[KnownAct, ...]:
    """What was done to the access of one person, or of anybody; the latest first."""
    query = select(AccessAct).order_by(AccessAct.number.desc()).limit(most)
    if person:
        query = query.where(AccessAct.person == person)
    return tuple(
        KnownAct(each.at, each.person, each.act, each.told, Doer(each.by, each.way))
        for each in session.scalars(query)
    )


def known_links(session: Session, person: str = "", *, most: int) -> tuple[KnownLink, ...]:
    """One-time links for one person, or for anybody, the latest first; not the steps on from a provider."""
    query = (
        select(OneTimeLink)
        .where(OneTimeLink.way.is_distinct_from(PROVIDER))
        .order_by(OneTimeLink.expires_at.desc(), OneTimeLink.digest)
        .limit(most)
    )
    if person:
        query = query.where(OneTimeLink.person == person)
    return tuple(map(_link, session.scalars(query)))


def _link(each: OneTimeLink) -> KnownLink:
    # Older rows do not tell when they were made, but all lived equally long.
    made_at = each.made_at or time_text(dt.datetime.fromisoformat(each.expires_at) - LINK_LIFE)
    return KnownLink(
        made_at,
        each.person,
        Doer(each.made_by or "", each.way or ""),
        bool(each.resets),
        each.used_at or "",
        each.ended_at or "",
        each.expires_at,
        each.password_at or "",
    )
