"""What `crashworthy crash` shows besides the table: worst crashes, one crash again, strike map, report."""

from __future__ import annotations

import json
import math
from typing import TYPE_CHECKING, Any, Final

import typer

from crashworthy.cli.output import print_json, say, table

if TYPE_CHECKING:
    from pathlib import Path

    from crashworthy.build.quad import Quad
    from crashworthy.impact.batch import CrashBatch
    from crashworthy.impact.replays import Replay
    from crashworthy.impact.scenario import Scenario

__all__ = ["check_endings", "say_more", "show_replay", "worst_of", "write_files"]

REPLAYS: Final = (".json", ".png", ".svg", ".glb")
STRIKES: Final = (".json", ".png", ".glb")
PAPER: Final = (".html", ".htm", ".pdf")


def check_endings(output: Path | None, strikes: Path | None, report: Path | None) -> None:
    """Refuse a file that could not be written in the end, before anything is crashed.

    Raises:
        BadParameter: an ending that is not offered.
    """
    for name, file, allowed in (
        ("--output", output, REPLAYS),
        ("--strikes", strikes, STRIKES),
        ("--report", report, PAPER),
    ):
        if file is not None and file.suffix.lower() not in allowed:
            raise typer.BadParameter(f"{name} {file}: end its name with {', '.join(allowed)}")


def _save(file: Path, data: bytes) -> None:
    try:
        file.write_bytes(data)
    except OSError as problem:
        raise typer.BadParameter(f"cannot write {file}: {problem.strerror}") from None


def show_replay(
    build: Quad, crash: int, seed: int, mix: Scenario | None, output: Path | None, *, as_json: bool
) -> None:
    """One crash again: in words, or written to a file."""
    from crashworthy.impact.replays import bring_back

    found = bring_back(build, crash, seed, mix)
    if output is not None:
        _save(output, _film(build, found, output.suffix.lower()))
    if as_json:
        print_json(found.to_json())
        return
    say(found.summary())
    labels = {p.name: p.label for p in build.parts}
    peaks = {name: (force, impulse) for name, force, impulse in found.peaks}
    rows = []
    for name, start, end in found.contacts[:24]:
        force, impulse = peaks.get(name, (0.0, 0.0))
        rows.append(
            (labels[name], f"{1000 * start:.1f}", f"{1000 * end:.1f}", f"{force:.0f}", f"{impulse:.3f}")
        )
    table(("in contact", "from, ms", "to, ms", "peak, N", "N s in all"), rows, right="lrrrr")
    if len(found.contacts) > len(rows):
        say(f"... and {len(found.contacts) - len(rows)} more; --json has them.")
    for arm, name in enumerate(found.arms):
        inside, out = (abs(found.moments[:, arm, j]).max() for j in (0, 1))
        say(
            f"{labels[name]}: {inside:.1f} N m in plane, {out:.1f} out of plane; half break at "
            f"{found.capacity[arm, 0]:.0f} and {found.capacity[arm, 1]:.0f}. "
            f"Twisted by {math.degrees(abs(found.twists[:, arm]).max()):.1f} degrees, "
            f"{abs(found.torques[:, arm]).max():.1f} N m; half break at {found.torque_capacity[arm]:.0f}."
        )
    if output is not None:
        say(f"Wrote {output}.")


def _film(build: Quad, found: Replay, ending: str) -> bytes:
    if ending == ".json":
        return (json.dumps(found.to_json(), indent=1) + "\n").encode()
    if ending == ".glb":
        from crashworthy.pictures.film import film_glb

        return film_glb(build, found)
    from crashworthy.pictures.scene import strip_png, strip_svg

    return strip_png(build, found) if ending == ".png" else strip_svg(build, found, alone=True).encode()


def worst_of(batch: CrashBatch, part: str) -> list[dict[str, Any]]:
    """The worst crashes as plain data.

    Raises:
        ScenarioError: no such part.
    """
    from crashworthy.impact.hardest import BY_BOARDS, BY_DAMAGE, worst_crashes

    by = {"all": BY_DAMAGE, "boards": BY_BOARDS}.get(part, part)
    return [w.to_json() for w in worst_crashes(batch, by)]


def write_files(
    build: Quad,
    batch: CrashBatch,
    summary: dict[str, Any],
    mix: Scenario | None,
    strikes: Path | None,
    report: Path | None,
    asked: str,
    scenario: str | None,
) -> dict[str, Any]:
    """Write strike map and report; returns what there is to say of them."""
    from crashworthy.impact.strikes import strike_map

    found = strike_map(build, batch)
    told: dict[str, Any] = {"strikes": found.to_json(), "files": []}
    if strikes is not None:
        ending = strikes.suffix.lower()
        if ending == ".json":
            data = (json.dumps(told["strikes"], indent=1) + "\n").encode()
        else:
            from crashworthy.pictures.strikes import strike_glb, strike_png

            data = strike_glb(build, found) if ending == ".glb" else strike_png(build, found)
        _save(strikes, data)
        told["files"].append(str(strikes))
    if report is not None:
        from crashworthy.pictures import paper
        from crashworthy.workshop.showing import crash_report

        html = crash_report(
            build, summary, found, batch.seed, mix, sheet=asked,
            scenario_file=scenario or "",
        )  # fmt: skip
        paper.write(html, report)
        told["files"].append(str(report))
    return told


def say_more(told: dict[str, Any]) -> None:
    """Worst crashes and written files in words."""
    if "worst" in told:
        say()
        table(
            ("crash", "into", "m/s", "first", "N", "load", "breaks"),
            [
                (
                    w["crash"],
                    w["obstacle"],
                    f"{w['speed']:.1f}",
                    w["first"],
                    f"{w['force']:.0f}",
                    f"{w['load']:.2f}",
                    f"{w['breaks']:.2f}",
                )
                for w in told["worst"]
            ],
            right="rlrlrrr",
        )
        say("N: on the part asked for, or the hardest hit one. Load: over strength.")
        say("Breaks: expected number of broken parts, or the chance of the part asked for.")
        say("--replay NUMBER with the same seed brings one of them back.")
    if "strikes" in told:
        say()
        say(told["strikes"]["summary"])
        say(f"Counted: {told['strikes']['counted']}.")
        for file in told["files"]:
            say(f"Wrote {file}.")
