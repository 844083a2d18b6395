"""Every failure in words: on pages, in pieces of pages, for machines."""

from __future__ import annotations

import logging
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    import httpx

    from crashworthy.workshop import Workshop


def test_an_unknown_page_is_404_in_words(client: httpx.Client) -> None:
    """The page says that there is no such page and still has the list of sheets."""
    answer = client.get("/nope")
    assert answer.status_code == 404
    assert "no such page" in answer.text
    assert 'href="/evidence"' in answer.text


@pytest.mark.parametrize("sheet", ["field", "build", "crash", "flights", "kit", "journal", "model.glb"])
def test_an_unknown_quad_is_404_and_names_the_known_ones(client: httpx.Client, sheet: str) -> None:
    """Each sheet of a quad that is not there says which quads there are."""
    answer = client.get(f"/quads/heron/{sheet}")
    assert answer.status_code == 404
    assert "gannet" in answer.text


def test_an_unknown_flight_and_job_are_404(client: httpx.Client) -> None:
    """Keys that lead nowhere are told so."""
    assert client.get("/quads/gannet/flights/0123456789").status_code == 404
    assert client.get("/jobs/0123").status_code == 404
    assert client.get("/api/jobs/0123").json()["problems"][0]["what"]


def test_a_form_without_its_field_is_422_in_words(client: httpx.Client) -> None:
    """A form that lacks its field names it."""
    answer = client.post("/quads/gannet/sheet", data={})
    assert answer.status_code == 422
    assert "text" in answer.text


def test_words_from_outside_are_escaped(client: httpx.Client) -> None:
    """An address with markup in it comes back as text."""
    answer = client.get("/quads/%3Cscript%3Ealert(1)%3C%2Fscript%3E/field")
    assert answer.status_code == 404
    assert "<script>alert" not in answer.text


def test_a_fault_of_the_program_says_that_nothing_is_lost(
    client: httpx.Client, shop: Workshop, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    """500 is a page in words, without a traceback, with headers, and the log has the fault."""

    def broken(*_: object) -> None:
        raise RuntimeError("a secret inside")

    monkeypatch.setattr(shop, "due", broken)
    with caplog.at_level(logging.ERROR, logger="crashworthy.web"):
        answer = client.get("/quads/gannet/field")
    assert answer.status_code == 500
    assert "nothing in the journal is lost" in answer.text.lower()
    assert "secret" not in answer.text
    assert "Traceback" not in answer.text
    assert answer.headers["content-security-policy"].startswith("default-src 'self'")
    assert any("secret" in str(r.exc_info) for r in caplog.records)
    api = client.get("/api/quads/gannet/due")
    assert api.status_code == 500
    assert "secret" not in api.text
