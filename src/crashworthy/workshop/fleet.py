"""The fleet: build sheets in, quads out; what is typed is never lost."""

from __future__ import annotations

import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from crashworthy.errors import CrashworthyError, NotFoundError, Problem, SheetError, StoreError
from crashworthy.workshop.desk import Desk

if TYPE_CHECKING:
    from crashworthy.build.quad import Quad
    from crashworthy.build.sheet import Sheet
    from crashworthy.upkeep.due import Due
    from crashworthy.workshop.dropped import FileRows

__all__ = ["FleetBench", "QuadCard", "SheetText"]


@dataclass(frozen=True, slots=True)
class QuadCard:
    """One quad of the fleet at a glance.

    Attributes:
        slug, name: address and name.
        packs, crashes: from the journal.
        due: every joint group, most urgent first; empty when the sheet has a problem.
        mass: kg as described, or None when the sheet has a problem.
        problem: why the sheet cannot be read now, or "".
        invented: whether its journal is the demo's.
    """

    slug: str
    name: str
    packs: int
    crashes: int
    due: tuple[Due, ...]
    mass: float | None
    problem: str = ""
    invented: bool = False


@dataclass(frozen=True, slots=True)
class SheetText:
    """A build sheet as text.

    Attributes:
        text: TOML.
        is_draft: whether this is what was typed last but is not valid yet.
        problems: what is wrong with the draft.
    """

    text: str
    is_draft: bool = False
    problems: tuple[Problem, ...] = ()


class FleetBench(Desk):
    """Sheets and the quads made from them."""

    def names(self) -> dict[str, str]:
        """Name of each quad by slug."""
        return {record.slug: record.name for record in self.store.quads()}

    def fleet(self) -> tuple[QuadCard, ...]:
        """Every quad at a glance."""
        return tuple(self._card(slug, name) for slug, name in self.names().items())

    def _card(self, slug: str, name: str) -> QuadCard:
        from crashworthy.workshop.journal import JournalBench

        assert isinstance(self, JournalBench)  # noqa: S101 - benches are parts of the one Workshop
        first = self.store.page(slug, limit=1).events  # a demo stays one when a person adds to it
        invented = any(e.device.startswith("demo") for e in first)
        try:
            mass = self.quad(slug).mass
            dues = self.due(slug)
            problem = ""
        except CrashworthyError as error:
            mass, dues, problem = None, (), str(error)
        history = self.history(slug)
        return QuadCard(slug, name, history.packs, len(history.crashes), dues, mass, problem, invented)

    def quad(self, slug: str) -> Quad:
        """The quad made from a sheet; made again only when sheet or drawings changed.

        Raises:
            NotFoundError: no quad has that slug.
            SheetError: its sheet has a problem.
        """
        from crashworthy.build.assemble import load

        path = self.folder.sheet(slug)
        stamp = self.folder.stamp(slug)
        return self.memo.get(("quad", slug), stamp, lambda: load(path))

    def find(self, sheet_or_slug: str, points: int | None = None) -> Quad:
        """The quad of a sheet file, or of the fleet by slug.

        Args:
            sheet_or_slug: a path that ends in .toml, or a slug.
            points: about how many contact points, for a sheet file; None means the usual number.

        Raises:
            NotFoundError: neither such a file nor such a quad.
            SheetError: the sheet has a problem.
        """
        if sheet_or_slug.endswith(".toml"):
            from crashworthy.build.assemble import load

            return load(Path(sheet_or_slug)) if points is None else load(Path(sheet_or_slug), points)
        return self.quad(sheet_or_slug)

    def sheet(self, slug: str) -> SheetText:
        """The sheet as it was typed last: a draft when there is one, with what is wrong with it.

        Raises:
            NotFoundError: no quad has that slug.
        """
        path = self.folder.sheet(slug)
        draft = self.folder.draft_path(slug)
        if not draft.is_file():
            return SheetText(path.read_text(encoding="utf-8"))
        text = draft.read_text(encoding="utf-8")
        try:
            self._parsed(text, path.name)
        except CrashworthyError as error:
            return SheetText(text, is_draft=True, problems=error.problems)
        return SheetText(text, is_draft=True)

    def save_sheet(self, slug: str, text: str) -> Quad:
        """Put a changed sheet in place; one that is not valid is kept as a draft, and the old one holds.

        Raises:
            NotFoundError: no quad has that slug.
            SheetError: what is wrong, line by line.
        """
        from crashworthy.build.assemble import built
        from crashworthy.upkeep.payloads import Build

        path = self.folder.sheet(slug)
        before = self.store.quad(slug).digest
        self.folder.write_draft(slug, text)
        quad = built(text, path.parent, path.name)
        if quad.digest != before:
            self.folder.keep_before(slug)
        self.folder.write_sheet(slug, text)
        self.store.add_quad(slug, quad.name, sheet=text, digest=quad.digest, path=str(path))
        if quad.digest != before:
            self.store.record(slug, Build(quad.digest, "sheet edited"))
        return quad

    def restore_sheet(self, slug: str, digest: str) -> Quad:
        """Put the sheet from before the last change of the build back in place.

        Args:
            slug: of the quad.
            digest: of the build that the change led to; the quad's present one.

        Raises:
            NotFoundError: no quad has that slug.
            StoreError: it is not the last change, the sheet was edited by hand since, or the one from before
                is not kept here.
            SheetError: the sheet from before cannot be read any more.
        """
        from crashworthy.build.assemble import assemble

        path, kept = self.folder.sheet(slug), self.folder.before_path(slug)
        if not self.can_restore(slug, digest):
            raise StoreError(
                Problem(
                    "only the last change of a build can be taken back, where it was made",
                    "change the sheet by hand; the journal says when it was changed",
                )
            )
        text = kept.read_text(encoding="utf-8")
        quad = assemble(self._parsed(text, path.name), path.parent)
        self.folder.write_sheet(slug, text)
        self.store.add_quad(slug, quad.name, sheet=text, digest=quad.digest, path=str(path))
        kept.unlink()
        return quad

    def can_restore(self, slug: str, digest: str) -> bool:
        """Whether the sheet is still the one that the change led to, by no later edit on the disk either."""
        if self.store.quad(slug).digest != digest or not self.folder.before_path(slug).is_file():
            return False
        try:
            return self.quad(slug).digest == digest
        except CrashworthyError:
            return False  # whoever is mending it by hand loses nothing

    def _parsed(self, text: str, name: str) -> Sheet:
        from crashworthy.build.reading import parse

        return parse(text, self.folder.root / "sheets", name)

    def add_quad(self, text: str, source: Path | None = None) -> str:
        """Take a new sheet into the fleet; returns the quad's slug.

        Args:
            text: TOML.
            source: the file it came from, whose folder holds the drawings it names; None when it was typed.

        Raises:
            SheetError: what is wrong, line by line, or a quad of that name is there already.
            StoreError: a drawing cannot be copied.
        """
        from crashworthy.build.assemble import built
        from crashworthy.build.lines import find_line, key_lines
        from crashworthy.build.reading import parse

        name = source.name if source else "sheet"
        folder = source.parent if source else self.folder.root / "sheets"
        sheet = parse(text, folder, name)
        if sheet.slug in self.names() or sheet.slug in self.folder.slugs():
            remedy = (
                "give it another name; to change the quad that is there, edit its sheet on its page Build "
                "or use `crashworthy new SHEET --replace`"
            )
            line = find_line(key_lines(text), ("name",))
            raise SheetError(
                Problem(f"a quad called {sheet.name!r} is in the fleet", remedy, name, line, "name")
            )
        if source is not None:
            self._refuse_clash(sheet, source)
        quad = built(text, folder, name)
        if source is not None:
            self.folder.copy(source, files_of(sheet))
        path = self.folder.write_sheet(sheet.slug, text)
        self.store.add_quad(sheet.slug, sheet.name, sheet=text, digest=quad.digest, path=str(path))
        return sheet.slug

    def replace_quad(self, text: str, source: Path) -> str:
        """Put a sheet file in the place of the quad of its name, its journal kept; returns the slug.

        Args:
            text: TOML.
            source: the file it came from, whose folder holds the drawings it names.

        Raises:
            SheetError: what is wrong, line by line.
            NotFoundError: no quad of that name is in the fleet.
            StoreError: a drawing cannot be copied.
        """
        from crashworthy.build.assemble import load
        from crashworthy.build.reading import parse

        sheet = parse(text, source.parent, source.name)
        self.require(sheet.slug)
        self._refuse_clash(sheet, source)
        load(source)  # what cannot be built is refused before a file of the fleet is touched
        self.folder.copy(source, files_of(sheet))
        self.save_sheet(sheet.slug, text)
        return sheet.slug

    def _refuse_clash(self, sheet: Sheet, source: Path) -> None:
        """See that no drawing would overwrite a different one that another quad of the fleet names.

        Raises:
            SheetError: it would.
        """
        base = self.folder.root / "sheets"
        if source.parent.resolve() == base.resolve():
            return
        for file in files_of(sheet):
            there, here = base / file, source.parent / file
            if not there.is_file() or not here.is_file() or there.read_bytes() == here.read_bytes():
                continue
            owners = [s for s in self.folder.slugs() if s != sheet.slug and self._names(s, file)]
            if owners:
                what = f"{file!r} is a different drawing of {', '.join(owners)} in this fleet"
                remedy = f"move yours into a folder beside the sheet and name it {sheet.slug}/{file}"
                raise SheetError(Problem(what, remedy, source.name))

    def _names(self, slug: str, file: str) -> bool:
        """Whether the sheet of a quad names a drawing; a sheet with a problem may."""
        try:
            return file in files_of(self._parsed(self.folder.sheet(slug).read_text(encoding="utf-8"), slug))
        except CrashworthyError:
            return True

    def add_drawing(self, slug: str, name: str, data: bytes) -> str:
        """Keep a DXF, STL, 3MF, OBJ or STEP file for a quad; returns the path to write into its sheet.

        Raises:
            NotFoundError: no quad has that slug.
            StoreError: not a drawing, or a name unfit for a file.
            DrawingError: it cannot be read; nothing is kept, and a file of that name stays as it was.
        """
        from crashworthy.store.folder import checked_name
        from crashworthy.workshop.dropped import looked_at

        self.folder.sheet(slug)
        with tempfile.TemporaryDirectory(prefix="crashworthy-") as temporary:
            trial = Path(temporary) / checked_name(name)
            self.folder.fits(slug, name, data)
            trial.write_bytes(data)
            looked_at(trial)
        return self.folder.write_drawing(slug, name, data)

    def rows_for(self, slug: str, file: str) -> FileRows:
        """What a kept drawing holds, and the lines of a sheet that would name it.

        Raises:
            NotFoundError: no quad has that slug.
            DrawingError: it cannot be read.
        """
        from crashworthy.workshop.dropped import rows_for

        return rows_for(self.folder.sheet(slug).parent / file, file)

    def require(self, slug: str) -> None:
        """See that there is such a quad.

        Raises:
            NotFoundError: there is none.
        """
        if slug not in self.names():
            known = ", ".join(self.names()) or "none yet"
            raise NotFoundError(Problem(f"no quad is called {slug!r}", f"quads of this fleet: {known}"))


def files_of(sheet: Sheet) -> tuple[str, ...]:
    """The drawings a sheet names, relative to it."""
    plates = (plate.dxf for plate in sheet.plates.values() if plate.dxf)
    return tuple(dict.fromkeys([*plates, *(row.file for row in sheet.imports.values())]))
