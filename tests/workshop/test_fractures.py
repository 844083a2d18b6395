"""The column with fracture stands on the same strengths as the column without."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import pytest

from crashworthy.errors import CrashworthyError, Problem
from crashworthy.impact.campaign import CampaignCancelled
from crashworthy.strength.correction import Correction
from crashworthy.upkeep.payloads import Crash
from crashworthy.workshop import Workshop
from crashworthy.workshop.fractures import STEP, stepped

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

CRASHES = 96


@pytest.fixture(scope="module")
def lived(gannet_sheet: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Workshop]:
    """A quad whose arms and props broke in its journal more often than its simulation foretold."""
    with Workshop(tmp_path_factory.mktemp("lived") / "data") as shop:
        slug = shop.add_quad(gannet_sheet.read_text(encoding="utf-8"), gannet_sheet)
        shop.crash_test(slug, CRASHES, 3)
        shop.record(slug, *(Crash(severity="hit", broke=("arm_fl", "prop_fl")) for _ in range(12)))
        yield shop


def test_both_columns_are_at_the_strengths_that_the_crashes_say(lived: Workshop) -> None:
    """Demand of each kind in the table of both ways is the number of the first column, to rounding."""
    campaign = lived.latest_campaign("gannet")
    assert campaign is not None
    told = lived.corrected_summary(campaign)
    assert told["strengths"] == told["fracture"]["strengths"] == "mine"
    demand = {k["kind"]: k["demand"] for k in told["fracture"]["kinds"]}
    for group in told["groups"]:
        assert demand[group["kind"]] == pytest.approx(group["breaks"], rel=1e-6), group["kind"]
    tabled = lived.corrected_summary(campaign, "tabled")
    assert tabled["fracture"]["strengths"] == "tabled"
    assert lived.corrections("gannet")["arm"].factor < 0.9
    arms = {
        name: next(k for k in s["fracture"]["kinds"] if k["kind"] == "arm")
        for name, s in (("mine", told), ("tabled", tabled))
    }
    assert arms["mine"]["fracture"] > arms["tabled"]["fracture"]
    assert told["fracture"]["crashes_with_break"] > tabled["fracture"]["crashes_with_break"]


def test_what_was_run_once_is_read_again(lived: Workshop, monkeypatch: pytest.MonkeyPatch) -> None:
    """A new reader of the same folder finds the crashes with fracture and runs none."""
    campaign = lived.latest_campaign("gannet")
    assert campaign is not None
    before = lived.corrected_summary(campaign)["fracture"]
    with Workshop(lived.folder.root) as again:
        monkeypatch.setattr("crashworthy.impact.cases.run_chunk", lambda *_: pytest.fail("crashed again"))
        assert again.corrected_summary(campaign)["fracture"] == before


def test_a_page_never_waits_for_crashes(lived: Workshop, monkeypatch: pytest.MonkeyPatch) -> None:
    """Who does not wait gets the column as tabled until it was run, then the same as who does."""
    campaign = lived.latest_campaign("gannet")
    assert campaign is not None
    lived.record("gannet", *(Crash(severity="slam", broke=("arm_fr",)) for _ in range(6)))
    with monkeypatch.context() as patch:
        patch.setattr("crashworthy.impact.cases.run_chunk", lambda *_: pytest.fail("crashed"))
        early = lived.corrected_summary(campaign, wait=False)
        lived.touch_breaks("gannet")
    assert (early["strengths"], early["fracture"]["strengths"]) == ("mine", "tabled")
    told = lived.corrected_summary(campaign)
    assert told["fracture"]["strengths"] == "mine"
    assert lived.corrected_summary(campaign, wait=False)["fracture"] == told["fracture"]


def test_where_nothing_can_be_crashed_the_kept_column_says_so(
    lived: Workshop, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A cluster that is away leaves the column as tabled, marked as that; a cancel is no such thing."""
    campaign = lived.latest_campaign("gannet")
    assert campaign is not None
    with Workshop(lived.folder.root) as other:

        def away(*_: object, **__: object) -> None:
            raise CrashworthyError(Problem("no worker answers", "start one"))

        monkeypatch.setattr(other, "crash", away)
        told = other.corrected_summary(campaign)
        assert (told["strengths"], told["fracture"]["strengths"]) == ("mine", "tabled")

        def stopped(*_: object, **__: object) -> None:
            raise CampaignCancelled(Problem("cancelled", "start it again"))

        monkeypatch.setattr(other, "crash", stopped)
        with pytest.raises(CampaignCancelled):
            other.corrected_summary(campaign)


def test_strengths_in_the_run_move_in_steps_of_two_percent() -> None:
    """Only what breaks in the run is asked for, within one percent of what was learned."""
    learned = {k: Correction(1.234, 0.2, 40) for k in ("arm", "prop", "lens")}
    found = stepped(learned)
    assert set(found) == {"arm", "prop"}
    for one in found.values():
        assert abs(math.log(one.factor / 1.234)) <= STEP / 2
    assert stepped({"arm": Correction(1.236, 0.2, 41)})["arm"].factor == found["arm"].factor
