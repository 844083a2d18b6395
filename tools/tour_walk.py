"""Walk the loop on the demo fleet through a browser as a pilot would, one stop after another.

The tour's test asserts at each stop, and ``tools/screenshots.py --tour`` takes a picture there, so that both
see the very same walk. Nothing here looks into the program: pages are opened, read, tapped and typed into.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from playwright.sync_api import Page

QUAD = "gannet"
PHONE, DESK = {"width": 360, "height": 740}, {"width": 1280, "height": 900}
LONG = 120_000
"""The longest wait for crashes on busy cores, ms."""


@dataclass
class Walk:
    """One walk; what was picked up on the way stays in its fields.

    Attributes:
        page: a fresh page of a browser.
        base: address of the app, without a slash at its end.
        folder: where downloads go.
        crashes: of the copy's own campaign.
        seed: of it, and that of the demo's campaigns.
        packs: to journal.
        copy: slug of the copy, once there is one.
        files: what was downloaded, by stop.
    """

    page: Page
    base: str
    folder: Path
    crashes: int = 800
    seed: int = 7
    packs: int = 10
    copy: str = ""
    files: dict[str, Path] = field(default_factory=dict)

    def stops(self) -> Iterator[str]:
        """Go from stop to stop; gives the name of each once its page shows what there is to see."""
        page = self.page
        page.set_viewport_size(DESK)
        self._go("/")
        page.get_by_role("link", name="Take the tour").click()
        page.locator(".tour").wait_for()
        yield "start"
        yield from self._build()
        yield from self._fly()
        self._go(f"/quads/{QUAD}/lives")
        page.locator("main .answer").first.wait_for()
        yield "compared"
        yield from self._pack()
        self._go("/tour")
        page.locator("main .answer").first.wait_for()
        yield "end"

    def _build(self) -> Iterator[str]:
        page = self.page
        self._go(f"/quads/{QUAD}/crash")
        yield "crashed"
        self._go(f"/quads/{QUAD}/placement")
        yield "exposed"
        row = page.locator("tr", has=page.get_by_role("rowheader", name="Antenna mount"))
        with page.expect_download() as download:
            row.get_by_role("link", name="3MF").click()
        self._keep("printed", download.value)
        yield "printed"
        row.get_by_role("button", name="Put on a copy with the antenna mount").click()
        page.wait_for_url("**/placement/trial/**", timeout=LONG)
        self.copy = page.url.split("/trial/")[1].split("?")[0]
        page.get_by_text(re.compile("crashes of each, the same for both")).wait_for(timeout=LONG)
        yield "moved"
        self._go(f"/quads/{self.copy}/crash")
        page.get_by_label("Crashes", exact=True).fill(str(self.crashes))
        page.get_by_label("Seed").fill(str(self.seed))
        page.get_by_role("button", name="Crash it").click()
        page.get_by_text(re.compile(f"simulated crashes, seed {self.seed}")).wait_for(timeout=LONG)
        yield "copy-crashed"
        self._go(f"/quads/{QUAD}/improve")
        page.locator("select[name=against]").select_option(self.copy)
        page.get_by_role("button", name="Same crashes for both").click()
        page.get_by_text(re.compile("paired crashes|crashes of each")).first.wait_for(timeout=LONG)
        yield "fewer"
        for stop, slug in (("kit-before", QUAD), ("kit-after", self.copy)):
            self._go(f"/quads/{slug}/kit")
            yield stop

    def _fly(self) -> Iterator[str]:
        page = self.page
        page.set_viewport_size(PHONE)
        self._go(f"/quads/{QUAD}/field")
        for _ in range(self.packs):
            page.get_by_role("button", name="Pack", exact=True).click()
            with page.expect_response(lambda answer: "/api/" in answer.url and answer.ok):
                page.get_by_role("button", name="No crash").first.click()
        page.locator("#said", has_text="is in the journal").wait_for()
        yield "packs"
        page.set_viewport_size(DESK)
        self._go("/tour")
        with page.expect_download() as download:
            page.get_by_role("link", name="A simulated log to drop").click()
        self._keep("log", download.value)
        self._go(f"/quads/{QUAD}/flights")
        page.get_by_label("Drop a flight log").set_input_files(self.files["log"])
        page.get_by_role("button", name="Read it").click()
        page.get_by_role("button", name="Enter the pack").wait_for(timeout=LONG)
        yield "log"
        page.get_by_label("Minutes flown").fill("4")
        page.get_by_role("button", name="Enter the pack").click()
        page.get_by_text(re.compile("In the journal as a pack")).wait_for()
        page.set_viewport_size(PHONE)
        self._go(f"/quads/{QUAD}/field")
        yield "dose"
        page.get_by_role("button", name="Found", exact=True).click()
        page.get_by_role("group", name="Arm screws").get_by_role("button", name="1 loose").click()
        page.locator("#said", has_text="Arm screws: 1 loose is in the journal").wait_for()
        yield "loose"
        page.set_viewport_size(DESK)

    def _pack(self) -> Iterator[str]:
        page = self.page
        self._go(f"/quads/{QUAD}/kit")
        page.locator('input[name="item:prop"]').fill("12")
        page.get_by_role("button", name="Write it down").click()
        # The page that comes back has it written down; only then is there something to print.
        page.locator('input[name="item:prop"][value="12"]').first.wait_for(state="attached")
        page.wait_for_load_state()
        self.files["kit"] = self.folder / "kit.pdf"
        page.pdf(path=self.files["kit"])
        yield "kit"

    def _go(self, path: str) -> None:
        self.page.wait_for_load_state()
        answer = self.page.goto(self.base + path)
        # A page that the service worker hands on may come without an answer to look at.
        if answer is not None and not answer.ok:
            raise RuntimeError(f"{path}: {answer.status}")
        self.page.locator("main .answer").first.wait_for(timeout=LONG)
        waiting = self.page.get_by_role("link", name="Look again")  # a sheet that is still worked out says so
        waiting.wait_for(state="hidden", timeout=LONG)
        self.page.locator("main .answer").first.wait_for(timeout=LONG)

    def _keep(self, stop: str, download: object) -> None:
        file = self.folder / str(download.suggested_filename)  # type: ignore[attr-defined] # a Download
        download.save_as(file)  # type: ignore[attr-defined] # a Download
        self.files[stop] = file
