"""Requests that change something must come from our own pages: by Origin or Sec-Fetch-Site, and by the form's token."""

import hmac
from collections.abc import Mapping
from typing import Final
from urllib.parse import urlsplit

from fastapi import Request
from markupsafe import Markup

from api.caller import caller

FIELD: Final = "form_token"
HEADER: Final = "X-Form-Token"
UNSAFE: Final = frozenset({"POST", "PUT", "PATCH", "DELETE"})
FORMS: Final = ("application/x-www-form-urlencoded", "multipart/form-data")


def form_token() -> Markup:
    """The hidden field that each form of a page carries."""
    return Markup('<input type="hidden" name="{}" value="{}">').format(FIELD, caller().form_token)


class ForeignFormError(Exception):
    """A request that would change something and does not come from a page of ours."""


async def fields_of(request: Request) -> Mapping[str, object]:
    """The fields of a form as sent; none for any other body. The framework reads the form once and keeps it."""
    kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    return await request.form() if kind in FORMS else {}


def check_origin(request: Request) -> None:
    """Refuse another site's request, and one that does not say where it comes from."""
    site, origin = request.headers.get("sec-fetch-site"), request.headers.get("origin")
    if site is not None and site != "same-origin":
        raise ForeignFormError(
            f"this form was sent from another place ({site}); open the page here and send it again"
        )
    if origin is not None and urlsplit(origin).netloc != request.headers.get("host"):
        raise ForeignFormError(f"this form was sent from {origin}; open the page here and send it again")
    if site is None and origin is None:
        raise ForeignFormError(
            "this browser does not say where the form comes from (neither Origin nor Sec-Fetch-Site); "
            "use a present-day browser, or an API token"
        )


def check_token(request: Request, fields: Mapping[str, object], wanted: str) -> None:
    """Refuse a form without the token of this session, in the form or in a header."""
    found = request.headers.get(HEADER) or fields.get(FIELD) or ""
    if not isinstance(found, str) or not hmac.compare_digest(found.encode(), wanted.encode()):
        raise ForeignFormError(
            "this form does not carry the token of your session; open the page again, then send it again"
        )
