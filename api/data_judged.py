"""Claims held against the records, and forecasts against what came, as JSON."""

from typing import Annotated

from fastapi import APIRouter, Query

from api.access import need
from api.deps import AskedStudy
from lifecycle import study as chain
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
