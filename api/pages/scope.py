"""The scope of a page, taken from the study that it shows."""

from fastapi import Request

from api.caller import caller
from api.pages.frame import Frame, Scope
from api.pages.navigation import Place
from api.pages.reach import reach_of
from api.studies import before_the_log
from lifecycle.study import Study


def frame_of(request: Request, place: Place, study: Study, base: str = "", title: str = "") -> Frame:
    """The frame of one page over a study."""
    return Frame(
        title=title or place.title,
        question=place.question,
        path=request.url.path,
        asked=_asked(request, study),
        scope=scope_of(study, base, before_the_log(request.app.state.engine, study)),
        by_base=place.by_base,
        menu=place.path,
    )


def _asked(request: Request, study: Study) -> dict[str, str]:
    """The query, its days written out: a link kept until tomorrow means the same day."""
    days = {"on": study.on, "known_on": study.known_on}
    asked = dict(request.query_params)
    return asked | {name: day.isoformat() for name, day in days.items() if asked.get(name)}


def scope_of(study: Study, base: str, early: str = "") -> Scope:
    """What the page speaks of, and how complete the records are."""
    person = caller().person
    own = person.bases if person else ()
    reach = reach_of(study.records, base)
    return Scope(
        base=base,
        bases=tuple(sorted(base for base in study.records.bases["base"] if not own or base in own)),
        on=study.on,
        known_on=study.known_on,
        records_through=reach.through,
        missing_aircraft_days=reach.missing_aircraft_days,
        gaps=reach.gaps,
        study=study.number,
        head=study.ledger_head,
        every_base=not own,
        early=early,
    )
