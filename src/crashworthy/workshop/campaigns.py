"""Campaigns that were kept: found again, with what they took for granted and their crashes."""

from __future__ import annotations

from contextlib import suppress
from typing import TYPE_CHECKING, Any

from crashworthy.errors import CrashworthyError, NotFoundError
from crashworthy.workshop.background import Background
from crashworthy.workshop.kept import Campaign

if TYPE_CHECKING:
    from crashworthy.impact.batch import CrashBatch
    from crashworthy.store.results import CampaignRecord

__all__ = ["KeptCampaigns"]


class KeptCampaigns(Background):
    """What a fleet has of its crash tests."""

    def campaign(self, key: str) -> Campaign:
        """A campaign that was kept.

        Raises:
            NotFoundError: there is none of that key.
        """
        record = self.store.load_campaign(key)
        return _campaign(record, self._digest_now(record.quad))

    def campaigns(self, slug: str) -> tuple[Campaign, ...]:
        """Every campaign of a quad, newest first."""
        records = self.store.campaigns(slug)
        digest = self._digest_now(slug) if records else ""
        return tuple(_campaign(record, digest) for record in records)

    def latest_campaign(self, slug: str) -> Campaign | None:
        """The newest campaign of a quad, or None."""
        return next(iter(self.campaigns(slug)), None)

    def assumed(self, campaign: Campaign) -> dict[str, Any]:
        """What a kept campaign took for granted, as plain data (``impact.assumptions``).

        Campaigns from before this was kept are told by the tables of today, and without skins when the sheet
        has changed since.
        """
        from crashworthy.impact.assumptions import assumed
        from crashworthy.impact.scenario_file import from_plain

        known: dict[str, Any] | None = campaign.summary.get("assumed")
        if known is not None:
            return known
        quad = None
        with suppress(CrashworthyError):  # a sheet that cannot be read now; its page says why
            quad = None if campaign.stale else self.quad(campaign.slug)
        return assumed(from_plain(campaign.scenario), quad).to_json()

    def kept_batch(self, campaign: Campaign) -> CrashBatch:
        """The crashes of a kept campaign of a build as it is now.

        Raises:
            NotFoundError: there is no such campaign.
            SheetError: the sheet has a problem.
        """
        from crashworthy.impact.batch import CrashBatch, complete
        from crashworthy.impact.limbs import limb_parts
        from crashworthy.strength.capacity import arm_root_moments, arm_root_torque, capacities

        quad = self.quad(campaign.slug)
        arrays = self.store.load_campaign(campaign.key).arrays
        return CrashBatch(
            quad=campaign.slug,
            quad_digest=campaign.digest,
            scenario=campaign.scenario,
            n=campaign.n,
            seed=campaign.seed,
            dt=0.0,  # not kept with a campaign, and no load depends on it any more
            digest=campaign.key,
            parts=tuple((p.name, p.label, p.kind) for p in quad.parts),
            arm_parts=tuple(a.part for a in quad.arms),
            arm_capacity=tuple(arm_root_moments(a) for a in quad.arms),
            arm_torque=tuple(arm_root_torque(a) for a in quad.arms),
            limb_parts=limb_parts(quad),
            capacities=capacities(quad),
            obstacles=tuple((o["name"], o["kind"], o["surface"]) for o in campaign.scenario["obstacles"]),
            **complete(dict(arrays), len(quad.arms)),
        )

    def even_arrays(self, key: str) -> dict[str, Any]:
        """Arrays of a kept campaign in which all crashes count the same; see ``CrashBatch.even``.

        Raises:
            NotFoundError: there is none of that key.
        """
        from crashworthy.impact.batch import even_arrays

        return even_arrays(self.store.load_campaign(key).arrays)

    def _digest_now(self, slug: str) -> str:
        """Digest of the build as sheet and drawings on the disk describe it, also when edited by hand there.

        "" for a sheet that is gone or has a problem: no campaign is of such a build.
        """

        def made() -> str:
            with suppress(CrashworthyError):
                return self.quad(slug).digest
            return ""

        try:
            return self.memo.get(("digest", slug), self.folder.stamp(slug), made)
        except (NotFoundError, OSError):
            return ""


def _campaign(record: CampaignRecord, digest: str) -> Campaign:
    """A kept campaign beside the digest of the build as it is now."""
    return Campaign(
        record.key,
        record.quad,
        record.digest,
        record.n,
        record.seed,
        record.scenario,
        record.summary,
        record.created,
        stale=record.digest != digest,
    )
