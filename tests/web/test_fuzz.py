"""Requests that nobody would send are never a fault of the server, and never open another crew's fleet."""

from __future__ import annotations

import importlib.util
import shutil
import sys
from typing import TYPE_CHECKING, Any

import pytest

from crashworthy.web.app import create_app
from crashworthy.workshop.hall import Hall

if TYPE_CHECKING:
    from pathlib import Path

    from crashworthy.workshop import Workshop

pytestmark = pytest.mark.slow

SECONDS = 10.0
"""Of each run here; tools/fuzz_api.py runs for as long as one likes."""


@pytest.fixture(scope="module")
def fuzz(root: Path) -> Any:
    """The tool that throws the requests."""
    pytest.importorskip("schemathesis")
    spec = importlib.util.spec_from_file_location("fuzz_api", root / "tools" / "fuzz_api.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules["fuzz_api"] = module
    spec.loader.exec_module(module)
    return module


def test_the_api_answers_every_request_without_a_fault(fuzz: Any, shop: Workshop) -> None:
    """No 5xx, and no request without an answer, on the published API (but for the slow placement)."""
    target = fuzz.Target(create_app(shop))
    try:
        statuses, failed = fuzz.throw(target, SECONDS, seed=1, examples=5, pages=False, without="placement")
    finally:
        target.stop()
    assert failed == []
    assert sum(statuses.values()) > 20


def test_no_request_of_another_crew_opens_this_fleet(fuzz: Any, demo_folder: Path, tmp_path: Path) -> None:
    """Whatever somebody of another crew sends, on any page: no fault, and not a word of this fleet."""
    folder = tmp_path / "data"
    shutil.copytree(demo_folder, folder)
    with Hall(folder) as hall:
        home, other = hall.accounts.add_crew("Millrace"), hall.accounts.add_crew("Weir")
        hall.accounts.add_person("robin", fuzz.SECRET, home, "lead")
        hall.accounts.add_person("wren", fuzz.SECRET, other, "lead")
        token = hall.accounts.sign_in("wren", fuzz.SECRET, "here")
        before = hall.workshop_of(home).store.last_seq()
        target = fuzz.Target(create_app(None, hall=hall))
        try:
            statuses, failed = fuzz.throw(
                target,
                SECONDS,
                seed=2,
                examples=3,
                headers={"Authorization": f"Bearer {token}"},
                forbidden=("millrace", "quarry"),
            )
        finally:
            target.stop()
        assert failed == []
        assert sum(statuses.values()) > 20
        assert hall.workshop_of(home).store.last_seq() == before


def test_the_tool_sees_a_fault(fuzz: Any) -> None:
    """The tool itself finds a route that breaks, and a word that should not be told."""
    from fastapi import FastAPI

    app = FastAPI()

    @app.get("/api/breaks")
    def breaks(n: int) -> float:
        return 1 / (n - n)

    @app.get("/api/tells")
    def tells() -> str:
        return "the quarry"

    target = fuzz.Target(app)
    try:
        _, failed = fuzz.throw(target, 2.0, seed=1, examples=3, forbidden=("quarry",))
    finally:
        target.stop()
    assert any("breaks 500" in words for words in failed)
    assert any("leaked" in words for words in failed)
