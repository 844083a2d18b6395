"""How quickly is a journal read back? Invented events in SQLite, folded into what upkeep reasons with.

Writes quads of 5 000 events each (a third are crashes; checks, swaps and notes among them), then times: one
quad from the file to its history; the same through event objects; all quads; one event appended.
Run: python bench/journal.py [quads]   (200 quads are a million events and take some minutes to write)
"""

from __future__ import annotations

import random
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

from crashworthy.store.engine import Store, open_store
from crashworthy.upkeep.events import Event, IdMaker, Scribe
from crashworthy.upkeep.payloads import Check, Crash, Note, Pack, Payload, Swap
from crashworthy.upkeep.priors import load_priors
from crashworthy.upkeep.state import Screws, fold, fold_columns

EVENTS = 5000
GROUPS = {
    "arm": Screws("arm", 8),
    "motor": Screws("motor", 16),
    "standoff": Screws("other", 16),
    "stack": Screws("other", 4),
    "camera": Screws("other", 2),
}


def said(rng: random.Random) -> Payload:
    """One thing that may happen."""
    roll = rng.random()
    if roll < 0.58:
        return Pack(round(rng.uniform(2.5, 5.0), 1), f"P{rng.randrange(8)}", crashes=rng.choice((0, 1, 1, 2)))
    if roll < 0.9:
        broke = ("prop_fl",) if rng.random() < 0.2 else ()
        return Crash(rng.choice(("scuff", "hit", "slam")), rng.choice(("wall", "grass", "")), broke=broke)
    if roll < 0.97:
        return Check(rng.choice(tuple(GROUPS)), 2, loose=int(rng.random() < 0.1))
    return Swap("prop_fl") if roll < 0.99 else Note(f"note {rng.random():.6f}")


def season(quad: int) -> Iterator[Event]:
    """5 000 events of one quad, three minutes apart."""
    rng = random.Random(quad)  # noqa: S311 - repeatable on purpose
    now = datetime(2025, 1, 1, tzinfo=UTC)
    ids = IdMaker(lambda: now, rng.randbytes)
    pen = Scribe(f"phone-{quad}", lambda: now, ids)
    for _ in range(EVENTS):
        now += timedelta(minutes=3)
        yield pen.write(f"quad-{quad}", said(rng))


def timed(what: str, work: Callable[[], object], repeats: int) -> None:
    """Print the least wall time and the least processor time of some repeats, ms."""
    work()
    wall, used = [], []
    for _ in range(repeats):
        start, begun = time.perf_counter(), time.process_time()
        work()
        used.append(time.process_time() - begun)
        wall.append(time.perf_counter() - start)
    print(f"{what:50} {1e3 * min(wall):9.1f} ms   processor {1e3 * min(used):9.1f} ms")


def main() -> None:
    """Write, then time."""
    quads = int(sys.argv[1]) if len(sys.argv) > 1 else 20
    load_priors()
    with tempfile.TemporaryDirectory() as folder, open_store(Path(folder) / "fleet.db") as store:
        start = time.perf_counter()
        for quad in range(quads):
            store.append(season(quad))
        total = quads * EVENTS
        print(f"{total} events of {quads} quads written in {time.perf_counter() - start:.1f} s")
        _times(store, quads)


def _times(store: Store, quads: int) -> None:
    slow = fold("quad-0", store.events("quad-0"), GROUPS)
    if fold_columns("quad-0", store.columns("quad-0"), GROUPS) != slow:
        raise SystemExit("the two ways do not agree")

    def one() -> object:
        return fold_columns("quad-0", store.columns("quad-0"), GROUPS)

    def every() -> object:
        known: dict[bytes, Payload] = {}
        return [
            fold_columns(f"quad-{i}", store.columns(f"quad-{i}", known), GROUPS).packs for i in range(quads)
        ]

    timed("one quad of 5 000 events, file to history", one, 15)
    timed("the same through event objects", lambda: fold("quad-0", store.events("quad-0"), GROUPS), 5)
    timed(f"all {quads * EVENTS} events", every, 3)
    timed("one event appended, safe on the disk", lambda: store.record("quad-0", Crash("hit")), 30)


if __name__ == "__main__":
    main()
