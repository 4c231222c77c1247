"""Questions asked backwards, each answered by a bracketed search on the models: from a limit to the part.

The largest propeller, the kV and the throttle cap for a current are here; mass, pack and field, which need the whole
aircraft, are in :mod:`propmatch.askflight` and can be imported from here too. Limits may be arrays: one search serves
all of them.
"""

from collections.abc import Sequence
from typing import Any

import attrs
import numpy as np
from numpy.typing import ArrayLike, NDArray

from propmatch.air import Air
from propmatch.askflight import (
    CapacityForMinutes,
    MassRange,
    SiteRange,
    capacity_for_minutes,
    mass_range,
    site_range,
)
from propmatch.catalogue import Catalogue
from propmatch.coupling import as_lanes, solve, solve_lanes
from propmatch.edge import edge
from propmatch.estimates import Assumption, completed
from propmatch.fields import replace
from propmatch.lanes import TrainLanes
from propmatch.parts import Motor, PowerTrain, Propeller
from propmatch.scaling import SAME_TABLE, SAME_WINDING_SPACE, rewound_lanes
from propmatch.throttlecap import CAP_NOTE, cap_lanes
from propmatch.units import INCH_M

__all__ = [
    "CapacityForMinutes",
    "KvForCurrent",
    "LargestPropeller",
    "MassRange",
    "PartAtHand",
    "SiteRange",
    "ThrottleCap",
    "capacity_for_minutes",
    "kv_for_current",
    "largest_propeller",
    "mass_range",
    "site_range",
    "throttle_cap",
]

Floats = NDArray[np.float64]
DIAMETER_IN = (1.0, 40.0)
KV_RPM_PER_V = (20.0, 30000.0)
NEAREST = 5
PITCH_RATIO_NEAR = 0.2
MOTOR_MASS_NEAR = (0.6, 1.6)


@attrs.frozen(kw_only=True, eq=False)
class PartAtHand:
    """A part of the catalogue near an answer, and what full throttle at rest on a full pack does with it."""

    part: Any
    motor_current_a: float
    pack_current_a: float
    thrust_n: float


def _nearby(train: PowerTrain, kind: str, parts: Sequence[Any], air: Air | None, **how: Any) -> list[PartAtHand]:
    if not parts:
        return []
    point = solve([replace(train, **{kind: part}) for part in parts], air=air, **how)
    return [
        PartAtHand(
            part=part,
            motor_current_a=float(point.motor_current_a[at]),
            pack_current_a=float(point.pack_current_a[at]),
            thrust_n=float(point.thrust_n[at]),
        )
        for at, part in enumerate(parts)
    ]


def _out(value: Floats, shape: tuple[int, ...]) -> Any:
    return float(value[0]) if shape == () else value.reshape(shape)


def _refused_nan(limit: Floats) -> Floats:
    return np.where(np.isfinite(limit) & (limit > 0), limit, np.nan)


# ---------------------------------------------------------------- propeller


@attrs.frozen(kw_only=True, eq=False)
class LargestPropeller:
    """The largest propeller under a motor current; floats, or arrays of the shape of the limit.

    Attributes
    ----------
    limit_a : one motor's
    diameter_in, pitch_in : NaN where even 1 inch exceeds the limit; 40 where the limit is never met
    motor_current_a, pack_current_a, thrust_n : full throttle at rest with it; pack and thrust of the whole train
    like : Propeller
        The one whose coefficient table is kept.
    nearest : tuple of PartAtHand
        Propellers of the catalogue under the (first) limit with pitch over diameter within 20 %, largest first.
    assumptions : tuple of Assumption
    """

    limit_a: Any
    diameter_in: Any
    pitch_in: Any
    motor_current_a: Any
    pack_current_a: Any
    thrust_n: Any
    like: Propeller
    nearest: tuple[PartAtHand, ...]
    assumptions: tuple[Assumption, ...]


def largest_propeller(
    train: PowerTrain,
    limit_a: ArrayLike,
    *,
    pitch_ratio: float | None = None,
    throttle: ArrayLike = 1.0,
    charge: ArrayLike = 1.0,
    air: Air | None = None,
    catalogue: Catalogue | None = None,
) -> LargestPropeller:
    """The diameter at which the static motor current meets a limit, pitch in proportion.

    Parameters
    ----------
    train : PowerTrain
        Its propeller's coefficient table is kept while the diameter scales.
    limit_a : array_like [A]
        Of one motor.
    pitch_ratio : float, optional
        Pitch over diameter. Another ratio than the train's propeller has takes the table of the catalogue's propeller
        with the nearest one.
    throttle, charge : array_like [-]
    air : Air
    catalogue : Catalogue, optional
        For the nearest propellers.
    """
    like = train.propeller
    if pitch_ratio is not None and catalogue is not None:
        like = _with_ratio(like, pitch_ratio, catalogue)
    ratio = like.pitch_in / like.diameter_in if pitch_ratio is None else pitch_ratio
    base = replace(train, propeller=like)
    lanes, shape, _, made, (limit, d, q, rho, a) = as_lanes(
        base, air, limit_a=limit_a, throttle=throttle, charge=charge
    )
    bound = _refused_nan(limit)
    rest = np.zeros(lanes.size)

    def point(diameter: Floats) -> Any:
        return solve_lanes(attrs.evolve(lanes, diameter_m=diameter * INCH_M), rest, d, q, rho, a)

    size = edge(
        lambda inches: point(inches).motor_current_a <= bound,
        np.full(lanes.size, DIAMETER_IN[0]),
        np.full(lanes.size, DIAMETER_IN[1]),
    )
    found = point(size)
    near: list[PartAtHand] = []
    if catalogue is not None:
        alike = [
            each
            for each in catalogue.propellers.values()
            if each.table is not None
            and each.blades == like.blades
            and abs(each.pitch_in / each.diameter_in / ratio - 1.0) <= PITCH_RATIO_NEAR
        ]
        near = _nearby(base, "propeller", alike, air, throttle=float(d[0]), charge=float(q[0]))
        near = [each for each in near if each.motor_current_a <= bound[0]]
        near.sort(key=lambda each: (-each.part.diameter_in, -each.motor_current_a))
    return LargestPropeller(
        limit_a=_out(limit, shape),
        diameter_in=_out(size, shape),
        pitch_in=_out(size * ratio, shape),
        motor_current_a=_out(found.motor_current_a, shape),
        pack_current_a=_out(found.pack_current_a, shape),
        thrust_n=_out(found.thrust_n, shape),
        like=like,
        nearest=tuple(near[:NEAREST]),
        assumptions=(*made, SAME_TABLE),
    )


def _with_ratio(like: Propeller, ratio: float, catalogue: Catalogue) -> Propeller:
    """The propeller of the catalogue with the nearest pitch over diameter, blades and size alike if it can be."""
    every = [p for p in catalogue.propellers.values() if p.table is not None]

    def distance(p: Propeller) -> tuple[bool, bool, float, float]:
        return (
            p.blades != like.blades,
            p.family != like.family,
            round(abs(np.log(p.pitch_in / p.diameter_in / ratio)), 2),
            abs(p.diameter_in - like.diameter_in),
        )

    return min([like, *every], key=distance)


# ---------------------------------------------------------------- kV


@attrs.frozen(kw_only=True, eq=False)
class KvForCurrent:
    """The kV that loads a propeller to a motor current on a pack; floats, or arrays of the shape of the current.

    Attributes
    ----------
    current_a : one motor's
    kv_rpm_per_v : effective; NaN where no kV from 20 to 30000 gives this current
    resistance_ohm : winding resistance of a motor so wound
    rpm, pack_current_a, thrust_n : full throttle at rest with it
    like : Motor
    nearest : tuple of PartAtHand
        Motors of the catalogue of 0.6 to 1.6 times the mass, by the current they draw.
    assumptions : tuple of Assumption
    """

    current_a: Any
    kv_rpm_per_v: Any
    resistance_ohm: Any
    rpm: Any
    pack_current_a: Any
    thrust_n: Any
    like: Motor
    nearest: tuple[PartAtHand, ...]
    assumptions: tuple[Assumption, ...]


def kv_for_current(
    train: PowerTrain,
    current_a: ArrayLike,
    *,
    throttle: ArrayLike = 1.0,
    charge: ArrayLike = 1.0,
    air: Air | None = None,
    catalogue: Catalogue | None = None,
) -> KvForCurrent:
    """The kV at which the train's propeller on its pack draws a motor current at rest.

    The motor keeps mass and copper: winding resistance goes with 1/kV^2, no-load current with kV.
    Parameters as in :func:`largest_propeller`.
    """
    motor, _ = completed(train.motor)
    lanes, shape, _, made, (current, d, q, rho, a) = as_lanes(
        train, air, current_a=current_a, throttle=throttle, charge=charge
    )
    bound = _refused_nan(current)
    rest = np.zeros(lanes.size)

    def point(kv: Floats) -> Any:
        wound: TrainLanes = rewound_lanes(lanes, kv / motor.kv_rpm_per_v)
        return solve_lanes(wound, rest, d, q, rho, a)

    def under(kv: Floats) -> NDArray[np.bool_]:
        amps = point(kv).motor_current_a  # too low a kV to turn at all draws no current
        return np.asarray((amps <= bound) | (np.isnan(amps) & np.isfinite(bound)))

    low, high = (np.full(lanes.size, end) for end in KV_RPM_PER_V)
    kv = edge(under, low, high)
    found = point(kv)
    kv = np.where((kv >= KV_RPM_PER_V[1]) | np.isnan(found.motor_current_a), np.nan, kv)
    near: list[PartAtHand] = []
    if catalogue is not None:
        least, most = (share * motor.mass_g for share in MOTOR_MASS_NEAR)
        alike = [m for m in catalogue.motors.values() if least <= m.mass_g <= most]
        near = _nearby(train, "motor", alike, air, throttle=float(d[0]), charge=float(q[0]))
        near = [each for each in near if each.motor_current_a > 0]
        near.sort(key=lambda each: abs(float(np.log(each.motor_current_a / current[0]))) if current[0] > 0 else 0.0)
    return KvForCurrent(
        current_a=_out(current, shape),
        kv_rpm_per_v=_out(kv, shape),
        resistance_ohm=_out(motor.resistance_ohm * (motor.kv_rpm_per_v / kv) ** 2, shape),
        rpm=_out(found.rpm, shape),
        pack_current_a=_out(found.pack_current_a, shape),
        thrust_n=_out(found.thrust_n, shape),
        like=motor,
        nearest=tuple(near[:NEAREST]),
        assumptions=(*made, SAME_WINDING_SPACE),
    )


# ---------------------------------------------------------------- throttle


@attrs.frozen(kw_only=True, eq=False)
class ThrottleCap:
    """The throttle that keeps a motor current below a limit; floats, or arrays of the shape of the limit.

    Attributes
    ----------
    limit_a : one motor's
    throttle : duty; 1 where full throttle keeps it already, NaN where none does
    motor_current_a : one motor's at the cap
    pack_current_a, pack_power_w : whole train, what a wattmeter shows
    thrust_n, full_thrust_n : at the cap and at full throttle
    full_motor_current_a : at full throttle
    note : str
    assumptions : tuple of Assumption
    """

    limit_a: Any
    throttle: Any
    motor_current_a: Any
    pack_current_a: Any
    pack_power_w: Any
    thrust_n: Any
    full_thrust_n: Any
    full_motor_current_a: Any
    assumptions: tuple[Assumption, ...]
    note: str = CAP_NOTE


def throttle_cap(
    train: PowerTrain,
    limit_a: ArrayLike,
    *,
    charge: float = 1.0,
    air: Air | None = None,
) -> ThrottleCap:
    """The largest duty that keeps the static motor current below a limit.

    Parameters
    ----------
    train : PowerTrain
    limit_a : array_like [A]
        Of one motor.
    charge : float
        Fresh from the charger by default: the worst.
    air : Air
    """
    lanes, shape, _, made, (limit, rho, a) = as_lanes(train, air, limit_a=limit_a)
    n = lanes.size
    asked = np.isfinite(limit) & (limit > 0)
    cap = cap_lanes(
        lanes, motor_limit_a=np.where(asked, limit, 0.0), charge=charge, density=rho, sound=a
    )  # fmt: skip
    full = solve_lanes(lanes, np.zeros(n), np.ones(n), np.full(n, charge), rho, a)
    return ThrottleCap(
        limit_a=_out(limit, shape),
        throttle=_out(np.where(asked, cap.throttle, np.nan), shape),
        motor_current_a=_out(cap.motor_current_a, shape),
        pack_current_a=_out(cap.pack_current_a, shape),
        pack_power_w=_out(cap.pack_power_w, shape),
        thrust_n=_out(cap.thrust_n, shape),
        full_thrust_n=_out(full.thrust_n, shape),
        full_motor_current_a=_out(full.motor_current_a, shape),
        assumptions=made,
    )
