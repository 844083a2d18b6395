"""The docs name every command and link to what exists; the README's blocks can be run."""

from __future__ import annotations

import re
import subprocess
import sys

import pytest

from crashworthy.cli.app import app


def _commands() -> list[str]:
    import typer

    group = typer.main.get_command(app)
    names = []
    for name, command in group.commands.items():
        inner = getattr(command, "commands", None)
        names += [f"{name} {sub}" for sub in inner] if inner else [name]
    return names


@pytest.fixture(scope="module")
def pages(root):
    """Every page of the docs by name."""
    return {
        p.name: p.read_text(encoding="utf-8") for p in [root / "README.md", *(root / "docs").rglob("*.md")]
    }


@pytest.mark.parametrize("command", _commands())
def test_every_command_is_in_the_docs(pages, command):
    """Each command stands in the command reference with an example."""
    assert f"crashworthy {command}" in pages["commands.md"]


def test_every_local_link_leads_somewhere(root):
    """No page links to a file that is not there."""
    for page, text in _written(root).items():
        for target in re.findall(r"\]\(([^)#]+?)(?:#[^)]*)?\)", text):
            if "://" not in target:
                assert (page.parent / target).exists(), f"{page.name} links to {target}"


def _anchors(text: str) -> set[str]:
    """What a heading can be reached by: its words in small letters, joined, punctuation gone."""
    found: set[str] = set()
    for heading in re.findall(r"^#+ (.+)$", re.sub(r"```.*?```", "", text, flags=re.DOTALL), re.MULTILINE):
        words = re.sub(r"\[([^\]]*)\]\([^)]*\)", r"\1", heading)
        found.add(re.sub(r"[^\w\- ]", "", words.lower()).strip().replace(" ", "-"))
    return found


def _written(root):
    """Every page that people write, by its path."""
    top = [*root.glob("*.md"), root / "bench" / "README.md", root / "bench" / "fuzz_readers.md"]
    return {p: p.read_text(encoding="utf-8") for p in [*top, *(root / "docs").rglob("*.md")]}


def test_every_anchor_is_a_heading(root):
    """A link to a place in a page leads to a heading that is there."""
    written = _written(root)
    for page, text in written.items():
        for target, anchor in re.findall(r"\]\(([^)#\s]*)#([^)\s]+)\)", text):
            if "://" not in target:
                goal = (page.parent / target).resolve() if target else page
                assert anchor in _anchors(written[goal]), f"{page.name} links to {target}#{anchor}"


def test_every_picture_is_shown_somewhere(root):
    """No picture of the docs lies there unused."""
    text = "\n".join(_written(root).values())
    unused = [p.name for p in (root / "docs" / "pictures").iterdir() if f"pictures/{p.name}" not in text]
    assert unused == []


@pytest.mark.parametrize(("block", "last"), [("demo", "crashworthy demo"), ("test", "pytest")])
def test_the_readme_blocks_can_be_taken_out(root, block, last):
    """The tool that CI uses finds each block and its last line is the command it is about."""
    tool = root / "tools" / "readme_commands.py"
    said = subprocess.run(
        [sys.executable, tool, block], capture_output=True, text=True, check=True, timeout=60
    )
    lines = said.stdout.splitlines()
    assert lines[-1].startswith("python -m uv run")
    assert lines[-1].endswith(last)


def test_the_readme_example_runs(root, monkeypatch, capsys):
    """The Python lines of the README do what they show."""
    text = (root / "README.md").read_text(encoding="utf-8")
    (code,) = re.findall(r"```python\n(.*?)```", text, re.DOTALL)
    monkeypatch.chdir(root)
    exec(compile(code.replace("n=2000", "n=64"), "README.md", "exec"), {})  # noqa: S102 - our own page
    assert "In 100 crashes" in capsys.readouterr().out


def test_pinned_versions_agree(root):
    """constraints.txt and the constraints that uv reads are the same list."""
    import tomllib

    lines = (root / "constraints.txt").read_text(encoding="utf-8").splitlines()
    pinned = [line.strip() for line in lines if line.strip() and not line.startswith("#")]
    table = tomllib.loads((root / "pyproject.toml").read_text(encoding="utf-8"))
    assert pinned == table["tool"]["uv"]["constraint-dependencies"]
    assert not any("://" in line or "--" in line for line in pinned)


def test_the_command_reference_is_up_to_date(root):
    """docs/commands.md says what the commands' own help says."""
    import runpy

    made = runpy.run_path(str(root / "tools" / "commands_page.py"))["page"]()
    assert made == (root / "docs" / "commands.md").read_text(encoding="utf-8")
