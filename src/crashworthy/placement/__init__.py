"""Where to put what is fragile."""
