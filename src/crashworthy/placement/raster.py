"""Compiled kernels behind the hit shares: depth images, silhouettes, dilation, profiles.

A frame is a (3, 3) matrix of rows u, v, w; w points towards the obstacle, so the greatest w is met first.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from crashworthy.placement.jit import kernel

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int32]

__all__ = ["cover", "pole_cover", "touch"]


@kernel
def _draw(
    corners: Floats, part: Ints, f: Floats, u0: float, v0: float, px: float, depth: Floats, who: Ints
) -> None:
    """Rasterise triangles that face the obstacle: at each pixel centre the greatest w and its part."""
    nv, nu = depth.shape
    p = np.empty((3, 3))
    for t in range(len(corners)):
        for i in range(3):
            x, y, z = corners[t, i, 0], corners[t, i, 1], corners[t, i, 2]
            p[i, 0] = (f[0, 0] * x + f[0, 1] * y + f[0, 2] * z - u0) / px
            p[i, 1] = (f[1, 0] * x + f[1, 1] * y + f[1, 2] * z - v0) / px
            p[i, 2] = f[2, 0] * x + f[2, 1] * y + f[2, 2] * z
        ax, ay, az = p[0, 0], p[0, 1], p[0, 2]
        bx, by, cx, cy = p[1, 0] - ax, p[1, 1] - ay, p[2, 0] - ax, p[2, 1] - ay
        double = bx * cy - by * cx
        if double <= 1e-12:
            continue
        slope_u = ((p[1, 2] - az) * cy - (p[2, 2] - az) * by) / double
        slope_v = ((p[2, 2] - az) * bx - (p[1, 2] - az) * cx) / double
        low = max(0, int(np.ceil(min(p[0, 1], p[1, 1], p[2, 1]) - 1e-9)))
        high = min(nv - 1, int(np.floor(max(p[0, 1], p[1, 1], p[2, 1]) + 1e-9)))
        for j in range(low, high + 1):
            left, right = 1e30, -1e30
            for i in range(3):
                k = (i + 1) % 3
                y1, y2 = p[i, 1], p[k, 1]
                if (y1 - j) * (y2 - j) <= 0.0:
                    if y1 == y2:
                        left, right = min(left, p[i, 0], p[k, 0]), max(right, p[i, 0], p[k, 0])
                    else:
                        x = p[i, 0] + (j - y1) / (y2 - y1) * (p[k, 0] - p[i, 0])
                        left, right = min(left, x), max(right, x)
            first = max(0, int(np.ceil(left - 1e-9)))
            last = min(nu - 1, int(np.floor(right + 1e-9)))
            z = az + slope_v * (j - ay) + slope_u * (first - ax)
            for i in range(first, last + 1):
                if z > depth[j, i]:
                    depth[j, i] = z
                    who[j, i] = part[t]
                z += slope_u


@kernel
def _outline(
    edges: Floats,
    sides: Floats,
    part: Ints,
    f: Floats,
    u0: float,
    v0: float,
    px: float,
    depth: Floats,
    at: Floats,
    who: Ints,
) -> None:
    """Samples of the silhouette edges at their exact places, the highest in each pixel (places in pixels)."""
    nv, nu = depth.shape
    for e in range(len(edges)):
        s1 = f[2, 0] * sides[e, 0, 0] + f[2, 1] * sides[e, 0, 1] + f[2, 2] * sides[e, 0, 2]
        s2 = f[2, 0] * sides[e, 1, 0] + f[2, 1] * sides[e, 1, 1] + f[2, 2] * sides[e, 1, 2]
        if s1 * s2 > 0.0:
            continue
        x, y, z = edges[e, 0, 0], edges[e, 0, 1], edges[e, 0, 2]
        dx, dy, dz = edges[e, 1, 0] - x, edges[e, 1, 1] - y, edges[e, 1, 2] - z
        u, du = (
            (f[0, 0] * x + f[0, 1] * y + f[0, 2] * z - u0) / px,
            (f[0, 0] * dx + f[0, 1] * dy + f[0, 2] * dz) / px,
        )
        v, dv = (
            (f[1, 0] * x + f[1, 1] * y + f[1, 2] * z - v0) / px,
            (f[1, 0] * dx + f[1, 1] * dy + f[1, 2] * dz) / px,
        )
        w, dw = f[2, 0] * x + f[2, 1] * y + f[2, 2] * z, f[2, 0] * dx + f[2, 1] * dy + f[2, 2] * dz
        steps = max(1, int(np.ceil(np.sqrt(du * du + dv * dv))))
        for k in range(steps + 1):
            t = k / steps
            i, j = int(np.floor(u + t * du + 0.5)), int(np.floor(v + t * dv + 0.5))
            if 0 <= i < nu and 0 <= j < nv and w + t * dw > depth[j, i]:
                depth[j, i] = w + t * dw
                at[j, i, 0], at[j, i, 1] = u + t * du, v + t * dv
                who[j, i] = part[e]


@kernel
def _span(corners: Floats, f: Floats, margin: float) -> tuple[float, float, float, float]:
    """Least and greatest u and v of all corners, widened."""
    u0, u1, v0, v1 = 1e30, -1e30, 1e30, -1e30
    for t in range(len(corners)):
        for i in range(3):
            x, y, z = corners[t, i, 0], corners[t, i, 1], corners[t, i, 2]
            u = f[0, 0] * x + f[0, 1] * y + f[0, 2] * z
            v = f[1, 0] * x + f[1, 1] * y + f[1, 2] * z
            u0, u1, v0, v1 = min(u0, u), max(u1, u), min(v0, v), max(v1, v)
    return u0 - margin, u1 + margin, v0 - margin, v1 + margin


@kernel
def _cap(radius: float, px: float, reach: int) -> Floats:
    """How far a ball's side lies below its top at whole pixels, from its centre; far below outside it."""
    cap = np.full((2 * reach + 1, 2 * reach + 1), -1e30)
    for b in range(-reach, reach + 1):
        for a in range(-reach, reach + 1):
            rest = (radius / px) ** 2 - a * a - b * b
            if rest >= 0.0:
                cap[b + reach, a + reach] = px * np.sqrt(rest)
    return cap


@kernel
def _first(
    i: int, j: int, depth: Floats, who: Ints, rim: Floats, at: Floats, rim_who: Ints, cap: Floats, px: float
) -> int:
    """Part that a ball on the line through pixel (j, i) touches first, or -1."""
    nv, nu = depth.shape
    reach = len(cap) // 2
    r2, radius = (cap[reach, reach] / px) ** 2, cap[reach, reach]
    best, hit = -1e29, -1
    if depth[j, i] > best:
        best, hit = depth[j, i] + radius, who[j, i]
    for b in range(max(0, j - reach), min(nv - 1, j + reach) + 1):
        for a in range(max(0, i - reach), min(nu - 1, i + reach) + 1):
            z = depth[b, a] + cap[b - j + reach, a - i + reach]
            if z > best:
                best, hit = z, who[b, a]
            if rim[b, a] + radius > best:
                rest = r2 - (at[b, a, 0] - i) ** 2 - (at[b, a, 1] - j) ** 2
                if rest >= 0.0 and rim[b, a] + px * np.sqrt(rest) > best:
                    best, hit = rim[b, a] + px * np.sqrt(rest), rim_who[b, a]
    return hit


@kernel
def cover(
    corners: Floats,
    part: Ints,
    edges: Floats,
    sides: Floats,
    edge_part: Ints,
    frames: Floats,
    radius: float,
    px: float,
    stride: int,
    number: int,
    out: Floats,
) -> None:
    """Area across which each part is touched first by a ball (radius 0: a spike), m².

    Args:
        corners: (t, 3, 3) triangles.
        part: (t,) their parts.
        edges: (e, 2, 3).
        sides: (e, 2, 3) normals of the faces at the edges.
        edge_part: (e,).
        frames: (d, 3, 3).
        radius: m.
        px: pixel, m.
        stride: pixels between lines.
        number: of the first frame; the grid's place depends on it.
        out: (d, parts), added to.
    """
    low = -1e30
    reach = int(np.ceil(radius / px + 0.5))
    cap = _cap(radius, px, reach)
    for d in range(len(frames)):
        f = frames[d]
        # The grid's place changes from direction to direction, so that no edge stays beside its pixels.
        u0, u1, v0, v1 = _span(corners, f, radius + px)
        u0 -= px * stride * (((number + d) * 0.7548776662466927) % 1.0)
        v0 -= px * stride * (((number + d) * 0.5698402909980532) % 1.0)
        nu, nv = int((u1 - u0) / px) + 2, int((v1 - v0) / px) + 2
        depth, who = np.full((nv, nu), low), np.full((nv, nu), -1, dtype=np.int32)
        _draw(corners, part, f, u0, v0, px, depth, who)
        if radius <= 0.0:
            for j in range(nv):
                for i in range(nu):
                    if who[j, i] >= 0:
                        out[d, who[j, i]] += px * px
            continue
        rim, rim_who = np.full((nv, nu), low), np.full((nv, nu), -1, dtype=np.int32)
        at = np.zeros((nv, nu, 2))
        _outline(edges, sides, edge_part, f, u0, v0, px, rim, at, rim_who)
        for j in range(0, nv, stride):
            for i in range(0, nu, stride):
                hit = _first(i, j, depth, who, rim, at, rim_who, cap, px)
                if hit >= 0:
                    out[d, hit] += (px * stride) ** 2


@kernel
def _profile(
    edges: Floats, part: Ints, f: Floats, v0: float, px: float, depth: Floats, who: Ints, at: Floats
) -> None:
    """Greatest w over v of all edges: at whole pixels along them and at their ends exactly."""
    for e in range(len(edges)):
        x, y, z = edges[e, 0, 0], edges[e, 0, 1], edges[e, 0, 2]
        va = (f[1, 0] * x + f[1, 1] * y + f[1, 2] * z - v0) / px
        wa = f[2, 0] * x + f[2, 1] * y + f[2, 2] * z
        x, y, z = edges[e, 1, 0], edges[e, 1, 1], edges[e, 1, 2]
        vb = (f[1, 0] * x + f[1, 1] * y + f[1, 2] * z - v0) / px
        wb = f[2, 0] * x + f[2, 1] * y + f[2, 2] * z
        for v, w in ((va, wa), (vb, wb)):
            j = int(np.floor(v + 0.5))
            if w > depth[j]:
                depth[j], who[j], at[j] = w, part[e], v
        if va > vb:
            va, vb, wa, wb = vb, va, wb, wa
        for j in range(int(np.ceil(va)), int(np.floor(vb)) + 1):
            w = wa + (j - va) / max(vb - va, 1e-12) * (wb - wa)
            if w > depth[j]:
                depth[j], who[j], at[j] = w, part[e], j


@kernel
def _first_pole(j: int, depth: Floats, who: Ints, at: Floats, radius: float, px: float) -> int:
    """Part that a pole through place j of a profile touches first, or -1."""
    n = len(depth)
    reach = int(np.ceil(radius / px + 0.5))
    r2 = (radius / px) ** 2
    best, hit = -1e29, -1
    for b in range(max(0, j - reach), min(n - 1, j + reach) + 1):
        if depth[b] + radius > best:
            rest = r2 - (at[b] - j) ** 2
            if rest >= 0.0 and depth[b] + px * np.sqrt(rest) > best:
                best, hit = depth[b] + px * np.sqrt(rest), who[b]
    return hit


@kernel
def pole_cover(
    edges: Floats, part: Ints, frames: Floats, radius: float, px: float, number: int, out: Floats
) -> None:
    """Width across which each part is touched first by a long pole along u, m.

    The profile of a triangle seen along the pole is bounded by its edges, so edges suffice.

    Args:
        edges: (e, 2, 3).
        part: (e,).
        frames: (d, 3, 3), u along the pole.
        radius: m.
        px: step across, m.
        number: of the first frame; the grid's place depends on it.
        out: (d, parts), added to.
    """
    for d in range(len(frames)):
        f = frames[d]
        v0, v1 = 1e30, -1e30
        for e in range(len(edges)):
            for i in range(2):
                v = f[1, 0] * edges[e, i, 0] + f[1, 1] * edges[e, i, 1] + f[1, 2] * edges[e, i, 2]
                v0, v1 = min(v0, v), max(v1, v)
        v0 -= radius + px * (1.0 + ((number + d) * 0.6180339887498949) % 1.0)
        n = int((v1 + radius - v0) / px) + 3
        depth, who, at = np.full(n, -1e30), np.full(n, -1, dtype=np.int32), np.zeros(n)
        _profile(edges, part, f, v0, px, depth, who, at)
        for j in range(n):
            hit = _first_pole(j, depth, who, at, radius, px)
            if hit >= 0:
                out[d, hit] += px


@kernel
def touch(
    corners: Floats,
    part: Ints,
    edges: Floats,
    sides: Floats,
    edge_part: Ints,
    frame: Floats,
    u: float,
    v: float,
    radius: float,
    px: float,
    pole: bool,
) -> int:
    """Part that one obstacle on one line touches first, or -1: the line at (u, v) of a frame, m."""
    reach = int(np.ceil(radius / px + 0.5))
    n = 2 * reach + 3
    low = -1e30
    middle = reach + 1
    v0 = v - middle * px
    if pole:
        # The profile of the whole quad, on a grid that has the line on one of its places.
        across = corners.reshape(-1, 3) @ frame[1]
        before = max(middle, int(np.ceil((v - across.min()) / px)) + 1)
        wide = before + max(middle, int(np.ceil((across.max() - v) / px)) + 1) + 2
        profile, owner = np.full(wide, low), np.full(wide, -1, dtype=np.int32)
        spot = np.zeros(wide)
        _profile(edges, edge_part, frame, v - before * px, px, profile, owner, spot)
        return _first_pole(before, profile, owner, spot, radius, px)
    u0 = u - middle * px
    depth, who = np.full((n, n), low), np.full((n, n), -1, dtype=np.int32)
    _draw(corners, part, frame, u0, v0, px, depth, who)
    rim, rim_who = np.full((n, n), low), np.full((n, n), -1, dtype=np.int32)
    at = np.zeros((n, n, 2))
    _outline(edges, sides, edge_part, frame, u0, v0, px, rim, at, rim_who)
    return _first(middle, middle, depth, who, rim, at, rim_who, _cap(radius, px, reach), px)
