"""Counts that others of the crew gave: taken in, shown, and removed again."""

from __future__ import annotations

from typing import TYPE_CHECKING

from crashworthy.errors import CrashworthyError
from crashworthy.workshop.fleet import FleetBench

if TYPE_CHECKING:
    from crashworthy.upkeep.counts import QuadCounts
    from crashworthy.upkeep.giving import Given

__all__ = ["GivenBench"]


class GivenBench(FleetBench):
    """Counts of others. They inform every pooled rate and are never given on."""

    def given(self) -> tuple[Given, ...]:
        """What others gave, by source and label."""
        from crashworthy.upkeep.counts import read_counts
        from crashworthy.upkeep.giving import Given

        return tuple(Given(r.source, r.taken, *read_counts(r.counts)) for r in self.store.given())

    def take_counts(self, source: str, text: str, file: str = "") -> tuple[Given, ...]:
        """Keep counts that somebody gave, in place of all that they gave before.

        Args:
            source: who gave them, in words of the pilot here.
            text: what they exported.
            file: how to name it in problems.

        Returns:
            All that this source gives now.

        Raises:
            JournalError: the name cannot be, or the text is no counts, more than counts, or a quad again.
        """
        from crashworthy.upkeep.giving import checked_counts, checked_source, counts_text

        source = checked_source(source)
        others = [g for g in self.given() if g.source != source]
        rows = checked_counts(text, self.own_counts(), others, file)
        self.store.keep_given(source, [(counts.label, counts_text(counts)) for counts in rows])
        return tuple(g for g in self.given() if g.source == source)

    def drop_counts(self, source: str) -> int:
        """Remove what somebody gave; returns of how many quads.

        Raises:
            NotFoundError: they gave nothing.
        """
        return self.store.drop_given(source)

    def own_counts(self) -> tuple[QuadCounts, ...]:
        """What each quad of this fleet gives: counts alone."""
        from crashworthy.workshop.lives import LifeBench

        assert isinstance(self, LifeBench)  # noqa: S101 - benches are parts of the one Workshop
        own = []
        for slug in self.names():
            try:
                own.append(self.counts(slug))
            except CrashworthyError:
                continue  # a sheet that cannot be read now gives nothing; the fleet page says why
        return tuple(own)
