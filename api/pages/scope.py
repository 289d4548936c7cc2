"""The scope of a page, taken from the study that it shows."""

from fastapi import Request

from api.pages.frame import Frame, Scope
from api.pages.navigation import Place
from lifecycle.study import Study


def frame_of(request: Request, place: Place, study: Study, base: str = "", title: str = "") -> Frame:
    """The frame of one page over a study."""
    return Frame(
        title=title or place.title,
        question=place.question,
        path=place.path,
        asked=dict(request.query_params),
        scope=scope_of(study, base),
    )


def scope_of(study: Study, base: str) -> Scope:
    """What the page speaks of, and how complete the records are."""
    raise NotImplementedError


def materials_of(study: Study) -> dict[str, str]:
    """Heat-sink material of each brake type."""
    types = study.records.brake_types
    return dict(zip(types["brake_type"], types["material"], strict=True))
