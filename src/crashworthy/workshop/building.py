"""New builds and measured ones: a sheet from answers, drawings dropped, arms calibrated."""

from __future__ import annotations

import shutil
import tempfile
from contextlib import contextmanager
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from crashworthy.errors import NotFoundError, Problem, SheetError
from crashworthy.workshop.changes import ChangeBench

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping, Sequence

    from crashworthy.build.answers import Described, Drawing
    from crashworthy.build.quad import Quad
    from crashworthy.build.questions import Answer
    from crashworthy.impact.differences import Comparison
    from crashworthy.jobs.durable import Work
    from crashworthy.jobs.runner import JobStatus
    from crashworthy.strength.beam import ArmBeam

__all__ = ["BuildingBench", "Calibration", "NewQuad"]

MODEL_POINTS: Final = 64
"""Contact points of a draft: it is only looked at, never crashed."""


@dataclass(frozen=True, slots=True)
class NewQuad:
    """A quad on its way into the fleet.

    Attributes:
        described: what the answers gave, and its sheet.
        quad: the same, assembled with few contact points.
        balance: g that the scales found beyond the parts; 0 without weighing.
        surplus: g that the parts weigh more than the scales said; 0 without weighing.
        bodies: what is said of each dropped body.
    """

    described: Described
    quad: Quad
    balance: float
    surplus: float
    bodies: tuple[str, ...] = ()

    def summary(self) -> str:
        """One sentence with numbers."""
        parts = len(self.quad.pieces)
        head = f"{self.quad.name}: {1000 * self.quad.mass:.0f} g in {parts} parts"
        if self.balance:
            head += f", {self.balance:.0f} g of it only known from the scales"
        if self.surplus:
            head += f", {self.surplus:.0f} g more than the scales said: a mass or a thickness is too large"
        return f"{head}. {self.described.summary()}"

    def to_json(self) -> dict[str, Any]:
        """Plain data."""
        return {
            **self.described.to_json(),
            "summary": self.summary(),
            "mass_g": round(1000 * self.quad.mass, 2),
            "undescribed_g": round(self.balance, 1),
            "bodies": list(self.bodies),
            "notes": list(self.quad.notes),
        }


@dataclass(frozen=True, slots=True)
class Calibration:
    """Arms before and after what was measured.

    Attributes:
        name: of the quad.
        before, after: one of its arms.
        text: the sheet that holds the tests.
        crashes: the same crashes with both; None when none were run.
    """

    name: str
    before: ArmBeam
    after: ArmBeam
    text: str
    crashes: Comparison | None = None

    def rows(self) -> tuple[tuple[str, str, str], ...]:
        """(what, before, after) in words with 90 % ranges."""
        found = []
        for axis, way in ((1, "up and down"), (0, "sideways")):
            cells = []
            for beam in (self.before, self.after):
                low, high = beam.belief.range90(axis)
                cells.append(
                    (beam.belief.factor[axis], low, high, beam.stiffness[axis] / 1e3, beam.ideal[axis] / 1e3)
                )
            found += [
                (f"root factor, {way}", *(f"{c[0]:.2f} ({c[1]:.2f}-{c[2]:.2f})" for c in cells)),
                (
                    f"stiffness at the motor, {way}, N/mm",
                    *(f"{c[3]:.1f} ({c[1] * c[4]:.1f}-{c[2] * c[4]:.1f})" for c in cells),
                ),
            ]
        for axis, way in ((1, "up and down"), (0, "sideways")):
            tones = (f"{b.frequency[axis]:.0f}" for b in (self.before, self.after))
            found.append((f"tone with prop and motor on, {way}, Hz", *tones))
        return tuple((a, b, c) for a, b, c in found)

    def summary(self) -> str:
        """One sentence with numbers, and what it moves in a crash."""
        tail = "" if self.crashes is None else f" {self.moved()}"
        return f"{self.name}: {self.after.belief.summary()}{tail}"

    def moved(self) -> str:
        """What the calibration moves in the crash result, in words."""
        if self.crashes is None:
            return ""
        arms = next((d for d in self.crashes.kinds if d.name == "arm"), None)
        if arms is None:
            return self.crashes.summary()
        held = "" if self.crashes.arms is None else (
            f"; their roots are loaded {100 * (self.crashes.arms.factor - 1):+.0f} % "
            f"({100 * (self.crashes.arms.low - 1):+.0f} to {100 * (self.crashes.arms.high - 1):+.0f})"
        )  # fmt: skip
        return f"Arms broken in 100 crashes: {arms.a:.2g} before, {arms.b:.2g} after{held}."

    def to_json(self) -> dict[str, Any]:
        """Plain data."""
        return {
            "summary": self.summary(),
            "rows": [{"what": a, "before": b, "after": c} for a, b, c in self.rows()],
            "belief": self.after.belief.to_json(),
            "sheet": self.text,
            "crashes": None if self.crashes is None else self.crashes.to_json(),
        }


class BuildingBench(ChangeBench):
    """From nothing to a sheet, and from a sheet to a measured one."""

    @property
    def _dropped(self) -> Path:
        path = self.folder.root / "drafts" / "new"
        path.mkdir(parents=True, exist_ok=True)
        return path

    def drop(self, name: str, data: bytes) -> Drawing:
        """Keep a file for a quad that is being described; says what it can stand in for.

        Raises:
            StoreError: not a drawing or body that is read, or a name unfit for a file.
            DrawingError: it cannot be read.
        """
        from crashworthy.store.folder import checked_name
        from crashworthy.workshop.dropped import looked_at

        plain = checked_name(Path(name.replace("\\", "/")).name)
        path = self._dropped / plain
        path.write_bytes(data)
        try:
            return looked_at(path)
        except Exception:
            path.unlink(missing_ok=True)
            raise

    def add_dropped(self, name: str, data: bytes) -> str:
        """Take a dropped build sheet into the fleet, with the drawings dropped before it; returns its slug.

        Raises:
            SheetError: as ``add_quad``; or it names a drawing that was not dropped.
        """
        from crashworthy.build.lines import find_line, key_lines
        from crashworthy.build.reading import decoded, dotted, named_files, parse

        text = decoded(data, name)
        sheet = parse(text, file=name)
        lines = key_lines(text)
        with tempfile.TemporaryDirectory(prefix="crashworthy-") as temporary:
            folder = Path(temporary)
            lost = []
            for key, file in named_files(sheet):
                there = self._dropped / Path(file).name
                if there.is_file():
                    (folder / file).parent.mkdir(parents=True, exist_ok=True)
                    shutil.copyfile(there, folder / file)
                else:
                    what, remedy = f"it names {file!r}", "drop that file here first, then the sheet again"
                    lost.append(Problem(what, remedy, name, find_line(lines, key), dotted(key)))
            if lost:
                raise SheetError(*lost)
            path = folder / f"{sheet.slug}.toml"
            path.write_text(text, encoding="utf-8", newline="")
            return self.add_quad(text, path)

    @contextmanager
    def _staged(
        self, answers: Mapping[str, Answer], drawings: Sequence[Drawing], source: Path | None
    ) -> Iterator[tuple[Path, tuple[Drawing, ...]]]:
        """A folder with the drawings as the sheet will name them."""
        from crashworthy.build.answers import file_name
        from crashworthy.workshop.dropped import named

        slug = Path(file_name(answers)).stem
        with tempfile.TemporaryDirectory(prefix="crashworthy-") as temporary:
            folder = Path(temporary)
            (folder / slug).mkdir()
            rows: list[Drawing] = []
            for drawing in drawings:
                plain = Path(drawing.file).name
                found = (source or self._dropped) / plain
                if not found.is_file():
                    raise NotFoundError(Problem(f"{plain!r} is not here any more", "drop it again"))
                shutil.copyfile(found, folder / slug / plain)
                rows += named(drawing, found, f"{slug}/{plain}")
            yield folder, tuple(rows)

    def describe(
        self, answers: Mapping[str, Answer], drawings: Sequence[Drawing] = (), source: Path | None = None
    ) -> NewQuad:
        """What the answers describe so far; nothing is kept.

        Args:
            answers: as ``questions.all_checked`` returns them.
            drawings: files dropped, or lying in ``source``.
            source: folder of the drawings; what was dropped by default.

        Raises:
            SheetError: the answers cannot be one quad.
            DrawingError: a file cannot be read.
            NotFoundError: a file is gone.
        """
        with self._staged(answers, drawings, source) as (folder, rows):
            return _described(answers, rows, folder)

    def add_described(
        self, answers: Mapping[str, Answer], drawings: Sequence[Drawing] = (), source: Path | None = None
    ) -> str:
        """Take the quad into the fleet with its drawings; returns its slug.

        Raises:
            SheetError: as ``describe``, or no name was given, or a quad of that name is there already.
        """
        from crashworthy.build.answers import file_name

        if "name" not in answers:
            raise SheetError(Problem("it has no name yet", "give it one", field="name"))
        with self._staged(answers, drawings, source) as (folder, rows):
            new = _described(answers, rows, folder)
            path = folder / file_name(answers)
            path.write_text(new.described.text, encoding="utf-8")
            return self.add_quad(new.described.text, path)

    def calibration(
        self, quad: str, tests: Mapping[str, Mapping[str, Any]], n: int = 0, seed: int = 1,
        *, progress: Callable[[int, int], None] | None = None, cancelled: Callable[[], bool] | None = None,
    ) -> Calibration:  # fmt: skip
        """The arms without any test and with these; nothing is kept.

        Args:
            quad: a sheet file or a quad of the fleet.
            tests: by key of ``measured.TESTS``: { n, mm } or { hz, prop }.
            n: crashes of each, 16 or more, to see what it moves; 0 for none.
            seed: of the crashes.
            progress: called with (done, total).
            cancelled: asked before each result is taken.

        Raises:
            NotFoundError: neither such a file nor such a quad.
            SheetError: the sheet or a number cannot be used.
        """
        from crashworthy.build.assemble import assemble
        from crashworthy.build.measured import with_tests
        from crashworthy.build.reading import parse, read_text
        from crashworthy.strength.beam import arm_beam

        text = read_text(Path(quad)) if quad.endswith(".toml") else self.sheet(quad).text
        folder = Path(quad).parent if quad.endswith(".toml") else self.folder.root / "sheets"
        written = with_tests(text, tests)
        few = {} if n else {"points": MODEL_POINTS}
        before = assemble(parse(with_tests(text, {})), folder, **few)
        after = assemble(parse(written), folder, **few)
        crashes = None
        if n:
            from crashworthy.impact.compare import compare

            crashes = compare(
                before, after, n, seed, mesh=False,
                map_chunks=self.runner(), progress=progress, cancelled=cancelled,
            )  # fmt: skip
        return Calibration(after.name, arm_beam(before.arms[0]), arm_beam(after.arms[0]), written, crashes)

    def start_calibration(
        self, slug: str, tests: Mapping[str, Mapping[str, Any]], n: int, seed: int = 1
    ) -> JobStatus:
        """``calibration`` in the background; the job's result is kept for ``latest_calibration``.

        Raises:
            NotFoundError: no quad has that slug.
        """
        title = f"{self.names()[slug]} before and after calibration, {n} crashes each"
        given = {key: dict(test) for key, test in tests.items()}
        self.calibration(slug, given)  # a refusal is told at once
        return self.jobs.start("calibration", title, {"slug": slug, "tests": given, "n": n, "seed": seed})

    def _kinds(self) -> dict[str, Callable[..., Work]]:
        return {**super()._kinds(), "calibration": self._calibration_work}

    def _calibration_work(self, slug: str, tests: dict[str, dict[str, Any]], n: int, seed: int) -> Work:
        run = partial(self.calibration, slug, tests, n, seed)
        return self._kept_work(run, "crashing both", self._calibrations, lambda: self.quad(slug).digest)

    def latest_calibration(self, slug: str) -> Calibration | None:
        """What calibrating this very build moved; None when it was not run."""
        digest = self.quad(slug).digest
        if digest not in self._calibrations():
            self._recall("calibration", slug=slug)
        with self._lock:
            return self._calibrations().get(digest)

    def _calibrations(self) -> dict[str, Calibration]:
        kept: dict[str, Calibration] = self.__dict__.setdefault("_kept_calibrations", {})
        return kept

    def weigh(self, quad: str, grams: float) -> Quad:
        """Write into a sheet what the scales said, ready to fly; returns the quad as it is then.

        Args:
            quad: a sheet file or a quad of the fleet.
            grams: with pack and props.

        Raises:
            NotFoundError: neither such a file nor such a quad.
            SheetError: the sheet or the number cannot be used.
        """
        from crashworthy.build.measured import with_weighed
        from crashworthy.build.reading import read_text
        from crashworthy.store.folder import write_whole

        if not quad.endswith(".toml"):
            self.require(quad)
            text = self.folder.sheet(quad).read_text(encoding="utf-8")
            return self.save_sheet(quad, with_weighed(text, grams))
        path = Path(quad)
        write_whole(path.resolve(), with_weighed(read_text(path), grams).encode())
        return self.find(quad)

    def tests_of(self, quad: str) -> dict[str, dict[str, Any]]:
        """The tests that a sheet holds, by key of ``measured.TESTS``.

        Raises:
            NotFoundError: neither such a file nor such a quad.
            SheetError: the sheet has a problem.
        """
        from crashworthy.build.measured import TESTS

        arms = self.find(quad).sheet.arms
        return {k: getattr(arms, k).model_dump() for k in TESTS if getattr(arms, k) is not None}


def _described(answers: Mapping[str, Answer], drawings: tuple[Drawing, ...], folder: Path) -> NewQuad:
    from crashworthy.build.answers import sheet_of, with_balance
    from crashworthy.build.assemble import assemble
    from crashworthy.workshop.dropped import told

    described = sheet_of(answers, drawings)
    quad = assemble(described.sheet, folder, MODEL_POINTS)
    bodies = told(quad, drawings)
    if "weighed" not in answers:
        return NewQuad(described, quad, 0.0, 0.0, bodies)
    mass, weighed = 1000.0 * quad.mass, float(answers["weighed"])
    if weighed <= mass + 0.5:
        return NewQuad(described, quad, 0.0, max(mass - weighed, 0.0), bodies)
    full = with_balance(answers, mass, drawings)
    return NewQuad(full, assemble(full.sheet, folder, MODEL_POINTS), weighed - mass, 0.0, bodies)
