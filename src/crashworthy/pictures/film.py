"""A crash as an animated glTF binary (GLB, ISO/IEC 12113): any viewer plays it.

The node "quad" flies; what moves whole follows its limb and turns with its arm's twist; arms, antennas and
leads bend by three morph targets, one metre of movement along each axis, and arms twist by a fourth, one
radian; the node "obstacle" gives where it gives.
Time runs ``SLOWER`` times slower than it was, because a crash is over in some 10 ms.
"""

from __future__ import annotations

import json
import struct
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from crashworthy.impact.frames import turned
from crashworthy.impact.limbs import limbs_of
from crashworthy.pictures.glb import glb, to_gltf
from crashworthy.pictures.scene import followers, obstacle, twisters

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from crashworthy.build.quad import Quad
    from crashworthy.impact.limbs import Limb
    from crashworthy.impact.replays import Replay

    Floats = NDArray[np.float64]

__all__ = ["SLOWER", "film_glb"]

SLOWER: Final = 500.0
"""How much slower than the crash the film runs."""

_FLOAT: Final = 5126
_JSON, _BINARY = 0x4E4F534A, 0x004E4942


class _File:
    """A GLB taken apart, to which arrays can be added."""

    def __init__(self, data: bytes) -> None:
        size = struct.unpack_from("<I", data, 12)[0]
        self.tree: dict[str, Any] = json.loads(data[20 : 20 + size])
        self.binary = bytearray(data[28 + size :])

    def add(self, values: Floats, kind: str) -> int:
        """Append an array of floats; returns its accessor."""
        array = np.ascontiguousarray(values, dtype=np.float32)
        self.binary += b"\0" * (-len(self.binary) % 4)
        view = {"buffer": 0, "byteOffset": len(self.binary), "byteLength": array.nbytes}
        self.binary += array.tobytes()
        self.tree["bufferViews"].append(view)
        flat = array.reshape(len(array), -1)
        self.tree["accessors"].append(
            {
                "bufferView": len(self.tree["bufferViews"]) - 1,
                "componentType": _FLOAT,
                "count": len(array),
                "type": kind,
                "min": flat.min(axis=0).tolist(),
                "max": flat.max(axis=0).tolist(),
            }
        )
        return len(self.tree["accessors"]) - 1

    def bytes(self) -> bytes:
        """Put it together again."""
        self.binary += b"\0" * (-len(self.binary) % 4)
        self.tree["buffers"] = [{"byteLength": len(self.binary)}]
        text = json.dumps(self.tree, separators=(",", ":"), sort_keys=True).encode()
        text += b" " * (-len(text) % 4)
        whole = 12 + 8 + len(text) + 8 + len(self.binary)
        head = struct.pack("<4sII", b"glTF", 2, whole) + struct.pack("<II", len(text), _JSON)
        return head + text + struct.pack("<II", len(self.binary), _BINARY) + bytes(self.binary)


def _turn(arm: Limb, twist: Floats) -> tuple[Floats, Floats]:
    """What rides at a tip turns about its mass: (frames, 4) quaternion w, x, y, z, and (frames, 3) shift."""
    half = 0.5 * twist[:, None]
    q = np.hstack([np.cos(half), np.sin(half) * arm.axis])
    shift: Floats = arm.place - turned(q, np.broadcast_to(arm.place, (len(q), 3)))
    return q, shift


def film_glb(quad: Quad, replay: Replay) -> bytes:
    """The crash as a film.

    Args:
        quad: the build.
        replay: the crash.

    Returns:
        The file. Each part's node is named after it and carries label, kind and mass in its extras.
    """
    extras = {"label": replay.obstacle, "kind": "obstacle", "shade": 0.3}
    file = _File(glb(quad, None, [("obstacle", obstacle(replay), extras)]))
    tree = file.tree
    nodes = {n.get("name"): i for i, n in enumerate(tree["nodes"])}
    parts = [p for p in quad.parts if len(p.faces)]
    for part in parts:
        tree["nodes"][nodes[part.name]].pop("matrix", None)
    for i, node in enumerate(tree["nodes"]):
        if node.get("children"):
            node["children"] = [c for c in node["children"] if tree["nodes"][c].get("name") == "obstacle"]
            node["children"].append(len(tree["nodes"]))
            top = i
            break
    else:  # a scene of bare nodes
        top = -1
    first = np.hstack([to_gltf(replay.attitude[:1, 1:]), replay.attitude[:1, :1]])[0]
    flying = {
        "name": "quad",
        "children": [nodes[p.name] for p in parts],
        "translation": to_gltf(replay.place[:1])[0].tolist(),
        "rotation": (first / np.linalg.norm(first)).tolist(),
    }
    tree["nodes"].append(flying)
    quad_node = len(tree["nodes"]) - 1
    if top < 0:
        tree["scenes"][0]["nodes"] = [quad_node, nodes["obstacle"]]
    channels: list[dict[str, Any]] = []
    samplers: list[dict[str, Any]] = []
    clock = file.add(replay.time * SLOWER, "SCALAR")

    def animate(node: int, path: str, values: Floats, kind: str) -> None:
        samplers.append({"input": clock, "output": file.add(values, kind), "interpolation": "LINEAR"})
        channels.append({"sampler": len(samplers) - 1, "target": {"node": node, "path": path}})

    animate(quad_node, "translation", to_gltf(replay.place), "VEC3")
    w, xyz = replay.attitude[:, :1], to_gltf(replay.attitude[:, 1:])
    animate(quad_node, "rotation", np.hstack([xyz, w]), "VEC4")
    if np.abs(replay.swing).max(initial=0.0) > 0.0:
        animate(nodes["obstacle"], "translation", to_gltf(replay.swing), "VEC3")
    follows, turns, limbs = followers(quad), twisters(quad), limbs_of(quad)
    for part in parts:
        if part.name not in follows:
            continue
        limb, share = follows[part.name]
        moved = to_gltf(replay.limbs[:, limb])
        if (share == 1.0).all():
            if part.name in turns:
                q, shift = _turn(limbs[limb], replay.twists[:, limb])
                moved = moved + to_gltf(shift)
                animate(nodes[part.name], "rotation", np.hstack([to_gltf(q[:, 1:]), q[:, :1]]), "VEC4")
            animate(nodes[part.name], "translation", moved, "VEC3")
            continue
        mesh = tree["meshes"][tree["nodes"][nodes[part.name]]["mesh"]]
        ways = [np.outer(share, way) for way in np.eye(3)]
        weights = moved
        if part.name in turns:
            ways.append(to_gltf(turns[part.name][1]))
            weights = np.column_stack([moved, replay.twists[:, limb]])
        mesh["primitives"][0]["targets"] = [{"POSITION": file.add(way, "VEC3")} for way in ways]
        mesh["weights"] = [0.0] * len(ways)
        animate(nodes[part.name], "weights", weights.reshape(-1, 1), "SCALAR")
    tree["animations"] = [{"name": f"crash {replay.crash}", "channels": channels, "samplers": samplers}]
    return file.bytes()
