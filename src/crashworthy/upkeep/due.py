"""What is due: for each joint group the age of its screws against the interval this quad has taught.

Needs numpy alone, and a few milliseconds a group, so that the list is there before the pilot has looked up.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Protocol

from crashworthy.upkeep.dose import crash_dose
from crashworthy.upkeep.history import CheckRow, GroupHistory
from crashworthy.upkeep.interval import Interval, interval
from crashworthy.upkeep.loosening import Posterior, fit, informative, update
from crashworthy.upkeep.words import in_100, packs_word

if TYPE_CHECKING:
    from collections.abc import Sequence

    from crashworthy.upkeep.history import QuadHistory
    from crashworthy.upkeep.priors import DueRules, GroupPrior, Priors

__all__ = [
    "STATES",
    "Due",
    "JointGroup",
    "due",
    "group_history",
    "headline",
    "learned_interval",
]

STATES: Final = ("fresh", "soon", "due", "now")
"""In rising urgency: below the soon share of the interval; from there; at the interval; past the flat zone or
forced, so do not fly before looking."""


class JointGroup(Protocol):
    """What the due list needs of a joint group; ``build.quad.Joint`` has it."""

    @property
    def name(self) -> str:
        """Name of the group, as in the journal."""

    @property
    def upkeep(self) -> str:
        """Upkeep class: "arm", "motor" or "other"."""

    @property
    def count(self) -> int:
        """How many screws."""


@dataclass(frozen=True, slots=True)
class Due:
    """One joint group on the due list.

    Attributes:
        group: its name.
        upkeep: its upkeep class.
        screws: how many.
        state: one of ``STATES``.
        age: dose since all its screws were last known tight, packs.
        packs: plain packs flown since all were last tightened.
        tau: the interval, packs of dose.
        zone: (low, high) intervals that cost hardly more, packs of dose.
        packs_left: packs to fly until it is due at this quad's dose a pack; 0 when due.
        pack_dose: that dose a pack.
        p_loose_now: probability that at least one of its screws is loose now.
        minutes: time a check takes, min.
        checks: scheduled checks the interval has learned from.
        forced: why it is due whatever its age, or "".
        reason: why, in words with numbers.
        changes_mind: what the next check would do to the interval, in words with numbers.
    """

    group: str
    upkeep: str
    screws: int
    state: str
    age: float
    packs: int
    tau: float
    zone: tuple[float, float]
    packs_left: float
    pack_dose: float
    p_loose_now: float
    minutes: float
    checks: int
    forced: str
    reason: str
    changes_mind: str

    @property
    def title(self) -> str:
        """The group in words: "Arm screws"."""
        name = self.group.replace("_", " ")
        return f"{name[:1].upper()}{name[1:]} screws"

    @property
    def whole_packs_left(self) -> int:
        """Packs after which it is due: ``packs_left`` rounded up."""
        return math.ceil(self.packs_left - 1e-9)

    @property
    def whole_zone(self) -> tuple[int, int]:
        """First and last whole number of packs inside ``zone``; the nearest one twice when there is none."""
        low, high = math.ceil(self.zone[0] - 0.05), math.floor(self.zone[1] + 0.05)
        return (low, high) if low <= high else (round(self.tau), round(self.tau))

    def summary(self) -> str:
        """One sentence for the pilot."""
        if self.forced:
            return f"{self.title} due now: {self.forced}."
        if self.state == "now":
            return f"{self.title} overdue by {packs_word(self.age - self.tau)}: look before you fly."
        if self.state == "due":
            return f"{self.title} due now, {packs_word(self.age)} after they were known tight."
        return f"{self.title} due in {packs_word(self.whole_packs_left)}."

    def to_json(self) -> dict[str, object]:
        """Plain dict; ages and intervals in packs."""
        plain: dict[str, object] = {name: getattr(self, name) for name in self.__slots__}
        plain["zone"] = list(self.zone)
        plain["title"] = self.title
        plain["whole_packs_left"] = self.whole_packs_left
        plain["summary"] = self.summary()
        return plain


def group_history(history: QuadHistory, joint: JointGroup, priors: Priors) -> GroupHistory:
    """History of one joint group; a group the journal never named has flown everything since new."""
    known = history.groups.get(joint.name)
    if known is not None:
        return known
    jumps = sum(crash_dose(priors.dose, c.severity) for c in history.crashes)
    reacts = priors.group(joint.upkeep).slam_makes_due
    slam = reacts and any(c.severity == "slam" for c in history.crashes)
    return GroupHistory(
        joint.name, history.dose + jumps, history.packs, forced="slam and never checked" if slam else ""
    )


def learned_interval(
    prior: GroupPrior, group: GroupHistory, screws: int, rules: DueRules
) -> tuple[Posterior, Interval]:
    """Interval of a group after all its checks, with the guards on how it may move.

    One check lengthens it at most by ``rules.growth``; within ``rules.hold_packs`` packs of a screw found
    missing it may not grow at all past what it was after the last check that found something.

    Returns:
        The posterior and the guarded interval.

    Raises:
        JournalError: a check is impossible (see ``loosening.informative``).
    """
    rows = informative(group.checks)
    # Growth from tau_min at every step cannot bind further back than this, so older checks go in one batch.
    span = math.log(prior.tau_max / prior.tau_min)
    reach = math.ceil(span / math.log(rules.growth)) + 1 if rules.growth > 1 else len(rows)
    first = max(len(rows) - reach, 0)
    posterior = fit(prior, rows[:first])
    found = interval(posterior, screws, rules.flat_zone)
    taus = [found.tau]
    last_loose: int | None = None
    for row in rows[first:]:
        posterior = update(posterior, row)
        found = interval(posterior, screws, rules.flat_zone)
        taus.append(min(found.tau, rules.growth * taus[-1]))
        if row.loose:
            last_loose = len(taus) - 1
    tau = taus[-1]
    if group.since_missing is not None and group.since_missing < rules.hold_packs:
        tau = min(tau, min(taus) if last_loose is None else taus[last_loose])
    if tau >= found.tau:
        return posterior, found
    held = Interval(tau, min(found.low, tau), tau, found.cost, posterior.p_loose(tau))
    return posterior, held


def _state(age: float, span: Interval, forced: str, rules: DueRules) -> str:
    age += 1e-9  # whole packs against a root found to 1e-12: equal means due
    if forced or age > span.high:
        return "now"
    if age >= span.tau:
        return "due"
    return "soon" if age >= rules.soon_share * span.tau else "fresh"


def _reason(group: GroupHistory, span: Interval, p_loose: float, screws: int, checks: int) -> str:
    loose = f"at least one of {screws} screws is loose now" if screws > 1 else "its screw is loose now"
    taught = {0: "from common practice alone, no check yet", 1: "learned from 1 check"}
    parts = [f"{group.forced[:1].upper()}{group.forced[1:]}."] if group.forced else []
    parts.append(
        f"{group.unseen:.1f} packs of wear since last known tight, against {span.tau:.1f} "
        f"({span.low:.1f}-{span.high:.1f} costs hardly more); {in_100(p_loose)} in 100 that {loose}; "
        f"interval {taught.get(checks, f'learned from {checks} checks')}."
    )
    return " ".join(parts)


def _changes_mind(
    posterior: Posterior,
    span: Interval,
    age: float,
    screws: int,
    rules: DueRules,
    *,
    held: bool,
    forced: bool,
) -> str:
    """Work out the interval after the next check, once with nothing loose and once with one screw loose."""
    if forced:
        return "This check has its own reason and does not move the interval; scheduled ones do."
    at = max(age, span.tau)
    taus = []
    for loose in (0, 1):
        then = interval(update(posterior, CheckRow(0.0, at, screws, loose)), screws, rules.flat_zone).tau
        taus.append(min(then, (1.0 if held else rules.growth) * span.tau))
    return (
        f"A check at {at:.1f} packs that finds nothing loose makes the interval {taus[0]:.1f} packs; "
        f"one loose screw makes it {taus[1]:.1f}."
    )


def _one(history: QuadHistory, joint: JointGroup, priors: Priors) -> Due:
    prior, rules = priors.group(joint.upkeep), priors.due
    group = group_history(history, joint, priors)
    posterior, span = learned_interval(prior, group, joint.count, rules)
    rate = 1.0
    if history.packs > 0 and history.dose > 0:
        rate = min(max(history.dose / history.packs, priors.dose.low), priors.dose.high)
    state = _state(group.unseen, span, group.forced, rules)
    p_loose = posterior.p_any(group.age, joint.count, group.age - group.unseen)
    held = group.since_missing is not None and group.since_missing < rules.hold_packs
    return Due(
        group=joint.name,
        upkeep=joint.upkeep,
        screws=joint.count,
        state=state,
        age=group.unseen,
        packs=group.packs,
        tau=span.tau,
        zone=(span.low, span.high),
        packs_left=0.0 if state in ("due", "now") else (span.tau - group.unseen) / rate,
        pack_dose=rate,
        p_loose_now=p_loose,
        minutes=prior.check_minutes * joint.count / prior.screws,
        checks=posterior.checks,
        forced=group.forced,
        reason=_reason(group, span, p_loose, joint.count, posterior.checks),
        changes_mind=_changes_mind(
            posterior, span, group.unseen, joint.count, rules, held=held, forced=bool(group.forced)
        ),
    )


def due(history: QuadHistory, joints: Sequence[JointGroup], priors: Priors) -> tuple[Due, ...]:
    """The due list of one quad, most urgent first.

    Args:
        history: what the journal says.
        joints: the joint groups of the build; those without screws are left out.
        priors: beliefs and rules.

    Raises:
        JournalError: a check in the history is impossible.
        NotFoundError: a joint group has an upkeep class without a prior.
    """
    rows = [_one(history, joint, priors) for joint in joints if joint.count > 0]
    # Within a state the one due in the fewest packs comes first: that is what is packed and flown by.
    return tuple(
        sorted(rows, key=lambda d: (-STATES.index(d.state), d.whole_packs_left, -d.age / d.tau, d.group))
    )


def headline(dues: Sequence[Due]) -> str:
    """The answer in one sentence: what is due now, else what is due next."""
    if not dues:
        return "No screw groups are described: add them to the build sheet."
    open_now = [d for d in dues if d.state in ("due", "now")]
    if len(open_now) < 2:
        return dues[0].summary()
    names = [d.group.replace("_", " ") for d in open_now]
    oldest = max(d.age for d in open_now)
    words = (
        f"{', '.join(names[:-1])} and {names[-1]} screws due now, "
        f"up to {packs_word(oldest)} after they were known tight."
    )
    return f"{words[:1].upper()}{words[1:]}"
