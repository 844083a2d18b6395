"""What can touch each fragile part, and where should it go?

python examples/library/where_to_put_it.py
"""

from pathlib import Path
from tempfile import mkdtemp

from crashworthy import load, place, plot

found = place(load(Path(__file__).parents[1] / "gannet.toml"))
print(found.summary())
for exposure in found.exposures[:5]:
    print(found.sentence(exposure))
for move in found.moves:
    print(move.summary())
print(plot(found).save(Path(mkdtemp(prefix="crashworthy-")) / "exposed.svg"))
