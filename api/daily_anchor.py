"""While the service runs, the chain's head is noted once a day in the file of anchors."""

import asyncio
import logging
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager, suppress
from pathlib import Path
from typing import Final

from fastapi import FastAPI
from fastapi.concurrency import run_in_threadpool
from sqlalchemy import Engine

from api.logs import told_error
from db.anchors import note_today
from db.session import Session, reading

LOG: Final = logging.getLogger("pinledger")
# A try finds the day's line there and does nothing; so often, because the day may begin at any moment.
EVERY_SECONDS: Final = 600


@asynccontextmanager
async def noting(app: FastAPI) -> AsyncIterator[None]:
    """Note the head as long as the application runs, where the settings name a place for it."""
    place = app.state.settings.anchors
    task = asyncio.create_task(_daily(app.state.engine, Path(place))) if place else None
    yield
    if task is not None:
        task.cancel()
        with suppress(asyncio.CancelledError):
            await task


def note(engine: Engine, place: Path) -> None:
    """Note where the chain stands today."""
    with Session(reading(engine)) as session:
        note_today(session, place)


async def _daily(engine: Engine, place: Path) -> None:
    while True:
        try:
            await run_in_threadpool(note, engine, place)
        except Exception as error:  # noqa: BLE001 - whatever keeps it from being noted, the service goes on and says so
            LOG.error("anchor", extra={"event": "no anchor noted"} | told_error(error))  # noqa: TRY400 - told as all errors are
        await asyncio.sleep(EVERY_SECONDS)
