"""One thread for linear algebra while a log is analysed.

The matrices here are small (a few dozen rows). A linear algebra library that starts one thread a core for
each of them spends its time waiting: measured on two cores, a quarter more processor time and up to 1.7 times
the time on the clock when something else runs beside it.
"""

from __future__ import annotations

from contextlib import contextmanager
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator

__all__ = ["one_thread"]


@contextmanager
def one_thread() -> Iterator[None]:
    """Let the libraries behind numpy and scipy use one thread; as before afterwards.

    The limit holds for the whole process. When two analyses overlap, the one that ends last may leave it at
    one thread, which costs speed in large linear algebra elsewhere and nothing else.
    """
    from threadpoolctl import threadpool_limits

    with threadpool_limits(1, "blas"):
        yield
