"""Fixtures of the crash engine's tests."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from boxes import make_quad

from crashworthy.build.quad import Quad


@pytest.fixture(scope="session")
def quad() -> Quad:
    """The coarse quad of boxes."""
    return make_quad(0.02)
