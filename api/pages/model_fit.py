"""Model fit: whether the wear model fits the records, as a statistician would ask."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated, Final

from fastapi import APIRouter, HTTPException, Query, Request, Response
from pydantic import BaseModel

from api import words
from api.access import need
from api.deps import AskedStudy
from api.figures.model_fit import by_number, from_reading_to_reading, quantiles
from api.fit_rows import TypeRow, row_of
from api.pages.brakes import record_link
from api.pages.frame import Frame, figures_answer, render
from api.pages.navigation import MODEL_FIT
from api.pages.origin import Origin, origin_of
from api.pages.scope import frame_of
from api.tables import AskedForm, download
from lifecycle import study as chain
from lifecycle.diagnostics import TypeDiagnosis
from lifecycle.influence import InfluentialRun
from lifecycle.study import Study

router = APIRouter(dependencies=[need("fleet.read")])

BEHIND: Final = ("pin_readings", "installations", "landings", "reshims")


class Asked(BaseModel):
    """The brake type whose charts are shown; the first that something speaks against where none is named."""

    type: str = ""


AskedQuery = Annotated[Asked, Query()]


@dataclass(frozen=True)
class RunRow:
    """A run that moves its type's rate, and the record of its brake."""

    run: InfluentialRun
    record: str


@dataclass(frozen=True)
class ModelFitPage:
    """What model_fit.html receives."""

    frame: Frame
    answer: str
    doubts: tuple[str, ...]
    rows: tuple[TypeRow, ...]
    types: tuple[str, ...]
    shown: TypeDiagnosis | None
    runs: tuple[RunRow, ...]
    charts: str
    origin: Origin


@router.get(MODEL_FIT.path)
def model_fit(request: Request, study: AskedStudy, form: AskedForm, asked: AskedQuery) -> Response:
    """The page, or its table as a file."""
    found = chain.diagnosis(study)
    shown = chosen(found, asked.type)
    if form:
        return download([row_of(each) for each in found], name="model-fit", form=form, head=study.ledger_head)
    return render("model_fit.html", page_of(frame_of(request, MODEL_FIT, study), study, found, shown))


@router.get(f"{MODEL_FIT.path}/figures.json")
def figures(study: AskedStudy, asked: AskedQuery) -> Response:
    """The charts of the brake type shown."""
    shown = chosen(chain.diagnosis(study), asked.type)
    if shown is None:
        raise HTTPException(422, "no brake type has been read twice in a run; nothing can be shown")
    return figures_answer(
        {
            "number": by_number(shown),
            "correlation": from_reading_to_reading(shown),
            "quantiles": quantiles(shown),
        }
    )


def chosen(found: Sequence[TypeDiagnosis], brake_type: str) -> TypeDiagnosis | None:
    """The type asked for; else the first that something speaks against, else the one with most readings."""
    if brake_type:
        of_type = next((each for each in found if each.brake_type == brake_type), None)
        if of_type is None:
            names = (
                words.listed([each.brake_type for each in found], "or")
                or "none, as nothing has been read twice"
            )
            raise HTTPException(422, f"brake type {brake_type!r} has no readings to diagnose; wanted {names}")
        return of_type
    doubted = (each for each in found if each.doubts)
    return next(doubted, max(found, key=lambda each: each.innovations, default=None))


def page_of(
    frame: Frame, study: Study, found: Sequence[TypeDiagnosis], shown: TypeDiagnosis | None
) -> ModelFitPage:
    """What the template shows of these figures."""
    return ModelFitPage(
        frame=frame,
        answer=answer(found),
        doubts=tuple(f"{each.brake_type}: {doubt}" for each in found for doubt in each.doubts),
        rows=tuple(map(row_of, found)),
        types=tuple(each.brake_type for each in found),
        shown=shown,
        runs=tuple(
            RunRow(each, record_link(frame, each.serial, shown.brake_type)) for each in shown.influential
        )
        if shown
        else (),
        charts=frame.link(f"{MODEL_FIT.path}/figures.json"),
        origin=origin_of(frame, study, "the model fit", kinds=BEHIND),
    )


def answer(found: Sequence[TypeDiagnosis]) -> str:
    """For how many brake types nothing speaks against the model, and of which nothing could."""
    if not found:
        return "No brake has been read twice in a run yet, so nothing can be said of the model."
    told = [each for each in found if each.doubts or not each.too_few]
    few = [each.brake_type for each in found if each not in told]
    left = f" Too few runs to tell of {words.listed(few)}." if few else ""
    if not told:
        return left.strip()
    doubted = sum(bool(each.doubts) for each in told)
    kinds = words.counted(len(told), "brake type")
    many = f"{words.number(doubted)} of {kinds}" if doubted else kinds
    verdict = (
        "Something speaks against the wear model for" if doubted else "Nothing speaks against the wear model:"
    )
    return f"{verdict} {many}, {_readings(told)}.{left}"


def _readings(found: Sequence[TypeDiagnosis]) -> str:
    read = words.counted(sum(each.innovations for each in found), "reading")
    return f"{read}; {words.number(sum(each.kept_out for each in found))} more were kept out of the rate"
