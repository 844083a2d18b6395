"""Results, quads and stock are kept and found again."""

from __future__ import annotations

import numpy as np
import pytest
import sqlalchemy as sa

from crashworthy.errors import NotFoundError, StoreError
from crashworthy.store import schema


def test_quads_are_registered_once(store):
    """Registering again replaces the sheet and keeps the day it was added."""
    first = store.add_quad("gannet", "Gannet", sheet="a = 1", digest="aa", path="gannet.toml")
    again = store.add_quad("gannet", "Gannet", sheet="a = 2", digest="bb")
    assert (again.sheet, again.digest, again.path, again.added) == ("a = 2", "bb", "", first.added)
    store.add_quad("dunlin", "Dunlin", sheet="", digest="")
    assert [q.slug for q in store.quads()] == ["dunlin", "gannet"]
    store.remove_quad("dunlin")
    with pytest.raises(NotFoundError, match="there is: gannet"):
        store.quad("dunlin")
    with pytest.raises(NotFoundError):
        store.remove_quad("dunlin")


def keep(store, *, seed=7, digest="aa", shares=(0.25, 0.75)):
    """Keep a small campaign."""
    return store.save_campaign(
        "gannet",
        digest=digest,
        seed=seed,
        n=2,
        scenario={"obstacles": ["wall"], "speed": 12.5},
        summary={"hits": 3, "text": "größer"},
        arrays={"share": np.array(shares), "part": np.array([[1, 2]], dtype=np.int32)},
    )


def test_a_campaign_comes_back_with_its_arrays(store):
    """Scenario, summary and arrays are equal after a round trip, types and shapes too."""
    record = store.load_campaign(keep(store))
    assert (record.quad, record.seed, record.n) == ("gannet", 7, 2)
    assert record.scenario == {"obstacles": ["wall"], "speed": 12.5}
    assert record.summary == {"hits": 3, "text": "größer"}
    np.testing.assert_array_equal(record.arrays["share"], [0.25, 0.75])
    assert record.arrays["part"].dtype == np.int32
    assert record.arrays["part"].shape == (1, 2)


def test_the_same_question_is_kept_once(store):
    """Asking the same again replaces the answer; another seed or build is another campaign."""
    first = keep(store)
    assert keep(store, shares=(0.5, 0.5)) == first
    np.testing.assert_array_equal(store.load_campaign(first).arrays["share"], [0.5, 0.5])
    keys = {first, keep(store, seed=8), keep(store, digest="bb")}
    assert {c.key for c in store.campaigns("gannet")} == keys
    assert len(keys) == 3
    assert store.campaigns("dunlin") == ()
    assert not store.campaigns()[0].arrays
    with pytest.raises(NotFoundError):
        store.load_campaign("none")


def test_arrays_that_were_damaged_are_one_message(store):
    """A damaged campaign says to run it again."""
    key = keep(store)
    with store.engine.begin() as connection:
        connection.execute(sa.update(schema.campaign).values(arrays=b"PK\x03\x04 torn"))
    with pytest.raises(StoreError, match="run the crash test again"):
        store.load_campaign(key)


def test_a_log_report_is_kept_per_content(store):
    """The same file for the same quad has one report."""
    key = store.save_log("gannet", file="a.csv", sha256="00", report={"order": 1.5})
    assert store.save_log("gannet", file="b.csv", sha256="00", report={"order": 2.5}) == key
    assert store.load_log(key).report == {"order": 2.5}
    assert [r.file for r in store.logs("gannet")] == ["b.csv"]
    with pytest.raises(NotFoundError):
        store.load_log("none")


def test_stock_counts_and_never_goes_below_nothing(store):
    """Stock is set, added to, taken from, and stops at zero."""
    store.set_stock("prop", 4)
    assert store.change_stock("prop", -1) == 3
    assert store.change_stock("arm", 2) == 2
    assert store.change_stock("arm", -5) == 0
    assert store.stock() == {"arm": 0, "prop": 3}


def test_impossible_stock_is_refused(store):
    """A nameless item or an impossible count is one message."""
    for item, count in [("", 1), ("x" * 81, 1), ("a\nb", 1), ("a", -1), ("a", 1.5), ("a", True)]:
        with pytest.raises(StoreError):
            store.set_stock(item, count)
    assert store.stock() == {}


def test_counts_of_others_are_replaced_by_source_and_removed(store):
    """A source's new counts take the place of all it gave before; another's stay."""
    store.keep_given("mill", [("Heron", "{}"), ("Teal", "{}")])
    store.keep_given("quarry", [("Heron", '{"x":1}')])
    store.keep_given("mill", [("Teal", '{"y":2}')])
    assert [(g.source, g.label, g.counts) for g in store.given()] == [
        ("mill", "Teal", '{"y":2}'),
        ("quarry", "Heron", '{"x":1}'),
    ]
    assert store.given()[0].taken.tzinfo is not None
    assert store.drop_given("mill") == 1
    with pytest.raises(NotFoundError, match="quarry"):
        store.drop_given("mill")
