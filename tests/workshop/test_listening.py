"""Flight logs taken together: baselines, resets by the journal, trends, packs, crashes confirmed once."""

from __future__ import annotations

import hashlib
import io
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
import pytest

from crashworthy.demo.faults import Blow, Faults
from crashworthy.demo.flight import simulate_flight
from crashworthy.errors import NotFoundError
from crashworthy.upkeep.payloads import Crash, Pack, Swap
from crashworthy.vibration.templates import PRIOR_SD
from crashworthy.workshop import Workshop

BEGIN = datetime.now(UTC) + timedelta(hours=1)
"""After the build was entered."""

CORNERS = ("fl", "fr", "rl", "rr")


def kept(workshop: Any, k: int, rng: Any, rise: float = 0.0) -> str:
    """Keep a made-up report of a flight; the front left unbalance is raised by ``rise``."""
    motors = {
        c: {n: float(rng.normal(0, 0.5 * PRIOR_SD[n])) for n in ("unbalance", "track", "second", "third")}
        for c in CORNERS
    }
    motors["fl"]["unbalance"] += rise
    report = {
        "features": {"motors": motors, "group": {}, "seconds": 40.0},
        "pack": {"r0_mohm": 20.0 + k, "lowest_v": 20.4, "cells": 6, "used_mah": 1000.0},
        "strikes": [],
    }
    sha = hashlib.sha256(str(k).encode()).hexdigest()
    key: str = workshop.store.save_log("gannet", file=f"{k}.csv", sha256=sha, report=report)
    workshop.record(
        "gannet",
        Pack(battery="B1", log=key),
        occurred=BEGIN + timedelta(minutes=k),
    )
    return key


def test_a_slow_rise_is_called_and_a_new_prop_begins_anew(workshop: Any) -> None:
    """Front left rises after ten flights: called; after its prop is swapped nothing is left to call."""
    rng = np.random.default_rng(1)
    for k in range(20):
        kept(workshop, k, rng, np.log(1.6) if k >= 10 else 0.0)
    called = [t for t in workshop.trends("gannet") if t.called is not None]
    assert [t.name for t in called] == ["apparent unbalance front left"]
    assert len(workshop.own_flights("gannet")) >= 20
    workshop.record(
        "gannet",
        Swap(part="prop_fl", why="worn"),
        occurred=BEGIN + timedelta(minutes=19.5),
    )
    assert all(t.called is None for t in workshop.trends("gannet"))
    assert all("fl" not in f.motors for f in workshop.own_flights("gannet"))
    assert "fr" in workshop.own_flights("gannet")[-1].motors


def test_packs_are_told_by_the_name_in_the_journal(workshop: Any) -> None:
    """Resistances of one battery make one story, with its cautions."""
    rng = np.random.default_rng(2)
    for k in range(4):
        kept(workshop, k, rng)
    (pack,) = [p for p in workshop.pack_healths("gannet") if p.battery == "B1"]
    assert pack.flights == 4
    assert pack.latest == pytest.approx(0.023, rel=1e-9)
    assert pack.to_json()["cautions"]


def test_a_crash_in_a_log_is_entered_once(workshop: Any, tmp_path: Any) -> None:
    """A log proposes its crash; confirmed twice it is one entry; one it does not propose is refused."""
    quad = workshop.quad("gannet")
    made = simulate_flight(
        quad, 6.0, 401, fs=1000.0, accelerometer=True, faults=Faults(blows=(Blow(3.0, 6.0, 15.0),))
    )
    content = made.write_csv(tmp_path / "c.csv").read_bytes()
    log = workshop.add_log("gannet", "c.csv", io.BytesIO(content))
    assert [round(s["at_s"]) for s in log.report["strikes"]] == [3]
    first = workshop.confirm_strike("gannet", log.key, 0)
    assert isinstance(first.payload, Crash)
    assert first.payload.severity == log.report["strikes"][0]["severity"]
    assert workshop.confirm_strike("gannet", log.key, 0).id == first.id
    with pytest.raises(NotFoundError, match="proposes no such crash"):
        workshop.confirm_strike("gannet", log.key, 5)


def test_reports_kept_before_there_were_features_do_no_harm(workshop: Any) -> None:
    """An old report without the new keys is passed over."""
    workshop.store.save_log("gannet", file="old.csv", sha256="0" * 64, report={"pack": None})
    assert isinstance(workshop.own_flights("gannet"), list)
    assert isinstance(workshop.trends("gannet"), tuple)
    assert isinstance(workshop.pack_healths(), tuple)


def test_a_flight_is_entered_as_one_pack_with_its_dose(workshop: Any) -> None:
    """Entered twice it is one pack, with the flight's minutes and vibration; trends say what began them."""
    report = {"features": None, "duration_s": 150.0, "v_rms_mm_s": 61.5, "strikes": []}
    key = workshop.store.save_log("gannet", file="a.csv", sha256="c" * 64, report=report)
    assert workshop.pack_of("gannet", key) is None
    first = workshop.enter_pack("gannet", key, "B7")
    assert workshop.enter_pack("gannet", key).id == first.id
    assert first.payload == Pack(minutes=2.5, battery="B7", rms=61.5, log=key)
    with pytest.raises(NotFoundError):
        workshop.enter_pack("dunlin", key)


def test_two_clicks_at_once_make_one_entry(workshop: Any) -> None:
    """Two server processes that both saw no entry make one pack and one crash; undone, they can come anew."""
    found = [{"at_s": 3.0, "severity": "slam"}]
    report = {"features": None, "duration_s": 150.0, "v_rms_mm_s": None, "strikes": found}
    key = workshop.store.save_log("gannet", file="a.csv", sha256="d" * 64, report=report)
    before = workshop.store.events("gannet")

    def click(shop: Any) -> set[Any]:
        shop.store.events = lambda _quad=None: before  # looked before the other wrote
        return {shop.enter_pack("gannet", key, "B7").id, shop.confirm_strike("gannet", key, 0).id}

    with Workshop(workshop.folder.root) as one, Workshop(workshop.folder.root) as other:
        entered = click(one)
        assert click(other) == entered
    assert {e.id for e in workshop.store.events("gannet")} - {e.id for e in before} == entered
    for event in entered:
        workshop.undo(event)
    again = {workshop.enter_pack("gannet", key, "B7").id, workshop.confirm_strike("gannet", key, 0).id}
    assert not again & entered
    assert {workshop.store.event(i).occurred for i in again} == {workshop.store.load_log(key).created}


def test_a_trend_says_what_began_it_and_leads_to_its_flights(workshop: Any) -> None:
    """After a prop swap the corner's trend names the swap, and each point names its kept log."""
    rng = np.random.default_rng(5)
    workshop.record("gannet", Swap(part="prop_fl", why="worn"), occurred=BEGIN - timedelta(minutes=1))
    keys = [kept(workshop, k, rng) for k in range(5)]
    (found,) = [t for t in workshop.trends("gannet") if t.name == "apparent unbalance front left"]
    assert found.since.startswith("front left prop swapped")
    assert list(found.flights)[-5:] == keys
    assert found.to_json()["false_alarms_per_100_packs"]["sum"] == 0.04
