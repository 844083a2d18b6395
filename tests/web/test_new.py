"""A new quad in the browser: questions, the growing model, drop, calibration, the page to share."""

from __future__ import annotations

from pathlib import Path
from urllib.parse import quote

import pytest

ROOT = Path(__file__).parents[2]


def test_the_page_shows_what_the_answers_give(client) -> None:
    """Address in, mass, assumptions and sheet out; a wrong answer is told and the rest still counts."""
    page = client.get("/new?name=Wren&wheelbase=22&pack_mass=205").text
    assert "cannot be the answer" in page
    assert "2 of 30 values given" in page
    assert "mass = 205" in page
    assert "Motors: mass of one with wires" in page


def test_the_model_grows_with_the_answers(client) -> None:
    """Another answer gives another model; an impossible file gives none."""
    small, large = (client.get(f"/new/model.glb?wheelbase={w}") for w in (180, 260))
    assert small.content[:4] == b"glTF"
    assert small.content != large.content
    assert client.get("/new/model.glb?file=part/gone.stl").status_code == 422


def test_a_described_quad_goes_into_the_fleet_with_its_drawing(client, shop) -> None:
    """A DXF dropped becomes the plate of the quad that is then taken in."""
    dxf = (ROOT / "examples" / "gannet" / "bottom.dxf").read_bytes()
    back = quote("name=Stilt&weighed=690")
    kept = client.post(f"/new/drop?back={back}", files={"file": ("plate.dxf", dxf)})
    assert kept.status_code == 303
    assert kept.headers["location"] == "/new?name=Stilt&weighed=690&file=bottom%2Fplate.dxf"
    made = client.post("/new", data={"name": "Stilt", "weighed": "690", "file": "bottom/plate.dxf"})
    assert made.headers["location"] == "/quads/stilt/build"
    quad = shop.quad("stilt")
    assert quad.sheet.plates["bottom"].dxf == "stilt/plate.dxf"
    assert quad.mass == pytest.approx(0.69, abs=1e-4)
    again = client.post("/new", data={"name": "Stilt"})
    assert again.status_code == 400
    assert "give it another name" in again.text


def test_a_pull_is_written_into_the_sheet_and_shown(client, shop) -> None:
    """Before and after stand side by side, and a pull without its way is refused with what was typed."""
    text = 'schema = 1\nname = "Plover"\narms = { wheelbase = 220 } # mine\n'
    slug = shop.add_quad(text)
    half = client.post(f"/quads/{slug}/build/calibrate", data={"pull_up_n": "9.81"})
    assert half.status_code == 400
    assert 'value="9.81"' in half.text
    done = client.post(f"/quads/{slug}/build/calibrate", data={"pull_up_n": "9,81", "pull_up_mm": "0.7"})
    assert done.status_code == 303
    page = client.get(f"/quads/{slug}/build/calibrate").text
    assert "from a pull up and down" in page
    assert "# mine" in shop.sheet(slug).text


def test_the_page_to_share_comes_back_by_drop(client) -> None:
    """What the button gives, the new quad's page takes."""
    page = client.get("/quads/gannet/build/share.html")
    assert page.headers["content-disposition"].endswith('"gannet.html"')
    refused = client.post("/new/drop", files={"file": ("gannet.html", page.content)})
    assert refused.status_code == 400
    assert "in the fleet" in refused.text
    assert client.post("/new/drop", files={"file": ("x.html", b"<p>")}).status_code == 400


@pytest.mark.browser
def test_the_model_changes_while_typing(watched) -> None:
    """An answer changes sentence and model without a reload, and nothing is asked from elsewhere."""
    page = watched.go("/new")
    page.locator(".model[data-drawn]").wait_for(timeout=30_000)
    with page.expect_response(lambda r: "model.glb" in r.url and "wheelbase=250" in r.url):
        page.fill("#wheelbase", "250")
    page.get_by_text("1 of 30 values given").first.wait_for()
    watched.clean()


@pytest.mark.browser
def test_the_shared_page_stands_alone(watched, tmp_path, shop) -> None:
    """Opened from a file, under its own policy, the page shows the quad in 3D and asks for nothing."""
    from crashworthy.web.viewer import viewer

    file = tmp_path / "gannet.html"
    file.write_text(shop.share("gannet", viewer=viewer()), encoding="utf-8", newline="")
    watched.site = file.as_uri()
    watched.page.goto(file.as_uri())
    watched.page.locator(".model[data-drawn]").wait_for(timeout=30_000)
    watched.clean()
