"""Run as a program of its own: a STEP file in, its bodies as glTF out; what falls over takes only this down.

    python step_child.py IN.step OUT.glb CHORD ANGLE SECONDS

Exit status 3: the library is not installed; 4: the file holds nothing that could be meshed.
"""

from __future__ import annotations

import sys
from pathlib import Path

MEMORY = 3 * 1024**3
"""Most bytes of address space that a file may ask for."""


def limit(seconds: int) -> None:
    """Let the system end this process when it takes too long or too much."""
    try:
        import resource
    except ImportError:  # not a POSIX system: the parent's clock alone ends it
        return
    resource.setrlimit(resource.RLIMIT_CPU, (seconds, seconds))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    if sys.platform.startswith("linux"):
        resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))


def main(source: str, target: str, chord: str, angle: str, seconds: str) -> int:
    """Read, mesh, write; returns the exit status."""
    try:
        import cascadio
    except ImportError:
        return 3
    limit(int(seconds))
    try:
        made = cascadio.load(
            Path(source).read_bytes(),
            file_type="step",
            tol_linear=float(chord),
            tol_angular=float(angle),
            use_parallel=False,
        )
    except Exception:  # noqa: BLE001 - whatever it is, the file is at fault and the parent says so
        return 4
    Path(target).write_bytes(made)
    return 0 if made else 4


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
