"""The journal folded into what upkeep reasons with: a pure function of the set of events.

Order of arrival and duplicates do not matter: events are put in order by when they happened, then by id, and
an id counts once. Rules of the fold:

- A retraction makes its target count as never entered. It works on events of the same quad. A retraction of
  a retraction has no effect: to bring an event back, enter it again. So no chain of corrections can loop.
- A pack adds its dose to every joint group, a crash adds the jump of its severity (``upkeep.dose``).
- A group's screws are tight when its journal begins (assumption).
- A check with ``tightened`` "all", or a tightening, renews all screws of the group. With "loose" only the
  screws found loose begin anew; the others keep their age and are known tight up to now. With "none" the
  loose ones stay loose: the group is due at once, and they are not counted as found a second time.
- A swap or repair of a part does not renew a group: it undoes only some of its screws.
- A slam makes the groups due whose prior says so (arm and motor) until they are checked or tightened.
- A break counts once: the crash that names it, and the swap or repair that mends it, are one break. A swap or
  repair "broke" that no crash announced adds the part to the crash it names, else to the latest one before.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from crashworthy.upkeep.book import Book
from crashworthy.upkeep.columns import columns_of
from crashworthy.upkeep.events import Event
from crashworthy.upkeep.history import QuadHistory
from crashworthy.upkeep.lines import to_line
from crashworthy.upkeep.payloads import Check, Crash, Retraction, Tighten
from crashworthy.upkeep.priors import CLASSES, load_priors

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping
    from uuid import UUID

    from crashworthy.build.quad import Joint
    from crashworthy.upkeep.columns import Columns
    from crashworthy.upkeep.priors import Priors

    Share = Callable[[str, Crash], float]

__all__ = ["Screws", "active_events", "fold", "fold_all", "fold_columns", "screws_of"]


@dataclass(frozen=True, slots=True)
class Screws:
    """What the fold needs to know of a joint group.

    Attributes:
        upkeep: which prior it takes: arm, motor or other.
        count: how many screws; 0 when not known (the most ever looked at is taken).
    """

    upkeep: str
    count: int = 0


def screws_of(joints: Iterable[Joint]) -> dict[str, Screws]:
    """The joint groups of a build, by name, for ``fold``."""
    return {joint.name: Screws(joint.upkeep, joint.count) for joint in joints}


def active_events(events: Iterable[Event], quad: str) -> list[Event]:
    """The events of one quad that count: in order, each id once, without retractions and what they took back.

    Should two different events claim one id, the one whose line sorts first is kept, so that the answer stays
    a function of the set.
    """
    by_id: dict[UUID, Event] = {}
    for event in events:
        if event.quad != quad:
            continue
        other = by_id.setdefault(event.id, event)
        if other is not event and other != event:
            by_id[event.id] = min(other, event, key=to_line)
    gone = {e.payload.target for e in by_id.values() if isinstance(e.payload, Retraction)}
    kept = (e for e in by_id.values() if e.id not in gone and not isinstance(e.payload, Retraction))
    return sorted(kept, key=lambda e: e.order)


def fold(
    quad: str,
    events: Iterable[Event],
    groups: Mapping[str, Screws],
    *,
    priors: Priors | None = None,
    share: Share | None = None,
) -> QuadHistory:
    """What a set of events says about one quad.

    Args:
        quad: slug; events of other quads are passed over.
        events: any iterable, in any order, duplicates allowed.
        groups: the joint groups of the build, by name; groups that only the journal names are added.
        priors: dose and crash jumps; the packaged ones when None.
        share: how much of a crash's jump a group takes, 0 to 1; all of it when None.

    Returns:
        The history.
    """
    return fold_columns(quad, columns_of(active_events(events, quad)), groups, priors=priors, share=share)


def fold_columns(
    quad: str,
    columns: Columns,
    groups: Mapping[str, Screws],
    *,
    priors: Priors | None = None,
    share: Share | None = None,
) -> QuadHistory:
    """``fold`` for events side by side, as ``store.columns`` reads them: many times as fast.

    Args:
        quad: slug.
        columns: that quad's events, retractions among them.
        groups: as for ``fold``.
        priors: as for ``fold``.
        share: as for ``fold``.
    """
    priors = load_priors() if priors is None else priors
    active = columns.active()
    named = {p.group for p in active.used() if type(p) is Check or type(p) is Tighten} - set(groups)
    known = {name: (s.upkeep, s.count) for name, s in groups.items()}
    known |= {g: (g if g in CLASSES else "other", 0) for g in sorted(named)}
    return Book(quad, priors, known, active, share).history()


def fold_all(
    events: Iterable[Event],
    groups_by_quad: Mapping[str, Mapping[str, Screws]],
    *,
    priors: Priors | None = None,
) -> dict[str, QuadHistory]:
    """``fold`` for every quad named in ``groups_by_quad`` or in the events, by slug in alphabetical order."""
    by_quad: dict[str, list[Event]] = {slug: [] for slug in groups_by_quad}
    for event in events:
        by_quad.setdefault(event.quad, []).append(event)
    return {
        slug: fold(slug, by_quad[slug], groups_by_quad.get(slug, {}), priors=priors)
        for slug in sorted(by_quad)
    }
