from __future__ import annotations

from pathlib import Path

import pytest

from crashworthy import load

EXAMPLES = Path(__file__).parents[2] / "examples"


@pytest.fixture(scope="session")
def gannet():
    """Return the deep-camera example."""
    return load(EXAMPLES / "gannet.toml")


@pytest.fixture(scope="session")
def dunlin():
    """Return the exposed example."""
    return load(EXAMPLES / "dunlin.toml")
