"""One call for the picture of a result: ``plot(result)``, in a notebook or into a file."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import singledispatch
from pathlib import Path
from typing import TYPE_CHECKING, Any

from crashworthy.errors import CrashworthyError, Problem
from crashworthy.impact.differences import Comparison
from crashworthy.impact.sensitivity import Tornado
from crashworthy.impact.summary import CrashSummary
from crashworthy.pictures import breaks, changes, dues, flights, hidden, matrix, motors, paper
from crashworthy.placement.advice import Placement
from crashworthy.upkeep.due import Due
from crashworthy.upkeep.ranking import Ranking
from crashworthy.vibration.answers import LogReport

if TYPE_CHECKING:
    from collections.abc import Callable

__all__ = ["Picture", "plot"]


@dataclass(frozen=True, slots=True)
class Picture:
    """A drawing that stands alone.

    Attributes:
        name: which of the result's pictures.
        svg: the drawing, styles written into its elements.
    """

    name: str
    svg: str

    def _repr_svg_(self) -> str:
        """Shown by notebooks."""
        return self.svg

    def save(self, path: str | Path) -> Path:
        """Write the drawing as SVG, or as PDF with the extra ``pdf``.

        Raises:
            CrashworthyError: the name ends in neither, or the extra is missing.
        """
        path = Path(path)
        if path.suffix == ".svg":
            path.write_text(self.svg, encoding="utf-8")
        elif path.suffix == ".pdf":
            path.write_bytes(paper.pdf(f"<!doctype html><title>{self.name}</title>{self.svg}"))
        else:
            raise CrashworthyError(
                Problem(f"cannot draw into {path.name}", "let its name end in .svg or .pdf", field="path")
            )
        return path


def plot(result: Any, picture: str = "") -> Picture:
    """Draw a result.

    | result of | pictures, the first by default |
    |---|---|
    | ``crash`` | breaks, hits, loads, first touch, moments |
    | ``compare`` | breaks |
    | ``improve`` | minutes, packs, assumptions |
    | ``place`` | shares |
    | ``listen`` | motors, spectrum, waterfall |
    | due list | due |

    Args:
        result: what one of these returned.
        picture: which of its pictures.

    Raises:
        CrashworthyError: no such picture, or this result has nothing to draw in it.
    """
    known = _pictures(result)
    name = picture or next(iter(known))
    if name not in known:
        raise CrashworthyError(
            Problem(f"there is no picture {name!r} of this", f"ask for {', '.join(known)}", field="picture")
        )
    drawn = known[name]()
    if not drawn:
        others = [k for k in known if k != name]
        remedy = f"try {', '.join(others)}" if others else "ask for a result with more in it"
        raise CrashworthyError(Problem(f"nothing to draw in the picture {name!r}", remedy, field="picture"))
    return Picture(name, paper.flat(drawn))


@singledispatch
def _pictures(result: Any) -> dict[str, Callable[[], str]]:
    raise CrashworthyError(
        Problem(
            f"there is no picture of a {type(result).__name__}",
            "give what crash, compare, improve, place or listen returned, or a due list",
            field="result",
        )
    )


@_pictures.register(CrashSummary)
def _crash(result: CrashSummary) -> dict[str, Callable[[], str]]:
    said = result.to_json()
    touch = said["first_touch"]
    return {
        "breaks": lambda: breaks.break_bars(said["groups"]),
        "hits": lambda: breaks.hit_bars(said["parts"]),
        "loads": lambda: breaks.reach_picture(said["parts"]),
        "first touch": lambda: matrix.first_touch_matrix(touch) if touch and sum(touch["crashes"]) else "",
        "moments": lambda: matrix.moment_histograms(said["moments"]) if said["moments"] else "",
    }


@_pictures.register(Comparison)
def _compare(result: Comparison) -> dict[str, Callable[[], str]]:
    return {"breaks": lambda: changes.difference_bars(result)}


@_pictures.register(Tornado)
def _tornado(result: Tornado) -> dict[str, Callable[[], str]]:
    return {"assumptions": lambda: changes.tornado_bars(result) if result.bars else ""}


@_pictures.register(Ranking)
def _ranking(result: Ranking) -> dict[str, Callable[[], str]]:
    swing = result.tornado
    return {
        "minutes": lambda: changes.rank_bars(result) if result.rows else "",
        "packs": lambda: changes.pack_bars(result),
        "assumptions": lambda: changes.tornado_bars(swing) if swing is not None and swing.bars else "",
    }


@_pictures.register(Placement)
def _placement(result: Placement) -> dict[str, Callable[[], str]]:
    return {"shares": lambda: hidden.share_bars(result) if result.exposures else ""}


@_pictures.register(LogReport)
def _log(result: LogReport) -> dict[str, Callable[[], str]]:
    said = result.to_json()
    return {
        "motors": lambda: motors.motor_card(said),
        "spectrum": lambda: flights.spectrum_plot(said),
        "waterfall": lambda: flights.waterfall(said),
    }


@_pictures.register(Sequence)
def _due_list(result: Sequence[Any]) -> dict[str, Callable[[], str]]:
    if not all(isinstance(row, Due) for row in result):
        raise CrashworthyError(
            Problem(
                "there is no picture of this list", "a list that can be drawn is a due list", field="result"
            )
        )
    return {"due": lambda: dues.due_bars(result)}
