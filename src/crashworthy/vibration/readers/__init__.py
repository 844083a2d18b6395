"""One file a log format; each returns the one FlightLog."""
