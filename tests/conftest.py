"""What several rooms' tests share: one demo fleet, set up once, copied for whoever changes it."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]


@pytest.fixture(scope="session")
def root() -> Path:
    """The source tree."""
    return ROOT


@pytest.fixture(scope="session")
def gannet_sheet() -> Path:
    """The example sheet that is cut from drawings."""
    return ROOT / "examples" / "gannet.toml"


@pytest.fixture(scope="session")
def demo_folder(tmp_path_factory) -> Path:
    """Data folder of a demo fleet; do not change it, take ``fleet_folder`` for that."""
    from crashworthy.demo.setup import set_up
    from crashworthy.workshop import Workshop

    folder = tmp_path_factory.mktemp("demo") / "data"
    with Workshop(folder) as workshop:
        set_up(workshop)
    return folder


@pytest.fixture
def fleet_folder(demo_folder, tmp_path) -> Path:
    """A copy of the demo fleet's data folder, to do with as you like."""
    folder = tmp_path / "data"
    shutil.copytree(demo_folder, folder)
    return folder


@pytest.fixture
def workshop(fleet_folder):
    """A workshop open on a copy of the demo fleet."""
    from crashworthy.workshop import Workshop

    with Workshop(fleet_folder) as opened:
        yield opened
