"""A new quad in the browser: questions, the growing model, drop, calibration, the page to share."""

from __future__ import annotations

import base64
from pathlib import Path
from urllib.parse import quote

import pytest

ROOT = Path(__file__).parents[2]


def test_the_page_shows_what_the_answers_give(client) -> None:
    """Address in, mass, assumptions and sheet out; a wrong answer is told and the rest still counts."""
    page = client.get("/new?name=Wren&wheelbase=22&pack_mass=205").text
    assert "cannot be the answer" in page
    assert "2 of 32 values given" in page
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


def stl(sides: tuple[float, float, float], drop: int = 0) -> bytes:
    """A box as STL; ``drop`` faces are left out, so that it leaks."""
    import trimesh

    mesh = trimesh.creation.box(sides)
    mesh.faces = mesh.faces[drop:]
    return bytes(mesh.export(file_type="stl"))


def test_size_unit_and_leak_of_a_dropped_body_are_told(client, shop) -> None:
    """Size and unit are told and can be changed; a leak gets its hull's mass, assumed; it can be left out."""
    for name, data in (("cap.stl", stl((20, 10, 5))), ("leaky.stl", stl((20, 10, 5), 1))):
        assert client.post("/new/drop", files={"file": (name, data)}).status_code == 303
    page = client.get("/new?file=part/cap.stl&file=part/leaky.stl").text
    assert "Cap: 20 x 10 x 5 mm, 1.21 g as TPU" in page
    assert "Leaky: 20 x 10 x 5 mm, 1.21 g as TPU; it is not watertight" in page
    assert '<option value="part_inch/cap.stl">' in page
    assert "leave it out" in page
    inch = client.get("/new?file=part_inch/cap.stl&file=").text
    assert "Cap: 508 x 254 x 127 mm" in inch
    metres = client.post("/new/drop", files={"file": ("far.stl", stl((0.02, 0.01, 0.005)))})
    assert metres.headers["location"] == "/new?file=part_m%2Ffar.stl"
    made = client.post("/new", data={"name": "Leaker", "file": ["part/leaky.stl", ""]})
    assert made.status_code == 303
    assert shop.quad("leaker").part("leaky").mass == pytest.approx(1.21e-3)


def test_step_bodies_become_parts_by_drop(client, shop) -> None:
    """Each body is a part with its name; on the Build page the rows for the sheet are told."""
    from crashworthy.build.step import installed
    from crashworthy.evidence.step_text import StepText

    data = StepText(inch=True).box("GPS mount", (0, 0, 2), (1, 0.5, 0.25)).cylinder("Spacer", 0.1, 1)
    if not installed():
        told = client.post("/new/drop", files={"file": ("parts.step", data.text().encode())})
        assert told.status_code == 400
        assert "crashworthy[step]" in told.text
        return
    kept = client.post("/new/drop", files={"file": ("parts.step", data.text().encode())})
    assert kept.headers["location"] == "/new?file=part%2Fparts.step"
    page = client.get("/new?file=part/parts.step").text
    assert "GPS mount: 25.4 x 12.7 x 6.35 mm" in page
    assert client.post("/new", data={"name": "Stepper", "file": "part/parts.step"}).status_code == 303
    assert shop.quad("stepper").part("gps_mount").mass == pytest.approx(0.125 * 25.4**3 * 1.21e-6, rel=1e-5)
    told = client.post("/quads/gannet/drawings", files={"file": ("parts.step", data.text().encode())})
    assert "body = &#34;Spacer&#34;" in told.text
    broken = client.post("/quads/gannet/drawings", files={"file": ("bad.step", b"ISO-10303-21;")})
    assert broken.status_code == 400
    assert not (shop.folder.drawings("gannet") / "bad.step").exists()


def test_a_dropped_sheet_takes_the_drawings_dropped_before_it(client, shop) -> None:
    """A sheet without its drawing says which line; after the drawing it goes in. Latin-1 is told."""
    text = 'schema = 1\nname = "Knot"\narms = { wheelbase = 220 }\n[imports]\n'
    text += 'cap = { file = "mine/knot-cap.stl" }\n'
    alone = client.post("/new/drop?back=name%3DKnot", files={"file": ("knot.toml", text.encode())})
    assert alone.status_code == 400
    assert "imports.cap.file" in alone.text
    assert "drop that file here first" in alone.text
    assert 'value="Knot"' in alone.text
    client.post("/new/drop", files={"file": ("knot-cap.stl", stl((20, 10, 5)))})
    crlf = text.replace("\n", "\r\n").encode("utf-8-sig")
    assert client.post("/new/drop", files={"file": ("knot.toml", crlf)}).status_code == 303
    assert shop.quad("knot").part("cap").mass == pytest.approx(1.21e-3)
    latin = client.post("/new/drop", files={"file": ("l.toml", 'name = "Möwe"'.encode("latin-1"))})
    assert latin.status_code == 400
    assert "not text in UTF-8" in latin.text


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


def test_the_weight_is_written_into_the_sheet_and_nothing_else(client, shop) -> None:
    """Comments stay, the Build page says what is missing; what is no weight is refused."""
    slug = shop.add_quad('schema = 1\nname = "Scoter" # mine\narms = { wheelbase = 220 }\n')
    mass = shop.quad(slug).mass
    here = f"/quads/{slug}/build/calibrate"
    assert client.post(here, data={"do": "weigh", "weighed": "heavy"}).status_code == 400
    assert client.post(here, data={"do": "weigh", "weighed": "0.65 kg"}).status_code == 303
    assert client.post(here, data={"do": "weigh", "weighed": "651,5"}).status_code == 303
    text = shop.sheet(slug).text
    assert 'name = "Scoter" # mine\nweighed = 651.5\n' in text
    assert shop.quad(slug).mass == mass
    assert "missing from the sheet" in client.get(f"/quads/{slug}/build").text


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
    page.get_by_text("1 of 32 values given").first.wait_for()
    watched.clean()


@pytest.mark.browser
def test_a_file_let_go_anywhere_is_taken_and_answers_stay(watched) -> None:
    """Dropped beside the box, the file becomes a part; what was typed before is still there."""
    page = watched.go("/new")
    page.locator(".model[data-drawn]").wait_for(timeout=60_000)
    with page.expect_response(lambda r: "/new/look" in r.url, timeout=60_000):
        page.fill("#name", "Dropper")
    page.evaluate(
        """(words) => {
          const bytes = Uint8Array.from(atob(words), (c) => c.charCodeAt(0));
          const carried = new DataTransfer();
          carried.items.add(new File([bytes], 'let-go.stl'));
          const how = { dataTransfer: carried, bubbles: true, cancelable: true };
          document.querySelector('h1').dispatchEvent(new DragEvent('drop', how));
        }""",
        base64.b64encode(stl((20, 10, 5))).decode(),
    )
    page.locator("label", has_text="let-go.stl").wait_for(timeout=60_000)
    assert page.input_value("#name") == "Dropper"
    page.get_by_text("Let go: 20 x 10 x 5 mm").first.wait_for()
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
