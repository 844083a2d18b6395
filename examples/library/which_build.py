"""Which of two builds breaks less, and which single change is worth most?

    python examples/library/which_build.py

Both builds meet the same obstacles at the same speed in the same attitude, so their difference is known
better than either number. Gannet and Dunlin are invented.
"""

from pathlib import Path
from tempfile import mkdtemp

from crashworthy import compare, improve, load, plot

sheets = Path(__file__).parents[1]
out = Path(mkdtemp(prefix="crashworthy-"))

difference = compare(load(sheets / "gannet.toml"), load(sheets / "dunlin.toml"), n=256)
print(difference.summary())
print(plot(difference).save(out / "difference.svg"))

# 64 crashes rank nothing: the intervals say so. Ask for 1600, the default, when it matters.
ranking = improve(sheets / "dunlin.toml", n=64, sensitivity=False)
print(ranking.summary())
print(plot(ranking).save(out / "changes.svg"))
