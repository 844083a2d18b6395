"""Every sheet over HTTP: what it answers, that it is well made, that nothing typed is lost."""

from __future__ import annotations

import html.parser
import io
import math
import re
import wave
from statistics import NormalDist
from typing import TYPE_CHECKING, Any

import pytest

from crashworthy.upkeep.payloads import Swap
from crashworthy.web.words import percent, typeset, upfirst

if TYPE_CHECKING:
    from pathlib import Path

    import httpx

    from crashworthy.workshop import Workshop

SHEETS = ("field", "build", "crash", "placement", "improve", "bench", "lives", "flights", "kit", "journal")
PAGES = ("/", "/evidence", "/crew", *(f"/quads/{q}/{s}" for q in ("gannet", "dunlin") for s in SHEETS))


class Reader(html.parser.HTMLParser):
    """Collects what a page is made of."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str]]] = []
        self.open_labels = 0
        self.labelled: list[bool] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """An element begins."""
        found = {k: v or "" for k, v in attrs}
        self.tags.append((tag, found))
        if tag == "label":
            self.open_labels += 1
        if tag in ("input", "select", "textarea") and found.get("type") != "hidden":
            named = self.open_labels > 0 or "aria-label" in found or "aria-labelledby" in found
            self.labelled.append(named or any(a.get("for") == found.get("id") for _, a in self.tags))

    def handle_endtag(self, tag: str) -> None:
        """An element ends."""
        if tag == "label":
            self.open_labels -= 1

    def all(self, tag: str) -> list[dict[str, str]]:
        """Attributes of every element of that name."""
        return [a for t, a in self.tags if t == tag]


def text_of(page: str) -> str:
    """The words of a page."""
    return html.unescape(re.sub(r"<[^>]+>", " ", re.sub(r"<(title|desc)\b.*?</\1>", "", page, flags=re.S)))


@pytest.mark.parametrize("path", PAGES)
def test_every_sheet_answers_and_is_well_made(client: httpx.Client, path: str) -> None:
    """200, one h1, a first sentence, unique ids, named fields and pictures, no inline script or style."""
    answer = client.get(path)
    assert answer.status_code == 200
    page = Reader(answer.text)
    assert len(page.all("h1")) == 1
    assert any(a.get("class") == "answer" for a in page.all("p"))
    ids = [a["id"] for _, a in page.tags if "id" in a]
    assert len(ids) == len(set(ids)), sorted({i for i in ids if ids.count(i) > 1})
    assert all(page.labelled)
    assert all("src" in a for a in page.all("script"))
    assert not page.all("style")
    assert not [a for _, a in page.tags if "style" in a or any(k.startswith("on") for k in a)]
    assert all(a.get("role") in ("img", "group") and "aria-labelledby" in a for a in page.all("svg"))
    assert len(page.all("main")) == 1
    assert page.all("a")[0]["href"] == "#main"


def test_every_link_of_every_sheet_leads_somewhere(client: httpx.Client) -> None:
    """No link inside the app is broken, and each anchor is there."""
    seen: dict[str, Reader] = {}
    waiting = list(PAGES)
    while waiting:
        path = waiting.pop()
        if path in seen:
            continue
        answer = client.get(path, follow_redirects=True)
        assert answer.status_code == 200, path
        is_page = answer.headers["content-type"].startswith("text/html")
        seen[path] = Reader(answer.text if is_page else "")  # a film or PDF only has to be there
        for a in seen[path].all("a"):
            target, _, anchor = a["href"].partition("#")
            target = target or path
            parts = sum("/crash/" in seen_path for seen_path in (*seen, *waiting))
            if "page_number" in target or ("/crash/" in target and parts >= 6):
                continue  # sheets of one kind, of which a few stand for all
            if target not in seen and target.startswith("/"):
                waiting.append(target)
            if anchor and target in seen:
                assert any(t.get("id") == anchor for _, t in seen[target].tags), (path, a["href"])
    assert len(seen) >= len(PAGES)


def test_the_first_sentence_has_numbers(client: httpx.Client) -> None:
    """Each sheet opens with its answer, and the answer has a number in it."""
    for path in PAGES:
        answer = re.search(r'<p class="answer">(.*?)</p>', client.get(path).text, flags=re.S)
        assert answer, path
        assert re.search(r"\d", text_of(answer.group(1))), path


def test_a_broken_sheet_keeps_what_was_typed_and_names_the_line(client: httpx.Client, shop: Workshop) -> None:
    """The text comes back as typed with every problem; the build that holds is the old one."""
    before = shop.quad("dunlin").digest
    good = shop.sheet("dunlin").text
    line = next(i for i, x in enumerate(good.splitlines(), 1) if x.startswith("name"))
    typed = good.replace(good.splitlines()[line - 1], 'nme = "Dunlin <b>" # my own words', 1)
    answer = client.post("/quads/dunlin/sheet", data={"text": typed})
    assert 400 <= answer.status_code < 500
    assert "my own words" in html.unescape(answer.text)
    assert "Dunlin <b>" not in answer.text
    assert f"line {line}" in answer.text
    assert "nme" in answer.text
    assert shop.quad("dunlin").digest == before
    # It is still there when one comes back later, and mending it clears the problems.
    assert "my own words" in html.unescape(client.get("/quads/dunlin/build").text)
    assert client.post("/quads/dunlin/sheet", data={"text": good}).status_code == 303
    assert "my own words" not in client.get("/quads/dunlin/build").text


def test_line_ends_of_a_browser_do_not_change_the_build(client: httpx.Client, shop: Workshop) -> None:
    """A form sends CR LF; the sheet that is kept has LF, and the digest stays."""
    before = shop.quad("dunlin").digest
    text = shop.sheet("dunlin").text
    client.post("/quads/dunlin/sheet", data={"text": text.replace("\n", "\r\n")})
    assert "\r" not in shop.sheet("dunlin").text
    assert shop.quad("dunlin").digest == before


@pytest.mark.parametrize(
    ("name", "data"),
    [("evil.exe", b"MZ"), ("../up.dxf", b"0"), ("", b"0"), ("a.dxf.", b"0")],
)
def test_what_is_no_drawing_is_refused_in_words(client: httpx.Client, name: str, data: bytes) -> None:
    """A wrong suffix or a name that climbs out of the folder is a 4xx page."""
    answer = client.post("/quads/gannet/drawings", files={"file": (name, data)})
    assert 400 <= answer.status_code < 500
    assert "Traceback" not in answer.text


def test_a_drawing_is_kept_and_its_name_for_the_sheet_is_told(client: httpx.Client, root: Path) -> None:
    """The answer says what to write into the sheet."""
    data = (root / "examples/gannet/top.dxf").read_bytes()
    answer = client.post("/quads/gannet/drawings", files={"file": ("spare.dxf", data)})
    assert answer.status_code == 200
    assert "gannet/spare.dxf" in answer.text


@pytest.mark.parametrize(
    ("form", "words"),
    [
        ({"n": "many"}, "whole number"),
        ({"n": "0"}, "0"),
        ({"seed": "-1"}, "seed"),
        ({"speed.median": "fast"}, "not a number"),
        ({"speed.low": "50"}, "speed"),
        ({"attitude.nose": "0", "attitude.tumble": "0", "attitude.flat": "0"}, "share"),
        ({"obstacles.grass": "nan"}, "obstacles.grass"),
    ],
)
def test_a_campaign_that_cannot_be_run_keeps_the_form(
    client: httpx.Client, form: dict[str, str], words: str
) -> None:
    """What was filled in comes back in its fields, with what is wrong in words."""
    answer = client.post("/quads/gannet/crash", data={"n": "123", "seed": "5", **form})
    assert 400 <= answer.status_code < 500
    assert words in text_of(answer.text)
    fields = {a["name"]: a.get("value") for a in Reader(answer.text).all("input") if "name" in a}
    assert fields.items() >= {"n": "123", "seed": "5", **form}.items()


def test_an_edited_scenario_reaches_the_campaign(client: httpx.Client, shop: Workshop) -> None:
    """Speeds from the form are the ones the campaign was run with, and the sheet shows them afterwards."""
    form = {"n": "64", "seed": "9", "speed.median": "6", "speed.low": "2", "speed.high": "12"}
    answer = client.post("/quads/dunlin/crash", data=form)
    assert answer.status_code == 303
    job = answer.headers["location"].split("job=")[1]
    assert shop.jobs.wait(job, 60).state == "done"
    latest = shop.latest_campaign("dunlin")
    assert latest is not None
    assert (latest.n, latest.seed) == (64, 9)
    assert latest.scenario["speed"]["median"] == 6
    page = client.get("/quads/dunlin/crash").text
    assert 'name="speed.median" inputmode="decimal" size="5" value="6"' in page
    assert typeset(shop.corrected_summary(latest)["summary"]) in html.unescape(page)


def test_a_part_shows_its_loads_against_its_strength(client: httpx.Client, shop: Workshop) -> None:
    """The part's sheet tells the campaign's numbers, and the loads shown are the ones they come from."""
    campaign = shop.latest_campaign("gannet")
    assert campaign is not None
    believed = shop.corrected_summary(campaign)
    told = next(p for p in believed["parts"] if p["name"] == "arm_fl")
    page = client.get("/quads/gannet/crash/arm_fl").text
    assert percent(told["hit"]) in page
    by_mode = {m["mode"]: m["chance"] for m in told["modes"]}
    shown = shop.part_loads("gannet", "arm_fl")
    assert {m.mode for m in shown} == set(by_mode)
    for mode in shown:
        assert mode.loads.shape == (campaign.n,)
        # Chance of breaking from these loads by the normal integral, beside the one in the summary.
        ratios = [math.log(x / mode.median) / mode.beta if x > 0 else -math.inf for x in mode.loads]
        chance = sum(NormalDist().cdf(r) if r > -math.inf else 0.0 for r in ratios) / campaign.n
        assert chance == pytest.approx(by_mode[mode.mode], rel=1e-6, abs=1e-12)
        assert upfirst(mode.mode) in page


def test_a_part_that_is_not_there_is_404(client: httpx.Client) -> None:
    """A part no quad has, and one that no crash touched, are told so in words."""
    assert client.get("/quads/gannet/crash/wing").status_code == 404
    answer = client.get("/quads/gannet/crash/wiring")
    assert answer.status_code == 404
    assert "touched" in answer.text


def test_a_report_kept_by_an_older_release_still_shows(client: httpx.Client, shop: Workshop) -> None:
    """A report without causes and crashes: the page shows the rest. A crash in one is entered by a press."""
    log = shop.logs("gannet")[-1]
    new = ("verdict", "features", "structure", "strikes", "speed_source")
    old = {k: v for k, v in log.report.items() if k not in new}
    key = shop.store.save_log(log.slug, file="old.csv", sha256="a" * 64, report=old)
    page = client.get(f"/quads/{log.slug}/flights/{key}")
    assert page.status_code == 200
    assert "Likely causes" not in page.text
    hit = {"at_s": 2.0, "severity": "hit", "summary": "2.0 s: hit, 20 g."}
    key = shop.store.save_log(log.slug, file="hit.csv", sha256="b" * 64, report={**old, "strikes": [hit]})
    assert "Enter in the journal" in client.get(f"/quads/{log.slug}/flights/{key}").text
    answer = client.post(f"/quads/{log.slug}/flights/{key}/strikes/0")
    assert answer.status_code == 200
    assert "Entered: hit" in answer.text
    assert client.get(f"/quads/{log.slug}/flights").status_code == 200


def test_a_log_is_read_and_says_what_it_could_not(client: httpx.Client, shop: Workshop) -> None:
    """The demo's log leads with its finding; a log without motor speeds says why there is no unbalance."""
    log = shop.logs("gannet")[-1]
    page = client.get(f"/quads/{log.slug}/flights/{log.key}").text
    assert typeset(log.report["summary"]) in html.unescape(page)
    assert "Likely causes" in page
    assert log.report["verdict"]["findings"][0]["evidence"][0]["text"] in html.unescape(page)
    rows = "\n".join(f"{i / 200:.3f},{i % 7 - 3},{i % 5 - 2},{i % 3 - 1}" for i in range(2000))
    slow = f"time [s],gyro_x [deg/s],gyro_y [deg/s],gyro_z [deg/s]\n{rows}\n"
    answer = client.post("/quads/dunlin/flights", files={"file": ("slow.csv", slow.encode())})
    assert answer.status_code == 303
    page = client.get(answer.headers["location"]).text
    assert "cannot say" in page
    assert "Unbalance" in text_of(page)


def test_two_flights_in_one_file_are_two_pages(client: httpx.Client, shop: Workshop) -> None:
    """A file whose clock starts again is kept as two flights, and each page leads to the other."""
    rows = "\n".join(f"{(i % 1500) / 200:.3f},{i % 7 - 3},{i % 5 - 2},{i % 3 - 1}" for i in range(2500))
    table = f"time [s],gyro_x [deg/s],gyro_y [deg/s],gyro_z [deg/s]\n{rows}\n"
    answer = client.post("/quads/dunlin/flights", files={"file": ("two.csv", table.encode())})
    page = client.get(answer.headers["location"])
    assert page.status_code == 200
    assert "2 flights in this file" in text_of(page.text)
    first, second = [k for k in reversed(shop.logs("dunlin")) if k.file.startswith("two.csv")]
    assert {first.file, second.file} == {"two.csv (flight 1 of 2)", "two.csv (flight 2 of 2)"}
    assert first.key != second.key
    assert f"/flights/{second.key}" in page.text or f"/flights/{first.key}" in page.text


def rings(f: float, damping: float) -> bytes:
    """Five taps as a WAV file."""
    fs = 16000
    out = bytearray()
    for k in range(5 * fs):
        t = (k % fs) / fs
        y = math.exp(-2 * math.pi * f * damping * t) * math.sin(2 * math.pi * f * t)
        out += int(15000 * y).to_bytes(2, "little", signed=True)
    buffer = io.BytesIO()
    with wave.open(buffer, "wb") as file:
        file.setparams((1, 2, fs, 0, "NONE", ""))
        file.writeframes(bytes(out))
    return buffer.getvalue()


def test_taps_are_kept_and_compared_with_the_first(client: httpx.Client, shop: Workshop) -> None:
    """The first recording of an arm is kept; a later one is told against it, with the hint at screws."""
    assert client.get("/quads/dunlin/flights/tap").status_code == 200
    arm = shop.tap_parts("dunlin")[0]
    before = shop.first_taps("dunlin", arm)
    if before is not None:
        shop.record("dunlin", Swap(part=arm, why="worn"))

    def send(content: bytes, part: str = arm) -> httpx.Response:
        return client.post(
            "/quads/dunlin/flights/tap", data={"part": part}, files={"file": ("t.wav", content)}
        )

    assert "Rings at 180" in text_of(send(rings(180.0, 0.03)).text)
    later = text_of(send(rings(165.0, 0.06)).text)
    assert "Stiffness 84" in later
    assert "try the screws first" in later
    refused = send(b"no sound at all")
    assert refused.status_code >= 400
    assert "Nothing was entered" in refused.text
    assert send(rings(180.0, 0.03), "wing").status_code == 404


@pytest.mark.parametrize(
    "data", [b"", b"\x00\x01\x02", b"hello\n", b"a,b\n1,2\n", b"\xff\xfe\x00\x00", b"{}"], ids=repr
)
def test_a_broken_log_is_refused_in_words(client: httpx.Client, data: bytes) -> None:
    """Whatever is no flight log gets a 4xx page with words and a place to drop another."""
    answer = client.post("/quads/gannet/flights", files={"file": ("broken.csv", data)})
    assert 400 <= answer.status_code < 500
    assert "could not be read" in answer.text
    assert 'type="file"' in answer.text


def test_columns_named_wrongly_keep_the_choices(client: httpx.Client, shop: Workshop) -> None:
    """A mapping without a clock is refused and every choice stands in the form again."""
    rows = "\n".join(f"{i / 500:.4f},{i % 7},{i % 5},{i % 3}" for i in range(3000))
    data = f"time [s],gyro_x [deg/s],gyro_y [deg/s],gyro_z [deg/s]\n{rows}\n".encode()
    where = client.post("/quads/dunlin/flights", files={"file": ("map.csv", data)}).headers["location"]
    names = ["time [s]", "gyro_x [deg/s]", "gyro_y [deg/s]", "gyro_z [deg/s]"]
    form: dict[str, Any] = {"axes": "frd"}
    for i, (name, quantity) in enumerate(zip(names, ["ignore", "gyro_x", "gyro_y", "gyro_z"], strict=True)):
        form |= {f"name-{i}": name, f"quantity-{i}": quantity, f"unit-{i}": "rad/s", f"scale-{i}": "2.5"}
    answer = client.post(f"{where}/columns", data=form)
    assert 400 <= answer.status_code < 500
    page = answer.text
    assert page.count('value="2.5"') == 4
    assert page.count("<option selected>rad/s</option>") == 4
    form |= {"quantity-0": "time", "unit-0": "s", **{f"scale-{i}": "1" for i in range(4)}}
    again = client.post(f"{where}/columns", data=form)
    assert again.status_code == 303
    kept = shop.log("dunlin", again.headers["location"].split("/")[-1].split("?")[0])
    assert kept.report["meta"]["units"]["gyro"] == "rad/s"


@pytest.mark.parametrize("query", ["packs=none", "packs=0", "grams=-1", "coins=inf", "packs=1e9"])
def test_a_trip_that_cannot_be_packed_for_is_told(client: httpx.Client, query: str) -> None:
    """Limits that make no sense come back in their fields, in words."""
    answer = client.get(f"/quads/gannet/kit?{query}")
    assert 400 <= answer.status_code < 500
    name, value = query.split("=")
    assert any(a.get("name") == name and a.get("value") == value for a in Reader(answer.text).all("input"))


def test_stock_is_written_down_and_changes_what_to_buy(client: httpx.Client, shop: Workshop) -> None:
    """What is at hand need not be bought."""
    query = "packs=40&grams=450&coins=90"
    page = client.get(f"/quads/gannet/kit?{query}").text
    item = next(a["name"] for a in Reader(page).all("input") if a.get("name", "").startswith("item:"))
    form = {"packs": "40", "grams": "450", "coins": "90", item: "7"}
    answer = client.post("/quads/gannet/stock", data=form)
    assert answer.status_code == 303
    assert query in answer.headers["location"]
    assert shop.stock()[item.removeprefix("item:")] == 7
    assert 400 <= client.post("/quads/gannet/stock", data={item: "many"}).status_code < 500


def test_cautions_stand_where_the_act_is(client: httpx.Client) -> None:
    """Packs at the field, props and dust at the bench, flying rules at the field, charging at the kit."""
    field = text_of(client.get("/quads/gannet/field").text)
    assert "ground that cannot burn" in field
    assert "local law" in field
    build = text_of(client.get("/quads/gannet/build").text)
    assert "Props off" in build
    assert "dust mask" in build
    assert "Charge packs" in text_of(client.get("/quads/gannet/kit").text)


def test_the_demo_is_labelled_invented(client: httpx.Client, shop: Workshop) -> None:
    """Cards of demo quads and the simulated log say that they are invented."""
    assert "invented" in client.get("/").text
    logs = [log for slug in shop.names() for log in shop.logs(slug) if log.report["meta"]["invented"]]
    assert logs
    assert "invented" in client.get(f"/quads/{logs[0].slug}/flights/{logs[0].key}").text


def test_a_job_leads_on_only_within_the_app(client: httpx.Client, shop: Workshop) -> None:
    """The onward address of a finished job cannot point to another site."""
    job = shop.start_evidence("build")
    shop.jobs.wait(job.id, 30)
    assert client.get(f"/jobs/{job.id}?then=/evidence").headers["hx-redirect"] == "/evidence"
    for bad in ("//evil.example", "https://evil.example", "/\\evil.example", "javascript:alert(1)"):
        assert "hx-redirect" not in client.get(f"/jobs/{job.id}", params={"then": bad}).headers
