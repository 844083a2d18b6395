from __future__ import annotations

import json
import math
import re
import subprocess
import sys
import time
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crashworthy.errors import CrashworthyError, JournalError, NotFoundError
from crashworthy.upkeep.dose import crash_dose, pack_dose
from crashworthy.upkeep.due import STATES, due, headline, learned_interval
from crashworthy.upkeep.history import CheckRow, CrashRow, GroupHistory, QuadHistory
from crashworthy.upkeep.interval import interval
from crashworthy.upkeep.loosening import calibrate, prior_posterior
from crashworthy.upkeep.plan import plan_day
from crashworthy.upkeep.priors import load_priors

PRIORS = load_priors()
ARM = PRIORS.group("arm")


@dataclass(frozen=True)
class Group:
    name: str
    upkeep: str
    count: int


JOINTS = (Group("arm", "arm", 8), Group("motor", "motor", 16), Group("stack", "other", 4))


def history(age: float = 0.0, packs: int = 0, **groups: GroupHistory) -> QuadHistory:
    """A quad whose groups are all of one age unless given."""
    known = {j.name: GroupHistory(j.name, age, packs) for j in JOINTS} | groups
    return QuadHistory("gannet", packs, float(packs), groups=known)


def one(group: GroupHistory, packs: int = 10) -> object:
    """The arm row for one history of the arm group."""
    return next(d for d in due(history(0.0, packs, arm=group), JOINTS, PRIORS) if d.group == "arm")


def test_a_pilot_who_flies_and_never_looks_is_told_in_time() -> None:
    """Pack by pack the arm screws go from fresh to soon to due to now, at the 3-5 packs of practice."""
    states = [due(history(float(n), n), JOINTS[:1], PRIORS)[0].state for n in range(8)]
    assert states == ["fresh"] * 4 + ["due", "due", "now", "now"]
    assert due(history(3.0, 3), JOINTS[:1], PRIORS)[0].summary() == "Arm screws due in 1 pack."
    assert due(history(3.5, 3), JOINTS[:1], PRIORS)[0].state == "soon"


def test_most_urgent_first() -> None:
    """Rows come in falling urgency, and the headline is the first of them."""
    rows = due(history(5.0, 5), JOINTS, PRIORS)
    assert [d.group for d in rows] == ["arm", "motor", "stack"]
    ranks = [STATES.index(d.state) for d in rows]
    assert ranks == sorted(ranks, reverse=True)
    assert headline(rows) == "Arm screws due now, 5 packs after they were known tight."
    assert headline(due(history(7.0, 7), JOINTS, PRIORS)) == (
        "Arm and motor screws due now, up to 7 packs after they were known tight."
    )
    assert headline(()).startswith("No screw groups")


def test_forced_is_due_at_once_with_its_reason() -> None:
    """A group that the journal forces is due now whatever its age, and says why."""
    row = one(GroupHistory("arm", 0.2, 0, forced="slam since the last check"))
    assert row.state == "now"
    assert row.packs_left == 0.0
    assert row.summary() == "Arm screws due now: slam since the last check."
    assert row.reason.startswith("Slam since the last check.")
    assert "does not move the interval" in row.changes_mind


def test_one_screw_is_spoken_of_as_one() -> None:
    """A group of a single screw is not called screws that are loose among one."""
    (row,) = due(history(), (Group("mast", "other", 1),), PRIORS)
    assert "that its screw is loose now" in row.reason


def test_a_slam_before_any_journalled_group_forces_arm_and_motor_only() -> None:
    """A group the journal never named has flown every pack; a slam then forces arm and motor alone."""
    crash = CrashRow(datetime(2026, 5, 1, tzinfo=UTC), "slam")
    rows = {d.group: d for d in due(QuadHistory("x", 1, 1.0, (crash,)), JOINTS, PRIORS)}
    assert {g for g, d in rows.items() if d.forced} == {"arm", "motor"}
    assert rows["stack"].age == pytest.approx(2.5, abs=1e-12)


def test_growth_is_guarded() -> None:
    """However good the checks, one of them lengthens the interval by at most a half."""
    rows = [CheckRow(0, 12, 8, 0)] * 12
    taus = []
    for n in range(len(rows) + 1):
        _, span = learned_interval(ARM, GroupHistory("arm", checks=tuple(rows[:n])), 8, PRIORS.due)
        taus.append(span.tau)
    assert all(b <= 1.5 * a + 1e-9 for a, b in pairwise(taus))
    assert taus[0] == pytest.approx(4.0, abs=1e-6)
    assert taus[-1] > 10.0


@given(st.lists(st.tuples(st.floats(1.0, 12.0), st.integers(0, 3)), max_size=14))
@settings(max_examples=40, deadline=None)
def test_short_memory_of_the_growth_guard_is_exact(finds: list[tuple[float, int]]) -> None:
    """Replaying only the last checks for the growth guard gives what replaying all of them gives."""
    from crashworthy.upkeep.loosening import update

    rows = tuple(CheckRow(0.0, round(4 * age) / 4, 8, loose) for age, loose in finds)
    posterior, tau = prior_posterior(ARM), ARM.target_tau
    for row in rows:
        posterior = update(posterior, row)
        tau = min(interval(posterior, 8).tau, 1.5 * tau)
    _, span = learned_interval(ARM, GroupHistory("arm", checks=rows), 8, PRIORS.due)
    assert span.tau == pytest.approx(tau, rel=1e-9)
    assert ARM.tau_min <= span.low <= span.tau <= span.high <= ARM.tau_max


def test_no_lengthening_soon_after_a_missing_screw() -> None:
    """Within ten packs of a screw found missing the interval stays where that check left it."""
    rows = (CheckRow(0, 4, 8, 2), *[CheckRow(0, 6, 8, 0)] * 3)
    _, at_find = learned_interval(ARM, GroupHistory("arm", checks=rows[:1]), 8, PRIORS.due)
    _, held = learned_interval(ARM, GroupHistory("arm", checks=rows, since_missing=9.0), 8, PRIORS.due)
    _, free = learned_interval(ARM, GroupHistory("arm", checks=rows, since_missing=10.0), 8, PRIORS.due)
    assert held.tau == pytest.approx(at_find.tau, rel=1e-12)
    assert free.tau > held.tau
    assert held.low <= held.tau == held.high


def test_what_would_change_the_mind_is_what_then_happens() -> None:
    """The interval announced for the next check is the interval after that check."""
    before = one(GroupHistory("arm", 4.5, 4))
    checked = GroupHistory("arm", 0.0, 0, (CheckRow(0, 4.5, 8, 0),))
    loose = GroupHistory("arm", 0.0, 0, (CheckRow(0, 4.5, 8, 1),))
    assert f"interval {one(checked).tau:.1f} packs" in before.changes_mind
    assert f"makes it {one(loose).tau:.1f}" in before.changes_mind
    assert one(loose).tau < before.tau < one(checked).tau


def test_rough_flying_uses_the_interval_up_faster() -> None:
    """At twice the dose a pack, half as many packs are left."""
    calm = due(QuadHistory("q", 10, 10.0, groups={"arm": GroupHistory("arm", 2.0, 2)}), JOINTS[:1], PRIORS)[0]
    rough = due(QuadHistory("q", 10, 20.0, groups={"arm": GroupHistory("arm", 2.0, 1)}), JOINTS[:1], PRIORS)[
        0
    ]
    assert calm.packs_left == pytest.approx(2.0, abs=1e-6)
    assert rough.packs_left == pytest.approx(1.0, abs=1e-6)


def test_dues_are_plain_json() -> None:
    """Each row becomes JSON and says its summary in it."""
    for row in due(history(3.0, 3), JOINTS, PRIORS):
        back = json.loads(json.dumps(row.to_json()))
        assert back["summary"] == row.summary()
        assert back["zone"] == list(row.zone)


def test_unknown_class_and_empty_group() -> None:
    """A group without screws is left out; an upkeep class without a prior is refused with the known ones."""
    assert due(history(), (Group("arm", "arm", 0),), PRIORS) == ()
    with pytest.raises(NotFoundError, match="arm, motor, other"):
        due(history(), (Group("x", "wing", 2),), PRIORS)


def test_due_path_is_light_and_quick() -> None:
    """The due list imports no heavy library, and six groups with 40 checks each take under 0.5 s cold."""
    code = (
        "import sys; import crashworthy.upkeep.due, crashworthy.upkeep.plan, crashworthy.upkeep.priors;"
        "print(sorted({m.split('.')[0] for m in sys.modules} & {'scipy','numba','pydantic','sqlalchemy'}))"
    )
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=60)
    assert out.stdout.strip() == "[]"
    checks = tuple(CheckRow(0, 4 + i % 3, 8, i % 7 == 0) for i in range(40))
    joints = [Group(f"g{i}", "arm", 8) for i in range(6)]
    groups = {j.name: GroupHistory(j.name, 1.0, 1, checks) for j in joints}
    start = time.perf_counter()
    due(QuadHistory("q", 40, 40.0, groups=groups), joints, PRIORS)
    assert time.perf_counter() - start < 0.5


# --- the day ---------------------------------------------------------------------------------------------


def test_a_hard_day_is_checked_in_battery_swaps() -> None:
    """On a 20-pack day arms are looked at every 3-5 packs, motors every 5-8, with shared stops."""
    plan = plan_day(due(history(), JOINTS, PRIORS), 20)
    for group, low, high in (("arm", 3, 5), ("motor", 5, 8), ("stack", 12, 20)):
        at = [0] + [s.after_pack for s in plan.stops if group in s.groups]
        gaps = [b - a for a, b in pairwise(at)]
        assert gaps
        assert all(low <= g <= high for g in gaps), (group, gaps)
    assert any(len(s.groups) > 1 for s in plan.stops)
    assert "20 packs today" in plan.summary()
    assert json.loads(json.dumps(plan.to_json()))["minutes"] == pytest.approx(plan.minutes)


def test_overdue_groups_come_before_the_first_pack() -> None:
    """What is due in the morning is looked at before the first pack, all of it together."""
    plan = plan_day(due(history(9.0, 9), JOINTS, PRIORS), 3)
    assert plan.stops[0].after_pack == 0
    assert plan.stops[0].groups == ("arm", "motor")


@given(st.floats(0.0, 30.0), st.integers(0, 60), st.floats(0.5, 8.0))
@settings(max_examples=40, deadline=None)
def test_no_plan_overruns_a_zone(age: float, packs: int, rate: float) -> None:
    """No stop repeats or runs past the day; no group is left past its flat zone when a swap lies in it."""
    groups = {j.name: GroupHistory(j.name, age, 5) for j in JOINTS}
    rows = due(QuadHistory("q", 10, 10 * rate, groups=groups), JOINTS, PRIORS)
    plan = plan_day(rows, packs)
    at = [s.after_pack for s in plan.stops]
    assert at == sorted(set(at))
    assert all(0 <= a < packs for a in at)
    for row in rows:
        last = -row.age / row.pack_dose
        for stop in plan.stops:
            if row.group in stop.groups:
                late = last + row.zone[1] / row.pack_dose
                assert stop.after_pack <= max(math.floor(late + 1e-9), math.floor(last) + 1, 0)
                last = stop.after_pack


def test_impossible_day_is_refused() -> None:
    """A day of minus one packs is refused with words."""
    with pytest.raises(JournalError, match="0 to 200"):
        plan_day((), -1)


# --- dose and priors ---------------------------------------------------------------------------------------


def test_dose_of_a_pack() -> None:
    """An ordinary pack is 1, a bent prop 1.6 squared, a rough log its square, all within 0.5 to 8."""
    dose = PRIORS.dose
    assert pack_dose(dose) == 1.0
    assert pack_dose(dose, minutes=8.0) == 2.0
    assert pack_dose(dose, bent_prop=True) == pytest.approx(2.56, abs=1e-12)
    assert pack_dose(dose, rms=30.0, reference_rms=20.0) == pytest.approx(2.25, abs=1e-12)
    assert pack_dose(dose, rms=30.0, reference_rms=20.0, bent_prop=True) == pytest.approx(2.25, abs=1e-12)
    assert pack_dose(dose, rms=30.0) == 1.0
    assert pack_dose(dose, rms=1e300, reference_rms=1e-300) == 8.0
    assert pack_dose(dose, minutes=0.0) == 0.5
    with pytest.raises(JournalError, match="rms"):
        pack_dose(dose, rms=math.nan, reference_rms=1.0)


def test_rougher_flying_shortens_the_arm_interval_as_stated() -> None:
    """At 1.5 and 2 times the vibration the 4-pack arm interval becomes 1.8 and 1.0 packs."""
    for ratio, packs in ((1.5, 1.8), (2.0, 1.0)):
        dose = pack_dose(PRIORS.dose, rms=ratio, reference_rms=1.0)
        assert 4.0 / dose == pytest.approx(packs, abs=0.03)


def test_dose_of_a_crash() -> None:
    """Scuff, hit and slam add 0, 0.5 and 1.5 packs; another word is refused."""
    assert [crash_dose(PRIORS.dose, s) for s in ("scuff", "hit", "slam")] == [0.0, 0.5, 1.5]
    with pytest.raises(JournalError, match="scuff, hit or slam"):
        crash_dose(PRIORS.dose, "bump")


def test_every_assumption_is_labelled() -> None:
    """Every number has a source, and common practice says that it has none."""
    assert len(PRIORS.assumptions) > 60
    for a in PRIORS.assumptions:
        assert a.low <= a.value <= a.high
        assert "no source" in a.source if a.access == "practice" else a.source.startswith("assumption")
        json.dumps(a.to_json())


def test_own_priors_move_the_advice(tmp_path) -> None:  # type: ignore[no-untyped-def] # pytest's path
    """A file with one row changes that row, is labelled as the pilot's own, and moves the due list."""
    file = tmp_path / "mine.toml"
    file.write_text("[loosening.arm]\ntarget_tau = 3\n[price]\nprop = { value = 2, source = 'my shop' }\n")
    mine = load_priors(file)
    assert due(history(3.0, 3), JOINTS[:1], mine)[0].state == "due"
    by_name = {a.name: a for a in mine.assumptions}
    assert by_name["loosening.arm.target_tau"].access == "own"
    assert by_name["price.prop"].source == "my shop"
    assert mine.group("motor") == PRIORS.group("motor")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("[loosening.arm]\nspeed = 3\n", "is no row"),
        ("[loosening.arm]\ntarget_tau = 'x'\n", "is not a number"),
        ("[loosening.arm]\ntarget_tau = 30\n", "outside tau_min"),
        ("[loosening.arm]\np_any = 1.2\n", "below 1"),
        ("[due]\ngrowth = 0.5\n", "would shrink"),
        ("[loosening.arm]\nsd_ln_eta = 0\n", "too small"),
        ("[loosening\n", "is not TOML"),
        ("[due]\ngrowth = { value = 2, access = 'hearsay' }\n", "access"),
    ],
)
def test_bad_priors_are_refused(tmp_path, text: str, words: str) -> None:  # type: ignore[no-untyped-def] # pytest's path
    """A priors file that cannot be used names the file, the row and the remedy."""
    file = tmp_path / "bad.toml"
    file.write_text(text)
    with pytest.raises(CrashworthyError, match=words) as caught:
        load_priors(file)
    assert caught.value.problems[0].file == str(file)


def test_missing_priors_file(tmp_path) -> None:  # type: ignore[no-untyped-def] # pytest's path
    """A priors file that is not there is one clear message."""
    with pytest.raises(CrashworthyError, match="cannot be read"):
        load_priors(tmp_path / "none.toml")


def test_docs_state_the_assumptions_as_they_are() -> None:
    """Every assumption stands in the documentation with the value the program uses."""
    docs = Path(__file__).parents[2] / "docs"
    pages = ("due-list.md", "kit.md", "improve.md")
    text = "".join((docs / page).read_text(encoding="utf-8") for page in pages)
    for a in PRIORS.assumptions:
        assert re.search(rf"\| `{re.escape(a.name)}` \| {re.escape(f'{a.value:g}')}[ |]", text), a.name


def test_docs_state_the_prior_as_it_is_worked_out() -> None:
    """The table of medians, costs and zones in the documentation is what the program computes."""
    text = (Path(__file__).parents[2] / "docs" / "due-list.md").read_text(encoding="utf-8")
    for prior in PRIORS.groups:
        found, span = calibrate(prior), interval(prior_posterior(prior), int(prior.screws))
        row = (
            f"| {prior.upkeep} | {prior.target_tau:g} packs | {found.eta_median:.1f} packs "
            f"| {found.loose_minutes:.2f} min | {span.low:.1f}-{span.high:.1f} packs |"
        )
        assert row in text
