"""Kits: what to carry so that the trip is flown to its end."""

from __future__ import annotations

from typing import TYPE_CHECKING

from crashworthy.workshop.learning import LearnBench

if TYPE_CHECKING:
    from crashworthy.upkeep.breakage import BreakRate
    from crashworthy.upkeep.kit import KitPlan

__all__ = ["KitBench"]


class KitBench(LearnBench):
    """Predictions and facts joined: break rates, and the kit that follows from them."""

    def break_rates(self, slug: str) -> tuple[BreakRate, ...]:
        """How often each kind of part breaks: simulated, as far as the journal confirms it.

        Raises:
            NotFoundError: no quad has that slug.
            SheetError: its sheet has a problem.
        """
        from crashworthy.upkeep.breakage import break_rates
        from crashworthy.upkeep.spares import spare_items

        items = {spare.item: spare.parts for spare in spare_items(self.quad(slug).parts)}
        return break_rates(self.history(slug), self.hazards(slug), self.priors(), items)

    def kit(self, slug: str, packs: int, grams: float, coins: float, seed: int = 1) -> KitPlan:
        """Pack for a trip of ``packs`` packs within limits of weight (g) and money (coins).

        Raises:
            NotFoundError: no quad has that slug.
            CrashworthyError: a limit cannot be met or makes no sense.
        """
        from crashworthy.upkeep.kit import kit

        return kit(
            self.quad(slug),
            self.history(slug),
            self.hazards(slug),
            self.priors(),
            packs=packs,
            grams=grams,
            coins=coins,
            seed=seed,
            owned=self.store.stock(),
        )

    def stock(self) -> dict[str, int]:
        """Spares on hand by item."""
        return self.store.stock()

    def set_stock(self, item: str, count: int) -> None:
        """Say how many of an item are on hand.

        Raises:
            StoreError: a number that cannot be.
        """
        self.store.set_stock(item, count)
