"""Compiled code is kept by what it is made of, and the program runs where nothing can be kept."""

from __future__ import annotations

import numba.core.caching as caching
import pytest

from crashworthy.compiled import kept_in, marked, place_for


@pytest.fixture
def room(tmp_path):
    """A package with one compiled source and one that is not."""
    (tmp_path / "a.py").write_text("@kernel\ndef f(x): return x\n", encoding="utf-8")
    (tmp_path / "b.py").write_text("x = 1\n", encoding="utf-8")
    (tmp_path / "types.py").write_text("y = 1\n", encoding="utf-8")
    return tmp_path


def test_a_change_of_a_compiled_source_takes_another_place(room):
    """The folder changes with any compiled source and with what shapes it, and with nothing else."""

    def place():
        return place_for("room", marked(room, b"@kernel", ("types.py",)))

    first = place()
    assert first.parent == room / "__pycache__"
    assert first.name.startswith("room-")
    (room / "b.py").write_text("x = 2\n", encoding="utf-8")
    assert place() == first
    (room / "types.py").write_text("y = 2\n", encoding="utf-8")
    second = place()
    assert second != first
    (room / "a.py").write_text("@kernel\ndef f(x): return 2 * x\n", encoding="utf-8")
    assert place() not in (first, second)


def _double(x):
    return 2 * x


def test_code_is_kept_in_the_folder_given(tmp_path):
    """After the first call the folder holds the compiled code."""
    assert kept_in(tmp_path / "kept", _double)(21) == 42
    assert list((tmp_path / "kept").rglob("*.nbc"))


def test_where_nothing_can_be_written_it_compiles_without_keeping(tmp_path, monkeypatch):
    """A service that may write nowhere still computes."""
    monkeypatch.setattr(caching.CacheImpl, "_locator_classes", [])
    assert kept_in(tmp_path / "kept", _double)(21) == 42
    assert not (tmp_path / "kept").exists()
