"""Secrets of ours: made by the system's generator, kept as digests, and times as text."""

import datetime as dt
import hashlib
import secrets


def new_secret() -> str:
    """256 bits, fit for an address or a header."""
    return secrets.token_urlsafe(32)


def digest_of(secret: str) -> str:
    """SHA-256: enough for a secret of 256 bits, which nobody can guess their way to."""
    return hashlib.sha256(secret.encode()).hexdigest()


def time_text(now: dt.datetime) -> str:
    """UTC with seconds: the same characters on both databases, and they sort as the times do."""
    return now.astimezone(dt.UTC).isoformat(timespec="seconds")


def listed(text: str) -> tuple[str, ...]:
    """Words of a kept list."""
    return tuple(filter(None, text.split(";")))
