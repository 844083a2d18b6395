"""A build handed on comes back byte for byte and tells nothing of the journal."""

from __future__ import annotations

import base64
import hashlib
import re
from pathlib import Path

import pytest

from crashworthy.errors import SheetError
from crashworthy.pictures.share import shared_build
from crashworthy.web.viewer import viewer
from crashworthy.workshop import Workshop

ROOT = Path(__file__).parents[2]
SHEET = ROOT / "examples" / "gannet.toml"


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> str:
    """A page of the example with its comments."""
    with Workshop(tmp_path_factory.mktemp("share")) as workshop:
        return workshop.share(str(SHEET), viewer=viewer(), comments=True)


def test_the_sheet_and_its_drawings_come_back_byte_for_byte(page: str, tmp_path: Path) -> None:
    """Another fleet takes the page and holds the very files."""
    text, drawings = shared_build(page.encode())
    assert text == SHEET.read_text(encoding="utf-8")
    assert drawings == {
        n: (ROOT / "examples" / n).read_bytes() for n in ("gannet/bottom.dxf", "gannet/top.dxf")
    }
    with Workshop(tmp_path) as workshop:
        assert workshop.add_shared(page.encode()) == "gannet"
        assert workshop.folder.sheet("gannet").read_bytes() == SHEET.read_bytes()
        assert workshop.quad("gannet").digest == workshop.find(str(SHEET)).digest


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
