"""A pilot at the app, in headless Chromium: seeing, tapping, typing, dropping, and losing the network."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pytest

from crashworthy.web.words import typeset

if TYPE_CHECKING:
    from pathlib import Path

    from playwright.sync_api import Browser, Page, Route

    from conftest import Watched
    from crashworthy.workshop import Workshop

pytestmark = pytest.mark.browser

SHEETS = ("field", "build", "crash", "improve", "bench", "lives", "flights", "kit", "journal")
PATHS = ("/", *(f"/quads/gannet/{s}" for s in SHEETS), "/evidence")
SCREENS = [(360, 740, "light"), (1280, 900, "dark")]


def tap(page: Page, first: str, second: str) -> None:
    """Two taps on the field sheet."""
    page.get_by_role("button", name=first, exact=True).click()
    page.get_by_role("button", name=second).first.click()


def said(page: Page, words: str) -> None:
    """Wait until the field sheet has said so."""
    page.locator("#said", has_text=re.compile(words)).wait_for()


@pytest.mark.parametrize("watched", SCREENS, indirect=True, ids=["phone light", "desk dark"])
def test_every_sheet_fits_its_screen_without_an_error(watched: Watched, shop: Workshop) -> None:
    """No sheet is wider than the screen, writes an error to the console, or asks another host."""
    flights = [f"/quads/{s}/flights/{log.key}" for s in shop.names() for log in shop.logs(s)[:1]]
    for path in (*PATHS, *flights):
        page = watched.go(path)
        page.locator("main .answer").first.wait_for()
        width, inner = page.evaluate("[document.documentElement.scrollWidth, innerWidth]")
        assert width <= inner, path
    watched.clean()


def test_packs_make_a_group_due_and_a_check_clears_it(watched: Watched, shop: Workshop) -> None:
    """Log packs with two taps each until the arm screws are due, see it, log the check, see it clear."""
    page = watched.go("/quads/gannet/field")
    if any(d.state in ("due", "now") for d in shop.due("gannet")):
        for due in shop.due("gannet"):
            page.get_by_role("button", name="Found", exact=True).click()
            group = page.get_by_role("group", name=due.title)
            group.get_by_role("button", name="tight").click()
            said(page, "is in the journal")
        page.reload()
    assert not any(d.state in ("due", "now") for d in shop.due("gannet"))
    first = shop.due("gannet")[0]
    arm = next(d for d in shop.due("gannet") if d.group == "arm")
    assert arm.whole_packs_left >= 1
    flown = shop.history("gannet").packs
    for number in range(2 * arm.whole_packs_left + 2):  # bounded: a pack counts less than one flown hard
        if next(d for d in shop.due("gannet") if d.group == "arm").state in ("due", "now"):
            break
        tap(page, "Pack", "No crash")
        page.wait_for_timeout(60)
        said(page, "Pack without a crash is in the journal")
        assert shop.history("gannet").packs == flown + number + 1
    page.locator("#now .answer", has_text="rm screws").filter(has_text="due now").wait_for()
    assert "due now" in (page.locator("#now svg desc").text_content() or "")
    page.get_by_role("button", name="Found", exact=True).click()
    page.get_by_role("group", name="Arm screws").get_by_role("button", name="tight").click()
    said(page, "Arm screws: tight is in the journal")
    page.locator("#now .answer").filter(has_not_text="rm screws").wait_for()
    arm = next(d for d in shop.due("gannet") if d.group == "arm")
    assert arm.age == 0
    assert first.group in {d.group for d in shop.due("gannet")}
    watched.clean()


def test_a_crash_is_two_taps_and_can_be_taken_back(watched: Watched, shop: Workshop) -> None:
    """Crash, slam: in the journal; undo: it counts no more."""
    crashes = len(shop.history("dunlin").crashes)
    page = watched.go("/quads/dunlin/field")
    tap(page, "Crash", "Slam")
    said(page, "Crash, slam is in the journal")
    assert len(shop.history("dunlin").crashes) == crashes + 1
    page.get_by_role("button", name="Undo", exact=True).click()
    said(page, "Undo of crash, slam is in the journal")
    assert len(shop.history("dunlin").crashes) == crashes
    watched.clean()


def test_targets_are_large_enough_for_a_thumb(watched: Watched) -> None:
    """Every button of the field's rows is at least 48 px high, and all pads are on the first screen."""
    page = watched.go("/quads/gannet/field")
    for pad in ("Pack", "Crash", "Found"):
        box = page.get_by_role("button", name=pad, exact=True).bounding_box()
        assert box is not None
        assert box["height"] >= 48
        assert box["width"] >= 48
        assert box["y"] + box["height"] <= 740
        page.get_by_role("button", name=pad, exact=True).click()
        for button in page.locator(".second:not([hidden]) button").all():
            inner = button.bounding_box()
            assert inner is not None
            assert inner["height"] >= 48
            assert inner["width"] >= 48


def test_an_entry_made_without_network_waits_and_arrives_once(watched: Watched, shop: Workshop) -> None:
    """Offline the entry is kept on the device, survives a reload, and is in the journal once afterwards."""
    packs = shop.history("dunlin").packs
    page = watched.go("/quads/dunlin/field")
    page.route("**/api/**", lambda route: route.abort())
    tap(page, "Pack", "Bent prop")
    said(page, "kept on this device")
    page.locator("#outbox", has_text="1 entry waits").wait_for()
    page.reload()
    page.locator("#outbox", has_text="1 entry waits").wait_for()
    assert shop.history("dunlin").packs == packs
    page.unroute("**/api/**")
    page.evaluate("dispatchEvent(new Event('online'))")
    page.locator("#outbox").wait_for(state="hidden")
    assert shop.history("dunlin").packs == packs + 1
    assert watched.outside == []


def test_a_lost_answer_does_not_make_two_entries(watched: Watched, shop: Workshop) -> None:
    """The server takes the entry and the answer is lost: the retry adds nothing."""
    packs = shop.history("dunlin").packs
    page = watched.go("/quads/dunlin/field")
    tries: list[int] = []

    def lose(route: Route) -> None:
        answer = route.fetch()
        tries.append(answer.status)
        if len(tries) == 1:
            route.abort()
        else:
            route.fulfill(response=answer)

    page.route("**/api/**", lose)
    tap(page, "Pack", "No crash")
    said(page, "kept on this device")
    page.evaluate("dispatchEvent(new Event('online'))")
    page.locator("#outbox").wait_for(state="hidden")
    assert tries == [200, 200]
    assert shop.history("dunlin").packs == packs + 1


def test_a_refused_entry_is_shown_and_blocks_no_other(watched: Watched, shop: Workshop) -> None:
    """An entry the journal cannot accept stays visible with its reason; the next one goes through."""
    packs = shop.history("dunlin").packs
    page = watched.go("/quads/dunlin/field")
    page.evaluate(
        """async () => {
            const { openDB } = await import('/static/vendor/idb.js');
            const db = await openDB('crashworthy', 1);
            await db.put('entries', {
                id: '01890000-0000-7000-8000-000000000000', device: 'web-x', device_seq: 1, quad: 'dunlin',
                kind: 'crash', payload: {severity: 'total'}, occurred: '2026-05-01T10:00:00Z',
                label: 'Odd crash', person: '', crew: ''});
            db.close();
        }"""
    )
    tap(page, "Pack", "No crash")
    said(page, "is in the journal")
    page.locator("#outbox", has_text="Odd crash: severity").wait_for()
    assert shop.history("dunlin").packs == packs + 1
    page.get_by_role("button", name="Discard it").click()
    page.locator("#outbox").wait_for(state="hidden")


def test_entries_are_made_on_an_untrusted_origin_too(browser: Browser, site: str, shop: Workshop) -> None:
    """On plain http under a network name, where a browser withholds much, two taps still make an entry."""
    context = browser.new_context(viewport={"width": 360, "height": 740})
    page = context.new_page()
    page.set_default_timeout(10_000)
    page.goto(f"{site.replace('127.0.0.1', 'field.test')}/quads/dunlin/field")
    assert page.evaluate("isSecureContext || 'randomUUID' in crypto") is False
    tap(page, "Crash", "Scuff")
    said(page, "is in the journal")
    newest = max(shop.events("dunlin", limit=5), key=lambda e: e.id.int)
    assert newest.id.version == 7
    assert newest.device.startswith("web-")
    context.close()


def test_a_campaign_shows_progress_and_can_be_cancelled(watched: Watched, shop: Workshop) -> None:
    """A long campaign shows its bar; cancel stops it and nothing is kept; a short one lands on its result."""
    before = len(shop.campaigns("dunlin"))
    page = watched.go("/quads/dunlin/crash")
    page.get_by_label("Crashes", exact=True).fill("150000")
    page.get_by_role("button", name="Crash it").click()
    page.locator("progress").wait_for()
    page.locator(".job p", has_text=" of ").wait_for()
    page.get_by_role("button", name="Cancel").click()
    page.locator(".job .said", has_text="Cancelled").wait_for(timeout=60_000)  # the chunk it is at ends first
    assert len(shop.campaigns("dunlin")) == before
    page.get_by_label("Crashes", exact=True).fill("80")
    page.get_by_label("Seed").fill("11")
    page.get_by_role("button", name="Crash it").click()
    page.locator("p", has_text="80 simulated crashes, seed 11").wait_for(timeout=30_000)
    latest = shop.latest_campaign("dunlin")
    assert latest is not None
    said_now = page.locator("main .answer").first.text_content()
    assert said_now == typeset(
        shop.corrected_summary(latest)["summary"]
    )  # strengths as the journal corrects them
    watched.clean()


def test_a_good_log_and_a_broken_one_are_dropped(watched: Watched, tmp_path: Path) -> None:
    """The good one leads with its finding and a spectrum to zoom; the broken one is told in words."""
    page = watched.go("/quads/dunlin/flights")
    broken = tmp_path / "broken.csv"
    broken.write_text("no numbers here\n")
    page.get_by_label("Drop a flight log").set_input_files(broken)
    page.get_by_role("button", name="Read it").click()
    page.get_by_role("alert").filter(has_text="could not be read").wait_for()
    good = tmp_path / "good.csv"
    rows = "\n".join(f"{i / 1000:.4f},{(i * 7) % 11 - 5},{(i * 5) % 7 - 3},{i % 3 - 1}" for i in range(6000))
    good.write_text(f"time [s],gyro_x [deg/s],gyro_y [deg/s],gyro_z [deg/s]\n{rows}\n")
    page.get_by_label("Drop a flight log").set_input_files(good)
    page.get_by_role("button", name="Read it").click()
    page.get_by_role("heading", name="What it cannot say, and why").wait_for()
    page.locator(".zoomable canvas").wait_for()
    # The refused upload is the one error that belongs here.
    assert [f for f in watched.faults if "400" not in f and "422" not in f] == []
    assert watched.outside == []


def test_a_broken_sheet_keeps_the_typed_text(watched: Watched, shop: Workshop) -> None:
    """What was typed is in the field after a refused save, and saving it mended works."""
    good = shop.sheet("dunlin").text
    page = watched.go("/quads/dunlin/build")
    field = page.get_by_label(re.compile("TOML"))
    field.fill("wings = 2 # mine\n" + good)
    page.get_by_role("button", name="Save the sheet").click()
    page.locator("#problems", has_text="wings").wait_for(timeout=15_000)
    assert "wings = 2 # mine" in field.input_value()
    field.fill(good)
    page.get_by_role("button", name="Save the sheet").click()
    page.locator("#problems").wait_for(state="detached", timeout=15_000)
    assert page.get_by_label(re.compile("TOML")).input_value().strip() == good.strip()


def test_the_quad_is_shown_in_3d(watched: Watched, shop: Workshop) -> None:
    """Every part with a shape is drawn, the picture is not blank, and arrow keys turn it."""
    page = watched.go("/quads/dunlin/build")
    box = page.locator(".model")
    page.locator(".model[data-drawn]").wait_for(timeout=15_000)
    shaped = sum(1 for p in shop.quad("dunlin").parts if len(p.faces))
    assert box.get_attribute("data-drawn") == str(shaped)
    canvas = page.locator(".model canvas")
    before = canvas.screenshot()
    assert len(before) > 3000  # a blank picture of this size is far smaller as PNG
    canvas.focus()
    for _ in range(4):
        page.keyboard.press("ArrowRight")
    page.wait_for_timeout(200)
    assert canvas.screenshot() != before
    watched.clean()


def test_the_field_sheet_works_by_keyboard(watched: Watched, shop: Workshop) -> None:
    """Tab reaches the skip link first and then everything; focus is visible; Enter makes an entry."""
    page = watched.go("/quads/dunlin/field")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    assert page.locator(".skip").bounding_box()["x"] >= 0  # type: ignore[index] # it is on the page
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.id") == "main"
    for _ in range(20):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.dataset.pad") == "crash":
            break
    outline = page.evaluate("getComputedStyle(document.activeElement).outlineStyle")
    assert outline == "solid"
    page.keyboard.press("Enter")
    crashes = len(shop.history("dunlin").crashes)
    button = page.get_by_role("button", name=re.compile("Scuff"))
    button.focus()
    page.keyboard.press("Enter")
    said(page, "Crash, scuff is in the journal")
    assert len(shop.history("dunlin").crashes) == crashes + 1


def test_a_note_is_entered_and_struck_out(watched: Watched, shop: Workshop) -> None:
    """A note typed in the journal stands on top; taken back it stays, struck out."""
    page = watched.go("/quads/dunlin/journal")
    page.get_by_text("A note", exact=True).click()
    page.get_by_label("Words").fill("Left cheek is <cracked>.")
    page.locator("#note").get_by_role("button", name="Enter").click()
    entry = page.locator(".entries li", has_text="Left cheek is <cracked>.").first
    entry.wait_for()
    entry.get_by_role("button", name="Take back").click()
    page.locator(".entries s", has_text="Left cheek is <cracked>.").wait_for(timeout=15_000)
    assert "Left cheek is <cracked>." not in shop.history("dunlin").notes
    watched.clean()


def test_a_form_that_is_refused_keeps_its_text(watched: Watched) -> None:
    """A check of more loose screws than looked at says why and keeps what was filled in."""
    page = watched.go("/quads/dunlin/journal#check")
    page.get_by_text("A check of screws", exact=True).click()
    form = page.locator("#check form")
    form.get_by_label("Looked at").fill("4")
    form.get_by_label("Loose", exact=True).fill("9")
    form.get_by_role("button", name="Enter").click()
    form.locator("[data-said]", has_text="Not accepted").wait_for()
    assert form.get_by_label("Loose", exact=True).input_value() == "9"
    assert page.locator("#outbox").is_hidden()


def test_evidence_runs_from_its_page(watched: Watched, shop: Workshop) -> None:
    """The button starts the checks and progress is shown; stopped here, for tests run them elsewhere."""
    page = watched.go("/evidence")
    page.get_by_role("button", name="Run every check").click()
    page.locator("progress").wait_for()
    job = shop.evidence_job()
    assert job is not None
    shop.cancel(job.id)
    watched.clean()
