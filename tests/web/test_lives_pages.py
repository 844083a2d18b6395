"""Bench, Lives and Crew: the answer first, print, pictures, counts in and out."""

from __future__ import annotations

import html
import json
import re
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    import httpx


def words(answer: httpx.Response) -> str:
    """The words of a page."""
    assert answer.status_code == 200
    return html.unescape(re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", answer.text)))


def test_bench_gives_each_group_a_torque_or_a_reason(client: httpx.Client) -> None:
    """The first sentence has newton metres; soft grommets have words instead."""
    text = words(client.get("/quads/gannet/bench"))
    assert re.search(r"(Tighten the \w+ screws now, to|Arm screws M3 × 12:) \d\.\d\d–\d\.\d\d N m", text)
    assert "soft grommets" in text
    assert "vibration margin" in text.lower()
    assert "g hover on" in text


def test_the_inspection_sheet_has_a_box_for_every_group(client: httpx.Client) -> None:
    """Torque, what is due and room to write stand on one sheet."""
    text = words(client.get("/quads/gannet/bench/sheet"))
    for group in (
        "Arm screws 8 ×",
        "Motor screws 16 ×",
        "Standoff screws 16 ×",
        "Stack screws 4 ×",
        "Camera screws 2 ×",
    ):
        assert group in text
    assert text.count("☐") > 20


def test_lives_says_what_is_worn_and_where_to_look(client: httpx.Client) -> None:
    """Verdicts, comparison and trend are there; an unknown severity is any severity."""
    text = words(client.get("/quads/gannet/lives"))
    assert "watch" in text
    page = client.get("/quads/gannet/lives").text
    first = page.partition('id="v-parts"')[2].partition("</table>")[0]
    assert first.count('<tr id="p-') >= 8  # four arms and four motors at least
    assert "Is it tougher?" in text
    assert "Against Dunlin." in text
    assert client.get("/quads/gannet/lives?severity=bang&obstacle=moon").status_code == 200


def test_crew_shows_counts_of_others_and_refuses_nonsense(client: httpx.Client, site: str) -> None:
    """An export comes back in as more quads; a file that is none is told by name."""
    counts = client.get("/crew/counts.json").json()
    assert {"gannet", "dunlin"} == {q["label"].lower() for q in counts}
    assert "occurred" not in json.dumps(counts)
    other = [q | {"label": "Heron"} for q in counts[:1]]
    origin = {"origin": site}
    answer = client.post("/crew", files={"counts": ("a.json", json.dumps(other))}, headers=origin)
    assert "3 quads" in words(answer)
    assert "Heron" in answer.text
    bad = client.post("/crew", files={"counts": ("bad.json", "{}")}, headers=origin)
    assert 400 <= bad.status_code < 500
    assert "bad.json" in bad.text


def test_crew_keeps_counts_of_others_by_name_and_removes_them(client: httpx.Client, site: str) -> None:
    """With a name, counts stay on the page and can be removed; a note among them is refused."""
    counts = client.get("/crew/counts.json").json()
    other = [q | {"label": "Heron", "packs": 41} for q in counts[:1]]
    origin = {"origin": site}

    def post(rows: list[dict[str, object]], source: str) -> httpx.Response:
        files = {"counts": ("a.json", json.dumps(rows))}
        return client.post(
            "/crew", files=files, data={"source": source}, headers=origin, follow_redirects=True
        )

    said = words(post(other, "the mill"))
    assert "Kept: Heron of the mill: 41 packs" in said
    assert "3 quads" in said
    assert "Heron (the mill)" in words(client.get("/crew"))
    private = post([other[0] | {"notes": ["at the quarry"]}], "the mill")
    assert 400 <= private.status_code < 500
    assert "more than counts: notes" in private.text
    gone = client.post("/crew/remove", data={"source": "the mill"}, headers=origin, follow_redirects=True)
    assert "Heron" not in words(gone)
    assert client.post("/crew/remove", data={"source": "the mill"}, headers=origin).status_code == 404


@pytest.mark.parametrize("name", ["0123456789abcdef.jpg", "..%2Ffleet.db", "x.svg"])
def test_a_picture_that_is_not_here_is_not_found(client: httpx.Client, name: str) -> None:
    """Only kept pictures are served, by their own names."""
    assert client.get(f"/photos/{name}").status_code == 404


@pytest.mark.parametrize(
    ("kind", "values", "said"),
    [
        ("tap", {"part": "arm_fl", "hz": [182.0, 181.5]}, "Tapped front left arm: 181.5–182 Hz, 2 taps"),
        (
            "finding",
            {"part": "arm_fl", "state": "worn", "text": "white edge"},
            "Front left arm looked worn: white edge",
        ),
        (
            "photo",
            {"file": "0123456789abcdef.png", "sha256": "0" * 64, "part": "arm_fl"},
            "Picture of front left arm",
        ),
    ],
)
def test_new_kinds_of_entries_read_as_words(kind: str, values: dict[str, object], said: str) -> None:
    """The journal page says taps, findings and pictures in words."""
    from types import SimpleNamespace

    from crashworthy.upkeep.payloads import payload_from
    from crashworthy.web.pages.journal import event_words

    event = SimpleNamespace(kind=kind, payload=payload_from(kind, values))
    assert event_words(event, {"arm_fl": "front left arm"}) == said  # type: ignore[arg-type] # stands for an event
