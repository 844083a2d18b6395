"""`crashworthy evidence`: every check against the outside, with its source."""

from __future__ import annotations

from dataclasses import asdict
from textwrap import fill
from typing import TYPE_CHECKING, Annotated, Any

import typer

from crashworthy.cli.options import Json
from crashworthy.cli.output import WIDTH, print_json, progress_bar, say

if TYPE_CHECKING:
    from crashworthy.evidence.registry import Outcome

__all__ = ["evidence"]


def evidence(
    room: Annotated[
        str | None, typer.Argument(help="Only the checks of one room, such as impact or upkeep.")
    ] = None,
    as_json: Json = False,
) -> None:
    """Run every check against the outside: expected, got, tolerance, source. Exit status 1 when one fails.

    Example: crashworthy evidence upkeep
    """
    from crashworthy.evidence.registry import ROOMS, all_checks, run_check

    if room is not None and room not in ROOMS:
        raise typer.BadParameter(f"rooms are {', '.join(ROOMS)}")
    checks = all_checks(room)
    outcomes = []
    with progress_bar("checking") as progress:
        for number, check in enumerate(checks, 1):
            outcomes.append(run_check(check))
            progress(number, len(checks))
    failed = [o for o in outcomes if not o.passed]
    passed = len(outcomes) - len(failed)
    sentence = f"{passed} of {len(outcomes)} outside checks pass."
    if as_json:
        print_json({"summary": sentence, "checks": [_plain(asdict(o)) for o in outcomes]})
    else:
        say(sentence)
        for o in outcomes:
            _block(o)
        for o in failed:
            say(f"FAILED {o.check.id}: expected {o.expected!r}, got {o.got!r} {o.problem}")
    if failed:
        raise typer.Exit(1)


def _block(o: Outcome) -> None:
    """One check: verdict and what, then the numbers, then where the expected one comes from."""
    check = o.check
    unit = f" {check.unit}" if check.unit else ""
    within = f"{check.tolerance:g}{' of it' if check.relative else unit}"
    say(f"{'pass' if o.passed else 'FAIL'}  {check.title}  [{check.id}]")
    lines = (
        f"{check.inputs}: expected {o.expected:.7g}{unit}, got {o.got:.7g}, within {within}.",
        f"{check.access}: {check.source}",
    )
    for line in lines:
        say(fill(line, WIDTH, initial_indent=" " * 6, subsequent_indent=" " * 8))


def _plain(outcome: dict[str, Any]) -> dict[str, Any]:
    check = outcome.pop("check")
    del check["run"]
    numbers = {
        k: (v if isinstance(v, bool | str) or (v == v and abs(v) != float("inf")) else None)
        for k, v in outcome.items()
    }
    return {**check, **numbers}
