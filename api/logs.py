"""
One line of JSON a request, with an id that the answer carries too, and no secret and no reading in it.

A line holds the route's pattern, never the address as asked (a one-time link is in it) nor the query, form or body. Of
an error it holds the kind and where it was raised, not its message, which may quote what was entered.
"""

import datetime as dt
import json
import logging
import re
import secrets
import sys
import time
import traceback
from typing import Any, Final

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import Request
from starlette.responses import Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

LOG: Final = logging.getLogger("pinledger")
ID_HEADER: Final = "X-Request-ID"
PROGRAMS: Final = "/api/v1"
NO_ROUTE: Final = "none"
SANE_ID: Final = re.compile(r"[A-Za-z0-9._-]{8,64}")
KEPT: Final = (
    "event",
    "request",
    "method",
    "route",
    "status",
    "seconds",
    "person",
    "subject",
    "address",
    "refused",
    "error",
    "at",
)


class JsonLines(logging.Formatter):
    """A record as one line of JSON; line breaks in a value are escaped, so that no value can forge a line."""

    def format(self, record: logging.LogRecord) -> str:
        """The fields that we name, and the message of other libraries."""
        told: dict[str, Any] = {
            "time": dt.datetime.fromtimestamp(record.created, dt.UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname.lower(),
            "logger": record.name,
        }
        ours = {name: getattr(record, name) for name in KEPT if hasattr(record, name)}
        if not ours:
            ours = {"event": record.getMessage()}
        if record.exc_info and record.exc_info[1] is not None:
            ours |= told_error(record.exc_info[1])
        return json.dumps(told | ours)


def set_up() -> None:
    """Write lines of JSON to standard error; called by the commands that serve."""
    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(JsonLines())
    for name, level in (("pinledger", logging.INFO), ("uvicorn", logging.WARNING)):
        logger = logging.getLogger(name)
        logger.handlers, logger.propagate = [handler], False
        logger.setLevel(level)


def told_error(error: BaseException) -> dict[str, Any]:
    """The kind of an error and where it was raised."""
    frames = traceback.extract_tb(error.__traceback__)
    return {
        "error": type(error).__qualname__,
        "at": [f"{frame.filename.rpartition('/')[2]}:{frame.lineno} {frame.name}" for frame in frames[-8:]],
    }


class Logged:
    """Gives each request its id, logs it, and turns what nobody foresaw into an answer that tells nothing inside."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass on, and log."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        asked = Headers(scope=scope).get(ID_HEADER, "")
        number = asked if SANE_ID.fullmatch(asked) else secrets.token_hex(8)
        scope.setdefault("state", {})
        began, status = time.perf_counter(), 0

        async def send_with_id(message: Message) -> None:
            nonlocal status
            if message["type"] == "http.response.start":
                status = message["status"]
                MutableHeaders(scope=message)[ID_HEADER] = number
            await send(message)

        failed: dict[str, Any] = {}
        try:
            await self.app(scope, receive, send_with_id)
        except Exception as error:  # noqa: BLE001 - the last resort: whatever it is, it is logged and told as a fault
            failed = told_error(error)
            if status == 0:
                await _fault(number)(scope, receive, send_with_id)
        seconds = round(time.perf_counter() - began, 4)
        level = logging.ERROR if failed else logging.INFO
        LOG.log(level, "request", extra=_line(scope, number, status, seconds) | failed)


def pattern_of(scope: Scope) -> str:
    """The pattern of the route that answers; what programs ask is told from the page of the same name."""
    pattern = str(getattr(scope.get("route"), "path_format", NO_ROUTE))
    # The framework tells a router's own pattern, without the place where the router stands.
    inside = pattern != NO_ROUTE and not pattern.startswith(PROGRAMS)
    return f"{PROGRAMS}{pattern}" if inside and scope["path"].startswith(f"{PROGRAMS}/") else pattern


def _fault(number: str) -> Response:
    told = f"Something went wrong that nobody foresaw. Nothing was kept. Tell an administrator: request {number}."
    return Response(told, 500, media_type="text/plain")


def _line(scope: Scope, number: str, status: int, seconds: float) -> dict[str, Any]:
    request, state = Request(scope), scope["state"]
    told = {
        "event": state.get("event", "request"),
        "request": number,
        "method": request.method,
        "route": pattern_of(scope),
        "status": status,
        "seconds": seconds,
        "person": state.get("person", ""),
        "address": request.client.host if request.client else "",
    }
    # Whose access it was about, where it was about somebody's.
    return told | {name: state[name] for name in ("subject", "refused") if name in state}
