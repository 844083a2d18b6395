"""How commands are listed: by the pilot's day, each with its whole sentence."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from typer.core import TyperGroup

if TYPE_CHECKING:
    from collections.abc import Mapping

__all__ = ["DAY", "JOURNAL", "PEOPLE", "sections"]

DAY: Final = {
    "The first day": ("demo", "tour", "new", "build", "calibrate", "crash", "share", "serve"),
    "Make it tougher": ("improve", "compare", "place", "camera", "link", "print", "budget"),
    "At the field and the bench": ("journal", "due", "look", "torque", "kit", "stock", "log", "tap", "trend"),
    "What the journal teaches": ("learned", "lives", "tougher", "crew"),
    "Trust and keeping": ("evidence", "backup", "restore", "verify", "people"),
}
"""Every command, in the order in which a pilot meets it."""

JOURNAL: Final = {
    "Enter": ("pack", "crash", "check", "swap", "tighten", "tap", "finding", "photo", "note"),
    "Read, take back, carry": ("show", "undo", "tidy", "export", "import"),
}
"""Every command of the journal."""

PEOPLE: Final = {"Who may come in": ("list", "add", "invite", "role", "password", "record")}
"""Every command about accounts."""


def sections(name: str, listed: Mapping[str, tuple[str, ...]]) -> type[TyperGroup]:
    """A group of commands that lists them under headings, none cut short.

    Args:
        name: of the group, for its hints.
        listed: names of commands by heading; one that is left out is listed last.
    """

    class Listed(TyperGroup):  # the library brings its own copy of click, whose types it does not export
        def format_commands(self, ctx: Any, formatter: Any) -> None:
            known = {n: self.get_command(ctx, n) for n in self.list_commands(ctx)}
            named = {n for names in listed.values() for n in names}
            rest = {"More": tuple(n for n in known if n not in named)}
            for heading, names in {**listed, **rest}.items():
                rows = [(n, c.get_short_help_str(400)) for n in names if (c := known.get(n)) is not None]
                if rows:
                    with formatter.section(heading):
                        formatter.write_dl(rows)

        def resolve_command(self, ctx: Any, args: list[str]) -> Any:
            word = args[0] if args else ""
            if name == "journal" and word and self.get_command(ctx, word) is None and word[:1] != "-":
                ctx.fail(
                    f"{word!r} is nothing that can be entered or read. "
                    f"Name the act first: journal show {word}, journal pack {word}, journal crash {word} hit."
                )
            return super().resolve_command(ctx, args)

    return Listed
