"""What was computed, kept so that it need not be computed again: campaigns and flight log reports.

Also the quads and the stock of spares. All of these may be replaced; only events may not.
"""

from __future__ import annotations

import hashlib
import io
import json
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final
from zipfile import BadZipFile

import sqlalchemy as sa

from crashworthy.errors import NotFoundError, Problem, StoreError
from crashworthy.store import schema

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import datetime

    from numpy.typing import NDArray
    from sqlalchemy.engine import Connection

    Arrays = Mapping[str, NDArray[Any]]

__all__ = [
    "CampaignRecord",
    "LogRecord",
    "QuadRecord",
    "campaign_key",
    "change_stock",
    "delete_quad",
    "log_key",
    "newest_campaign",
    "read_campaign",
    "read_campaigns",
    "read_log",
    "read_logs",
    "read_quads",
    "read_stock",
    "write_campaign",
    "write_log",
    "write_quad",
    "write_stock",
]

_STOCK_LIMIT: Final = 1_000_000


@dataclass(frozen=True, slots=True)
class QuadRecord:
    """One quad as registered.

    Attributes:
        slug: short name, as in events.
        name: as the pilot calls it.
        sheet: text of the build sheet.
        path: the file that it came from, or "".
        digest: of the sheet, hexadecimal.
        added: when, UTC.
    """

    slug: str
    name: str
    sheet: str
    path: str
    digest: str
    added: datetime


@dataclass(frozen=True, slots=True)
class CampaignRecord:
    """One finished campaign.

    Attributes:
        key: ``campaign_key`` of what was asked.
        quad: slug.
        digest: of the build sheet that was crashed.
        seed: of the campaign.
        n: number of crashes.
        scenario: as plain JSON values.
        summary: results as plain JSON values.
        created: when, UTC.
        arrays: by name; empty in a list of campaigns.
    """

    key: str
    quad: str
    digest: str
    seed: int
    n: int
    scenario: dict[str, Any]
    summary: dict[str, Any]
    created: datetime
    arrays: Arrays = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class LogRecord:
    """One analysed flight log.

    Attributes:
        key: ``log_key`` of what was analysed.
        quad: slug.
        file: name of the file as given.
        sha256: of its bytes, hexadecimal.
        report: as plain JSON values.
        created: when, UTC.
    """

    key: str
    quad: str
    file: str
    sha256: str
    report: dict[str, Any]
    created: datetime


def _json(value: Any) -> str:
    return json.dumps(value, separators=(",", ":"), sort_keys=True, ensure_ascii=False, allow_nan=False)


def _key(*parts: Any) -> str:
    return hashlib.sha256(_json(parts).encode()).hexdigest()[:24]


def campaign_key(
    quad: str,
    digest: str,
    seed: int,
    n: int,
    scenario: Mapping[str, Any],
    options: Mapping[str, Any] | None = None,
) -> str:
    """The same question has the same key, so asking again replaces and never doubles.

    Args:
        quad: slug.
        digest: of the build sheet.
        seed: of the campaign.
        n: crashes asked for.
        scenario: as plain JSON values.
        options: whatever else decides the answer, as plain JSON values.
    """
    return _key("campaign", quad, digest, seed, n, dict(scenario), *([dict(options)] if options else []))


def log_key(quad: str, sha256: str) -> str:
    """One report per quad and file content."""
    return _key("log", quad, sha256)


def _upsert(connection: Connection, table: sa.Table, values: dict[str, Any]) -> None:
    (key,) = (c.name for c in table.primary_key)
    insert = schema.insert_into(connection, table).values(**values)
    rest = {name: insert.excluded[name] for name in values if name != key}
    connection.execute(insert.on_conflict_do_update(index_elements=[key], set_=rest))


def write_quad(connection: Connection, record: QuadRecord) -> None:
    """Add a quad or replace its name and sheet; the day it was added stays."""
    row = sa.select(schema.quad.c.added).where(schema.quad.c.slug == record.slug)
    added = connection.execute(row).scalar() or record.added
    values = {name: getattr(record, name) for name in QuadRecord.__slots__}
    _upsert(connection, schema.quad, values | {"added": added})


def read_quads(connection: Connection) -> tuple[QuadRecord, ...]:
    """Every quad by slug."""
    rows = connection.execute(sa.select(schema.quad).order_by(schema.quad.c.slug))
    return tuple(QuadRecord(**row) for row in rows.mappings())


def delete_quad(connection: Connection, slug: str) -> bool:
    """Take a quad off the list; its events and results stay. Whether it was there."""
    gone = sa.delete(schema.quad).where(schema.quad.c.slug == slug).returning(schema.quad.c.slug)
    return connection.execute(gone).first() is not None


def write_campaign(connection: Connection, record: CampaignRecord) -> None:
    """Keep a campaign; one with the same key is replaced."""
    import numpy as np

    blob = io.BytesIO()
    # numpy's stubs take the named arrays for its own options.
    np.savez_compressed(blob, **record.arrays)  # type: ignore[arg-type]
    values = {name: getattr(record, name) for name in CampaignRecord.__slots__ if name != "arrays"}
    values |= {
        "scenario": _json(record.scenario),
        "summary": _json(record.summary),
        "arrays": blob.getvalue(),
    }
    _upsert(connection, schema.campaign, values)


def read_campaign(connection: Connection, key: str) -> CampaignRecord:
    """A campaign with its arrays.

    Raises:
        NotFoundError: there is none of that key.
        StoreError: its row was damaged.
    """
    import numpy as np

    row = (
        connection.execute(sa.select(schema.campaign).where(schema.campaign.c.key == key)).mappings().first()
    )
    if row is None:
        raise NotFoundError(Problem(f"there is no campaign {key[:40]!r}", "run the crash test again"))
    try:
        with np.load(io.BytesIO(row["arrays"]), allow_pickle=False) as blob:
            return _campaign(dict(row), {name: blob[name] for name in blob.files})
    except (ValueError, OSError, EOFError, KeyError, BadZipFile) as problem:
        raise StoreError(Problem(f"campaign {key} is damaged", "run the crash test again")) from problem


def read_campaigns(connection: Connection, quad: str | None = None) -> tuple[CampaignRecord, ...]:
    """Campaigns without their arrays, newest first."""
    column = schema.campaign.c
    query = sa.select(*(c for c in column if c.name != "arrays")).order_by(column.created.desc(), column.key)
    if quad is not None:
        query = query.where(column.quad == quad)
    return tuple(_campaign(dict(row), {}) for row in connection.execute(query).mappings())


def newest_campaign(connection: Connection) -> tuple[int, str]:
    """How many campaigns are kept and when the newest was made."""
    query = sa.select(sa.func.count(), sa.func.max(schema.campaign.c.created)).select_from(schema.campaign)
    count, created = connection.execute(query).one()
    return int(count), str(created)


def _campaign(row: dict[str, Any], arrays: Arrays) -> CampaignRecord:
    loaded = {"scenario": json.loads(row["scenario"]), "summary": json.loads(row["summary"])}
    return CampaignRecord(**(row | loaded | {"arrays": arrays}))


def write_log(connection: Connection, record: LogRecord) -> None:
    """Keep the report of a flight log; one with the same key is replaced."""
    values = {name: getattr(record, name) for name in LogRecord.__slots__}
    _upsert(connection, schema.flight_log, values | {"report": _json(record.report)})


def read_log(connection: Connection, key: str) -> LogRecord:
    """One report.

    Raises:
        NotFoundError: there is none of that key.
    """
    row = connection.execute(sa.select(schema.flight_log).where(schema.flight_log.c.key == key))
    found = row.mappings().first()
    if found is None:
        raise NotFoundError(Problem(f"there is no flight log {key[:40]!r}", "give the file again"))
    return LogRecord(**(dict(found) | {"report": json.loads(found["report"])}))


def read_logs(connection: Connection, quad: str | None = None) -> tuple[LogRecord, ...]:
    """Reports, newest first."""
    column = schema.flight_log.c
    query = sa.select(schema.flight_log).order_by(column.created.desc(), column.key)
    if quad is not None:
        query = query.where(column.quad == quad)
    rows = connection.execute(query).mappings()
    return tuple(LogRecord(**(dict(row) | {"report": json.loads(row["report"])})) for row in rows)


def read_stock(connection: Connection) -> dict[str, int]:
    """Spares on hand, by item."""
    rows = connection.execute(
        sa.select(schema.stock.c.item, schema.stock.c["count"]).order_by(schema.stock.c.item)
    )
    return {row.item: row[1] for row in rows}


def write_stock(connection: Connection, item: str, count: int) -> None:
    """Set how many of an item are on hand.

    Raises:
        StoreError: the item is nameless or the count impossible.
    """
    _upsert(connection, schema.stock, {"item": _item(item), "count": _count(count)})


def change_stock(connection: Connection, item: str, change: int) -> int:
    """Add to (or with a negative number take from) what is on hand; never below nothing.

    Returns:
        How many are there now.
    """
    column = schema.stock.c
    query = sa.select(column["count"]).where(column.item == _item(item)).with_for_update()
    now = connection.execute(query).scalar() or 0
    count = _count(max(now + change, 0))
    write_stock(connection, item, count)
    return count


def _item(item: str) -> str:
    item = item.strip()
    if not item or len(item) > 80 or not item.isprintable():
        raise StoreError(Problem(f"an item cannot be called {item[:40]!r}", "name it in 1 to 80 characters"))
    return item


def _count(count: int) -> int:
    if isinstance(count, bool) or not isinstance(count, int) or not 0 <= count <= _STOCK_LIMIT:
        what = f"{count!r:.20} of an item cannot be on hand"
        raise StoreError(Problem(what, f"give a whole number from 0 to {_STOCK_LIMIT}"))
    return count
