"""What a comparison says: each part and kind of part of two builds, with words for it."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any, Final

from crashworthy.impact.summary import plain_numbers

__all__ = ["INTERVAL", "ArmChange", "Comparison", "Difference"]

INTERVAL: Final = (
    "90 % interval of the difference; holds the sampling error of the paired crashes, how well the median "
    "strengths are known (the same for both builds) and the choice of contact points; holds neither the "
    "scenario's assumptions nor the contact model's"
)
"""What the intervals contain."""


@dataclass(frozen=True, slots=True)
class Difference:
    """One part or one kind of part, of both builds.

    Attributes:
        name: of the part or kind.
        words: for a sentence ("arms", "front left arm").
        count_a, count_b: parts that can break; 0 when a build has none.
        a, b: breaks in 100 crashes.
        change, low, high: b minus a, with 90 % interval (``INTERVAL``).
        fewer: chance that b breaks less.
        more: further crashes that would settle the sign; 0 when it is settled, -1 when more crashes cannot.
        hit_a, hit_b: touches of the part, or of all parts of the kind, in 100 crashes.
        hit_change, hit_low, hit_high: of the touches, 90 % interval of the paired difference.
    """

    name: str
    words: str
    count_a: int
    count_b: int
    a: float
    b: float
    change: float
    low: float
    high: float
    fewer: float
    more: int
    hit_a: float
    hit_b: float
    hit_change: float
    hit_low: float
    hit_high: float

    @property
    def known(self) -> bool:
        """Whether the sign of the change is settled."""
        return self.more == 0

    def sentence(self, b: str) -> str:
        """In words, with numbers; ``b`` is the name of the second build."""
        if not self.count_a or not self.count_b:
            who = f"Only {b} has" if self.count_b else f"{b} has no"
            return f"{who} {self.words}: {self.b if self.count_b else self.a:.1f} break in 100 crashes."
        if self.a < 0.005 and self.b < 0.005:
            return f"{self.words[:1].upper()}{self.words[1:]} do not break."
        if self.change == self.low == self.high == 0.0:
            return f"{self.words[:1].upper()}{self.words[1:]}: no change, {self.a:.1f} break in 100 crashes."
        if not self.known:
            more = (
                f"about {_round(self.more)} more crashes"
                if self.more > 0
                else "more simulated crashes will not settle it, strengths and contact points leave more open"
            )
            return (
                f"{self.words[:1].upper()}{self.words[1:]}: cannot tell yet "
                f"({self.low:+.2g} to {self.high:+.2g} in 100): {more}."
            )
        size, low, high = abs(self.change), *sorted((abs(self.low), abs(self.high)))
        way = "fewer" if self.change < 0 else "more"
        return f"{b} breaks {_short(size)} ({_short(low)}-{_short(high)}) {way} {self.words} per 100 crashes."


@dataclass(frozen=True, slots=True)
class ArmChange:
    """How much harder or easier the arms of the second build work.

    Attributes:
        factor: root load over strength of the second build, over that of the first: exp of the mean
            difference of logarithms over crashes that load an arm of both builds.
        low, high: 90 % interval of the paired mean (sampling alone).
        crashes: that loaded an arm of both.
    """

    factor: float
    low: float
    high: float
    crashes: int

    def sentence(self, b: str) -> str:
        """In words, with numbers."""
        percent = [100.0 * (x - 1.0) for x in (self.factor, self.low, self.high)]
        if percent[1] <= 0.0 <= percent[2] or abs(percent[0]) < 0.5:
            spread = f"({percent[1]:+.0f} to {percent[2]:+.0f} %)"
            return f"Arms of {b} work as close to their strength as before {spread}."
        way = "further from" if percent[0] < 0 else "closer to"
        low, high = sorted(abs(x) for x in percent[1:])
        return f"Arms of {b} work {abs(percent[0]):.0f} % ({low:.0f}-{high:.0f}) {way} their strength."


@dataclass(frozen=True, slots=True)
class Comparison:
    """Two builds over the same crashes.

    Attributes:
        a, b: names of the builds.
        digest_a, digest_b: of the builds.
        n: crashes of each, common to both.
        asked: crashes allowed; more than ``n`` when the interval was narrow enough before.
        seed: of the crashes.
        kinds: every kind of part of either, the surest and largest change first.
        parts: every part of either by name, in the order of the builds.
        arms: how hard the arms work; None when a build has none or no crash loads them.
        mass_a, mass_b: kg.
        scenario: as plain data.
        strengths: whose strengths were taken, in words.
    """

    a: str
    b: str
    digest_a: str
    digest_b: str
    n: int
    asked: int
    seed: int
    kinds: tuple[Difference, ...]
    parts: tuple[Difference, ...]
    arms: ArmChange | None
    mass_a: float
    mass_b: float
    scenario: dict[str, Any]
    strengths: str = "strengths: as tabled"

    def kind(self, name: str) -> Difference:
        """The difference of one kind of part.

        Raises:
            KeyError: no part of either build is of that kind.
        """
        for row in self.kinds:
            if row.name == name:
                return row
        raise KeyError(name)

    def summary(self) -> str:
        """One sentence: the surest large changes, or that none can be told yet."""
        both = [d for d in self.kinds if d.count_a and d.count_b]
        known = [d for d in both if d.known and abs(d.change) >= 0.05]
        if not known:
            hopeful = [d.more for d in both if d.more > 0]
            more = f": about {_round(min(hopeful))} more crashes" if hopeful else ""
            return f"Cannot tell yet whether {self.b} breaks less than {self.a}{more}."
        words = [
            f"{_short(abs(d.change))} ({_short(min(abs(d.low), abs(d.high)))}-"
            f"{_short(max(abs(d.low), abs(d.high)))}) {'fewer' if d.change < 0 else 'more'} {d.words}"
            for d in known[:3]
        ]
        return f"In 100 crashes {self.b} breaks {', '.join(words)} than {self.a}."

    def sentences(self) -> tuple[str, ...]:
        """Every kind that breaks in either build, in words."""
        rows = [d.sentence(self.b) for d in self.kinds if max(d.a, d.b) >= 0.005]
        return tuple(rows + ([self.arms.sentence(self.b)] if self.arms is not None else []))

    def to_json(self) -> dict[str, Any]:
        """Plain data, numbers to nine significant digits."""
        data: dict[str, Any] = plain_numbers(
            {"summary": self.summary(), "sentences": self.sentences(), **asdict(self), "interval": INTERVAL}
        )
        return data


def _short(x: float) -> str:
    return f"{x:.0f}" if x >= 9.95 else f"{x:.1f}" if x >= 0.095 else f"{x:.2f}"


def _round(n: int) -> str:
    digits = max(0, len(str(n)) - 2)
    return str(round(n / 10**digits) * 10**digits)
