"""Where do I crash? A scenario of your own, and what it changes.

    python examples/library/own_scenario.py

An old quarry, invented: rubble and a steel post, slower than the everyday mix.
"""

from pathlib import Path

from crashworthy import crash, load
from crashworthy.impact.scenario import Obstacle, Scenario, Speed

rubble = Obstacle("rubble", "rubble", "concrete", weight=3.0, radius=(0.02, 0.06), size=(0.1, 0.2))
post = Obstacle("post", "pole", "steel", weight=1.0, radius=(0.02, 0.03))
quarry = Scenario(name="quarry", obstacles=(rubble, post), speed=Speed(median=6.0))

quad = load(Path(__file__).parents[1] / "gannet.toml")
for where in (Scenario(), quarry):
    result = crash(quad, n=512, seed=7, scenario=where)
    print(f"{where.name}: {result.summary()}")
