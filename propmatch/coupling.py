"""Motor, controller, pack and propeller together: the operating point, and the throttle that holds a thrust."""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import attrs
import numpy as np
from numpy.typing import ArrayLike, NDArray

from propmatch import controller, motor, propeller
from propmatch.air import Air
from propmatch.estimates import Assumption
from propmatch.kernel import SpeedProblem, solve_speed, speed_for_thrust
from propmatch.lanes import TrainLanes, train_lanes
from propmatch.parts import PowerTrain
from propmatch.status import Flag, Status, StatusError

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["OperatingPoint", "as_lanes", "hold_lanes", "hold_thrust", "in_shape", "solve", "solve_lanes"]

Floats = NDArray[np.float64]
_TIP_MACH_REMARK = 0.8


@attrs.frozen(kw_only=True, eq=False)
class OperatingPoint:
    """Where motor and propeller torque balance, and all that follows; floats for scalar input, else arrays.

    rpm, torque, pitch speed and tip Mach are one propeller's, motor_* one motor's; thrust, shaft power, heat and pack
    values are the whole train's. A lane without an answer is NaN, its ``status`` says why.

    Attributes
    ----------
    rpm, motor_rpm : [rpm]
    advance_ratio : J = V/(n D) [-]
    thrust_n : [N]; torque_nm : [N m]; shaft_power_w : into the propellers [W]
    motor_current_a, motor_voltage_v, motor_heat_w : I, V_m = K w + R I, R I^2 + K w I0
    throttle : duty 0..1, not stick position
    pack_current_a, pack_voltage_v, cell_voltage_v : terminal values
    electrical_power_w : pack voltage x pack current [W]
    heat_w : everything lost, pack included, so that E I_pack = shaft_power_w + heat_w + V_t I_acc
    motor_efficiency, propeller_efficiency : shaft/electrical and thrust power/shaft
    system_efficiency : thrust power over electrical_power_w
    tip_mach : helical; pitch_speed_m_s : rpm x pitch
    status : Status (array of its values); flags : Flag (likewise)
    assumptions : estimates that stand in for numbers nobody stated
    """

    rpm: Any
    motor_rpm: Any
    advance_ratio: Any
    thrust_n: Any
    torque_nm: Any
    shaft_power_w: Any
    motor_current_a: Any
    motor_voltage_v: Any
    motor_heat_w: Any
    throttle: Any
    pack_current_a: Any
    pack_voltage_v: Any
    cell_voltage_v: Any
    electrical_power_w: Any
    heat_w: Any
    motor_efficiency: Any
    propeller_efficiency: Any
    system_efficiency: Any
    tip_mach: Any
    pitch_speed_m_s: Any
    status: Any
    flags: Any
    assumptions: tuple[Assumption, ...] = ()

    def to_frame(self) -> "pd.DataFrame":
        """One row per lane, columns named as the attributes."""
        import pandas as pd

        data: dict[str, Any] = {name: np.ravel(getattr(self, name)) for name in POINT_FIELDS}
        data["status"] = [Status(int(s)).name for s in data["status"]]
        data["flags"] = [int(f) for f in data["flags"]]
        return pd.DataFrame(data)

    def raise_for_status(self) -> "OperatingPoint":
        """Return self, or raise StatusError naming every lane without an answer."""
        bad = [(i, Status(int(s))) for i, s in enumerate(np.ravel(self.status)) if s > Status.OFF]
        if bad:
            raise StatusError("; ".join(f"lane {i}: {s.meaning}" for i, s in bad))
        return self

    @property
    def remarks(self) -> tuple[str, ...]:
        """What the reader must know: statuses and flags that occur, in words."""
        statuses = sorted({int(s) for s in np.ravel(self.status)} - {int(Status.OK)})
        flags = int(np.bitwise_or.reduce(np.ravel(np.asarray(self.flags, dtype=np.int64)), initial=0))
        return tuple(Status(s).meaning for s in statuses) + Flag(flags).remarks


POINT_FIELDS = tuple(a.name for a in attrs.fields(OperatingPoint) if a.name != "assumptions")


def solve(
    train: PowerTrain | Sequence[PowerTrain],
    *,
    airspeed_m_s: ArrayLike = 0.0,
    throttle: ArrayLike = 1.0,
    charge: ArrayLike = 1.0,
    air: Air | None = None,
) -> OperatingPoint:
    """Operating point of a power train: the one rotational speed where motor torque equals propeller torque.

    Parameters
    ----------
    train : PowerTrain or sequence of N
        N trains are lanes of shape (N,).
    airspeed_m_s : array_like [m/s], >= 0
    throttle : array_like [-], duty 0..1; 0 is motor off
    charge : array_like [-], state of charge 0..1
    air : Air, default the standard atmosphere at sea level

    Returns
    -------
    OperatingPoint
        Fields broadcast over all arguments; floats when every argument is scalar and ``train`` one train.

    Raises
    ------
    TypeError, ValueError
        Wrong types, shapes that do not broadcast, a propeller without a coefficient table. A number out of range in
        a lane gives status BAD_INPUT there and leaves the other lanes alone.

    Notes
    -----
    d E' - K w - (R + R_c + count d^2 R_b/eta) I(w) = 0 with E' = E - R_b I_acc, eta = 1 - k (1 - d),
    I(w) = Q(w/g)/(g K e) + I0(w): first-order motor (Drela, MIT technical note, 2007), averaged chopper, pack with a
    series resistance. Range: the coefficient table; beyond it the answer is flagged.
    """
    lanes, shape, scalar, made, (v, d, q, rho, a) = as_lanes(
        train, air, airspeed_m_s=airspeed_m_s, throttle=throttle, charge=charge
    )
    return in_shape(solve_lanes(lanes, v, d, q, rho, a), shape, scalar, made)


def hold_thrust(
    train: PowerTrain | Sequence[PowerTrain],
    thrust_n: ArrayLike,
    *,
    airspeed_m_s: ArrayLike = 0.0,
    charge: ArrayLike = 1.0,
    air: Air | None = None,
) -> OperatingPoint:
    """Operating point at the throttle that gives a thrust; ``thrust_n`` is the whole train's, >= 0.

    The lowest propeller speed giving thrust_n/count fixes torque and current; the throttle follows in closed form
    (:func:`propmatch.controller.throttle_for`). Parameters, result and errors as in :func:`solve`.

    Status CANNOT_HOLD where the pack cannot deliver the power or throttle would exceed 1; BELOW_IDLE where less than
    no current is needed; OFF for no thrust at no airspeed.
    """
    lanes, shape, scalar, made, (v, t, q, rho, a) = as_lanes(
        train, air, airspeed_m_s=airspeed_m_s, thrust_n=thrust_n, charge=charge
    )
    return in_shape(hold_lanes(lanes, t, v, q, rho, a), shape, scalar, made)


def as_lanes(train: Any, air: Air | None, **numbers: ArrayLike) -> Any:
    """As lanes: trains, shape, whether scalar, assumptions, and the arguments flat in their order, density, sound."""
    one = isinstance(train, PowerTrain)
    trains = [train] if one else list(train)
    wrong = [type(t).__name__ for t in trains if not isinstance(t, PowerTrain)]
    if wrong or not trains:
        raise TypeError(f"train must be a PowerTrain or a sequence of them, got {', '.join(wrong) or 'none'}")
    if not isinstance(air, Air | None):
        raise TypeError(f"air must be an Air, got {type(air).__name__}")
    here = Air.standard() if air is None else air
    arrays = []
    for name, value in numbers.items():
        array = np.asarray(value)
        if array.dtype.kind not in "fiu":
            raise TypeError(f"{name} must be numbers, got {array.dtype}")
        arrays.append(array.astype(np.float64))
    arrays += [np.asarray(here.density_kg_m3), np.asarray(here.speed_of_sound_m_s)]
    index = np.zeros((), dtype=np.intp) if one else np.arange(len(trains))
    which, *full = np.broadcast_arrays(index, *arrays)
    lanes, made = train_lanes(trains)
    return lanes.take(np.ravel(which)), which.shape, which.ndim == 0, made, [np.ravel(x) for x in full]


def solve_lanes(
    lanes: TrainLanes, airspeed: Floats, throttle: Floats, charge: Floats, density: Floats, sound: Floats
) -> OperatingPoint:
    """The array path of :func:`solve`: every argument (N,)."""
    n = lanes.size
    status = np.full(n, Status.OK, dtype=np.int8)
    with np.errstate(invalid="ignore"):
        sound_input = (
            (airspeed >= 0) & np.isfinite(airspeed) & (throttle >= 0) & (throttle <= 1)
            & (charge >= 0) & (charge <= 1) & (density > 0) & np.isfinite(density)
        )  # fmt: skip
    status[~sound_input] = Status.BAD_INPUT
    status[sound_input & (throttle == 0)] = Status.OFF
    u = np.full(n, np.nan)
    run = np.flatnonzero(status == Status.OK)
    if run.size:
        everyone = run.size == n
        p = lanes if everyone else lanes.take(run)
        v, d, q, rho = (x if everyone else x[run] for x in (airspeed, throttle, charge, density))
        battery_ohm = p.pack_ohm(q)
        available = p.open_circuit_v(q) - battery_ohm * p.accessory_a
        eta = controller.eta(d, p.loss)
        fixed = p.resistance_ohm + p.controller_ohm
        shared = p.count * d * d * battery_ohm
        u[run], status[run] = solve_speed(
            SpeedProblem(
                source_v=d * available,
                k=p.k,
                resistance_ohm=fixed + shared / eta,
                resistance_back_ohm=fixed + shared * eta,
                no_load_a=p.no_load_a,
                reference_rad_s=p.reference_rad_s,
                exponent=p.exponent,
                gear_ratio=p.gear_ratio,
                gear_efficiency=p.gear_efficiency,
                which=p.propeller,
                diameter_m=p.diameter_m,
                density_kg_m3=rho,
                airspeed_m_s=v,
                stack=p.stack,
            )
        )
    return _point(lanes, u, airspeed, throttle, charge, density, sound, status)


def hold_lanes(
    lanes: TrainLanes, thrust: Floats, airspeed: Floats, charge: Floats, density: Floats, sound: Floats
) -> OperatingPoint:
    """The array path of :func:`hold_thrust`: every argument (N,)."""
    n = lanes.size
    status = np.full(n, Status.OK, dtype=np.int8)
    with np.errstate(invalid="ignore"):
        sound_input = (
            (airspeed >= 0) & np.isfinite(airspeed) & (thrust >= 0) & np.isfinite(thrust)
            & (charge >= 0) & (charge <= 1) & (density > 0) & np.isfinite(density)
        )  # fmt: skip
    status[~sound_input] = Status.BAD_INPUT
    status[sound_input & (thrust == 0) & (airspeed == 0)] = Status.OFF
    u, throttle = np.full(n, np.nan), np.where(status == Status.OFF, 0.0, np.nan)
    run = np.flatnonzero(status == Status.OK)
    if run.size:
        p = lanes.take(run)
        u[run], status[run] = speed_for_thrust(
            thrust[run] / p.count, p.propeller, p.stack, p.diameter_m, density[run], airspeed[run]
        )
        current, _, _ = _motor_side(p, u[run], airspeed[run], density[run])
        w = p.gear_ratio * u[run]
        behind = motor.terminal_voltage_v(w, current, p.k, p.resistance_ohm + p.controller_ohm)
        battery_ohm = p.pack_ohm(charge[run])
        available = p.open_circuit_v(charge[run]) - battery_ohm * p.accessory_a
        d = controller.throttle_for(behind, current, available, battery_ohm, p.loss, p.count)
        found = status[run] == Status.OK
        with np.errstate(invalid="ignore"):
            below = found & (current < 0)
            beyond = found & ~below & ~((d > 0) & (d <= 1.0 + 1e-12))
        lane_status = status[run]
        lane_status[below], lane_status[beyond] = Status.BELOW_IDLE, Status.CANNOT_HOLD
        status[run] = lane_status
        throttle[run] = np.minimum(d, 1.0)
    return _point(lanes, u, airspeed, throttle, charge, density, sound, status)


def _motor_side(
    p: TrainLanes, u: Floats, airspeed: Floats, density: Floats
) -> tuple[Floats, Floats, tuple[Floats, Floats, Floats]]:
    """Motor current, no-load current and (J, CT, CP) at a propeller speed."""
    safe = np.where(np.isfinite(u) & (u > 0), u, 1.0)
    j = propeller.advance_ratio(airspeed, safe / (2 * np.pi), p.diameter_m)
    j = np.where(np.isfinite(j), j, 0.0)
    ct, cp = p.stack.coefficients(p.propeller, safe * 60 / (2 * np.pi), j)
    torque = propeller.torque_nm(cp, density, safe / (2 * np.pi), p.diameter_m)
    with np.errstate(invalid="ignore", over="ignore"):
        no_load = motor.no_load_current_a(p.gear_ratio * safe, p.no_load_a, p.reference_rad_s, p.exponent)
        current = motor.current_a(torque, no_load, p.k, p.gear_ratio, p.gear_efficiency)
    return current, no_load, (j, ct, cp)


def _point(
    p: TrainLanes,
    u: Floats,
    airspeed: Floats,
    throttle: Floats,
    charge: Floats,
    density: Floats,
    sound: Floats,
    status: NDArray[np.int8],
) -> OperatingPoint:
    """Everything that follows from the propeller speeds u; lanes with a status above OFF become NaN."""
    rev_s = u / (2 * np.pi)
    rpm = 60.0 * rev_s
    current, no_load, (j, ct, cp) = _motor_side(p, u, airspeed, density)
    answered, off = status == Status.OK, status == Status.OFF
    with np.errstate(all="ignore"):
        torque = propeller.torque_nm(cp, density, rev_s, p.diameter_m)
        thrust = p.count * propeller.thrust_n(ct, density, rev_s, p.diameter_m)
        w = p.gear_ratio * u
        per_motor = controller.pack_current_per_motor_a(current, throttle, p.loss)
        pack_current = p.count * per_motor + p.accessory_a
        open_v, battery_ohm = p.open_circuit_v(charge), p.pack_ohm(charge)
        shaft = p.count * torque * u
        motor_v = motor.terminal_voltage_v(w, current, p.k, p.resistance_ohm)
        motor_heat = p.resistance_ohm * current**2 + p.k * w * no_load
        gear_loss = p.k * (current - no_load) * w - torque * u
        pack_current = np.where(off, p.accessory_a, pack_current)
        pack_v = open_v - battery_ohm * pack_current
        chopper = pack_v * per_motor - throttle * pack_v * current
        per_set = motor_heat + p.controller_ohm * current**2 + chopper + gear_loss
        heat = np.where(off, 0.0, p.count * per_set) + battery_ohm * pack_current**2
        electrical = pack_v * pack_current
        thrust_power = thrust * airspeed
        flags = np.zeros(p.size, dtype=np.int16)
        s, which = p.stack, p.propeller
        tip = propeller.tip_mach(rev_s, p.diameter_m, airspeed, sound)
        for flag, where in (
            (Flag.RPM_BELOW_TABLE, rpm < s.rpm_min[which]),
            (Flag.RPM_ABOVE_TABLE, rpm > s.rpm_max[which]),
            (Flag.ADVANCE_RATIO_BEYOND_TABLE, j > s.j_max[which]),
            (Flag.REGENERATING, current < 0),
            (Flag.TIP_MACH_HIGH, tip > _TIP_MACH_REMARK),
        ):
            flags[answered & where] |= int(flag)
        efficiency = motor.efficiency(w, current, no_load, p.k, p.resistance_ohm)
        values = {
            "rpm": (rpm, 0.0),
            "motor_rpm": (p.gear_ratio * rpm, 0.0),
            "advance_ratio": (j, np.nan),
            "thrust_n": (thrust, 0.0),
            "torque_nm": (torque, 0.0),
            "shaft_power_w": (shaft, 0.0),
            "motor_current_a": (current, 0.0),
            "motor_voltage_v": (motor_v, 0.0),
            "motor_heat_w": (motor_heat, 0.0),
            "throttle": (throttle, 0.0),
            "pack_current_a": (pack_current, pack_current),
            "pack_voltage_v": (pack_v, pack_v),
            "cell_voltage_v": (pack_v / p.cells, pack_v / p.cells),
            "electrical_power_w": (electrical, electrical),
            "heat_w": (heat, heat),
            "motor_efficiency": (efficiency, np.nan),
            "propeller_efficiency": (propeller.efficiency(thrust, airspeed, shaft), np.nan),
            "system_efficiency": (np.where(electrical > 0, thrust_power / electrical, np.nan), np.nan),
            "tip_mach": (tip, airspeed / sound),
            "pitch_speed_m_s": (propeller.pitch_speed_m_s(rpm, p.pitch_in), 0.0),
        }
        fields: dict[str, Any] = {
            name: np.where(answered, value, np.where(off, stopped, np.nan)) for name, (value, stopped) in values.items()
        }
    return OperatingPoint(status=status, flags=flags, **fields)


def in_shape(point: OperatingPoint, shape: tuple[int, ...], scalar: bool, made: Any) -> OperatingPoint:
    """Give lanes their shape back; scalars become floats, a Status and a Flag."""
    if not scalar:
        fields = {name: getattr(point, name).reshape(shape) for name in POINT_FIELDS}
        return OperatingPoint(assumptions=made, **fields)
    fields = {name: float(getattr(point, name)[0]) for name in POINT_FIELDS}
    fields["status"], fields["flags"] = Status(int(point.status[0])), Flag(int(point.flags[0]))
    return OperatingPoint(assumptions=made, **fields)
