"""Who may come in: people, crews, sessions, invitations and the record of what was done with them.

``Accounts`` is opened on a database of its own (``accounts.db``, or tables named ``account_...`` beside the
fleet on PostgreSQL). Journals are not in it: each crew has a fleet of its own, and this room only says which
crew a person belongs to. Passwords and tokens are kept as digests; neither can be read back.
"""
