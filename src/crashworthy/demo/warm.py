"""Compile the crash kernel ahead of its first use, in a process of its own.

The first campaign after an install compiles the kernel, which keeps one core busy for about half a minute.
The demo starts this program first and does its other steps on the other core meanwhile; the compiled code is
found on disk when the campaign comes. If it fails, the campaign compiles for itself.

    python -m crashworthy.demo.warm
"""

from __future__ import annotations

import subprocess
import sys

__all__ = ["begin", "compile_kernel"]


def begin() -> subprocess.Popen[bytes]:
    """Start compiling in the background; wait for the process before the first campaign."""
    command = [sys.executable, "-m", "crashworthy.demo.warm"]
    return subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)  # noqa: S603 - our own


def compile_kernel() -> None:
    """Crash the first example build a few times, which compiles everything a campaign needs."""
    from crashworthy.build.assemble import load
    from crashworthy.demo.setup import sheets
    from crashworthy.impact.campaign import simulate

    simulate(load(sheets()[0]), 16, seed=1)


if __name__ == "__main__":
    compile_kernel()
