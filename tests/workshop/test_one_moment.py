"""Answers that join several reads of the journal hold together while phones enter things in between."""

from __future__ import annotations

import pytest

from crashworthy.store.engine import Store
from crashworthy.upkeep.payloads import Crash, Pack, Swap


@pytest.fixture
def busy(workshop, monkeypatch):
    """A workshop into whose journal a phone enters a crash after every read; says how many came."""
    came = []
    reads = {name: getattr(Store, name) for name in ("columns", "events", "page")}

    def between(name):
        def read(store, *given, **more):
            got = reads[name](store, *given, **more)
            if len(came) < 500:  # each entry makes the next read see something new
                phone = f"late-{len(came) % 7}"
                came.extend(store.record("gannet", Crash("slam"), Pack(), device=phone))
            return got

        return read

    for name in reads:
        monkeypatch.setattr(Store, name, between(name))
    workshop.came = came
    return workshop


def test_the_pilots_of_a_quad_add_up_to_its_crashes_whatever_arrives_meanwhile(busy):
    """Crashes and whose they are come from one reading: none is counted for nobody or for two."""
    for _ in range(3):
        counts = busy.counts("gannet")
        assert busy.came
        told = [sum(p.crashes[k] for p in counts.pilots.values()) for k in range(3)]
        assert told == list(counts.crashes)
        by_item = {i: sum(p.items[i][0] for p in counts.pilots.values()) for i in counts.items}
        assert all(by_item[i] == n for i, (n, _) in counts.items.items())


def test_a_pilot_has_one_number_in_every_quad_that_is_given_away(busy):
    """A device that is first seen while the counts are taken moves no other pilot to another number."""
    for quad, n in (("gannet", 17), ("dunlin", 19)):
        busy.store.record(quad, *[Crash("scuff")] * n, device="zz-shared")
    given = {c.label: c for c in busy.nameless_counts()}
    assert set(given) == set(busy.names().values())
    shared = [
        {name for name, p in given[busy.names()[quad]].pilots.items() if p.crashes == (n, 0, 0)}
        for quad, n in (("gannet", 17), ("dunlin", 19))
    ]
    assert len(shared[0]) == 1
    assert shared[0] == shared[1]
    for counts in given.values():
        told = [sum(p.crashes[k] for p in counts.pilots.values()) for k in range(3)]
        assert told == list(counts.crashes)


def test_no_part_has_lived_through_more_than_its_quad(busy, monkeypatch):
    """Wear joins a quad's history with the lives of its parts: both are of one moment."""
    from crashworthy.upkeep import retire, worn

    seen = []
    for module, name, history_at, lives_at in (
        (retire, "wear_report", 3, 4),
        (worn, "worn_parts", 2, 3),
    ):
        whole = getattr(module, name)

        def told(*given, whole=whole, history_at=history_at, lives_at=lives_at, **more):
            lives = given[lives_at]
            rows = lives.values() if hasattr(lives, "values") else lives.now.values()
            history = given[history_at]
            new = {r.part for r in history.changes} | {
                life.part for life in rows if len(life.places) > 1 or life.serial
            }
            mine = [life for life in rows if life.quad == history.quad and life.part not in new]
            seen.append((history.clock, {life.lived for life in mine}))
            return whole(*given, **more)

        monkeypatch.setattr(module, name, told)
    busy.record("gannet", Swap("arm_fl", "worn"))
    busy.wear("gannet")
    assert len(seen) == 2
    for clock, lived in seen:
        assert lived == {clock}  # what was never swapped lived through exactly what its quad did
