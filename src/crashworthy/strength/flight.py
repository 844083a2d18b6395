"""Flight budget: hover power, endurance, pack current and tip speed, and what each gram costs.

Momentum theory of a rotor in hover: induced speed v = sqrt(T/(2 rho A)), ideal power T v (Leishman,
Principles of Helicopter Aerodynamics, ch. 2, from memory). Real power is ideal over figure of merit and over
the efficiency of motor and controller.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from crashworthy.errors import CrashworthyError, Problem
from crashworthy.materials.table import datum
from crashworthy.quantities import G_N, GRAM, MM, RPM
from crashworthy.strength.atmosphere import air

if TYPE_CHECKING:
    from collections.abc import Iterable

    from crashworthy.build.quad import Quad
    from crashworthy.materials.table import Datum

__all__ = [
    "Budget",
    "Figure",
    "figure_of_merit",
    "flight_budget",
    "hover_power",
    "induced_speed",
    "tip_speed",
]


def induced_speed(thrust: float, area: float, density: float) -> float:
    """Speed of the air through a hovering rotor, m/s: sqrt(T/(2 rho A))."""
    return math.sqrt(thrust / (2.0 * density * area))


def hover_power(
    thrust: float, area: float, density: float, merit: float = 1.0, efficiency: float = 1.0
) -> float:
    """Power to hover, W: T v over figure of merit and efficiency; ideal when both are 1."""
    return thrust * induced_speed(thrust, area, density) / (merit * efficiency)


def figure_of_merit(thrust_coefficient: float, power_coefficient: float) -> float:
    """sqrt(2/pi) Ct^1.5/Cp, with T = Ct rho n² D⁴ and P = Cp rho n³ D⁵, n in rev/s."""
    return math.sqrt(2.0 / math.pi) * math.pow(thrust_coefficient, 1.5) / power_coefficient


def tip_speed(diameter: float, speed: float) -> float:
    """Speed of a blade tip, m/s, for a shaft speed in rad/s."""
    return 0.5 * diameter * speed


@dataclass(frozen=True, slots=True)
class Figure:
    """One line of the budget.

    Attributes:
        name: in words.
        value: in ``unit``.
        low, high: what the ranges of its assumptions allow, all at their worst together.
        unit: as shown.
        why: how it was worked out.
    """

    name: str
    value: float
    low: float
    high: float
    unit: str
    why: str

    def text(self) -> str:
        """Value with range and unit, to three figures: no assumption carries a fourth."""
        low, middle, high = (f"{float(f'{v:.3g}'):g}" for v in (self.low, self.value, self.high))
        return (
            f"{middle} ({low}-{high}) {self.unit}".strip() if low != high else f"{middle} {self.unit}".strip()
        )


@dataclass(frozen=True, slots=True)
class Budget:
    """What a build can do in the air, and what weight costs it.

    Attributes:
        quad: its name.
        mass: ready to fly, kg.
        weighed: whether that is what the scales said.
        cog: (x, y, z) of the centre of gravity, m.
        figures: the lines.
        gram: seconds of hover that one more gram costs, s/g.
        power_per_gram: W of hover power that one more gram costs.
        missing: what could not be worked out, and what would be needed.
        origin: table values used.
    """

    quad: str
    mass: float
    weighed: bool
    cog: tuple[float, float, float]
    figures: tuple[Figure, ...]
    gram: float
    power_per_gram: float
    missing: tuple[str, ...]
    origin: tuple[Datum, ...]

    def figure(self, name: str) -> Figure:
        """The line of that name.

        Raises:
            KeyError: there is none.
        """
        return next(f for f in self.figures if f.name == name)

    def summary(self) -> str:
        """One sentence with numbers."""
        start = f"{self.quad}: {self.mass / GRAM:.0f} g hover on {self.figure('hover power').text()}"
        if not self.gram:
            return f"{start}; each further gram costs {self.power_per_gram:.2f} W."
        return f"{start} for {self.figure('hover time').text()}; each further gram costs {self.gram:.1f} s."

    def to_json(self) -> dict[str, object]:
        """Plain dict; figures in their shown units, the rest SI."""
        return {
            "quad": self.quad,
            "summary": self.summary(),
            "mass": self.mass,
            "weighed": self.weighed,
            "cog": list(self.cog),
            "figures": [{name: getattr(f, name) for name in f.__slots__} for f in self.figures],
            "gram": self.gram,
            "power_per_gram": self.power_per_gram,
            "missing": list(self.missing),
            "assumptions": [
                {"name": f"{d.material}.{d.name}", "value": d.value, "unit": d.unit, "source": d.source}
                for d in self.origin
            ],
        }


@dataclass(frozen=True, slots=True)
class _Known:
    """A value with its range: given by the pilot, or the table's."""

    value: float
    low: float
    high: float


def _figure(name: str, values: Iterable[float], unit: str, why: str) -> Figure:
    """A line from (value, low, high)."""
    value, low, high = values
    return Figure(name, value, low, high, unit, why)


def _known(name: str, given: float | None, used: list[Datum], low: float, high: float) -> _Known:
    if given is None:
        row = datum("flight", name)
        used.append(row)
        return _Known(row.value, row.low, row.high)
    if not low < given <= high:
        what = f"{name.replace('_', ' ')} {given:g} cannot be"
        raise CrashworthyError(Problem(what, f"give more than {low:g} and at most {high:g}", field=name))
    return _Known(given, given, given)


def flight_budget(
    quad: Quad,
    *,
    height: float = 0.0,
    temperature: float | None = None,
    energy: float | None = None,
    thrust: float | None = None,
    speed: float | None = None,
    merit: float | None = None,
    efficiency: float | None = None,
    usable: float | None = None,
    freestyle: float | None = None,
) -> Budget:
    """Work out the flight budget of a build.

    Args:
        quad: the build; the weighed mass is used when the sheet has one.
        height: of the field above sea level, m.
        temperature: of the day, K; standard when None.
        energy: of a full pack, J; assumed from its mass when None.
        thrust: greatest of one motor on your bench, N; needed for thrust to weight.
        speed: shaft speed at full throttle, rad/s; needed for the greatest tip speed.
        merit: figure of merit of prop in hover.
        efficiency: of motor and controller.
        usable: share of the pack's energy that is flown.
        freestyle: mean power of freestyle over that of hover.

    Raises:
        CrashworthyError: the sheet has no props or a number cannot be.
    """
    props = getattr(quad.sheet, "props", None)
    if props is None or quad.mass <= 0.0:
        raise CrashworthyError(Problem("the sheet has no props", "add [props] with d, mm", field="props"))
    used: list[Datum] = []
    atmosphere = air(height, temperature)
    rho, mass = atmosphere.density, quad.weighed or quad.mass
    diameter = props.d * MM
    area = 4.0 * math.pi / 4.0 * diameter**2
    weight = mass * G_N
    fm = _known("figure_of_merit", merit, used, 0.0, 1.0)
    eta = _known("efficiency", efficiency, used, 0.0, 1.0)
    keep = _known("usable", usable, used, 0.0, 1.0)
    hard = _known("freestyle", freestyle, used, 0.5, 10.0)
    ct = _known("thrust_coefficient", None, used, 0.0, 1.0)
    missing: list[str] = []
    power = _Known(
        hover_power(weight, area, rho, fm.value, eta.value),
        hover_power(weight, area, rho, fm.high, eta.high),
        hover_power(weight, area, rho, fm.low, eta.low),
    )
    figures = [
        Figure("hover power", power.value, power.low, power.high, "W", "T v/(figure of merit · efficiency)"),
        Figure(
            "induced speed",
            induced_speed(weight, area, rho),
            induced_speed(weight, area, rho),
            induced_speed(weight, area, rho),
            "m/s",
            f"sqrt(T/(2 rho A)), four props of {props.d:g} mm, air of {rho:.3f} kg/m³",
        ),
    ]
    hover_speed = [math.sqrt(weight / 4.0 / (c * rho * diameter**4)) for c in (ct.value, ct.high, ct.low)]
    figures.append(
        _figure(
            "hover speed", (60.0 * n for n in hover_speed), "rpm", "from the thrust coefficient of the prop"
        )
    )
    gram, per_gram = 0.0, 1.5 * power.value / mass * GRAM
    battery = getattr(quad.sheet, "battery", None)
    if battery is None and energy is None:
        missing.append("hover time: give [battery] in the sheet or the energy of the pack")
    else:
        full = _pack_energy(quad, energy, used)
        time = [e * k / p for e, k, p in zip(*_ends(full, keep, power), strict=True)]
        volts = datum("flight", "cell_voltage")
        figures += [
            Figure("pack energy", full.value / 3600, full.low / 3600, full.high / 3600, "Wh", "full pack"),
            Figure(
                "hover time", time[0] / 60, time[1] / 60, time[2] / 60, "min", "usable energy/hover power"
            ),
            Figure(
                "freestyle time",
                time[0] / 60 / hard.value,
                time[1] / 60 / hard.high,
                time[2] / 60 / hard.low,
                "min",
                "hover time over the freestyle factor",
            ),
        ]
        gram = 1.5 * time[0] / mass * GRAM  # endurance goes with mass^-1.5
        cells = battery.cells if battery is not None else 0
        if cells:
            used.append(volts)
            pack = cells * volts.value
            amps = [power.value / pack, power.low / pack, power.high / pack]
            hours = full.value / 3600 / pack
            figures += [
                _figure("hover current", amps, "A", f"hover power at {pack:.1f} V"),
                _figure("hover load", (a / hours for a in amps), "C", "hover current over capacity in Ah"),
                Figure(
                    "freestyle current",
                    amps[0] * hard.value,
                    amps[1] * hard.low,
                    amps[2] * hard.high,
                    "A",
                    "mean; short peaks are several times as much",
                ),
            ]
    if thrust is None:
        missing.append(
            "thrust to weight and hover throttle: give the greatest thrust of one motor (--thrust)"
        )
    else:
        if thrust <= 0.0:
            raise CrashworthyError(
                Problem(f"a thrust of {thrust:g} N cannot be", "give more", field="thrust")
            )
        ratio = 4.0 * thrust / weight
        figures.append(
            Figure("thrust to weight", ratio, ratio, ratio, "", "four motors at your bench thrust")
        )
        # Thrust goes with speed², speed with throttle^0.5 to throttle^0.65: only your own log can say.
        share = 1.0 / ratio
        figures.append(
            Figure(
                "hover throttle",
                100 * math.pow(share, 1 / 1.5),
                100 * math.pow(share, 1 / 1.3),
                100 * math.pow(share, 1 / 2.0),
                "%",
                "(W/Tmax)^(1/1.3 to 1/2); sticks are not linear, your log knows better",
            )
        )
    top = speed if speed is not None else hover_speed[0] * 2.0 * math.pi
    tip = tip_speed(diameter, top)
    figures.append(
        Figure(
            "tip speed" if speed is not None else "tip speed in hover",
            tip,
            tip,
            tip,
            "m/s",
            f"Mach {tip / atmosphere.sound:.2f} at {top / RPM:.0f} rpm",
        )
    )
    if speed is None:
        missing.append("greatest tip speed: give the speed at full throttle (--rpm)")
    return Budget(
        quad=quad.name,
        mass=mass,
        weighed=quad.weighed is not None,
        cog=tuple(float(v) for v in quad.mass_properties.cog),  # type: ignore[arg-type] # always three
        figures=tuple(figures),
        gram=gram,
        power_per_gram=per_gram,
        missing=tuple(missing),
        origin=tuple(used),
    )


def _pack_energy(quad: Quad, energy: float | None, used: list[Datum]) -> _Known:
    if energy is not None:
        if energy <= 0.0:
            raise CrashworthyError(Problem("a pack without energy cannot fly", "give Wh", field="energy"))
        return _Known(energy, energy, energy)
    row = datum("flight", "specific_energy")
    used.append(row)
    mass = sum(p.mass for p in quad.parts if p.kind == "battery")
    return _Known(mass * row.value, mass * row.low, mass * row.high)


def _ends(full: _Known, keep: _Known, power: _Known) -> tuple[tuple[float, float, float], ...]:
    """Middle, worst and best of each."""
    return (
        (full.value, full.low, full.high),
        (keep.value, keep.low, keep.high),
        (power.value, power.high, power.low),
    )
