"""Random numbers by name: the same crash of two builds meets the same obstacle in the same attitude.

Philox4x32-10 (Salmon, Moraes, Dror and Shaw, SC11, 2011) is a function of counter and key, so a draw depends
on
seed, crash and dimension only: not on chunk, thread, order, or on what else was drawn (common random
numbers).
"""

from __future__ import annotations

import zlib
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

__all__ = ["Draws", "philox"]

_M0, _M1 = np.uint64(0xD2511F53), np.uint64(0xCD9E8D57)
_W0, _W1 = 0x9E3779B9, 0xBB67AE85
_LOW = np.uint64(0xFFFFFFFF)
_HALF = np.uint64(32)


def philox(counter: NDArray[np.uint32], key: tuple[int, int]) -> NDArray[np.uint32]:
    """Ten rounds of Philox4x32.

    Args:
        counter: (4, n).
        key: two 32-bit numbers.

    Returns:
        (4, n) random 32-bit words.
    """
    c0, c1, c2, c3 = (row.astype(np.uint64) for row in counter)
    k0, k1 = key
    for _ in range(10):
        p0, p1 = c0 * _M0, c2 * _M1
        c0, c1, c2, c3 = (
            (p1 >> _HALF) ^ c1 ^ np.uint64(k0),
            p1 & _LOW,
            (p0 >> _HALF) ^ c3 ^ np.uint64(k1),
            p0 & _LOW,
        )
        k0, k1 = (k0 + _W0) & 0xFFFFFFFF, (k1 + _W1) & 0xFFFFFFFF
    return np.stack([c0, c1, c2, c3]).astype(np.uint32)


class Draws:
    """Named streams for some crashes of a campaign."""

    def __init__(self, seed: int, crashes: NDArray[np.int64]) -> None:
        """Take the campaign's seed (0 <= seed < 2**64) and the global numbers of the crashes."""
        self._key = (seed & 0xFFFFFFFF, (seed >> 32) & 0xFFFFFFFF)
        self._low = (crashes & 0xFFFFFFFF).astype(np.uint32)
        self._high = (crashes >> 32).astype(np.uint32)

    def uniform(self, dimension: str) -> NDArray[np.float64]:
        """One number in (0, 1) for each crash, from the stream called ``dimension``."""
        return self._pair(dimension)[0]

    def normal(self, dimension: str) -> NDArray[np.float64]:
        """One standard normal number for each crash (Box and Muller, 1958)."""
        u, v = self._pair(dimension)
        z: NDArray[np.float64] = np.sqrt(-2.0 * np.log(u)) * np.cos(2.0 * np.pi * v)
        return z

    def _pair(self, dimension: str) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        name = np.uint32(zlib.crc32(dimension.encode()))
        counter = np.stack([np.zeros_like(self._low), np.full_like(self._low, name), self._low, self._high])
        a, b, c, d = philox(counter, self._key).astype(np.uint64)
        return self._double(a, b), self._double(c, d)

    @staticmethod
    def _double(high: NDArray[np.uint64], low: NDArray[np.uint64]) -> NDArray[np.float64]:
        whole = (high >> np.uint64(5)) * np.uint64(1 << 26) + (low >> np.uint64(6))
        return (whole.astype(np.float64) + 0.5) * 2.0**-53
