"""Headers that hold a browser to what the pages need: nothing inline, nothing from elsewhere, no frame, no device."""

from typing import Final

from starlette.datastructures import MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

DEVICES: Final = (
    "accelerometer", "camera", "display-capture", "geolocation", "gyroscope", "magnetometer", "microphone", "midi",
    "payment", "publickey-credentials-get", "screen-wake-lock", "usb", "xr-spatial-tracking",
)  # fmt: skip
HEADERS: Final = {
    # Nothing inline, nothing from elsewhere: pages and charts are made to work under this.
    "Content-Security-Policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; "
        "worker-src 'self'; object-src 'none'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
    ),
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": ", ".join(f"{device}=()" for device in DEVICES),
}
# One year; only where the service is reached over TLS, as a browser would refuse plain loopback for that long.
TLS_ONLY: Final = {"Strict-Transport-Security": "max-age=31536000; includeSubDomains"}
NOT_KEPT: Final = {"Cache-Control": "no-store"}
# A browser throws kept pages away when somebody signs out; not its storage, where lines not yet sent wait.
SIGNED_OUT: Final = {"Clear-Site-Data": '"cache"'}


class Headers:
    """Adds the headers to every answer, errors included; what a handler set itself stays."""

    def __init__(self, app: ASGIApp, *, tls: bool) -> None:
        self.app = app
        self.always = {**HEADERS, **(TLS_ONLY if tls else {})}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass on, with the headers."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        kept = scope["path"].startswith("/static/")

        async def send_with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in {**self.always, **({} if kept else NOT_KEPT)}.items():
                    headers.setdefault(name, value)
            await send(message)

        await self.app(scope, receive, send_with_headers)
