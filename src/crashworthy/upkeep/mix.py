"""The mix of obstacles that a pilot really meets, from the words of the journal.

    share of obstacle i = (K s_i + n_i) / (K + n)

with s_i the scenario's share, n_i the crashes whose words name it, n their sum and K how many crashes the
prior is worth (the mean of a Dirichlet distribution after counting). Words that name several obstacles,
"tree" or "ground", are shared among them by the prior.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final

from crashworthy.impact.scenario import Scenario

if TYPE_CHECKING:
    from collections.abc import Iterable

    from crashworthy.upkeep.history import QuadHistory

__all__ = ["ENOUGH", "JOURNAL", "WORTH", "FittedMix", "fitted_mix", "meant"]

WORTH: Final = 20.0
"""Crashes that the prior mix is worth (assumption)."""

JOURNAL: Final = "journal"
"""Name of the scenario that follows the journal."""

ENOUGH: Final = 5
"""Crashes that must name an obstacle before the mix is touched (assumption)."""

_WORDS: Final[dict[str, tuple[tuple[str, str], ...]]] = {
    "grass": (("ground", "grass"),),
    "meadow": (("ground", "grass"),),
    "soil": (("ground", "soil"),),
    "dirt": (("ground", "soil"),),
    "sand": (("ground", "soil"),),
    "mud": (("ground", "soil"),),
    "ground": (("ground", "grass"), ("ground", "soil")),
    "field": (("ground", "grass"), ("ground", "soil")),
    "tree": (("pole", "wood"), ("branch", "wood")),
    "birch": (("pole", "wood"), ("branch", "wood")),
    "oak": (("pole", "wood"), ("branch", "wood")),
    "pine": (("pole", "wood"), ("branch", "wood")),
    "trunk": (("pole", "wood"),),
    "branch": (("branch", "wood"),),
    "bush": (("branch", "wood"),),
    "hedge": (("branch", "wood"),),
    "concrete": (("ground", "concrete"),),
    "floor": (("ground", "concrete"),),
    "asphalt": (("ground", "asphalt"),),
    "road": (("ground", "asphalt"),),
    "street": (("ground", "asphalt"),),
    "wall": (("wall", ""),),
    "building": (("wall", ""),),
    "house": (("wall", ""),),
    "edge": (("edge", ""),),
    "kerb": (("edge", ""),),
    "curb": (("edge", ""),),
    "stairs": (("edge", ""),),
    "pole": (("pole", "steel"),),
    "post": (("pole", "steel"),),
    "lamp": (("pole", "steel"),),
    "gate": (("pole", "steel"),),
    "rail": (("rail", ""),),
    "beam": (("rail", ""),),
    "bar": (("rail", ""),),
    "fence": (("net", ""),),
    "net": (("net", ""),),
    "rubble": (("rubble", ""),),
    "rock": (("rubble", ""),),
    "stone": (("rubble", ""),),
    "gravel": (("rubble", ""),),
    "spike": (("spike", ""),),
    "rebar": (("spike", ""),),
}
"""What a word stands for: kind and surface of obstacles; "" for any surface."""


@dataclass(frozen=True, slots=True)
class FittedMix:
    """A scenario with the journal's mix.

    Attributes:
        scenario: with new weights; the given one when too few crashes name an obstacle.
        counts: crashes by name of obstacle, shared where a word names several.
        known: crashes that name an obstacle of the scenario.
        unknown: words of the others, most frequent first.
        moved: share of the crashes that the journal moved to another obstacle, half the sum of |new - old|.
    """

    scenario: Scenario
    counts: dict[str, float]
    known: int
    unknown: tuple[str, ...]
    moved: float = 0.0

    @property
    def fitted(self) -> bool:
        """Whether there was enough to fit."""
        return self.known >= ENOUGH

    def summary(self) -> str:
        """One sentence, numbers first."""
        if not self.fitted:
            return f"{self.known} crashes name what was hit; from {ENOUGH} on the mix follows the journal."
        top = sorted(self.counts, key=lambda k: -self.counts[k])[:3]
        listed = ", ".join(f"{name} {self.counts[name]:.0f}" for name in top)
        return (
            f"{self.known} crashes name what was hit: {listed}; the assumed mix counts as {WORTH:g} more, "
            f"and {100 * self.moved:.0f} of 100 crashes moved to another obstacle."
        )

    def to_json(self) -> dict[str, Any]:
        """Plain data."""
        return {
            "summary": self.summary(),
            "fitted": self.fitted,
            "known": self.known,
            "counts": dict(self.counts),
            "unknown": list(self.unknown),
            "moved": self.moved,
            "scenario": self.scenario.to_json(),
        }


def meant(words: str, scenario: Scenario) -> list[int]:
    """Obstacles of the scenario that the words name: by name, else by the first word that is known."""
    text = words.casefold().strip()
    exact = [i for i, o in enumerate(scenario.obstacles) if o.name.casefold() == text]
    if exact:
        return exact
    found: list[int] = []
    for word in re.findall(r"[a-z]+", text):
        endings = ("", "s", "es")
        stem = next((word.removesuffix(e) for e in endings if word.removesuffix(e) in _WORDS), word)
        for kind, surface in _WORDS.get(stem, ()):
            found += [
                i
                for i, o in enumerate(scenario.obstacles)
                if o.kind == kind and surface in ("", o.surface) and i not in found
            ]
        if found and stem not in ("concrete", "floor", "ground"):
            # A noun that names the thing itself wins over what it is made of.
            named = {kind for kind, _ in _WORDS.get(stem, ())}
            exact = [i for i in found if scenario.obstacles[i].kind in named]
            found = exact or found
    return found


def _told(count: float, known: int, share: float) -> str:
    """Where the share of a fitted obstacle comes from; its sizes stay what they were."""
    return (
        f"journal: {count:.3g} of {known} crashes, beside the assumed {100 * share:.3g} % of {WORTH:g} "
        "crashes; sizes as assumed"
    )


def fitted_mix(history: QuadHistory | Iterable[QuadHistory], scenario: Scenario) -> FittedMix:
    """Weights of a scenario's obstacles after what the journal says was hit.

    Args:
        history: of one quad or of several flown by the same pilot.
        scenario: whose weights are the prior.
    """
    histories = [history] if hasattr(history, "crashes") else list(history)
    counts = dict.fromkeys((o.name for o in scenario.obstacles), 0.0)
    unknown: dict[str, int] = {}
    known = 0
    shares = scenario.shares
    for one in histories:
        for crash in one.crashes:
            if not crash.obstacle.strip():
                continue
            named = [i for i in meant(crash.obstacle, scenario) if shares[i] > 0.0]
            if not named:
                unknown[crash.obstacle] = unknown.get(crash.obstacle, 0) + 1
                continue
            known += 1
            total = sum(shares[i] for i in named)
            for i in named:
                counts[scenario.obstacles[i].name] += shares[i] / total
    words = tuple(sorted(unknown, key=lambda w: (-unknown[w], w)))
    if known < ENOUGH:
        return FittedMix(scenario, counts, known, words)
    weights = [
        (WORTH * s + counts[o.name]) / (WORTH + known)
        for o, s in zip(scenario.obstacles, shares, strict=True)
    ]
    mixed = tuple(
        replace(o, weight=w, source=_told(counts[o.name], known, s))
        for o, w, s in zip(scenario.obstacles, weights, shares, strict=True)
    )
    moved = 0.5 * sum(abs(w - s) for w, s in zip(weights, shares, strict=True))
    return FittedMix(replace(scenario, obstacles=mixed, name=JOURNAL), counts, known, words, moved)
