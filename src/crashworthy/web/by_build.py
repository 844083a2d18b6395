"""What lets a picture of a quad be kept: a quad itself cannot be a key, its build can."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from crashworthy.build.quad import Quad

__all__ = ["ByBuild"]


class ByBuild:
    """Carries a quad through a cache; the key is the digest of the build, and what else tells apart."""

    __slots__ = ("key", "quad")

    def __init__(self, quad: Quad, *more: str) -> None:
        self.quad, self.key = quad, (quad.digest, *more)

    def __hash__(self) -> int:
        return hash(self.key)

    def __eq__(self, other: object) -> bool:
        return type(other) is type(self) and isinstance(other, ByBuild) and other.key == self.key
