"""Pictures of the flights' pages: motors, spectrum with evidence, order waterfall, trends over flights."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

import numpy as np

from crashworthy.pictures import heat, plots
from crashworthy.vibration.features import OWN
from crashworthy.vibration.trend import EWMA_LIMIT, LIMIT

if TYPE_CHECKING:
    from collections.abc import Mapping

    from crashworthy.vibration.trend import Trend

__all__ = [
    "arm_marks",
    "average_plot",
    "evidence_marks",
    "spectrum_plot",
    "speed_marks",
    "sum_plot",
    "waterfall",
]

ORDERS: Final = {"unbalance": 1.0, "track": 1.0, "half": 1.5, "second": 2.0, "third": 3.0}
"""Features that stand at a multiple of a motor's speed."""


def evidence_marks(report: Mapping[str, Any]) -> list[tuple[float, str]]:
    """Where the strongest finding's evidence stands: its motor's lines, and the arms' resonance."""
    findings = (report.get("verdict") or {}).get("findings") or []
    if not findings or findings[0]["level"] == "no finding":
        return []
    top = findings[0]
    speed = next((m["speed_hz"] for m in report["motors"] if m["label"] == top["where"]), None)
    marks: dict[float, str] = {}
    for e in top["evidence"]:
        # Evidence names its feature in words, with the place after it.
        order = next((k for key, k in ORDERS.items() if e["feature"].startswith(OWN[key])), None)
        if order and speed and e["nats"] > 0.5:
            marks.setdefault(order * speed, f"{order:g}× {top['where']}")
    return sorted(marks.items())


def arm_marks(report: Mapping[str, Any]) -> list[tuple[float, str]]:
    """Resonances of the two pairs of arms."""
    modes = (report.get("structure") or {}).get("modes") or []
    return [(m["f_hz"], f"arms {m['f_hz']:.0f} Hz") for m in modes if m]


def speed_marks(report: Mapping[str, Any]) -> list[tuple[float, str]]:
    """Upright lines of a spectrum: evidence of the finding, else the middle motor's multiples."""
    speeds = [m["speed_hz"] for m in report["motors"] if m["speed_hz"]]
    if not speeds:
        return arm_marks(report)
    middle = float(np.median(speeds))
    evidence = evidence_marks(report)
    return [*(evidence or [(k * middle, f"{k}×") for k in (1, 2, 3)]), *arm_marks(report)[:1]]


def spectrum_plot(report: Mapping[str, Any]) -> str:
    """The spectrum of a report as a printed plot, or "" without one."""
    s = report["spectrum"]
    if s is None:
        return ""
    return plots.line_plot(
        [plots.Series(a, s["f_hz"], s[a]) for a in ("roll", "pitch", "yaw")],
        title="Gyro spectrum",
        x_label="frequency, Hz",
        y_label=s["unit"],
        marks=speed_marks(report),
        log_y=True,
        height=240,
    )


def waterfall(report: Mapping[str, Any]) -> str:
    """The map of frequency against motor speed (or time) as a picture, or "" without one."""
    c = report["campbell"]
    if c is None or len(c["rows"]) < 2 or len(c["f_hz"]) < 2:
        return ""
    level = np.asarray(c["level_db"], dtype=float)
    rows, f = np.asarray(c["rows"]), np.asarray(c["f_hz"])
    finite = level[np.isfinite(level)]
    low, high = (float(np.quantile(finite, q)) for q in (0.3, 0.999))
    common: dict[str, Any] = {
        "value_label": "dB, 1 (deg/s)²/Hz",
        "low": low,
        "high": max(high, low + 6.0),
    }
    if c["kind"] == "time":
        return heat.heat_map(
            level.T,
            (float(rows[0]), float(rows[-1])),
            (float(f[0]), float(f[-1])),
            title="Frequencies over the flight",
            x_label="time, s",
            y_label="frequency, Hz",
            **common,
        )
    spans = (float(f[0]), float(f[-1])), (float(rows[0]), float(rows[-1]))
    tracks = []
    for k in c["orders"]:
        inside = k * rows <= f[-1]
        if inside.sum() > 1:
            tracks.append(heat.Track(f"{k:g}×", (k * rows)[inside], rows[inside]))
    for f_arm, _ in arm_marks(report)[:1]:
        if f[0] < f_arm < f[-1]:
            tracks.append(heat.Track("arms", [f_arm, f_arm], [float(rows[0]), float(rows[-1])]))
    return heat.heat_map(
        level,
        *spans,
        title="Frequencies against motor speed, with orders",
        x_label="frequency in the gyro, Hz",
        y_label="speed of the loudest comb, Hz"
        if report.get("speed_source") == "spectrum"
        else "motor speed, Hz",
        tracks=tracks,
        **common,
    )


def _over_flights(values: tuple[float, ...], limit: float, name: str, t: Trend, y_label: str) -> str:
    if len(values) < 3:
        return ""
    x = np.arange(1, len(values) + 1)
    called = t.called if limit == LIMIT else t.average_called
    marks = [] if called is None else [(float(called + 1), f"flight {called + 1}")]
    return plots.line_plot(
        [
            plots.Series(name, x, np.asarray(values), mark=True),
            plots.Series(f"limit {limit:g}", x, np.full(len(x), limit)),
        ],
        title=f"{t.name}: {name}",
        x_label="flights since it began anew",
        y_label=y_label,
        marks=marks,
        height=170,
        describe=f"{name} of {t.name} over {len(values)} flights: now {values[-1]:.1f}, limit {limit:g}.",
    )


def sum_plot(t: Trend) -> str:
    """The running sum (CUSUM) of a trend with its limit, or "" with fewer than three flights."""
    return _over_flights(t.sums, LIMIT, "running sum", t, "standard deviations, summed")


def average_plot(t: Trend) -> str:
    """The running average (EWMA) of a trend with its limit, or "" with fewer than three flights."""
    return _over_flights(t.average, EWMA_LIMIT, "running average", t, "its own standard deviations")
