"""The throttle cap: the largest duty at which currents stay below given limits, and what a wattmeter shows there.

Motor and controller carry the motor current, which at part throttle is larger than the pack current that a wattmeter
shows. Throttle is duty, not stick position.
"""

from typing import Any

import attrs
import numpy as np
from numpy.typing import ArrayLike

from propmatch.checks.measures import TrainMeasures
from propmatch.models.arrays import Flags, Floats
from propmatch.train.brackets import edge
from propmatch.train.coupling import OperatingPoint, solve_lanes
from propmatch.train.lanes import TrainLanes

__all__ = ["CAP_NOTE", "CapLanes", "CapLimits", "cap_lanes", "ratings_cap"]

_LEAST = 0.01

CAP_NOTE = (
    "Throttle is duty, not stick position. A cap set in the transmitter can be lost when the controller is "
    "recalibrated, or with another model memory. At part throttle a motor carries more than it draws from the "
    "pack, where the wattmeter sits."
)


@attrs.frozen(kw_only=True, eq=False)
class CapLimits:
    """What a cap keeps, array_like (N,): NaN or infinite does not bind.

    Attributes
    ----------
    motor_a, motor_w : current and input power of one motor
    pack_a : current of the pack
    rpm : speed of the propeller
    """

    motor_a: ArrayLike
    pack_a: ArrayLike = np.inf
    motor_w: ArrayLike = np.inf
    rpm: ArrayLike = np.inf


@attrs.frozen(kw_only=True, eq=False)
class CapLanes:
    """Throttle caps, every field (N,); NaN where no throttle keeps the limits.

    Attributes
    ----------
    throttle : duty; 1 where full throttle keeps them already
    motor_limit_a, pack_limit_a : the limits of one motor and of the pack
    motor_current_a : largest motor current at the cap, over rest and the airspeeds
    pack_current_a, pack_power_w, thrust_n : whole train at rest at the cap; the current and power a wattmeter shows
    full_motor_current_a : largest motor current at full throttle
    """

    throttle: Floats
    motor_limit_a: Floats
    pack_limit_a: Floats
    motor_current_a: Floats
    pack_current_a: Floats
    pack_power_w: Floats
    thrust_n: Floats
    full_motor_current_a: Floats

    @property
    def needed(self) -> Flags:
        """Where full throttle exceeds a limit."""
        return np.asarray(~(self.throttle >= 1.0))


def cap_lanes(
    lanes: TrainLanes,
    limits: CapLimits,
    *,
    airspeeds: Floats | None = None,
    charge: float = 1.0,
    density: Floats | float = 1.225,
    sound: Floats | float = 340.3,
) -> CapLanes:
    """The cap of each lane.

    Parameters
    ----------
    lanes : TrainLanes, N
    limits : CapLimits
    airspeeds : (A, N) [m/s], optional
        Besides rest.
    charge : float
        Fresh from the charger by default, where currents are largest.
    density, sound : array_like (N,)
    """
    n = lanes.size

    def spread(value: Any) -> Floats:
        return np.broadcast_to(np.asarray(value, dtype=np.float64), (n,)) + 0.0

    motor_limit, pack_limit, power_limit, rpm_limit = (
        np.where(np.isnan(x), np.inf, x)
        for x in map(spread, (limits.motor_a, limits.pack_a, limits.motor_w, limits.rpm))
    )
    rho, a, full = spread(density), spread(sound), spread(charge)
    speeds = [np.zeros(n), *([] if airspeeds is None else list(airspeeds))]

    def points(duty: Floats) -> list[OperatingPoint]:
        return [solve_lanes(lanes, speed, duty, full, rho, a) for speed in speeds]

    def passes(duty: Floats) -> Flags:
        good = np.ones(n, dtype=np.bool_)
        for point in points(duty):  # too little duty to turn has no current, and exceeds nothing
            # the tolerance keeps a limit that full throttle meets exactly
            good &= ~(point.motor_current_a > motor_limit * (1 + 1e-9))
            good &= ~(point.pack_current_a > pack_limit * (1 + 1e-9))
            good &= ~(point.motor_voltage_v * point.motor_current_a > power_limit * (1 + 1e-9))
            good &= ~(point.rpm > rpm_limit * (1 + 1e-9))
        return good

    throttle = edge(passes, np.full(n, _LEAST), np.ones(n))
    at_full, at_cap = points(np.ones(n)), points(np.where(np.isnan(throttle), 0.0, throttle))
    full_worst = np.fmax.reduce([point.motor_current_a for point in at_full])
    rest = at_cap[0]
    known = np.isfinite(throttle) & np.isfinite(at_full[0].motor_current_a) & np.isfinite(rest.motor_current_a)
    throttle = np.where(known, throttle, np.nan)
    worst = np.fmax.reduce([point.motor_current_a for point in at_cap])

    def kept(value: Floats) -> Floats:
        return np.where(known, value, np.nan)

    return CapLanes(
        throttle=throttle,
        motor_limit_a=motor_limit,
        pack_limit_a=pack_limit,
        motor_current_a=kept(worst),
        pack_current_a=kept(rest.pack_current_a),
        pack_power_w=kept(rest.pack_power_w),
        thrust_n=kept(rest.thrust_n),
        full_motor_current_a=full_worst,
    )


def ratings_cap(measured: TrainMeasures) -> CapLanes:
    """The cap that keeps motor, controller, pack and propeller within their ratings, over rest and the brief's speeds.

    Ratings as the checks judge them, estimates included: continuous, or burst where the brief allows it.
    """
    seconds = measured.setting.burst_load_seconds
    r = measured.ratings
    limits = CapLimits(
        motor_a=np.fmin(r.motor.limit(seconds), r.controller.limit(seconds)),
        pack_a=r.pack.limit(seconds),
        motor_w=r.motor_w,
        rpm=r.max_rpm,
    )
    n = measured.lanes.size
    airspeeds = [flown.airspeed for flown in measured.flown]
    return cap_lanes(
        measured.lanes,
        limits,
        airspeeds=np.array(airspeeds) if airspeeds else np.empty((0, n)),
        density=np.full(n, measured.setting.air.density_kg_m3),
        sound=np.full(n, measured.setting.air.speed_of_sound_m_s),
    )
