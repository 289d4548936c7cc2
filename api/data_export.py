"""The whole ledger taken away as files, in one archive: what `pinledger export` writes."""

import contextlib
import tempfile
import threading
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import IO, Annotated, Any, Final

from fastapi import APIRouter, HTTPException, Query, Request
from fastapi.responses import StreamingResponse

from api.access import LetIn, allowed, need
from api.deps import ORIGIN, AskedDay
from api.tables import HEAD_SHOWN
from db.export import export
from db.lookup import known_by
from db.room import written_to
from db.session import Session, reading
from db.studies import hash_at

router = APIRouter(tags=["records"])

ZIP: Final = "application/zip"
TOLD: Final[dict[int | str, dict[str, Any]]] = {
    200: {
        "content": {ZIP: {"schema": {"type": "string", "format": "binary"}}},
        "headers": {
            name: {"description": ORIGIN[name], "schema": {"type": "string"}} for name in list(ORIGIN)[1:]
        },
    }
}
PIECE: Final = 1 << 18
# One at a time in a process: each takes the whole ledger through memory and the disk.
ONE: Final = threading.Lock()


@router.get(
    "/export", dependencies=[need("records.export")], response_class=StreamingResponse, responses=TOLD
)
def whole_ledger(
    request: Request,
    person: LetIn,
    known_on: Annotated[AskedDay, Query(description="as recorded by then")] = None,
) -> StreamingResponse:
    """Every record as CSV in one archive, with its README and digests; briefs for those who may see them."""
    with _alone(), Session(reading(request.app.state.engine)) as session:
        known = known_by(session, known_on)
        head = hash_at(session, known.seq)
        packed = tempfile.TemporaryFile()  # noqa: SIM115 - closed once it is sent; nameless, so that nothing is left of it
        with written_to(Path(tempfile.gettempdir()), "the export"), tempfile.TemporaryDirectory() as folder:
            export(session, Path(folder), known=known, briefs=allowed(person, "money.read"))
            _pack(Path(folder), packed)
    told = {
        "Content-Disposition": f'attachment; filename="pinledger-{known.day}-{head[:HEAD_SHOWN]}.zip"',
        "Content-Length": str(packed.tell()),
        **dict(zip(list(ORIGIN)[1:], (head, known.day.isoformat()), strict=True)),
    }
    return StreamingResponse(_pieces(packed), media_type=ZIP, headers=told)


@contextlib.contextmanager
def _alone() -> Iterator[None]:
    """Refuse a second one rather than let it wait: those who wait would hold up what others ask."""
    if not ONE.acquire(blocking=False):
        raise HTTPException(
            503, "the whole ledger is being taken away by somebody already; ask again in a minute"
        )
    try:
        yield
    finally:
        ONE.release()


def _pack(folder: Path, packed: IO[bytes]) -> None:
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        for file in sorted(folder.iterdir()):
            archive.write(file, file.name)
    packed.seek(0, 2)


def _pieces(packed: IO[bytes]) -> Iterator[bytes]:
    with packed:
        packed.seek(0)
        while piece := packed.read(PIECE):
            yield piece
