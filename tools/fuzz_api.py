"""Send the web app what nobody would: requests made from its own description, for a set time.

    python tools/fuzz_api.py --minutes 20 [--seed 1] [--hall]

Every route is described to schemathesis (pages too, which the published description leaves out), a real
server is started on a copy of the demo fleet, and no answer may be a server error (5xx). Half of the requests
name a quad that exists. With ``--hall`` the server has two crews; whoever asks is in the crew without quads,
and no answer may hold a word of the other crew's. Ends with status 1 and the requests that failed.
"""

from __future__ import annotations

import argparse
import random
import sys
import tempfile
import threading
import time
import warnings
from collections import Counter
from pathlib import Path
from typing import Any

import hypothesis
import requests
import schemathesis

from crashworthy.web.app import create_app
from crashworthy.web.serve import bind
from crashworthy.workshop import Workshop
from crashworthy.workshop.hall import Hall

LEFT_OUT = ("/sign-out", "/people/end", "/people/password", "/people/crew", "/people/role")
"""Would sign the asker out for good; they have tests of their own."""

HEAVY = ("/evidence/run", "/quads/{slug}/crash", "/quads/{slug}/improve", "/quads/{slug}/placement/crash")
"""A POST here begins minutes of work; what they take is checked before that, and tested elsewhere."""

QUADS = ("gannet", "dunlin")
SECRET = "a quarry at noon"  # noqa: S105 - of people who do not exist


class Target:
    """A real server over one app, in a thread."""

    def __init__(self, app: Any) -> None:
        """Start it and wait until it answers."""
        import uvicorn

        self.app = app
        self.listener = bind("127.0.0.1", 0)
        config = uvicorn.Config(app, log_level="critical", lifespan="off", ws="none")
        self.server = uvicorn.Server(config)
        self.thread = threading.Thread(
            target=self.server.run, kwargs={"sockets": [self.listener]}, daemon=True
        )
        self.thread.start()
        while not self.server.started:
            time.sleep(0.02)
        self.address = f"http://127.0.0.1:{self.listener.getsockname()[1]}"

    def stop(self) -> None:
        """Stop it."""
        self.server.should_exit = True
        self.thread.join(10)
        self.listener.close()


def operations(app: Any, *, pages: bool = True, without: str = "") -> list[Any]:
    """Everything that can be asked, as schemathesis sees it.

    Args:
        app: the app.
        pages: pages and forms too, which the published description leaves out.
        without: leave out paths that hold this word.
    """
    if pages:
        for route in app.routes:
            if hasattr(route, "include_in_schema"):
                route.include_in_schema = True
        app.openapi_schema = None
    schema = schemathesis.openapi.from_dict(app.openapi())
    found = [result.ok() for result in schema.get_all_operations()]
    return [
        op
        for op in found
        if op.path not in LEFT_OUT
        and not (without and without in op.path)
        and not (op.method.upper() == "POST" and op.path.startswith(HEAVY))
    ]


def throw(
    target: Target,
    seconds: float,
    seed: int,
    *,
    examples: int = 8,
    headers: dict[str, str] | None = None,
    forbidden: tuple[str, ...] = (),
    pages: bool = True,
    without: str = "",
) -> tuple[Counter[int], list[str]]:
    """Throw requests until the time is up.

    Returns:
        How often each status was answered, and what failed, in words.
    """
    every, chance = operations(target.app, pages=pages, without=without), random.Random(seed)  # noqa: S311 - repeatable
    statuses: Counter[int] = Counter()
    failed: dict[str, str] = {}
    end, round_number = time.monotonic() + seconds, 0
    while time.monotonic() < end:
        chance.shuffle(every)
        for operation in every:
            if time.monotonic() > end:
                break
            _one(
                target, operation, seed + round_number, examples, chance, headers, forbidden, statuses, failed
            )
        round_number += 1
    return statuses, [f"{key}: {words}" for key, words in sorted(failed.items())]


def _one(
    target: Target,
    operation: Any,
    seed: int,
    examples: int,
    chance: random.Random,
    headers: dict[str, str] | None,
    forbidden: tuple[str, ...],
    statuses: Counter[int],
    failed: dict[str, str],
) -> None:
    @hypothesis.seed(seed)
    @hypothesis.settings(
        max_examples=examples,
        deadline=None,
        database=None,
        suppress_health_check=list(hypothesis.HealthCheck),
        phases=(hypothesis.Phase.generate,),
    )
    @hypothesis.given(case=operation.as_strategy())
    def send(case: Any) -> None:
        if "slug" in (case.path_parameters or {}) and chance.random() < 0.5:
            case.path_parameters["slug"] = chance.choice(QUADS)
        try:
            answer = case.call(base_url=target.address, headers=headers, timeout=300, allow_redirects=False)
        except requests.exceptions.RequestException as problem:
            if isinstance(problem, requests.exceptions.InvalidHeader | requests.exceptions.InvalidURL):
                return  # the client would not send it
            failed.setdefault(f"{operation.method.upper()} {operation.path} no answer", repr(problem)[:300])
            return
        statuses[answer.status_code] += 1
        text = answer.content.decode(errors="replace").lower()
        # A refusal names the fields it refuses, and what is made up here may hold any word of this very file.
        sent = f"{case.path_parameters!r} {case.query!r} {case.headers!r} {case.body!r}".lower()
        leaked = [word for word in forbidden if word in text and word not in sent]
        if answer.status_code >= 500 or leaked:
            key = f"{operation.method.upper()} {operation.path} {answer.status_code}"
            words = f"query {case.query!r} path {case.path_parameters!r} body {case.body!r:.300}"
            failed.setdefault(key, f"{words} {'leaked ' + str(leaked) if leaked else ''}")

    try:
        send()
    except hypothesis.errors.Unsatisfiable:
        return


def main() -> int:
    """Run for the time asked for and say what was answered."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--minutes", type=float, default=20.0)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--hall", action="store_true")
    asked = parser.parse_args()
    warnings.simplefilter("ignore")
    with tempfile.TemporaryDirectory() as folder:
        data = Path(folder) / "data"
        from crashworthy.demo.setup import set_up

        with Workshop(data) as fleet:
            set_up(fleet)
        if not asked.hall:
            with Workshop(data) as fleet:
                return _report(Target(create_app(fleet)), asked)
        with Hall(data) as hall:
            hall.accounts.add_person("robin", SECRET, hall.accounts.add_crew("Millrace"), "lead")
            hall.accounts.add_person("wren", SECRET, hall.accounts.add_crew("Weir"), "lead")
            token = hall.accounts.sign_in("wren", SECRET, "here")
            return _report(
                Target(create_app(None, hall=hall)),
                asked,
                headers={"Authorization": f"Bearer {token}"},
                forbidden=("millrace", "quarry"),
            )


def _report(target: Target, asked: argparse.Namespace, **more: Any) -> int:
    began = time.monotonic()
    statuses, failed = throw(target, 60.0 * asked.minutes, asked.seed, **more)
    target.stop()
    said = ", ".join(f"{status}: {count}" for status, count in sorted(statuses.items()))
    print(f"{sum(statuses.values())} requests in {time.monotonic() - began:.0f} s, seed {asked.seed}; {said}")
    print(f"{len(failed)} kinds of request failed")
    for words in failed:
        print(words)
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
