"""Crashes replayed, strikes mapped and sheets printed, over HTTP and in a browser."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pytest

from crashworthy.workshop import showing

if TYPE_CHECKING:
    from collections.abc import Iterator

    import httpx

    from conftest import Watched
    from crashworthy.workshop import Workshop


@pytest.fixture(scope="module", autouse=True)
def crashed(shop: Workshop) -> Iterator[None]:
    """The build as it is now has been crashed, both ways; assumptions are tried on few crashes."""
    shop.crash_test("gannet", 120, 7)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(showing, "TRIED", 8)
        yield


def test_the_campaign_shows_both_columns_and_leads_on(client: httpx.Client) -> None:
    """Demand and fracture side by side with what the difference means, first touches, ways to see more."""
    text = client.get("/quads/gannet/crash").text
    for wanted in (
        "If nothing breaks, and with fracture",
        "Both are of the same crashes",
        "Touched first, by obstacle",
        "root moment, N m",
        "/quads/gannet/crash/replay",
        "/quads/gannet/crash/strikes",
        "/quads/gannet/crash/report.pdf",
    ):
        assert wanted in text, wanted


def test_what_was_assumed_stands_on_the_page_with_its_sources(client: httpx.Client, shop: Workshop) -> None:
    """Each row of the mix and each surface shows share, numbers with range, and a source."""
    text = client.get("/quads/gannet/crash").text
    campaign = shop.latest_campaign("gannet")
    assert campaign is not None
    told = shop.assumed(campaign)
    assert "What was assumed" in text
    assert told["summary"] in text
    for row in told["mix"]:
        assert f'<th scope="row">{row["name"]} ' in text
    for surface in (*told["surfaces"], *told["skins"]):
        assert all(n["figures"] in text for n in surface["numbers"])
    assert "Wood Handbook" in text


def test_a_link_with_seed_and_number_brings_a_crash_back(client: httpx.Client, shop: Workshop) -> None:
    """The page names what was hit and when; data and film are of that crash; another seed works too."""
    number = shop.worst_crashes("gannet", "video")[0].crash
    link = f"crash={number}&seed=7"
    page = client.get(f"/quads/gannet/crash/replay?{link}&part=video")
    assert page.status_code == 200
    found = shop.replay("gannet", number)
    label = shop.quad("gannet").part(found.touched[0][0]).label
    assert f"Crash {number}:" in page.text
    assert f"the {label} touches first" in page.text
    data = client.get(f"/quads/gannet/crash/replay.json?{link}").json()
    assert data["crash"] == number
    assert len(data["limbs"]) == len(data["time"])
    limb, share = data["follow"]["motor_fl"]
    assert (limb, share) == (0, 1)
    film = client.get(f"/quads/gannet/crash/film.glb?{link}")
    assert film.content[:4] == b"glTF"
    assert client.get("/quads/gannet/crash/replay?crash=5&seed=99").status_code == 200
    assert client.get("/api/quads/gannet/crash/worst?part=*boards").json()[0]["shock"] > 0


def test_what_cannot_be_replayed_is_said(client: httpx.Client) -> None:
    """A number outside the campaign, a part that is none, a sheet of another kind."""
    assert client.get("/quads/gannet/crash/replay?crash=120&seed=7").status_code in (400, 422)
    assert client.get("/quads/gannet/crash/replay?part=tail").status_code in (400, 422)
    assert client.get("/quads/gannet/crash/report.doc").status_code == 404
    assert client.get("/quads/nobody/crash/strikes").status_code == 404


def test_the_strike_map_is_a_page_a_model_and_data(client: httpx.Client) -> None:
    """Scale with units, table of points, both quantities, dots in the model."""
    page = client.get("/quads/gannet/crash/strikes?by=hits")
    assert page.status_code == 200
    assert "50 %" in page.text
    assert "N s" in client.get("/quads/gannet/crash/strikes").text
    assert b"point-" in client.get("/quads/gannet/crash/strikes.glb").content
    data = client.get("/api/quads/gannet/crash/strikes").json()
    assert data["n"] == 120
    assert client.get("/quads/gannet/crash/strikes?by=colour").status_code == 422


@pytest.mark.parametrize(
    ("path", "words"),
    [
        ("crash/report", "If nothing breaks"),
        ("bench/torque", "Torque card"),
        ("bench/inspection", "Inspection sheet"),
    ],
)
def test_sheets_come_as_html_and_pdf(client: httpx.Client, path: str, words: str) -> None:
    """Self-contained HTML that may run nothing and fetch nothing, and PDF of the same."""
    html = client.get(f"/quads/gannet/{path}.html")
    assert html.status_code == 200
    assert words in html.text
    assert "script" not in html.headers["content-security-policy"]
    assert html.headers["content-security-policy"].startswith("default-src 'none'")
    outside = [a for a in re.findall(r'(?:src|href)="([^"]+)"', html.text) if not a.startswith("data:")]
    assert outside == []
    pdf = client.get(f"/quads/gannet/{path}.pdf")
    assert pdf.status_code == 200
    assert pdf.headers["content-type"] == "application/pdf"
    assert pdf.content.startswith(b"%PDF-")


@pytest.mark.browser
@pytest.mark.parametrize(
    "watched", [(360, 740, "dark"), (1280, 900, "light")], indirect=True, ids=["phone dark", "desk light"]
)
def test_a_crash_plays_scrubs_and_steps_by_keys(watched: Watched) -> None:
    """Play and pause, the slider, contact to contact, keys; the reading follows; nothing is too wide."""
    page = watched.go("/quads/gannet/crash/replay")
    view = page.locator(".model[data-frame]")
    view.wait_for(timeout=30_000)
    assert page.locator(".model canvas").count() == 1
    slider = page.locator("[data-part=at]")
    slider.focus()
    page.keyboard.press("Home")
    assert view.get_attribute("data-frame") == "0"
    page.keyboard.press("ArrowRight")
    page.locator(".model[data-frame='1']").wait_for()
    page.keyboard.press("PageDown")
    assert page.locator("[data-part=touching]").inner_text() != "nothing"
    page.keyboard.press("End")
    last = int(view.get_attribute("data-frame") or 0)
    assert last > 5
    assert page.locator(".cursor").get_attribute("transform") == "translate(288 0)"
    page.keyboard.press("Home")
    page.get_by_role("button", name="Play").click()
    page.locator(".model[data-frame]:not([data-frame='0'])").wait_for()
    page.get_by_role("button", name="Pause").click()
    page.locator("[data-go]").first.click()
    width, inner = page.evaluate("[document.documentElement.scrollWidth, innerWidth]")
    assert width <= inner
    page = watched.go("/quads/gannet/crash/strikes")
    page.locator(".model[data-drawn]").wait_for(timeout=30_000)
    width, inner = page.evaluate("[document.documentElement.scrollWidth, innerWidth]")
    assert width <= inner
    watched.clean()


@pytest.mark.browser
def test_who_wants_no_motion_gets_steps(watched: Watched) -> None:
    """With reduced motion, playing goes from contact to contact and not frame by frame."""
    watched.page.emulate_media(reduced_motion="reduce")
    page = watched.go("/quads/gannet/crash/replay")
    page.locator(".model[data-frame]").wait_for(timeout=30_000)
    starts = page.evaluate(
        "fetch(document.querySelector('.model').dataset.replay).then(r => r.json())"
        ".then(d => d.contacts.map(c => Math.round(c[1] * 1e4)))"
    )
    page.locator("[data-part=at]").focus()
    page.keyboard.press("Home")
    page.get_by_role("button", name="Play").click()
    page.wait_for_timeout(700)
    frame = int(page.locator(".model").get_attribute("data-frame") or 0)
    assert frame in starts
