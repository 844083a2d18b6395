"""Entries of two devices that are perhaps one are marked, and nothing else is."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from uuid import UUID

from hypothesis import given
from hypothesis import strategies as st

from crashworthy.upkeep.doubles import APART, doubles
from crashworthy.upkeep.events import Event
from crashworthy.upkeep.payloads import Crash, Pack, Retraction

NOON = datetime(2026, 5, 1, 12, tzinfo=UTC)


def entry(number, seconds, device, payload=None, quad="gannet"):
    """An entry so many seconds after noon."""
    made = UUID(int=(0x7 << 76) | (0x8 << 60) | number)
    when = NOON + timedelta(seconds=seconds)
    return Event(
        id=made, quad=quad, payload=payload or Pack(), occurred=when, device=device, device_seq=number
    )


def test_one_pack_on_two_phones_is_marked():
    """Two packs of one quad half a minute apart from two devices are perhaps one."""
    pair = [entry(1, 0, "web-a"), entry(2, 30, "web-b")]
    (found,) = doubles(pair)
    assert (found.first, found.second, found.seconds) == (pair[0].id, pair[1].id, 30.0)
    assert "30 s" in found.summary()


def test_what_cannot_be_one_is_not_marked():
    """One device, two quads, a pack and a crash, and packs far apart are left alone."""
    assert doubles([entry(1, 0, "web-a"), entry(2, 30, "web-a")]) == ()
    assert doubles([entry(1, 0, "web-a"), entry(2, 30, "web-b", quad="dunlin")]) == ()
    assert doubles([entry(1, 0, "web-a"), entry(2, 30, "web-b", Crash(severity="hit"))]) == ()
    assert doubles([entry(1, 0, "web-a"), entry(2, 150, "web-b")]) == ()


def test_an_entry_that_was_taken_back_marks_nothing():
    """Once one of the two is taken back, the other stands alone."""
    first, second = entry(1, 0, "web-a"), entry(2, 30, "web-b")
    assert doubles([first, second, entry(3, 60, "web-b", Retraction(target=second.id))]) == ()


rows = st.lists(st.tuples(st.integers(0, 900), st.sampled_from("abc"), st.booleans()), max_size=12)


@given(rows, st.randoms())
def test_order_and_repeats_change_nothing(rows, chance):
    """Marks depend on the entries alone; each marked pair is close, of two devices and one kind."""
    made = [
        entry(i + 1, s, f"web-{d}", Crash(severity="hit") if c else None) for i, (s, d, c) in enumerate(rows)
    ]
    found = doubles(made)
    mixed = made + made[: len(made) // 2]
    chance.shuffle(mixed)
    assert doubles(mixed) == found
    by_id = {e.id: e for e in made}
    for pair in found:
        one, two = by_id[pair.first], by_id[pair.second]
        assert one.device != two.device
        assert one.kind == two.kind
        assert 0 <= pair.seconds < APART[one.kind].total_seconds()
