"""Run the command as a person does: through ``main``, with what it prints and its exit status."""

from __future__ import annotations

import json
from dataclasses import dataclass

import pytest


@dataclass
class Said:
    """What a command printed and how it ended."""

    out: str
    err: str
    code: int

    @property
    def flat(self):
        """Standard output as one line: prose folds at 80 columns wherever it likes."""
        return " ".join(self.out.split())

    @property
    def lead(self):
        """The first sentence of standard output."""
        return self.flat.partition(". ")[0]

    @property
    def json(self):
        """Standard output as JSON."""
        return json.loads(self.out)


@pytest.fixture
def run(monkeypatch, capsys, tmp_path):
    """Call the command with words; data lies in ``tmp_path/data`` unless told otherwise."""
    from crashworthy.cli.main import main

    monkeypatch.setenv("CRASHWORTHY_DATA", str(tmp_path / "data"))
    monkeypatch.delenv("CRASHWORTHY_STORE", raising=False)
    monkeypatch.setenv("COLUMNS", "80")
    monkeypatch.chdir(tmp_path)

    def call(*words: object) -> Said:
        monkeypatch.setattr("sys.argv", ["crashworthy", *map(str, words)])
        capsys.readouterr()
        code = 0
        try:
            main()
        except SystemExit as left:
            code = left.code or 0
        said = capsys.readouterr()
        return Said(said.out, said.err, code)

    return call


@pytest.fixture
def demo(run, fleet_folder, monkeypatch):
    """The same on a copy of the demo fleet."""
    monkeypatch.setenv("CRASHWORTHY_DATA", str(fleet_folder))
    return run
