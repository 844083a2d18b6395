"""Fixtures of the crash engine's tests."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from boxes import make_quad  # noqa: E402 - found by the line above

from crashworthy.build.quad import Quad  # noqa: E402 - as above


@pytest.fixture(scope="session")
def quad() -> Quad:
    """The coarse quad of boxes."""
    return make_quad(0.02)
