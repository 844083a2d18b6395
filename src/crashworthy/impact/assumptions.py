"""What a crash test takes for granted, number by number, each with its source or the word "assumption".

Surfaces of the obstacles and skins of the parts as the contact tables have them; the mix of obstacles with
its shares; how the quad flies before it touches. Nothing is drawn or crashed here.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from crashworthy.impact.scenario import ASSUMED, MET, Scenario
from crashworthy.impact.words import plain_numbers, plural_of
from crashworthy.materials.table import datum, rows

if TYPE_CHECKING:
    from crashworthy.build.quad import Quad
    from crashworthy.impact.scenario import Obstacle

__all__ = ["TOGETHER", "Assumed", "Given", "MixRow", "Number", "Surface", "assumed"]

TOGETHER: Final = (
    "surface and skin press as springs in series: the softer one crushes, the one that loses more decides "
    "the rebound, friction is the geometric mean (assumption)"
)
"""How two surfaces become one contact (``contact.combine``)."""

_NUMBERS: Final = (
    ("stiffness", "bed_stiffness", 1e9, "GPa/m"),
    ("crush pressure", "crush_pressure", 1e6, "MPa"),
    ("restitution", "restitution", 1.0, ""),
    ("friction", "friction", 1.0, ""),
)
"""Words, table row, and the unit in which people read it, with its size."""

_SIZES: Final = {
    "net": ("mass", "stiffness"),
    "pole": ("radius",),
    "branch": ("radius", "free_length"),
    "rail": ("size", "radius"),
    "edge": ("size", "radius"),
    "spike": ("radius",),
    "rubble": ("radius", "size"),
    "gap": ("radius", "size"),
}
"""Fields that a kind of obstacle uses."""


@dataclass(frozen=True, slots=True)
class Number:
    """One number of the contact table.

    Attributes:
        name: "stiffness" (pressure per depth), "crush pressure", "restitution" or "friction".
        value, low, high: best estimate and range, in ``unit``.
        unit: SI; "" for a ratio.
        figures, shown_in: the same as people read it, value (low–high), and the unit of these.
        source, access: origin, see ``materials.table.ACCESS``.
    """

    name: str
    value: float
    low: float
    high: float
    unit: str
    figures: str
    shown_in: str
    source: str
    access: str


@dataclass(frozen=True, slots=True)
class Surface:
    """A surface of obstacles, or the skin of some parts.

    Attributes:
        name: in words.
        of: the obstacles, or the parts, that have it.
        share: of the crashes that meet it; 0 for a skin.
        numbers: in the order stiffness, crush pressure, restitution, friction.
    """

    name: str
    of: tuple[str, ...]
    share: float
    numbers: tuple[Number, ...]


@dataclass(frozen=True, slots=True)
class MixRow:
    """One obstacle of the mix.

    Attributes:
        name, kind, surface: of it.
        share: of all crashes.
        sizes: in words, with units; "" for a kind that has none.
        source: of share and sizes.
    """

    name: str
    kind: str
    surface: str
    share: float
    sizes: str
    source: str


@dataclass(frozen=True, slots=True)
class Given:
    """One thing about the flight or the obstacles: what, how, and where that comes from."""

    what: str
    how: str
    source: str


@dataclass(frozen=True, slots=True)
class Assumed:
    """Everything that a campaign was given.

    Attributes:
        scenario: its name.
        surfaces: of the obstacles, most met first.
        skins: of the parts that can be touched; none without a build.
        mix: obstacle by obstacle.
        flight: speed, attitude, spin, approach, and how obstacles are met.
    """

    scenario: str
    surfaces: tuple[Surface, ...]
    skins: tuple[Surface, ...]
    mix: tuple[MixRow, ...]
    flight: tuple[Given, ...]

    def summary(self) -> str:
        """One sentence: how many numbers there are, and how many of them are assumptions."""
        numbers = [n for s in (*self.surfaces, *self.skins) for n in s.numbers]
        without = sum(n.access == "assumption" for n in numbers)
        told = [r.source for r in self.mix]
        return (
            f"{without} of {len(numbers)} numbers of {len(self.surfaces)} surfaces and {len(self.skins)} "
            f"skins and {sum(s == ASSUMED for s in told)} of {len(told)} rows of the mix are assumptions."
        )

    @property
    def alike(self) -> dict[str, str]:
        """Source of those numbers that have the same source on every surface and skin, by their name."""
        told: dict[str, set[str]] = {}
        for surface in (*self.surfaces, *self.skins):
            for number in surface.numbers:
                told.setdefault(number.name, set()).add(_origin(number))
        return {name: sources.pop() for name, sources in told.items() if len(sources) == 1}

    def to_json(self) -> dict[str, Any]:
        """Plain data, SI units, numbers to nine significant digits.

        Each surface and skin also has ``sources``: in words, what is not in ``alike``.
        """
        data = asdict(self)
        alike = self.alike
        for group in ("surfaces", "skins"):
            for surface, row in zip(getattr(self, group), data[group], strict=True):
                row["sources"] = "; ".join(
                    f"{n.name}: {_origin(n)}" for n in surface.numbers if n.name not in alike
                )
        same = "; ".join(f"{name}: {source}" for name, source in alike.items())
        plain: dict[str, Any] = plain_numbers(
            {"summary": self.summary(), **data, "alike": same, "together": TOGETHER}
        )
        return plain


def _origin(number: Number) -> str:
    """The source; how it was obtained is added where the source does not begin with that word."""
    known = number.source.startswith(number.access)
    return number.source if known else f"{number.source} ({number.access})"


def assumed(scenario: Scenario | None = None, quad: Quad | None = None) -> Assumed:
    """List what a crash test takes for granted.

    Args:
        scenario: what is met; the assumed everyday mix by default.
        quad: the build, for the skins of its parts; without, there are none.
    """
    scenario = scenario or Scenario.default()
    met = [(o, share) for o, share in zip(scenario.obstacles, scenario.shares, strict=True) if share > 0.0]
    return Assumed(
        scenario=scenario.name,
        surfaces=_surfaces(met),
        skins=() if quad is None else _skins(quad),
        mix=tuple(
            MixRow(o.name, o.kind, o.surface, share, _sizes(o), o.source)
            for o, share in sorted(met, key=lambda x: -x[1])
        ),
        flight=_flight(scenario, {o.kind for o, _ in met}),
    )


def _short(x: float) -> str:
    return f"{x:.0f}" if x >= 100.0 else f"{x:.3g}"


def _numbers(key: str) -> tuple[Number, ...]:
    found = []
    for name, row, size, unit in _NUMBERS:
        d = datum(key, row)
        low, high = d.low, min(d.high, 1.0) if name == "restitution" else d.high
        figures = f"{_short(d.value / size)} ({_short(low / size)}–{_short(high / size)})"
        found.append(Number(name, d.value, low, high, d.unit, figures, unit, d.source, d.access))
    return tuple(found)


def _surfaces(met: list[tuple[Obstacle, float]]) -> tuple[Surface, ...]:
    shares: dict[str, float] = {}
    names: dict[str, list[str]] = {}
    for obstacle, share in met:
        shares[obstacle.surface] = shares.get(obstacle.surface, 0.0) + share
        names.setdefault(obstacle.surface, []).append(obstacle.name)
    return tuple(
        Surface(s, tuple(names[s]), shares[s], _numbers(f"surface_{s}"))
        for s in sorted(shares, key=lambda s: -shares[s])
    )


def _skins(quad: Quad) -> tuple[Surface, ...]:
    """Skins of the parts that have contact points, by row of the table, as ``model.model_of`` takes them."""
    kinds: dict[str, list[str]] = {}
    for index in np.unique(quad.points.part):
        part = quad.parts[index]
        tried = (f"part_{part.kind}", part.material, "part_default")
        key = next(k for k in tried if (k, "bed_stiffness") in rows())
        words = plural_of(part.kind)
        if words not in kinds.setdefault(key, []):
            kinds[key].append(words)
    return tuple(Surface(_skin_words(key, of), tuple(of), 0.0, _numbers(key)) for key, of in kinds.items())


def _skin_words(key: str, of: list[str]) -> str:
    listed = ", ".join(of)
    if key == "part_default":
        return f"{listed} (unknown make)"
    return listed if key.startswith("part_") else f"{listed} ({key.replace('_', ' ')})"


def _span(pair: tuple[float, float], unit: str, size: float) -> str:
    low, high = (f"{x / size:.3g}" for x in pair)
    return f"{low} {unit}" if low == high else f"{low}–{high} {unit}"


def _sizes(o: Obstacle) -> str:
    words = {
        "radius": f"radius {_span(o.radius, 'mm', 1e-3)}",
        "size": f"{_SIZE_WORDS.get(o.kind, 'size')} {_span(o.size, 'mm', 1e-3)}",
        "free_length": f"hit {_span(o.free_length, 'm', 1.0)} from its root",
        "mass": f"{o.mass:g} kg",
        "stiffness": f"on {o.stiffness / 1000:g} kN/m",
    }
    if not any(o.free_length):
        words["free_length"] = "does not give"
    return ", ".join(words[field] for field in _SIZES.get(o.kind, ()))


_SIZE_WORDS: Final = {
    "rubble": "stone to stone",
    "gap": "between axes",
    "rail": "half side",
    "edge": "half side",
}


def _flight(scenario: Scenario, kinds: set[str]) -> tuple[Given, ...]:
    s, a, spin, way = scenario.speed, scenario.attitude, scenario.spin, scenario.approach
    whole = a.nose + a.tumble + a.flat
    nose, tumble, flat = (100.0 * x / whole for x in (a.nose, a.tumble, a.flat))
    found = [
        Given(
            "speed before impact",
            f"lognormal, half above {s.median:.3g} m/s, sd of ln {s.sd_ln:.3g}, cut to "
            f"{s.low:g}–{s.high:g} m/s",
            s.source,
        ),
        Given(
            "attitude at first touch",
            f"{nose:.3g} % nose first, pitched {a.pitch_low:g}–{a.pitch_high:g}° towards the path, roll sd "
            f"{a.roll_sd:g}°; {tumble:.3g} % any; {flat:.3g} % level or upside down, tilt sd {a.flat_sd:g}°",
            a.source,
        ),
        Given(
            "spin",
            f"each axis normal, sd {spin.calm_sd:g} rad/s, {spin.tumble_sd:g} rad/s when tumbling",
            spin.source,
        ),
    ]
    if kinds & {"ground", "wall", "net", "rubble", "spike"}:
        how = f"beta({way.a:g}, {way.b:g}) over {way.low:g}–{way.high:g}°"
        found.append(Given("angle between path and ground, wall or fence", how, way.source))
    if kinds & {"pole", "branch", "rail", "edge", "gap"}:
        how = (
            f"the path descends by {way.descent:g}°, sd {way.descent_sd:g}°; level ones within "
            f"{way.across:g}° of across"
        )
        found.append(Given("path to bars and edges", how, way.source))
    found += [Given(what, how, source) for used, what, how, source in MET if kinds.intersection(used)]
    return tuple(found)
