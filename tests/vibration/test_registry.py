from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from crashworthy.errors import LogError
from crashworthy.vibration.readers import read_log, registry
from crashworthy.vibration.readers.csv import CsvReader


class Strange(CsvReader):
    """A stranger's reader that is sure of everything and breaks."""

    name = "strange"

    def sniff(self, path: Path) -> float:  # noqa: ARG002 - the protocol names it
        """Always sure."""
        return 0.9

    def read(self, *_: Any, **__: Any) -> Any:
        """Always break."""
        raise ZeroDivisionError("oh")

    read_all = read


class Nosy(CsvReader):
    """A stranger's reader that breaks while looking."""

    def sniff(self, path: Path) -> float:  # noqa: ARG002 - the protocol names it
        """Always break."""
        raise RuntimeError("oh")


class Hollow:
    """No reader at all."""


def fake(monkeypatch: pytest.MonkeyPatch, *rows: tuple[str, object, str]) -> None:
    """Install entry points of packages that are not there."""
    points = []
    for name, made, package in rows:
        point = SimpleNamespace(
            name=name,
            value=f"{package}:{made}",
            dist=SimpleNamespace(name=package),
            load=lambda m=made: broken(m),
        )
        points.append(point)
    monkeypatch.setattr(registry, "entry_points", lambda group: points if group == registry.GROUP else [])


def broken(made: object) -> object:
    """Load, or fail as asked."""
    if isinstance(made, Exception):
        raise made
    return made


@pytest.fixture
def table(tmp_path: Path) -> Path:
    """A small readable log."""
    path = tmp_path / "a.csv"
    path.write_text("time,volts\n" + "".join(f"{i / 10},{20 + i % 3}\n" for i in range(30)))
    return path


def test_own_readers_are_registered() -> None:
    """Our own readers are there whatever is installed beside, and are readers."""
    found = registry.readers()
    assert list(found.readers)[:3] == ["csv", "ulog", "recorder"]
    assert all(isinstance(r, registry.Reader) for r in found.readers.values())


def test_broken_package_does_not_take_the_others_down(monkeypatch: pytest.MonkeyPatch, table: Path) -> None:
    """A reader that cannot be loaded becomes a problem that names its package; csv still reads."""
    fake(
        monkeypatch,
        ("bad", ImportError("no such thing"), "strangers-log"),
        ("hollow", Hollow, "hollow-log"),
        ("csv", CsvReader, "crashworthy"),
    )
    found = registry.readers()
    assert list(found.readers) == ["csv", "ulog", "recorder"]
    assert [p.what.split(" ")[1] for p in found.problems] == ["'hollow'", "'bad'"]
    assert "strangers-log" in str(found.problems[1])
    assert read_log(table).volts is not None


def test_same_name_twice_is_settled_the_same_way(monkeypatch: pytest.MonkeyPatch) -> None:
    """Our own reader wins a name, then the package first by name, whatever the order of installation."""
    rows = [
        ("csv", Strange, "aaa"),
        ("csv", CsvReader, "crashworthy"),
        ("x", Strange, "zz"),
        ("x", CsvReader, "bb"),
    ]
    for order in (rows, rows[::-1]):
        fake(monkeypatch, *order)
        found = registry.readers()
        assert type(found.readers["csv"]) is CsvReader
        assert type(found.readers["x"]) is CsvReader
        assert len(found.problems) == 2
        assert all("passed over" in p.what for p in found.problems)


def test_reader_that_breaks_is_named(monkeypatch: pytest.MonkeyPatch, table: Path) -> None:
    """A stranger's traceback becomes one message that names the reader and the file."""
    fake(monkeypatch, ("strange", Strange, "s"), ("csv", CsvReader, "crashworthy"))
    with pytest.raises(LogError, match="reader 'strange' broke") as caught:
        read_log(table)
    assert caught.value.problems[0].file == "a.csv"
    assert read_log(table, reader="csv").volts is not None
    with pytest.raises(LogError, match="no reader is called"):
        read_log(table, reader="other")


def test_reader_that_breaks_while_looking_is_passed_over(
    monkeypatch: pytest.MonkeyPatch, table: Path
) -> None:
    """A reader that fails to look at a file does not stop the one that can read it."""
    fake(monkeypatch, ("nosy", Nosy, "s"), ("csv", CsvReader, "crashworthy"))
    assert read_log(table).volts is not None


def test_nobody_knows_the_file(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """The message lists the readers there are, and why others are missing."""
    fake(monkeypatch, ("bad", ImportError("oh"), "strangers-log"), ("csv", CsvReader, "crashworthy"))
    path = tmp_path / "x.bin"
    path.write_bytes(bytes(range(256)) * 4)
    with pytest.raises(LogError, match="no reader knows") as caught:
        read_log(path)
    assert "readers: csv" in str(caught.value)
    assert "strangers-log" in str(caught.value)
