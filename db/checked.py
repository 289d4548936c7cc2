"""What was checked of a ledger, and what was not: the answer to whether it is what was written."""

from dataclasses import dataclass
from typing import Final

from sqlalchemy import select
from sqlalchemy.orm import Session

from db.anchor_forms import kept_anchors
from db.anchors import Anchor
from db.awaited import Awaited, Verified
from db.compared import NOT_COMPARED
from db.guards import check_guards
from db.outage import check_pages
from db.records.log import ChainHead
from db.verify import verify_against

NO_ANCHOR: Final = (
    "no anchor holds any change: a tail that was cut off, or a log written anew to its end, is not seen "
    "without a head kept elsewhere"
)
LOG_ALONE: Final = "the log alone was checked; --rebuild also compares the tables of records with it"


@dataclass(frozen=True)
class Checked:
    """
    What verified, and how much that says.

    `anchors` held, the latest at change `latest_anchor` (0: none); `changes_since` it are held by nothing kept
    elsewhere. `rebuilt`: tables were compared with the log. `guards` of the database stand as they were made.
    `not_checked` says in words what stays unseen.
    """

    facts: int
    head: str
    seq: int
    anchors: int
    latest_anchor: int
    latest_anchor_day: str
    changes_since: int
    rebuilt: bool
    guards: int
    not_checked: tuple[str, ...]


def check_kept(session: Session, place: str, *, rebuild: bool = False) -> Checked:
    """Check the ledger against the anchors at the place that is set, "" for none."""
    changes = session.execute(select(ChainHead.seq)).scalar() or 0
    return check_ledger(session, kept_anchors(place, changes=changes), rebuild=rebuild)


def check_ledger(session: Session, anchors: tuple[Anchor, ...], *, rebuild: bool = False) -> Checked:
    """Check every link of the log, every anchor, the database's guards, and where asked the tables."""
    if rebuild:
        check_pages(session.connection())
    awaited = Awaited(anchors)
    found = verify_against(session, awaited, rebuild=rebuild)
    return Checked(
        facts=found.facts,
        head=found.head,
        seq=found.seq,
        anchors=awaited.count,
        latest_anchor=awaited.latest,
        latest_anchor_day=awaited.latest_day,
        changes_since=found.seq - awaited.latest,
        rebuilt=rebuild,
        guards=check_guards(session),
        not_checked=(*_unheld(awaited, found), NOT_COMPARED if rebuild else LOG_ALONE),
    )


def _unheld(awaited: Awaited, found: Verified) -> tuple[str, ...]:
    since = found.seq - awaited.latest
    if not since:
        return ()
    if not awaited.latest:
        return (NO_ANCHOR,)
    of = f", of {awaited.latest_day}" if awaited.latest_day else ""
    changes = "1 change since then is" if since == 1 else f"{since} changes since then are"
    told = f"the latest anchor stands at change {awaited.latest}{of}; the {changes} held by none"
    return (f"{told}: cut off or written anew they are not seen",)
