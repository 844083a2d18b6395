"""The demo journal is invented, repeatable, and true to the numbers it was drawn from."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from crashworthy.demo.fleet import FLEET, INVENTED
from crashworthy.demo.journal import DEMO_END, WEEKS, is_demo, simulate_journal
from crashworthy.store.engine import open_store
from crashworthy.upkeep.due import due
from crashworthy.upkeep.lines import from_line, to_line
from crashworthy.upkeep.loosening import fit
from crashworthy.upkeep.payloads import Check, Note
from crashworthy.upkeep.priors import load_priors
from crashworthy.upkeep.state import active_events, fold


@pytest.fixture(scope="module")
def demo():
    """The journal that the demo shows."""
    return simulate_journal()


@pytest.fixture(scope="module")
def histories(demo):
    """Its fold, by slug."""
    return {quad.slug: fold(quad.slug, demo[0], quad.groups) for quad in FLEET}


def test_the_demo_says_that_it_is_invented(demo):
    """Every event comes from a demo device, and each quad's journal opens with the label."""
    events, _ = demo
    assert all(is_demo(e) for e in events)
    for quad in FLEET:
        first = next(e for e in events if e.quad == quad.slug)
        assert first.payload == Note(INVENTED)
        assert "INVENTED" in INVENTED


def test_the_size_of_the_demo(demo):
    """Six weeks, about 300 packs and about 250 crashes, all before the end, all lines readable."""
    events, truth = demo
    assert 250 <= sum(truth.packs.values()) <= 350
    assert 200 <= sum(sum(c.values()) for c in truth.crashes.values()) <= 300
    times = [e.occurred for e in events]
    assert DEMO_END - timedelta(weeks=WEEKS, days=1) < min(times)
    assert max(times) < DEMO_END
    assert [from_line(to_line(e)) for e in events] == list(events)


@pytest.mark.parametrize("hour", [0, 3, 12, 23])
def test_the_demo_ends_where_it_is_told(hour):
    """Whatever the hour of the end, nothing lies after it and the days are in order."""
    end = datetime(2027, 1, 31, hour, 5, tzinfo=UTC)
    events, _ = simulate_journal(end)
    assert events[-1].occurred < end
    assert end - events[-1].occurred < timedelta(hours=5)
    assert [e.id for e in events] == sorted(e.id for e in events)


def test_the_same_seed_gives_the_same_bytes(demo):
    """Seed and end fix every event, its id too; another seed gives another journal."""
    assert [to_line(e) for e in simulate_journal()[0]] == [to_line(e) for e in demo[0]]
    assert simulate_journal(seed=77)[0] != demo[0]


def test_the_fold_finds_what_happened(demo, histories):
    """Packs, crashes by severity and breaks per part come out of the journal exactly as they were drawn."""
    _, truth = demo
    for slug, history in histories.items():
        assert history.packs == truth.packs[slug]
        found = {s: sum(c.severity == s for c in history.crashes) for s in ("scuff", "hit", "slam")}
        assert found == truth.named[slug]
        assert sum(found.values()) == sum(truth.crashes[slug].values())
        assert history.breaks == truth.breaks[slug]
        assert sum(len(c.broke) for c in history.crashes) == sum(truth.breaks[slug].values())


def test_the_dose_in_the_journal_is_close_to_the_true_one(demo, histories):
    """What the pilots noted gives the dose within a tenth, though they miss some bent props.

    A missed one (no log, 0.7, not seen, 0.3) hides 1.6² - 1 = 1.56 packs, so the dose comes out low.
    """
    for slug, history in histories.items():
        assert history.dose == pytest.approx(demo[1].dose[slug], rel=0.1)


def test_corrections_are_part_of_the_demo(demo):
    """The journal holds events that were taken back, and they do not count."""
    events, _ = demo
    active = sum(len(active_events(events, quad.slug)) for quad in FLEET)
    assert len({e.kind for e in events}) >= 7
    assert len(events) - active >= 4


def test_the_due_list_of_the_demo_shows_something_due_and_something_fresh(histories):
    """At the end some groups of each quad are due and some are fresh."""
    priors = load_priors()
    for quad in FLEET:
        joints = [Joint(n, s.upkeep, s.count) for n, s in quad.groups.items()]
        states = {d.state for d in due(histories[quad.slug], joints, priors)}
        assert states & {"due", "now"}
        assert "fresh" in states


class Joint:
    """A joint group as the due list wants it."""

    def __init__(self, name, upkeep, count):
        self.name, self.upkeep, self.count = name, upkeep, count


def life(quad, history, group):
    """Posterior mean and standard deviation of ln(eta)."""
    posterior = fit(load_priors().group(quad.groups[group].upkeep), history.groups[group].checks)
    weights = posterior.weights.sum(axis=1)
    mean = weights @ posterior.ln_eta
    return mean, np.sqrt(weights @ (posterior.ln_eta - mean) ** 2)


def test_checks_teach_the_true_life_of_the_screws():
    """Over ten journals, the posterior life of arm and motor screws is around the truth and ranks the quads.

    The distance from the posterior mean of ln(eta) to the truth is counted in posterior standard deviations.
    A mean square above 2 over 40 such distances would say that the posterior is too sure of itself; a mean
    far from 0, that the fold loses or invents findings. Below 1 is as it should be: the truth is not far from
    the prior here.
    """
    scores, right = [], 0
    for seed in range(10):
        events, _ = simulate_journal(seed=seed)
        arms = []
        for quad in FLEET:
            history = fold(quad.slug, events, quad.groups)
            for group in ("arm", "motor"):
                mean, sd = life(quad, history, group)
                scores.append((mean - np.log(quad.loosening[group][0])) / sd)
            arms.append(life(quad, history, "arm")[0])
        right += arms[0] > arms[1]  # 70 packs against 38
    assert np.max(np.abs(scores)) < 3.5
    assert np.mean(np.square(scores)) < 2.0
    assert abs(np.mean(scores)) < 0.6
    assert right >= 8


def test_what_a_check_finds_is_what_the_screws_were(demo):
    """No check finds more than the group has, and missing screws are graded so."""
    for event in demo[0]:
        if isinstance(event.payload, Check):
            quad = next(q for q in FLEET if q.slug == event.quad)
            assert event.payload.looked == quad.groups[event.payload.group].count
            assert (event.payload.grade == "missing") == (event.payload.missing > 0)


def test_the_demo_through_a_store_is_the_same(demo, histories, tmp_path):
    """Stored and read back, the journal means the same."""
    with open_store(tmp_path / "demo.db") as store:
        assert len(store.append(demo[0]).accepted) == len(demo[0])
        for quad in FLEET:
            assert fold(quad.slug, store.events(quad.slug), quad.groups) == histories[quad.slug]
        assert store.verify().ok


def test_the_demo_groups_are_those_of_the_sheets():
    """The joint groups of the invented fleet are the ones in the example sheets, with as many screws."""
    from crashworthy.build import load
    from crashworthy.demo.setup import sheets
    from crashworthy.upkeep.state import screws_of

    built = {quad.slug: quad for quad in map(load, sheets())}
    for quad in FLEET:
        assert screws_of(built[quad.slug].joints) == quad.groups
        assert built[quad.slug].name == quad.name
        parts = {p.name for p in built[quad.slug].parts}
        for kind in quad.breaks:
            assert kind in parts or f"{kind}_fl" in parts
