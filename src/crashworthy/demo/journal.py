"""Six weeks of the demo crew's journal, drawn from a seeded simulation. Invented, and labelled so.

Every screw has a life of its own: at each tightening it draws an age at which it works loose, from the
Weibull law of its group (``demo.fleet``). Age is dose: packs weighted by their true vibration, plus the jumps
of crashes, by the same dose law that upkeep assumes. A loose screw may be lost. Crashes are a Poisson process
of each pilot; what breaks is drawn by severity and corner. The crew checks by habit, after slams and when it
hears something, and enters what it finds. What is true stays in ``Truth``; the events know only what a pilot
could see.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Final

import numpy as np

from crashworthy.build.quad import CORNERS
from crashworthy.demo.fleet import FLEET, INVENTED, PILOTS, SPOTS, DemoQuad, Pilot, Spot
from crashworthy.upkeep.dose import crash_dose, pack_dose
from crashworthy.upkeep.events import IdMaker, Scribe, amend, retract
from crashworthy.upkeep.history import SEVERITIES
from crashworthy.upkeep.payloads import Check, Crash, Note, Pack, Repair, Swap, Tap, Tighten
from crashworthy.upkeep.priors import load_priors

if TYPE_CHECKING:
    from uuid import UUID

    from numpy.random import Generator

    from crashworthy.upkeep.events import Event
    from crashworthy.upkeep.payloads import Payload

__all__ = ["DEMO_END", "DEMO_SEED", "Truth", "is_demo", "simulate_journal"]

DEMO_SEED: Final = 1
"""Chosen for a due list that shows every state; nothing else hangs on it."""
DEMO_END: Final = datetime(2026, 6, 14, 16, tzinfo=UTC)
"""The evening after the last pack, unless the caller names another."""

WEEKS: Final = 6
FLYING_DAYS: Final = (2, 5, 6)  # of each week, counted from its first day
PACKS_A_DAY: Final = 17.0  # mean over both quads
CLEAN_RMS: Final = 38.0  # mm/s: what the analysis finds in a simulated flight without a fault (tested)
_DAMAGE: Final = {"scuff": 0.0, "hit": 0.01, "slam": 0.06}  # of the struck arm
_RING, _SOFTENS, _TAPS = 181.0, 0.12, 5  # Hz of a new arm, drop of ln f at damage 1, taps in a test
TAPPED: Final = "gannet"
"""The quad whose arms are tapped, once a week."""
_LOST_PER_PACK: Final = 0.01  # chance that a screw already loose is gone after one more pack


@dataclass(slots=True)
class Truth:
    """What really happened, by quad slug; the journal knows only part of it.

    Attributes:
        seed: of the simulation.
        packs: packs flown.
        dose: true vibration-weighted packs.
        crashes: crashes by severity as they were.
        named: crashes by severity as the pilots called them.
        breaks: how often each part broke.
        loose: screws loose or gone at the end, by group.
    """

    seed: int
    packs: dict[str, int] = field(default_factory=dict)
    dose: dict[str, float] = field(default_factory=dict)
    crashes: dict[str, dict[str, int]] = field(default_factory=dict)
    named: dict[str, dict[str, int]] = field(default_factory=dict)
    breaks: dict[str, dict[str, int]] = field(default_factory=dict)
    loose: dict[str, dict[str, int]] = field(default_factory=dict)


def is_demo(event: Event) -> bool:
    """Whether an event belongs to the invented crew."""
    return event.device.startswith("demo-")


def simulate_journal(end: datetime = DEMO_END, seed: int = DEMO_SEED) -> tuple[tuple[Event, ...], Truth]:
    """Draw the journal.

    Args:
        end: a moment after the last event; six weeks lie before it.
        seed: the same seed and end give the same events, ids too.

    Returns:
        The events in the order in which they were entered, about 300 packs and 250 crashes with their checks,
        swaps, notes and corrections; and what is true, for tests.
    """
    crew = _Crew(seed, end)
    for quad in FLEET:
        crew.enter(PILOTS[0], quad.slug, Note(INVENTED))
    days = [7 * week + day for week in range(WEEKS) for day in FLYING_DAYS]
    for number, day in enumerate(days):
        crew.fly_day(day, SPOTS[number % len(SPOTS)], last=number == len(days) - 1)
    for bench in crew.benches:
        crew.truth.loose[bench.quad.slug] = {g: int(r.loose.sum()) for g, r in bench.rows.items()}
    return tuple(crew.events), crew.truth


class _Row:
    """The screws of one joint group as they really are."""

    def __init__(self, rng: Generator, count: int, eta: float, k: float) -> None:
        self.rng, self.eta, self.k = rng, eta, k
        self.age = np.zeros(count)
        self.life = self._lives(count)
        self.lost = np.zeros(count, dtype=bool)
        self.packs = 0

    def _lives(self, count: int) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
        return self.eta * self.rng.standard_exponential(count) ** (1.0 / self.k)

    @property
    def loose(self) -> np.ndarray[tuple[int, ...], np.dtype[np.bool_]]:
        """Which screws are loose or gone."""
        return self.lost | (self.age >= self.life)

    def wear(self, dose: float) -> None:
        """Add to every age."""
        self.age += dose

    def lose(self) -> None:
        """After a pack: some loose screws fall out."""
        self.packs += 1
        self.lost |= self.loose & (self.rng.random(len(self.age)) < _LOST_PER_PACK)

    def tighten(self, which: np.ndarray[tuple[int, ...], np.dtype[np.bool_]]) -> None:
        """Tighten or replace these screws; each begins a new life."""
        self.age[which] = 0.0
        self.life[which] = self._lives(int(which.sum()))
        self.lost[which] = False


class _Bench:
    """One quad as it really is."""

    def __init__(self, rng: Generator, quad: DemoQuad) -> None:
        self.quad = quad
        self.rows = {g: _Row(rng, s.count, *quad.loosening[g]) for g, s in quad.groups.items()}
        self.bent = False
        self.unseen: list[tuple[str, UUID]] = []
        self.worn = dict.fromkeys(CORNERS, 0.0)

    def tire(self, severity: str, corner: str, broke: list[str]) -> None:
        """Add to the damage of the struck arm; a new one begins at none."""
        self.worn[corner] += _DAMAGE[severity]
        if f"arm_{corner}" in broke:
            self.worn[corner] = 0.0


class _Crew:
    """The crew on its way through six weeks."""

    def __init__(self, seed: int, end: datetime) -> None:
        self.rng = np.random.Generator(np.random.Philox(seed))
        # Words and taps have streams of their own, so that they shift no other draw.
        self.words, self.ears = (np.random.Generator(np.random.Philox(key=[seed, k])) for k in (1, 2))
        self.truth = Truth(seed)
        self.dose = load_priors().dose
        self.first_day = (end - timedelta(days=7 * WEEKS)).replace(hour=0, minute=0, second=0, microsecond=0)
        self.end = end
        self.now = self.first_day
        ids = IdMaker(lambda: self.now, self.rng.bytes)
        self.scribes = {p.device: Scribe(p.device, lambda: self.now, ids) for p in PILOTS}
        self.bench_scribe = Scribe("demo-bench", lambda: self.now, IdMaker(lambda: self.now, self.ears.bytes))
        self.events: list[Event] = []
        self.benches = [_Bench(self.rng, quad) for quad in FLEET]
        for quad in FLEET:
            self.truth.packs[quad.slug] = 0
            self.truth.dose[quad.slug] = 0.0
            self.truth.crashes[quad.slug] = dict.fromkeys(SEVERITIES, 0)
            self.truth.named[quad.slug] = dict.fromkeys(SEVERITIES, 0)
            self.truth.breaks[quad.slug] = {}

    def enter(self, pilot: Pilot, quad: str, payload: Payload) -> Event:
        """One entry, some seconds after the one before."""
        self.now += timedelta(seconds=20)
        event = self.scribes[pilot.device].write(quad, payload)
        self.events.append(event)
        return event

    def fly_day(self, day: int, spot: Spot, *, last: bool) -> None:
        """A day at a spot: packs in turn, then the bench in the evening."""
        self.now = self.first_day + timedelta(days=day, hours=9, minutes=30)
        packs = int(self.rng.poisson(PACKS_A_DAY))
        if last:
            # The last day ends before ``end``, whatever the hour of ``end`` is.
            self.now = self.end - timedelta(minutes=9 * packs + 60)
        for number in range(packs):
            pilot = PILOTS[int(self.rng.choice(len(PILOTS), p=[p.packs for p in PILOTS]))]
            bench = self.benches[int(self.rng.random() < 0.45)]
            self._fly(pilot, bench, spot)
            # On the last day nobody looks at a screw after noon, so something is due at the end.
            if not last or number < packs // 2:
                self._check_by_habit(pilot, bench)
            self.now += timedelta(minutes=float(self.rng.uniform(4, 8)))
        for bench in self.benches:
            self._evening(PILOTS[0], bench, spot)
            if last:
                # A hurried last evening: only one group of each quad is looked at.
                group = "arm" if bench is self.benches[0] else "motor"
                self._check(PILOTS[0], bench, group, "scheduled", tightened="all")
            if bench.quad.slug == TAPPED and (day % 7 == FLYING_DAYS[-1] or day == FLYING_DAYS[0]):
                self._tap_arms(bench)

    def _tap_arms(self, bench: _Bench) -> None:
        """Each arm rings at its note, a little lower for what it went through."""
        for n, (corner, worn) in enumerate(bench.worn.items()):
            note = (_RING + 0.6 * n) * float(np.exp(-_SOFTENS * min(worn, 1.0)))
            heard = note * (1.0 + 0.01 * self.ears.standard_normal(_TAPS))
            self.now += timedelta(seconds=20)
            said = Tap(f"arm_{corner}", tuple(round(float(f), 1) for f in heard))
            self.events.append(self.bench_scribe.write(bench.quad.slug, said))

    def _fly(self, pilot: Pilot, bench: _Bench, spot: Spot) -> None:
        slug = bench.quad.slug
        minutes = float(np.clip(self.rng.normal(4.2, 0.7), 1.0, 7.0))
        vibration = (self.dose.bent_prop_ratio if bench.bent else 1.0) * self.rng.lognormal(0.0, 0.08)
        crashes = int(self.rng.poisson(pilot.crashes_per_pack))
        seen = bench.bent and bool(self.rng.random() < 0.7)
        logged = bool(self.rng.random() < 0.3)
        pack = self.enter(
            pilot,
            slug,
            Pack(
                round(minutes, 1),
                battery=f"P{int(self.rng.integers(1, 9))}",
                rms=round(CLEAN_RMS * float(vibration), 2) if logged else None,
                bent_prop=seen,
                crashes=crashes,
            ),
        )
        if self.rng.random() < 0.02:  # a slip of the thumb, put right at once
            self._correct(pilot, pack)
        dose = pack_dose(self.dose, minutes=minutes, rms=float(vibration), reference_rms=1.0)
        self.truth.packs[slug] += 1
        self.truth.dose[slug] += dose
        for row in bench.rows.values():
            row.wear(dose)
            row.lose()
        for _ in range(crashes):
            self._crash(pilot, bench, spot)
        if seen and self.rng.random() < 0.5:
            self.enter(pilot, slug, Swap(f"prop_{CORNERS[int(self.rng.integers(4))]}", "worn"))
            bench.bent = False

    def _correct(self, pilot: Pilot, pack: Event) -> None:
        """The pack was entered twice, or its battery mixed up."""
        assert isinstance(pack.payload, Pack)  # noqa: S101 - only packs are handed in
        scribe = self.scribes[pilot.device]
        if self.rng.random() < 0.5:
            twice = self.enter(pilot, pack.quad, pack.payload)
            self.events.append(retract(scribe, twice, "entered twice"))
        else:
            said = pack.payload
            right = Pack(said.minutes, "P9", said.rms, said.bent_prop, said.crashes)
            self.events += amend(scribe, pack, right, why="another battery")

    def _crash(self, pilot: Pilot, bench: _Bench, spot: Spot) -> None:
        slug = bench.quad.slug
        severity = SEVERITIES[int(self.rng.choice(3, p=spot.mix))]
        corner = CORNERS[int(self.rng.integers(4))]
        for row in bench.rows.values():
            row.wear(crash_dose(self.dose, severity))
        broke = self._breaks(bench, severity, corner)
        for part in broke:
            counts = self.truth.breaks[slug]
            counts[part] = counts.get(part, 0) + 1
        self.truth.crashes[slug][severity] += 1
        named = severity
        if severity != "scuff" and self.words.random() < pilot.lighter:
            named = SEVERITIES[SEVERITIES.index(severity) - 1]
        self.truth.named[slug][named] += 1
        bench.tire(severity, corner, broke)
        if severity != "scuff" and f"prop_{corner}" not in broke:
            bench.bent = bench.bent or bool(self.rng.random() < 0.15)
        seen = [p for p in broke if p.startswith("prop") or self.rng.random() < pilot.notices]
        obstacle = spot.obstacles[int(self.rng.integers(len(spot.obstacles)))]
        struck = f"{'arm' if self.rng.random() < 0.5 else 'prop'}_{corner}" if severity != "scuff" else ""
        entered = self.enter(pilot, slug, Crash(named, obstacle, struck, tuple(seen)))
        bench.unseen += [(p, entered.id) for p in broke if p not in seen]
        for part in seen:
            self._swap(pilot, bench, part)
        if severity == "slam" and self.rng.random() < 0.7:
            self._check(pilot, bench, "arm", "after-crash")
            self._check(pilot, bench, "motor", "after-crash")

    def _breaks(self, bench: _Bench, severity: str, corner: str) -> list[str]:
        at = SEVERITIES.index(severity)
        parts = {kind: kind if kind == "video" else f"{kind}_{corner}" for kind in bench.quad.breaks}
        return [parts[kind] for kind, chance in bench.quad.breaks.items() if self.rng.random() < chance[at]]

    def _swap(self, pilot: Pilot, bench: _Bench, part: str, crash: UUID | None = None) -> None:
        slug = bench.quad.slug
        if part == "video" and self.rng.random() < 0.3:
            self.enter(pilot, slug, Repair(part, text="antenna straightened, housing glued", crash=crash))
        else:
            self.enter(pilot, slug, Swap(part, crash=crash))
        # Whoever changes an arm or a motor tightens the whole group.
        renewed = {"arm": ("arm", "motor"), "motor": ("motor",)}.get(part.partition("_")[0], ())
        for group in renewed:
            bench.rows[group].tighten(np.ones(len(bench.rows[group].age), dtype=bool))
            bench.rows[group].packs = 0
            self.enter(pilot, slug, Tighten(group))
        if part.startswith("prop"):
            bench.bent = False  # props are changed as a set of suspects

    def _check_by_habit(self, pilot: Pilot, bench: _Bench) -> None:
        for group, screws in bench.quad.groups.items():
            row = bench.rows[group]
            rattles = bool(row.loose.sum() >= 3 and self.rng.random() < 0.3)
            if rattles:
                self._check(pilot, bench, group, "suspicion")
            elif row.packs >= bench.quad.habit[screws.upkeep] + int(self.rng.integers(-1, 3)):
                self._check(pilot, bench, group, "scheduled")

    def _check(
        self, pilot: Pilot, bench: _Bench, group: str, reason: str, tightened: str | None = None
    ) -> None:
        row = bench.rows[group]
        found, missing = row.loose, int(row.lost.sum())
        loose = int(found.sum()) - missing
        if tightened is None:
            tightened = str(self.rng.choice(["all", "loose"], p=[0.9, 0.1]))
        grade = "missing" if missing else "tight"
        if loose and not missing:
            grade = str(self.rng.choice(["under-eighth", "eighth-to-half", "over-half"], p=[0.6, 0.3, 0.1]))
        said = Check(group, len(row.age), loose, missing, grade, reason, tightened)
        self.enter(pilot, bench.quad.slug, said)
        row.tighten(found if tightened == "loose" else np.ones(len(row.age), dtype=bool))
        row.packs = 0

    def _evening(self, pilot: Pilot, bench: _Bench, spot: Spot) -> None:
        for part, crash in bench.unseen:
            self._swap(pilot, bench, part, crash)
        bench.unseen = []
        if self.rng.random() < 0.15:
            self.enter(pilot, bench.quad.slug, Note(f"Invented day at the {spot.name}: all packs home."))
