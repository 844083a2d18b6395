"""The dozen questions in a terminal: Enter takes what is assumed, ? tells where to measure, < goes back."""

from __future__ import annotations

import shlex
import shutil
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from crashworthy.cli.output import folded, print_json, say
from crashworthy.errors import SheetError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from crashworthy.build.answers import Drawing
    from crashworthy.build.questions import Answer, Field, Question
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


def _tell(text: str) -> None:
    sys.stderr.write(folded(text) + "\n")


def _prompt(field: Field) -> str:
    """What is asked, with the choices above it and what is assumed in brackets."""
    if field.options:
        lines = [
            f"    {n}  {words}" + ("" if words.startswith(value) else f"  ({value})")
            for n, (value, words) in enumerate(field.options, 1)
        ]
        return "\n".join([*lines, f"  {field.ask} [{field.assumed}] "])
    unit = f", {field.unit}" if field.unit else ""
    if field.assumed is not None:
        return f"  {field.ask}{unit} [{field.assumed:g}] "
    if field.key in ("name", "weighed"):
        return f"  {field.ask}{unit} "
    return f"  {field.ask}{unit} [from the other answers] "


def _heard(prompt: str) -> str:
    sys.stderr.write(prompt)
    sys.stderr.flush()
    line = sys.stdin.readline()
    if not line:
        sys.stderr.write("\n")
        raise EOFError
    if not sys.stdin.isatty():
        sys.stderr.write(line)  # who reads what was asked wants to see what was answered
    return line.strip()


def _left(answers: dict[str, Answer], drop: Sequence[Path], sheet: Path | None) -> typer.Exit:
    """Say how to go on from here: nothing that was typed is lost."""
    words = ["crashworthy", "new", *([] if sheet is None else [str(sheet)]), "--ask"]
    for key, value in answers.items():
        words += ["--set", f"{key}={value:g}" if isinstance(value, float) else f"{key}={value}"]
    for file in drop:
        words += ["--drop", str(file)]
    sys.stderr.write("\nStopped; nothing is written. To go on from here:\n")
    sys.stderr.write(shlex.join(words) + "\n")
    return typer.Exit(130)


def _one(question: Question, field: Field, answers: dict[str, Answer]) -> bool:
    """Ask for one value until it can be used or is skipped; False to go back."""
    from crashworthy.build.questions import checked

    while True:
        text = _heard(_prompt(field))
        if text == "<":
            return False
        if text == "?":
            _tell(f"    {question.hint}")
            continue
        try:
            answer = checked(field.key, text)
        except SheetError as error:
            for problem in error.problems:
                _tell(f"    {problem.what}: {problem.remedy}")
            continue
        if answer is None and field.key == "name":
            _tell("    It needs a name.")
            continue
        answers.pop(field.key, None)
        if answer is not None:
            answers[field.key] = answer
        return True


def _asked(workshop: Workshop, answers: dict[str, Answer], drawings: Sequence[Drawing], source: Path) -> None:
    """Ask what is not answered yet; what goes wrong is said and asked again."""
    from crashworthy.build.questions import QUESTIONS

    _tell(
        "Enter takes what stands in [ ] and calls it assumed; ? tells where to measure; < goes back; "
        "a unit may follow a number (5.1 in, 0.2 kg); Ctrl-C stops and tells how to go on later."
    )
    steps = [(q, f) for q in QUESTIONS for f in q.fields if f.key not in answers]
    at = 0
    shown: Question | None = None
    while at < len(steps):
        question, field = steps[at]
        if answers.get("antenna") == "none" and field.key in ("antenna_l", "antenna_mhz"):
            at += 1
            continue
        if question is not shown:
            _tell(f"\n{QUESTIONS.index(question) + 1} of {len(QUESTIONS)}. {question.title}")
            shown = question
        if not _one(question, field, answers):
            at = max(at - 1, 0)
            continue
        at += 1
        ended = at == len(steps) or steps[at][0] is not question
        if ended and question.key != "name":
            _tell(f"    {_so_far(workshop.describe(answers, drawings, source))}")


def _so_far(new: NewQuad) -> str:
    parts = len(new.quad.pieces)
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
        typer.Exit: the questions were left; how to go on was told.
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
            try:
                _asked(workshop, answers, drawings, source)
            except (EOFError, KeyboardInterrupt):
                raise _left(answers, drop, sheet) from None
        new = workshop.describe(answers, drawings, source)
        path = sheet or Path(file_name(answers))
        if path.exists():
            path = _free(path)
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


def _free(path: Path) -> Path:
    """The first name beside ``path`` that is free: half an hour of answers is not thrown away for a name."""
    number = 2
    while (found := path.with_stem(f"{path.stem}-{number}")).exists():
        number += 1
    sys.stderr.write(f"{path} is there already and stays as it is.\n")
    return found
