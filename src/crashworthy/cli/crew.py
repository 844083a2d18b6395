"""`crashworthy tougher` and `crew`: is the new build better, and what does the crew know together?"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from crashworthy.cli.options import Data, Json, Store, opened
from crashworthy.cli.output import print_json, say, table

if TYPE_CHECKING:
    from crashworthy.upkeep.counts import QuadCounts

__all__ = ["crew", "tougher"]


def tougher(
    new: Annotated[str, typer.Argument(help="The quad in question.")],
    old: Annotated[
        str | None,
        typer.Argument(help="A quad to compare it with; without, itself before the last change of build."),
    ] = None,
    since: Annotated[
        str | None, typer.Option("--since", help="When the build changed, like 2026-05-01T10:30:00Z.")
    ] = None,
    data: Data = None,
    store: Store = None,
    as_json: Json = False,
) -> None:
    """Say in words whether a build breaks less than another, how sure that is, and what would settle it.

    Example: crashworthy tougher gannet dunlin
    """
    from crashworthy.upkeep.events import moment_rule
    from crashworthy.upkeep.rules import BrokenRuleError

    try:
        moment = None if since is None else moment_rule(since)
    except BrokenRuleError as problem:
        raise typer.BadParameter(f"--since {' -> '.join(map(str, problem.args))}") from None
    with opened(data, store) as workshop:
        answers = workshop.tougher(new, old, moment)
        trend = workshop.growth(new)
    if as_json:
        print_json({"answers": [a.to_json() for a in answers], "growth": trend.to_json()})
        return
    say(answers[0].summary())
    say(answers[0].change())
    table(
        ("what", "old", "new", "new over old", "better", "exact p", "crashes each"),
        [
            (
                a.item,
                f"{a.old.breaks} in {a.old.crashes}",
                f"{a.new.breaks} in {a.new.crashes}",
                "{} ({}-{})".format(*(_short(x) for x in a.ratio)),
                f"{100 * a.probability:.0f} %",
                f"{a.exact.p_value:.3f}",
                a.needed or "> 20000",
            )
            for a in answers
        ],
        right="lrrrrrr",
    )
    say("New over old: ratio of break rates, 90 %. Better: chance that it is below 1.")
    say("Crashes each: on either build, after which a halving would most likely show.")
    say(f"Trend of {new}: {trend.summary()}")
    if not answers[0].weighed:
        say("Severities are not weighed: run `crashworthy crash` on the quad first.")


def crew(
    files: Annotated[
        list[Path] | None, typer.Argument(help="Counts that others of the crew exported.")
    ] = None,
    export: Annotated[
        bool, typer.Option("--export", help="Print this fleet's counts, and nothing else of it, for others.")
    ] = False,
    keep: Annotated[
        str | None,
        typer.Option("--keep", help="Keep the counts under this name, in place of what it gave before."),
    ] = None,
    drop: Annotated[
        str | None, typer.Option("--drop", help="Remove the counts that were kept under this name.")
    ] = None,
    data: Data = None,
    store: Store = None,
    as_json: Json = False,
) -> None:
    """Pool what several quads know: break rates and screw lives, each informed by the others.

    Example: crashworthy crew dunlin-counts.json --keep "the mill"
    """
    from crashworthy.upkeep.counts import read_counts

    texts = [(_text(path), str(path)) for path in files or ()]
    if keep is not None and len(texts) != 1:
        raise typer.BadParameter("--keep takes one file, for what it holds replaces what was given before")
    with opened(data, store) as workshop:
        if export:
            print_json([counts.to_json() for counts in workshop.nameless_counts()])
            return
        if drop is not None:
            gone = workshop.drop_counts(drop)
            typer.echo(
                f"Removed the counts of {gone} {'quad' if gone == 1 else 'quads'} that {drop} gave.", err=True
            )
        others: list[QuadCounts] = []
        if keep is not None:
            for given in workshop.take_counts(keep, *texts[0]):
                typer.echo(f"Kept: {given.summary()}", err=True)
        else:
            others = [c.told_by(Path(name).stem) for text, name in texts for c in read_counts(text, name)]
        report, kept = workshop.crew(others), workshop.given()
    if as_json:
        print_json(report.to_json() | {"given": [g.to_json() for g in kept]})
        return
    say(report.summary())
    if report.items:
        table(
            ("item", "quad", "broke", "expected", "own -> pooled", "90 %"),
            [
                (
                    p.item.replace("_", " ") if i == 0 else "",
                    label,
                    p.breaks[i],
                    f"{p.expected[i]:.1f}",
                    f"{_ratio(p.raw[i])} -> {p.pooled[i]:.2f}",
                    f"{p.low[i]:.2f}-{p.high[i]:.2f}",
                )
                for p in report.items
                if sum(p.breaks)
                for i, label in enumerate(p.labels)
            ],
            right="llrrrr",
        )
    else:
        say("Break rates need a crash test of each quad: run `crashworthy crash`.")
    for pool in report.screws:
        say(f"{pool.summary()[:1].upper()}{pool.summary()[1:]}")
    if len(report.grading.pilots) > 1:
        say()
        table(
            ("pilot", "crashes", "scuff/hit/slam", "own", "grading", "90 %"),
            [
                (
                    p.pilot,
                    p.crashes,
                    "/".join(f"{100 * share:.0f}" for share in p.mix),
                    _ratio(p.raw),
                    f"{p.factor:.2f}",
                    f"{p.low:.2f}-{p.high:.2f}",
                )
                for p in report.grading.pilots
            ],
            right="lrrrrr",
        )
        say(report.grading.summary())
        say("Grading: breaks at this pilot's grades over the crew's; over 1: hard crashes are called light.")
    say("Own: broken over simulated. Pooled: the same, informed by the crew, the pilots' grading taken out.")
    for source in dict.fromkeys(g.source for g in kept):
        mine = [g for g in kept if g.source == source]
        names = ", ".join(g.counts.label for g in mine)
        say(f"Given by {source} on {mine[0].taken:%Y-%m-%d}: {names}.")


def _text(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as problem:
        raise typer.BadParameter(f"{path}: {getattr(problem, 'strerror', '') or 'is not text'}") from None


def _short(x: float) -> str:
    return "> 100" if x > 100.0 else "< 0.01" if x < 0.01 else f"{x:.2g}"


def _ratio(x: float | None) -> str:
    return "-" if x is None else f"{x:.2f}"
