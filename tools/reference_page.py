"""Write the pages of the library reference from the packages themselves, so that no public name is left out.

``docs/conf.py`` calls it whenever the static site is made; ``docs/reference/`` is not kept.
"""

from __future__ import annotations

import ast
from functools import cache
from pathlib import Path
from typing import Final

ROOT: Final = Path(__file__).resolve().parents[1]
PACKAGE: Final = ROOT / "src" / "crashworthy"
DOCS: Final = ROOT / "docs"

ROOMS: Final = {
    "workshop": "Everything a pilot can do with a fleet: what commands and pages call.",
    "upkeep": "What the journal says: due, break rates, wear, kit.",
    "impact": "The crash engine.",
    "placement": "What can be touched, what is seen, and where to put it.",
    "vibration": "What a flight log says.",
    "strength": "Beams, joints, torque, capacities, the flight budget.",
    "build": "From a sheet to a quad.",
    "materials": "Data tables, each value with its source.",
    "evidence": "The registry of outside checks; ``crashworthy evidence`` lists the checks themselves.",
}
"""The rooms of the library from the top, and what a reader finds there."""

FOUNDATION: Final = ("quantities", "errors", "cautions", "compiled", "release")
"""Modules at the bottom that every room shares."""

INSIDE: Final = ("evidence.",)
"""Where the modules beside the named one hold rows of a table and nothing to call."""


@cache
def _tree(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"))


def exported(path: Path) -> list[str]:
    """The names that a module offers by its ``__all__``, read without importing it."""
    for node in _tree(path).body:
        if isinstance(node, ast.Assign) and any(
            isinstance(target, ast.Name) and target.id == "__all__" for target in node.targets
        ):
            return [str(name) for name in ast.literal_eval(node.value)]
    return []


def own(path: Path) -> list[str]:
    """Those of the offered names that the module itself defines: the others stand where they are defined."""
    defined = set()
    for node in _tree(path).body:
        if isinstance(node, ast.FunctionDef | ast.ClassDef):
            defined.add(node.name)
        elif isinstance(node, ast.Assign):
            defined |= {target.id for target in node.targets if isinstance(target, ast.Name)}
        elif isinstance(node, ast.AnnAssign) and isinstance(node.target, ast.Name):
            defined.add(node.target.id)
    return [name for name in exported(path) if name in defined]


def modules(room: str) -> list[str]:
    """Dotted names of a room's modules that offer something, the package itself first."""
    found = []
    for path in sorted((PACKAGE / room).rglob("*.py")):
        parts = path.relative_to(PACKAGE).with_suffix("").parts
        name = ".".join(part for part in parts if part != "__init__")
        if any(part.startswith("_") and part != "__init__" for part in parts) or not exported(path):
            continue
        if name.startswith(INSIDE) and name != "evidence.registry":
            continue
        found.append(f"crashworthy.{name}")
    return sorted(found)


def _section(module: str) -> str:
    base = PACKAGE.joinpath(*module.split(".")[1:])
    names = own(base / "__init__.py" if base.is_dir() else base.with_suffix(".py"))
    members = f"   :members: {', '.join(names)}\n" if names else ""
    return f"{module}\n{'-' * len(module)}\n\n.. automodule:: {module}\n{members}"


def pages() -> dict[str, str]:
    """Text of every page by its path below ``docs``."""
    made = {}
    index = ["Library reference\n=================\n"]
    index.append("Made from the docstrings by ``tools/reference_page.py``: every public name of the library,")
    index.append("the rooms in the order of the architecture.\n")
    index.append(".. toctree::\n   :maxdepth: 1\n")
    index += [f"   reference/{room}" for room in ("package", *ROOMS, "foundation")]
    made["reference.rst"] = "\n".join(index) + "\n"
    made["reference/package.rst"] = _section("crashworthy").replace("-", "=")
    for room, words in ROOMS.items():
        head = f"crashworthy.{room}"
        text = [f"{head}\n{'=' * len(head)}\n\n{words}\n", *(_section(m) for m in modules(room))]
        made[f"reference/{room}.rst"] = "\n".join(text)
    head = "What every room shares"
    text = [f"{head}\n{'=' * len(head)}\n", *(_section(f"crashworthy.{name}") for name in FOUNDATION)]
    made["reference/foundation.rst"] = "\n".join(text)
    return made


def main() -> None:
    """Write the pages."""
    (DOCS / "reference").mkdir(exist_ok=True)
    for name, text in pages().items():
        (DOCS / name).write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
