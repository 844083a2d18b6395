"""Bodies of STEP files (ISO 10303-21), by name, in mm: read by the extra ``step`` in a process of its own.

The library (cascadio, OpenCASCADE inside) is native code that was not written for files from strangers: it
can fall over, and a small file can keep it busy for hours. So it runs apart, with a limit on time and memory,
and what it hands back is a plain mesh that is checked like any other.
"""

from __future__ import annotations

import io
import subprocess
import sys
import tempfile
import threading
from dataclasses import dataclass
from functools import lru_cache
from importlib.util import find_spec
from pathlib import Path
from typing import Any, Final

import numpy as np

from crashworthy.build.solids import Mesh
from crashworthy.errors import DrawingError, Problem

__all__ = ["INSTALL", "SUFFIXES", "Body", "bodies_of", "installed"]

SUFFIXES: Final = (".step", ".stp")
"""What such files are called."""

INSTALL: Final = 'python -m pip install "crashworthy[step]"'
"""How to get the library, some 100 MB on disk."""

CHORD: Final = 0.01
"""Greatest distance of a chord from its curve, mm: a 5 mm spacer comes out 0.5 % light, a bell 0.1 %."""

ANGLE: Final = 0.3
"""Greatest turn from one chord to the next, rad."""

SECONDS: Final = 60
"""Processor time that a file may take."""

BODIES_MAX: Final = 100
"""More bodies than this is a whole assembly with its screws."""

GLTF_MAX: Final = 100_000_000
"""Most bytes that the library may hand back."""

_AT_ONCE: Final = threading.BoundedSemaphore(2)
"""Two files are read at the same time; the rest wait, so that a server keeps its memory."""


@dataclass(frozen=True, slots=True)
class Body:
    """One solid of a file.

    Attributes:
        name: as the file calls it, made unique by a number when two are called the same.
        mesh: its skin, mm.
    """

    name: str
    mesh: Mesh


def installed() -> bool:
    """Whether the extra ``step`` is there."""
    return find_spec("cascadio") is not None


def _fail(name: str, what: str, remedy: str) -> DrawingError:
    return DrawingError(Problem(what, remedy, file=name))


def bodies_of(raw: bytes, name: str) -> tuple[Body, ...]:
    """Every body of a STEP file, by name; the unit is the file's own (mm, inch, m), converted to mm.

    Args:
        raw: the file.
        name: of the file, for messages.

    Raises:
        DrawingError: the extra is not installed, or the file is none, holds no solid, or takes too long.
    """
    if not raw[:200].lstrip(b"\xef\xbb\xbf \t\r\n").startswith(b"ISO-10303-21"):
        raise _fail(
            name, "this is no STEP file: it does not begin with ISO-10303-21", "export it again as STEP"
        )
    if not installed():
        raise _fail(
            name,
            "reading STEP needs an extra that is not installed (some 100 MB)",
            f"run: {INSTALL}; or export the body as STL in mm, deviation 0.1 mm",
        )
    return _read(raw, name)


@lru_cache(maxsize=4)
def _read(raw: bytes, name: str) -> tuple[Body, ...]:
    """``bodies_of``, remembered: a form that is looked at after every key would else read it each time."""
    with _AT_ONCE, tempfile.TemporaryDirectory(prefix="crashworthy-") as temporary:
        source, target = Path(temporary) / "in.step", Path(temporary) / "out.glb"
        source.write_bytes(raw)
        child = Path(__file__).with_name("step_child.py")
        # -P: the folder of this package must not shadow modules of the same name in the child.
        words = [sys.executable, "-P", child, source, target, CHORD, ANGLE, SECONDS]
        try:
            done = subprocess.run(  # noqa: S603 - our own program, with files of our own naming
                [str(w) for w in words],
                stdin=subprocess.DEVNULL,
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
                timeout=3 * SECONDS,
                check=False,
            )
        except subprocess.TimeoutExpired:
            raise _too_long(name) from None
        if done.returncode == 3:
            raise _fail(name, "the extra that reads STEP cannot be loaded", f"run: {INSTALL}")
        if done.returncode in (-24, -9):  # SIGXCPU, SIGKILL: the limit on processor time
            raise _too_long(name)
        if done.returncode != 0 or not target.is_file():
            raise _fail(
                name,
                "this is not a readable STEP file: nothing in it could be turned into a solid",
                "export it again as STEP AP214 or AP242, or the body as STL in mm",
            )
        size = target.stat().st_size
        if size > GLTF_MAX:
            raise _fail(name, f"its mesh would have {size / 1e6:.0f} MB", "export the one body that is meant")
        made = target.read_bytes()
    return _bodies(made, name)


def _too_long(name: str) -> DrawingError:
    return _fail(
        name,
        f"reading it took more than {SECONDS} s",
        "export the one body that is meant, without threads and lettering, or as STL in mm",
    )


def _bodies(gltf: bytes, name: str) -> tuple[Body, ...]:
    import trimesh

    scene: Any = trimesh.load(io.BytesIO(gltf), file_type="glb", force="scene")
    nodes = sorted(scene.graph.nodes_geometry)
    if len(nodes) > BODIES_MAX:
        what = f"the file holds {len(nodes)} bodies; at most {BODIES_MAX} are read"
        raise _fail(name, what, "export the bodies that are meant")
    found: dict[str, Body] = {}
    for node in nodes:
        turn, key = scene.graph[node]
        skin = scene.geometry[key].copy()
        skin.apply_transform(turn)
        skin.merge_vertices(merge_tex=True, merge_norm=True)
        faces = np.asarray(skin.faces, dtype=np.int32).reshape(-1, 3)
        a, b, c = faces.T
        faces = faces[(a != b) & (b != c) & (c != a)]
        if not len(faces):
            continue
        plain = " ".join("".join(x for x in str(node) if x.isprintable()).split())[:60] or "body"
        called, number = plain, 1
        while called in found:
            number += 1
            called = f"{plain} {number}"
        # glTF is in metres.
        found[called] = Body(called, Mesh(np.asarray(skin.vertices, dtype=np.float64) * 1000.0, faces))
    if not found:
        raise _fail(
            name, "the file holds no solid body", "choose the solid, not a sketch, and export it again"
        )
    return tuple(found.values())
