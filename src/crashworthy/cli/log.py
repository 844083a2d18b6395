"""`crashworthy log`: what a flight log says, and what it cannot say."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from crashworthy.cli.options import Data, Json, Store, opened
from crashworthy.cli.output import print_json, say, table

if TYPE_CHECKING:
    from crashworthy.vibration.answers import LogReport
    from crashworthy.vibration.verdict import Verdict

__all__ = ["log"]


def log(
    file: Annotated[
        Path, typer.Argument(help="A flight log: CSV, or ULog or flight-recorder log with an extra.")
    ],
    quad: Annotated[
        str | None,
        typer.Option("--quad", help="The build that flew it: a sheet file, or a quad of the fleet."),
    ] = None,
    columns: Annotated[
        Path | None,
        typer.Option("--columns", help="What the columns mean (TOML or JSON), to overrule the guess."),
    ] = None,
    show_columns: Annotated[
        bool, typer.Option("--show-columns", help="Only say what the columns are taken for.")
    ] = False,
    flight: Annotated[
        int | None,
        typer.Option("--flight", min=1, help="Which flight of a file with several; else the longest."),
    ] = None,
    list_flights: Annotated[bool, typer.Option("--list", help="Only list the flights in the file.")] = False,
    keep: Annotated[
        bool, typer.Option("--keep", help="Keep the log and a report of every flight in it with the quad.")
    ] = False,
    data: Data = None,
    store: Store = None,
    as_json: Json = False,
) -> None:
    """Read a flight log: state what it could and could not compute, and why.

    Example: crashworthy log flight.csv --quad gannet
    """
    if show_columns:
        _columns(file, as_json)
        return
    if list_flights:
        _flights(file, columns, as_json)
        return
    with opened(data, store) as workshop:
        if keep:
            if quad is None or quad.endswith(".toml"):
                raise typer.BadParameter("--keep needs --quad with a quad of the fleet")
            if columns is not None:
                raise typer.BadParameter("--keep reads by its own guess; correct the columns in the app")
            try:
                stream = file.open("rb")
            except OSError as problem:
                raise typer.BadParameter(f"{file}: {problem.strerror}") from None
            with stream:
                kept = workshop.add_flights(quad, file.name, stream)
            if flight is not None and not 1 <= flight <= len(kept):
                raise typer.BadParameter(f"kept {len(kept)} flights; there is no flight {flight}")
            chosen = kept[flight - 1] if flight else max(kept, key=lambda k: k.report["duration_s"])
            if as_json:
                print_json(chosen.report if len(kept) == 1 else [k.report for k in kept])
                return
            say(f"Kept with {quad}." if len(kept) == 1 else f"Kept with {quad}: {len(kept)} flights.")
            for k in kept if len(kept) > 1 else ():
                say(f"  {k.file}: {k.report['summary']}")
            flight = chosen.report["meta"]["flight"] if len(kept) > 1 else None
        report = workshop.analyse_log(
            file,
            workshop.find(quad) if quad else None,
            _mapping(columns),
            flight=flight,
            baselines=workshop.own_flights(quad) if quad and quad in workshop.names() else (),
        )
    if as_json:
        print_json(report.to_json())
    else:
        _words(report)


def _mapping(path: Path | None) -> dict[str, Any] | None:
    if path is None:
        return None
    from crashworthy.vibration.readers.mapping import Mapping

    return Mapping.load(path).to_json()


def _flights(file: Path, columns: Path | None, as_json: bool) -> None:
    from crashworthy.vibration.readers.mapping import Mapping
    from crashworthy.vibration.readers.registry import read_flights

    found = read_flights(file, Mapping.load(columns) if columns else None)
    if as_json:
        print_json([{"duration_s": round(log.duration, 3), **log.meta.to_json()} for log in found])
        return
    say(f"{file.name} holds {len(found)} flight{'s' if len(found) != 1 else ''}.")
    table(
        ("flight", "begins s", "lasts s", "gyro Hz", "speed Hz", "gaps"),
        [
            (
                str(log.meta.flight),
                f"{log.meta.begins:.1f}",
                f"{log.duration:.1f}",
                f"{log.fs:.0f}",
                f"{log.meta.rates.get('speed', 0.0):.0f}",
                str(len(log.meta.gaps)),
            )
            for log in found
        ],
        right="rrrrrr",
    )
    for log in found:
        for note in log.meta.notes:
            say(f"- flight {log.meta.flight}: {note}")


def _columns(file: Path, as_json: bool) -> None:
    from crashworthy.vibration.readers.csv import guess

    found = guess(file)
    if as_json:
        print_json(found.to_json())
        return
    table(
        ("column", "taken for", "unit", "why"),
        [(r.name, r.quantity, r.unit, r.why) for r in found.rows],
    )


def _words(report: LogReport) -> None:
    say(report.summary())
    say()
    for a in report.answers:
        say(f"{a.title}: {a.text}" if a.computed else f"{a.title}: {a.verdict}. {a.text}")
        for more in (a.why, a.change):
            if more:
                say(f"    {more}")
    if report.motors:
        say()
        table(
            ("motor", "speed Hz", "unbalance g mm", "others", "grade", "verdict"),
            [
                (
                    m.label,
                    f"{m.speed:.0f}",
                    "-" if m.unbalance is None else f"{m.unbalance:.2f} ± {m.error or 0.0:.2f}",
                    "-" if m.others is None else f"{m.others:.2f}",
                    m.grade,
                    m.verdict,
                )
                for m in report.motors
            ],
            right="lrrrll",
        )
    if report.verdict is not None:
        _verdict(report.verdict)
    for strike in report.strikes:
        say(f"Crash at {strike.summary()}")
    for note in report.notes:
        say(f"- {note}")


def _verdict(verdict: Verdict) -> None:
    say()
    say(verdict.summary())
    table(
        ("cause", "where", "nats", "strongest evidence"),
        [
            (f.cause, f.where, f"{f.nats:+.1f}", f.evidence[0].text if f.evidence else "")
            for f in verdict.findings[:4]
        ],
        right="llrl",
    )
    for line in verdict.cannot:
        say(f"Cannot tell: {line}")
