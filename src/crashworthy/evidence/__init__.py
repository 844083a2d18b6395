"""Outside checks: inputs, expected, got, tolerance, source."""
