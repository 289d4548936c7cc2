"""The web application: routers, errors, headers. Every route declares its action, or the application does not start."""

from pathlib import Path
from typing import Final

from fastapi import FastAPI
from fastapi.staticfiles import StaticFiles

from api import (
    access,
    approvals,
    data,
    data_editions,
    data_export,
    data_judged,
    data_loads,
    data_watched,
    ready,
    records,
)
from api.body_limit import BodyLimit
from api.daily_anchor import noting
from api.logs import Logged
from api.pages import (
    account,
    against_facts,
    approval,
    assets,
    assumptions,
    brakes,
    bring_in,
    changeouts,
    claims,
    corrections,
    cost,
    editions,
    entry_quality,
    events,
    held,
    landings,
    model_fit,
    move_brake,
    moves,
    people,
    pins,
    provider,
    readings_due,
    removals,
    retrofit,
    sheet_lines,
    sheets,
    sign_in,
    spares,
    today,
    wear_drivers,
)
from api.refusals import answer_refusals
from api.security import Headers
from api.settings import Settings
from db import schema
from db.session import open_engine

HERE: Final = Path(__file__).parent
PAGES: Final = (
    today,
    entry_quality,
    landings,
    pins,
    events,
    moves,
    move_brake,
    sheet_lines,
    sheets,
    brakes,
    held,
    bring_in,
    corrections,
    changeouts,
    readings_due,
    spares,
    removals,
    wear_drivers,
    cost,
    retrofit,
    editions,
    claims,
    against_facts,
    model_fit,
    assumptions,
    approval,
    people,
    account,
    provider,
    sign_in,
)


def make_app(settings: Settings | None = None) -> FastAPI:
    """The application on one ledger; refused at start if the ledger's schema is not this version's."""
    settings = settings or Settings()
    engine = open_engine(settings.db)
    schema.check(engine)
    app = FastAPI(title="Pinledger", docs_url=None, redoc_url=None, openapi_url=None, lifespan=noting)
    app.state.settings = settings
    app.state.engine = engine
    app.include_router(data.router, prefix="/api/v1")
    app.include_router(records.router, prefix="/api/v1")
    app.include_router(approvals.router, prefix="/api/v1")
    app.include_router(data_judged.router, prefix="/api/v1")
    app.include_router(data_loads.router, prefix="/api/v1")
    app.include_router(data_watched.router, prefix="/api/v1")
    app.include_router(data_editions.router, prefix="/api/v1")
    app.include_router(data_export.router, prefix="/api/v1")
    for page in PAGES:
        app.include_router(page.router, include_in_schema=False)
    app.include_router(assets.router, include_in_schema=False)
    app.include_router(ready.router, include_in_schema=False)
    app.mount("/static", StaticFiles(directory=HERE / "static"))
    answer_refusals(app)
    app.add_middleware(BodyLimit)
    app.add_middleware(Logged)
    if settings.metrics:
        _measure(app)
    app.add_middleware(Headers, tls=settings.secure_cookie)
    access.check_declared(app)
    return app


def _measure(app: FastAPI) -> None:
    from api import metrics  # noqa: PLC0415 - an extra: its library need not be there where nothing is measured

    metrics.measure(app)
