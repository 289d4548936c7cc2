"""Claims held against the records, and forecasts against what came, as JSON."""

from typing import Annotated

from fastapi import APIRouter, Query, Request

from api.access import need
from api.deps import AskedStudy
from api.past_forecasts import ORIGINS, score_of
from lifecycle import study as chain
from lifecycle.backtest import Score
from lifecycle.claims import Claim

router = APIRouter(tags=["results"])

AboveZero = Annotated[float | None, Query(gt=0, allow_inf_nan=False)]


@router.get("/claims", dependencies=[need("money.read")])
def claims(  # noqa: PLR0913, PLR0917 - one argument a query parameter
    study: AskedStudy,
    brake_type: Annotated[str, Query(alias="type", description="brake type that the claim is of")],
    against: Annotated[str, Query(description="brake type that a ratio is to")] = "",
    landings: AboveZero = None,
    ratio: AboveZero = None,
    guaranteed_cost: AboveZero = None,
    guaranteed_landings: Annotated[float, Query(gt=0, allow_inf_nan=False)] = 1.0,
) -> Claim:
    """What the records say of a claimed mean life, or ratio of lives: exactly one of landings and ratio."""
    return chain.claims(
        study,
        brake_type,
        against=against,
        landings=landings,
        ratio=ratio,
        guaranteed_cost=guaranteed_cost,
        guaranteed_landings=guaranteed_landings,
    )


# Each is a study of its own; more of them are made on the command line, where nobody else waits.
Origins = Annotated[int, Query(ge=1, le=12, description="past days to forecast from")]


@router.get("/score", dependencies=[need("fleet.read")])
def score(request: Request, study: AskedStudy, origins: Origins = ORIGINS) -> Score:
    """How right forecasts have been, made again from past days with only what was known then."""
    return score_of(request.app.state.engine, study, origins)
