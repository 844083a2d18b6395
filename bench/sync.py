"""Fifty phones that come home: each sends a day's entries to a real server over the loopback.

    python bench/sync.py [--phones 50] [--entries 60] [--workers 1 2] [--only sqlite postgresql]

The server is `crashworthy serve --accounts` with processes of its own; every phone has a token and begins at
the same moment, which is harder than spread over a minute. A phone sends its entries in batches of 20 as the
outbox does, or one by one as they are made with signal. Printed: time of one request (50th and 99th
percentile), time until every phone is done, and entries that were acknowledged but are not in the store.
"""

from __future__ import annotations

import argparse
import importlib.util
import json
import os
import random
import subprocess
import sys
import tempfile
import threading
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from uuid import UUID

import httpx

from crashworthy.workshop.hall import Hall

ROOT = Path(__file__).resolve().parents[1]
SECRET = "a quarry at noon"  # noqa: S105 - of people who do not exist


def day(phone: int, entries: int) -> list[dict[str, Any]]:
    """A day of one phone: packs with crashes between them, all invented."""
    chance = random.Random(phone)  # noqa: S311 - repeatable
    at = datetime(2026, 5, 1, 9, tzinfo=UTC)
    rows = []
    for k in range(entries):
        at += timedelta(minutes=chance.uniform(1, 6))
        crash = k % 2 == 1
        raw = bytearray(chance.randbytes(16))
        raw[6], raw[8] = 0x70 | raw[6] & 0x0F, 0x80 | raw[8] & 0x3F
        rows.append(
            {
                "id": str(UUID(bytes=bytes(raw))),
                "quad": "gannet",
                "device": f"phone-{phone}",
                "device_seq": k + 1,
                "kind": "crash" if crash else "pack",
                "occurred": at.isoformat(timespec="milliseconds"),
                "payload": {"severity": chance.choice(("scuff", "hit", "slam"))} if crash else {"minutes": 4},
            }
        )
    return rows


def sync(address: str, tokens: list[str], entries: int, batch: int) -> tuple[list[float], float, set[str]]:
    """Let every phone send its day at once.

    Returns:
        Seconds of each request, seconds until the last phone was done, ids that were acknowledged.
    """
    took: list[float] = []
    known: set[str] = set()
    lock, gate = threading.Lock(), threading.Barrier(len(tokens) + 1)

    def phone(number: int) -> None:
        rows = day(number, entries)
        with httpx.Client(base_url=address, headers={"Authorization": f"Bearer {tokens[number]}"}) as client:
            gate.wait()
            for k in range(0, len(rows), batch):
                while True:
                    began = time.perf_counter()
                    answer = client.post("/api/events", json={"events": rows[k : k + batch]}, timeout=60)
                    seconds = time.perf_counter() - began
                    with lock:
                        took.append(seconds)
                    if answer.status_code == 200:
                        break
                    time.sleep(0.5)  # as the outbox does: keep and try again
                body = answer.json()
                with lock:
                    known.update(body["accepted"], body["duplicate"])

    threads = [threading.Thread(target=phone, args=(k,)) for k in range(len(tokens))]
    for thread in threads:
        thread.start()
    gate.wait()
    began = time.perf_counter()
    for thread in threads:
        thread.join()
    return took, time.perf_counter() - began, known


def run(data: Path, store: str | None, workers: int, phones: int, entries: int, batch: int) -> str:
    """One row of the table."""
    with Hall(data, store) as hall:
        home = hall.accounts.add_crew("Millrace")
        hall.accounts.add_person("robin", SECRET, home, "lead")
        guest = hall.accounts.who(hall.accounts.sign_in("robin", SECRET, "bench"))
        if guest is None:
            raise RuntimeError("the token just made opens nothing")
        tokens = [hall.accounts.make_device(guest, f"phone {k}") for k in range(phones)]
        sheet = ROOT / "examples" / "gannet.toml"
        hall.workshop_of(home).add_quad(sheet.read_text(encoding="utf-8"), sheet)
    words = [sys.executable, "-m", "crashworthy", "serve", "--accounts", "--port", "0", "--no-browser"]
    words += ["--json", "--data", str(data), "--workers", str(workers)]
    words += ["--store", store] if store else []
    with (data / "out").open("w") as out:
        server = subprocess.Popen(words, stdout=out, env=os.environ)
    try:
        while not (said := (data / "out").read_text()).strip().endswith("}"):
            time.sleep(0.1)
        address = json.loads(said)["address"].rstrip("/")
        for _ in range(4 * workers):  # every worker has opened the fleet
            httpx.get(f"{address}/api/fleet", headers={"Authorization": f"Bearer {tokens[0]}"}, timeout=60)
        took, total, known = sync(address, tokens, entries, batch)
    finally:
        server.terminate()
        server.wait(30)
    with Hall(data, store) as hall:
        shop = hall.workshop_of(home)
        there = {str(event.id) for event in shop.store.events()}
        sound = shop.verify().ok
    asked = {row["id"] for k in range(phones) for row in day(k, entries)}
    took.sort()
    p50, p99 = (took[min(len(took) - 1, int(q * len(took)))] for q in (0.5, 0.99))
    name = "PostgreSQL" if store else "SQLite"
    lost, missing = len(known - there), len(asked - there)
    return (
        f"| {name} | {workers} | {batch} | {len(took)} | {1000 * p50:.0f} | {1000 * p99:.0f} | {total:.1f} "
        f"| {lost} | {missing} | {'whole' if sound else 'BROKEN'} |"
    )


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--phones", type=int, default=50)
    parser.add_argument("--entries", type=int, default=60)
    parser.add_argument("--workers", type=int, nargs="*", default=[1, 2])
    parser.add_argument("--only", nargs="*", default=["sqlite", "postgresql"])
    asked = parser.parse_args()
    print("| store | workers | batch | requests | p50 ms | p99 ms | all done s | lost | missing | chains |")
    print("|---|---|---|---|---|---|---|---|---|---|")
    server = None
    try:
        for kind in asked.only:
            for workers in asked.workers:
                for batch in (20, 1):
                    store = None
                    if kind == "postgresql":
                        server = server or _postgres()
                        store = server.new_database().replace("%3D", "=")
                    with tempfile.TemporaryDirectory() as folder:
                        print(
                            run(Path(folder), store, workers, asked.phones, asked.entries, batch), flush=True
                        )
    finally:
        if server is not None:
            server.stop()


def _postgres() -> Any:
    """A throw-away server, started as the tests start theirs, but with its safety on."""
    spec = importlib.util.spec_from_file_location("helpers", ROOT / "tests" / "store" / "conftest.py")
    if spec is None or spec.loader is None:
        raise RuntimeError("the tests are not beside this file")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module.Server(Path(tempfile.mkdtemp(prefix="cwpg")), safe=True)


if __name__ == "__main__":
    main()
