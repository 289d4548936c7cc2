"""Approval of limits and assumptions as JSON: by another person than entered them."""

from fastapi import APIRouter, Request, Response
from sqlalchemy.orm import Session

from api.access import LetIn, need
from api.records import Key, Match, matched, seen_record, told_record
from api.writes import Answer, write
from db.chain import Act
from db.entry.approvals import approve

router = APIRouter(tags=["records"])


@router.post("/records/{number}/approval", dependencies=[need("assumptions.approve")])
def approve_record(
    request: Request, number: int, person: LetIn, key: Key = "", match: Match = ""
) -> Response:
    """Approve the version that was looked at."""
    version = matched(match)
    act = Act(person.name, "api", "approve a record")

    def work(session: Session) -> Answer:
        seen_record(session, person, number)
        found = approve(session, act, number, version=version)
        return Answer(200, told_record(found), {"ETag": f'"{found.tag}"'})

    return write(request, person, key, [version], work)
