"""Passwords: kept as Argon2id (RFC 9106), checked a few at a time because each check takes 64 MiB."""

from __future__ import annotations

import threading
from functools import lru_cache
from typing import TYPE_CHECKING, Final

from crashworthy.errors import AccessError, Problem

if TYPE_CHECKING:
    from argon2 import PasswordHasher

__all__ = ["LONGEST", "SHORTEST", "check", "keep"]

SHORTEST: Final = 10
"""Fewest characters; length beats rules about signs (NIST SP 800-63B, 5.1.1.2, from memory)."""

LONGEST: Final = 200
"""Most characters; a bound on the work a stranger can ask for."""

_TURNS: Final = threading.BoundedSemaphore(2)


@lru_cache(maxsize=1)
def _hasher() -> PasswordHasher:
    from argon2 import PasswordHasher  # here: the command line must start without it

    return PasswordHasher()


@lru_cache(maxsize=1)
def _nobody() -> str:
    return _hasher().hash("nobody has this password")


def keep(password: str, name: str = "") -> str:
    """What is stored of a password.

    Raises:
        AccessError: too short, too long, or the name itself.
    """
    if not SHORTEST <= len(password) <= LONGEST:
        what = f"a password has {SHORTEST} to {LONGEST} characters, this one {len(password)}"
        raise AccessError(Problem(what, "take a short sentence that you can remember", field="password"))
    if password.lower() == name.lower():
        raise AccessError(Problem("the password is the name", "take another", field="password"))
    with _TURNS:
        return _hasher().hash(password)


def check(stored: str | None, password: str) -> bool:
    """Whether the password is the stored one; takes as long when there is nobody of that name."""
    from argon2.exceptions import VerificationError

    with _TURNS:
        try:
            _hasher().verify(_nobody() if stored is None else stored, password[: LONGEST + 1])
        except VerificationError:
            return False
    return stored is not None
