"""Time and memory of a flight log's full analysis beside scipy's plain spectra of the same arrays.

Run: python bench/flight_log.py [seconds of flight]. One simulated flight at 4000 samples/s. Compared with
scipy.signal.welch (nperseg 1024) plus scipy.signal.spectrogram (the same) on the gyro's array, in the same
process; best of five each. Memory is the peak of what Python and NumPy allocate during the analysis over the
size of the raw arrays.
"""

from __future__ import annotations

import sys
import time
import tracemalloc
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from scipy.signal import spectrogram, welch

from crashworthy.build.assemble import load
from crashworthy.demo.flight import simulate_flight
from crashworthy.vibration.log import make_log
from crashworthy.vibration.report import analyse

if TYPE_CHECKING:
    from collections.abc import Callable


def best(work: Callable[[], object], times: int = 5) -> float:
    """Shortest of several runs, s."""
    out = []
    for _ in range(times):
        start = time.perf_counter()
        work()
        out.append(time.perf_counter() - start)
    return min(out)


def main() -> None:
    """Print both times, their ratio and the memory."""
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else 300.0
    quad = load(Path(__file__).parents[1] / "examples" / "gannet.toml")
    c = simulate_flight(quad, seconds, 3).columns
    t = c["time_us"] * 1e-6
    r, p = np.isfinite(c["rpm_1"]), np.isfinite(c["volts [V]"])
    log = make_log(
        source="simulated",
        reader="none",
        t=t,
        gyro=np.radians(np.column_stack([c[f"gyro_{a} [deg/s]"] for a in "xyz"])),
        speed_t=t[r],
        speed=np.column_stack([c[f"rpm_{k}"][r] / 60.0 for k in range(1, 5)]),
        command_t=t[r],
        command=np.column_stack([c[f"command_{k}"][r] for k in range(1, 5)]),
        power_t=t[p],
        volts=c["volts [V]"][p],
        amps=c["amps [A]"][p],
    )
    del c
    arrays = (
        log.t, log.gyro, log.speed_t, log.speed, log.command_t, log.command, log.power_t, log.volts, log.amps
    )  # fmt: skip
    raw = sum(a.nbytes for a in arrays if a is not None)
    analyse(log, quad)  # compiles on the first run after an install
    # Turn and turn about, so that a busy machine disturbs both alike.
    plain, full = [], []
    for _ in range(5):
        plain.append(
            best(lambda: (welch(log.gyro, log.fs, nperseg=1024, axis=0),
                          spectrogram(log.gyro, log.fs, nperseg=1024, axis=0)), 1)
        )  # fmt: skip
        full.append(best(lambda: analyse(log, quad), 1))
    tracemalloc.start()
    analyse(log, quad)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    print(f"{seconds:.0f} s at {log.fs:.0f} samples/s, {len(log.t)} samples, raw arrays {raw / 1e6:.0f} MB")
    print(f"scipy welch + spectrogram  {min(plain):.3f} s")
    print(f"full analysis              {min(full):.3f} s   {min(full) / min(plain):.2f} times")
    print(f"memory of the analysis     {peak / 1e6:.0f} MB   {(raw + peak) / raw:.2f} times the raw arrays")


if __name__ == "__main__":
    main()
