"""Journal events, what is due, what breaks, what to carry."""
