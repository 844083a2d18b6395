"""The journal and results on SQLite or PostgreSQL.

Start with ``crashworthy.store.engine.open_store``; SQLAlchemy is imported there and not here.
"""
