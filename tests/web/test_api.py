"""The machine's door: an event arrives once, whatever happens on the way, and a bad one is told why."""

from __future__ import annotations

import os
import time
from typing import TYPE_CHECKING, Any
from uuid import UUID

import pytest

from crashworthy.upkeep.events import uuid7

if TYPE_CHECKING:
    import httpx

    from crashworthy.workshop import Workshop

COUNTER = iter(range(1, 10_000))


def event(kind: str = "pack", payload: dict[str, Any] | None = None, **other: Any) -> dict[str, Any]:
    """An event as the page's script would send it."""
    number = int.from_bytes(os.urandom(9), "big")
    return {
        "id": str(uuid7(int(time.time() * 1000), number)),
        "device": "test-phone",
        "device_seq": next(COUNTER),
        "kind": kind,
        "occurred": "2026-05-01T10:30:00Z",
        "payload": payload or {},
        **other,
    }


def test_an_event_sent_three_times_is_there_once(client: httpx.Client, shop: Workshop) -> None:
    """First 201, then 200, and one event in the journal."""
    sent = event(payload={"minutes": 4.5})
    statuses = [client.post("/api/quads/dunlin/events", json=sent).status_code for _ in range(3)]
    assert statuses == [201, 200, 200]
    kept = [e for e in shop.events("dunlin", limit=100_000) if e.id == UUID(sent["id"])]
    assert len(kept) == 1
    assert kept[0].payload.to_json() == {"minutes": 4.5}


def test_an_id_used_for_another_event_is_refused(client: httpx.Client) -> None:
    """The same id with other content is 422 with a reason, and the first stays."""
    sent = event()
    assert client.post("/api/quads/dunlin/events", json=sent).status_code == 201
    answer = client.post("/api/quads/dunlin/events", json={**sent, "payload": {"minutes": 9}})
    assert answer.status_code == 422
    assert answer.json()["problems"][0]["what"]


@pytest.mark.parametrize(
    ("bad", "field"),
    [
        (event("crash", {"severity": "total"}), "severity"),
        (event("crash"), "severity"),
        (event("pack", {"minutes": -1}), "minutes"),
        (event("pack", {"colour": "red"}), "colour"),
        (event("feast"), "kind"),
        (event("check", {"group": "wings", "looked": 4}), "group"),
        (event(occurred="yesterday"), "occurred"),
        (event(occurred="2026-05-01T10:30:00"), "occurred"),
        (event(id="not-an-id"), "id"),
        (event(device_seq=0), "device_seq"),
        (event(device=""), "device"),
        (event(extra=1), "extra"),
    ],
)
def test_a_bad_event_is_422_and_names_its_field(
    client: httpx.Client, bad: dict[str, Any], field: str
) -> None:
    """Whatever is wrong, the answer names the field in JSON and nothing is kept."""
    answer = client.post("/api/quads/dunlin/events", json=bad)
    assert answer.status_code == 422
    assert field in {p["field"] for p in answer.json()["problems"]}


def test_an_event_of_an_unknown_quad_is_404(client: httpx.Client) -> None:
    """The journal takes events of its own quads only."""
    assert client.post("/api/quads/heron/events", json=event()).status_code == 404


def test_what_is_no_json_is_told_so(client: httpx.Client) -> None:
    """A body that is not JSON gets 422 in JSON."""
    answer = client.post(
        "/api/quads/dunlin/events", content=b"{", headers={"content-type": "application/json"}
    )
    assert answer.status_code == 422
    assert answer.json()["problems"]


def test_the_due_list_is_the_workshops(client: httpx.Client, shop: Workshop) -> None:
    """The API tells what the workshop tells, in the same order."""
    told = client.get("/api/quads/gannet/due").json()
    assert [d["group"] for d in told] == [d.group for d in shop.due("gannet")]
    fleet = client.get("/api/fleet").json()
    assert [c["slug"] for c in fleet] == [c.slug for c in shop.fleet()]
    assert all(c["invented"] in (True, False) for c in fleet)


def test_the_latest_campaign_is_there(client: httpx.Client, shop: Workshop) -> None:
    """Summary and sentence of the latest campaign, or null for none."""
    told = client.get("/api/quads/gannet/crash").json()
    latest = shop.latest_campaign("gannet")
    assert latest is not None
    assert told["sentence"] == shop.corrected_summary(latest)["summary"]
    assert told["summary"]["strengths"] == "mine"
    assert told["summary"]["n"] == latest.n
