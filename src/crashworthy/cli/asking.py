"""The dozen questions in a terminal: one line each, Enter takes what is assumed, ? tells where to measure."""

from __future__ import annotations

import shutil
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from crashworthy.cli.output import print_json, say
from crashworthy.errors import SheetError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from crashworthy.build.answers import Drawing
    from crashworthy.build.questions import Answer, Field
    from crashworthy.workshop import Workshop
    from crashworthy.workshop.building import NewQuad

__all__ = ["new_sheet", "write"]


def write(path: Path, text: str) -> None:
    """Write a sheet, its folder made when absent.

    Raises:
        typer.BadParameter: it cannot be written.
    """
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
    except OSError as problem:
        raise typer.BadParameter(f"cannot write {path}: {problem.strerror}") from None


def _prompt(field: Field) -> str:
    if field.options:
        words = " / ".join(f"{value}: {told}" if value != told else value for value, told in field.options)
        return f"  {field.ask} ({words}) [{field.assumed}] "
    usual = "" if field.assumed is None else f" [{field.assumed:g}]"
    return f"  {field.ask}{', ' + field.unit if field.unit else ''}{usual} "


def _heard(prompt: str) -> str:
    sys.stderr.write(prompt)
    sys.stderr.flush()
    line = sys.stdin.readline()
    if not line:
        raise typer.Abort
    return line.strip()


def _asked(workshop: Workshop, answers: dict[str, Answer], drawings: Sequence[Drawing], source: Path) -> None:
    """Ask what is not answered yet; what goes wrong is said and asked again."""
    from crashworthy.build.questions import QUESTIONS, checked

    sys.stderr.write(
        "Enter takes what stands in [ ] and calls it assumed; ? tells where to measure; Ctrl-C stops.\n"
    )
    for number, question in enumerate(QUESTIONS, 1):
        open_fields = [f for f in question.fields if f.key not in answers]
        if not open_fields:
            continue
        sys.stderr.write(f"\n{number} of {len(QUESTIONS)}. {question.title}\n")
        for field in open_fields:
            while True:
                text = _heard(_prompt(field))
                if text == "?":
                    sys.stderr.write(f"    {question.hint}\n")
                    continue
                try:
                    answer = checked(field.key, text)
                except SheetError as error:
                    sys.stderr.write("".join(f"    {p.what}: {p.remedy}\n" for p in error.problems))
                    continue
                if answer is None and field.key == "name":
                    sys.stderr.write("    It needs a name.\n")
                    continue
                if answer is not None:
                    answers[field.key] = answer
                break
        if question.key != "name":
            sys.stderr.write(f"    {_so_far(workshop.describe(answers, drawings, source))}\n")


def _so_far(new: NewQuad) -> str:
    parts = sum(1 for p in new.quad.parts if p.kind not in ("screw", "loose"))
    odd = "".join(f" Odd: {words}." for words in new.described.odd)
    return f"So far {1000 * new.quad.mass:.0f} g in {parts} parts.{odd}"


def _drawings(files: Sequence[Path], source: Path) -> tuple[Drawing, ...]:
    from crashworthy.workshop.dropped import looked_at

    found = []
    for file in files:
        if not file.is_file():
            raise typer.BadParameter(f"there is no file {file}", param_hint="--drop")
        shutil.copyfile(file, source / file.name)
        found.append(looked_at(source / file.name))
    return tuple(found)


def new_sheet(
    workshop: Workshop,
    sheet: Path | None,
    name: str | None,
    given: Sequence[str],
    drop: Sequence[Path],
    *,
    talk: bool,
    as_json: bool,
) -> None:
    """Describe a quad by questions and write its sheet with the drawings beside it.

    Args:
        workshop: of the command.
        sheet: where to write; by the quad's name in this folder when None.
        name: of the quad, or None.
        given: KEY=VALUE answers.
        drop: drawings and bodies.
        talk: ask what is not given.
        as_json: print JSON.

    Raises:
        typer.BadParameter: an answer is no KEY=VALUE, or a file is missing or in the way.
        SheetError: the answers cannot be one quad.
    """
    import tempfile

    from crashworthy.build.answers import file_name
    from crashworthy.build.questions import all_checked

    raw: dict[str, object] = {} if name is None else {"name": name}
    for pair in given:
        key, equals, value = pair.partition("=")
        if not equals:
            raise typer.BadParameter(f"{pair!r} is not KEY=VALUE", param_hint="--set")
        raw[key.strip()] = value
    if sheet is not None and not talk:
        raw.setdefault("name", sheet.stem)
    answers = all_checked(raw)
    with tempfile.TemporaryDirectory() as temporary:
        source = Path(temporary)
        drawings = _drawings(drop, source)
        if talk:
            _asked(workshop, answers, drawings, source)
        new = workshop.describe(answers, drawings, source)
        path = sheet or Path(file_name(answers))
        if path.exists():
            raise typer.BadParameter(f"{path} is there already; take another name", param_hint="SHEET")
        write(path, new.described.text)
        for drawing in drawings:
            folder = path.parent / Path(file_name(answers)).stem
            folder.mkdir(exist_ok=True)
            shutil.copyfile(source / drawing.file, folder / drawing.file)
    if as_json:
        print_json({"sheet": str(path), **new.to_json()})
        return
    say(new.summary())
    for words in (*new.described.odd, *new.bodies, *new.quad.notes):
        say(f"- {words[:1].upper()}{words[1:]}")
    if new.described.assumed:
        say("Assumed, and what each moves:")
        for a in new.described.assumed:
            say(f"- {a.ask}, {a.words}: {a.moves}")
    say(f"Wrote {path}. `crashworthy new {path}` takes it into the fleet,")
    say(f"`crashworthy crash {path}` crashes it.")
