"""What was done to people's access, and what became of the links for them, in words."""

import datetime as dt
from dataclasses import dataclass
from typing import Final

from api.words import counted
from db.access_acts import COMMAND, SERVICE, Doer, KnownAct, KnownLink, known_acts, known_links
from db.secrets_kept import time_text
from db.session import Session

MOST: Final = 50
# How long somebody is told above all else that their password was set through a link (common practice, no source).
TOLD_FOR: Final = dt.timedelta(days=30)


@dataclass(frozen=True)
class AccessLine:
    """One line: when, whose access, what was done, and by whom."""

    at: str
    person: str
    what: str
    by: str


def access_lines(session: Session, person: str = "", *, now: dt.datetime) -> tuple[AccessLine, ...]:
    """Acts on the access of one person, or of anybody, and links for them; the latest first."""
    links = known_links(session, person, most=MOST)
    acts = known_acts(session, person, most=MOST)
    lines = [
        *(
            AccessLine(each.at, each.person, _link_in_words(each, now), by_in_words(each.by))
            for each in links
        ),
        *(AccessLine(each.at, each.person, _act_in_words(each), by_in_words(each.by)) for each in acts),
    ]
    return tuple(sorted(lines, key=lambda line: line.at, reverse=True)[:MOST])


def password_warning(session: Session, person: str, *, now: dt.datetime) -> str:
    """What a person is told of a password that was lately set through a link made by somebody else."""
    since = time_text(now - TOLD_FOR)
    for each in known_links(session, person, most=MOST):
        if each.password_at > since and each.by.way != SERVICE:
            return (
                f"Your password was set on {moment(each.password_at)} through a one-time link that was made "
                f"{_by(each.by)} on {moment(each.at)}. If that was not you, set a new one now and tell an "
                "administrator."
            )
    return ""


def came_by(session: Session, person: str) -> str:
    """The link for this person that was used last, in words; empty where there was none."""
    used = max(
        (each for each in known_links(session, person, most=MOST) if each.used_at),
        key=lambda each: each.used_at,
        default=None,
    )
    if used is None:
        return ""
    return (
        f"A link in your name was made {_by(used.by)} on {moment(used.at)}, used on {moment(used.used_at)}."
    )


def by_in_words(by: Doer) -> str:
    """Who did it: by name, or the way where that knows none."""
    return by.name or {COMMAND: "the command line", SERVICE: "the start of the service"}.get(
        by.way, "not on record"
    )


def moment(text: str) -> str:
    """A moment as pages tell it."""
    return text[:16].replace("T", " ")


def _by(by: Doer) -> str:
    if by.name:
        return f"by {by.name}"
    return {COMMAND: "on the command line", SERVICE: "at the start of the service"}.get(
        by.way, "by somebody not on record"
    )


def _link_in_words(link: KnownLink, now: dt.datetime) -> str:
    what = "one-time link made" + (" to set the password anew" if link.resets else "")
    if link.used_at:
        came = f"used {moment(link.used_at)}"
    elif link.ended_at:
        came = "ended unused"
    else:
        came = "not used" if link.expires_at <= time_text(now) else "not used yet"
    told = f"{what}; {came}"
    return told + (f"; password set by it {moment(link.password_at)}" if link.password_at else "")


def _act_in_words(act: KnownAct) -> str:
    if act.act == "tokens ended":
        return f"{counted(int(act.told), 'token')} ended"
    what = {
        "added": "access given",
        "ended": "access ended",
        "given back": "access given back",
        "changed": "role or bases changed",
        "signed out": "signed out everywhere",
        "identity connected": "sign-in at the provider connected",
    }[act.act]
    return f"{what}: {act.told}" if act.told else what
