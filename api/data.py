"""The results as JSON: the same objects as on the pages and the command line."""

import base64
import binascii
from collections.abc import Sequence
from typing import Annotated, Any, Final, TypeVar

from fastapi import APIRouter, HTTPException, Query, Request, Response

from api.access import DESCRIPTION, need
from api.deps import AskedStudy
from api.described import described
from db.checked import Checked, check_kept
from db.session import Session, reading
from lifecycle import study as chain
from lifecycle.cost import CostPerLanding
from lifecycle.forecast import ChangeOut
from lifecycle.retrofit import Briefing
from lifecycle.spares import SparesMonth
from lifecycle.wear import Refit

PAGE_ROWS: Final = 1000
Row = TypeVar("Row")

router = APIRouter(tags=["results"])

# Nothing is known of a forecast beyond one chance in a thousand.
Share = Annotated[float, Query(ge=0.001, le=0.999)]
Limit = Annotated[int, Query(ge=1, le=10_000, description="rows a page")]
Cursor = Annotated[str, Query(description="from the Link header of the page before")]


@router.get("/refit", dependencies=[need("fleet.read")])
def refit(study: AskedStudy, *, brakes: bool = False) -> Refit:
    """Estimated wear of every type with what drives it, and of every run where asked."""
    return chain.refit(study, brakes=brakes, drivers=True)


@router.get("/changeouts", dependencies=[need("records.read")])
def changeouts(  # noqa: PLR0913, PLR0917 - one argument a query parameter
    request: Request,
    response: Response,
    study: AskedStudy,
    base: str = "",
    risk: Share = 0.1,
    limit: Limit = PAGE_ROWS,
    cursor: Cursor = "",
) -> list[ChangeOut]:
    """Every installed brake with its landings and dates, soonest first."""
    return _page(
        chain.changeouts(study, base=base, risk=risk), request, response, study, limit=limit, cursor=cursor
    )


@router.get("/spares", dependencies=[need("records.read")])
def spares(  # noqa: PLR0913, PLR0917 - one argument a query parameter
    request: Request,
    response: Response,
    study: AskedStudy,
    base: str = "",
    months: Annotated[int, Query(ge=1, le=480)] = 24,
    level: Share = 0.9,
    limit: Limit = PAGE_ROWS,
    cursor: Cursor = "",
) -> list[SparesMonth]:
    """Brakes needed per base, type and month."""
    forecast = chain.spares(study, months=months, level=level)
    here = [each for each in forecast if base in ("", each.base)]
    return _page(here, request, response, study, limit=limit, cursor=cursor)


@router.get("/cost", dependencies=[need("money.read")])
def cost(study: AskedStudy) -> CostPerLanding:
    """Cost per braked landing of each brake type."""
    return chain.cost(study)


@router.get("/briefing", dependencies=[need("money.read")])
def briefing(
    study: AskedStudy,
    from_type: Annotated[str, Query(alias="from")],
    to_type: Annotated[str, Query(alias="to")],
) -> Briefing:
    """Whether one brake type should replace another, and when it pays back."""
    return chain.briefing(study, from_type=from_type, to_type=to_type)


@router.get("/openapi.json", dependencies=[need(DESCRIPTION)], include_in_schema=False)
def description(request: Request) -> dict[str, Any]:
    """The JSON interface, as OpenAPI describes it."""
    return described(request.app)


@router.get("/verify", dependencies=[need("log.verify")])
def verify_log(request: Request, *, rebuild: bool = False) -> Checked:
    """Recompute the hash chain of the log against the anchors of the service; what was checked, and what was not."""
    with Session(reading(request.app.state.engine)) as session:
        return check_kept(session, request.app.state.settings.anchors, rebuild=rebuild)


def _page(  # noqa: PLR0913 - what a page is cut from, and where it is told
    rows: Sequence[Row], request: Request, response: Response, study: chain.Study, *, limit: int, cursor: str
) -> list[Row]:
    """Rows from the cursor on; the next page's address, with the study's own days in it, in the Link header."""
    number, start = _opened(cursor) if cursor else (study.number, 0)
    if number != study.number:
        raise HTTPException(409, f"the records changed since study {number}; begin again without a cursor")
    if start + limit < len(rows):
        following = base64.urlsafe_b64encode(f"{study.number} {start + limit}".encode()).decode()
        address = request.url.include_query_params(
            cursor=following, on=study.on.isoformat(), known_on=study.known_on.isoformat()
        )
        response.headers["Link"] = f'<{address}>; rel="next"'
    return list(rows[start : start + limit])


def _opened(cursor: str) -> tuple[str, int]:
    try:
        number, start = base64.urlsafe_b64decode(cursor.encode()).decode().split(" ")
        return number, int(start)
    except (binascii.Error, UnicodeDecodeError, ValueError):
        raise HTTPException(
            422, f"cursor {cursor!r} is not one of ours; take it from the Link header"
        ) from None
