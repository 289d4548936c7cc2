"""The web application: routers, errors, headers. Everything asks for a session unless it is declared open here."""

from http import HTTPStatus
from pathlib import Path
from typing import Final

from fastapi import Depends, FastAPI, Request, Response
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse
from fastapi.staticfiles import StaticFiles
from starlette.exceptions import HTTPException
from starlette.middleware.base import RequestResponseEndpoint

from api import access, data
from api.errors import Problem, problem_of
from api.pages import assets, brakes, changeouts, cost, front, retrofit, spares
from api.pages.frame import error_page
from api.settings import Settings
from db import schema
from db.errors import LedgerError
from db.session import open_engine
from lifecycle.errors import LifecycleError

HERE: Final = Path(__file__).parent
HEADERS: Final = {
    # Nothing inline, nothing from elsewhere: pages and charts are made to work under this.
    "Content-Security-Policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; "
        "form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
    ),
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
}


def make_app(settings: Settings | None = None) -> FastAPI:
    """The application on one ledger; refused at start if the ledger's schema is not this version's."""
    settings = settings or Settings()
    engine = open_engine(settings.db)
    schema.check(engine)
    app = FastAPI(title="Pinledger", docs_url=None, redoc_url=None, openapi_url="/api/v1/openapi.json")
    app.state.settings = settings
    app.state.engine = engine
    closed = [Depends(access.let_in)]
    app.include_router(data.router, prefix="/api/v1", dependencies=closed)
    for page in (front, brakes, changeouts, spares, cost, retrofit):
        app.include_router(page.router, dependencies=closed, include_in_schema=False)
    app.include_router(access.router, include_in_schema=False)
    app.add_api_route("/static/plotly.min.js", assets.plotly_bundle, include_in_schema=False)
    app.mount("/static", StaticFiles(directory=HERE / "static"))
    app.add_api_route("/health", lambda: {"status": "up"}, include_in_schema=False)
    app.middleware("http")(_with_headers)
    for kind in (LedgerError, LifecycleError, access.NotLetInError, RequestValidationError, HTTPException):
        app.add_exception_handler(kind, _refuse)
    return app


async def _with_headers(request: Request, call_next: RequestResponseEndpoint) -> Response:
    answer = await call_next(request)
    for name, value in HEADERS.items():
        answer.headers.setdefault(name, value)
    if not request.url.path.startswith("/static/"):
        answer.headers.setdefault("Cache-Control", "no-store")
    return answer


def _refuse(request: Request, error: Exception) -> Response:
    problem = problem_of(error) or _web_problem(error)
    if request.url.path.startswith("/api/"):
        return JSONResponse(problem.body(), problem.status, media_type="application/problem+json")
    return error_page(request, problem)


def _web_problem(error: Exception) -> Problem:
    if isinstance(error, access.NotLetInError):
        return Problem(
            "Not let in", 401, "no session is open in this browser; use a one-time link from the command line"
        )
    if isinstance(error, RequestValidationError):
        told = "; ".join(f"{'.'.join(map(str, found['loc']))}: {found['msg']}" for found in error.errors())
        return Problem("Wrong request", 422, told)
    if isinstance(error, HTTPException):
        return Problem(HTTPStatus(error.status_code).phrase, error.status_code, str(error.detail))
    raise error
