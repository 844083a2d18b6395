"""What flight logs say together: the quad's own baseline, trends, packs, crashes for the journal, taps."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from crashworthy.errors import NotFoundError, Problem
from crashworthy.workshop.journal import JournalBench

if TYPE_CHECKING:
    from datetime import datetime
    from pathlib import Path
    from typing import BinaryIO

    from crashworthy.upkeep.events import Event
    from crashworthy.vibration.features import Features
    from crashworthy.vibration.packs import PackHealth
    from crashworthy.vibration.tap import TapTest
    from crashworthy.vibration.trend import Trend

__all__ = ["ListenBench"]

MOST_FLIGHTS: Final = 40
"""The baseline is made of at most so many of the latest flights."""

FOLLOWED: Final = ("unbalance", "track", "second", "third")


class ListenBench(JournalBench):
    """Kept flight logs of the fleet, taken together."""

    def _flown(self, slug: str, leave_out: str = "") -> list[tuple[datetime, dict[str, Any], str]]:
        """Reports of kept logs with the time they were flown (or else read) and their keys, oldest first."""
        from crashworthy.upkeep.payloads import Pack

        flown = {
            e.payload.log: e.occurred
            for e in self.store.events(slug)
            if isinstance(e.payload, Pack) and e.payload.log
        }
        rows = [
            (flown.get(r.key, r.created), r.report, r.key)
            for r in self.store.logs(slug)
            if r.sha256 != leave_out
        ]
        return sorted(rows, key=lambda row: row[0])

    def _resets(self, slug: str) -> dict[str, tuple[datetime, str]]:
        """When, and by what, what a corner ("fl"...), or the frame (""), is compared with began anew.

        A new prop or motor begins its corner anew, a new sheet everything; checks that tightened arm or stack
        screws begin the frame anew.
        """
        from crashworthy.upkeep.payloads import Build, Check, Retraction, Swap, Tighten

        events = self.store.events(slug)
        gone = {e.payload.target for e in events if isinstance(e.payload, Retraction)}
        out: dict[str, tuple[datetime, str]] = {}
        labels = {part.name: part.label for part in self.quad(slug).parts}

        def begin(key: str, at: datetime, what: str) -> None:
            words = f"{what}, {at:%Y-%m-%d}"
            out[key] = max(out.get(key, (at, words)), (at, words))

        for e in events:
            p = e.payload
            if e.id in gone:
                continue
            if isinstance(p, Swap):
                corner = p.part.rsplit("_", 1)[-1]
                if corner in ("fl", "fr", "rl", "rr") and p.part.startswith(("prop", "motor")):
                    begin(corner, e.occurred, f"{labels.get(p.part, p.part)} swapped")
                elif p.part.startswith("arm"):
                    begin("", e.occurred, f"{labels.get(p.part, p.part)} swapped")
            elif isinstance(p, Build):
                for key in ("fl", "fr", "rl", "rr", ""):
                    begin(key, e.occurred, "the sheet changed")
            elif (isinstance(p, Tighten) or (isinstance(p, Check) and p.tightened != "none")) and (
                "arm" in p.group or "stack" in p.group
            ):
                begin("", e.occurred, f"{p.group.replace('_', ' ')} screws tightened")
        return out

    def own_flights(self, slug: str, *, fine_only: bool = True, leave_out: str = "") -> list[Features]:
        """Features of a quad's kept flights since what they rest on last changed, oldest first.

        Args:
            slug: the quad.
            fine_only: leave out flights with a finding: they are no measure of what is usual.
            leave_out: digest of a log that is being judged itself.

        Raises:
            NotFoundError: no quad has that slug.
        """
        rows = self._own(slug, fine_only=fine_only, leave_out=leave_out)
        return [features for _, features in rows][-MOST_FLIGHTS:]

    def _own(self, slug: str, *, fine_only: bool, leave_out: str = "") -> list[tuple[str, Features]]:
        """Keys of kept flights with what of their features still counts, oldest first."""
        from crashworthy.vibration.features import Features

        self.require(slug)
        resets = {key: at for key, (at, _) in self._resets(slug).items()}
        out = []
        for at, report, key in self._flown(slug, leave_out):
            data = report.get("features")
            if not data:
                continue
            if fine_only and (report.get("verdict") or {}).get("called", "fine") != "fine":
                continue
            # Without a baseline nothing is called yet: a motor that stood out is no measure either.
            loud = {m["corner"] for m in report.get("motors", ()) if m["verdict"] == "stands out"}
            motors = {
                c: f
                for c, f in data["motors"].items()
                if (c not in resets or at > resets[c]) and not (fine_only and c in loud)
            }
            group = data["group"] if "" not in resets or at > resets[""] else {}
            if motors or group:
                out.append((key, Features.from_json({**data, "motors": motors, "group": group})))
        return out

    def trends(self, slug: str) -> tuple[Trend, ...]:
        """What rises over the kept flights of a quad, called ones first.

        Raises:
            NotFoundError: no quad has that slug.
        """
        from crashworthy.vibration.features import GROUP, OWN
        from crashworthy.vibration.templates import PRIOR_SD
        from crashworthy.vibration.trend import trend

        corners = {"fl": "front left", "fr": "front right", "rl": "rear left", "rr": "rear right"}
        flights = self._own(slug, fine_only=False)[-MOST_FLIGHTS:]
        since = {key: words for key, (_, words) in self._resets(slug).items()}
        out = []
        for c, place in corners.items():
            for name in FOLLOWED:
                rows = [(key, f.motors[c][name]) for key, f in flights if name in f.motors.get(c, {})]
                if rows:
                    keys, values = zip(*rows, strict=True)
                    what = f"{OWN[name]} {place}"
                    out.append(trend(what, values, PRIOR_SD[name], since.get(c, ""), keys))
        for name in ("floor", "arm_a", "arm_b"):
            # Stiffness is lost downwards: its fall is followed.
            sign = -1.0 if name.startswith("arm") else 1.0
            rows = [(key, sign * f.group[name]) for key, f in flights if name in f.group]
            if rows:
                keys, values = zip(*rows, strict=True)
                what = f"fall of {GROUP[name]}" if sign < 0 else GROUP[name]
                out.append(trend(what, values, PRIOR_SD[name], since.get("", ""), keys))
        return tuple(sorted(out, key=lambda t: (t.called is None, -(t.sums[-1] if t.sums else 0.0))))

    def pack_healths(self, slug: str | None = None) -> tuple[PackHealth, ...]:
        """Every battery with kept logs, as the journal's packs name them; logs without a name are one."""
        from crashworthy.upkeep.payloads import Pack
        from crashworthy.vibration.packs import pack_health

        named = {
            e.payload.log: e.payload.battery
            for e in self.store.events(slug)
            if isinstance(e.payload, Pack) and e.payload.log and e.payload.battery
        }
        by_battery: dict[str, list[Any]] = {}
        for r in reversed(self.store.logs(slug)):
            if r.report.get("pack"):
                by_battery.setdefault(named.get(r.key, "not named"), []).append(r.report["pack"])
        found = (pack_health(name, flights) for name, flights in sorted(by_battery.items()))
        return tuple(p for p in found if p is not None)

    def confirm_strike(self, slug: str, key: str, index: int, severity: str = "") -> Event:
        """Enter a crash that a log proposed; one that stands in the journal is given back.

        Args:
            slug: the quad.
            key: of the kept log.
            index: of the crash in the report's ``strikes``.
            severity: another than proposed, or "".

        Raises:
            NotFoundError: no such log, or it proposes no such crash.
            JournalError: the severity is not one.
        """
        from crashworthy.upkeep.payloads import Crash

        record = self.store.load_log(key)
        found = record.report.get("strikes") or []
        if record.quad != slug or not 0 <= index < len(found):
            raise NotFoundError(Problem("the log proposes no such crash", "see the flight's page"))
        strike = found[index]
        digest, _, number = record.sha256.partition("#")
        which = f" flight {number}" if number else ""
        mark = f"log {digest[:8]}{which} at {strike['at_s']:.1f} s"
        crash = Crash(severity=severity or strike["severity"], obstacle=mark)
        # When the log was read, as the flight's pack: checks made since then came after the crash.
        return self.record_once(
            slug,
            crash,
            ("strike", key, str(index)),
            lambda p: isinstance(p, Crash) and p.obstacle == mark,
            record.created,
        )

    def enter_pack(self, slug: str, key: str, battery: str = "", minutes: float | None = None) -> Event:
        """Enter a kept flight as a pack flown: its minutes and vibration dose; entered twice it is one.

        Args:
            slug: the quad.
            key: of the kept flight.
            battery: which pack, as the pilot marks them.
            minutes: flown on the pack, when the log holds only a part of it; the length of the log if None.

        Raises:
            NotFoundError: this quad has no such flight.
            JournalError: the battery's name or the minutes cannot be accepted.
        """
        from crashworthy.upkeep.payloads import Pack

        record = self.store.load_log(key)
        if record.quad != slug:
            raise NotFoundError(Problem("this quad has no such flight log", "see its list of flights"))
        if minutes is None:
            minutes = min(float(record.report.get("duration_s") or 0.0) / 60.0, 120.0)
        rms = record.report.get("v_rms_mm_s")
        pack = Pack(minutes=round(minutes, 2), battery=battery, rms=rms, log=key)
        return self.record_once(
            slug, pack, ("pack", key), lambda p: isinstance(p, Pack) and p.log == key, record.created
        )

    def pack_of(self, slug: str, key: str) -> Event | None:
        """The journal's pack that a kept flight was entered as, or None."""
        from crashworthy.upkeep.payloads import Pack, Retraction

        events = self.store.events(slug)
        gone = {e.payload.target for e in events if isinstance(e.payload, Retraction)}
        for e in events:
            if e.id not in gone and isinstance(e.payload, Pack) and e.payload.log == key:
                return e
        return None

    def tap_test(self, path: Path) -> TapTest:
        """Read a recording of taps and fit each; nothing is kept.

        Raises:
            LogError: it is no recording, or no tap rings in it.
        """
        from crashworthy.vibration.sound import read_sound
        from crashworthy.vibration.tap import tap_test

        return tap_test(*read_sound(path))

    def first_taps(self, slug: str, part: str) -> TapTest | None:
        """The first tap test of a part since it was last swapped, as the journal has it; None without one.

        Raises:
            NotFoundError: no quad has that slug.
        """
        from crashworthy.upkeep.payloads import Retraction, Swap, Tap
        from crashworthy.vibration.tap import Ring, TapTest

        self.require(slug)
        events = self.store.events(slug)
        gone = {e.payload.target for e in events if isinstance(e.payload, Retraction)}
        found: Tap | None = None
        for e in sorted(events, key=lambda e: e.occurred):
            if e.id in gone:
                continue
            if isinstance(e.payload, Swap) and e.payload.part == part:
                found = None
            elif isinstance(e.payload, Tap) and e.payload.part == part and found is None:
                found = e.payload
        if found is None:
            return None
        damping = found.damping if len(found.damping) == len(found.hz) else (0.0,) * len(found.hz)
        rings = (Ring(0.0, f, z, 0.0) for f, z in zip(found.hz, damping, strict=True))
        return TapTest.of(tuple(rings))

    def keep_taps(self, slug: str, part: str, name: str, stream: BinaryIO) -> tuple[TapTest, str]:
        """Keep a recording, fit its taps, enter them in the journal.

        Args:
            slug: the quad.
            part: which part was tapped.
            name: of the file.
            stream: the recording.

        Returns:
            The test, and the stiffness against the part's first recording in words ("" for the first).

        Raises:
            NotFoundError: no quad has that slug, or it has no such part.
            LogError: it is no recording, or no tap rings in it; nothing is entered.
        """
        from crashworthy.upkeep.payloads import Tap
        from crashworthy.vibration.tap import compare

        if part not in self.tap_parts(slug):
            raise NotFoundError(
                Problem(f"no part {part!r} to tap", f"one of: {', '.join(self.tap_parts(slug))}")
            )
        path, _ = self.folder.keep_log(name, stream)
        now = self.tap_test(path)
        first = self.first_taps(slug, part)
        rings = now.taps[:25]
        self.record(slug, Tap(part, tuple(r.f for r in rings), tuple(r.damping for r in rings)))
        return now, compare(now, first) if first is not None else ""

    def tap_parts(self, slug: str) -> tuple[str, ...]:
        """Parts of a quad that are worth tapping: its arms.

        Raises:
            NotFoundError: no quad has that slug.
        """
        return tuple(p.name for p in self.quad(slug).parts if p.name.startswith("arm"))
