"""Each constant of the physics text, broken on purpose, makes an outside check fail.

The text of the kernel is changed by one number, run as plain Python (no compiler) at a coarse step, and put
under the check that guards the number. The unchanged text passes the same check at the same coarse step.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pytest

from crashworthy.evidence import crash_scenes, crash_scenes_parts
from crashworthy.evidence import impact as evidence
from crashworthy.evidence.registry import run_check
from crashworthy.impact import blocks

TEXTS = ("contact", "rigid", "obstacle", "dynamics", "ledger", "press_parts", "kernel")
"""Modules of the kernel, each importing only from those before it."""

COARSE = 0.03
"""Error that the coarse step is allowed, relative (absolute for checks that are absolute)."""

BROKEN = (
    ("contact", "damped = 1.0 + alpha * rate", "damped = 1.0 + 0.5 * alpha * rate", "V2.1.0.bed"),
    ("contact", "least(mu * normal", "least(0.7 * mu * normal", "S2.friction"),
    ("contact", "0.5 * k * d_e * d_e, k", "0.6 * k * d_e * d_e, k", "P8.stored.bed"),
    ("contact", "0.5 * k * second", "0.6 * k * second", "V17.held"),
    ("contact", "0.4 * k * d_e * d_e * root", "0.5 * k * d_e * d_e * root", "P8.stored.hertz"),
    ("contact", "k * d_e * root,", "1.2 * k * d_e * root,", "V1.1.peak_force"),
    ("contact", "top = most(d_y - (now - d)", "top = most(1.2 * d_y - (now - d)", "V3.bed"),
    ("contact", "1.0 / (1.0 / a.stiffness", "1.1 / (1.0 / a.stiffness", "P9.stiffness"),
    ("contact", "sqrt(a.friction", "sqrt(1.2 * a.friction", "P9.friction"),
    ("press_parts", "lost += area * crushed", "lost += 0.9 * area * crushed", "V3.energy"),
    ("press_parts", "spin + dt * rubbed", "spin + 0.5 * dt * rubbed", "P2.energy"),
    ("press_parts", "t[2] - rubbed", "t[2] - 0.5 * rubbed", "P2.turning"),
    ("obstacle", "least(most(ax, ay), 0.0) - shape.radius", "least(most(ax, ay), 0.0) - 0.9 * shape.radius",
     "P7.box.vx"),
    ("obstacle", "size(x) - shape.wide", "size(x) - 0.9 * shape.wide", "P7.box.vx"),
    ("obstacle", "-shape.wide, 0.0), shape.across", "-0.95 * shape.wide, 0.0), shape.across", "P7.gap.vx"),
    ("obstacle", "h = most(h, 0.0)", "h = most(h, -0.02)", "P7.spike.vx"),
    ("obstacle", "x -= shape.wide * floor", "x -= 0.95 * shape.wide * floor", "P7.rubble.vx"),
    ("obstacle", "return rho - shape.radius", "return rho - 0.9 * shape.radius", "S4.vx"),
    ("rigid", "h = 0.5 * dt", "h = 0.45 * dt", "P8.attitude"),
    ("dynamics", "momentum[2] + craft.rotor", "momentum[2] + 0.8 * craft.rotor", "P1.precession"),
    ("dynamics", "t = less(t, cross(w, momentum))", "t = along(t, -0.5, cross(w, momentum))", "V5.euler"),
    ("dynamics", "REMNANT: Final = 0.05", "REMNANT: Final = 0.08", "P5.broken"),
    ("dynamics", "craft.damping[arm, 1] * v1", "0.5 * craft.damping[arm, 1] * v1", "P5.decay"),
    ("dynamics", "k1 + lever[1]", "k1 + 0.8 * lever[1]", "P5.lever"),
    ("dynamics", "craft.pack_friction * seat", "0.7 * craft.pack_friction * seat", "P3.seat"),
    ("dynamics", "under - 2.0 * zeta", "under - 1.5 * zeta", "P3.damped"),
    ("dynamics", "2.0 * craft.board_damping", "1.0 * craft.board_damping", "P4.board_0"),
    ("dynamics", "craft.twist_stiffness[arm] *", "0.9 * craft.twist_stiffness[arm] *", "L4.period"),
    ("dynamics", "craft.use[limb, 0] * across", "0.8 * craft.use[limb, 0] * across", "L3.0.5"),
    ("dynamics", "craft.lightness[limb], into_world", "0.9 * craft.lightness[limb], into_world", "L5.centre"),
    ("press_parts", "wring += dot(g, F)", "wring += 0.9 * dot(g, F)", "L5.rate"),
    ("dynamics", "craft.rise[arm] * (k0 + c0)", "0.5 * craft.rise[arm] * (k0 + c0)", "L7.twist"),
    ("contact", "(a * a + a * b + b * b) / 3.0", "(a * a + a * b + b * b) / 2.0", "V17.held"),
    ("contact", "first = 0.5 * slope", "first = 0.6 * slope", "V17.peak"),
    ("contact", "0.5 * per * (b - a)", "0.4 * per * (b - a)", "V17.crush.lost"),
    ("contact", "top = most(d_y - (now - d)", "top = most(d_y - 0.8 * (now - d)", "V17.crush.rebound"),
    ("press_parts", "2.0 * (c[i, 3]", "1.5 * (c[i, 3]", "V17.peak"),
    ("ledger", "0.5 * craft.core_mass", "0.6 * craft.core_mass", "P8.start"),
    ("ledger", "0.5 * craft.rotor[limb]", "0.6 * craft.rotor[limb]", "P2.energy"),
    ("kernel", "-dt * lightness, F", "-0.8 * dt * lightness, F", "P6.speed"),
    ("kernel", "-dt * lightness * k_o", "-0.5 * dt * lightness * k_o", "P6.spring.travel"),
)  # fmt: skip
"""(module, right text, wrong text, check that must notice)."""

FINE = {"P3": 8000, "P4": 8000, "P5.l": 4000, "V3": 4000}
"""Steps at most for checks that need more than ``STEPS``, by beginning of their name."""

STEPS = 1500

PLAIN = "plain_physics"


def plain_kernel(broken: tuple[str, str, str] | None = None) -> dict[str, ModuleType]:
    """The kernel's modules as plain Python, one text changed."""
    made = {}
    here = Path(blocks.__file__).parent
    for name in TEXTS:
        text = (here / f"{name}.py").read_text()
        if broken is not None and broken[0] == name:
            assert broken[1] in text, f"{name} no longer says {broken[1]!r}"
            text = text.replace(broken[1], broken[2])
        for other in TEXTS:
            text = text.replace(f"from crashworthy.impact.{other} import", f"from {PLAIN}.{other} import")
        module = ModuleType(f"{PLAIN}.{name}")
        sys.modules[module.__name__] = module
        text = text.replace("@physics\n", "")
        exec(compile(text, f"<{name}>", "exec"), module.__dict__)  # noqa: S102 - the product's own text
        made[name] = module
    return made


@pytest.fixture
def coarse(monkeypatch: pytest.MonkeyPatch) -> Iterator[Any]:
    """Runs a check through a plain, perhaps broken kernel at a coarse step: error over tolerance."""
    checks = {c.id.removeprefix("impact."): c for c in evidence.CHECKS}
    sys.modules[PLAIN] = ModuleType(PLAIN)

    def forget() -> None:
        for module in (crash_scenes, crash_scenes_parts):
            for item in vars(module).values():
                if hasattr(item, "cache_clear"):
                    item.cache_clear()

    def error(name: str, broken: tuple[str, str, str] | None) -> float:
        forget()
        kernel = plain_kernel(broken)
        most = next((n for key, n in FINE.items() if name.startswith(key)), STEPS)
        run = crash_scenes.run

        def coarsely(*args: Any, dt: float, steps: int, every: int = 0, **more: Any) -> Any:
            by = max(1, steps // most)
            steps //= by
            return run(*args, dt=dt * by, steps=steps, every=min(every, steps), **more)

        with monkeypatch.context() as patch, np.errstate(all="ignore"):
            patch.setattr(blocks, "vectors_work", lambda: False)
            patch.setattr(blocks, "crash_numbers", kernel["kernel"].crash_numbers)
            patch.setattr("crashworthy.evidence.impact_parts.combine", kernel["contact"].combine)
            for module in (crash_scenes, crash_scenes_parts, evidence):
                patch.setattr(module, "run", coarsely)
            got = run_check(checks[name])
        assert not got.problem, got.problem
        return got.error / max(checks[name].tolerance, COARSE if checks[name].relative else 0.0)

    yield error
    forget()
    for name in [n for n in sys.modules if n == PLAIN or n.startswith(f"{PLAIN}.")]:
        del sys.modules[name]


@pytest.mark.parametrize("broken", BROKEN, ids=lambda b: f"{b[3]}: {b[2][:40]}")
def test_a_broken_constant_is_noticed(coarse: Any, broken: tuple[str, str, str, str]) -> None:
    """The sound text passes the check that guards a constant, the broken one fails it."""
    assert coarse(broken[3], None) <= 1.0
    assert coarse(broken[3], broken[:3]) > 1.0
