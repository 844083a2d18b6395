"""What the camera sees and the pilot hears: trade-off, trim, pupil; links, two receivers, places."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from crashworthy.errors import NotFoundError, Problem, SheetError
from crashworthy.workshop.trials import TrialBench

if TYPE_CHECKING:
    from collections.abc import Sequence

    from crashworthy.placement.budget import Diversity, Link, LinkMap, LinkSettings
    from crashworthy.placement.camera import CameraRow
    from crashworthy.placement.pupil import Corner, Mark, PupilFit, Spread
    from crashworthy.placement.spots import Spot
    from crashworthy.placement.tradeoff import TradeOff
    from crashworthy.placement.trim import Trim

__all__ = ["AntennaReport", "SeeingBench"]


@dataclass(frozen=True, slots=True, eq=False)
class AntennaReport:
    """Everything about one antenna.

    Attributes:
        link: its link as it is.
        map: margin by direction.
        spots: candidate places, scored.
        pairs: with other antennas of the sheet on its frequency.
        second: with a second one at the place that helps most, when the sheet has no other on its frequency.
        partner: the link of that other antenna, or of the first of ``pairs``; None without.
    """

    link: Link
    map: LinkMap
    spots: tuple[Spot, ...]
    pairs: tuple[Diversity, ...]
    second: Diversity | None
    partner: Link | None

    @property
    def both(self) -> Link | None:
        """The better of the two in every direction."""
        from crashworthy.placement.budget import better_of

        return None if self.partner is None else better_of(self.link, self.partner)

    def summary(self) -> str:
        """One sentence: the best place that is touched less and heard no worse, or the link as it is."""
        now = self.spots[0]
        better = [
            s
            for s in self.spots[1:]
            if s.fits and s.share <= now.share and s.link.tenth >= now.link.tenth and s.best
        ]
        if not better:
            return f"{self.link.summary()} No place tried is both touched less and heard farther."
        best = max(better, key=lambda s: s.link.tenth)
        name = self.link.name.replace("_", " ")
        return (
            f"Move {name} to '{best.words}': touched first in {100 * best.share:.2f} instead of "
            f"{100 * now.share:.2f} % of hits, {best.link.tenth:.0f} instead of {now.link.tenth:.0f} m "
            "in nine "
            "directions of ten."
        )

    def to_json(self) -> dict[str, Any]:
        """Plain data."""
        return {
            "summary": self.summary(),
            "link": self.link.to_json(),
            "map": {
                "azimuth_deg": [round(float(a), 1) for a in self.map.azimuth],
                "elevation_deg": [round(float(e), 1) for e in self.map.elevation],
                "margin_dB": [[round(float(m), 1) for m in row] for row in self.map.margin],
            },
            "places": [s.to_json() for s in self.spots],
            "two_receivers": [d.to_json() for d in self.pairs],
            "second": None if self.second is None else self.second.to_json(),
        }


class SeeingBench(TrialBench):
    """Camera and antennas of the fleet's builds."""

    def trade_off(
        self,
        quad: str,
        tilts: Sequence[float] | None = None,
        recesses: Sequence[float] | None = None,
        limit: float = 0.01,
    ) -> TradeOff:
        """Recess against tilt of a sheet file or a quad of the fleet; see ``placement.tradeoff.trade_off``.

        Raises:
            NotFoundError: neither such a file nor such a quad.
            SheetError: the sheet has a problem, or no camera whose view is described.
        """
        from crashworthy.placement.tradeoff import RECESSES, TILTS, trade_off

        found = self.find(quad)
        key = (found.digest, tuple(tilts or TILTS), tuple(recesses or RECESSES), limit)
        return self.memo.get(("trade-off", *key), None, lambda: trade_off(found, key[1], key[2], limit))

    def camera_row(self, quad: str, recess: float | None = None, tilt: float | None = None) -> CameraRow:
        """View and protection at one recess (mm) and tilt (deg); the sheet's own by default.

        Raises:
            NotFoundError: neither such a file nor such a quad.
            SheetError: the sheet has a problem, or no camera whose view is described.
        """
        from crashworthy.placement.camera import CameraBench

        bench = CameraBench(self.find(quad))
        at = bench.camera.at
        return bench.row(at.recess if recess is None else recess, at.tilt if tilt is None else tilt)

    def trims(self, quad: str, recess: float | None = None, tilt: float | None = None) -> tuple[Trim, ...]:
        """What to take off the plates for a clear view at a recess (mm) and tilt (deg).

        Raises:
            NotFoundError: neither such a file nor such a quad.
            SheetError: the sheet has a problem, or no camera whose view is described.
        """
        from crashworthy.placement.camera import CameraBench, Pose
        from crashworthy.placement.trim import trims

        bench = CameraBench(self.find(quad))
        return trims(bench, Pose.of(bench.camera, recess, tilt))

    def trim_file(
        self,
        quad: str,
        kind: str,
        plate: str | None = None,
        recess: float | None = None,
        tilt: float | None = None,
    ) -> tuple[str, bytes]:
        """The trim outline of one plate as a file: (name of the plate, bytes).

        Args:
            quad: a sheet file or a quad of the fleet.
            kind: "svg" or "dxf".
            plate: name of the plate; the one that loses most by default.
            recess: mm; the sheet's by default.
            tilt: deg; the sheet's by default.

        Raises:
            NotFoundError: no such quad, or nothing to take off that plate.
            SheetError: the sheet has a problem, no view, or another kind of file.
        """
        from crashworthy.placement.trim import trim_dxf_file, trim_svg_file

        if kind not in ("svg", "dxf"):
            raise SheetError(Problem(f"cannot write {kind!r}", "name a file that ends in .svg or .dxf"))
        cuts = {t.part: t for t in self.trims(quad, recess, tilt)}
        if not cuts or (plate is not None and plate not in cuts):
            known = ", ".join(cuts) or "no plate stands in the picture"
            raise NotFoundError(Problem("there is nothing to take off", f"plates to trim: {known}"))
        trim = next(iter(cuts.values())) if plate is None else cuts[plate]
        return trim.part, (trim_svg_file if kind == "svg" else trim_dxf_file)(trim)

    def corners(self, quad: str) -> tuple[Corner, ...]:
        """Corners of the frame worth marking in a picture, the most telling first.

        Raises:
            NotFoundError: neither such a file nor such a quad.
            SheetError: the sheet has a problem, or no camera whose view is described.
        """
        from crashworthy.placement.camera import CameraBench
        from crashworthy.placement.pupil import corners

        return corners(CameraBench(self.find(quad)))

    def pupil(self, quad: str, marks: Sequence[Mark], spread: Spread | None = None) -> PupilFit:
        """Where the entrance pupil is, from corners marked in one picture.

        Raises:
            NotFoundError: neither such a file nor such a quad.
            SheetError: the sheet has a problem, no view is described, or the marks will not do.
        """
        from crashworthy.placement.lens import lens_of
        from crashworthy.placement.pupil import fit_pupil

        camera = self.find(quad).sheet.camera
        if camera is None:
            raise SheetError(Problem("there is no camera", "describe it under [camera]", field="camera"))
        return fit_pupil(lens_of(camera.view), camera, marks, spread)

    def with_pupil(self, quad: str, fit: PupilFit) -> str:
        """A copy of the sheet, as TOML, that holds the pupil as found and how well it is known.

        Raises:
            NotFoundError: neither such a file nor such a quad.
            SheetError: the sheet has a problem.
        """
        from crashworthy.build.writing import to_toml
        from crashworthy.placement.moves import with_field

        found = self.find(quad)
        sheet = with_field(found.sheet, "camera.pupil", round(fit.pupil, 2))
        sheet = with_field(sheet, "camera.pupil_sd", round(fit.sd, 2))
        return to_toml(sheet.model_copy(update={"name": f"{found.name[:45]} calibrated"}))

    def antenna(
        self,
        quad: str,
        name: str | None = None,
        settings: LinkSettings | None = None,
        *,
        towards: str = "even",
    ) -> AntennaReport:
        """Link, candidate places and second receivers of one antenna.

        Args:
            quad: a sheet file or a quad of the fleet.
            name: of the antenna; the first by default.
            settings: of the link; what is usual at its frequency by default.
            towards: where obstacles come from, see ``mix``.

        Raises:
            NotFoundError: no such quad or antenna.
            SheetError: the sheet has a problem, or does not say the antenna's frequency.
        """
        from crashworthy.placement.antennas import Radio
        from crashworthy.placement.budget import link_map, link_of
        from crashworthy.placement.spots import best_pair, pairs, spots
        from crashworthy.workshop.agreement import approaches_of

        found, mix = self.find(quad), self.mix(quad, towards)
        antennas = found.sheet.antennas
        if not antennas or (name is not None and name not in antennas):
            raise NotFoundError(
                Problem(f"no antenna is called {name!r}", f"antennas: {', '.join(antennas) or 'none'}")
            )
        name = next(iter(antennas)) if name is None else name
        radio = Radio(found, settings.losses if settings else None)
        ways = None if mix is None else approaches_of(found, mix)
        places = spots(found, name, settings, ways)
        others = pairs(found, name, settings, ways)
        second = None if others else best_pair(places)
        partner = None
        if others:
            partner = link_of(radio, others[0].names[1], None, settings)
        elif second is not None:
            partner = next(
                replace(s.link, name=s.words) for s in places if second.names[1].endswith(f"'{s.words}'")
            )
        return AntennaReport(
            link_of(radio, name, None, settings),
            link_map(radio, name, None, settings),
            places,
            others,
            second,
            partner,
        )
