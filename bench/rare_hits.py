"""How well rare hits are known from equally many crashes, plain and watched.

    python bench/rare_hits.py [crashes] [what ...]

Prints, for each watched thing: share, standard error over the share, and how many plain crashes would tell
the share as well, per simulated crash (the variance reduction); then the processor time of both ways.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

from crashworthy.build.assemble import load
from crashworthy.impact import simulate
from crashworthy.impact.estimate import effective, share
from crashworthy.jobs.executor import executor_for

SHEET = Path(__file__).parents[1] / "examples" / "gannet.toml"


def main() -> None:
    """Run both ways with one seed."""
    n = int(sys.argv[1]) if len(sys.argv) > 1 else 10_000
    quad, run = load(SHEET), executor_for().map_chunks
    simulate(quad, 16, 1, watch=("lens",))  # loads the compiled code
    begun = time.process_time()
    plain = simulate(quad, n, 5, map_chunks=run)
    print(f"plain: {n} crashes, {time.process_time() - begun:.1f} s of processor time")
    for what in sys.argv[2:] or ["lens by spike", "receiver", "rare"]:
        begun = time.process_time()
        batch = simulate(quad, n, 5, watch=(what,), map_chunks=run)
        spent = time.process_time() - begun
        print(f"{what}: {spent:.1f} s; all else as sure as {effective(batch.weight):.0f} plain crashes")
        for w in batch.watched:
            told, before = (share(w.hit(b.part_peak, b.obstacle), b.weight) for b in (batch, plain))
            print(
                f"  {w.name:24s} {100 * told.value:.4f} % ({100 * told.low:.4f}-{100 * told.high:.4f}), "
                f"error {100 * told.relative_error:.1f} %, gain {told.effective / n:.1f}; plain "
                f"{100 * before.value:.4f} % ({100 * before.low:.4f}-{100 * before.high:.4f})"
            )


if __name__ == "__main__":
    main()
