"""The journal and results on SQLite or PostgreSQL.

Start with ``crashworthy.store.store.open_store``; SQLAlchemy is imported there and not here.
"""
