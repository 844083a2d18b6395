"""A day in the journal: packs, a crash, a check; what is due, and what to carry.

    python examples/library/keep_a_journal.py

The day is invented. After a hard crash put the pack outdoors on ground that cannot burn, and watch it.
"""

from datetime import UTC, datetime, timedelta
from pathlib import Path
from tempfile import mkdtemp

from crashworthy import plot
from crashworthy.upkeep.payloads import Check, Crash, Pack
from crashworthy.workshop import Workshop

folder = Path(mkdtemp(prefix="crashworthy-"))
sheet = Path(__file__).parents[1] / "dunlin.toml"
begun = datetime.now(UTC) - timedelta(hours=4)

with Workshop(folder) as shop:
    slug = shop.add_quad(sheet.read_text(encoding="utf-8"), sheet)
    for pack in range(8):
        shop.record(slug, Pack(minutes=4.0), occurred=begun + timedelta(minutes=20 * pack))
    shop.record(slug, Crash("slam", obstacle="concrete wall"), occurred=begun + timedelta(minutes=170))
    # A look that finds something moves the interval of these screws.
    shop.record(
        slug, Check("arm", looked=4, loose=1, tightened="all"), occurred=begun + timedelta(minutes=200)
    )

    dues = shop.due(slug)
    for due in dues:
        print(f"{due.title}: {due.reason}")
    print(plot(dues).save(folder / "due.svg"))

    print(shop.kit(slug, packs=20, grams=500, coins=150).summary())
