"""The docs are in the app: every page opens, every link of it leads on, and nothing in them is HTML."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pytest

from crashworthy.errors import NotFoundError
from crashworthy.web import handbook

if TYPE_CHECKING:
    import httpx


@pytest.mark.parametrize("name", handbook.leaves())
def test_every_page_opens_and_its_links_lead_on(client: httpx.Client, name: str) -> None:
    """Each page answers with its title; each page and picture it names is there."""
    found = client.get(f"/handbook/{name}")
    assert found.status_code == 200
    assert handbook.leaf(name).title in found.text.replace("&#39;", "'").replace("&amp;", "&")
    inside = set(re.findall(r'(?:href|src)="(/handbook/[^"#]+)', found.text))
    broken = [path for path in inside if client.get(path).status_code != 200]
    assert broken == []


@pytest.mark.parametrize("name", ["nothing", "../README", "decisions/../index", "conf", "a/b/c", ""])
def test_other_files_cannot_be_asked_for(name: str) -> None:
    """Neither a path nor another kind of file opens anything."""
    with pytest.raises(NotFoundError):
        handbook.leaf(name)
    with pytest.raises(NotFoundError):
        handbook.picture(f"{name}.md")


def test_nothing_in_a_page_is_taken_as_html() -> None:
    """A tag in the text is shown as text."""
    made = handbook._render("x", "# T\n\n<script>alert(1)</script> [a](journal.md#b) ![c](pictures/d.png)")
    assert "<script>" not in made.html
    assert 'href="/handbook/journal#b"' in made.html
    assert 'src="/handbook/pictures/d.png"' in made.html
