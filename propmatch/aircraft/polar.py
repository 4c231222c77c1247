"""The airframe alone: drag polar, stall, speeds of least drag and least power.

Drag polar CD = CD0 + CL^2/(pi e AR) on wing area, with lift = load factor x weight. Everything is an array
function over lanes; ``polar_speeds`` takes an ``Airframe``.

Source: J. D. Anderson, Introduction to Flight, ch. 6.
"""

from collections.abc import Sequence
from typing import Any

import attrs
import numpy as np
from numpy.typing import ArrayLike

from propmatch.models.air import Air
from propmatch.models.arrays import Floats
from propmatch.records.estimates import Assumption, completed
from propmatch.records.parts import Airframe
from propmatch.records.sections import DEFAULT_SPEED_OVER_STALL, Phase
from propmatch.units import DM2_M2, GRAVITY_M_S2

__all__ = [
    "LEAST_SPEED_OVER_STALL",
    "PHASE_SPEED_OVER_STALL",
    "AirframeLanes",
    "PolarFactors",
    "PolarSpeeds",
    "airframe_lanes",
    "climb_m_s",
    "completed_lanes",
    "default_airspeed_m_s",
    "drag_n",
    "least_drag_speed_m_s",
    "least_power_speed_m_s",
    "least_speed_m_s",
    "named",
    "phase_airspeed_m_s",
    "polar_speeds",
    "stall_speed_m_s",
    "thrust_needed_n",
]

LEAST_SPEED_OVER_STALL = 1.2
"""No best speed is quoted below this times the stall speed at its load factor; common practice."""
PHASE_SPEED_OVER_STALL = 1.25
"""What a phase that lasts should have over its stall speed, for gusts and turns; common practice."""


@attrs.frozen(kw_only=True, eq=False)
class AirframeLanes:
    """Airframes in SI units, one lane each; every field (N,).

    Attributes
    ----------
    area_m2 : wing area; cd0 : zero-lift drag coefficient; k : 1/(pi e AR); cl_max
    installed_thrust : share of thrust left in front of or behind the airframe
    mass_kg : all-up mass
    """

    area_m2: Floats
    cd0: Floats
    k: Floats
    cl_max: Floats
    installed_thrust: Floats
    mass_kg: Floats

    def thrust_to_weight(self, thrust_n: Floats) -> Floats:
        """Installed thrust over weight for the propellers' own thrust (..., N) [N]."""
        return np.asarray(thrust_n * self.installed_thrust / self.weight_n)

    @property
    def weight_n(self) -> Floats:
        """Mass times 9.80665 m/s2."""
        return self.mass_kg * GRAVITY_M_S2

    def take(self, index: Any) -> "AirframeLanes":
        """The lanes of an index array, slice or mask."""
        return AirframeLanes(**{a.name: getattr(self, a.name)[index] for a in attrs.fields(AirframeLanes)})


@attrs.frozen(kw_only=True, eq=False)
class PolarFactors:
    """What multiplies the numbers of an airframe lane by lane, (N,) each.

    Attributes
    ----------
    cd0 : zero-lift drag; k : induced drag; cl_max; installed_thrust, which stays at most 1
    """

    cd0: Floats
    k: Floats
    cl_max: Floats
    installed_thrust: Floats

    def take(self, index: Any) -> "PolarFactors":
        """Those of some lanes; one number serves every lane."""
        factors = {a.name: np.asarray(getattr(self, a.name)) for a in attrs.fields(PolarFactors)}
        return PolarFactors(**{name: each if each.size == 1 else each[index] for name, each in factors.items()})

    def of(self, lanes: AirframeLanes) -> AirframeLanes:
        """The airframes with their numbers multiplied."""
        return attrs.evolve(
            lanes,
            cd0=lanes.cd0 * self.cd0,
            k=lanes.k * self.k,
            cl_max=lanes.cl_max * self.cl_max,
            installed_thrust=np.minimum(lanes.installed_thrust * self.installed_thrust, 1.0),
        )


def airframe_lanes(
    airframe: Airframe | Sequence[Airframe], mass_kg: ArrayLike
) -> tuple[AirframeLanes, tuple[Assumption, ...]]:
    """One airframe, or N of them, at all-up masses (N,) [kg]; drag in words becomes its stated number."""
    frames = [airframe] if isinstance(airframe, Airframe) else list(airframe)
    wrong = [type(f).__name__ for f in frames if not isinstance(f, Airframe)]
    if wrong or not frames:
        raise TypeError(f"airframe must be an Airframe or a sequence of them, got {', '.join(wrong) or 'none'}")
    full = [completed(frame) for frame in frames]
    made = dict.fromkeys(each for _, assumed in full for each in assumed)
    return completed_lanes([frame for frame, _ in full], mass_kg), tuple(made)


def completed_lanes(frames: Sequence[Airframe], mass_kg: ArrayLike) -> AirframeLanes:
    """The same for airframes whose drag is a number."""
    rows = [
        (
            frame.wing_area_dm2 * DM2_M2, frame.cd0, 1.0 / (np.pi * frame.oswald * frame.aspect_ratio), frame.cl_max,
            frame.installed_thrust,
        )
        for frame in frames
    ]  # fmt: skip
    mass = np.atleast_1d(np.asarray(mass_kg, dtype=np.float64)).ravel()
    *columns, mass = np.broadcast_arrays(*np.array(rows, dtype=np.float64).T, mass)
    names = ("area_m2", "cd0", "k", "cl_max", "installed_thrust")
    mass = np.where(np.isfinite(mass) & (mass > 0), mass, np.nan)
    return AirframeLanes(mass_kg=mass, **dict(zip(names, columns, strict=True)))


def _speed_at(airframe: AirframeLanes, density_kg_m3: Any, lift_coefficient: Any, load_factor: Any) -> Any:
    """Speed at which a lift coefficient carries load factor x weight [m/s]."""
    lift = load_factor * airframe.weight_n
    return np.sqrt(2.0 * lift / (density_kg_m3 * airframe.area_m2 * lift_coefficient))


def stall_speed_m_s(airframe: AirframeLanes, density_kg_m3: Any, load_factor: Any = 1.0) -> Any:
    """V = sqrt(2 n W/(rho S CL_max)) [m/s]."""
    return _speed_at(airframe, density_kg_m3, airframe.cl_max, load_factor)


def least_speed_m_s(airframe: AirframeLanes, density_kg_m3: Any, load_factor: Any = 1.0) -> Any:
    """1.2 times the stall speed [m/s]: the slowest that is ever quoted to be flown."""
    return LEAST_SPEED_OVER_STALL * stall_speed_m_s(airframe, density_kg_m3, load_factor)


def default_airspeed_m_s(airframe: AirframeLanes, density_kg_m3: ArrayLike) -> Floats:
    """1.3 times the stall speed (N,) [m/s]: the airspeed where nobody names one."""
    return np.asarray(DEFAULT_SPEED_OVER_STALL * stall_speed_m_s(airframe, density_kg_m3))


def phase_airspeed_m_s(phase: Phase, airframe: AirframeLanes, density_kg_m3: ArrayLike) -> Floats:
    """Airspeed of a phase (N,) [m/s]: its own, or the default where it names a throttle alone."""
    if phase.airspeed_m_s is None:
        return default_airspeed_m_s(airframe, density_kg_m3)
    return np.full(airframe.mass_kg.size, phase.airspeed_m_s)


def least_drag_speed_m_s(airframe: AirframeLanes, density_kg_m3: Any, load_factor: Any = 1.0) -> Any:
    """Speed of best lift over drag, CL = sqrt(CD0/k) [m/s]; it may lie below the stall speed."""
    return _speed_at(airframe, density_kg_m3, np.sqrt(airframe.cd0 / airframe.k), load_factor)


def least_power_speed_m_s(airframe: AirframeLanes, density_kg_m3: Any, load_factor: Any = 1.0) -> Any:
    """Speed of least drag power, CL = sqrt(3 CD0/k) [m/s]; it may lie below the stall speed."""
    return _speed_at(airframe, density_kg_m3, np.sqrt(3.0 * airframe.cd0 / airframe.k), load_factor)


def drag_n(airframe: AirframeLanes, density_kg_m3: Any, airspeed_m_s: Any, load_factor: Any = 1.0) -> Any:
    """D = q S CD0 + k (n W)^2/(q S) with q = rho V^2/2 [N]; above the stall speed."""
    qs = 0.5 * density_kg_m3 * airspeed_m_s**2 * airframe.area_m2
    with np.errstate(divide="ignore", invalid="ignore"):
        return qs * airframe.cd0 + airframe.k * (load_factor * airframe.weight_n) ** 2 / qs


def thrust_needed_n(
    airframe: AirframeLanes, density_kg_m3: Any, airspeed_m_s: Any, climb_m_s: Any = 0.0, load_factor: Any = 1.0
) -> Any:
    """Propeller thrust (D + W climb/V)/installed_thrust [N]; zero or less in a descent that needs no motor."""
    with np.errstate(divide="ignore", invalid="ignore"):
        path = airframe.weight_n * climb_m_s / airspeed_m_s
        return (drag_n(airframe, density_kg_m3, airspeed_m_s, load_factor) + path) / airframe.installed_thrust


def climb_m_s(airframe: AirframeLanes, thrust_n: Any, drag_n: Any, airspeed_m_s: Any) -> Any:
    """Rate of climb V (f T - D)/W [m/s] with the propellers' own thrust T and the drag D of level flight, at most V.

    None at rest, where level flight would need infinite drag.
    """
    excess = (airframe.installed_thrust * thrust_n - drag_n) / airframe.weight_n
    return airspeed_m_s * np.minimum(np.where(airspeed_m_s == 0, 0.0, excess), 1.0)


@attrs.frozen(kw_only=True, eq=False)
class PolarSpeeds:
    """What the airframe alone decides, power train aside; floats for scalar input.

    Attributes
    ----------
    stall_speed_m_s : float
    least_drag_speed_m_s, least_drag_n : float
        Farthest glide; the stall speed where the polar's optimum lies below it.
    least_power_speed_m_s, least_power_w : float
        Least sink and longest flight, likewise.
    glide_ratio : float
        Lift over drag at the speed of least drag.
    sink_m_s : float
        Drag power over weight at the speed of least power.
    """

    stall_speed_m_s: Any
    least_drag_speed_m_s: Any
    least_drag_n: Any
    least_power_speed_m_s: Any
    least_power_w: Any
    glide_ratio: Any
    sink_m_s: Any


def polar_speeds(airframe: Airframe, mass_kg: ArrayLike, *, air: Air | None = None) -> PolarSpeeds:
    """Stall speed, speeds of least drag and least power, glide; shape of ``mass_kg``."""
    here = Air.standard() if air is None else air
    mass = np.asarray(mass_kg, dtype=np.float64)
    lanes, _ = airframe_lanes(airframe, mass)
    rho = here.density_kg_m3
    stall = stall_speed_m_s(lanes, rho)
    far = np.maximum(least_drag_speed_m_s(lanes, rho), stall)
    long = np.maximum(least_power_speed_m_s(lanes, rho), stall)
    drag, power = drag_n(lanes, rho, far), drag_n(lanes, rho, long) * long
    values = (stall, far, drag, long, power, lanes.weight_n / drag, power / lanes.weight_n)
    return PolarSpeeds(**named(PolarSpeeds, values, mass.shape))


def named(cls: type, values: Sequence[Any], shape: tuple[int, ...]) -> dict[str, Any]:
    """Fields of a result in order, floats where the shape is ()."""
    names = [a.name for a in attrs.fields(cls)]
    return {n: float(v[0]) if shape == () else np.reshape(v, shape) for n, v in zip(names, values, strict=False)}
