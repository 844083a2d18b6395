"""Contact of all parts with the obstacle in one step: broad phase, depth, law, friction, bookkeeping."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from crashworthy.impact.contact import elastic_energy, elastic_pressure, friction, press
from crashworthy.impact.jit import physics
from crashworthy.impact.obstacle import gap_normal

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from crashworthy.impact.craft import Beds, Craft

    Floats = NDArray[np.float64]

__all__ = ["press_parts"]


@physics
def press_parts(  # noqa: C901 - one pass over the parts; taking it apart would hide the physics
    craft: Craft,
    beds: Beds,
    law: int,
    kind: int,
    surface: int,
    radius: float,
    o: Floats,
    n: Floats,
    v: Floats,
    w: Floats,
    u: Floats,
    du: Floats,
    speed: float,
    dt: float,
    step: int,
    c: int,
    fastest: float,
    rest: NDArray[np.int64],
    stored: Floats,
    weight: Floats,
    stiff: Floats,
    touching: Floats,
    count: Floats,
    load: Floats,
    modal: Floats,
    lever: Floats,
    book: Floats,
    peak: Floats,
    impulse: Floats,
    touched: Floats,
) -> None:
    """Sum the contact forces of one step.

    A part whose bounding sphere or nearest point is clear of the obstacle is left alone for as many steps as
    it
    must at least take to come near. A point takes the share of its area that
    faces the obstacle when it first touches, and keeps it while it touches (so that its spring has an
    energy).

    Args:
        craft: the quad.
        beds: contact beds.
        law: law of contact.
        kind: shape of the obstacle.
        surface: row of ``beds``.
        radius: of the obstacle, m.
        o: (3,) its place, body frame, m.
        n: (3,) its normal or axis, body frame.
        v: (3,) velocity of O, body frame, m/s.
        w: (3,) body rate, rad/s.
        u: (a, 2) tip deflections, m.
        du: (a, 2) their rates, m/s.
        speed: closing speed at first contact, m/s.
        dt: time step, s.
        step: its number.
        c: column of the results.
        fastest: speed that no point can exceed (from the energy at the start), m/s.
        rest: (parts,) steps for which a part far away need not be looked at.
        stored: (points,) indentation carried from step to step, m.
        weight: (points,) area pressed, carried from step to step, m²; 0 while not touching.
        stiff: (a + 1,) set to the summed contact stiffness on each arm and, last, the core, N/m.
        touching: (a + 1,) contacts there in the last step; set to this step's.
        count: (a + 1,) scratch.
        load: (6,) force and torque about O are added here.
        modal: (a, 2) forces on the tips' freedoms are added here.
        lever: (a, 2) what the root feels beyond the tip's spring, sum (station - shape) F, is added here, N.
        book: elastic energy now, energy dissipated so far, greatest depth over its limit, contacts now.
        peak: (parts, crashes) result, N.
        impulse: (parts, crashes) result, N s.
        touched: (parts, crashes) result, s.
    """
    n_arms = len(craft.tip_mass)
    ox, oy, oz, nx0, ny0, nz0 = o[0], o[1], o[2], n[0], n[1], n[2]
    elastic, contacts = 0.0, 0
    for body in range(n_arms + 1):
        stiff[body] = 0.0
        count[body] = 0.0
    for part in range(len(craft.radius)):
        if rest[part] > 0:
            rest[part] -= 1
            continue
        a = craft.arm[part]
        body = a if a >= 0 else n_arms
        slack = craft.radius[part]
        if a >= 0:
            slack += abs(u[a, 0]) + abs(u[a, 1])
        gap, _, _, _ = gap_normal(
            kind, ox, oy, oz, nx0, ny0, nz0, radius,
            craft.centre[part, 0], craft.centre[part, 1], craft.centre[part, 2],
        )  # fmt: skip
        if gap > slack:
            rest[part] = int(min((gap - slack) / (fastest * dt), 1000.0))
            continue
        k, p_y = beds.stiffness[surface, part], beds.crush[surface, part]
        d_y, mu = beds.depth[surface, part], beds.friction[surface, part]
        alpha = beds.damping[surface, part] / speed
        limit = 0.1 if beds.in_ground[surface, part] else craft.depth_limit[part]
        cap = 0.5 * craft.contact_mass[body] / (dt * max(1.0, touching[body]))
        bx = by = bz = cx = cy = cz = 0.0
        if a >= 0:
            s = craft.side[a]
            bx = u[a, 0] * s[0, 0] + u[a, 1] * s[1, 0]
            by = u[a, 0] * s[0, 1] + u[a, 1] * s[1, 1]
            bz = u[a, 0] * s[0, 2] + u[a, 1] * s[1, 2]
            cx = du[a, 0] * s[0, 0] + du[a, 1] * s[1, 0]
            cy = du[a, 0] * s[0, 1] + du[a, 1] * s[1, 1]
            cz = du[a, 0] * s[0, 2] + du[a, 1] * s[1, 2]
        total, nearest, inside = 0.0, 1e9, False
        for i in range(craft.start[part], craft.start[part + 1]):
            phi = craft.shape[i]
            x = craft.position[i, 0] + phi * bx
            y = craft.position[i, 1] + phi * by
            z = craft.position[i, 2] + phi * bz
            gap, nx, ny, nz = gap_normal(kind, ox, oy, oz, nx0, ny0, nz0, radius, x, y, z)
            if gap >= 0.0:
                weight[i] = 0.0
                nearest = min(nearest, gap)
                continue
            inside = True
            fresh = weight[i] == 0.0
            if fresh:
                mx, my, mz = craft.normal[i, 0], craft.normal[i, 1], craft.normal[i, 2]
                facing = -(mx * nx + my * ny + mz * nz)
                if mx == 0.0 and my == 0.0 and mz == 0.0:
                    facing = 1.0
                if facing <= 0.0:
                    continue
                weight[i] = facing * craft.area[i]
            area = weight[i]
            sx = v[0] + w[1] * z - w[2] * y + phi * cx
            sy = v[1] + w[2] * x - w[0] * z + phi * cy
            sz = v[2] + w[0] * y - w[1] * x + phi * cz
            rate = -(sx * nx + sy * ny + sz * nz)
            depth = -gap
            if fresh and depth > 2.0 * abs(rate) * dt:
                # Turned to face the obstacle while already inside: what it displaced is displaced, nothing
                # springs.
                stored[i] = max(stored[i], depth)
            p, d_e, d_p = press(law, k, p_y, d_y, alpha, depth, rate, stored[i])
            if total == 0.0 and math.isnan(touched[part, c]):
                touched[part, c] = step * dt
            book[2] = max(book[2], depth / limit)
            contacts += 1
            count[body] += 1.0
            if d_e <= 0.0:
                continue
            normal = area * p
            tx, ty, tz = sx + rate * nx, sy + rate * ny, sz + rate * nz
            sliding = math.sqrt(tx * tx + ty * ty + tz * tz) + 1e-12
            rub = friction(mu, normal, sliding, cap)
            fx = normal * nx - rub * tx / sliding
            fy = normal * ny - rub * ty / sliding
            fz = normal * nz - rub * tz / sliding
            elastic += area * elastic_energy(law, k, d_e)
            book[1] += area * (p_y * (d_p - stored[i]) + (p - elastic_pressure(law, k, d_e)) * rate * dt)
            book[1] += rub * sliding * dt
            stored[i] = d_p
            total += normal
            load[0] += fx
            load[1] += fy
            load[2] += fz
            load[3] += y * fz - z * fy
            load[4] += z * fx - x * fz
            load[5] += x * fy - y * fx
            stiff[body] += 1.5 * area * elastic_pressure(law, k, d_e) / d_e if law else area * k
            if a >= 0:
                for j in range(2):
                    push = fx * craft.side[a, j, 0] + fy * craft.side[a, j, 1] + fz * craft.side[a, j, 2]
                    modal[a, j] += phi * push
                    lever[a, j] += (craft.station[i] - phi) * push
        if not inside:
            rest[part] = int(min(nearest / (fastest * dt), 1000.0))
            continue
        peak[part, c] = max(peak[part, c], total)
        impulse[part, c] += total * dt
    touching[:] = count
    book[0] = elastic
    book[3] = contacts
