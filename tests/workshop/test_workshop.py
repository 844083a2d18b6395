"""The use cases behind both faces: nothing typed is lost, results know what they belong to."""

from __future__ import annotations

import io

import pytest

from crashworthy.errors import JournalError, LogError, NotFoundError, SheetError, StoreError
from crashworthy.upkeep.payloads import Check, Pack
from crashworthy.workshop import Workshop


def test_an_invalid_sheet_is_kept_as_a_draft_and_the_old_one_holds(workshop):
    """What was typed comes back with its problems; the quad flies on with the sheet that was valid."""
    good = workshop.sheet("gannet").text
    before = workshop.quad("gannet").digest
    typed = good.replace("wheelbase", "wheelbse")
    with pytest.raises(SheetError, match="wheelbase"):
        workshop.save_sheet("gannet", typed)
    kept = workshop.sheet("gannet")
    assert kept.text == typed
    assert kept.is_draft
    assert any("wheelbase" in str(p) for p in kept.problems)
    assert workshop.quad("gannet").digest == before
    workshop.save_sheet("gannet", good)
    assert not workshop.sheet("gannet").is_draft


def test_a_changed_build_is_entered_in_the_journal_and_makes_campaigns_stale(workshop):
    """After an edit that changes the build, its old campaign says that it is of another build."""
    assert not workshop.latest_campaign("gannet").stale
    text = workshop.sheet("gannet").text.replace("t = 5,", "t = 6,")
    workshop.save_sheet("gannet", text)
    assert workshop.latest_campaign("gannet").stale
    assert workshop.events("gannet", 1)[0].kind == "build"
    assert workshop.quad("gannet").arms[0].thickness == pytest.approx(0.006, rel=1e-12)


def test_a_sheet_edited_on_the_disk_makes_its_campaigns_stale(workshop):
    """An edit by hand, or a slip in it, makes the campaigns stale; put back, they hold again."""
    sheet = workshop.folder.sheet("gannet")
    good = sheet.read_text(encoding="utf-8")
    assert not workshop.latest_campaign("gannet").stale
    for other in (good.replace("t = 5,", "t = 6,"), good.replace("t = 5,", "t = ,")):
        assert other != good
        sheet.write_text(other, encoding="utf-8")
        assert workshop.latest_campaign("gannet").stale
        assert workshop.campaign(workshop.latest_campaign("gannet").key).stale
    sheet.write_text(good, encoding="utf-8")
    assert not workshop.latest_campaign("gannet").stale


def test_a_changed_drawing_changes_the_quad(workshop):
    """The quad is made again when a drawing in the folder changed, not only the sheet."""
    before = workshop.quad("gannet").digest
    drawing = workshop.folder.root / "sheets" / "gannet" / "top.dxf"
    other = workshop.folder.root / "sheets" / "gannet" / "bottom.dxf"
    drawing.write_bytes(other.read_bytes())
    assert workshop.quad("gannet").digest != before


def test_break_rates_start_from_a_campaign_that_is_run_when_there_is_none(gannet_sheet, tmp_path):
    """A newcomer without a campaign gets one unasked; its predictions are the priors of every break rate."""
    with Workshop(tmp_path / "new") as workshop:
        slug = workshop.add_quad(gannet_sheet.read_text(encoding="utf-8"), gannet_sheet)
        assert workshop.latest_campaign(slug) is None
        rates = {r.item: r for r in workshop.break_rates(slug)}
        campaign = workshop.latest_campaign(slug)
        assert campaign is not None
        assert {"arm", "prop", "motor"} <= set(rates)
        assert all(0 < r.per_crash_low < r.per_crash < r.per_crash_high for r in rates.values())


def test_names_that_do_not_exist_are_refused_before_anything_is_written(workshop):
    """An entry for an unknown quad or joint group never reaches the journal."""
    count = workshop.store.count()
    with pytest.raises(NotFoundError, match="gannet"):
        workshop.record("nobody", Pack())
    with pytest.raises(JournalError, match="motor"):
        workshop.record("gannet", Pack(), Check(group="wing", looked=2))
    assert workshop.store.count() == count


def test_two_quads_cannot_share_a_name(workshop, gannet_sheet):
    """A second sheet of the same name is refused, and the first stays as it is."""
    with pytest.raises(SheetError, match="another name"):
        workshop.add_quad(gannet_sheet.read_text(encoding="utf-8"), gannet_sheet)


def test_a_log_that_cannot_be_read_is_kept_all_the_same(workshop):
    """The words say what is wrong and where the file lies."""
    with pytest.raises(LogError, match="kept as"):
        workshop.add_log("gannet", "odd.csv", io.BytesIO(b"once,upon\na,time\n"))
    assert any("odd.csv" in p.name for p in (workshop.folder.root / "logs").iterdir())


@pytest.mark.parametrize(
    "name", ["../escape.dxf", "a/b.dxf", "", ".hidden.dxf", "x" * 200 + ".dxf", "run.exe"]
)
def test_drawings_stay_in_their_folder(workshop, name):
    """A file name cannot lead out of the data folder, nor be something else than a drawing."""
    with pytest.raises(StoreError):
        workshop.add_drawing("gannet", name, b"0\nEOF\n")


def test_the_priors_of_the_fleet_can_be_edited(workshop):
    """A row in DATA/priors.toml takes the place of the packaged one and moves the answer."""
    before = {d.group: d.tau for d in workshop.due("dunlin")}
    text = "[loosening.arm]\ntarget_tau = { value = 8.0, low = 6.0, high = 10.0 }\n"
    (workshop.folder.root / "priors.toml").write_text(text, encoding="utf-8")
    after = {d.group: d.tau for d in workshop.due("dunlin")}
    assert after["arm"] > before["arm"]


def test_the_order_of_placement_follows_the_crash_test(workshop):
    """Breaks by touch come from the crash test of this build, shaking left out; a changed build has none."""
    slug = "dunlin"
    known = workshop.latest_campaign(slug)
    assert known is not None
    breaks = workshop.touch_breaks(slug)
    assert breaks is not None
    summary = {p["name"]: p for p in workshop.corrected_summary(known)["parts"]}
    board = next(p for p in summary.values() if p["kind"] == "board")
    shaken = next(m["chance"] for m in board["modes"] if m["mode"] == "shaken")
    assert shaken > 10 * breaks[board["name"]]
    assert breaks["video"] == pytest.approx(summary["video"]["breaks"], rel=1e-6)
    assert all(breaks[name] <= part["breaks"] for name, part in summary.items())
    exposures = workshop.placement(slug).exposures
    losses = [e.loss for e in exposures]
    assert losses == sorted(losses, reverse=True)
    assert all(e.breaks == breaks[e.part] for e in exposures)
    workshop.save_sheet(slug, workshop.sheet(slug).text.replace("t = 4.5,", "t = 5,"))
    assert workshop.latest_campaign(slug).stale
    assert workshop.touch_breaks(slug) is None
    assert all(e.loss is None for e in workshop.placement(slug).exposures)


def test_harder_crashes_slip_more_screws(workshop):
    """Screws to check first follow the kind of crash: a slam slips none more seldom than a scuff."""
    slams, scuffs = (
        {r.group: r.slips for r in workshop.screws_first("gannet", how)} for how in ("slam", "scuff")
    )
    assert slams
    assert all(slams.get(group, 0.0) >= share for group, share in scuffs.items())
    every = workshop.slip_shares("gannet", workshop.torque_card("gannet"))
    assert all(slams[g] >= every[g] for g in slams)
    order = [r.slips for r in workshop.screws_first("gannet", "hit", "rail")]
    assert order == sorted(order, reverse=True)
    with pytest.raises(NotFoundError):
        workshop.screws_first("gannet", "slam", "sea")
