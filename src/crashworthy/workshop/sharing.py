"""Builds handed on and taken in: one page that holds the sheet, and nothing of the journal."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

from crashworthy.errors import Problem, SheetError
from crashworthy.workshop.building import BuildingBench

if TYPE_CHECKING:
    from collections.abc import Callable

__all__ = ["ShareBench"]


class ShareBench(BuildingBench):
    """Pages to share."""

    def share(
        self,
        quad: str,
        *,
        viewer: str = "",
        comments: bool = False,
        paper: bool = False,
        crashes: int = 0,
        progress: Callable[[int, int], None] | None = None,
    ) -> str:
        """A build as one self-contained page, with the newest campaign of this very build.

        Args:
            quad: a sheet file or a quad of the fleet.
            viewer: script of the 3D view.
            comments: keep the comments of the sheet.
            paper: leave out what only a screen or a program needs.
            crashes: to run when there is no such campaign; 0 for none.
            progress: called with (done, total).

        Raises:
            NotFoundError: neither such a file nor such a quad.
            SheetError: the sheet has a problem.
        """
        from crashworthy.build.cleared import cleared
        from crashworthy.build.reading import read_text
        from crashworthy.pictures.share import share_page

        found = self.find(quad)
        is_file = quad.endswith(".toml")
        path = Path(quad) if is_file else self.folder.sheet(quad)
        known = None if is_file else self.latest_campaign(quad)
        summary = None if known is None or known.stale else known.summary
        if summary is None and crashes:
            summary = self.crash(found, crashes, 1, progress=progress).summarise().to_json()
        drawings = {} if paper else cleared(found.sheet, path.parent)
        return share_page(
            found,
            read_text(path),
            summary,
            None if paper else drawings,
            viewer="" if paper else viewer,
            comments=comments,
        )

    def add_shared(self, page: bytes, name: str | None = None) -> str:
        """Take the build of a shared page into the fleet; returns its slug.

        Args:
            page: the file.
            name: what it is to be called here; None for the name it came with.

        Raises:
            SheetError: it is no such page, its sheet has a problem, or a quad of that name is there already.
            StoreError: a drawing cannot be kept.
        """
        from crashworthy.build.reading import parse
        from crashworthy.build.writing import in_toml, renamed
        from crashworthy.pictures.share import shared_build
        from crashworthy.workshop.fleet import files_of

        text, drawings = shared_build(page)
        if name is not None:
            text = renamed(text, name)
        sheet = parse(text)
        named = files_of(sheet)
        lost = [name for name in named if name not in drawings]
        if lost:
            raise SheetError(
                Problem(f"the page lacks the drawing {lost[0]!r}", "export it again", field="page")
            )
        for name in named:
            if not self._differs(name, drawings[name]):
                continue
            # A file of that name is here already: this one goes into a folder of its own.
            own = f"{sheet.slug}/{Path(name).name}"
            if own in drawings or self._differs(own, drawings[name]):
                what = f"another quad of this fleet has a different drawing called {name!r}"
                remedy = (
                    "give the build another name (--name), or take it into a fleet of its own with --data"
                )
                raise SheetError(Problem(what, remedy, field="page"))
            text = text.replace(in_toml(name), in_toml(own))
            drawings[own] = drawings.pop(name)
        named = files_of(parse(text))
        with tempfile.TemporaryDirectory(prefix="crashworthy-") as temporary:
            folder = Path(temporary)
            for name in named:  # only what the sheet names, and its names were checked
                (folder / name).parent.mkdir(parents=True, exist_ok=True)
                (folder / name).write_bytes(drawings[name])
            path = folder / f"{sheet.slug}.toml"
            path.write_text(text, encoding="utf-8", newline="")
            return self.add_quad(text, path)

    def _differs(self, name: str, data: bytes) -> bool:
        """Whether the fleet holds another file under that name."""
        there = self.folder.root / "sheets" / name
        return there.is_file() and there.read_bytes() != data
