"""A quantity over two axes as one lightness ramp: the order waterfall of a flight."""

from __future__ import annotations

import base64
import struct
import zlib
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from crashworthy.pictures import axes, plots, svg

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import ArrayLike, NDArray

__all__ = ["Track", "grey_png", "heat_map"]


@dataclass(frozen=True, slots=True)
class Track:
    """A line over the map, such as an order of one motor.

    Attributes:
        label: its name.
        x, y: equally long, in the units of the axes; parts outside the map are not drawn.
    """

    label: str
    x: ArrayLike
    y: ArrayLike


def grey_png(pixels: NDArray[np.uint8]) -> bytes:
    """A grey PNG (ISO/IEC 15948) of (rows, columns) bytes, 0 black to 255 white."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    rows, columns = pixels.shape
    raw = np.zeros((rows, columns + 1), np.uint8)
    raw[:, 1:] = pixels
    header = struct.pack(">IIBBBBB", columns, rows, 8, 0, 0, 0, 0)
    packed = zlib.compress(raw.tobytes(), 9)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + chunk(b"IDAT", packed) + chunk(b"IEND", b"")


def _coarse(values: NDArray[np.float64], rows: int, columns: int) -> NDArray[np.float64]:
    """Greatest value in each cell of a coarser grid, so that a narrow line is not lost."""
    for axis, most in ((0, rows), (1, columns)):
        size = values.shape[axis]
        if size > most:
            edges = np.unique(np.linspace(0, size, most + 1).astype(int)[:-1])
            values = np.maximum.reduceat(values, edges, axis=axis)
    return values


def heat_map(
    values: ArrayLike,
    x_span: tuple[float, float],
    y_span: tuple[float, float],
    *,
    title: str,
    x_label: str,
    y_label: str,
    value_label: str,
    low: float,
    high: float,
    tracks: Sequence[Track] = (),
    describe: str = "",
    alone: bool = False,
) -> str:
    """Draw a map with a printed scale.

    Args:
        values: (ny, nx), row 0 at the low end of y; already in the scale to show (for example dB).
        x_span: numbers at the left and right end.
        y_span: numbers at the low and high end.
        title: of the picture.
        x_label: what runs across, with unit.
        y_label: what runs up, with unit.
        value_label: what is shaded, with unit.
        low: value at the pale end; lower ones are clipped, and what is not finite is pale.
        high: value at the dark end; higher ones are clipped.
        tracks: lines over the map.
        describe: for those who do not see it.
        alone: embed the style sheet.

    Raises:
        ValueError: ``values`` is no table, or a span is empty.
    """
    table = np.asarray(values, dtype=float)
    if table.ndim != 2 or not table.size or not low < high:
        raise ValueError("needs a table of values and a span to shade")
    part = np.nan_to_num((_coarse(table, 220, 300) - low) / (high - low), nan=0.0, posinf=1.0, neginf=0.0)
    pixels = (244 - 222 * np.clip(part, 0, 1)).astype(np.uint8)[::-1]
    key, height, top = svg.uid(title, x_label, x_span, y_span), 260.0, 22.0
    x_axis = axes.Axis(*x_span, plots.LEFT, plots.RIGHT)
    y_axis = axes.Axis(*y_span, height - 62, top)
    data = "data:image/png;base64," + base64.b64encode(grey_png(pixels)).decode()
    picture = svg.el(
        "image",
        href=data,
        x=x_axis.start,
        y=y_axis.end,
        width=x_axis.end - x_axis.start,
        height=y_axis.start - y_axis.end,
        preserveAspectRatio="none",
        class_="heat",
    )
    clip = svg.el(
        "clipPath",
        svg.el(
            "rect",
            x=x_axis.start,
            y=y_axis.end,
            width=x_axis.end - x_axis.start,
            height=y_axis.start - y_axis.end,
        ),
        id=f"{key}-clip",
    )
    body = [svg.el("defs", clip), picture, plots.frame(x_axis, y_axis, x_label, y_label)]
    body += [_track(track, x_axis, y_axis, key) for track in tracks]
    box = 12.0
    body += [
        svg.el("rect", x=plots.LEFT + i * box, y=height - 22, width=box, height=10, class_=f"r{i} edge")
        for i in range(10)
    ]
    words = f"{low:.3g} to {high:.3g} {value_label}".replace("-", "−")
    body.append(svg.text(words, plots.LEFT + 10 * box + 6, height - 13))
    return svg.figure(
        "".join(body),
        width=plots.WIDTH,
        height=height,
        title=title,
        describe=describe or f"{value_label} over {x_label} and {y_label}.",
        key=key,
        alone=alone,
    )


def _track(track: Track, x_axis: axes.Axis, y_axis: axes.Axis, key: str) -> str:
    x, y = np.asarray(track.x, dtype=float), np.asarray(track.y, dtype=float)
    good = np.isfinite(y) & (y <= y_axis.high) & (y >= y_axis.low)
    x, y = x[good], y[good]
    if len(x) < 2:
        return ""
    px, py = plots.thin(x, y, 200)
    points = [(x_axis(float(a)), y_axis(float(b))) for a, b in zip(px, py, strict=True)]
    end = points[-1]
    line = svg.el("path", d=svg.path(points), class_="rule thin")
    words = svg.text(track.label, end[0] - 2, max(end[1] - 3, y_axis.end + 9), "t mark", text_anchor="end")
    return svg.el("g", line, words, clip_path=f"url(#{key}-clip)")
