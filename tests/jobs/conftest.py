"""Fixtures of the executors' tests."""

from __future__ import annotations

from pathlib import Path

import pytest

from crashworthy.build.assemble import load


@pytest.fixture(scope="session")
def small():
    """An example build with few contact points."""
    return load(Path(__file__).parents[2] / "examples" / "dunlin.toml", points=100)
