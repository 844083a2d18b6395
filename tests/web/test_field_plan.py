"""The day plan on the field page: which group in which battery swap, for the packs that will be flown."""

from __future__ import annotations

import asyncio
import html
import re
from concurrent.futures import ThreadPoolExecutor
from typing import TYPE_CHECKING

import httpx

from crashworthy.build.starter import starter
from crashworthy.web.app import create_app
from crashworthy.workshop import Workshop

if TYPE_CHECKING:
    from pathlib import Path


def test_the_plan_of_the_page_is_the_plan_of_the_room_and_its_packs_are_remembered(tmp_path: Path) -> None:
    """Every stop stands there; the number asked for comes back next time; nonsense is the usual day."""
    with Workshop(tmp_path) as shop:
        slug = shop.add_quad(starter("Gannet"))

        async def asked(*ends: str) -> list[str]:
            transport = httpx.ASGITransport(create_app(shop))
            async with httpx.AsyncClient(transport=transport, base_url="http://localhost") as client:
                return [(await client.get(f"/quads/{slug}/field{end}")).text for end in ends]

        def plan(text: str) -> str:
            found = text.partition('id="plan"')[2].partition("</details>")[0]
            return html.unescape(re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", found)))

        ends = ("", "?packs=40", "", "?packs=-3;", "?packs=99999")
        with ThreadPoolExecutor(1) as own:  # a browser under test has a loop in this thread
            usual, long, again, bent, huge = own.submit(lambda: asyncio.run(asked(*ends))).result()
        assert "Day plan: 12 packs" in plan(usual)
        expected = shop.plan_day(slug, 40)
        assert len(expected.stops) > 2
        for text in (long, again):
            assert f"Day plan: 40 packs, {expected.minutes:.0f} min of checks" in plan(text)
            for stop in expected.stops:
                assert f"After pack {stop.after_pack} " in plan(text) or stop.after_pack == 0
                assert f"{stop.screws} screws" in plan(text)
        assert 'id="plan" open' in long
        assert 'id="plan" open' not in again
        assert "Day plan: 12 packs" in plan(bent)
        assert "Day plan: 200 packs" in plan(huge)
