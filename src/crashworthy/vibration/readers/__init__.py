"""One file a log format; each returns the one FlightLog."""

from crashworthy.vibration.readers.mapping import Column, Mapping
from crashworthy.vibration.readers.registry import Reader, read_flights, read_log, readers

__all__ = ["Column", "Mapping", "Reader", "read_flights", "read_log", "readers"]
