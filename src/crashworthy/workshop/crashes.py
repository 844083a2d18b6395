"""Crash tests: run a campaign, keep it, and hand its predictions to upkeep as priors."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from crashworthy.workshop.background import cancellable
from crashworthy.workshop.campaigns import KeptCampaigns
from crashworthy.workshop.kept import Campaign, PartLoads

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from crashworthy.build.quad import Quad
    from crashworthy.impact.batch import CrashBatch
    from crashworthy.impact.scenario import Scenario
    from crashworthy.jobs.durable import DurableReporter, Work
    from crashworthy.jobs.runner import JobStatus
    from crashworthy.strength.correction import Corrections

__all__ = ["Campaign", "CrashBench", "PartLoads"]

FIRST_LOOK: Final = 2000
"""Crashes of the campaign that is run unasked when a kit or break rate needs one."""


class CrashBench(KeptCampaigns):
    """Campaigns of the fleet."""

    def crash(
        self,
        quad: Quad,
        n: int,
        seed: int,
        scenario: Scenario | None = None,
        *,
        fracture: bool = False,
        strengths: Corrections | None = None,
        watch: Sequence[str] = (),
        until: float = 0.0,
        workers: int | None = None,
        progress: Callable[[int, int], None] | None = None,
        cancelled: Callable[[], bool] | None = None,
    ) -> CrashBatch:
        """Crash a build; the same seed gives the same bytes with any number of workers.

        Args:
            quad: the build.
            n: crashes, with ``until`` the most.
            seed: of the campaign.
            scenario: what is hit; the everyday mix by default.
            fracture: let arms and props break in the run.
            strengths: factors on the tabled strengths by kind of part.
            watch: rare hits to be known well.
            until: relative half width at which to stop; 0 for never.
            workers: threads; one for each core by default.
            progress: called with (done, total).
            cancelled: asked before each result is taken.

        Raises:
            ScenarioError: a number is out of range.
            CampaignCancelled: ``cancelled`` said so.
        """
        from crashworthy.impact.campaign import simulate

        return simulate(
            quad,
            n,
            seed,
            scenario,
            fracture=fracture,
            strengths=strengths,
            watch=watch,
            until=until,
            map_chunks=self.runner(workers),
            progress=progress,
            cancelled=cancelled,
        )

    def crash_both(
        self,
        quad: Quad,
        n: int,
        seed: int,
        scenario: Scenario | None = None,
        *,
        fracture: bool = True,
        watch: Sequence[str] = (),
        until: float = 0.0,
        workers: int | None = None,
        progress: Callable[[int, int], None] | None = None,
        cancelled: Callable[[], bool] | None = None,
    ) -> tuple[CrashBatch, CrashBatch | None]:
        """Crash a build as if nothing broke, and its first ``PAIRED`` crashes again with fracture.

        Returns:
            The campaign, and the same first crashes with fracture; None when not asked for, for one crash, or
            when rare hits are watched: those crashes do not count the same.

        Raises:
            ScenarioError: a number is out of range.
            CampaignCancelled: ``cancelled`` said so.
        """
        from crashworthy.impact.fracture import PAIRED

        paired = min(n, PAIRED) if fracture and n > 1 and not watch else 0

        def after(first: int) -> Callable[[int, int], None] | None:
            return None if progress is None else lambda done, _: progress(first + done, n + paired)

        batch = self.crash(
            quad, n, seed, scenario, watch=watch, until=until, workers=workers, progress=after(0),
            cancelled=cancelled,
        )  # fmt: skip
        if not paired:
            return batch, None
        broken = self.crash(
            quad, min(paired, batch.n), seed, scenario, fracture=True, workers=workers, progress=after(n),
            cancelled=cancelled,
        )  # fmt: skip
        return batch, broken

    def crash_test(
        self,
        slug: str,
        n: int,
        seed: int,
        scenario: Scenario | None = None,
        *,
        fracture: bool = True,
        watch: Sequence[str] = (),
        until: float = 0.0,
        workers: int | None = None,
        progress: Callable[[int, int], None] | None = None,
        cancelled: Callable[[], bool] | None = None,
    ) -> Campaign:
        """Crash a quad of the fleet and keep the result; arguments as in ``crash``.

        With ``fracture`` its first crashes are run again with arms and props that break, to show both.

        Raises:
            NotFoundError: no quad has that slug.
            ScenarioError: a number is out of range.
            CampaignCancelled: ``cancelled`` said so.
        """
        quad = self.quad(slug)
        batch, broken = self.crash_both(
            quad,
            n,
            seed,
            scenario,
            fracture=fracture,
            watch=watch,
            until=until,
            workers=workers,
            progress=progress,
            cancelled=cancelled,
        )
        from crashworthy.impact.assumptions import assumed
        from crashworthy.impact.batch import ARRAYS

        edges = None if scenario is None else self.severity_edges(slug, scenario)
        key = self.store.save_campaign(
            slug,
            digest=quad.digest,
            seed=seed,
            n=batch.n,
            scenario=batch.scenario,
            summary=batch.summarise(edges, broken).to_json() | {"assumed": assumed(scenario, quad).to_json()},
            arrays={name: getattr(batch, name) for name in ARRAYS},
            options={"campaign": batch.digest, "fracture": broken is not None},
        )
        return self.campaign(key)

    def severity_edges(self, slug: str, scenario: Scenario) -> tuple[float, float] | None:  # noqa: ARG002 - see LearnBench
        """Accelerations, g, that part scuff, hit and slam under a scenario; its own thirds when None."""
        return None

    def corrected_summary(
        self,
        campaign: Campaign,
        strengths: str = "mine",  # noqa: ARG002 - see LearnBench
        *,
        wait: bool = True,  # noqa: ARG002 - as above
        progress: Callable[[int, int], None] | None = None,  # noqa: ARG002 - as above
        cancelled: Callable[[], bool] | None = None,  # noqa: ARG002 - as above
    ) -> dict[str, Any]:
        """The answers with the strengths that are believed now: as tabled where nothing was learned."""
        return campaign.summary

    def believed_batch(self, campaign: Campaign) -> CrashBatch:
        """``kept_batch`` with the strengths that are believed now: as tabled where nothing was learned."""
        return self.kept_batch(campaign)

    def start_crash_test(
        self,
        slug: str,
        n: int,
        seed: int,
        scenario_text: str = "",
        *,
        watch: Sequence[str] = (),
        until: float = 0.0,
    ) -> JobStatus:
        """The same in the background; the job's result is the ``Campaign``.

        Args:
            slug: quad.
            n: crashes, with ``until`` the most.
            seed: of the campaign.
            scenario_text: a scenario as TOML; "" means the everyday mix.
            watch: rare hits to be known well.
            until: relative half width at which to stop; 0 for never.

        Raises:
            NotFoundError: no quad has that slug.
            ScenarioError: the scenario or a number cannot be used.
        """
        from crashworthy.errors import Problem, ScenarioError
        from crashworthy.impact.campaign import LIMIT
        from crashworthy.impact.scenario import Scenario
        from crashworthy.impact.until import checked_until
        from crashworthy.impact.watch import read_watch

        quad = self.quad(slug)
        name = quad.name
        if not 1 <= n <= LIMIT:
            raise ScenarioError(Problem(f"cannot crash {n} times", f"ask for 1 to {LIMIT}", field="n"))
        scenario = Scenario.parse(scenario_text, file="scenario") if scenario_text.strip() else None
        checked_until(until)
        read_watch(
            watch, tuple((p.name, p.label, p.kind) for p in quad.parts), scenario or Scenario.default()
        )
        params = {"slug": slug, "n": n, "seed": seed, "scenario_text": scenario_text}
        params |= {"watch": list(watch), "until": until}
        return self.jobs.start("crash test", f"Crash test of {name}, {n} crashes", params)

    def _kinds(self) -> dict[str, Callable[..., Work]]:
        return {**super()._kinds(), "crash test": self._crash_work}

    def _crash_work(
        self, slug: str, n: int, seed: int, scenario_text: str, watch: Sequence[str], until: float
    ) -> Work:
        def work(report: DurableReporter) -> Campaign:
            from crashworthy.impact.scenario import Scenario

            scenario = Scenario.parse(scenario_text, file="scenario") if scenario_text.strip() else None
            report.progress(0, n, "compiling the crash kernel; the first time takes about half a minute")
            campaign = cancellable(
                lambda: self.crash_test(
                    slug,
                    n,
                    seed,
                    scenario,
                    watch=tuple(watch),
                    until=until,
                    progress=lambda done, total: report.progress(done, total, "crashing"),
                    cancelled=report.cancelled,
                )
            )
            cancellable(
                lambda: self.corrected_summary(
                    campaign,
                    progress=lambda done, total: report.progress(
                        done, total, "with fracture, at the strengths your crashes say"
                    ),
                    cancelled=report.cancelled,
                )
            )
            return campaign

        return work

    def part_loads(self, slug: str, part: str) -> tuple[PartLoads, ...]:
        """Loads on one part in the newest campaign of this very build, one entry for each mode.

        Raises:
            NotFoundError: no such quad or part, or this build has not been crashed yet.
            SheetError: the sheet has a problem.
        """
        from crashworthy.impact.damage import mode_load

        index = self.quad(slug).index(part)
        batch = self.batch(slug)
        return tuple(
            PartLoads(c.mode, c.unit, mode_load(batch, c), batch.weight, c.median, c.beta, c.source, c.access)
            for c in batch.capacities
            if c.part == index
        )

    def batch(self, slug: str) -> CrashBatch:
        """Every crash of the newest campaign of this very build, with the strengths that are believed.

        Raises:
            NotFoundError: no such quad, or this build has not been crashed yet.
            SheetError: the sheet has a problem.
        """
        from crashworthy.errors import NotFoundError, Problem

        quad = self.quad(slug)
        known = self.latest_campaign(slug)
        if known is None or known.stale:
            raise NotFoundError(Problem(f"{quad.name} as it is now has not been crashed", "run a crash test"))
        return self.believed_batch(known)

    def hazards(self, slug: str) -> Mapping[str, Sequence[float]]:
        """Simulated break hazard of each part in a scuff, a hit and a slam: the prior of every break rate.

        Taken from the newest campaign of this very build; when there is none, one is run and kept.

        Raises:
            NotFoundError: no quad has that slug.
            SheetError: its sheet has a problem.
        """
        self.quad(slug)
        known = self.latest_campaign(slug)
        if known is None or known.stale:
            known = self.crash_test(slug, FIRST_LOOK, seed=1)
        hazards: dict[str, list[float]] = known.summary["hazards"]
        return hazards
