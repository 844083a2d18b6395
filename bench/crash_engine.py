"""How many crashes a second, beside a general multibody simulator on the same scene and step.

    python -m uv run --group bench python bench/crash_engine.py [--crashes N] [--repeats R]

Same scene on both sides: the Gannet build's contact points, its core and four arm tips with two bending
springs
each, a horizontal plane, elastic contact without friction, 10 us steps over 20 ms. The simulator (MuJoCo)
gets
the points as small spheres and eight slide joints and runs its threaded ``rollout``. Runs are interleaved so
that
a busy machine disturbs both alike.
"""

from __future__ import annotations

import argparse
import os
import platform
import statistics
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import mujoco
import numpy as np
from mujoco import rollout

from crashworthy.build.assemble import load
from crashworthy.impact import Scenario, simulate
from crashworthy.impact.model import model_of
from crashworthy.impact.scenario import Obstacle
from crashworthy.impact.scene import run, single_bed
from crashworthy.impact.start import sample

SHEET = Path(__file__).parents[1] / "examples" / "gannet.toml"
STEP, WINDOW, THREADS = 1e-5, 0.02, 2


def vector(values: np.ndarray) -> str:
    """Numbers as the simulator's XML wants them."""
    return " ".join(f"{v:.9g}" for v in values)


def scene(craft: object) -> mujoco.MjModel:
    """The quad as a free core with four tips on two slide joints each, every contact point a sphere."""
    c = craft
    spheres: dict[int, list[str]] = {a: [] for a in range(-1, len(c.tip))}
    for p in range(len(c.radius)):
        for i in range(c.start[p], c.start[p + 1]):
            a = int(c.arm[p])
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
        f"""<mujoco><option timestep="{STEP}" gravity="0 0 0" integrator="Euler"/>
        <default><geom condim="1" contype="1" conaffinity="2" solref="-1e6 0"/></default>
        <worldbody><geom type="plane" size="5 5 0.1" contype="2" conaffinity="1"/>
        <body><freejoint/><inertial pos="0 0 0" mass="{c.core_mass:.6g}" fullinertia="{vector(inertia)}"/>
        {"".join(spheres[-1])}{tips}</body></worldbody></mujoco>"""
    )


def peer(model: mujoco.MjModel, datas: list[mujoco.MjData], starts: object, count: int) -> float:
    """Crashes a second of the simulator's threaded rollout."""
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
    begun = time.perf_counter()
    rollout.rollout(model, datas, np.array(states), nstep=round(WINDOW / STEP), skip_checks=False)
    return count / (time.perf_counter() - begun)


def ours(model: object, starts: object, count: int, threads: int, pool: ThreadPoolExecutor) -> float:
    """Crashes a second of the crash engine on the same scene, every step of the window taken."""
    craft = model.craft
    beds = single_bed(1e9, 1e30, parts=len(craft.radius))
    size = max(1, count // (4 * threads))
    pieces = [
        type(starts)(*(np.ascontiguousarray(x[..., i : i + size]) for x in starts))
        for i in range(0, count, size)
    ]

    def go(piece: object) -> None:
        run(craft, beds, piece.state, obstacles=piece.rows, dt=STEP, steps=round(WINDOW / STEP))

    begun = time.perf_counter()
    list(pool.map(go, pieces) if threads > 1 else map(go, pieces))
    return count / (time.perf_counter() - begun)


def main() -> None:
    """Print the table."""
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    options.add_argument("--crashes", type=int, default=512, help="crashes per repeat of the crash engine")
    options.add_argument("--repeats", type=int, default=5)
    given = options.parse_args()
    quad = load(SHEET)
    model = model_of(quad)
    floor = Scenario(obstacles=(Obstacle("floor", "ground", "concrete", 1.0),))
    starts = sample(floor, model.craft, 7, np.arange(given.crashes))
    scene_model = scene(model.craft)
    datas = [mujoco.MjData(scene_model) for _ in range(THREADS)]
    few = 2 * THREADS
    with ThreadPoolExecutor(THREADS) as pool:
        ours(model, starts, 16, THREADS, pool)
        simulate(quad, 16, 7)
        rows = []
        for _ in range(given.repeats):
            rate = (
                ours(model, starts, given.crashes, 1, pool),
                ours(model, starts, given.crashes, THREADS, pool),
                peer(scene_model, datas, starts, few),
            )
            rows.append(rate)
            campaign = []
        for threads in (1, THREADS):
            begun = time.perf_counter()
            simulate(quad, 2000, 7, map_chunks=pool.map if threads > 1 else None)
            campaign.append(time.perf_counter() - begun)
    one, two, other = (statistics.median(r[i] for r in rows) for i in range(3))
    ratio = statistics.median(r[1] / r[2] for r in rows)
    print(f"\n{platform.machine()}, {os.cpu_count()} cores, Python {platform.python_version()}")
    size = f"{len(quad.points)} points, 8 arm freedoms, plane, {STEP * 1e6:g} us steps, {WINDOW * 1e3:g} ms"
    print(f"scene: {size}")
    print(f"crash engine, 1 thread            {one:8.0f} crashes/s")
    print(f"crash engine, {THREADS} threads           {two:8.0f} crashes/s ({two / one:.2f} x)")
    print(f"MuJoCo {mujoco.__version__} rollout, {THREADS} threads   {other:8.1f} crashes/s")
    print(f"ratio (median of same-repeat ratios) {ratio:5.0f} x")
    print(
        f"campaign of 2000 everyday crashes: {campaign[0]:.1f} s on 1 thread, {campaign[1]:.1f} s on "
        f"{THREADS}"
    )


if __name__ == "__main__":
    main()
