"""What a trial says: two builds side by side, and a printed part crashed in its place."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from crashworthy.impact.differences import Comparison, Difference
    from crashworthy.placement.look import Line
    from crashworthy.placement.printed import Printed

__all__ = ["Minutes", "PrintedTrial", "Trial"]


@dataclass(frozen=True, slots=True)
class Minutes:
    """Bench minutes in 100 crashes.

    Attributes:
        before: of the build as it is.
        saved, low, high: by the change, with 90 % interval; negative when it costs time.
    """

    before: float
    saved: float
    low: float
    high: float

    def summary(self) -> str:
        """One sentence."""
        if self.low <= 0 <= self.high:
            return (
                f"Bench minutes: cannot tell yet ({-self.high:+.1f} to {-self.low:+.1f} in 100 crashes, of "
                f"{self.before:.0f})."
            )
        word = "fewer" if self.saved > 0 else "more"
        low, high = sorted((abs(self.low), abs(self.high)))
        return (
            f"{abs(self.saved):.1f} ({low:.1f}-{high:.1f}) {word} bench minutes in 100 crashes, of "
            f"{self.before:.0f}."
        )


@dataclass(frozen=True, slots=True)
class Trial:
    """A build before and after.

    Attributes:
        a, b: names.
        lines: rows of geometry and mass, before and after.
        crashes: the same crashes for both, or None when they were not crashed.
        minutes: at the bench, or None.
    """

    a: str
    b: str
    lines: tuple[Line, ...]
    crashes: Comparison | None
    minutes: Minutes | None

    def summary(self) -> str:
        """One sentence."""
        changed = [x for x in self.lines if x.better]
        words = "; ".join(f"{x.what} {x.before} to {x.after}" for x in changed[:3]) or "no figure changes"
        minutes = f" {self.minutes.summary()}" if self.minutes is not None else ""
        return f"{self.b} against {self.a}: {words}.{minutes}"

    def breaks(self) -> tuple[Line, ...]:
        """Breaks in 100 crashes and bench minutes as rows of the same table."""
        from crashworthy.placement.look import Line

        if self.crashes is None:
            return ()
        kinds = [d for d in self.crashes.kinds if max(d.a, d.b) >= 0.005]
        one, two = sum(d.a for d in kinds), sum(d.b for d in kinds)
        rows = [Line("breaks in 100 crashes, all kinds", f"{one:.1f}", f"{two:.1f}", f"{two - one:+.2f}", 0)]
        rows += [_break_line(d) for d in kinds if d.change or d.low or d.high]
        if self.minutes is not None:
            m = self.minutes
            sure = not m.low <= 0 <= m.high
            rows.append(
                Line(
                    "bench minutes in 100 crashes",
                    f"{m.before:.0f} min",
                    f"{m.before - m.saved:.0f} min",
                    f"{-m.saved:+.1f} min ({-m.high:+.1f} to {-m.low:+.1f})",
                    (1 if m.saved > 0 else -1) if sure else 0,
                )
            )
        return tuple(rows)

    def to_json(self) -> dict[str, Any]:
        """Plain data."""
        return {
            "a": self.a,
            "b": self.b,
            "summary": self.summary(),
            "lines": [x.to_json() for x in (*self.lines, *self.breaks())],
            "crashes": None if self.crashes is None else self.crashes.to_json(),
            "minutes": None
            if self.minutes is None
            else {
                "before": self.minutes.before,
                "saved": self.minutes.saved,
                "low": self.minutes.low,
                "high": self.minutes.high,
            },
        }


def _break_line(d: Difference) -> Line:
    from crashworthy.placement.look import Line

    known = "" if d.known else ", not sure"
    return Line(
        f"{d.words} broken in 100 crashes",
        f"{d.a:.2f}",
        f"{d.b:.2f}",
        f"{d.change:+.2f} ({d.low:+.2f} to {d.high:+.2f}{known})",
        (1 if d.change < 0 else -1) if d.known else 0,
    )


@dataclass(frozen=True, slots=True)
class PrintedTrial:
    """A printed part placed back into its build and crashed.

    Attributes:
        part: the printed part.
        crashes: the build as it is against the build with the part, the same crashes for both.
    """

    part: Printed
    crashes: Comparison

    def held(self) -> tuple[Difference, ...]:
        """The parts it holds, of both builds."""
        return tuple(d for d in self.crashes.parts if d.name in self.part.holds)

    def summary(self) -> str:
        """One sentence: what it changed, as paired differences with intervals."""
        grams = 1e3 * (self.crashes.mass_b - self.crashes.mass_a)
        said = "; ".join(_held_words(d) for d in self.held()) or "nothing that it holds can break"
        return (
            f"The {self.part.name.replace('-', ' ')} adds {grams:.1f} g. In 100 crashes {said} "
            f"({self.crashes.n} paired crashes)."
        )

    def to_json(self) -> dict[str, Any]:
        """Plain data."""
        return {
            "summary": self.summary(),
            "part": self.part.to_json(),
            "held": [d.name for d in self.held()],
            "crashes": self.crashes.to_json(),
        }


def _held_words(d: Difference) -> str:
    """What happened to a part that a printed part holds, with the interval of the paired difference."""
    low, high = sorted((abs(d.hit_low), abs(d.hit_high)))
    hits = (
        f"is hit {abs(d.hit_change):.1f} {'fewer' if d.hit_change < 0 else 'more'} times "
        f"({low:.1f}-{high:.1f})"
        if d.hit_low > 0 or d.hit_high < 0
        else f"is hit about as often ({d.hit_low:+.1f} to {d.hit_high:+.1f})"
    )
    if d.change == d.low == d.high == 0:
        return f"the {d.words} {hits} and breaks as before"
    if not d.known:
        return (
            f"the {d.words} {hits}; whether it breaks less cannot be told yet ({d.low:+.2f} to {d.high:+.2f})"
        )
    low, high = sorted((abs(d.low), abs(d.high)))
    way = "fewer" if d.change < 0 else "more"
    return f"the {d.words} {hits} and breaks {abs(d.change):.1f} {way} times ({low:.1f}-{high:.1f})"
