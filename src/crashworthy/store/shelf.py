"""What stands beside the journal: quads, campaigns, flight logs, stock, and counts that others gave."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from crashworthy.errors import NotFoundError, Problem
from crashworthy.store import given, results
from crashworthy.store.connect import Address, reading, writing
from crashworthy.store.given import GivenRecord
from crashworthy.store.results import CampaignRecord, LogRecord, QuadRecord

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence
    from datetime import datetime

    import sqlalchemy as sa
    from numpy.typing import NDArray

__all__ = ["Shelf"]


class Shelf:
    """Everything in a store that is no event: it may be replaced and removed."""

    def __init__(self, engine: sa.Engine, address: Address, clock: Callable[[], datetime]) -> None:
        """Take an engine whose schema is up to date, where it is, and what gives the time."""
        self.engine, self.address, self._clock = engine, address, clock

    # Quads

    def add_quad(self, slug: str, name: str, *, sheet: str, digest: str, path: str = "") -> QuadRecord:
        """Register a quad, or replace the sheet of one."""
        record = QuadRecord(slug, name, sheet, path, digest, self._clock())
        with writing(self.engine, self.address) as connection:
            results.write_quad(connection, record)
        return self.quad(slug)

    def quads(self) -> tuple[QuadRecord, ...]:
        """Every registered quad, by slug."""
        with reading(self.engine, self.address) as connection:
            return results.read_quads(connection)

    def quad(self, slug: str) -> QuadRecord:
        """One registered quad.

        Raises:
            NotFoundError: there is none of that name.
        """
        known = {record.slug: record for record in self.quads()}
        if slug not in known:
            names = ", ".join(known) or "none yet"
            raise NotFoundError(Problem(f"no quad is called {slug[:64]!r}", f"there is: {names}"))
        return known[slug]

    def remove_quad(self, slug: str) -> None:
        """Take a quad off the list; its events and results stay.

        Raises:
            NotFoundError: there is none of that name.
        """
        with writing(self.engine, self.address) as connection:
            if results.delete_quad(connection, slug):
                return
        self.quad(slug)

    # Campaigns and flight logs

    def save_campaign(
        self,
        quad: str,
        *,
        digest: str,
        seed: int,
        n: int,
        scenario: Mapping[str, Any],
        summary: Mapping[str, Any],
        arrays: Mapping[str, NDArray[Any]],
        options: Mapping[str, Any] | None = None,
    ) -> str:
        """Keep a finished campaign under the key of its question; returns the key."""
        key = results.campaign_key(quad, digest, seed, n, scenario, options)
        record = CampaignRecord(
            key, quad, digest, seed, n, dict(scenario), dict(summary), self._clock(), arrays
        )
        with writing(self.engine, self.address) as connection:
            results.write_campaign(connection, record)
        return key

    def load_campaign(self, key: str) -> CampaignRecord:
        """A campaign with its arrays.

        Raises:
            NotFoundError: there is none of that key.
        """
        with reading(self.engine, self.address) as connection:
            return results.read_campaign(connection, key)

    def campaigns(self, quad: str | None = None) -> tuple[CampaignRecord, ...]:
        """Campaigns without their arrays, newest first."""
        with reading(self.engine, self.address) as connection:
            return results.read_campaigns(connection, quad)

    def save_log(self, quad: str, *, file: str, sha256: str, report: Mapping[str, Any]) -> str:
        """Keep the report of a flight log under the key of its content; returns the key."""
        key = results.log_key(quad, sha256)
        with writing(self.engine, self.address) as connection:
            results.write_log(connection, LogRecord(key, quad, file, sha256, dict(report), self._clock()))
        return key

    def load_log(self, key: str) -> LogRecord:
        """One report.

        Raises:
            NotFoundError: there is none of that key.
        """
        with reading(self.engine, self.address) as connection:
            return results.read_log(connection, key)

    def logs(self, quad: str | None = None) -> tuple[LogRecord, ...]:
        """Reports, newest first."""
        with reading(self.engine, self.address) as connection:
            return results.read_logs(connection, quad)

    # Stock of spares

    def stock(self) -> dict[str, int]:
        """Spares on hand, by item."""
        with reading(self.engine, self.address) as connection:
            return results.read_stock(connection)

    def set_stock(self, item: str, count: int) -> None:
        """Set how many of an item are on hand."""
        with writing(self.engine, self.address) as connection:
            results.write_stock(connection, item, count)

    def change_stock(self, item: str, change: int) -> int:
        """Add to or take from what is on hand, never below nothing; returns what is there now."""
        with writing(self.engine, self.address) as connection:
            return results.change_stock(connection, item, change)

    # Counts of others

    def keep_given(self, source: str, counts: Sequence[tuple[str, str]]) -> None:
        """Keep (label, counts as text) of each quad of a source, in place of all that it gave before."""
        records = [GivenRecord(source, label, text, self._clock()) for label, text in counts]
        with writing(self.engine, self.address) as connection:
            given.replace_given(connection, source, records)

    def given(self) -> tuple[GivenRecord, ...]:
        """Counts of others, by source and label."""
        with reading(self.engine, self.address) as connection:
            return given.read_given(connection)

    def drop_given(self, source: str) -> int:
        """Remove what a source gave; returns of how many quads.

        Raises:
            NotFoundError: it gave nothing.
        """
        with writing(self.engine, self.address) as connection:
            gone = given.delete_given(connection, source)
        if not gone:
            known = ", ".join(dict.fromkeys(r.source for r in self.given())) or "nobody yet"
            raise NotFoundError(Problem(f"{source[:40]!r} gave no counts", f"counts were given by: {known}"))
        return gone
