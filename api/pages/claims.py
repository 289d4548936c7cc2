"""Claim check: whether the new brake does what its maker says."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Annotated, Final, Literal

from fastapi import APIRouter, HTTPException, Query, Request, Response
from pydantic import BaseModel

from api import words
from api.access import need
from api.deps import AskedStudy
from api.figures.claims import chance_by_figure
from api.pages.brake_types import types_of
from api.pages.frame import Frame, figures_answer, render
from api.pages.navigation import CLAIMS
from api.pages.origin import Origin, origin_of
from api.pages.scope import frame_of
from api.tables import AskedForm, download
from lifecycle import study as chain
from lifecycle.claims import Claim, claim_curve
from lifecycle.study import Study

router = APIRouter(dependencies=[need("money.read")])

BEHIND: Final = ("pin_readings", "installations", "landings", "wear_limits", "reshims")
HEADLINES: Final = {
    "holds": "The claim holds.",
    "fails": "The claim fails.",
    "open": "The claim is open.",
}


class Asked(BaseModel):
    """
    A claim as the form sends it; a field left empty is not asked.

    `landings` and `ratio` are the names that the command line and the JSON have for what is claimed.
    """

    type: str = ""
    against: str = ""
    claimed: float | Literal[""] = ""
    landings: float | Literal[""] = ""
    ratio: float | Literal[""] = ""
    guaranteed_cost: float | Literal[""] = ""
    guaranteed_landings: float | Literal[""] = ""

    @property
    def figures(self) -> tuple[float | None, float | None]:
        """Landings and ratio that are claimed; what the form calls claimed is one or the other."""
        claimed = None if self.claimed == "" else self.claimed
        landings, ratio = (claimed, None) if not self.against else (None, claimed)
        return (
            landings if self.landings == "" else self.landings,
            ratio if self.ratio == "" else self.ratio,
        )


AskedQuery = Annotated[Asked, Query()]


@dataclass(frozen=True)
class ClaimsPage:
    """What claims.html receives; there is no claim until a type and a figure are given."""

    frame: Frame
    types: tuple[str, ...]
    typed: Mapping[str, str]
    charts: str
    origin: Origin
    currency: str = ""
    claim: Claim | None = None
    headline: str = ""
    records_say: str = ""
    settles: str = ""


@router.get(CLAIMS.path)
def claims(request: Request, study: AskedStudy, form: AskedForm, asked: AskedQuery) -> Response:
    """One claim, as a page or as a file; without one, the choice alone."""
    claim = _checked(study, asked)
    if form and claim:
        return download([claim], name="claim-check", form=form, head=study.ledger_head)
    return render("claims.html", page_of(frame_of(request, CLAIMS, study), study, claim))


@router.get(f"{CLAIMS.path}/figures.json")
def figures(study: AskedStudy, asked: AskedQuery) -> Response:
    """The chance of each figure."""
    claim = _checked(study, asked)
    if claim is None:
        raise HTTPException(422, "no claim is asked about; a type and a claimed figure are wanted")
    return figures_answer({"chance": chance_by_figure(claim, claim_curve(study.runs, study.fit, claim))})


def _checked(study: Study, asked: Asked) -> Claim | None:
    """A figure against another type is a ratio, one without is landings."""
    landings, ratio = asked.figures
    if not asked.type or (landings is None and ratio is None):
        return None
    return chain.claims(
        study,
        asked.type,
        against=asked.against,
        landings=landings,
        ratio=ratio,
        guaranteed_cost=asked.guaranteed_cost or None,
        guaranteed_landings=asked.guaranteed_landings or 1.0,
    )


def page_of(frame: Frame, study: Study, claim: Claim | None) -> ClaimsPage:
    """What the template shows of a claim, or of the choice before one."""
    page = ClaimsPage(
        frame=frame,
        types=tuple(types_of(study).materials),
        typed=_typed(frame.asked),
        charts=frame.link(f"{CLAIMS.path}/figures.json"),
        origin=origin_of(frame, study, "the claim check", kinds=BEHIND),
    )
    if claim is None:
        return page
    return replace(
        page,
        currency=chain.cost(study).currency if claim.refund else "",
        claim=claim,
        headline=HEADLINES[claim.verdict],
        records_say=records_say(claim),
        settles=settles(claim),
    )


def _typed(asked: Mapping[str, str]) -> dict[str, str]:
    """What stands in the form: the one figure that was asked about, whatever it was called."""
    typed = {name: asked.get(name, "") for name in Asked.model_fields}
    return {**typed, "claimed": typed["claimed"] or typed["landings"] or typed["ratio"]}


def records_say(claim: Claim) -> str:
    """What was claimed, what the records say so far, and how likely the claim is."""
    figure = words.exact(claim.claim)
    lasts = (
        f"{figure} landings a run"
        if claim.kind == "landings"
        else f"{figure} times as long as {claim.against}"
    )
    middle = words.rounded(claim.estimate, claim.low, claim.high)
    return (
        f"Claimed: {claim.brake_type} lasts {lasts}. "
        f"The records say about {middle} (8 in 10: {words.ranged(claim.low, claim.high)}); "
        f"the chance that it lasts at least as claimed is {words.in_ten(claim.chance_claim_holds)}."
    )


def settles(claim: Claim) -> str:
    """How many more landings, of which aircraft, settle it."""
    if claim.verdict != "open":
        return (
            "No more landings are wanted for this verdict; at most 1 in 20 such verdicts is wrong "
            f"where the truth is {words.percent(claim.zone)} or more from the claim."
        )
    if claim.landings_to_settle is None or not claim.within_reach:
        return "No number of landings worth planning for settles it."
    more = f"{words.about(claim.landings_to_settle)}{words.FIRM}more landings"
    if not claim.aircraft_to_settle:
        return f"About {more} on the present aircraft are expected to settle it, if the present estimate is true."
    further = words.counted(claim.aircraft_to_settle, "further aircraft", "further aircraft")
    return (
        f"About {more} on {further} are expected to settle it, if the present estimate is true. "
        "More landings on the present aircraft alone would not: aircraft differ too much among themselves."
    )
