"""Data tables with a source beside every number, and their one loader."""
