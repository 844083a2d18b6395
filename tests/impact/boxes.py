"""A made-up symmetric quad whose geometry is a handful of boxes, fine or coarse."""

from __future__ import annotations

from typing import Any

import numpy as np

from crashworthy.build.quad import CORE, Arm, ContactPoints, MassProperties, Part, Quad


def box_points(centre, size, spacing):
    """Centres, areas, outward normals and variances (3, 3) of square-ish cells on a box."""
    points, areas, normals, spreads = [], [], [], []
    for axis in range(3):
        u, v = (i for i in range(3) if i != axis)
        nu, nv = (max(1, round(size[i] / spacing)) for i in (u, v))
        for sign in (-1.0, 1.0):
            for i in range(nu):
                for j in range(nv):
                    p = np.array(centre, dtype=float)
                    p[axis] += sign * size[axis] / 2
                    p[u] += size[u] * ((i + 0.5) / nu - 0.5)
                    p[v] += size[v] * ((j + 0.5) / nv - 0.5)
                    points.append(p)
                    areas.append(size[u] * size[v] / (nu * nv))
                    normals.append(np.eye(3)[axis] * sign)
                    wide = np.zeros(3)
                    wide[u], wide[v] = size[u] / nu, size[v] / nv
                    spreads.append(np.diag(wide**2) / 12.0)
    return np.array(points), np.array(areas), np.array(normals), np.array(spreads)


def make_quad(spacing: float = 0.012, *, thickness: float = 0.005, **change: Any) -> Quad:
    """A quad of boxes, symmetric about the x-z plane."""
    parts, arms, skin = [], [], []

    def add(name, kind, material, mass, centre, size, arm=CORE, **measures):
        centre = np.array(centre, dtype=float)
        square = np.array(size) ** 2
        inertia = mass / 12 * np.diag(square.sum() - square)
        corners = np.array([[x, y, z] for x in (-1, 1) for y in (-1, 1) for z in (-1, 1)]) / 2
        parts.append(
            Part(
                name, name.replace("_", " "), kind, material, mass, centre, inertia,
                centre + corners * np.array(size), np.zeros((0, 3), dtype=np.int32), arm, "", measures,
            )
        )  # fmt: skip
        return len(parts) - 1, box_points(centre, size, spacing)

    core = [
        ("bottom_plate", "plate", "carbon_plate", 0.030, (0, 0, -0.0012), (0.10, 0.036, 0.0025)),
        ("top_plate", "plate", "carbon_plate", 0.025, (0, 0, 0.031), (0.11, 0.034, 0.002)),
        ("flight_board", "board", "fr4", 0.020, (0, 0, 0.014), (0.036, 0.036, 0.006)),
        ("camera", "camera", "pc", 0.009, (0.048, 0, 0.020), (0.019, 0.019, 0.019)),
        ("lens", "lens", "glass", 0.003, (0.060, 0, 0.020), (0.008, 0.010, 0.010)),
        ("video", "antenna", "copper", 0.004, (-0.07, 0, 0.045), (0.006, 0.006, 0.050)),
        ("battery", "battery", "lipo", 0.215, (-0.002, 0, 0.052), (0.075, 0.036, 0.038)),
    ]
    for row in core:
        index, found = add(*row, thickness=min(row[5]))
        skin.append((index, CORE, found))
    half = 0.08
    for i, (sx, sy) in enumerate(((1, 1), (1, -1), (-1, 1), (-1, -1))):
        axis = np.array([sx, sy, 0.0]) / np.sqrt(2)
        tip = np.array([sx * half, sy * half, thickness / 2])
        root = tip - 0.085 * axis
        middle = 0.5 * (root + tip)
        arm_index, _ = add(f"arm_{i}", "arm", "carbon_plate", 0.011, middle, (0.06, 0.06, thickness), i)
        rows = [box_points((0, 0, 0), (0.085, 0.014, thickness), spacing)]
        turn = np.column_stack([axis, np.cross([0, 0, 1.0], axis), [0, 0, 1.0]])
        p, a, n, c = rows[0]
        skin.append((arm_index, i, (p @ turn.T + middle, a, n @ turn.T, turn @ c @ turn.T)))
        motor_index, found = add(
            f"motor_{i}", "motor", "al6061", 0.034, tip + np.array([0, 0, 0.012]), (0.026, 0.026, 0.018), i,
            shaft_diameter=0.004,
        )  # fmt: skip
        skin.append((motor_index, i, found))
        prop_index, found = add(
            f"prop_{i}", "prop", "prop_blade", 0.004, tip + np.array([0, 0, 0.026]), (0.10, 0.10, 0.004), i
        )
        p, a, n, c = found
        skin.append((prop_index, i, (p, a * 0.15, n, c)))
        arms.append(
            Arm(
                i, arm_index, motor_index, prop_index, root, tip, axis, 0.085, 0.016, 0.012, thickness,
                0.0032,
                "carbon_plate", 0.011, 0.040,
            )
        )  # fmt: skip
    skin.sort(key=lambda s: s[0])
    points = ContactPoints(
        position=np.concatenate([s[2][0] for s in skin]),
        area=np.concatenate([s[2][1] for s in skin]),
        normal=np.concatenate([s[2][2] for s in skin]),
        part=np.concatenate([np.full(len(s[2][1]), s[0], dtype=np.int32) for s in skin]),
        arm=np.concatenate([np.full(len(s[2][1]), s[1], dtype=np.int32) for s in skin]),
        station=np.concatenate(
            [
                np.zeros(len(s[2][1]))
                if s[1] == CORE
                else np.clip((s[2][0] - arms[s[1]].root) @ arms[s[1]].axis / 0.085, 0, 1)
                if parts[s[0]].kind == "arm"
                else np.ones(len(s[2][1]))
                for s in skin
            ]
        ),
        spread=np.concatenate([s[2][3] for s in skin])[:, [0, 1, 2, 0, 0, 1], [0, 1, 2, 1, 2, 2]],
    )
    mass = sum(p.mass for p in parts) + 0.1  # the rest of the aircraft: standoffs, wires, screws
    cog = (sum(p.mass * p.centre for p in parts) + 0.1 * np.array([0, 0, 0.015])) / mass
    inertia = 0.1 * np.diag([1e-4, 2e-4, 2e-4])
    for m, c, own in [(p.mass, p.centre, p.inertia) for p in parts] + [(0.1, np.array([0, 0, 0.015]), 0)]:
        d = c - cog
        inertia = inertia + own + m * (d @ d * np.eye(3) - np.outer(d, d))
    fields: dict[str, Any] = {
        "name": "Boxes",
        "slug": "boxes",
        "parts": tuple(parts),
        "arms": tuple(arms),
        "joints": (),
        "points": points,
        "mass_properties": MassProperties(mass, cog, inertia),
        "weighed": None,
        "notes": (),
        "sheet": None,
        "digest": f"boxes-{spacing}-{thickness}",
    }
    return Quad(**(fields | change))
