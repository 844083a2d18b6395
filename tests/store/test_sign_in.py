"""Signing in on each database."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from typing import Any

from crashworthy.accounts.book import Accounts
from crashworthy.accounts.sessions import FREE_TRIES
from crashworthy.errors import AccessError


def test_guesses_at_once_are_no_more_tries_than_one_by_one(where: Any) -> None:
    """Guesses of the same moment, through two servers on one database, are counted one by one."""
    said = []

    def guess(books: tuple[Accounts, ...], number: int) -> None:
        try:
            books[number % 2].sign_in("robin", f"a guess, {number}", f"10.0.0.{number}")
        except AccessError as error:
            said.append(error.wait)

    with Accounts(where) as one, Accounts(where) as other:
        one.add_person("Robin", "a quarry at noon", one.add_crew("Millrace"), "lead")
        with ThreadPoolExecutor(12) as pool:
            list(pool.map(lambda number: guess((one, other), number), range(24)))
    assert len(said) == 24
    assert sum(wait == 0.0 for wait in said) == FREE_TRIES
