"""Tokens: random, shown once, kept as digests."""

from __future__ import annotations

import hashlib
import secrets
from typing import NamedTuple

__all__ = ["Token", "digest", "new_id", "new_token"]


class Token(NamedTuple):
    """A new token.

    Attributes:
        secret: what opens; shown once and never stored.
        digest: what is stored of it.
        handle: a name for lists; opens nothing.
    """

    secret: str
    digest: str
    handle: str


def digest(secret: str) -> str:
    """SHA-256 in hexadecimal; enough for a token of 256 random bits."""
    return hashlib.sha256(secret.encode("utf-8", "replace")).hexdigest()


def new_token() -> Token:
    """Make a token of 256 random bits."""
    secret = secrets.token_urlsafe(32)
    return Token(secret, digest(secret), new_id())


def new_id() -> str:
    """A short random name."""
    return secrets.token_hex(8)
