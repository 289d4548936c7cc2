"""
The one way a write comes in by the web: who, its key, one transaction, and the answer that a retry gets again.

A form carries its key in a hidden field (`write_key()` in its template), JSON in the header Idempotency-Key.
"""

import datetime as dt
import hashlib
import json
import uuid
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, Final

from fastapi import HTTPException, Request, Response
from fastapi.responses import JSONResponse, RedirectResponse
from markupsafe import Markup
from sqlalchemy.orm import Session

from api.form_guard import FIELD as FORM_TOKEN
from db.keys import Answered, keep_answer, take_key
from db.sessions import LetIn

KEY_FIELD: Final = "write_key"
KEY_HEADER: Final = "Idempotency-Key"


@dataclass(frozen=True)
class Answer:
    """What a write is answered with: JSON for programs, for forms the address to go on to (`to`)."""

    status: int
    body: Mapping[str, Any] = field(default_factory=dict)
    headers: Mapping[str, str] = field(default_factory=dict)
    to: str = ""

    def response(self) -> Response:
        """The answer as it is sent."""
        if self.to:
            return RedirectResponse(self.to, status_code=303)
        return JSONResponse(dict(self.body), self.status, dict(self.headers))


def write(
    request: Request, person: LetIn, key: str, asked: object, work: Callable[[Session], Answer]
) -> Response:
    """
    Do the work in one transaction, once for each key; a refusal keeps nothing, the key included.

    `asked` is all that was asked beside the address: the same key with something else is refused.
    """
    if not key:
        raise HTTPException(
            400, f"this write has no key; send {KEY_HEADER}: a UUID of your own (forms carry {KEY_FIELD})"
        )
    told = json.dumps([request.method, request.url.path, asked], sort_keys=True, default=str)
    digest = hashlib.sha256(told.encode()).hexdigest()
    with Session(request.app.state.engine) as session:
        now = dt.datetime.now(dt.UTC)
        before = take_key(session, person.name, key, asked=digest, now=now)
        if before is not None:
            return _opened(before).response()
        answer = work(session)
        keep_answer(session, person.name, key, _packed(answer))
        session.commit()
    return answer.response()


async def form_of(request: Request) -> dict[str, str]:
    """The fields of a form as typed, a dependency; the first of each name counts."""
    sent = await request.form()
    return {name: value for name, value in sent.items() if isinstance(value, str)}


def asked_in(form: Mapping[str, str]) -> dict[str, str]:
    """What a form asks: its fields but for its key and the session's token."""
    return {name: text for name, text in form.items() if name not in (KEY_FIELD, FORM_TOKEN)}


def write_key() -> Markup:
    """The hidden field with a key of its own that each form carries."""
    return Markup('<input type="hidden" name="{}" value="{}">').format(KEY_FIELD, uuid.uuid4())


def today() -> dt.date:
    """The day on which something is written down."""
    return dt.datetime.now(dt.UTC).date()


def _packed(answer: Answer) -> Answered:
    told = {"body": answer.body, "headers": answer.headers, "to": answer.to}
    return Answered(answer.status, json.dumps(told).encode())


def _opened(kept: Answered) -> Answer:
    return Answer(kept.status, **json.loads(kept.answer))
