"""The command line starts at once: nothing heavy is imported before it is needed."""

from __future__ import annotations

import subprocess
import sys

import pytest

HEAVY = (
    "numpy",
    "scipy",
    "numba",
    "sqlalchemy",
    "fastapi",
    "pydantic",
    "trimesh",
    "shapely",
    "ezdxf",
    "rich",
)


@pytest.mark.parametrize("module", ["crashworthy", "crashworthy.cli.app", "crashworthy.workshop"])
def test_import_pulls_in_nothing_heavy(module):
    """Importing the package, the commands or the workshop leaves every heavy library alone."""
    code = f"import {module}, sys; print(*[m for m in {HEAVY!r} if m in sys.modules])"
    said = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=60
    )
    assert said.stdout.split() == []


def test_exported_names_are_sorted_and_exist():
    """What the package offers is there and listed in order."""
    import crashworthy

    assert crashworthy.__all__ == sorted(crashworthy.__all__)
    for name in crashworthy.__all__:
        assert getattr(crashworthy, name) is not None
    with pytest.raises(AttributeError, match="nothing"):
        crashworthy.nothing  # noqa: B018 - the access is the test
