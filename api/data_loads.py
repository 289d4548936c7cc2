"""Files brought in by programs: tried or loaded in one request, loads listed and withdrawn."""

import datetime as dt
from dataclasses import asdict
from typing import Annotated, Any, Final

from fastapi import APIRouter, Depends, Query, Request, Response
from sqlalchemy.orm import Session

from api.access import LetIn, need
from api.loads import (
    SentForm,
    dry_run,
    load_upload,
    opened,
    receive,
    seen_load,
    sees,
    sent_form,
    take_back,
    written_in,
)
from api.records import Key
from api.writes import Answer, write
from db.entry.uploads import drop_upload
from db.errors import RowError, RowsRefusedError
from db.loaded import LoadMade, loads_before
from db.lookup import LAST_NUMBER
from db.session import reading
from db.uploaded import Uploaded, upload_of

router = APIRouter(tags=["loads"])

ON_A_PAGE: Final = 50
FORM: Final[dict[str, Any]] = {
    "requestBody": {
        "required": True,
        "content": {
            "multipart/form-data": {
                "schema": {
                    "type": "object",
                    "required": ["file"],
                    "properties": {
                        "file": {"type": "array", "items": {"type": "string", "format": "binary"}},
                        **{
                            name: {"type": "string"}
                            for name in ("source", "encoding", "separator", "decimal", "days")
                        },
                    },
                }
            }
        },
    }
}
Sent = Annotated[SentForm, Depends(sent_form)]


@router.post("/loads", status_code=201, dependencies=[need("records.load")], openapi_extra=FORM)
def bring_in(
    request: Request,
    person: LetIn,
    sent: Sent,
    key: Key = "",
    dry: Annotated[bool, Query(alias="dry_run", description="check everything, keep nothing")] = False,  # noqa: FBT002 - a word of the address
) -> Response:
    """Bring in files with our own columns, or of a source whose columns were matched before; all or nothing."""
    written = written_in(sent.fields)
    files = opened(sent.files, written)

    def work(session: Session) -> Answer:
        source = sent.fields.get("source", "")
        number = receive(session, person, files, source=source, written=written)
        upload = upload_of(session, person.name, number, now=dt.datetime.now(dt.UTC))
        _check_matched(upload)
        if dry:
            tried = dry_run(session, person, upload)
            drop_upload(session, number)
            return Answer(200, asdict(tried))
        load = load_upload(session, person, upload, way="api")
        return Answer(201, told(seen_load(session, person, load))) if load else Answer(200, {"number": None})

    return write(request, person, key, [sent.fields, sent.asked, dry], work)


@router.get("/loads", dependencies=[need("records.load")])
def loads(
    request: Request, person: LetIn, before: Annotated[int | None, Query(ge=1, le=LAST_NUMBER)] = None
) -> Response:
    """Loads of this person's bases, the latest first; the next page in the Link header."""
    with Session(reading(request.app.state.engine)) as session:
        found = loads_before(session, before, most=ON_A_PAGE)
        listed = [told(made) for made in found if sees(session, person, made)]
    headers = (
        {"Link": f'<{request.url.path}?before={found[-1].number}>; rel="next"'}
        if len(found) == ON_A_PAGE
        else {}
    )
    return Answer(200, {"loads": listed}, headers).response()


@router.delete("/loads/{number}", dependencies=[need("records.load")])
def withdraw(
    request: Request,
    number: int,
    person: LetIn,
    reason: Annotated[str, Query(max_length=2_000)] = "",
    key: Key = "",
) -> Response:
    """Withdraw a load whole, with a reason; refused where later records rest on it."""

    def work(session: Session) -> Answer:
        records = take_back(session, person, number, reason, way="api")
        return Answer(200, {**told(seen_load(session, person, number)), "records": records})

    return write(request, person, key, reason, work)


def told(made: LoadMade) -> dict[str, Any]:
    """A load as JSON has it."""
    return asdict(made)


def _check_matched(upload: Uploaded) -> None:
    if not upload.is_matched or any(not part.kind for part in upload.parts):
        names = [part.title for part in upload.parts if not (part.kind and part.matching)]
        known = (
            f"source {upload.source!r} does not know its columns"
            if upload.source
            else "its columns are not ours"
        )
        raise RowsRefusedError(
            tuple(
                RowError(
                    name, 1, "", name, known, "match them once under Bring in records, or use our own columns"
                )
                for name in names
            )
        )
