"""The journal means the same however it arrived."""

from __future__ import annotations

import random
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from crashworthy.upkeep.columns import Columns
from crashworthy.upkeep.events import IdMaker, Scribe, amend, milliseconds, retract
from crashworthy.upkeep.history import CheckRow, QuadHistory
from crashworthy.upkeep.lines import payload_text, trusted_payload
from crashworthy.upkeep.payloads import (
    Build,
    Check,
    Crash,
    Finding,
    Note,
    Pack,
    Repair,
    Retraction,
    Swap,
    Tap,
    Tighten,
)
from crashworthy.upkeep.priors import load_priors
from crashworthy.upkeep.state import Screws, active_events, fold, fold_all, fold_columns

START = datetime(2026, 5, 1, 9, tzinfo=UTC)
GROUPS = {"arm": Screws("arm", 8), "motor": Screws("motor", 16), "stack": Screws("other", 4)}
DOSE = load_priors().dose
TIGHT_PACK = Pack(minutes=DOSE.reference_minutes)  # dose 1


class Journal:
    """Builds events one minute apart with fixed randomness."""

    def __init__(self, device="phone"):
        self.now = START
        source = random.Random(device)  # noqa: S311 - repeatable on purpose
        ids = IdMaker(lambda: self.now, source.randbytes)
        self.scribe = Scribe(device, lambda: self.now, ids)
        self.events = []

    def say(self, *payloads, quad="gannet"):
        """Enter events; returns the last."""
        for payload in payloads:
            self.now += timedelta(minutes=1)
            self.events.append(self.scribe.write(quad, payload))
        return self.events[-1]

    def fold(self, **kwargs):
        """The history of the gannet."""
        return fold("gannet", self.events, GROUPS, **kwargs)


def rows(group):
    """Check rows as (from, to, looked, loose)."""
    return [(r.age_from, r.age_to, r.looked, r.loose) for r in group.checks]


def test_an_empty_journal_is_an_empty_history():
    """No events give no packs, no crashes and fresh groups."""
    history = fold("gannet", [], GROUPS)
    assert (history.packs, history.dose, history.crashes) == (0, 0.0, ())
    assert all(g.age == 0 and not g.forced and g.last_check is None for g in history.groups.values())


def test_dose_follows_minutes_vibration_and_bent_props():
    """A pack's dose is that of upkeep.dose, with the median of the clean packs before as reference."""
    journal = Journal()
    journal.say(Pack(minutes=DOSE.reference_minutes, rms=2.0))  # nothing to compare with yet: 1
    journal.say(Pack(minutes=DOSE.reference_minutes, rms=4.0))  # twice the clean vibration
    journal.say(Pack(minutes=DOSE.reference_minutes, bent_prop=True))
    journal.say(Pack(minutes=DOSE.reference_minutes / 4))  # clipped
    expected = 1 + 2**DOSE.exponent + DOSE.bent_prop_ratio**DOSE.exponent + DOSE.low
    assert journal.fold().dose == pytest.approx(expected, rel=1e-12)


def test_the_reference_is_the_median_of_the_last_ten_clean_packs():
    """Vibration is compared with clean packs only, the last ten of them, by their median."""
    journal = Journal()
    minutes = DOSE.reference_minutes
    levels = [9.0, *[1.0, 2.0, 3.0, 4.0, 5.0] * 2]
    journal.say(*[Pack(minutes=minutes, rms=v) for v in levels], Pack(minutes=minutes, rms=8, bent_prop=True))
    before = journal.fold().dose
    journal.say(Pack(minutes=minutes, rms=6.0))
    assert journal.fold().dose - before == pytest.approx((6.0 / 3.0) ** DOSE.exponent, rel=1e-12)
    journal.say(Pack(minutes=minutes, rms=0.0))  # a log that says nothing is no reference
    journal.say(Pack(minutes=minutes, rms=7.0))
    # The last ten are now 2 3 4 5 1 2 3 4 5 6: median 3.5.
    assert journal.fold().dose - before == pytest.approx(4 + DOSE.low + 2**DOSE.exponent, rel=1e-12)


def test_a_crash_adds_its_jump_to_age_and_not_to_the_packs():
    """Crash jumps age the screws; the packs flown stay packs."""
    journal = Journal()
    journal.say(TIGHT_PACK, Crash("hit"), Crash("scuff"))
    history = journal.fold()
    assert (history.packs, history.dose) == (1, 1.0)
    assert history.groups["stack"].age == pytest.approx(1 + DOSE.jump_hit + DOSE.jump_scuff, rel=1e-12)
    only_arm = journal.fold(share=lambda group, _crash: 1.0 if group == "arm" else 0.0)
    assert only_arm.groups["stack"].age == 1.0
    assert only_arm.groups["arm"].age == pytest.approx(1 + DOSE.jump_hit, rel=1e-12)


def test_a_slam_makes_arm_and_motor_due_until_they_are_looked_at():
    """A slam forces the groups whose prior says so, and a check or tightening clears it."""
    journal = Journal()
    journal.say(TIGHT_PACK, Crash("slam"))
    forced = {n: bool(g.forced) for n, g in journal.fold().groups.items()}
    assert forced == {"arm": True, "motor": True, "stack": False}
    checked = journal.say(Check("arm", 8))
    journal.say(Tighten("motor"))
    groups = journal.fold().groups
    assert not groups["arm"].forced
    assert not groups["motor"].forced
    assert groups["arm"].last_check == checked.occurred
    assert groups["motor"].last_check is None


def test_checks_are_intervals_between_looks():
    """Each check is a row from the last look at tight screws to this one, since the renewal."""
    journal = Journal()
    journal.say(*[TIGHT_PACK] * 3, Check("arm", 8, loose=1, tightened="all"))
    journal.say(*[TIGHT_PACK] * 2, Check("arm", 8, tightened="none"))
    journal.say(TIGHT_PACK, Check("arm", 8, missing=1, tightened="all"))
    journal.say(TIGHT_PACK)
    arm = journal.fold().groups["arm"]
    assert rows(arm) == [(0, 3, 8, 1), (0, 2, 8, 0), (2, 3, 8, 1)]
    assert (arm.age, arm.packs, arm.since_missing) == (1.0, 1, 1.0)


def test_screws_that_stayed_tight_keep_their_age():
    """After tightening only the loose ones, the rows tell the two batches apart."""
    journal = Journal()
    journal.say(*[TIGHT_PACK] * 3, Check("arm", 8, loose=2, tightened="loose"))
    journal.say(*[TIGHT_PACK] * 2)
    before = journal.fold().groups["arm"]
    assert (before.age, before.packs) == (5.0, 5)
    journal.say(Check("arm", 8, tightened="loose"))
    arm = journal.fold().groups["arm"]
    assert sorted(rows(arm)) == sorted([(0, 3, 8, 2), (3, 5, 6, 0), (0, 2, 2, 0)])
    journal.say(TIGHT_PACK, Check("arm", 8, loose=1))
    # Which batch the loose one came from is not known: ages 5 to 6 (six screws) and 2 to 3 (two screws).
    assert rows(journal.fold().groups["arm"])[-1] == (4.25, 5.25, 8, 1)


def test_a_loose_screw_of_unknown_batch_is_taken_from_the_oldest():
    """Where the journal cannot say which screws were loose, the oldest are renewed first."""
    journal = Journal()
    journal.say(*[TIGHT_PACK] * 3, Check("arm", 8, loose=2, tightened="loose"))
    journal.say(TIGHT_PACK, Check("arm", 8, loose=1, tightened="loose"))
    journal.say(TIGHT_PACK, Check("arm", 8))
    assert sorted(rows(journal.fold().groups["arm"])[-3:]) == [(0, 1, 1, 0), (1, 2, 2, 0), (4, 5, 5, 0)]


def test_screws_left_loose_force_the_group_and_are_not_found_twice():
    """A screw known to be loose is no new finding, and the group stays due until it is tightened."""
    journal = Journal()
    journal.say(*[TIGHT_PACK] * 3, Check("arm", 8, loose=2, tightened="none"), TIGHT_PACK)
    arm = journal.fold().groups["arm"]
    assert arm.forced == "2 screws found loose and left"
    journal.say(Check("arm", 8, loose=3, tightened="loose"), TIGHT_PACK)
    arm = journal.fold().groups["arm"]
    assert rows(arm) == [(0, 3, 8, 2), (3, 4, 6, 1)]
    assert not arm.forced
    journal.say(Check("arm", 8))
    assert sorted(rows(journal.fold().groups["arm"])[2:]) == [(0, 1, 3, 0), (4, 5, 5, 0)]


def test_left_loose_screws_that_a_full_look_finds_tight_were_tightened():
    """A look at every screw that finds fewer loose than were left takes the rest as tightened since."""
    journal = Journal()
    journal.say(TIGHT_PACK, Check("arm", 8, loose=2, tightened="none"), TIGHT_PACK)
    journal.say(Check("arm", 8, tightened="none"))
    assert not journal.fold().groups["arm"].forced


def test_a_group_of_unknown_size_takes_the_most_ever_looked_at():
    """Groups that only the journal names are folded too, by the prior of their name."""
    journal = Journal()
    journal.say(TIGHT_PACK, Check("rack", 4), TIGHT_PACK, Check("rack", 6, loose=1))
    history = fold("gannet", journal.events, {})
    assert rows(history.groups["rack"]) == [(0, 1, 4, 0), (0, 1, 6, 1)]


def test_breaks_are_counted_once():
    """The crash that names a break and the swap that mends it are one break."""
    journal = Journal()
    journal.say(Crash("hit", broke=("arm_fl", "prop_fl")), Swap("arm_fl"), Swap("prop_fl"))
    history = journal.fold()
    assert history.breaks == {"arm_fl": 1, "prop_fl": 1}
    assert history.swaps == {"arm_fl": 1, "prop_fl": 1}
    assert history.crashes[0].broke == ("arm_fl", "prop_fl")


def test_a_break_found_on_the_bench_belongs_to_the_crash_before():
    """A break that no crash announced is added to the latest crash, or to the one that the swap names."""
    journal = Journal()
    first = journal.say(Crash("slam"))
    journal.say(Crash("scuff"), Swap("motor_rl"), Swap("arm_rl", crash=first.id), Repair("lead", text="new"))
    journal.say(Swap("prop_fl", "worn"))
    history = journal.fold()
    assert [c.broke for c in history.crashes] == [("arm_rl",), ("motor_rl", "lead")]
    assert history.breaks == {"arm_rl": 1, "lead": 1, "motor_rl": 1}
    assert history.swaps == {"arm_rl": 1, "motor_rl": 1, "prop_fl": 1}


def test_a_break_without_any_crash_still_counts():
    """A part that broke before the first crash was logged is counted."""
    journal = Journal()
    journal.say(Swap("prop_fl"))
    assert journal.fold().breaks == {"prop_fl": 1}


def test_a_retracted_event_never_was():
    """Taking an event back gives the history as if it had not been entered."""
    journal = Journal()
    journal.say(TIGHT_PACK, Note("first"))
    before = journal.fold()
    crash = journal.say(Crash("slam", broke=("arm_fl",)))
    assert journal.fold() != before
    journal.events.append(retract(journal.scribe, crash))
    assert journal.fold() == before


def test_an_amended_event_counts_as_the_new_one_at_the_old_place():
    """Amending keeps the place in time, so later checks see the corrected pack."""
    journal = Journal()
    pack = journal.say(Pack(minutes=DOSE.reference_minutes * 2))
    journal.say(Check("arm", 8))
    journal.events += amend(journal.scribe, pack, TIGHT_PACK)
    assert rows(journal.fold().groups["arm"]) == [(0, 1, 8, 0)]


def test_a_retraction_of_a_retraction_has_no_effect():
    """Corrections cannot chase each other: what was taken back stays so until it is entered again."""
    journal = Journal()
    pack = journal.say(TIGHT_PACK)
    gone = retract(journal.scribe, pack)
    journal.events.append(gone)
    journal.say(Retraction(gone.id))
    assert journal.fold().packs == 0


def test_a_retraction_reaches_only_its_own_quad():
    """An event of another quad cannot be taken back from here."""
    journal = Journal()
    pack = journal.say(TIGHT_PACK)
    journal.say(Retraction(pack.id), quad="dunlin")
    assert journal.fold().packs == 1


def test_notes_come_latest_first():
    """Notes are listed with the latest first."""
    journal = Journal()
    journal.say(Note("old"), Note("new"))
    assert journal.fold().notes == ("new", "old")


def test_fold_all_is_fold_of_each():
    """Every quad named in the journal or the fleet gets its own history."""
    journal = Journal()
    journal.say(TIGHT_PACK)
    journal.say(Crash("hit"), quad="dunlin")
    both = fold_all(journal.events, {"gannet": GROUPS, "idle": GROUPS})
    assert sorted(both) == ["dunlin", "gannet", "idle"]
    assert both["gannet"] == journal.fold()
    assert both["idle"].packs == 0


step = st.one_of(
    st.builds(
        Pack, st.none() | st.floats(0.5, 10), st.just(""), st.none() | st.floats(0.1, 9), st.booleans()
    ),
    st.builds(
        Crash,
        st.sampled_from(("scuff", "hit", "slam")),
        broke=st.lists(st.sampled_from(("arm_fl", "prop_rr")), max_size=2, unique=True).map(tuple),
    ),
    st.builds(
        lambda group, n, m, t: Check(group, n, loose=min(m, n), tightened=t),
        st.sampled_from(("arm", "motor", "extra")),
        st.integers(1, 9),
        st.integers(0, 9),
        st.sampled_from(("all", "loose", "none")),
    ),
    st.builds(Tighten, st.sampled_from(("arm", "extra"))),
    st.builds(Swap, st.sampled_from(("arm_fl", "prop_rr")), st.sampled_from(("broke", "worn"))),
    st.builds(Note, st.sampled_from(("a", "b"))),
    st.integers(0, 30),  # take back an earlier event
)


@settings(max_examples=300, deadline=None)
@given(st.lists(st.tuples(step, st.integers(0, 3), st.booleans()), max_size=25), st.randoms())
def test_shuffled_and_doubled_events_give_the_same_history(steps, chance):
    """The history depends on the set of events alone: not on order, not on how often each came."""
    phones = [Journal("a"), Journal("b")]
    events = []
    for step_taken, wait, second in steps:
        phone = phones[second]
        # Ties in time are wanted: several events may fall in one ms, on both devices.
        phone.now += timedelta(milliseconds=wait)
        what = step_taken
        if isinstance(step_taken, int):
            what = Retraction(events[step_taken % len(events)].id) if events else Note("nothing yet")
        events.append(phone.scribe.write("gannet", what))
    history = fold("gannet", events, GROUPS)
    mixed = events + chance.sample(events, len(events) // 2)
    chance.shuffle(mixed)
    assert fold("gannet", mixed, GROUPS) == history
    for group in history.groups.values():
        assert group.age >= 0
        assert all(0 <= r.age_from <= r.age_to and 0 <= r.loose <= r.looked for r in group.checks)


def test_two_events_that_claim_one_id_give_one_answer():
    """Even a forged double of an id cannot make the history depend on order."""
    journal = Journal()
    event = journal.say(TIGHT_PACK)
    forged = replace(event, payload=Crash("slam"))
    assert active_events([event, forged], "gannet") == active_events([forged, event], "gannet")


def test_rows_reach_the_posterior():
    """The rows of the fold are rows that the loosening posterior accepts."""
    from crashworthy.upkeep.loosening import fit

    journal = Journal()
    journal.say(Check("arm", 8, loose=1), TIGHT_PACK, Check("arm", 8, loose=8, tightened="none"))
    history: QuadHistory = journal.fold()
    assert history.groups["arm"].checks[0] == CheckRow(0.0, 0.0, 8, 1)
    assert fit(load_priors().group("arm"), history.groups["arm"].checks).checks == 2


@settings(max_examples=60, deadline=None)
@given(st.randoms(use_true_random=False), st.integers(0, 60))
def test_events_that_share_what_they_say_fold_to_the_same(rng, count):
    """Columns that point to each thing said once give the history of the events themselves."""
    events = sorted(any_journal(rng, count), key=lambda e: e.order)
    texts = [(e.kind, payload_text(e)) for e in events]
    places = {text: n for n, text in enumerate(dict.fromkeys(texts))}
    columns = Columns(
        np.array([milliseconds(e.occurred) for e in events], dtype=np.int64),
        [e.id.bytes for e in events],
        np.array([places[text] for text in texts], dtype=np.int64),
        [trusted_payload(kind, text) for kind, text in places],
        {e.id.bytes: e.device for e in events if isinstance(e.payload, Crash)},
    )
    assert fold_columns("gannet", columns, GROUPS) == fold("gannet", events, GROUPS)


def any_journal(rng, count):
    """A journal of every kind of event, with breaks mended and entries taken back."""
    journal = Journal(f"phone-{rng.random()}")
    for _ in range(count):
        last = [e for e in journal.events if isinstance(e.payload, Crash)]
        roll = rng.randrange(13)
        if roll < 4:
            journal.say(
                Pack(rng.choice([None, 3.0, 4.2]), "P1", rng.choice([None, None, 1.5, 2.0]), roll == 3)
            )
        elif roll < 7:
            journal.say(Crash(rng.choice(["scuff", "hit", "slam"]), broke=rng.choice([(), ("arm_fl",)])))
        elif roll == 7:
            group, tightened = rng.choice(["arm", "motor", "odd"]), rng.choice(["all", "loose", "none"])
            journal.say(Check(group, 4, rng.randrange(3), rng.randrange(2), tightened=tightened))
        elif roll == 8:
            journal.say(Tighten(rng.choice(["arm", "stack"])))
        elif roll == 9:
            crash = rng.choice(last).id if last and rng.random() < 0.5 else None
            journal.say(Swap("arm_fl", rng.choice(["broke", "worn"]), rng.choice(["", "A1"]), crash))
        elif roll == 10:
            journal.say(Repair("arm_fl"), Note("x"))
        elif roll == 11:
            journal.say(Tap("arm_fl", (180.0,)), Finding("arm_fl", "worn"), Build("0" * 16))
        elif journal.events:
            target = rng.choice(journal.events)
            if not isinstance(target.payload, Retraction):
                journal.events.append(retract(journal.scribe, target))
    return journal.events


@settings(max_examples=100, deadline=None)
@given(st.randoms(use_true_random=False), st.integers(1, 14))
def test_ten_thousand_arrivals_are_one_history(rng, count):
    """100 journals, each put together in 100 other orders with duplicates: 10 000 cases, one history each."""
    events = any_journal(rng, count)
    expected = fold("gannet", events, GROUPS)
    for _ in range(100):
        arrived = events + rng.choices(events, k=rng.randrange(4)) if events else []
        rng.shuffle(arrived)
        assert fold("gannet", arrived, GROUPS) == expected
