"""A second person's word on limits and assumptions: nobody approves what they entered."""

from sqlalchemy import select
from sqlalchemy.orm import Session

from db.base import Fact, table_of
from db.chain import Act, append
from db.entry.versions import refuse_record, withdrawn_version
from db.errors import StaleVersionError
from db.given import APPROVED
from db.locks import lock_record
from db.lookup import current
from db.recorded import Recorded, find_record, read_record


def approve(session: Session, act: Act, number: int, *, version: str) -> Recorded:
    """
    Approve a limit or an assumption as it stands: a further version that says so, by somebody else.

    Whoever entered or corrected it since it was last approved does not approve it. `version` is the tag of the version
    that was looked at.
    """
    kind, fact = find_record(session, number)
    lock_record(session, fact)
    found = read_record(session, fact)
    if kind not in APPROVED:
        refuse_record(
            found, "", "", "only limits and assumptions are approved", "rule on a held reading instead"
        )
    if found.tag != version:
        raise StaleVersionError(
            f"record {number} stands at version {found.tag}; the one looked at was {version or 'none'}: "
            "look at it as it is now, then approve it",
            found.tag,
            found.now.told,
        )
    _refuse_own(session, act, found, APPROVED[kind])
    row = session.execute(current(APPROVED[kind]).where(APPROVED[kind].fact == fact)).one()
    append(
        session, act, [(APPROVED[kind], [{**withdrawn_version(row), "withdrawn": False, "approved": True}])]
    )
    return read_record(session, fact)


def _refuse_own(session: Session, act: Act, found: Recorded, model: type[Fact]) -> None:
    if found.now.withdrawn:
        refuse_record(found, "", "", "this record is withdrawn", "bring it back by a correction first")
    table = table_of(model)
    approved = session.scalars(
        select(table.c.approved).where(table.c.fact == found.fact).order_by(table.c.version)
    ).all()
    if approved[-1]:
        refuse_record(
            found, "approved", "yes", "this record is approved as it stands", "nothing is left to do"
        )
    waiting = len(approved) - max((at + 1 for at, yes in enumerate(approved) if yes), default=0)
    if act.person in {each.person for each in found.versions[-waiting:]}:
        refuse_record(
            found,
            "approved",
            "yes",
            f"was entered by {act.person}, who cannot approve it",
            "ask a second person",
        )
