"""The Improve sheet: a ranking, a comparison, a change on a copy, and forms that will not do."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pytest

from crashworthy.pictures.plots import Bar
from crashworthy.pictures.savings import saving_bars

if TYPE_CHECKING:
    import httpx

    from crashworthy.workshop import Workshop


def _run(client: httpx.Client, shop: Workshop, form: dict[str, str]) -> str:
    answer = client.post("/quads/dunlin/improve", data=form)
    assert answer.status_code == 303, answer.text
    job = answer.headers["location"].partition("job=")[2]
    assert client.get(answer.headers["location"]).status_code == 200
    done = shop.jobs.wait(job, 150)
    assert done.state == "done", done.message
    return client.get("/quads/dunlin/improve").text


def test_a_ranking_a_comparison_and_a_copy(client: httpx.Client, shop: Workshop) -> None:
    """Every change is tried and shown; one goes on a copy; two quads meet the same crashes."""
    page = _run(client, shop, {"n": "64", "seed": "1", "by": "minutes"})
    ranking = shop.latest_ranking("dunlin")
    assert ranking is not None
    assert ranking.rows[0].label[1:] in page
    assert "Left out" in page
    assert "What the answer hangs on" in page
    assert "In 100 packs of yours" in page
    assert "crashes a pack" in page
    page = _run(client, shop, {"n": "64", "seed": "1", "against": "gannet"})
    assert "Breaks of Gannet less those of Dunlin" in page
    ids = re.findall(r' id="([^"]+)"', page)
    assert len(ids) == len(set(ids))
    assert " style=" not in page
    before = set(shop.names())
    answer = client.post("/quads/dunlin/improve/screws_arm")
    assert answer.status_code == 303
    slug = answer.headers["location"].split("/")[2]
    assert slug not in before
    assert shop.quad(slug).sheet.screws["arm"].grade == "12.9"
    assert client.get(answer.headers["location"]).status_code == 200
    shop.store.remove_quad(slug)  # the fleet is shared with the other tests
    shop.folder.sheet(slug).unlink()


def test_a_form_that_will_not_do_comes_back_as_it_was_filled(client: httpx.Client) -> None:
    """Numbers that cannot be and a quad that is not there are named, and what was typed stays."""
    answer = client.post("/quads/dunlin/improve", data={"n": "7", "seed": "x", "by": "looks"})
    assert 400 <= answer.status_code < 500
    assert 'value="7"' in answer.text
    for words in ("whole number from 64", "cannot rank by"):
        assert words in answer.text
    assert client.post("/quads/dunlin/improve", data={"n": "64", "against": "swift"}).status_code == 404
    assert client.post("/quads/dunlin/improve/wings").status_code == 404


def test_bars_stand_on_both_sides_of_nothing() -> None:
    """What costs is drawn left of the rule; equal inputs give equal bytes; no number, no picture."""
    rows = [Bar("a", 3.0, 1.0, 5.0, "3"), Bar("b", -2.0, -4.0, 1.0, "-2", "dense")]
    one = saving_bars(rows, title="t", x_label="x")
    assert one == saving_bars(rows, title="t", x_label="x")
    places = [
        (float(x), float(w)) for x, w in re.findall(r'<rect x="([\d.]+)" y="[\d.]+" width="([\d.]+)"', one)
    ]
    assert places[0][0] == pytest.approx(places[1][0] + places[1][1], abs=0.02)
    with pytest.raises(ValueError, match="finite"):
        saving_bars([Bar("a", float("nan"), 0.0, 0.0, "")], title="t", x_label="x")
    with pytest.raises(ValueError, match="no bars"):
        saving_bars([], title="t", x_label="x")
