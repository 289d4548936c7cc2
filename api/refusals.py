"""What was refused, as an answer: a problem in JSON for programs, a page for people."""

from http import HTTPStatus
from typing import Any, Final

from fastapi import FastAPI, Request, Response
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse, RedirectResponse
from sqlalchemy.exc import DBAPIError
from sqlalchemy.exc import TimeoutError as NoConnectionLeftError
from starlette.exceptions import HTTPException

from api.access import BaseWantedError, NotAllowedError, OutsideBaseError
from api.callers import NotLetInError
from api.errors import Problem, problem_of
from api.form_guard import ForeignFormError
from api.pages.frame import error_page
from api.pages.sign_in import sign_in_answer
from db.errors import LedgerError
from db.files import ENTERED
from lifecycle.errors import LifecycleError

# The same words for what is not there and for what is outside a person's bases.
NOT_THERE: Final = Problem(
    "Not found", 404, "there is nothing of that kind here for you; check the address and the base"
)
KINDS: Final = (
    LedgerError,
    LifecycleError,
    NotLetInError,
    NotAllowedError,
    OutsideBaseError,
    BaseWantedError,
    ForeignFormError,
    RequestValidationError,
    HTTPException,
    DBAPIError,
    NoConnectionLeftError,
)
AGAIN_IN_SECONDS: Final = "10"
PROGRAMS: Final = "/api/v1/"
NO_ROUTE: Final = HTTPStatus.NOT_FOUND.phrase  # the words of the framework where no route fits
# What pydantic says of a number, in our words.
NUMBERS: Final = {
    "int_parsing": "a whole number",
    "int_from_float": "a whole number",
    "float_parsing": "a number",
}


def answer_refusals(app: FastAPI) -> None:
    """Have each kind of refusal answered here."""
    for kind in KINDS:
        app.add_exception_handler(kind, refuse)


def refuse(request: Request, error: Exception) -> Response:
    """The answer to a refused request."""
    request.state.refused = type(error).__name__
    program = request.url.path.startswith(("/api/", "/metrics"))
    if isinstance(error, BaseWantedError) and not program:
        return RedirectResponse(error.address, status_code=303)
    if isinstance(error, NotLetInError) and not program:
        return sign_in_answer(request, status=401)
    problem = problem_of(error) or _no_address(request, error) or _web_problem(error)
    if program:
        answer: Response = JSONResponse(problem.body(), problem.status, media_type="application/problem+json")
    else:
        answer = error_page(request, problem)
    if program and problem.status == 401:
        answer.headers["WWW-Authenticate"] = "Bearer"
    if problem.status in (429, 503):
        answer.headers["Retry-After"] = AGAIN_IN_SECONDS
    return answer


def _no_address(request: Request, error: Exception) -> Problem | None:
    """An address that nothing answers, told with where to look."""
    if not isinstance(error, HTTPException) or error.status_code != 404 or error.detail != NO_ROUTE:
        return None
    path = request.url.path
    if not path.startswith(PROGRAMS):
        return Problem(
            "Not found", 404, f"no page has the address {path}; begin at Today and choose from the menu"
        )
    kinds = ", ".join(kind.replace("_", "-") for kind in ENTERED)
    return Problem(
        "Not found",
        404,
        f"nothing answers at {path}; kinds of record are {kinds}; {PROGRAMS}openapi.json lists all",
    )


def _web_problem(error: Exception) -> Problem:
    if isinstance(error, NotLetInError):
        return Problem(
            "Not let in",
            401,
            "nobody is known by this request; send a token that has not expired, or sign in",
        )
    if isinstance(error, (OutsideBaseError, BaseWantedError)):
        return NOT_THERE
    if isinstance(error, (NotAllowedError, ForeignFormError)):
        return Problem("Not allowed", 403, str(error))
    if isinstance(error, RequestValidationError):
        return Problem("Wrong request", 422, "; ".join(map(_wrong_field, error.errors())))
    if isinstance(error, HTTPException):
        return Problem(HTTPStatus(error.status_code).phrase, error.status_code, str(error.detail))
    raise error


def _wrong_field(found: dict[str, Any]) -> str:
    """Which field, what was found in it, and what is wanted."""
    if found["type"] == "json_invalid":
        return f"the JSON ends or breaks after character {found['loc'][-1]}: {found['ctx']['error']}; send one object"
    if found["type"] in NUMBERS:
        return f"{found['loc'][-1]} is {found['input']!r}: wanted {NUMBERS[found['type']]}"
    message = str(found["msg"]).removeprefix("Value error, ").replace("Input should be", "wanted", 1)
    value = "" if found["type"] == "missing" or repr(found["input"]) in message else f" is {found['input']!r}"
    return f"{found['loc'][-1]}{value}: {message}"
