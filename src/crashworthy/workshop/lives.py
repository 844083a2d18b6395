"""The bench: torque card, flight budget, lives of parts, what a crew knows together."""

from __future__ import annotations

from typing import TYPE_CHECKING

from crashworthy.workshop.crashes import CrashBench
from crashworthy.workshop.journal import JournalBench

if TYPE_CHECKING:
    from collections.abc import Mapping

    from crashworthy.build.quad import Quad
    from crashworthy.strength.flight import Budget
    from crashworthy.strength.torque import TorqueCard

__all__ = ["LifeBench"]


class LifeBench(CrashBench, JournalBench):
    """What follows for the bench from build, crash tests and journal."""

    def torque_card(self, sheet_or_slug: str, depths: Mapping[str, float] | None = None) -> TorqueCard:
        """How tight each screw may be.

        Args:
            sheet_or_slug: a sheet file, or a quad of the fleet.
            depths: depth of thread by joint group, m, where it was measured.

        Raises:
            NotFoundError: neither such a file nor such a quad, or no such joint group.
            SheetError: the sheet has a problem.
        """
        from crashworthy.strength.torque import torque_card

        return torque_card(self.find(sheet_or_slug), depths)

    def slip_shares(self, slug: str, card: TorqueCard) -> dict[str, float]:
        """Share of crashes of the newest crash test of this very build in which each joint slips.

        Returns:
            By joint group; empty when there is no such crash test.
        """
        known = self.latest_campaign(slug) if slug in self.names() else None
        if known is None or known.stale:
            return {}
        from crashworthy.strength.slip import slip_shares

        quad: Quad = self.quad(slug)
        return slip_shares(quad, card, self.store.load_campaign(known.key).arrays["part_peak"])

    def flight_budget(self, sheet_or_slug: str, **known: float | None) -> Budget:
        """Hover power, endurance and what each gram costs; ``known`` as ``strength.flight.flight_budget``.

        Raises:
            NotFoundError: neither such a file nor such a quad.
            CrashworthyError: a number cannot be.
        """
        from crashworthy.strength.flight import flight_budget

        given = {name: value for name, value in known.items() if value is not None}
        return flight_budget(self.find(sheet_or_slug), **given)
