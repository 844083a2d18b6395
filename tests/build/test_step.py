"""STEP bodies: names, unit and mass as closed forms say; the way to the extra; bombs end in words."""

from __future__ import annotations

import math
import sys
from typing import TYPE_CHECKING

import numpy as np
import pytest

from crashworthy.build import step
from crashworthy.build.assemble import assemble, parse
from crashworthy.build.mass import solid
from crashworthy.build.models import closed, read_mesh
from crashworthy.errors import DrawingError
from crashworthy.evidence.step_text import StepText

if TYPE_CHECKING:
    from pathlib import Path

HEAD = 'schema = 1\nname = "Tern"\narms = { wheelbase = 226 }\n'
TWO = StepText(author="Somebody").box("GPS mount", (1, 2, 3), (10, 20, 30)).cylinder("Spacer", 2.5, 30.0)

needs_extra = pytest.mark.skipif(not step.installed(), reason="the extra step is not installed")


@needs_extra
def test_bodies_come_with_name_unit_and_mass() -> None:
    """A box is exact, a cylinder within its chords; the same numbers in inch are 25.4 times as long."""
    for inch, unit in ((False, 1.0), (True, 25.4)):
        text = StepText(inch=inch).box("GPS mount", (1, 2, 3), (1, 2, 3)).cylinder("Spacer", 0.2, 1.0)
        box, rod = step.bodies_of(text.text().encode(), "x.step")
        assert (box.name, rod.name) == ("GPS mount", "Spacer")
        assert closed(box.mesh.faces)
        assert closed(rod.mesh.faces)
        whole = solid(box.mesh.vertices, box.mesh.faces)
        assert whole.volume == pytest.approx(6.0 * unit**3, rel=1e-6)
        assert whole.centroid == pytest.approx(np.array([1.5, 3.0, 4.5]) * unit, rel=1e-6)
        inertia = whole.of_mass(1.0).inertia
        assert inertia[0, 0] == pytest.approx((4.0 + 9.0) / 12 * unit**2, rel=1e-6)
        exact = math.pi * 0.04 * unit**3
        volume = solid(rod.mesh.vertices, rod.mesh.faces).volume
        assert 1.0 - 2 * step.CHORD / (0.2 * unit) - 0.01 < volume / exact < 1.0


@needs_extra
def test_one_body_or_all_of_them_become_a_part(tmp_path: Path) -> None:
    """Without ``body`` all are one part; with it that one; a wrong name lists those there are."""
    (tmp_path / "a.step").write_text(TWO.text(), encoding="utf-8")
    rows = '[imports]\nall = { file = "a.step" }\n'
    rows += 'mount = { file = "a.step", body = "GPS mount", material = "pc" }\n'
    quad = assemble(parse(HEAD + rows, tmp_path), tmp_path)
    assert quad.part("mount").mass == pytest.approx(6000e-9 * 1200.0, rel=1e-6)
    assert quad.part("all").mass == pytest.approx((6000 + math.pi * 6.25 * 30) * 1e-9 * 1210.0, rel=0.002)
    with pytest.raises(DrawingError, match="'GPS mount', 'Spacer'"):
        read_mesh(tmp_path / "a.step", "lid")
    (tmp_path / "b.obj").write_text("v 0 0 0\n")
    with pytest.raises(DrawingError, match="only a STEP file"):
        read_mesh(tmp_path / "b.obj", "lid")


@needs_extra
@pytest.mark.parametrize(
    "raw",
    [
        b"ISO-10303-21;\nnonsense",
        TWO.text().encode()[:3000],
        TWO.text().replace("MANIFOLD_SOLID_BREP", "MANIFOLD_SOLID_BREQ").encode(),
        TWO.text().replace("CARTESIAN_POINT", "CARTESIAN_PXINT").encode(),
        b"ISO-10303-21;\n" + bytes(range(256)) * 40,
    ],
    ids=["nonsense", "cut off", "no solid", "no points", "binary"],
)
def test_a_damaged_file_is_refused_in_words(raw: bytes) -> None:
    """Whatever is wrong with it, the file is named and what to do is told; this process stands."""
    with pytest.raises(DrawingError) as caught:
        step.bodies_of(raw, "x.step")
    assert caught.value.problems[0].file == "x.step"
    assert caught.value.problems[0].remedy


def test_without_the_extra_the_way_to_it_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    """What to install, and what to do without."""
    monkeypatch.setattr(step, "find_spec", lambda _: None)
    with pytest.raises(DrawingError) as caught:
        step.bodies_of(TWO.text().encode(), "x.step")
    assert 'pip install "crashworthy[step]"' in caught.value.problems[0].remedy
    assert "STL" in caught.value.problems[0].remedy
    with pytest.raises(DrawingError, match="no STEP file"):
        step.bodies_of(b"solid x", "x.step")


@pytest.mark.parametrize(
    ("program", "words"),
    [
        ("while True: pass", "took more than 1 s"),
        ("import os, signal; os.kill(os.getpid(), signal.SIGSEGV)", "not a readable STEP file"),
        ("open(__import__('sys').argv[2], 'wb').truncate(200_000_000)", "its mesh would have 200 MB"),
    ],
    ids=["endless", "falls over", "floods"],
)
@pytest.mark.skipif(sys.platform == "win32", reason="limits and signals of POSIX")
def test_a_reader_that_hangs_or_falls_over_is_told(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, program: str, words: str
) -> None:
    """The process apart may hang, crash or write without end; here it is one message."""
    child = tmp_path / "step_child.py"
    child.write_text(f"import resource\nresource.setrlimit(resource.RLIMIT_CPU, (1, 1))\n{program}\n")
    monkeypatch.setattr(step, "__file__", str(tmp_path / "step.py"))
    monkeypatch.setattr(step, "installed", lambda: True)
    monkeypatch.setattr(step, "SECONDS", 1)
    with pytest.raises(DrawingError, match=words):
        step.bodies_of(b"ISO-10303-21;\n" + program.encode(), "x.step")
