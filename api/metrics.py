"""Measurements of the service for Prometheus, an extra: how many requests, how they ended, how long they took."""

import time
from typing import Final

from fastapi import APIRouter, FastAPI, Request, Response
from prometheus_client import CONTENT_TYPE_LATEST, CollectorRegistry, Counter, Histogram, generate_latest
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from api.access import need
from api.logs import NO_ROUTE, pattern_of

router = APIRouter()

SECONDS: Final = (0.01, 0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 5.0, 10.0)


def measure(app: FastAPI) -> None:
    """Have the application measured, and the measurements served to whoever may read them."""
    app.state.measured = CollectorRegistry()
    app.include_router(router, include_in_schema=False)
    app.add_middleware(Measured, registry=app.state.measured)


class Measured:
    """Counts and times each request by route pattern; an address as asked would make a series of each serial."""

    def __init__(self, app: ASGIApp, *, registry: CollectorRegistry) -> None:
        self.app = app
        self.answers = Counter(
            "pinledger_answers",
            "Answers by route and status.",
            ("method", "route", "status"),
            registry=registry,
        )
        self.seconds = Histogram(
            "pinledger_answer_seconds", "Time to answer.", ("route",), buckets=SECONDS, registry=registry
        )

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass on, and measure."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        began, status = time.perf_counter(), 500

        async def send_and_note(message: Message) -> None:
            nonlocal status
            if message["type"] == "http.response.start":
                status = message["status"]
            await send(message)

        try:
            await self.app(scope, receive, send_and_note)
        finally:
            route = pattern_of(scope)
            method = scope["method"] if route != NO_ROUTE else "any"
            self.answers.labels(method, route, str(status)).inc()
            self.seconds.labels(route).observe(time.perf_counter() - began)


@router.get("/metrics", dependencies=[need("service.measure")])
def measurements(request: Request) -> Response:
    """What was measured since the process began, of this process."""
    return Response(generate_latest(request.app.state.measured), media_type=CONTENT_TYPE_LATEST)
