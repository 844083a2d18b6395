"""Nothing a person can use is undocumented: the lists come from the program, the pages must have them."""

from __future__ import annotations

import ast
import importlib
import re
import runpy
import tomllib
from dataclasses import fields
from pathlib import Path

import pytest
import typer

from crashworthy.cli.app import app as commands
from crashworthy.impact import scenario
from crashworthy.upkeep.payloads import KINDS
from crashworthy.upkeep.priors import load_priors
from crashworthy.vibration.readers.mapping import UNITS

ROOT = Path(__file__).resolve().parents[1]
DOCS = ROOT / "docs"
REFERENCE = runpy.run_path(str(ROOT / "tools" / "reference_page.py"))


def page(name: str) -> str:
    """The text of a page of the docs."""
    return (DOCS / name).read_text(encoding="utf-8")


def _commands():
    group = typer.main.get_command(commands)
    for name, command in group.commands.items():
        for sub, inner in getattr(command, "commands", {"": command}).items():
            yield f"{name} {sub}".strip(), inner


@pytest.mark.parametrize(("name", "command"), [pytest.param(n, c, id=n) for n, c in _commands()])
def test_every_command_and_option_says_what_it_does(name, command):
    """A command has a sentence and an example; each option and argument has words of its own."""
    words, _, example = (command.help or "").partition("Example:")
    assert words.strip().endswith((".", ")"))
    assert example.strip().startswith(f"crashworthy {name}")
    silent = [p.name for p in command.params if not getattr(p, "help", "") and p.name != "help"]
    assert silent == []


def test_every_environment_variable_is_explained():
    """What the commands read from the environment stands in the docs."""
    asked = {p.envvar for _, command in _commands() for p in command.params if getattr(p, "envvar", None)}
    assert asked
    told = "\n".join(p.read_text(encoding="utf-8") for p in DOCS.glob("*.md") if p.name != "commands.md")
    assert {name for name in asked if name not in told} == set()


@pytest.fixture(scope="module")
def addresses(tmp_path_factory):
    """(method, path) of everything the app answers, as the docs write it: SLUG for {slug}."""
    from crashworthy.web.app import create_app
    from crashworthy.workshop import Workshop

    found = set()
    with Workshop(tmp_path_factory.mktemp("routes") / "data") as workshop:
        for outer in create_app(workshop).routes:
            router = getattr(outer, "original_router", None)
            for route in router.routes if router else (outer,):
                for method in getattr(route, "methods", None) or ():
                    found.add((method, re.sub(r"\{(\w+)[^}]*\}", lambda m: m[1].upper(), route.path)))
    return found


def _told(text: str, first: str) -> set[str]:
    return {
        path
        for row in re.findall(r"^\| (`[^|]+) \|", text, re.MULTILINE)
        for path in re.findall(r"`(?:GET |POST )?(/[^`]*)`", row)
        if path.startswith(first)
    }


def test_every_page_has_its_row(addresses):
    """Each address that a browser can open stands in the tables of the web app's page, and no other."""
    pages = {path for method, path in addresses if method == "GET"}
    wanted = {p for p in pages if not p.startswith(("/api", "/static")) and p != "/openapi.json"}
    told = {p for p in _told(page("web-app.md"), "/") if not p.startswith("/api")}
    assert told == wanted


def test_every_request_of_machines_has_its_row(addresses):
    """Each address below /api stands in the table for machines, and no other."""
    wanted = {path for _, path in addresses if path.startswith("/api")}
    assert _told(page("web-app.md"), "/api") == wanted


def test_every_page_is_explained_beside_a_picture():
    """The page of the docs that explains an address shows the running program."""
    text = page("web-app.md")
    table = text[text.index("| page | what it shows |") : text.index("Files that pages offer")]
    explained = re.findall(r"\]\(([a-z-]+\.md)\) \|$", table, re.MULTILINE)
    assert len(explained) == table.count("\n| `")
    picture = re.compile(r"!\[[^\]]{10,}\]\(pictures/")
    without = [name for name in sorted(set(explained)) if not picture.search(page(name))]
    assert without == []


def test_every_field_of_a_scenario_is_told():
    """Each field of a scenario file stands in the crash test's tables, with its value when left out."""
    text = page("crash-test.md")
    for kind in (scenario.Speed, scenario.Attitude, scenario.Spin, scenario.Approach):
        for one in fields(kind):
            name = f"`{kind.__name__.lower()}.{one.name}`"
            (row,) = [line for line in text.splitlines() if line.startswith("|") and name in line]
            cells = row.split(" | ")
            at = re.findall(r"`[^`]+`", cells[0]).index(name)
            if isinstance(one.default, str):  # the same words for every section
                assert cells[1] == one.default, name
                continue
            assert float(cells[1].split(", ")[at]) == one.default, name
    for one in fields(scenario.Obstacle):
        assert f"`{one.name}`" in text or one.name == "name", one.name  # the name is the table's own


def test_every_field_of_an_entry_is_told():
    """Each kind of journal entry has its row, with every field."""
    rows = {m[1]: m[2] for m in re.finditer(r"^\| `(\w+)` \| (.*) \|$", page("journal.md"), re.MULTILINE)}
    for kind, payload in KINDS.items():
        missing = [one.name for one in fields(payload) if f"`{one.name}`" not in rows[kind]]
        assert missing == [], kind


def test_every_assumption_of_the_upkeep_is_told():
    """Each row of the file of assumptions, which a pilot may replace, stands in the docs by its full name."""
    text = "\n".join(p.read_text(encoding="utf-8") for p in DOCS.glob("*.md"))
    missing = [a.name for a in load_priors().assumptions if f"`{a.name}`" not in text and a.name not in text]
    assert missing == []


def test_every_quantity_and_unit_of_a_log_is_told():
    """What a mapping file may call a column, and in which units, stands in its table."""
    text = page("flight-log.md")
    table = text[text.index("| quantity | units |") :]
    rows = dict(re.findall(r"^\| `([a-z]+)[^|]*\| ([^|]*) \|$", table, re.MULTILINE))
    assert set(rows) == set(UNITS)
    for quantity, units in UNITS.items():
        assert set(re.findall(r"`([^`]+)`", rows[quantity])) == set(units) - {""}, quantity


def test_the_reference_has_every_public_name():
    """Each name that a module of the library offers stands in the reference, where it is defined."""
    made = REFERENCE["pages"]()
    assert page("reference.rst") == made["reference.rst"]
    text = "\n".join(made.values())
    sections = re.findall(r"automodule:: (\S+)\n(?:   :members: (.*)\n)?", text)
    listed = {f"{module}.{name}" for module, names in sections for name in names.split(", ")}
    for module in ("crashworthy.impact.campaign", "crashworthy.upkeep.due", "crashworthy.build.quad"):
        for name in importlib.import_module(module).__all__:
            assert f"{module}.{name}" in listed or any(one.endswith(f".{name}") for one in listed), name
    layers = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["importlinter"]
    rooms = {r for line in layers["contracts"][0]["layers"] for r in re.split(r"\s*\|\s*", line)}
    faces = {"cli", "web", "demo", "accounts", "store", "jobs", "pictures"}  # not the library: they serve it
    assert rooms - faces == {*REFERENCE["ROOMS"], *REFERENCE["FOUNDATION"]}


def _public():
    """(module, name, its definition) of every public function, class and method of the library."""
    for room in REFERENCE["ROOMS"]:
        for module in REFERENCE["modules"](room):
            base = ROOT.joinpath("src", *module.split("."))
            path = base / "__init__.py" if base.is_dir() else base.with_suffix(".py")
            names = set(REFERENCE["own"](path))
            for node in REFERENCE["_tree"](path).body:
                if not isinstance(node, ast.FunctionDef | ast.ClassDef) or node.name not in names:
                    continue
                yield module, node.name, node
                for inner in node.body if isinstance(node, ast.ClassDef) else ():
                    if isinstance(inner, ast.FunctionDef) and not inner.name.startswith("_"):
                        yield module, f"{node.name}.{inner.name}", inner


def _raises(function: ast.FunctionDef) -> bool:
    """Whether the function itself raises something, not a function inside it or an error passed on."""
    todo: list[ast.AST] = list(function.body)
    while todo:
        node = todo.pop()
        if isinstance(node, ast.Raise) and node.exc is not None:
            return True
        if not isinstance(node, ast.FunctionDef | ast.Lambda | ast.ClassDef):
            todo += ast.iter_child_nodes(node)
    return False


def test_every_public_name_says_what_it_is_and_what_it_raises():
    """Each public function, class and method has a docstring, and one that raises names the error."""
    found = list(_public())
    assert len(found) > 1000
    silent = [f"{module}.{name}" for module, name, node in found if not ast.get_docstring(node)]
    unsaid = [
        f"{module}.{name}"
        for module, name, node in found
        if isinstance(node, ast.FunctionDef)
        and _raises(node)
        and "Raises:" not in (ast.get_docstring(node) or "")
    ]
    assert silent == []
    assert unsaid == []
