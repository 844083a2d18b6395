"""The journal and results on SQLite or PostgreSQL."""
