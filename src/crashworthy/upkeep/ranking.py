"""What a ranking of changes says: rows, what was left out, and the words for them."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any, Final

from crashworthy.impact.summary import plain_numbers

if TYPE_CHECKING:
    from crashworthy.impact.sensitivity import Tornado
    from crashworthy.upkeep.rides import Ride

__all__ = [
    "BY",
    "FLOOR",
    "INTERVAL",
    "PACKS",
    "PACKS_INTERVAL",
    "InPacks",
    "LeftOut",
    "Ranked",
    "Ranking",
    "divisor",
]

BY: Final = {
    "minutes": "bench minutes saved",
    "coins": "coins saved",
    "per_gram": "bench minutes saved per gram added",
    "per_coin": "bench minutes saved per coin spent",
    "per_minute": "bench minutes saved per minute of fitting",
    "packs": "bench minutes saved in 100 packs, as the journal says",
    "packs_per_gram": "bench minutes saved in 100 packs per gram added, as the journal says",
    "packs_per_coin": "bench minutes saved in 100 packs per coin spent, as the journal says",
}
"""What changes can be ranked by, in words; in 100 crashes where it does not say packs."""

PACKS: Final = ("packs", "packs_per_gram", "packs_per_coin")
"""Those that need a journal."""

FLOOR: Final = {
    "per_gram": 0.5,
    "per_coin": 0.5,
    "per_minute": 1.0,
    "packs_per_gram": 0.5,
    "packs_per_coin": 0.5,
}
"""Added grams, coins and fitting minutes below this count as this: a free change has a rank (assumption)."""

SURE: Final = 0.95
"""Chance of helping from which on a change is said to help."""

INTERVAL: Final = (
    "90 % interval; holds the sampling error of the paired crashes, how well the median strengths are known "
    "and the choice of contact points; holds neither the scenario's assumptions nor those of prices and "
    "minutes"
)
"""What the intervals contain."""


def divisor(by: str, grams: float, coins: float, minutes: float) -> float:
    """What a saving is divided by to be ranked; 1 when it is ranked as it stands."""
    spent = {"per_gram": grams, "per_coin": coins, "per_minute": minutes}
    spent |= {"packs_per_gram": grams, "packs_per_coin": coins}
    return max(spent[by], FLOOR[by]) if by in FLOOR else 1.0


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A change that was not crashed, and why."""

    label: str
    why: str


@dataclass(frozen=True, slots=True)
class InPacks:
    """What one change saves in 100 packs, as the journal says.

    Attributes:
        minutes, low, high: bench minutes saved, with interval (``PACKS_INTERVAL``).
        coins, coins_low, coins_high: coins of spares saved.
        helps: chance that bench minutes are saved at all.
        spare_grams: spares that are not used up, g.
        seconds: of hover in a pack that the added mass costs (negative) or gives, s.
        grams_divisor, coins_divisor: added grams and coins to buy it, not less than ``FLOOR``.
    """

    minutes: float
    low: float
    high: float
    coins: float
    coins_low: float
    coins_high: float
    helps: float
    spare_grams: float
    seconds: float
    grams_divisor: float
    coins_divisor: float

    @property
    def per_gram(self) -> tuple[float, float, float]:
        """(mean, low, high) bench minutes per gram added."""
        d = self.grams_divisor
        return self.minutes / d, self.low / d, self.high / d

    @property
    def per_coin(self) -> tuple[float, float, float]:
        """(mean, low, high) bench minutes per coin spent."""
        d = self.coins_divisor
        return self.minutes / d, self.low / d, self.high / d

    def sentence(self) -> str:
        """In words, with numbers."""
        saved = f"{abs(self.minutes):.1f} bench minutes {'saved' if self.minutes >= 0 else 'lost'}"
        parts = [f"{saved} in 100 packs ({self.low:.1f} to {self.high:.1f})"]
        free = self.grams_divisor <= FLOOR["per_gram"]
        parts.append("no mass added" if free else f"{self.per_gram[0]:.2g} a gram")
        free = self.coins_divisor <= FLOOR["per_coin"]
        parts.append("nothing to buy" if free else f"{self.per_coin[0]:.2g} a coin")
        if abs(self.seconds) >= 0.1:
            parts.append(
                f"{abs(self.seconds):.1f} s of hover {'more' if self.seconds > 0 else 'less'} a pack"
            )
        if abs(self.spare_grams) >= 1.0:
            more = "less" if self.spare_grams > 0 else "more"
            parts.append(f"{abs(self.spare_grams):.0f} g of spares {more}")
        return ", ".join(parts)

    def to_json(self) -> dict[str, Any]:
        """Plain data."""
        return asdict(self) | {
            "per_gram": list(self.per_gram),
            "per_coin": list(self.per_coin),
            "sentence": self.sentence(),
        }


PACKS_INTERVAL: Final = (
    "90 % interval; holds all that the interval in 100 crashes holds, and besides how often this quad "
    "crashes, how hard, and how often each kind of part breaks, as far as its journal tells"
)
"""What the intervals in packs contain."""


@dataclass(frozen=True, slots=True)
class Ranked:
    """One change; savings are in 100 crashes.

    Attributes:
        key, label: short name and words.
        edits: what to write into the sheet.
        grams: added mass, g, of the model.
        coins, fit_minutes: price and time to fit (assumptions).
        costs: how these come about.
        minutes, low, high: bench minutes saved, with interval (``INTERVAL``).
        coins_saved, coins_low, coins_high: coins saved, with interval.
        helps: chance that bench minutes are saved at all.
        best: chance that this is the best of those ranked.
        fewer: breaks saved by kind, in words and number; negative when more break.
        packs: the same in 100 packs; None without a journal.
        rides: travel and shock on a mount that it makes softer or stiffer.
    """

    key: str
    label: str
    edits: tuple[str, ...]
    grams: float
    coins: float
    fit_minutes: float
    costs: str
    minutes: float
    low: float
    high: float
    coins_saved: float
    coins_low: float
    coins_high: float
    helps: float
    best: float
    fewer: tuple[tuple[str, float], ...]
    packs: InPacks | None = None
    rides: tuple[Ride, ...] = ()

    def score(self, by: str) -> float:
        """What it is ranked by."""
        if by == "coins":
            return self.coins_saved
        if by in PACKS:
            minutes = self.packs.minutes if self.packs is not None else 0.0
            return minutes / divisor(by, self.grams, self.coins, self.fit_minutes)
        return self.minutes / divisor(by, self.grams, self.coins, self.fit_minutes)

    @property
    def payback(self) -> float | None:
        """Crashes after which the fitting time is earned back; None when nothing is saved."""
        return 100.0 * self.fit_minutes / self.minutes if self.minutes > 0.0 else None

    def sentence(self) -> str:
        """In words, with numbers."""
        what = self.label[:1].upper() + self.label[1:]
        saved = f"{abs(self.minutes):.1f} bench minutes {'saved' if self.minutes >= 0 else 'lost'}"
        return f"{what}: {saved} per 100 crashes ({self.low:.1f} to {self.high:.1f}) for {self.grams:+.0f} g."

    def why(self) -> str:
        """Which breaks make the difference."""
        parts = [f"{abs(x):.1f} {'fewer' if x > 0 else 'more'} {kind}" for kind, x in self.fewer]
        told = ", ".join(parts) if parts else "no kind changes by 0.05 in 100 crashes"
        return "; ".join([told, *(r.sentence() for r in self.rides)])


@dataclass(frozen=True, slots=True)
class Ranking:
    """Changes of one build, best first.

    Attributes:
        quad, digest: the build.
        n, seed: crashes of each change that stayed in the race.
        by: what is ranked by, a key of ``BY``.
        tried: changes crashed.
        minutes, coins: what 100 crashes of the build as it is cost.
        rows: the first ones.
        left_out: changes that were not crashed, and why.
        dropped: changes that were crashed but are not among the first.
        flips: bench minutes or coins of one kind at which another change becomes first.
        tornado: how break numbers and the order move with the uncertain parameters; None when not asked for.
        scenario: as plain data.
        strengths: whose strengths were taken, in words.
        lived: what the journal says, in words; None without one.
    """

    quad: str
    digest: str
    n: int
    seed: int
    by: str
    tried: int
    minutes: float
    coins: float
    rows: tuple[Ranked, ...]
    left_out: tuple[LeftOut, ...]
    dropped: tuple[str, ...]
    flips: tuple[str, ...]
    tornado: Tornado | None
    scenario: dict[str, Any]
    strengths: str = "strengths: as tabled"
    lived: str | None = None

    def summary(self) -> str:
        """One sentence: what is worth doing first."""
        if not self.rows:
            return f"None of the changes tried on {self.quad} can be built and seen by the crash model."
        first = self.rows[0]
        if self.by in PACKS and first.packs is not None:
            return self._in_packs(first, first.packs)
        if first.helps < SURE:
            return (
                f"Cannot tell yet which change of {self.quad} helps: {first.label} comes first with "
                f"{first.minutes:.1f} bench minutes per 100 crashes ({first.low:.1f} to {first.high:.1f})."
            )
        odds = f"best of {self.tried} with {_odds(first.best)}"
        return f"{first.sentence()[:-1]}; {odds}."

    def _in_packs(self, first: Ranked, packs: InPacks) -> str:
        if packs.helps < SURE:
            start = f"Cannot tell yet which change of {self.quad} helps"
            return f"{start}: {first.label} comes first with {packs.sentence()}."
        odds = f"best of {self.tried} with {_odds(first.best)}"
        return f"{first.label[:1].upper()}{first.label[1:]}: {packs.sentence()}; {odds}."

    def order(self) -> str:
        """When the order flips, in words."""
        parts = []
        if self.tornado is not None and self.tornado.order():
            parts.append(self.tornado.order())
        if self.flips:
            parts.append(f"It would also change if {'; or if '.join(self.flips[:3])}.")
        elif len(self.rows) > 1:
            parts.append("Half or double the cost of any one kind of break leaves the first place as it is.")
        return " ".join(parts)

    def to_json(self) -> dict[str, Any]:
        """Plain data, numbers to nine significant digits."""
        rows = [
            {
                **asdict(r),
                "sentence": r.sentence(),
                "why": r.why(),
                "payback": r.payback,
                "score": r.score(self.by),
                "packs": None if r.packs is None else r.packs.to_json(),
                "rides": [ride.to_json() for ride in r.rides],
            }
            for r in self.rows
        ]
        data = {
            "summary": self.summary(),
            "order": self.order(),
            "quad": self.quad,
            "digest": self.digest,
            "n": self.n,
            "seed": self.seed,
            "by": self.by,
            "by_words": BY[self.by],
            "tried": self.tried,
            "minutes": self.minutes,
            "coins": self.coins,
            "rows": rows,
            "left_out": [asdict(x) for x in self.left_out],
            "dropped": list(self.dropped),
            "flips": list(self.flips),
            "tornado": None if self.tornado is None else self.tornado.to_json(),
            "scenario": self.scenario,
            "interval": INTERVAL,
            "lived": self.lived,
            "interval_packs": PACKS_INTERVAL if self.lived else None,
        }
        plain: dict[str, Any] = plain_numbers(data)
        return plain


def _odds(share: float) -> str:
    """A chance in words."""
    return "more than 99 chances in 100" if share > 0.99 else f"{100 * share:.0f} chances in 100"
