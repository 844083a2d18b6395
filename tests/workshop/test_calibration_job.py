"""Calibrating in the background: the answer is there when the job is done."""

from __future__ import annotations

from crashworthy.build.starter import starter
from crashworthy.workshop import Workshop


def test_the_crashes_before_and_after_a_calibration_are_kept_for_the_page(tmp_path):
    """The job ends well, and what it found is the latest calibration of that very build."""
    with Workshop(tmp_path) as shop:
        slug = shop.add_quad(starter("Siskin"))
        assert shop.latest_calibration(slug) is None
        job = shop.start_calibration(slug, {"pull_up": {"n": 9.81, "mm": 0.31}}, 16)
        assert shop.jobs.wait(job.id, 120).state == "done"
        found = shop.latest_calibration(slug)
        assert found is not None
        assert found.crashes is not None
