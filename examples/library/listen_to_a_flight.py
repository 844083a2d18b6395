"""What shakes? A flight with a chipped prop is simulated, written as a log, and listened to.

    python examples/library/listen_to_a_flight.py

Props off for every powered check on the bench.
"""

from pathlib import Path
from tempfile import mkdtemp

from crashworthy import listen, load, plot
from crashworthy.demo.flight import simulate_flight

out = Path(mkdtemp(prefix="crashworthy-"))
quad = load(Path(__file__).parents[1] / "gannet.toml")

# The truth that the log has to tell: 14 g mm at the rear left motor.
flight = simulate_flight(quad, seconds=20.0, seed=3, unbalance_g_mm=(2.0, 2.5, 14.0, 3.0))
report = listen(flight.write_csv(out / "flight.csv"), quad)

print(report.summary())
for answer in report.answers:
    print(f"- {answer.question}: {answer.text}")
print(plot(report).save(out / "motors.svg"))
