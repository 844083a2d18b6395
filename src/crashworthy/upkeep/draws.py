"""Joint draws of what every change saves: in 100 crashes as simulated, in 100 packs as the journal says."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from crashworthy.errors import Problem, ScenarioError
from crashworthy.impact.compare import mesh_changes, mesh_variance
from crashworthy.impact.summary import plural_of
from crashworthy.impact.tally import OPINIONS
from crashworthy.quantities import GRAM
from crashworthy.upkeep.joined import Joined, join
from crashworthy.upkeep.ranking import PACKS, InPacks, Ranked, divisor

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from numpy.typing import NDArray

    from crashworthy.build.quad import Quad
    from crashworthy.impact.cases import Case
    from crashworthy.impact.tally import Tally
    from crashworthy.upkeep.edits import Change
    from crashworthy.upkeep.joined import Lived
    from crashworthy.upkeep.priors import BenchPrior

    Floats = NDArray[np.float64]

__all__ = ["DRAWS", "Draws", "Trial"]

DRAWS: Final = 4000
"""Joint draws of what is not sure."""

PRICE_FACTOR: Final = 2.0
"""Range of the bench minutes or coins of one kind in the flip analysis (assumption)."""


@dataclass(frozen=True, slots=True, eq=False)
class Trial:
    """One change, built.

    Attributes:
        change: what is changed.
        quad, case: the build with it.
        altered: names of the parts that differ.
    """

    change: Change
    quad: Quad
    case: Case
    altered: frozenset[str]


class Draws:
    """Joint draws of what every change saves in 100 crashes."""

    def __init__(
        self,
        base: Tally,
        changed: list[Tally],
        start: Case,
        altered: list[frozenset[str]],
        mesh: list[Tally],
        bench: BenchPrior,
        seed: int,
        lived: Lived | None = None,
    ) -> None:
        """Take the tallies of the build and of its changes, over the same crashes, and the journal's word.

        Raises:
            ScenarioError: no two crashes stayed within the real numbers.
        """
        self._bench, self._mass = bench, start.quad.mass / GRAM
        self._kinds = tuple(dict.fromkeys(kind for t in (base, *changed) for kind in t.kinds))
        good = np.logical_and.reduce([base.valid, *(t.valid for t in changed)])
        if good.sum() < 2:
            raise ScenarioError(Problem("every crash left the real numbers", "check the sheet", field="quad"))
        none = np.zeros((len(OPINIONS), int(good.sum())))
        take: Callable[[Tally, str], Floats] = lambda t, k: t.kinds[k][:, good] if k in t.kinds else none  # noqa: E731
        self._base = np.array([take(base, k) for k in self._kinds])
        # (changes, kinds, opinions, n): breaks saved.
        self._saved = np.array([[take(base, k) - take(t, k) for k in self._kinds] for t in changed])
        # By change and mesh: breaks, (opinions, n) by kind, that other points on its altered parts bring.
        self._mesh = [mesh_changes(base, mesh, names) for names in altered]
        rng = np.random.default_rng([seed, 1])
        self._opinion = rng.integers(0, len(OPINIONS), (DRAWS, len(self._kinds)))
        self._normal = rng.standard_normal((DRAWS, len(changed)))
        self._normal_mesh = rng.standard_normal((DRAWS, len(changed) + 1))
        self._joined: Joined | None = None
        if lived is not None and changed:
            self._joined = join(lived, self._kinds, base, self._base, self._saved, good, self._opinion, seed)

    def _cost(self, what: str) -> Floats:
        table = self._bench.price if what == "coins" else self._bench.repair
        return np.array([table.get(kind, 0.0) for kind in self._kinds])

    def base_cost(self, what: str) -> float:
        """Bench minutes or coins that 100 crashes of the build as it is cost."""
        return 100.0 * float((self._cost(what)[:, None] * self._base.mean(axis=(1, 2))[:, None]).sum())

    def draws(self, what: str, cost: Floats | None = None) -> Floats:
        """(draws, changes) saved in 100 crashes."""
        weights = self._cost(what) if cost is None else cost
        if not len(self._saved):
            return np.zeros((DRAWS, 0))
        means = self._saved.mean(axis=3)
        total = np.zeros((DRAWS, len(means)))
        for k, weight in enumerate(weights):
            total += weight * means[:, k, :].T[self._opinion[:, k]]
        # Sampling: covariance of the changes' savings over the crashes, at the middle opinion.
        each = np.einsum("k,jkn->jn", weights, self._saved[:, :, len(OPINIONS) // 2, :])
        cov = np.atleast_2d(np.cov(each)) / each.shape[1]
        size, turn = np.linalg.eigh(cov)
        total += self._normal @ (turn * np.sqrt(np.maximum(size, 0.0))).T
        noise = np.array([self._mesh_sd(weights, changes) for changes in self._mesh])
        # The build as it is has one choice of points, each change another.
        total += noise * (self._normal_mesh[:, 1:] - self._normal_mesh[:, :1])
        return 100.0 * total

    def in_packs(self, weights: Floats) -> Floats:
        """(draws, changes) saved in 100 packs; ``weights`` by kind, what one break costs.

        Raises:
            ScenarioError: these draws know no journal, so no packs to count by.
        """
        joined = self._joined
        if joined is None:
            raise ScenarioError(
                Problem("no journal to count packs by", "rank a quad of the fleet", field="by")
            )
        noise = np.array([self._mesh_sd(weights * joined.level, changes) for changes in self._mesh])
        mesh = noise * (self._normal_mesh[:, 1:] - self._normal_mesh[:, :1])
        per_crash: Floats = joined.saved @ weights + mesh
        return 100.0 * joined.crashes[:, None] * per_crash

    def _mesh_sd(self, weights: Floats, meshes: list[dict[str, Floats]]) -> float:
        """Standard deviation that one choice of contact points on some parts gives the cost of a crash."""
        cost = dict(zip(self._kinds, weights, strict=True))
        squares = []
        for changes in meshes:
            moved = [cost.get(kind, 0.0) * change for kind, change in changes.items()]
            squares.append(mesh_variance(np.sum(moved, axis=0)) if moved else 0.0)
        return float(np.sqrt(np.mean(squares))) if squares else 0.0

    def scores(self, trials: Sequence[Trial], by: str, cost: Floats | None = None) -> Floats:
        """(draws, changes) of what is ranked by."""
        if by in PACKS:
            saved = self.in_packs(self._cost("minutes") if cost is None else cost)
        else:
            saved = self.draws("coins" if by == "coins" else "minutes", cost)
        if by in ("minutes", "coins", "packs"):
            return saved
        spent = np.array([divisor(by, self._added(t), t.change.coins, t.change.minutes) for t in trials])
        shares: Floats = saved / spent
        return shares

    def _added(self, trial: Trial) -> float:
        return trial.quad.mass / GRAM - self._mass

    def ranked(self, trials: Sequence[Trial], by: str, quad: Quad, gram: float) -> list[Ranked]:
        """One row for each change.

        Args:
            trials: the changes.
            by: what decides the first place.
            quad: the build as it is, for the masses of its spares.
            gram: seconds of hover that one more gram costs it.
        """
        if not trials:
            return []
        minutes, coins, scores = self.draws("minutes"), self.draws("coins"), self.scores(trials, by)
        packs = self._rows_in_packs(trials, quad, gram)
        best = np.bincount(scores.argmax(axis=1), minlength=len(trials)) / DRAWS
        rows = []
        for j, trial in enumerate(trials):
            low, high = np.quantile(minutes[:, j], (0.05, 0.95))
            coins_low, coins_high = np.quantile(coins[:, j], (0.05, 0.95))
            breaks = 100.0 * self._saved[j].mean(axis=(1, 2))
            notable = sorted(zip(self._kinds, breaks, strict=True), key=lambda kb: -abs(kb[1]))[:3]
            rows.append(
                Ranked(
                    key=trial.change.key,
                    label=trial.change.label,
                    edits=tuple(str(e) for e in trial.change.edits),
                    grams=self._added(trial),
                    coins=trial.change.coins,
                    fit_minutes=trial.change.minutes,
                    costs=trial.change.costs,
                    minutes=float(minutes[:, j].mean()),
                    low=float(low),
                    high=float(high),
                    coins_saved=float(coins[:, j].mean()),
                    coins_low=float(coins_low),
                    coins_high=float(coins_high),
                    helps=float((minutes[:, j] > 0.0).mean()),
                    best=float(best[j]),
                    fewer=tuple((plural_of(k), float(b)) for k, b in notable if abs(b) >= 0.05),
                    packs=packs[j],
                )
            )
        return rows

    def _rows_in_packs(self, trials: Sequence[Trial], quad: Quad, gram: float) -> list[InPacks | None]:
        if self._joined is None:
            return [None] * len(trials)
        masses = {k: [p.mass for p in quad.parts if p.kind == k] for k in self._kinds}
        spare = np.array([float(np.mean(m)) / GRAM if m else 0.0 for m in masses.values()])
        minutes, coins = self.in_packs(self._cost("minutes")), self.in_packs(self._cost("coins"))
        spares = self.in_packs(spare)
        rows: list[InPacks | None] = []
        for j, trial in enumerate(trials):
            added = self._added(trial)
            low, high = np.quantile(minutes[:, j], (0.05, 0.95))
            coins_low, coins_high = np.quantile(coins[:, j], (0.05, 0.95))
            rows.append(
                InPacks(
                    minutes=float(minutes[:, j].mean()),
                    low=float(low),
                    high=float(high),
                    coins=float(coins[:, j].mean()),
                    coins_low=float(coins_low),
                    coins_high=float(coins_high),
                    helps=float((minutes[:, j] > 0.0).mean()),
                    spare_grams=float(spares[:, j].mean()),
                    seconds=-added * gram,
                    grams_divisor=divisor("per_gram", added, 0.0, 0.0),
                    coins_divisor=divisor("per_coin", 0.0, trial.change.coins, 0.0),
                )
            )
        return rows

    def flips(self, trials: Sequence[Trial], by: str) -> tuple[str, ...]:
        """Bench minutes (or coins) of a kind at which another change becomes first."""
        if len(trials) < 2:
            return ()
        what = "coins" if by == "coins" else "minutes"
        usual = int(self.scores(trials, by).mean(axis=0).argmax())
        found = []
        for k, kind in enumerate(self._kinds):
            for factor in (1.0 / PRICE_FACTOR, PRICE_FACTOR):
                cost = self._cost(what)
                if cost[k] <= 0.0:
                    continue
                cost[k] *= factor
                scores = self.scores(trials, by, cost)
                first = int(scores.mean(axis=0).argmax())
                if first != usual:
                    unit = "coins" if by == "coins" else "bench minutes"
                    found.append(f"a broken {kind} cost {cost[k]:g} {unit} ({trials[first].change.label})")
        return tuple(found)
