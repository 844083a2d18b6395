"""How many crashes a second, beside a general multibody simulator on the same scene and step.

    python -m uv run --group bench python bench/crash_engine.py [--crashes N] [--repeats R] [--plot FILE.svg]

Same scene on both sides: the Gannet build's contact points (without their patches of skin), its core and four
arm tips with two bending springs each (the crash engine's arms also stretch and twist), a horizontal plane,
elastic contact without friction, over 20 ms. The simulator (MuJoCo) gets
the points as small spheres and eight slide joints and runs its threaded ``rollout``, once at the crash
engine's step of 10 us and once at ten times that. The crash engine runs once with plain numbers and once
with a crash in every lane of a vector register. All are interleaved, so that a busy machine disturbs them
alike; ratios are medians of ratios within a repeat. Then the cost against the number of points and of
workers, and the share of the arithmetic that the same cores do in loops of multiply-adds, dependent
(scalar) and independent (vector).
"""

from __future__ import annotations

import argparse
import os
import platform
import statistics
import time
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path

import mujoco
import numpy as np
from mujoco import rollout
from numba import njit

from crashworthy.build.assemble import load
from crashworthy.impact import Scenario, simulate
from crashworthy.impact.blocks import crash
from crashworthy.impact.contact import BED
from crashworthy.impact.model import model_of
from crashworthy.impact.scenario import Obstacle
from crashworthy.impact.scene import single_bed
from crashworthy.impact.start import sample
from crashworthy.impact.width import WHY, register_width

SHEET = Path(__file__).parents[1] / "examples" / "gannet.toml"
STEP, WINDOW, THREADS = 1e-5, 0.02, 2
FLOPS = 1500.0
"""Useful operations of one crash in one step, counted by hand for 300 points, give or take a third."""


def vector(values: np.ndarray) -> str:
    """Numbers as the simulator's XML wants them."""
    return " ".join(f"{v:.9g}" for v in values)


def scene(craft: object, step: float) -> mujoco.MjModel:
    """The quad as a free core with four tips on two slide joints each, every contact point a sphere."""
    c = craft
    spheres: dict[int, list[str]] = {a: [] for a in range(-1, len(c.tip))}
    for p in range(len(c.radius)):
        for i in range(c.start[p], c.start[p + 1]):
            a = int(c.limb[p])
            at = c.position[i] - (c.tip[a] if a >= 0 else 0.0)
            spheres[a].append(f'<geom type="sphere" size="0.0005" pos="{vector(at)}" mass="0"/>')
    inertia = c.inertia[[0, 1, 2, 0, 0, 1], [0, 1, 2, 1, 2, 2]]
    tips = ""
    for a in range(len(c.tip)):
        joints = "".join(
            f'<joint type="slide" axis="{vector(c.side[a, j])}" stiffness="{c.stiffness[a, j]:.6g}" '
            f'damping="{c.damping[a, j]:.6g}"/>'
            for j in range(2)
        )
        tips += (
            f'<body pos="{vector(c.tip[a])}">{joints}<inertial pos="0 0 0" mass="{c.tip_mass[a]:.6g}" '
            f'diaginertia="1e-9 1e-9 1e-9"/>{"".join(spheres[a])}</body>'
        )
    return mujoco.MjModel.from_xml_string(
        f"""<mujoco><option timestep="{step}" gravity="0 0 0" integrator="Euler"/>
        <default><geom condim="1" contype="1" conaffinity="2" solref="-1e6 0"/></default>
        <worldbody><geom type="plane" size="5 5 0.1" contype="2" conaffinity="1"/>
        <body><freejoint/><inertial pos="0 0 0" mass="{c.core_mass:.6g}" fullinertia="{vector(inertia)}"/>
        {"".join(spheres[-1])}{tips}</body></worldbody></mujoco>"""
    )


def peer(model: mujoco.MjModel, datas: list[mujoco.MjData], starts: object, count: int, step: float) -> float:
    """Crashes a second of processor time of the simulator's threaded rollout."""
    states = []
    data = mujoco.MjData(model)
    kind = mujoco.mjtState.mjSTATE_FULLPHYSICS
    for c in range(count):
        mujoco.mj_resetData(model, data)
        data.qpos[:3], data.qpos[3:7] = starts.state[0:3, c] + [0, 0, 6e-4], starts.state[6:10, c]
        data.qvel[:3], data.qvel[3:6] = starts.state[3:6, c], starts.state[10:13, c]
        state = np.zeros(mujoco.mj_stateSize(model, kind))
        mujoco.mj_getState(model, data, state, kind)
        states.append(state)
    begun = time.process_time()
    rollout.rollout(model, datas, np.array(states), nstep=round(WINDOW / step), skip_checks=False)
    return count / (time.process_time() - begun)


def ours(
    model: object,
    starts: object,
    count: int,
    threads: int,
    pool: ThreadPoolExecutor,
    lanes: int,
    *,
    patches: bool = False,
) -> float:
    """Crashes a second of processor time of the crash engine, every step of the window taken.

    With ``patches`` every point carries its patch of skin, as in a campaign.
    """
    craft = model.craft._replace(spin=np.zeros(len(model.craft.spin)))
    if not patches:
        # The spheres of the other side are points as well.
        craft = craft._replace(spread=np.zeros_like(craft.spread), bulge=np.zeros_like(craft.bulge))
    beds = single_bed(1e9, 1e30, parts=len(craft.radius))
    size = max(1, count // (2 * threads))
    # As a campaign's chunk would be: crashes that unfold alike side by side.
    order = np.argsort(starts.rank[:count])
    pieces = [
        type(starts)(*(np.ascontiguousarray(x[..., order[i : i + size]]) for x in starts))
        for i in range(0, count, size)
    ]

    def go(p: object) -> None:
        ones = np.ones(len(p.kinds))
        surfaces = np.zeros(len(p.kinds), dtype=np.int32)
        steps = round(WINDOW / STEP)
        crash(
            craft, beds, BED, p.kinds, surfaces, p.rows, p.state, ones, dt=STEP, steps=steps, settle=1e9,
            rank=p.rank, width=lanes,
        )  # fmt: skip

    begun = time.process_time()
    list(pool.map(go, pieces) if threads > 1 else map(go, pieces))
    return count / (time.process_time() - begun)


@njit
def _chain(x: float, n: int) -> float:
    """Multiply-adds that wait for each other."""
    for _ in range(n):
        x = x * 0.999999 + 1e-6
    return x


@njit(fastmath=True)
def _stream(x: np.ndarray, n: int) -> None:
    """Multiply-adds that do not."""
    for _ in range(n):
        for i in range(len(x)):
            x[i] = x[i] * 0.999999 + 1e-6


def arithmetic() -> tuple[float, float]:
    """Operations a second of one core: dependent scalar and independent vector multiply-adds in L1."""
    x = np.ones(1024)
    _chain(0.5, 10)
    _stream(x, 10)
    best = [0.0, 0.0]
    for _ in range(5):
        begun = time.process_time()
        _chain(0.5, 5_000_000)
        best[0] = max(best[0], 1e7 / (time.process_time() - begun))
        begun = time.process_time()
        _stream(x, 20_000)
        best[1] = max(best[1], 2.0 * 1024 * 20_000 / (time.process_time() - begun))
    return best[0], best[1]


def main() -> None:
    """Print the tables."""
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    options.add_argument("--crashes", type=int, default=1024, help="crashes per repeat of the crash engine")
    options.add_argument("--repeats", type=int, default=5)
    options.add_argument("--plot", type=Path, help="draw cost against points and workers into this SVG file")
    given = options.parse_args()
    quad = load(SHEET, points=300)
    # Without its sheet a quad has no limbs but its arms, as on the other side.
    model, wide = model_of(replace(quad, sheet=None)), register_width()
    floor = Scenario(obstacles=(Obstacle("floor", "ground", "concrete", 1.0),))
    starts = sample(floor, model.craft, 7, np.arange(given.crashes))
    models = [(scene(model.craft, step), step) for step in (STEP, 10 * STEP)]
    with ThreadPoolExecutor(THREADS) as pool:
        for lanes in (1, wide):
            ours(model, starts, 16, THREADS, pool, lanes)
        rows = []
        for _ in range(given.repeats):
            rate = [ours(model, starts, given.crashes, THREADS, pool, wide)]
            rate.append(ours(model, starts, given.crashes, 1, pool, wide))
            rate.append(ours(model, starts, given.crashes // 4, THREADS, pool, 1))
            for other, step in models:
                datas = [mujoco.MjData(other) for _ in range(THREADS)]
                rate.append(peer(other, datas, starts, 2 * THREADS if step == STEP else 8 * THREADS, step))
            rate.append(ours(model, starts, given.crashes, THREADS, pool, wide, patches=True))
            rows.append(rate)
        scalar, vector = arithmetic()
        points = []
        for count in (100, 300, 600, 1200):
            other = model_of(load(SHEET, points=count))
            begin = sample(floor, other.craft, 7, np.arange(256))
            each = max(ours(other, begin, 256, 1, pool, wide, patches=True) for _ in range(3))
            points.append((len(other.craft.area), 1e6 / each / (WINDOW / STEP)))
        workers = []
        for threads in (1, 2, 4):
            with ThreadPoolExecutor(threads) as some:
                begun = time.perf_counter()
                simulate(quad, 4096, 7, map_chunks=some.map)
                workers.append((threads, 4096 / (time.perf_counter() - begun)))
    medians = [statistics.median(r[i] for r in rows) for i in range(6)]
    print(f"{platform.machine()}, {os.cpu_count()} cores, Python {platform.python_version()}; {WHY[wide]}")
    print(
        f"scene: {len(quad.points)} points, 8 arm freedoms, plane, "
        f"{STEP * 1e6:g} us steps, {WINDOW * 1e3:g} ms"
    )
    names = (
        f"crash engine, {THREADS} threads, {wide} lanes",
        f"crash engine, 1 thread, {wide} lanes",
        f"crash engine, {THREADS} threads, plain numbers",
        f"MuJoCo {mujoco.__version__} rollout, {THREADS} threads, same step",
        f"MuJoCo {mujoco.__version__} rollout, {THREADS} threads, step x 10",
        "crash engine, as a campaign: patches of skin",
    )
    for i, name in enumerate(names):
        ratio = statistics.median(r[0] / r[i] for r in rows)
        print(f"{name:44s} {medians[i]:9.1f} a second of processor time; fastest is {ratio:6.1f} x")
    done = FLOPS * medians[1] * WINDOW / STEP
    print(f"one core: {done / 1e9:.1f} GFLOP/s useful; loops of multiply-adds: dependent {scalar / 1e9:.1f}, "
          f"independent {vector / 1e9:.1f}: "
          f"{100 * done / scalar:.0f} % and {100 * done / vector:.0f} %")  # fmt: skip
    for n, cost in points:
        print(f"{n:5d} points: {cost:.3f} us a step and crash on one core")
    for n, rate in workers:
        print(f"{n} workers: {rate:.0f} everyday crashes/s")
    if given.plot:
        draw(given.plot, points, workers)


def draw(path: Path, points: list[tuple[int, float]], workers: list[tuple[int, float]]) -> None:
    """Both costs side by side."""
    import matplotlib as mpl

    mpl.use("svg")
    from matplotlib import pyplot as plt

    figure, (left, right) = plt.subplots(1, 2, figsize=(8, 3.2), layout="constrained")
    left.plot(*zip(*points, strict=True), "o-", color="#0072b2")
    left.set(xlabel="contact points", ylabel="µs a step and crash, one core", ylim=(0, None))
    right.plot(*zip(*workers, strict=True), "o-", color="#d55e00")
    right.set(xlabel="workers", ylabel="everyday crashes a second", ylim=(0, None))
    figure.savefig(path, metadata={"Date": None})


if __name__ == "__main__":
    main()
