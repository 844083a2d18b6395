"""Binary flight-recorder ("blackbox") logs, through the optional library orangebox.

The format describes itself: a header in text names every field, how it is predicted and how it is packed;
then come frames that stand by themselves and frames of differences. One file holds a recording for each time
the quad was armed. Names and units of the fields are from memory of the openly documented format: rates in
units of ``gyro_scale``, acceleration in parts of ``acc_1G``, electrical speed in hundreds of rpm, voltage and
current in hundredths, time in microseconds; axes x forward, y left, z up.
"""

from __future__ import annotations

import mmap
import struct
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np

from crashworthy.errors import LogError, Problem
from crashworthy.vibration.log import make_log
from crashworthy.vibration.readers.mapping import MOTORS
from crashworthy.vibration.readers.recorder_frames import INSTALL, decode, library

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from crashworthy.vibration.log import FlightLog
    from crashworthy.vibration.readers.mapping import Mapping

    Floats = NDArray[np.float64]

__all__ = ["INSTALL", "MAGIC", "RecorderReader"]

MAGIC: Final = b"H Product:Blackbox flight data recorder"
"""How every recording begins."""

POLE_PAIRS: Final = 7
"""Pole pairs of a motor when neither file nor build says. Assumption: common practice, no source."""

LONGEST_HEADER: Final = 1 << 18
MOST_FIELDS: Final = 200
MOST_RECORDINGS: Final = 256
GRAVITY: Final = 9.80665


@dataclass(frozen=True, slots=True)
class _Header:
    """A recording's header, checked.

    Attributes:
        lines: as they stand, for the library.
        values: by key.
        fields: names of the main fields.
        size: bytes.
    """

    lines: list[bytes]
    values: dict[str, str]
    fields: list[str]
    size: int

    def numbers(self, key: str) -> list[float]:
        """Numbers of a value, hexadecimal ones as the bits of a float; empty when it has none."""
        out = []
        for part in self.values.get(key, "").split(","):
            text = part.strip()
            try:
                if text.lower().startswith("0x"):
                    out.append(float(struct.unpack("<f", struct.pack("<I", int(text, 16) & 0xFFFFFFFF))[0]))
                else:
                    out.append(float(text))
            except ValueError:
                return []
        return out if all(np.isfinite(out)) else []


class RecorderReader:
    """Reads flight-recorder logs."""

    name = "recorder"

    def sniff(self, path: Path) -> float:
        """1 when the file begins with a recording's first line, 0.7 when one stands near its beginning."""
        with Path(path).open("rb") as file:
            head = file.read(1 << 16)
        return 1.0 if head.startswith(MAGIC) else 0.7 if MAGIC in head else 0.0

    def read(self, path: Path, mapping: Mapping | None = None, pole_pairs: int | None = None) -> FlightLog:
        """The longest recording of the file; see ``read_all``."""
        return max(self.read_all(path, mapping, pole_pairs), key=lambda log: log.duration)

    def read_all(
        self,
        path: Path,
        mapping: Mapping | None = None,  # noqa: ARG002 - the format names its quantities
        pole_pairs: int | None = None,
    ) -> tuple[FlightLog, ...]:
        """Read every recording of the file.

        Args:
            path: the file.
            mapping: not used: the format names its quantities.
            pole_pairs: of the motors; from the header, else 7, when None.

        Raises:
            LogError: the library is not installed, or no recording can be read.
        """
        path = Path(path)
        library()
        logs: list[FlightLog] = []
        refused: list[Problem] = []
        with path.open("rb") as file:
            if not file.read(1):
                raise LogError(Problem("is empty", "copy the log again", path.name))
            with mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as data:
                starts = _starts(data)
                if not starts:
                    raise LogError(
                        Problem(
                            "holds no flight recording: its first line is nowhere",
                            "check the file",
                            path.name,
                        )
                    )
                for a, b in zip(starts, [*starts[1:], len(data)], strict=True):
                    try:
                        logs.append(_recording(data[a:b], a, path.name, pole_pairs))
                    except LogError as error:
                        refused += error.problems
        if not logs:
            raise LogError(*refused[:5])
        if refused:
            more = f"{len(refused)} of {len(starts)} recordings could not be read: " + "; ".join(
                p.what for p in refused[:5]
            )
            logs[0] = replace(logs[0], meta=replace(logs[0].meta, notes=(*logs[0].meta.notes, more)))
        return tuple(logs)


def _starts(data: mmap.mmap) -> list[int]:
    out: list[int] = []
    at = data.find(MAGIC)
    while at >= 0 and len(out) < MOST_RECORDINGS:
        out.append(at)
        at = data.find(MAGIC, at + len(MAGIC))
    return out


def _refuse(at: int, what: str, name: str) -> LogError:
    return LogError(Problem(f"recording at byte {at}: {what}", "copy the log again", name))


def _header(data: bytes, at: int, name: str) -> _Header:
    """Read and check a header before the library sees it.

    Raises:
        LogError: it is cut off, or asks for what would not end or cannot be decoded.
    """
    lines: list[bytes] = []
    values: dict[str, str] = {}
    place = 0
    while data.startswith(b"H ", place):
        stop = data.find(b"\n", place, place + LONGEST_HEADER)
        if stop < 0 or stop > LONGEST_HEADER:
            raise _refuse(at, "its header does not end", name)
        line = data[place : stop + 1]
        place = stop + 1
        text = line.decode("ascii", "replace")
        key, colon, value = text[2:].strip().partition(":")
        if colon and text.isascii():
            lines.append(line)
            values[key.strip()] = value
    fields = [f.strip() for f in values.get("Field I name", "").split(",") if f.strip()]
    if "time" not in fields or not 2 <= len(fields) <= MOST_FIELDS:
        raise _refuse(at, "its header names no fields", name)
    head = _Header(lines, values, fields, place)
    _check_fields(head, at, name)
    interval = values.get("P interval", "1/1")
    parts = interval.split("/") if "/" in interval else ["1", interval]
    first = values.get("I interval", "1").strip()
    sound = all(p.strip().isdigit() for p in (*parts, first)) and len(parts) == 2
    if not sound or not 1 <= int(parts[0]) <= int(parts[1]) <= 4096 or not 1 <= int(first) <= 65536:
        raise _refuse(at, f"its frame interval {interval[:20]!r} of {first[:20]!r} makes no sense", name)
    return head


def _check_fields(head: _Header, at: int, name: str) -> None:
    _, decoders, predictors, _ = library()
    old = head.values.get("Data version", "2").strip() in ("0", "1")
    for kind in "IPSGH":
        names = head.values.get(f"Field {kind} name")
        count = len(head.fields) if kind == "P" else len((names or "").split(","))
        rows = {p: head.values.get(f"Field {kind} {p}") for p in ("predictor", "encoding")}
        if kind not in "IP" and names is None and not any(rows.values()):
            continue
        for what, known in (("predictor", predictors), ("encoding", decoders)):
            codes = [c.strip() for c in (rows[what] or "").split(",")]
            if len(codes) != count or not all(c.isdigit() for c in codes) or count > MOST_FIELDS:
                raise _refuse(at, f"its header is damaged: {what} of {kind} frames", name)
            strange = sorted({int(c) for c in codes if int(c) not in known or int(c) > 255})
            if what == "encoding":
                # The library knows these by name alone.
                strange += [10] if "10" in codes else []
                strange += [8] if old and "8" in codes else []
            if strange:
                raise _refuse(at, f"{what} {strange[0]} of {kind} frames cannot be decoded", name)
        signed = head.values.get(f"Field {kind} signed")
        if signed is not None and len(signed.split(",")) != count:
            raise _refuse(at, f"its header is damaged: signs of {kind} frames", name)
    if any(k.startswith("Field ") and k[6:7] not in "IPSGH" for k in head.values):
        raise _refuse(at, "its header names a kind of frame that is not known", name)


def _group(fields: list[str], name: str, most: int) -> list[str]:
    return [f"{name}[{i}]" for i in range(most) if f"{name}[{i}]" in fields]


def _recording(data: bytes, at: int, name: str, pole_pairs: int | None) -> FlightLog:
    """One recording as a log.

    Raises:
        LogError: its header cannot be used or nothing usable follows it.
    """
    head = _header(data, at, name)
    fields = head.fields
    raw_gyro = _group(fields, "gyroUnfilt", 3)
    groups: dict[str, list[str]] = {
        "time": ["time"],
        "gyro": raw_gyro if len(raw_gyro) == 3 else _group(fields, "gyroADC", 3),
        "filtered": _group(fields, "gyroADC", 3) if len(raw_gyro) == 3 else [],
        "acc": _group(fields, "accSmooth", 3),
        "speed": _group(fields, "eRPM", MOTORS),
        "command": _group(fields, "motor", MOTORS),
        "power": [f for f in ("vbatLatest", "amperageLatest") if f in fields],
    }
    wanted = [f for g in groups.values() for f in g]
    frames = decode(head.lines, data[head.size :], [fields.index(f) for f in wanted])
    notes: list[str] = []
    use = _in_order(frames.values[:, 0], frames.whole)
    values = frames.values[use]
    lost = frames.lost + int((~use).sum())
    if len(values) < 2:
        raise _refuse(at, f"no frame in its {len(data) - head.size} bytes can be read", name)
    if lost:
        where = (
            f", the first near byte {at + head.size + frames.first_lost}" if frames.first_lost >= 0 else ""
        )
        notes.append(f"{lost} frames are damaged and were left out{where}")
    if not frames.ended:
        notes.append(f"The recording has no end mark: it stopped or was cut at byte {at + len(data)}.")
    columns = {f: values[:, i] for i, f in enumerate(wanted)}
    return _made(head, groups, columns, lost, name, pole_pairs, notes)


def _in_order(t: Floats, whole: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Rows whose time lies between that of the whole frames around them, and whole frames in step.

    A flipped bit in a difference shifts every row up to the next whole frame; such rows are left out.
    """
    keep = np.zeros(len(t), dtype=np.bool_)
    at = np.flatnonzero(whole)
    if not len(at):
        return keep
    own = t[at]
    usual = float(np.median(np.diff(own))) if len(at) > 1 else 0.0
    most = max(50.0 * usual, 2e6) if usual > 0.0 else 1e7
    last, good = -np.inf, []
    for k, x in enumerate(own.tolist()):
        follows = k + 1 < len(own) and 0.0 < own[k + 1] - x <= most
        if 0.0 < x - last <= most or (follows and x > last) or (last == -np.inf and len(own) == 1):
            good.append(k)
            last = x
    ends = np.append(at[1:], len(t))
    for k in good:
        rows = slice(int(at[k]), int(ends[k]))
        limit = own[k + 1] if k + 1 < len(own) and own[k + 1] > own[k] else own[k] + most
        keep[rows] = (t[rows] >= own[k]) & (t[rows] < limit)
    return keep


def _made(
    head: _Header,
    groups: dict[str, list[str]],
    columns: dict[str, Floats],
    lost: int,
    name: str,
    pole_pairs: int | None,
    notes: list[str],
) -> FlightLog:
    def of(kind: str) -> Floats | None:
        names = groups[kind]
        return np.column_stack([columns[f] for f in names]) if names else None

    t = columns["time"] * 1e-6
    gyro = of("gyro")
    filtered = of("filtered")
    if gyro is not None and gyro.shape[1] != 3:
        gyro = None
    if filtered is not None and gyro is not None and len(filtered[0]) == 3:
        if not gyro.any():
            gyro = filtered
        else:
            notes.append("The gyro before its filters is used.")
    if gyro is not None:
        gyro = gyro * _rate_scale(head, notes)
    acc = of("acc")
    one_g = (head.numbers("acc_1G") or [0.0])[0]
    if acc is not None and (one_g <= 0.0 or acc.shape[1] != 3):
        notes.append("acceleration is logged but its scale is not, so it is not used")
        acc = None
    speed = of("speed")
    if speed is not None:
        poles = (head.numbers("motor_poles") or [0.0])[0]
        pairs = pole_pairs or (poles / 2.0 if 4.0 <= poles <= 64.0 else POLE_PAIRS)
        if not pole_pairs and pairs == POLE_PAIRS and not poles:
            notes.append(f"motor speed is electrical; {POLE_PAIRS} pole pairs are taken (assumption)")
        speed = speed * (100.0 / 60.0 / pairs)
    volts = columns.get("vbatLatest")
    volts = None if volts is None or not 2.0 < float(np.median(volts)) / 100.0 < 80.0 else volts / 100.0
    amps = columns.get("amperageLatest")
    amps = amps / 100.0 if amps is not None and volts is not None and amps.any() else None
    return make_log(
        source=name,
        reader="recorder",
        t=None if gyro is None else t,
        gyro=gyro,
        acc_t=None if acc is None else t,
        acc=None if acc is None else acc * (GRAVITY / one_g),
        speed_t=None if speed is None else t,
        speed=speed,
        command_t=t if groups["command"] else None,
        command=_command(head, of("command")),
        power_t=None if volts is None else t,
        volts=volts,
        amps=amps,
        units={"gyro": "gyro_scale", "acc": "acc_1G", "speed": "100 erpm", "volts": "0.01 V", "time": "us"},
        dropouts=lost,
        notes=tuple(notes),
    )


def _rate_scale(head: _Header, notes: list[str]) -> float:
    """Radians a second of one unit of the gyro."""
    found = head.numbers("gyro_scale") or head.numbers("gyro.scale")
    if not found or not 0.0 < found[0] < 100.0:
        notes.append("the gyro's scale is not in the header: 1 deg/s a unit is taken (assumption)")
        return float(np.radians(1.0))
    # Older files give radians a microsecond, newer ones degrees a second.
    return found[0] * 1e6 if found[0] < 1e-4 else float(np.radians(found[0]))


def _command(head: _Header, motor: Floats | None) -> Floats | None:
    """Motor output as a share of its range."""
    if motor is None:
        return None
    span = head.numbers("motorOutput")
    if len(span) != 2 or span[1] - span[0] < 100.0:
        span = [(head.numbers(k) or [v])[0] for k, v in (("minthrottle", 1000.0), ("maxthrottle", 2000.0))]
    if span[1] - span[0] < 100.0:
        span = [1000.0, 2000.0]
    out: Floats = np.clip((motor - span[0]) / (span[1] - span[0]), 0.0, 1.0)
    return out
