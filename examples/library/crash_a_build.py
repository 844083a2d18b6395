"""Crash a build, read the answer, draw it.

    python examples/library/crash_a_build.py

Gannet is invented. Newtons and counts are model values; trust the ranking first.
"""

from pathlib import Path
from tempfile import mkdtemp

from crashworthy import crash, load, plot

quad = load(Path(__file__).parents[1] / "gannet.toml")
result = crash(quad, n=512, seed=7)
print(result.summary())

# One part: how often it is touched, and how often it breaks, each with its interval.
antenna = result.part("video")
print(f"{antenna.label}: touched in {100 * antenna.hit:.1f} % of crashes", end=" ")
print(f"({100 * antenna.hit_low:.1f} to {100 * antenna.hit_high:.1f})")

# A notebook shows a picture as it is; a file takes it too.
out = Path(mkdtemp(prefix="crashworthy-"))
for name in ("breaks", "loads", "first touch"):
    print(plot(result, name).save(out / f"{name}.svg"))
