"""No request is read beyond what any of ours can be: ten mebibytes of files and a little beside them."""

from typing import Final

from starlette.exceptions import HTTPException
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from db.uploads.limits import MIB, MOST_BYTES

MOST_BODY: Final = MOST_BYTES + MIB


class BodyLimit:
    """Refuses a body that says it is longer, before any of it is read, and one that turns out to be."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass on, counting what is received."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        told = next((value for name, value in scope["headers"] if name == b"content-length"), b"0")
        received = int(told) if told.isdigit() else 0
        too_long = received > MOST_BODY
        received = 0

        async def counted() -> Message:
            nonlocal received
            message = await receive()
            received += len(message.get("body", b""))
            if too_long or received > MOST_BODY:
                raise HTTPException(
                    413,
                    f"the request is longer than {MOST_BODY // MIB} MiB; split it, or bring it in by command line",
                )
            return message

        await self.app(scope, counted, send)
