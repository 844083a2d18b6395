"""The guided tour as plain records: its steps, how far it has come, and the log that waits to be dropped."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from pathlib import Path

__all__ = ["CRASHES", "INVENTED", "PACKS", "Step", "Tour", "spare_log"]

PACKS: Final = 10
"""Packs to journal on the tour."""

CRASHES: Final = 2000
"""Crashes of a campaign that the tour asks for."""

INVENTED: Final = "demo"
"""How the devices of an invented journal begin."""


def spare_log(root: Path) -> Path:
    """Where a data folder keeps a simulated flight log that was not read yet; only a demo has one."""
    return root / "simulated" / "bent-prop.csv"


@dataclass(frozen=True, slots=True)
class Step:
    """One step of the tour.

    Attributes:
        key: short name.
        title: what to do.
        look: what to look at, in one sentence.
        links: (words, address) of the pages it happens on.
        done: whether the facts say that it was done.
        changed: what the facts say, with numbers, before and after; "" while there is nothing to say.
    """

    key: str
    title: str
    look: str
    links: tuple[tuple[str, str], ...]
    done: bool
    changed: str = ""

    def to_json(self) -> dict[str, Any]:
        """Plain data."""
        return {
            "key": self.key,
            "title": self.title,
            "look": self.look,
            "pages": [address for _, address in self.links],
            "done": self.done,
            "changed": self.changed,
        }


@dataclass(frozen=True, slots=True)
class Tour:
    """The tour as it stands.

    Attributes:
        quad: name of the quad that it is about.
        slug: its slug.
        steps: in order.
    """

    quad: str
    slug: str
    steps: tuple[Step, ...]

    @property
    def next(self) -> int | None:
        """Number, from 1, of the first step that is open; None when all are done."""
        return next((n for n, s in enumerate(self.steps, 1) if not s.done), None)

    def summary(self) -> str:
        """One sentence."""
        done = sum(s.done for s in self.steps)
        head = f"{done} of {len(self.steps)} steps done with {self.quad}"
        if self.next is None:
            return f"{head}: you have been once round the loop."
        title = self.steps[self.next - 1].title
        return f"{head}; next is {self.next}: {title[:1].lower()}{title[1:]}."

    def to_json(self) -> dict[str, Any]:
        """Plain data."""
        return {
            "quad": self.slug,
            "summary": self.summary(),
            "next": self.next,
            "steps": [s.to_json() for s in self.steps],
        }
