"""Flight logs in ULog, an open published binary format, through the optional library pyulog.

Topic and field names are those that the format's publishers document. Logged axes are x forward, y right,
z down and are turned to x forward, y left, z up here.
"""

from __future__ import annotations

import contextlib
import io
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO, Final

import numpy as np

from crashworthy.errors import LogError, Problem
from crashworthy.vibration.clock import rate
from crashworthy.vibration.log import make_log
from crashworthy.vibration.readers.mapping import AXES, MOTORS
from crashworthy.vibration.readers.ulog_file import MAGIC, Onward, check_formats, first_damage, log_starts

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from crashworthy.vibration.log import FlightLog
    from crashworthy.vibration.readers.mapping import Mapping

    Floats = NDArray[np.float64]

__all__ = ["INSTALL", "MAGIC", "UlogReader"]

INSTALL: Final = 'python -m pip install "crashworthy[ulog]"'
"""Command that installs what reading needs."""

_TOPICS: Final = (
    "sensor_combined",
    "sensor_gyro",
    "sensor_gyro_fifo",
    "vehicle_angular_velocity",
    "sensor_accel",
    "sensor_accel_fifo",
    "esc_status",
    "battery_status",
    "actuator_motors",
)


class UlogReader:
    """Reads ULog files."""

    name = "ulog"

    def sniff(self, path: Path) -> float:
        """1 when the file begins with the format's magic number, else 0."""
        with path.open("rb") as file:
            return 1.0 if file.read(len(MAGIC)) == MAGIC else 0.0

    def read(self, path: Path, mapping: Mapping | None = None, pole_pairs: int | None = None) -> FlightLog:
        """The longest log of the file; see ``read_all``."""
        return max(self.read_all(path, mapping, pole_pairs), key=lambda log: log.duration)

    def read_all(
        self,
        path: Path,
        mapping: Mapping | None = None,  # noqa: ARG002 - the format names its quantities
        pole_pairs: int | None = None,  # noqa: ARG002 - speeds are mechanical in this format
    ) -> tuple[FlightLog, ...]:
        """Read gyro, acceleration, motor speed, commands, voltage and current of every log in the file.

        Args:
            path: the file; several logs may stand one behind the other in it.
            mapping: not used: the format names its quantities.
            pole_pairs: not used: the format's motor speed is mechanical.

        Raises:
            LogError: pyulog is not installed, the file is no ULog or too damaged, or holds nothing usable.
        """
        path = Path(path)
        starts = log_starts(path)
        logs: list[FlightLog] = []
        refused: list[Problem] = []
        for begin, end in pairwise([*starts, path.stat().st_size]):
            try:
                logs.append(self._one(path, begin, None if len(starts) == 1 else end))
            except LogError as error:
                if len(starts) == 1:
                    raise
                refused += [replace(p, what=f"log at byte {begin}: {p.what}") for p in error.problems]
        if not logs:
            raise LogError(*refused[:5])
        if refused:
            more = f"{len(refused)} of {len(starts)} logs could not be read: {refused[0].what}"
            logs[0] = replace(logs[0], meta=replace(logs[0].meta, notes=(*logs[0].meta.notes, more)))
        return tuple(logs)

    def _one(self, path: Path, begin: int, end: int | None) -> FlightLog:
        data, dropouts, damaged = _load(path, begin, end)
        notes: list[str] = []
        where = first_damage(path, begin, path.stat().st_size if end is None else end)
        if where is not None:
            notes.append(f"The file is damaged or cut at byte {where}; what could be read was read.")
        elif damaged:
            notes.append("The file is damaged; what could be read was read.")
        gyro = _best([*_three(data, "gyro")], "gyro", notes)
        acc = _best([*_three(data, "accel")], "acceleration", notes)
        st, speed = _speeds(data)
        ct, command = _commands(data)
        pt, volts, amps = _power(data)
        if len({k[1] for k in data if k[0] == "battery_status"}) > 1:
            notes.append("Several battery monitors are logged; the first with a voltage is used.")
        sign = np.array(AXES["frd"])
        return make_log(
            source=path.name,
            reader=self.name,
            t=gyro[0],
            gyro=None if gyro[1] is None else gyro[1] * sign,
            acc_t=acc[0],
            acc=None if acc[1] is None else acc[1] * sign,
            speed_t=st,
            speed=speed,
            command_t=ct,
            command=command,
            power_t=pt,
            volts=volts,
            amps=amps,
            units={"gyro": "rad/s", "acc": "m/s2", "speed": "rpm", "volts": "V", "amps": "A", "time": "us"},
            dropouts=dropouts,
            notes=tuple(notes),
        )


def _load(
    path: Path, begin: int = 0, end: int | None = None
) -> tuple[dict[tuple[str, int], dict[str, Any]], int, bool]:
    """Topics by name and instance, how many dropouts, whether the file is damaged; of a part of the file."""
    try:
        from pyulog import ULog
    except ImportError:
        raise LogError(
            Problem("reading ULog needs an extra that is not installed", f"run: {INSTALL}", path.name)
        ) from None
    with path.open("rb") as whole:
        file: BinaryIO = whole
        if end is not None:
            whole.seek(begin)
            file = io.BytesIO(whole.read(end - begin))
        if file.read(len(MAGIC)) != MAGIC:
            raise LogError(
                Problem("is no ULog file: its magic number is not there", "check the file", path.name)
            )
        check_formats(file.read(1 << 22)[16 - len(MAGIC) :], path.name)
        file.seek(0)
        try:
            # The library talks to standard output; a person is told through notes and errors instead.
            with contextlib.redirect_stdout(io.StringIO()):
                log = ULog(Onward(file), list(_TOPICS))
        except Exception as problem:  # noqa: BLE001 - the library raises many kinds on damaged files
            raise LogError(
                Problem(f"the ULog file is too damaged to read: {problem!r}", "copy the log again", path.name)
            ) from None
        damaged = bool(log.file_corruption)
        dropouts = len(log.dropouts)
        return {(d.name, int(d.multi_id)): d.data for d in log.data_list}, dropouts, damaged


def _clock(topic: dict[str, Any]) -> Floats:
    """Sample time when it is there, else the time of logging, s."""
    for key in ("timestamp_sample", "timestamp"):
        if key in topic and np.any(topic[key]):
            return np.asarray(topic[key], dtype=np.float64) * 1e-6
    return np.full(len(next(iter(topic.values()), ())), np.nan)


def _columns(topic: dict[str, Any], names: tuple[str, ...]) -> Floats | None:
    if not all(n in topic for n in names):
        return None
    return np.column_stack([np.asarray(topic[n], dtype=np.float64) for n in names])


def _three(data: dict[tuple[str, int], dict[str, Any]], kind: str) -> list[tuple[str, Floats, Floats]]:
    """Every source of a three-axis quantity: name, clock, values."""
    places: dict[str, tuple[str, ...]] = {
        "sensor_combined": ("gyro_rad[0]", "gyro_rad[1]", "gyro_rad[2]")
        if kind == "gyro"
        else ("accelerometer_m_s2[0]", "accelerometer_m_s2[1]", "accelerometer_m_s2[2]"),
        f"sensor_{kind}": ("x", "y", "z"),
    }
    if kind == "gyro":
        places["vehicle_angular_velocity"] = ("xyz[0]", "xyz[1]", "xyz[2]")
    out: list[tuple[str, Floats, Floats]] = []
    for (name, instance), topic in sorted(data.items()):
        label = f"{name} {instance}"
        if name == f"sensor_{kind}_fifo":
            unpacked = _fifo(topic)
            if unpacked is not None:
                out.append((label, *unpacked))
        elif name in places:
            values = _columns(topic, places[name])
            if values is not None and len(values) > 1:
                out.append((label, _clock(topic), values))
    return out


def _fifo(topic: dict[str, Any]) -> tuple[Floats, Floats] | None:
    """Unpack batches of raw samples: the last of a batch was taken at its timestamp, the others dt before."""
    if not all(k in topic for k in ("dt", "scale", "samples", "x[0]", "y[0]", "z[0]")):
        return None
    count = np.asarray(topic["samples"], dtype=np.int64)
    width = 0
    while f"x[{width}]" in topic:
        width += 1
    count = np.clip(count, 0, width)
    raw = [np.column_stack([topic[f"{a}[{i}]"] for i in range(width)]).astype(np.float64) for a in "xyz"]
    scale = np.asarray(topic["scale"], dtype=np.float64)
    step = np.asarray(topic["dt"], dtype=np.float64) * 1e-6
    place = np.arange(width)
    there = place[None, :] < count[:, None]
    t = _clock(topic)[:, None] - (count[:, None] - 1 - place[None, :]) * step[:, None]
    values = np.stack([r * scale[:, None] for r in raw], axis=2)
    return t[there], values[there]


def _best(
    sources: list[tuple[str, Floats, Floats]], what: str, notes: list[str]
) -> tuple[Floats | None, Floats | None]:
    """The source with the most samples a second."""
    usable = [s for s in sources if np.isfinite(s[1]).sum() > 1 and rate(s[1][np.isfinite(s[1])]) > 0]
    if not usable:
        return None, None
    name, t, y = max(usable, key=lambda s: rate(s[1][np.isfinite(s[1])]))
    if len(usable) > 1:
        notes.append(f"{what} is taken from {name}, the fastest of {len(usable)} sources.")
    return t, y


def _speeds(data: dict[tuple[str, int], dict[str, Any]]) -> tuple[Floats | None, Floats | None]:
    for (name, _), topic in sorted(data.items()):
        if name != "esc_status":
            continue
        names = tuple(f"esc[{i}].esc_rpm" for i in range(MOTORS) if f"esc[{i}].esc_rpm" in topic)
        if "esc_count" in topic and len(topic["esc_count"]):
            names = names[: int(np.max(topic["esc_count"]))]
        values = _columns(topic, names) if names else None
        if values is not None and len(values) > 1:
            return _clock(topic), values / 60.0
    return None, None


def _commands(data: dict[tuple[str, int], dict[str, Any]]) -> tuple[Floats | None, Floats | None]:
    for (name, _), topic in sorted(data.items()):
        if name != "actuator_motors":
            continue
        names = [f"control[{i}]" for i in range(MOTORS) if f"control[{i}]" in topic]
        names = [n for n in names if np.isfinite(np.asarray(topic[n], dtype=np.float64)).any()]
        values = _columns(topic, tuple(names)) if names else None
        if values is not None and len(values) > 1:
            return _clock(topic), values
    return None, None


def _power(
    data: dict[tuple[str, int], dict[str, Any]],
) -> tuple[Floats | None, Floats | None, Floats | None]:
    for (name, _), topic in sorted(data.items()):
        if name == "battery_status" and "voltage_v" in topic:
            volts = np.asarray(topic["voltage_v"], dtype=np.float64)
            if len(volts) < 2 or not np.any(volts > 0.5):
                continue
            amps = None
            if "current_a" in topic:
                amps = np.asarray(topic["current_a"], dtype=np.float64)
                if not np.any(amps > 0):  # the format writes -1 for a current that is not measured
                    amps = None
            return _clock(topic), volts, amps
    return None, None, None
