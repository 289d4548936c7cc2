"""Where style sheets, scripts and the chart library are served, and the library itself from the installed plotly."""

import gzip
import hashlib
import re
from functools import cache
from pathlib import Path
from typing import Annotated, Final, NamedTuple

import plotly
from fastapi import APIRouter, Header, Response

from api.access import ANYBODY, need

router = APIRouter(dependencies=[need(ANYBODY)])

STATIC: Final = Path(__file__).parent.parent / "static"
BUNDLE: Final = Path(plotly.__file__).parent / "package_data" / "plotly.min.js"


class Bundle(NamedTuple):
    """The chart library as it is sent, plain and packed."""

    plain: bytes
    packed: bytes


@cache
def asset_url(name: str) -> str:
    """Where a file is served; its digest in the address lets a browser keep it until it changes."""
    path = BUNDLE if name == BUNDLE.name else STATIC / name
    return f"/static/{name}?v={hashlib.sha256(path.read_bytes()).hexdigest()[:16]}"


@cache
def placeholder_id() -> str:
    """
    Id of the style element that the chart library adds for maps, unless an element of that id is there.

    The content policy refuses inline styles and the browser reports it. We draw no maps: an empty element of that id
    keeps the library from trying.
    """
    found = re.search(rb'document\.getElementById\("([0-9a-f]{64})"\)', BUNDLE.read_bytes())
    return found.group(1).decode() if found else "no-map-styles"


@cache
def _bundle() -> Bundle:
    plain = BUNDLE.read_bytes()
    return Bundle(plain, gzip.compress(plain, mtime=0))


@router.get("/static/plotly.min.js")
def plotly_bundle(accept_encoding: Annotated[str, Header()] = "") -> Response:
    """The chart library, 4.8 MB plain and 1.4 MB packed, kept by browsers for a year."""
    kept = {"Cache-Control": "public, max-age=31536000, immutable", "Vary": "Accept-Encoding"}
    packed = "gzip" in accept_encoding
    if packed:
        kept["Content-Encoding"] = "gzip"
    return Response(
        _bundle().packed if packed else _bundle().plain, media_type="text/javascript", headers=kept
    )
