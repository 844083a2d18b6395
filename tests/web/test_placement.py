"""Placement in depth over HTTP: camera, antennas, before and after, printed parts crashed."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    import httpx

    from crashworthy.workshop import Workshop

DEEP = (
    "/quads/gannet/placement/camera",
    "/quads/gannet/placement/link?for=control_l",
    "/quads/dunlin/placement/link",
    "/quads/gannet/placement/trial/dunlin",
)


@pytest.mark.parametrize("path", DEEP)
def test_every_page_answers_with_one_sentence_and_labelled_fields(client: httpx.Client, path: str) -> None:
    """Each page begins with its answer, and whatever can be filled in has a label."""
    answer = client.get(path)
    assert answer.status_code == 200
    said = re.search(r'<p class="answer">(.*?)</p>', answer.text, re.S)
    assert said is not None
    assert any(c.isdigit() for c in said.group(1))
    fields = re.findall(r"<(?:input|select)\b(?![^>]*hidden)[^>]*>", answer.text)
    assert answer.text.count('<label class="field">') >= len(fields)
    assert "style=" not in answer.text
    assert "<script>" not in answer.text


def test_what_is_filled_in_wrongly_is_kept_and_told(client: httpx.Client) -> None:
    """A word where a number belongs is named with its remedy, and the page still shows."""
    for path in (
        "/quads/gannet/placement/camera?tilts=steep",
        "/quads/gannet/placement/link?carbon=much",
        "/quads/gannet/placement/link?for=nothing",
        "/quads/gannet/placement?from=sometimes",
    ):
        answer = client.get(path)
        assert answer.status_code == 400
        assert 'class="problems"' in answer.text
    wrong = {"corner": "79 10 32", "column": "9999", "row": "1", "columns": "1280", "rows": "960"}
    answer = client.post("/quads/gannet/placement/pupil", data=wrong)
    assert answer.status_code == 400
    assert "outside" in answer.text
    assert 'value="9999"' in answer.text


def test_the_trim_comes_true_to_size(client: httpx.Client) -> None:
    """SVG and DXF of a plate that stands in the picture come as files; another plate or kind is refused."""
    page = client.get("/quads/gannet/placement/camera").text
    link = re.search(r'href="(/quads/gannet/placement/trim/[a-z_]+)\.svg"', page)
    assert link is not None
    assert "mm" in client.get(f"{link.group(1)}.svg").text
    assert client.get(f"{link.group(1)}.dxf").text.lstrip().startswith("0")
    assert client.get("/quads/gannet/placement/trim/nothing.svg").status_code == 404
    assert client.get(f"{link.group(1)}.pdf").status_code == 400


def test_pieces_of_the_page(client: httpx.Client, shop: Workshop) -> None:
    """The joints map numbers every screw group; the agreement names its rank correlation."""
    joints = client.get("/quads/gannet/placement/joints").text
    assert joints.count("<li>") == len(shop.quad("gannet").joints)
    agreed = client.get("/quads/gannet/placement/agreement").text
    assert "Rank correlation" in agreed or "run a crash test" in agreed


def test_a_printed_part_is_crashed_in_its_place(
    client: httpx.Client, shop: Workshop, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The page says in one sentence what the part changed, with the interval of the paired difference."""
    monkeypatch.setattr("crashworthy.web.pages.trials.CRASHES", 64)
    answer = client.post("/quads/dunlin/placement/crash", data={"kind": "antenna-mount"})
    assert answer.status_code == 303
    job = answer.headers["location"].rsplit("=", 1)[1]
    shop.jobs.wait(job, 300)
    assert "The antenna mount adds" in client.get("/quads/dunlin/placement").text
    assert client.post("/quads/dunlin/placement/crash", data={"kind": "kite"}).status_code == 404


def test_the_same_for_machines(client: httpx.Client) -> None:
    """Trade-off, link and before and after come as JSON with the same sentences."""
    assert client.get("/api/quads/gannet/placement/camera").json()["rows"]
    link = client.get("/api/quads/gannet/placement/link/video").json()
    assert any(p["non_dominated"] for p in link["places"])
    assert len(link["map"]["margin_dB"]) == 36
    assert client.get("/api/quads/gannet/placement/trial/dunlin").json()["lines"]
