"""What to look at as JSON: readings due, brakes that have left their own past, why brakes come off."""

from typing import Annotated

from fastapi import APIRouter, Query

from api.access import need
from api.deps import AskedStudy
from lifecycle import study as chain
from lifecycle.diagnostics import TypeDiagnosis
from lifecycle.dragging import DraggingBrake
from lifecycle.next_look import NextLook
from lifecycle.reliability import Removals

router = APIRouter(tags=["results"])


@router.get("/readings-due", dependencies=[need("records.read")])
def readings_due(
    study: AskedStudy, base: str = "", level: Annotated[float | None, Query(ge=0.001, le=0.5)] = None
) -> list[NextLook]:
    """The latest day for the next reading of every installed brake, at a chance to pass its limit unread."""
    return list(chain.next_looks(study, base, level))


@router.get("/dragging", dependencies=[need("records.read")])
def dragging(study: AskedStudy, base: str = "") -> list[DraggingBrake]:
    """Installed brakes that wear faster or slower than their own past."""
    return list(chain.dragging(study, base))


@router.get("/removals", dependencies=[need("fleet.read")])
def removals(study: AskedStudy) -> Removals:
    """Removals by brake type and cause, with rates and their intervals."""
    return chain.removals(study)


@router.get("/diagnostics", dependencies=[need("fleet.read")])
def diagnostics(
    study: AskedStudy,
    brake_type: Annotated[str, Query(alias="type", description="only this brake type")] = "",
) -> list[TypeDiagnosis]:
    """Whether the wear model fits the records: innovations, a bend, the gamma process, runs that move the rate."""
    return list(chain.diagnosis(study, brake_type))
