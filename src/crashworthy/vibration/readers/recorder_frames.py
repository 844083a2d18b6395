"""The one place that touches the library which decodes flight-recorder frames.

The library reads from a path, adds up headers of several recordings, and stops with whatever exception
damage brings about. Here it is handed one checked header and its bytes, and decoding goes on after damage at
the next whole frame. Its decoder of tagged groups does not end when such a group ends a frame; ours takes its
place.
"""

from __future__ import annotations

import logging
from array import array
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from crashworthy.errors import LogError, Problem

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

__all__ = ["END", "INSTALL", "Frames", "decode", "library"]

INSTALL: Final = 'python -m pip install "crashworthy[recorder]"'
"""Command that installs what reading needs."""

END: Final = b"E\xffEnd of log\x00"
"""How a recording that was ended properly ends."""

TAGGED: Final = 6
"""The format's number of that packing."""

_DEFAULTS: Final[dict[str, Any]] = {
    "Data version": 2,
    "I interval": 1,
    "P interval": "1/1",
    "minthrottle": 0,
    "motorOutput": [0, 0],
    "vbatref": 0,
}


class _CutError(Exception):
    """The bytes end inside a frame."""


@dataclass(frozen=True, slots=True)
class Frames:
    """Rows decoded from one recording.

    Attributes:
        values: (n, k) raw numbers of the fields asked for.
        whole: (n,) the row came from a frame that stands by itself, not from differences.
        lost: frames that were damaged, or that could not be used because one before them was.
        first_lost: byte of the recording's data after which the first damage was met, or -1.
        ended: the recording ends with its own end mark.
    """

    values: Floats
    whole: NDArray[np.bool_]
    lost: int
    first_lost: int
    ended: bool


def library() -> Any:
    """The decoding library.

    Raises:
        LogError: it is not installed, with the command that installs it.
    """
    try:
        from orangebox import decoders, parser, predictors, reader
    except ImportError:
        raise LogError(
            Problem("reading flight-recorder logs needs an extra that is not installed", f"run: {INSTALL}")
        ) from None
    # It tells of every odd byte; a person is told through notes and errors instead.
    logging.getLogger("orangebox").setLevel(logging.CRITICAL)
    return parser, decoders.decoder_map, predictors.predictor_map, reader.Reader


def _tagged(data: Any, context: Any) -> Any:
    """Up to eight neighbouring fields behind one byte that says which of them are not zero."""
    fields = context.field_defs[context.frame_type]
    first = context.field_index
    count = 1
    while count < 8 and first + count < len(fields) and fields[first + count].encoding == TAGGED:
        count += 1
    signed = library()[1][0]
    if count == 1:
        return signed(data, context)
    which = next(data)
    return tuple(signed(data, context) if which >> i & 1 else 0 for i in range(count))


def _session(base: Any, header: list[bytes], data: bytes) -> Any:
    """The library's reader over one header and its bytes, without a path."""

    class Session(base):  # type: ignore[misc] # the library has no types
        def __init__(self) -> None:
            self._headers: dict[str, Any] = {}
            self._field_defs: dict[Any, Any] = {}
            self._log_index, self._log_pointers, self._header_size = 1, [0], 0
            self._path, self._allow_invalid_header = "", True
            self._frame_data, self._frame_data_ptr, self._frame_data_len = data, 0, len(data)
            for line in header:
                self._parse_header_line(line)
            for key, value in _DEFAULTS.items():
                kind = str if key == "P interval" else type(value)
                if not isinstance(self._headers.get(key), kind):
                    old = self._headers.get(key)
                    made = f"1/{old}" if key == "P interval" and isinstance(old, int) and old > 0 else value
                    self._headers[key] = made
            self._build_field_defs()
            for fields in self._field_defs.values():
                for field in fields:
                    if field.encoding == TAGGED:
                        field.decoderfun = _tagged

        def set_log_index(self, index: int) -> None:  # noqa: ARG002 - the library's signature
            self._frame_data_ptr = 0

        def __next__(self) -> int:
            at = self._frame_data_ptr
            if at >= self._frame_data_len:
                raise _CutError
            self._frame_data_ptr = at + 1
            return int(self._frame_data[at])

    return Session()


def decode(header: list[bytes], data: bytes, fields: list[int]) -> Frames:
    """Decode a recording.

    Args:
        header: its header lines, checked.
        data: what follows them.
        fields: places of the fields to keep, in the order of the header.

    Raises:
        LogError: the library is not installed or cannot use the header.
    """
    parts, _, _, base = library()
    ended = END in data[-4096:] or data.rfind(END) >= 0
    try:
        session = _session(base, header, data + END)
        parser = parts.Parser(session)
    except Exception as problem:  # noqa: BLE001 - the library raises many kinds on damaged headers
        raise LogError(Problem(f"its header is damaged: {problem}", "copy the log again")) from None
    context = parser._ctx  # the library shows its count of damaged frames nowhere else
    intra = parts.FrameType.INTRA
    out, whole = array("d"), bytearray()
    lost, first, waiting, bad, restart = 0, -1, False, 0, -1
    while True:
        try:
            for frame in parser.frames():
                if context.invalid_frame_count != bad:
                    bad, waiting = context.invalid_frame_count, True
                    first = session.tell() if first < 0 else first
                own = frame.type == intra
                if own:
                    waiting = False
                if waiting:
                    lost += 1
                    continue
                row = frame.data
                out.extend([row[k] for k in fields])
                whole.append(own)
        except _CutError:
            if not ended:
                lost += 1
            break
        except Exception:  # noqa: BLE001 - the library raises many kinds on damaged bytes
            lost, waiting = lost + 1, True
            first = session.tell() if first < 0 else first
            if session.tell() <= restart:
                session.seek(restart + 1)
            restart = session.tell()
            if restart >= len(data):
                break
            continue
        break
    count = len(whole)
    values = np.array(out, dtype=np.float64)[: count * len(fields)].reshape(count, len(fields))
    return Frames(
        values, np.frombuffer(bytes(whole), dtype=np.bool_), lost + context.invalid_frame_count, first, ended
    )
