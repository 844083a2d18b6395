"""A strike map is counted once, whoever asks and however often the program is started."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

from crashworthy.impact import strikes
from crashworthy.impact.strikes import StrikeMap, map_name
from crashworthy.workshop import Workshop

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from crashworthy.impact.batch import CrashBatch

CRASHES = 24


@pytest.fixture(scope="module")
def shop(gannet_sheet: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Workshop]:
    """A quad that was crashed a few times."""
    with Workshop(tmp_path_factory.mktemp("struck") / "data") as opened:
        slug = opened.add_quad(gannet_sheet.read_text(encoding="utf-8"), gannet_sheet)
        opened.crash_test(slug, CRASHES, 3, fracture=False)
        yield opened


def _same(one: StrikeMap, two: StrikeMap) -> bool:
    a, b = one.to_arrays(), two.to_arrays()
    return one.to_json() == two.to_json() and all(np.array_equal(a[k], b[k]) for k in a)


def test_the_next_process_reads_what_was_counted(shop: Workshop, monkeypatch: pytest.MonkeyPatch) -> None:
    """The map comes back to the bit without a crash being run again; damage only costs the time."""
    counted = shop.strikes("gannet")
    name = map_name(shop.quad("gannet"), shop.batch("gannet"), 600)
    file = shop.folder.root / "chunks" / f"{name}.npz"
    assert file.is_file()
    with Workshop(shop.folder.root) as again, monkeypatch.context() as patch:
        patch.setattr(strikes, "strike_map", lambda *_: pytest.fail("counted again"))
        assert _same(again.strikes("gannet"), counted)
    file.write_bytes(b"half a fi")
    with Workshop(shop.folder.root) as again:
        assert _same(again.strikes("gannet"), counted)
    assert file.stat().st_size > 100


def test_the_name_hangs_on_all_that_the_map_hangs_on(shop: Workshop) -> None:
    """Another number of crashes, other loads or another seed give another name."""
    from dataclasses import replace

    quad, batch = shop.quad("gannet"), shop.batch("gannet")
    harder: CrashBatch = replace(batch, part_impulse=2 * batch.part_impulse)
    names = {
        map_name(quad, batch, 600),
        map_name(quad, batch, 500),
        map_name(quad, harder, 600),
        map_name(quad, replace(batch, seed=4), 600),
        map_name(replace(quad, digest="other"), batch, 600),
    }
    assert len(names) == 5


def test_arrays_that_do_not_fit_are_refused(shop: Workshop) -> None:
    """Missing, short or foreign arrays are no map."""
    batch, good = shop.batch("gannet"), shop.strikes("gannet").to_arrays()
    for wrong in (
        {k: v for k, v in good.items() if k != "hits"},
        {**good, "impulse": good["impulse"][:-1]},
        {**good, "part": good["part"] + len(batch.parts)},
        {**good, "n": np.array(0)},
    ):
        with pytest.raises(ValueError, match=r"there|fit"):
            StrikeMap.from_arrays(batch, wrong)
