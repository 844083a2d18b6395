"""Chunks kept: nothing twice, a stopped campaign goes on, the same bytes."""

from __future__ import annotations

from pathlib import Path

import pytest

from crashworthy.build.assemble import load
from crashworthy.impact.campaign import CampaignCancelled, simulate
from crashworthy.impact.cases import plain
from crashworthy.store.chunks import ChunkStore

N, SEED, CHUNK = 64, 11, 8


@pytest.fixture(scope="module")
def quad():
    """An example build with few contact points."""
    return load(Path(__file__).parents[2] / "examples" / "dunlin.toml", points=100)


class Counting:
    """A runner that counts what it runs."""

    def __init__(self) -> None:
        self.ran: list[str] = []

    def __call__(self, function, works):
        """Run one after the other."""
        for work in works:
            self.ran.append(work.name)
            yield function(work)


def test_a_cancelled_campaign_goes_on_where_it_was_with_the_same_bytes(quad, tmp_path):
    """After a cancel only the missing chunks are run, and the result is the one of an unbroken campaign."""
    whole = simulate(quad, N, SEED, chunk=CHUNK).save()
    counting = Counting()
    done: list[int] = []
    with pytest.raises(CampaignCancelled):
        simulate(
            quad,
            N,
            SEED,
            chunk=CHUNK,
            map_chunks=ChunkStore(tmp_path).keeping(counting),
            progress=lambda d, _: done.append(d),
            cancelled=lambda: len(done) >= 3,
        )
    first = len(counting.ran)
    assert 3 <= first < N // CHUNK
    resumed = simulate(quad, N, SEED, chunk=CHUNK, map_chunks=ChunkStore(tmp_path).keeping(counting)).save()
    assert resumed == whole
    assert len(counting.ran) == N // CHUNK
    assert len(set(counting.ran)) == N // CHUNK
    assert (
        simulate(quad, N, SEED, chunk=CHUNK, map_chunks=ChunkStore(tmp_path).keeping(plain)).save() == whole
    )


def test_another_seed_scenario_or_step_shares_no_chunk(quad, tmp_path):
    """A chunk's name changes with everything that its result depends on."""
    from crashworthy.impact.scenario import Scenario, Speed

    counting = Counting()
    run = ChunkStore(tmp_path).keeping(counting)
    simulate(quad, CHUNK, SEED, chunk=CHUNK, map_chunks=run)
    simulate(quad, CHUNK, SEED + 1, chunk=CHUNK, map_chunks=run)
    simulate(quad, CHUNK, SEED, Scenario(speed=Speed(median=6.0)), chunk=CHUNK, map_chunks=run)
    simulate(quad, CHUNK, SEED, chunk=CHUNK, dt=5e-6, map_chunks=run)
    assert len(set(counting.ran)) == 4
    simulate(quad, CHUNK, SEED, chunk=CHUNK, map_chunks=run)
    assert len(counting.ran) == 4


def test_a_damaged_chunk_is_run_again(quad, tmp_path):
    """A chunk that was cut short on the disk is not trusted."""
    run = ChunkStore(tmp_path).keeping(plain)
    whole = simulate(quad, 2 * CHUNK, SEED, chunk=CHUNK, map_chunks=run).save()
    hurt = sorted(tmp_path.glob("*.npz"))[0]
    hurt.write_bytes(hurt.read_bytes()[:100])
    assert simulate(quad, 2 * CHUNK, SEED, chunk=CHUNK, map_chunks=run).save() == whole
    assert len(hurt.read_bytes()) > 100


def test_the_folder_stays_within_its_limit(quad, tmp_path):
    """Beyond the limit the oldest chunks go, and the result is the same."""
    whole = simulate(quad, 4 * CHUNK, SEED, chunk=CHUNK).save()
    run = ChunkStore(tmp_path, limit=1).keeping(plain)
    assert simulate(quad, 4 * CHUNK, SEED, chunk=CHUNK, map_chunks=run).save() == whole
    assert not list(tmp_path.glob("*.npz"))


def test_a_folder_that_cannot_be_written_costs_nothing(quad, tmp_path):
    """Where nothing can be kept the campaign runs all the same."""
    blocked = tmp_path / "file"
    blocked.write_text("in the way")
    run = ChunkStore(blocked).keeping(plain)
    assert simulate(quad, CHUNK, SEED, map_chunks=run).save() == simulate(quad, CHUNK, SEED).save()


def test_a_name_that_is_no_digest_is_refused(tmp_path):
    """No name can reach out of the folder."""
    with pytest.raises(ValueError, match="no name of a chunk"):
        ChunkStore(tmp_path).read("../fleet")


def test_watched_and_early_stopped_campaigns_are_kept_and_read_again(quad, tmp_path):
    """Asked again nothing is run; another thing watched shares only the opening."""
    counting = Counting()
    run = ChunkStore(tmp_path).keeping(counting)
    first = simulate(quad, N, SEED, watch=("lens",), map_chunks=run)
    ran = len(counting.ran)
    assert ran > 2
    assert simulate(quad, N, SEED, watch=("lens",), map_chunks=run).save() == first.save()
    assert len(counting.ran) == ran
    other = simulate(quad, N, SEED, watch=("arms",), map_chunks=run)
    assert ran < len(counting.ran) < 2 * ran
    assert other.digest != first.digest
    simulate(quad, N, SEED, chunk=CHUNK, map_chunks=run)
    whole = len(counting.ran)
    simulate(quad, N, SEED, chunk=CHUNK, until=0.5, map_chunks=run)
    assert len(counting.ran) == whole
