"""`compare` and `improve`: one sentence, a table of 80 columns, the same bytes for any number of workers."""

from __future__ import annotations


def _ruled(text: str) -> None:
    lines = text.splitlines()
    ruled = [line for line in lines if set(line.strip()) == {"─"}]
    assert ruled
    assert all(len(line) <= 80 for line in ruled)


def test_compare_says_what_differs(demo):
    """Two quads of the fleet: a sentence with numbers, a table, the same JSON for one worker and two."""
    words = ("compare", "gannet", "dunlin", "--n", 128, "--seed", 3)
    said = demo(*words)
    assert said.code == 0, said.err
    assert any(c.isdigit() for c in said.lead) or "Cannot tell yet" in said.lead
    _ruled(said.out)
    one = demo(*words, "--json", "--workers", 1)
    two = demo(*words, "--json", "--workers", 2)
    assert one.out == two.out
    assert one.json["kinds"][0]["low"] <= one.json["kinds"][0]["high"]


def test_improve_ranks_changes(demo):
    """A ranking of the demo: the answer first, a row for each change, what was left out and why."""
    said = demo("improve", "dunlin", "--n", 64, "--top", 3, "--quick")
    assert said.code == 0, said.err
    assert "bench minutes" in said.lead
    _ruled(said.out)
    assert "the crash model sees no difference" in said.flat
    assert "Interval: 90 %" in said.flat
    assert "In 100 packs. " in said.flat
    assert "min a gram" in said.out


def test_mistakes_are_told_in_one_line(demo):
    """An unknown quad, measure or cluster: exit status 2 and what to do."""
    for words, text in (
        (("compare", "gannet", "swift", "--n", 64), "no quad is called"),
        (("improve", "gannet", "--by", "looks"), "cannot rank by"),
        (("crash", "gannet", "--n", 64, "--cluster", "nowhere"), "no cluster answers"),
    ):
        said = demo(*words)
        assert said.code == 2, words
        assert text in said.err


def test_a_change_can_be_tried_on_a_copy(workshop):
    """A ranked change goes into a copy of the sheet under a name of its own, drawings and all."""
    slug = workshop.try_on_a_copy("gannet", "arm_thicker")
    assert slug == "gannet-2"
    copy, base = workshop.quad(slug), workshop.quad("gannet")
    assert copy.sheet.arms.t == base.sheet.arms.t + 1
    assert copy.mass > base.mass
    assert workshop.try_on_a_copy("gannet", "arm_thicker") == "gannet-3"


def test_a_ranking_runs_in_the_background_and_is_remembered(workshop):
    """The job's result is the ranking, and it is there until the build changes."""
    assert workshop.latest_ranking("dunlin") is None
    job = workshop.start_improvements("dunlin", 64, 1, sensitivity=False)
    done = workshop.jobs.wait(job.id, 120)
    assert done.state == "done", done.message
    assert workshop.latest_ranking("dunlin") is done.result
    rows = done.result.to_json()["rows"]
    assert rows[0]["score"] >= rows[-1]["score"]
    assert all(r["edits"] for r in rows)
