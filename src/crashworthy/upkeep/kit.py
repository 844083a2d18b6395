"""The kit: which spares and tools to carry for a trip of N packs, within grams and coins.

The list is the best there is for the claimed demand (``packing``); how often it really holds is then counted
on simulated trips, where one bad day uses up several things at once, and that number is the one to show.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from crashworthy.cautions import CAUTIONS
from crashworthy.errors import CrashworthyError, Problem
from crashworthy.quantities import GRAM
from crashworthy.upkeep.demand import Demand, trip_of
from crashworthy.upkeep.packing import Candidate, expected_shortage, pack_best
from crashworthy.upkeep.words import in_100

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

    from crashworthy.build.quad import Quad
    from crashworthy.upkeep.history import QuadHistory
    from crashworthy.upkeep.priors import KitPrior, Priors

__all__ = ["KitLine", "KitPlan", "NextBest", "Tool", "kit"]


@dataclass(frozen=True, slots=True)
class KitLine:
    """One item of the list.

    Attributes:
        item: its name, as in the stock.
        label: in words.
        count: pieces to carry.
        buy: pieces of them that are not in stock.
        grams: of all pieces, g.
        coins: of the pieces to buy.
        expected: pieces the trip is expected to use.
        p_enough: probability that the pieces are enough.
        short: pieces that will lack on average (expected shortage).
        grounding: whether running out of it ends the day.
        why: in words with numbers.
    """

    item: str
    label: str
    count: int
    buy: int
    grams: float
    coins: float
    expected: float
    p_enough: float
    short: float
    grounding: bool
    why: str

    def to_json(self) -> dict[str, object]:
        """Plain dict."""
        return {name: getattr(self, name) for name in self.__slots__}


@dataclass(frozen=True, slots=True)
class Tool:
    """One tool.

    Attributes:
        name: in words.
        grams: g, assumed (``priors.toml`` [tool]).
        why: what it is for.
    """

    name: str
    grams: float
    why: str

    def to_json(self) -> dict[str, object]:
        """Plain dict."""
        return {name: getattr(self, name) for name in self.__slots__}


@dataclass(frozen=True, slots=True)
class NextBest:
    """The one more piece that helps most for what it costs in one currency.

    Attributes:
        item, label: what.
        grams: g of it.
        coins: to buy it.
        p_before, p_after: claimed chance of running out of nothing, without and with it.
    """

    item: str
    label: str
    grams: float
    coins: float
    p_before: float
    p_after: float

    def summary(self) -> str:
        """One sentence with numbers."""
        return (
            f"One more {self.label} ({self.grams:.0f} g, {self.coins:.1f} coins): "
            f"{in_100(self.p_before)} to {in_100(self.p_after)} trips in 100."
        )

    def to_json(self) -> dict[str, object]:
        """Plain dict."""
        return {name: getattr(self, name) for name in self.__slots__} | {"summary": self.summary()}


@dataclass(frozen=True, slots=True)
class KitPlan:
    """What to carry.

    Attributes:
        packs: of the trip.
        crashes: expected in it.
        lines: items to carry, those that run out first on top.
        left: items that may be needed but are not carried.
        grams, coins: of the list; money for what must be bought.
        gram_limit, coin_limit: as asked.
        p_claimed: chance of running out of nothing that grounds the quad, items taken as independent.
        p_all: the same counted on simulated trips: the number to show.
        p_error: its standard error from the number of trips.
        trips, seed: of the simulation.
        weakest: item most likely to run out, or "" when none is needed.
        next_gram, next_coin: the best next piece by weight and by money, or None.
        tools: to carry besides.
        tool_grams: g of them, not counted in ``grams``.
        cautions: to read before packing.
    """

    packs: int
    crashes: float
    lines: tuple[KitLine, ...]
    left: tuple[KitLine, ...]
    grams: float
    coins: float
    gram_limit: float
    coin_limit: float
    p_claimed: float
    p_all: float
    p_error: float
    trips: int
    seed: int
    weakest: str
    next_gram: NextBest | None
    next_coin: NextBest | None
    tools: tuple[Tool, ...]
    tool_grams: float
    cautions: tuple[str, ...]

    def summary(self) -> str:
        """One sentence with numbers."""
        first = (
            f"For {self.packs} packs: {self.grams:.0f} of {self.gram_limit:.0f} g, {self.coins:.0f} of "
            f"{self.coin_limit:.0f} coins, {in_100(self.p_all)} trips in 100 you run out of nothing"
        )
        return f"{first}; first to ground you: {self.weakest}." if self.weakest else f"{first}."

    def to_json(self) -> dict[str, object]:
        """Plain dict."""
        plain: dict[str, object] = {name: getattr(self, name) for name in self.__slots__}
        for name in ("lines", "left", "tools"):
            plain[name] = [row.to_json() for row in getattr(self, name)]
        for name in ("next_gram", "next_coin"):
            best = getattr(self, name)
            plain[name] = best.to_json() if best is not None else None
        plain["cautions"] = list(self.cautions)
        plain["summary"] = self.summary()
        return plain


def _check_limits(packs: int, grams: float, coins: float, owned: Mapping[str, int]) -> None:
    problems = []
    if not 1 <= packs <= 1000:
        problems.append(Problem(f"{packs} packs", "give 1 to 1000", field="packs"))
    for name, limit in (("grams", grams), ("coins", coins)):
        if not (math.isfinite(limit) and limit >= 0):
            problems.append(Problem(f"{limit!r} {name}", "give a limit of 0 or more", field=name))
    problems += [
        Problem(f"{count} of {item} in stock", "give 0 or more", field=item)
        for item, count in owned.items()
        if count < 0
    ]
    if problems:
        raise CrashworthyError(*problems)


def _candidate(demand: Demand, prior: KitPrior, owned: Mapping[str, int]) -> Candidate:
    return Candidate(
        cdf=demand.cdf,
        grams=demand.mass / GRAM,
        coins=prior.price.get(demand.kind, 0.0),
        owned=owned.get(demand.item, 0),
        weight=prior.weight.get(demand.kind, 1.0),
    )


def _line(demand: Demand, candidate: Candidate, count: int) -> KitLine:
    buy = max(count - candidate.owned, 0)
    return KitLine(
        item=demand.item,
        label=demand.label,
        count=count,
        buy=buy,
        grams=count * candidate.grams,
        coins=buy * candidate.coins,
        expected=demand.mean,
        p_enough=float(candidate.cdf[count]),
        short=expected_shortage(demand.mean, candidate.cdf, count),
        grounding=candidate.weight >= 1.0,
        why=demand.why,
    )


def _next_best(
    demands: Sequence[Demand],
    candidates: Sequence[Candidate],
    counts: Sequence[int],
    p_all: float,
    *,
    money: bool,
) -> NextBest | None:
    """Best growth of P for the next piece per gram, or per coin among the pieces that must be bought."""
    best: tuple[float, NextBest] | None = None
    for demand, c, n in zip(demands, candidates, counts, strict=True):
        if c.weight < 1.0 or n >= c.most:
            continue
        cost = c.price(n + 1) if money else c.grams
        if cost <= 0:
            continue
        after = min(p_all * float(c.cdf[n + 1]) / max(float(c.cdf[n]), 1e-300), 1.0)
        row = NextBest(demand.item, demand.label, c.grams, c.price(n + 1), p_all, after)
        if best is None or (after - p_all) / cost > best[0]:
            best = ((after - p_all) / cost, row)
    return None if best is None else best[1]


_HEX_KEYS = {"M2": "1.5 mm", "M2.5": "2 mm", "M3": "2.5 mm", "M4": "3 mm"}  # ISO 4762, from memory


def _tools(quad: Quad, prior: KitPrior) -> tuple[Tool, ...]:
    tools = [
        Tool(f"hex key {_HEX_KEYS.get(thread, f'for {thread}')}", prior.tool["hex_key"], f"{thread} screws")
        for thread in sorted({j.thread for j in quad.joints if j.count})
    ]
    if any(p.kind == "prop" for p in quad.parts):
        tools.append(Tool("prop nut wrench", prior.tool["nut_wrench"], "prop nuts"))
    if any(j.threadlock for j in quad.joints):
        tools.append(Tool("thread locker", prior.tool["thread_locker"], "screws that carry it"))
    tools.append(Tool("tape", prior.tool["tape"], "leads, shields and printed parts that came loose"))
    if any(p.kind == "battery" for p in quad.parts):
        tools.append(Tool("fire-resistant pack bag", prior.tool["pack_bag"], "packs on the way"))
    return tuple(tools)


def kit(
    quad: Quad,
    history: QuadHistory,
    hazards: Mapping[str, Sequence[float]],
    priors: Priors,
    *,
    packs: int,
    grams: float,
    coins: float,
    seed: int,
    owned: Mapping[str, int] | None = None,
) -> KitPlan:
    """Pack for a trip.

    Args:
        quad: parts and joint groups.
        history: what the journal says.
        hazards: simulated break hazard in one crash by part name: (scuff, hit, slam), each -log(1 - p).
        priors: beliefs, prices and weights.
        packs: packs to be flown, 1 to 1000.
        grams: limit of spares' weight, g.
        coins: limit of money for spares that are not in stock.
        seed: of the simulated trips.
        owned: stock by item name; what is owned costs no coins.

    Returns:
        The best list within the limits, and how often it holds on simulated trips.

    Raises:
        CrashworthyError: a limit, the stock or the number of packs is impossible.
        JournalError: a hazard or a check in the history is impossible.
    """
    stock = owned or {}
    _check_limits(packs, grams, coins, stock)
    trip = trip_of(quad, history, hazards, priors, packs)
    demands = trip.demands
    candidates = [_candidate(d, priors.kit, stock) for d in demands]
    counts = pack_best(candidates, grams, coins)
    rows = [_line(d, c, n) for d, c, n in zip(demands, candidates, counts, strict=True)]
    grounding = np.array([r.grounding for r in rows], dtype=bool)
    p_claimed = math.prod(r.p_enough for r in rows if r.grounding)
    used = trip.simulate(priors.kit.trips, seed)
    enough: NDArray[np.bool_] = used <= np.array(counts, dtype=np.int64)
    holds = np.all(enough[:, grounding], axis=1).tolist()
    p_all = float(np.mean(holds))
    rows.sort(key=lambda r: (r.p_enough, r.item))
    weakest = next((r.label for r in rows if r.grounding), "")
    lines = tuple(r for r in rows if r.count)
    tools = _tools(quad, priors.kit)
    return KitPlan(
        packs=packs,
        crashes=trip.crashes,
        lines=lines,
        left=tuple(r for r in rows if not r.count),
        grams=sum(r.grams for r in lines),
        coins=sum(r.coins for r in lines),
        gram_limit=grams,
        coin_limit=coins,
        p_claimed=p_claimed,
        p_all=p_all,
        p_error=math.sqrt(p_all * (1.0 - p_all) / len(holds)),
        trips=len(holds),
        seed=seed,
        weakest=weakest,
        next_gram=_next_best(demands, candidates, counts, p_claimed, money=False),
        next_coin=_next_best(demands, candidates, counts, p_claimed, money=True),
        tools=tools,
        tool_grams=sum(t.grams for t in tools),
        cautions=tuple(CAUTIONS[act].text for act in ("packs", "crashed-pack")),
    )
