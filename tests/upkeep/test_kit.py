from __future__ import annotations

import itertools
import json
import math
import time
from dataclasses import dataclass, field
from datetime import UTC, datetime

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crashworthy.build.quad import Part
from crashworthy.errors import CrashworthyError
from crashworthy.upkeep.demand import screw_use, trip_of
from crashworthy.upkeep.history import CheckRow, CrashRow, GroupHistory, QuadHistory
from crashworthy.upkeep.kit import kit
from crashworthy.upkeep.packing import Candidate, expected_shortage, log_chance, pack_best, pack_greedy
from crashworthy.upkeep.priors import load_priors
from crashworthy.upkeep.spares import spare_items
from crashworthy.upkeep.theta import poisson_pmf

PRIORS = load_priors()
CORNERS = ("fl", "fr", "rl", "rr")


def part(name: str, kind: str, grams: float, joint: str = "") -> Part:
    """A part that has all that the kit looks at."""
    shape = np.zeros((4, 3))
    return Part(
        name, name.replace("_", " "), kind, "pla", grams / 1e3, np.zeros(3), np.eye(3), shape,
        np.zeros((0, 3), dtype=np.int32), joint=joint,
    )  # fmt: skip


@dataclass(frozen=True)
class Group:
    name: str
    upkeep: str
    count: int
    thread: str = "M3"
    screw_length: float = 0.012
    threadlock: bool = False


@dataclass(frozen=True)
class Craft:
    """Parts and joint groups, all that the kit reads of a quad."""

    parts: tuple[Part, ...] = field(
        default_factory=lambda: (
            *(part(f"arm_{c}", "arm", 14) for c in CORNERS),
            *(part(f"motor_{c}", "motor", 33) for c in CORNERS),
            *(part(f"prop_{c}", "prop", 4.2) for c in CORNERS),
            part("camera", "camera", 8),
            part("video", "antenna", 7),
            part("lens", "lens", 2),
            part("battery", "battery", 200),
            part("screws_arm", "screw", 8 * 1.2, "arm"),
        )
    )
    joints: tuple[Group, ...] = (
        Group("arm", "arm", 8),
        Group("motor", "motor", 16, screw_length=0.008),
        Group("standoff", "other", 8),
    )


QUAD = Craft()
HAZARDS = {
    p.name: {"arm": (0.0, 0.01, 0.06), "prop": (0.03, 0.2, 0.6), "motor": (0.0, 0.002, 0.02)}.get(
        p.kind, (0.0005, 0.004, 0.03)
    )
    for p in QUAD.parts
}
NEW = QuadHistory("q")


def pack(**change: object) -> object:
    """A kit for a usual trip, with changes."""
    wanted = {"packs": 40, "grams": 300.0, "coins": 90.0, "seed": 4} | change
    return kit(QUAD, wanted.pop("history", NEW), HAZARDS, PRIORS, **wanted)


def poisson_item(mean: float, grams: float, coins: float, owned: int = 0) -> Candidate:
    """A spare whose demand is Poisson."""
    return Candidate(np.cumsum(poisson_pmf(np.array([mean]), 9)[0]), grams, coins, owned)


items = st.lists(
    st.tuples(st.floats(0.1, 3.0), st.integers(1, 40), st.integers(0, 30)), min_size=1, max_size=4
)


def test_alike_parts_share_a_spare() -> None:
    """Four arms are one item, packs and screws are none, and a single part keeps its own name."""
    found = {s.item: len(s.parts) for s in spare_items(QUAD.parts)}
    assert found == {"arm": 4, "motor": 4, "prop": 4, "camera": 1, "video": 1, "lens": 1}
    longer = (*QUAD.parts, part("arm_x", "arm", 16))
    assert {s.item for s in spare_items(longer) if s.kind == "arm"} == {"arm_fl", "arm_x"}


def test_kit_keeps_its_limits_and_says_so() -> None:
    """The list stays within grams and coins, adds up, and its sentence carries the numbers."""
    plan = pack()
    assert plan.grams <= 300.0 + 1e-6
    assert plan.coins <= 90.0 + 1e-6
    assert plan.grams == pytest.approx(sum(r.grams for r in plan.lines), abs=1e-9)
    assert plan.summary().startswith(f"For 40 packs: {plan.grams:.0f} of 300 g")
    assert f"first to ground you: {plan.weakest}" in plan.summary()
    assert all("expected" in r.why for r in (*plan.lines, *plan.left))
    assert plan.cautions
    back = json.loads(json.dumps(plan.to_json()))
    assert back["summary"] == plan.summary()


def test_claimed_chance_is_the_product_and_the_simulated_one_is_near() -> None:
    """The claim multiplies the items that ground the quad; simulated trips agree within what they ignore."""
    plan = pack()
    product = math.prod(r.p_enough for r in (*plan.lines, *plan.left) if r.grounding)
    assert plan.p_claimed == pytest.approx(product, rel=1e-12)
    assert abs(plan.p_all - plan.p_claimed) < 0.1
    assert plan.p_error < 0.01


def test_same_seed_same_kit() -> None:
    """The same seed gives the same plan, another seed the same list and nearly the same chance."""
    assert pack() == pack()
    other = pack(seed=5)
    assert [r.count for r in other.lines] == [r.count for r in pack().lines]
    assert other.p_all == pytest.approx(pack().p_all, abs=5 * pack().p_error)


def test_more_room_never_hurts() -> None:
    """With more grams and coins the chance of running out of nothing never falls."""
    chances = [pack(grams=g, coins=c).p_claimed for g, c in ((0, 0), (80, 30), (200, 60), (900, 500))]
    assert chances == sorted(chances)
    assert chances[0] < 0.5 < 0.99 < chances[-1]


def test_stock_costs_no_coins() -> None:
    """What is owned is carried for nothing, and the shopping list holds only the rest."""
    plan = pack(owned={"arm": 2, "prop": 30}, coins=0.0)
    rows = {r.item: r for r in plan.lines}
    assert plan.coins == 0.0
    assert all(r.buy == 0 for r in plan.lines)
    assert rows["arm"].count >= 1
    assert set(rows) <= {"arm", "prop"}


def test_breaks_in_the_journal_move_the_kit() -> None:
    """A pilot whose arms break far more often than simulated carries more of them."""
    when = datetime(2026, 4, 1, tzinfo=UTC)
    rows = tuple(CrashRow(when, "hit", "", ("arm_fl",) if i % 4 == 0 else ()) for i in range(80))
    history = QuadHistory("q", 80, 80.0, rows, breaks={"arm_fl": 20})
    wide = {"grams": 2000.0, "coins": 900.0}
    before = {r.item: r.count for r in pack(**wide).lines}
    after = {r.item: r.count for r in pack(history=history, **wide).lines}
    assert after["arm"] > before["arm"]


def test_loose_screws_move_the_kit() -> None:
    """A group that is often found loose needs more screws, pooled with groups of the same size."""
    quiet = {u.item: u for u in screw_use(QUAD, NEW, PRIORS, 40)}
    assert set(quiet) == {"screw_m3_12", "screw_m3_8"}
    assert quiet["screw_m3_12"].mass == pytest.approx(1.2e-3, rel=1e-12)
    checks = tuple(CheckRow(0, 4, 8, 3) for _ in range(10))
    shaky = QuadHistory("q", 40, 40.0, groups={"arm": GroupHistory("arm", checks=checks)})
    loud = {u.item: u for u in screw_use(QUAD, shaky, PRIORS, 40)}
    assert loud["screw_m3_12"].mean > 3 * quiet["screw_m3_12"].mean
    assert loud["screw_m3_8"].mean == pytest.approx(quiet["screw_m3_8"].mean, rel=1e-12)


def test_simulated_use_has_the_claimed_mean() -> None:
    """Averaged over trips, the simulation uses what the claim expects, item by item."""
    trip = trip_of(QUAD, NEW, HAZARDS, PRIORS, 30)
    used = trip.simulate(40_000, 1)
    for column, demand in enumerate(trip.demands):
        error = used[:, column].std() / math.sqrt(len(used))
        # Hazards add up a little faster than chances: rare parts' claim is up to half a hazard too high.
        assert used[:, column].mean() == pytest.approx(demand.mean, rel=0.05, abs=5 * error)


def test_next_best_is_the_best_next() -> None:
    """No other single piece raises the chance more per gram, or per coin, than the one named."""
    plan = pack(grams=150.0, coins=40.0)
    trip = trip_of(QUAD, NEW, HAZARDS, PRIORS, 40)
    have = {r.item: r.count for r in plan.lines}
    gains = {}
    for d in trip.demands:
        n = have.get(d.item, 0)
        if PRIORS.kit.weight[d.kind] >= 1 and n < len(d.cdf) - 1:
            gains[d.item] = (
                plan.p_claimed * (d.cdf[n + 1] / d.cdf[n] - 1),
                d.mass * 1e3,
                PRIORS.kit.price[d.kind],
            )
    assert plan.next_gram.item == max(gains, key=lambda i: gains[i][0] / gains[i][1])
    assert plan.next_coin.item == max(gains, key=lambda i: gains[i][0] / gains[i][2])
    assert plan.next_gram.p_after > plan.next_gram.p_before
    assert "trips in 100" in plan.next_coin.summary()


def test_tools_fit_the_quad() -> None:
    """Each thread has its key, props their wrench, and packs their bag."""
    names = [t.name for t in pack().tools]
    assert "hex key 2.5 mm" in names
    assert "prop nut wrench" in names
    assert "fire-resistant pack bag" in names
    assert "thread locker" not in names


@pytest.mark.parametrize(
    "bad", [{"packs": 0}, {"packs": 1001}, {"grams": -1.0}, {"coins": math.nan}, {"owned": {"arm": -1}}]
)
def test_impossible_trips_are_refused(bad: dict[str, object]) -> None:
    """A trip, limit or stock that cannot be is refused with the field's name."""
    with pytest.raises(CrashworthyError) as caught:
        pack(**bad)
    assert caught.value.problems[0].field in {"packs", "grams", "coins", "arm"}


# --- the packing problem ---------------------------------------------------------------------------------


@given(items, st.integers(0, 120), st.integers(0, 80))
@settings(max_examples=40, deadline=None)
def test_best_is_best_of_all(rows: list[tuple[float, int, int]], grams: int, coins: int) -> None:
    """The programme's list is as good as the best of every list there is, and never worse than greedy."""
    bag = [poisson_item(m, float(g), float(c)) for m, g, c in rows]
    found = pack_best(bag, grams, coins)
    assert sum(n * c.grams for n, c in zip(found, bag, strict=True)) <= grams + 1e-6
    assert sum(n * c.coins for n, c in zip(found, bag, strict=True)) <= coins + 1e-6
    greedy = log_chance(bag, pack_greedy(bag, grams, coins))
    assert log_chance(bag, found) >= greedy - 1e-9
    tops = [range(min(c.most, int(grams // c.grams)) + 1) for c in bag]
    if math.prod(len(t) for t in tops) <= 3000:
        best = max(
            log_chance(bag, s)
            for s in itertools.product(*tops)
            if sum(n * c.grams for n, c in zip(s, bag, strict=True)) <= grams
            and sum(n * c.coins for n, c in zip(s, bag, strict=True)) <= coins
        )
        assert log_chance(bag, found) == pytest.approx(best, abs=1e-9)


def test_greedy_can_lose() -> None:
    """There are bags where piece by piece is not best, which is why the programme is solved."""
    bag = [poisson_item(1.0, 60, 0), poisson_item(0.55, 50, 0), poisson_item(0.55, 50, 0)]
    best, greedy = (math.exp(log_chance(bag, f(bag, 100, 1))) for f in (pack_best, pack_greedy))
    assert best > greedy + 0.01


@given(st.floats(0.1, 8.0), st.integers(0, 12))
@settings(max_examples=40, deadline=None)
def test_shortage_falls_with_each_piece(mean: float, count: int) -> None:
    """Each piece more leaves less lacking, and none at all lacks the whole demand."""
    cdf = np.cumsum(poisson_pmf(np.array([mean]), 60)[0])
    assert expected_shortage(mean, cdf, 0) == pytest.approx(mean, rel=1e-12)
    assert expected_shortage(mean, cdf, count + 1) <= expected_shortage(mean, cdf, count) + 1e-12


def test_forty_items_in_under_a_second() -> None:
    """A kit of forty items is solved exactly in less than a second."""
    rng = np.random.default_rng(2)
    rows = zip(rng.gamma(1, 0.7, 40), rng.uniform(1, 40, 40), rng.uniform(0.5, 30, 40), strict=True)
    bag = [poisson_item(m, g, c) for m, g, c in rows]
    pack_best(bag[:3], 50, 50)
    start = time.process_time()
    found = pack_best(bag, 500, 250)
    assert time.process_time() - start < 1.0
    assert log_chance(bag, found) >= log_chance(bag, pack_greedy(bag, 500, 250))


def test_nothing_to_pack() -> None:
    """A quad of which nothing is known to break or loosen packs nothing and runs out of nothing."""
    plan = kit(Craft(joints=()), NEW, {}, PRIORS, packs=5, grams=100, coins=10, seed=1)
    assert plan.lines == plan.left == ()
    assert plan.p_all == plan.p_claimed == 1.0
    assert plan.weakest == ""
    assert plan.next_gram is plan.next_coin is None
    assert plan.summary().endswith("100 trips in 100 you run out of nothing.")


def test_no_room_packs_nothing_but_says_what_lacks() -> None:
    """With no grams allowed nothing is carried, and the sentence still says what runs out first."""
    plan = pack(grams=0.0)
    assert plan.lines == ()
    assert plan.weakest == "prop"
    assert plan.next_gram.item == "prop"


def test_a_part_that_always_breaks_in_a_slam() -> None:
    """A simulated chance of nearly 1 does not upset the numbers."""
    hazards = dict(HAZARDS) | {"prop_fl": (0.1, 2.0, -math.log(1e-6))}
    plan = kit(QUAD, NEW, hazards, PRIORS, packs=10, grams=500, coins=100, seed=1)
    assert 0.0 < plan.p_all < 1.0
    assert all(math.isfinite(r.p_enough) and math.isfinite(r.short) for r in plan.lines)
