"""Watching rare hits: which they are, and which crashes are worth simulating for them.

A lens that one crash in a thousand touches is touched ten times in ten thousand: its share is known to a
third. So many more crashes are *drawn* than simulated (``POOL`` times; a draw with its first touch costs a
small part of a crash), each gets a forecast of its chance g_k of hitting each watched thing k, and is kept
with the chance

    π = least(1, λ (α + (1 − α)/K Σ_k √g_k / mean √g_k)),   Σ π = crashes to simulate

This is a defensive mixture (Hesterberg, Technometrics 37, 1995; Owen and Zhou, JASA 95, 2000) of the natural
crashes (share α) and, for each watched thing, of those that are likely to hit it, sampled by thinning: the
densities α p + (1 − α) p √g_k / E √g_k need no closed form. A kept crash counts 1/π, which is the weight that
the balance heuristic (Veach, 1997) gives to a draw from that mixture. √g is the best choice for a share when
the forecast is right; when it is wrong no answer is biased, and no weight exceeds 1/α of the average by much.

A crash that was drawn under number c is the same crash, simulated or not, watched or not, whatever the build.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from crashworthy.errors import Problem, ScenarioError
from crashworthy.impact.sampler import Draws
from crashworthy.impact.words import plural_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from crashworthy.impact.scenario import Scenario

    Floats = NDArray[np.float64]

__all__ = ["DEFENCE", "FRAGILE", "POOL", "RARE", "Watched", "keep_chances", "pick", "rare_ones", "read_watch"]

POOL: Final = 32
"""Crashes drawn for each that is simulated."""

DEFENCE: Final = 0.3
"""Share α of natural crashes in the mixture."""

RARE: Final = 0.02
"""A part that fewer crashes touch is rare."""

MOST: Final = 6
"""Most parts that ``rare`` picks: every further one takes its share of the crashes."""

FRAGILE: Final = ("lens", "camera", "antenna", "plug", "lead", "board", "box")
"""Kinds of parts that ``rare`` looks among."""


@dataclass(frozen=True, slots=True)
class Watched:
    """Something that may be hit, and perhaps only by some obstacles.

    Attributes:
        name: in words.
        parts: indices of parts of the build; a hit on any of them counts.
        obstacles: indices of obstacles of the scenario; empty means any.
    """

    name: str
    parts: tuple[int, ...]
    obstacles: tuple[int, ...] = ()

    def hit(self, part_peak: NDArray[Any], obstacle: NDArray[np.int32]) -> NDArray[np.bool_]:
        """(n,) whether it was hit.

        Args:
            part_peak: (parts, n) peak forces.
            obstacle: (n,) index of what was met.
        """
        hit: NDArray[np.bool_] = (part_peak[list(self.parts)] > 0.0).any(axis=0) & self.possible(obstacle)
        return hit

    def possible(self, obstacle: NDArray[np.int32]) -> NDArray[np.bool_]:
        """(n,) whether the obstacle is one that counts."""
        if not self.obstacles:
            return np.ones(len(obstacle), dtype=np.bool_)
        return np.isin(obstacle, self.obstacles)


Parts = tuple[tuple[str, str, str], ...]


def read_watch(asked: Sequence[str], parts: Parts, scenario: Scenario) -> tuple[tuple[Watched, ...], bool]:
    """Understand what is to be watched.

    Args:
        asked: each a part by name, label or kind ("lens", "antennas"), perhaps with an obstacle by name or
            kind ("lens by spike"); or "rare", which leaves the choice to ``rare_ones``.
        parts: (name, label, kind) of the build's parts.
        scenario: what is met.

    Returns:
        What is watched by name, and whether "rare" was among it.

    Raises:
        ScenarioError: no such part or obstacle; the message lists those there are.
    """
    found: list[Watched] = []
    problems: list[Problem] = []
    wanted = [text.strip().lower() for text in asked if text.strip()]
    for text in wanted:
        if text == "rare":
            continue
        what, _, by = text.partition(" by ")
        what, by = what.strip(), by.strip()
        own = tuple(i for i, names in enumerate(parts) if what in (n.lower() for n in names[:2]))
        own = own or tuple(i for i, (_, _, kind) in enumerate(parts) if what in (kind, plural_of(kind)))
        met = tuple(i for i, o in enumerate(scenario.obstacles) if by in (o.name.lower(), o.kind))
        if not own:
            kinds = ", ".join(sorted({kind for _, _, kind in parts}))
            problems.append(
                Problem(
                    f"no part is called {what!r}", f"name a part or a kind: {kinds}; or rare", field="watch"
                )
            )
        if by and not met:
            names = ", ".join(o.name for o in scenario.obstacles)
            problems.append(
                Problem(f"nothing to hit is called {by!r}", f"name one of: {names}", field="watch")
            )
        label = parts[own[0]][1] if len(own) == 1 else plural_of(parts[own[0]][2]) if own else ""
        found.append(Watched(f"{label} by {by}" if by else label, own, met))
    if problems:
        raise ScenarioError(*problems)
    return tuple(dict.fromkeys(found)), "rare" in wanted


def rare_ones(shares: Floats, parts: Parts, touchable: NDArray[np.int32]) -> tuple[Watched, ...]:
    """The fragile parts that are seldom touched, the rarest first.

    Args:
        shares: (parts,) share of the first crashes that touch each part.
        parts: (name, label, kind).
        touchable: parts that have a skin.

    Raises:
        ScenarioError: the build has no fragile part.
    """
    fragile = [int(i) for i in touchable if parts[i][2] in FRAGILE]
    if not fragile:
        raise ScenarioError(
            Problem(
                "the build has no lens, antenna, plug, lead or board", "name parts to watch", field="watch"
            )
        )
    fragile.sort(key=lambda i: (shares[i], i))
    rare = [i for i in fragile if shares[i] < RARE] or fragile[:1]
    return tuple(Watched(parts[i][1], (i,)) for i in rare[:MOST])


def keep_chances(forecasts: Sequence[Floats], n: int, count: int) -> Floats:
    """(n,) chance π with which each drawn crash is kept, so that ``count`` are on average.

    Args:
        forecasts: for each watched thing, (n,) chance to be hit.
        n: crashes drawn.
        count: crashes to simulate.
    """
    roots = [np.sqrt(g) for g in forecasts]
    told = [g / g.mean() for g in roots if g.mean() > 0.0]
    worth = np.ones(n)
    if told:
        worth = DEFENCE + (1.0 - DEFENCE) / len(told) * np.sum(told, axis=0)
    certain = np.zeros(n, dtype=np.bool_)
    # Chances above one are cut; what they lose is given to the others.
    while True:
        scale = (count - certain.sum()) / worth[~certain].sum()
        more = ~certain & (scale * worth >= 1.0)
        if not more.any():
            break
        certain |= more
    chances: Floats = np.where(certain, 1.0, scale * worth)
    return chances


def pick(chances: Floats, stratum: NDArray[np.int32], count: int, seed: int, first: int) -> NDArray[np.int64]:
    """Draw ``count`` crashes with given chances.

    Systematic sampling (Madow, Ann. Math. Stat. 20, 1949) of the crashes put in order by obstacle and
    chance, so that each obstacle, and each grade of likelihood in it, is met in proportion.

    Args:
        chances: (n,) adding up to ``count``.
        stratum: (n,) obstacle.
        count: how many.
        seed: of the campaign.
        first: number of the first crash among those drawn; with the seed it decides the draw.

    Returns:
        Indices in rising order.
    """
    order = np.lexsort((chances, stratum))
    upto = np.cumsum(chances[order]) * (count / chances.sum())
    start = float(Draws(seed, np.array([first], dtype=np.int64)).uniform("watch.pick")[0])
    at = np.searchsorted(upto, np.arange(count) + start, side="left")
    return np.sort(order[np.minimum(at, len(order) - 1)])
