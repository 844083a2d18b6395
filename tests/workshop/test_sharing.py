"""A build handed on comes back as the same quad and tells nothing of the journal or of who drew it."""

from __future__ import annotations

import base64
import hashlib
import re
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest

from crashworthy.build.reading import parse
from crashworthy.errors import SheetError
from crashworthy.pictures.share import shared_build
from crashworthy.web.viewer import viewer
from crashworthy.workshop import Workshop

if TYPE_CHECKING:
    from crashworthy.build.quad import Quad

ROOT = Path(__file__).parents[2]
SHEET = ROOT / "examples" / "gannet.toml"


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> str:
    """A page of the example with its comments."""
    with Workshop(tmp_path_factory.mktemp("share")) as workshop:
        return workshop.share(str(SHEET), viewer=viewer(), comments=True)


def test_the_sheet_comes_back_byte_for_byte_and_the_quad_with_it(page: str, tmp_path: Path) -> None:
    """Another fleet takes the page and holds the very sheet, and a quad of the same parts."""
    text, drawings = shared_build(page.encode())
    assert text == SHEET.read_text(encoding="utf-8")
    assert set(drawings) == {"gannet/bottom.dxf", "gannet/top.dxf"}
    with Workshop(tmp_path) as workshop:
        assert workshop.add_shared(page.encode()) == "gannet"
        assert workshop.folder.sheet("gannet").read_bytes() == SHEET.read_bytes()
        assert_same(workshop.quad("gannet"), workshop.find(str(SHEET)))


def assert_same(one: Quad, other: Quad) -> None:
    """Part by part: name, mass, centre, inertia, extent."""
    assert [p.name for p in one.parts] == [p.name for p in other.parts]
    for a, b in zip(one.parts, other.parts, strict=True):
        assert a.mass == pytest.approx(b.mass, rel=1e-6), a.name
        assert np.allclose(a.centre, b.centre, atol=1e-9), a.name
        assert np.allclose(a.inertia, b.inertia, rtol=1e-5, atol=1e-15), a.name
        if len(a.vertices):
            assert np.allclose(np.ptp(a.vertices, axis=0), np.ptp(b.vertices, axis=0), atol=1e-8), a.name


DRAWN_BY = "Robin Alder"
"""What somebody's drawing programs wrote into their files."""


def own_build(folder: Path) -> Path:
    """An invented build with a DXF in inch, an STL, an OBJ, a 3MF and, with the extra, a STEP, all signed."""
    import ezdxf
    import trimesh

    from crashworthy.build.step import installed
    from crashworthy.evidence.step_text import StepText

    document = ezdxf.new("R2010", units=1)  # type: ignore[attr-defined] # exported at run time only
    document.header["$LASTSAVEDBY"] = DRAWN_BY
    document.header["$PROJECTNAME"] = f"/home/{DRAWN_BY}/quads"
    space = document.modelspace()
    space.add_lwpolyline([(-2, -1), (2, -1), (2, 1), (-2, 1)], close=True, dxfattribs={"layer": "cut"})
    space.add_circle((0, 0), 0.5, dxfattribs={"layer": "cut"})
    space.add_text(DRAWN_BY, dxfattribs={"layer": "notes"})
    document.saveas(folder / "plate.dxf")
    cap = trimesh.creation.box((20, 10, 5))
    cap.apply_translation((0, 0, 80))
    raw = bytes(cap.export(file_type="stl"))
    (folder / "cap.stl").write_bytes(DRAWN_BY.encode().ljust(80, b"\0") + raw[80:])
    (folder / "ball.obj").write_text(f"# {DRAWN_BY}\no {DRAWN_BY}\n" + cap.export(file_type="obj"))
    cap.metadata["name"] = DRAWN_BY
    cap.export(folder / "box.3mf")
    rows = 'cap = { file = "cap.stl" }\nball = { file = "ball.obj", at = [0, 0, 10] }\n'
    rows += 'box = { file = "box.3mf", at = [0, 0, 20] }\n'
    if installed():
        step = StepText(inch=True, author=DRAWN_BY).box("GPS mount", (0, 0, 5), (1, 0.5, 0.25))
        words = step.text().replace(
            "DATA;",
            f"DATA;\n/* {DRAWN_BY} */\n#9001=PERSON('1','{DRAWN_BY}','',$,$,$);"
            f"\n#9002=DRAUGHTING_PRE_DEFINED_COLOUR('{DRAWN_BY}');",
            1,
        )
        words = words.replace("PRODUCT('GPS mount',", f"PRODUCT('C:\\\\{DRAWN_BY}\\\\gps.prt',")
        bare = "PRODUCT_DEFINITION_FORMATION('','',"
        assert bare in words
        words = words.replace(bare, f"PRODUCT_DEFINITION_FORMATION('3','as {DRAWN_BY} wanted it',")
        (folder / "parts.step").write_text(words)
        rows += 'gps = { file = "parts.step", body = "GPS mount", at = [0, 0, 30] }\n'
    text = 'schema = 1\nname = "Petrel"\narms = { wheelbase = 226 }\n[plates]\n'
    text += 'bottom = { dxf = "plate.dxf", layer = "cut", t = 2, z = -2 }\n[imports]\n' + rows
    sheet = folder / "petrel.toml"
    sheet.write_text(f"# of {DRAWN_BY}\n{text}", encoding="utf-8")
    return sheet


def test_a_build_with_every_kind_of_file_comes_back_and_tells_nothing_of_who_drew_it(tmp_path: Path) -> None:
    """DXF, STL, OBJ, 3MF and STEP: the same quad at the other end, no name or remark in any file."""
    sheet = own_build(tmp_path)
    with Workshop(tmp_path / "one") as one, Workshop(tmp_path / "two") as two:
        page = one.share(str(sheet)).encode()
        text, drawings = shared_build(page)
        assert len(drawings) >= 4
        for name, data in {"page": page, "sheet": text.encode(), **drawings}.items():
            for word in (DRAWN_BY, "Robin", "Alder", "/home/", str(tmp_path)):
                assert word.encode() not in data, name
                assert word.encode("utf-16-le") not in data, name
        slug = two.add_shared(page)
        assert_same(two.quad(slug), one.find(str(sheet)))
        assert parse(two.sheet(slug).text) == one.find(str(sheet)).sheet
        again = two.add_shared(page, "Petrel the second")
        assert two.quad(again).mass == pytest.approx(two.quad(slug).mass)


def test_nothing_of_the_journal_is_in_it(fleet_folder: Path) -> None:
    """No entry, device, pilot, place or folder of a fleet with a long journal stands in a page of it."""
    from crashworthy.upkeep.payloads import Note

    with Workshop(fleet_folder) as workshop:
        workshop.store.record("gannet", Note("behind the mill at Alder Weir"))
        shared = workshop.share("gannet")
        events = list(workshop.store.events("gannet"))
        words = {str(e.device) for e in events} | {str(e.id) for e in events} | {"Alder Weir"}
        held = shared + shared_build(shared.encode())[0]
        assert len(events) > 20
        assert [w for w in words if len(w) > 5 and w in held] == []
        assert str(fleet_folder) not in held


def test_comments_stay_behind_unless_asked_for(page: str, tmp_path: Path) -> None:
    """Without the wish the sheet has its values and no comment."""
    with Workshop(tmp_path) as workshop:
        bare = workshop.share(str(SHEET))
    assert "invented 5-inch" not in bare
    assert "#" not in re.sub(r'"[^"]*"', "", shared_build(bare.encode())[0])
    assert "invented 5-inch" in page


def test_the_page_needs_nothing_from_outside(page: str) -> None:
    """Its policy allows only its own script and styles by digest, and it refers to nothing else."""
    policy = re.search(r'http-equiv="Content-Security-Policy" content="([^"]*)"', page)[1].replace(
        "&#39;", "'"
    )
    assert policy.startswith("default-src 'none'")
    script = re.search(r'<script type="module">(.*?)</script>', page, re.DOTALL)[1]
    styles = re.findall(r"<style>(.*?)</style>", page, re.DOTALL)
    for text in (script, *styles):
        digest = base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
        assert f"'sha256-{digest}'" in policy
    body = page.replace(script, "")
    assert re.findall(r'(?:src|href)="(?!data:|#)', body) == []
    assert " style=" not in body
    assert " on" + "click" not in body
    assert len(page) < 1_500_000


@pytest.mark.parametrize("text", ["", "<html></html>", "nothing"])
def test_a_page_without_a_build_is_refused(text: str) -> None:
    """What holds no build says so."""
    with pytest.raises(SheetError, match="holds no build"):
        shared_build(text.encode())


def test_a_damaged_page_is_refused(page: str) -> None:
    """Half a build is none."""
    torn = re.sub(r'("drawings": \{"[^"]*": ")', r"\1*", page)
    with pytest.raises(SheetError, match="damaged"):
        shared_build(torn.encode())


def test_a_different_drawing_of_another_quad_is_not_overwritten(page: str, tmp_path: Path) -> None:
    """A drawing of the same name with other content stays as it is."""
    with Workshop(tmp_path) as workshop:
        (tmp_path / "sheets" / "gannet").mkdir()
        (tmp_path / "sheets" / "gannet" / "top.dxf").write_bytes(b"mine")
        with pytest.raises(SheetError, match="different drawing"):
            workshop.add_shared(page.encode())
