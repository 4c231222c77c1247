"""Random power trains through the public solvers: every answer satisfies the equations, written out here once more.

Equations: K = 60/(2 pi kV), I = Q/(g K_t e) + I0, d (E - R_b I_b) = K w + (R + R_c + b w) I, I_b = N d I/eta + I_acc,
eta = 1 - k (1 - d) (M. Drela, First-Order DC Electric Motor Model, MIT, 2007; averaged chopper); T = CT rho n^2 D^4,
P = CP rho n^3 D^5. Where the airstream drives, e and eta turn round.
"""

import math
from types import SimpleNamespace
from typing import Any

import numpy as np

from propmatch import Air, Controller, Motor, Pack, PowerTrain, Propeller, hold_thrust, solve
from propmatch.battery import CHEMISTRIES
from propmatch.models.tables import CoefficientTable
from propmatch.status import Flag, Status
from propmatch.train.operating import POINT_FIELDS

from .harness import Misread, Trial

__all__ = ["LANES", "points"]

_TRAINS, _ROWS = 10, 250
LANES = _TRAINS * _ROWS
_CLOSE = 1e-8
_LOOKED_AT = 400


def _log(rng: Any, low: float, high: float) -> float:
    return float(np.exp(rng.uniform(math.log(low), math.log(high))))


def _extreme(rng: Any, low: float, high: float, usual: tuple[float, float]) -> float:
    """Mostly a usual number, at times one of the ends that are allowed."""
    if rng.random() < 0.08:
        return float(rng.choice([low, high]))
    return _log(rng, *usual)


def _table(rng: Any) -> CoefficientTable:
    speeds, ratios = rng.integers(1, 6), rng.integers(3, 9)
    rpm = np.sort(rng.uniform(500, 30000, speeds)) + np.arange(speeds)
    j = np.concatenate([[0.0], np.sort(rng.uniform(0.05, 1.4, ratios - 1)) + 1e-3 * np.arange(ratios - 1)])
    zero = rng.uniform(0.4, 1.3)
    growth = 1 + 0.2 * rng.random() * np.arange(speeds)[:, None] / max(1, speeds)
    ct = rng.uniform(0.05, 0.2) * growth * (1 - (j / zero) ** rng.uniform(1, 2))
    cp = rng.uniform(0.02, 0.09) * growth * (1 - 0.8 * (j / zero) ** rng.uniform(1.5, 3))
    return CoefficientTable(rpm, j, ct, cp)


def _train(rng: Any) -> PowerTrain:
    """A power train whose every number is stated."""
    while True:
        kv, ohm = _extreme(rng, 20, 30000, (150, 6000)), _extreme(rng, 0.0, 10.0, (0.003, 1.0))
        idle, exponent = _extreme(rng, 0.0, 50.0, (0.05, 5.0)), float(rng.choice([0.0, 0.5, rng.uniform(0, 2)]))
        try:
            return PowerTrain(
                motor=Motor(
                    name="m", kv_rpm_per_v=kv, mass_g=50, resistance_ohm=ohm, no_load_current_a=idle,
                    no_load_voltage_v=_log(rng, 2, 40), no_load_exponent=exponent,
                    resistance_slope_ohm_s=float(rng.choice([0.0, _log(rng, 1e-7, 1e-4)])),
                    torque_constant_ratio=rng.uniform(0.7, 1.2),
                    gear_ratio=float(rng.choice([1.0, rng.uniform(0.2, 8)])),
                    gear_efficiency=rng.uniform(0.6, 1.0), max_current_a=100, max_power_w=1000,
                ),
                controller=Controller(
                    name="c", max_current_a=100, mass_g=30, resistance_mohm=_extreme(rng, 0.0, 100.0, (0.5, 30)),
                    part_throttle_loss=rng.uniform(0, 0.3),
                ),
                pack=Pack(
                    name="p", cells_series=int(rng.integers(1, 14)), cells_parallel=int(rng.integers(1, 4)),
                    capacity_mah=_log(rng, 100, 10000), c_rating=30, mass_g=200,
                    cell_resistance_mohm=_extreme(rng, 0.0, 2000.0, (0.5, 100)),
                    lead_resistance_mohm=_log(rng, 0.1, 50),
                ),
                propeller=Propeller(
                    name="x", diameter_in=_extreme(rng, 1.5, 40.0, (2, 24)), pitch_in=5, table=_table(rng), mass_g=10,
                ),
                count=int(rng.integers(1, 5)), radio_current_a=float(rng.choice([0.0, rng.uniform(0, 3)])),
                pack_temperature_c=25.0,
            )  # fmt: skip
        except ValueError:
            continue  # rules between fields: no such part


class _Numbers:
    """The trains' numbers in SI units, a lane each."""

    def __init__(self, trains: list[PowerTrain], which: Any, charge: Any, density: Any) -> None:
        def of(get: Any) -> Any:
            return np.array([float(get(each)) for each in trains])[which]

        self.k = 60.0 / (2.0 * math.pi * of(lambda t: t.motor.kv_rpm_per_v))
        self.k_torque = self.k * of(lambda t: t.motor.torque_constant_ratio)
        self.ohm, self.slope = of(lambda t: t.motor.resistance_ohm), of(lambda t: t.motor.resistance_slope_ohm_s)
        self.idle, self.exponent = of(lambda t: t.motor.no_load_current_a), of(lambda t: t.motor.no_load_exponent)
        v0 = of(lambda t: t.motor.no_load_voltage_v)
        self.w0 = (v0 - self.ohm * self.idle) / (self.k + self.slope * self.idle)
        self.gear, self.gear_loss = of(lambda t: t.motor.gear_ratio), of(lambda t: t.motor.gear_efficiency)
        self.switch = 1e-3 * of(lambda t: t.controller.resistance_mohm)
        self.loss = of(lambda t: t.controller.part_throttle_loss)
        self.count, self.radio = of(lambda t: t.count), of(lambda t: t.radio_current_a)
        self.size = 0.0254 * of(lambda t: t.propeller.diameter_in)
        cells = of(lambda t: t.pack.cells_series)
        lipo = CHEMISTRIES["lipo"]
        self.open_v = cells * np.interp(charge, lipo.charge, lipo.ocv_v)
        rise = (0.1562 * np.exp(-24.37 * charge) + 0.07446) / (0.1562 * np.exp(-24.37) + 0.07446)
        own = 1e-3 * cells / of(lambda t: t.pack.cells_parallel) * of(lambda t: t.pack.cell_resistance_mohm)
        self.pack = own * rise + 1e-3 * of(lambda t: t.pack.lead_resistance_mohm)
        self.density, self.trains, self.which = density, trains, which

    def loads(self, rpm: Any, airspeed: Any) -> tuple[Any, Any]:
        """Thrust and torque of one propeller [N], [N m]."""
        rev_s = rpm / 60.0
        ct, cp = np.full(rpm.shape, np.nan), np.full(rpm.shape, np.nan)
        j = airspeed / (rev_s * self.size)
        for at, train in enumerate(self.trains):
            mine = (self.which == at) & np.isfinite(rpm) & (rpm > 0)
            if mine.any():
                found = train.propeller.table.lookup(rpm[mine], j[mine])
                ct[mine], cp[mine] = found.ct, found.cp
        pull = ct * self.density * rev_s**2 * self.size**4
        return pull, cp * self.density * rev_s**2 * self.size**5 / (2.0 * math.pi)

    def current(self, rpm: Any, torque: Any) -> Any:
        w = self.gear * rpm * math.pi / 30.0
        idle = np.where(self.exponent > 0, self.idle * (np.maximum(w, 0) / self.w0) ** self.exponent, self.idle)
        through = np.where(torque >= 0, 1.0 / self.gear_loss, self.gear_loss)
        return torque * through / (self.gear * self.k_torque) + idle

    def pack_current(self, current: Any, throttle: Any) -> Any:
        eta = 1.0 - self.loss * (1.0 - throttle)
        return self.count * throttle * np.where(current >= 0, current / eta, current * eta) + self.radio

    def off_v(self, rpm: Any, torque: Any, throttle: Any) -> Any:
        """Volts left over at a speed, and the largest of those that were added up."""
        w = self.gear * rpm * math.pi / 30.0
        current = self.current(rpm, torque)
        terms = (throttle * self.open_v, throttle * self.pack * self.pack_current(current, throttle),
                 self.switch * current, self.k * w, (self.ohm + self.slope * w) * current)  # fmt: skip
        return terms[0] - sum(terms[1:]), np.max(np.abs(np.stack(np.broadcast_arrays(*terms))), axis=0)


def points(trial: Trial) -> None:
    """Lanes of several trains, a few of them malformed, solved for throttles, then for thrusts."""
    rng = np.random.default_rng(trial.rng.getrandbits(63))
    trains = [_train(rng) for _ in range(_TRAINS)]
    which = np.tile(np.arange(_TRAINS), _ROWS)
    airspeed = np.where(rng.random(LANES) < 0.3, 0.0, rng.uniform(0, 60, LANES))
    throttle = np.where(rng.random(LANES) < 0.3, 1.0, rng.uniform(0.01, 1, LANES))
    charge = np.where(rng.random(LANES) < 0.2, rng.choice([0.0, 1.0], LANES), rng.random(LANES))
    air = Air.standard(rng.uniform(-500, 6000, LANES), rng.uniform(-40, 40, LANES))
    bad = np.flatnonzero(rng.random(LANES) < 0.02)
    for at in bad:
        (airspeed, throttle, charge)[rng.integers(3)][at] = rng.choice([np.nan, -1.0, np.inf, -np.inf, -1e-300])
    trial.show(f"{_TRAINS} trains, {LANES} lanes, {bad.size} of them malformed")
    numbers = _Numbers(trains, which, np.clip(np.nan_to_num(charge), 0, 1), air.density_kg_m3)
    asked = {"airspeed_m_s": airspeed, "throttle": throttle, "charge": charge}
    found = _flat(solve(trains, **_wide(asked), air=_wide_air(air)))
    _check(trial, "solve", numbers, found, airspeed, throttle, bad)
    _same_alone(rng, [trains[at] for at in which], found, asked, air)
    like = np.isfinite(found.thrust_n) & (rng.random(LANES) < 0.7)
    wanted = np.where(like, found.thrust_n * rng.uniform(0, 1.3, LANES), np.exp(rng.uniform(-5, 6, LANES)))
    wanted = np.where(np.isfinite(wanted), np.abs(wanted), 1.0)
    asked = _wide({"airspeed_m_s": airspeed, "charge": charge})
    held = _flat(hold_thrust(trains, wanted.reshape(_ROWS, _TRAINS), **asked, air=_wide_air(air)))
    malformed = np.flatnonzero(~(np.isfinite(airspeed) & (airspeed >= 0) & (charge >= 0) & (charge <= 1)))
    _check(trial, "hold", numbers, held, airspeed, held.throttle, malformed, wanted)


def _wide(numbers: dict[str, Any]) -> dict[str, Any]:
    return {name: each.reshape(_ROWS, _TRAINS) for name, each in numbers.items()}


def _wide_air(air: Air) -> Air:
    state = {"density_kg_m3": air.density_kg_m3, "temperature_k": air.temperature_k, "pressure_pa": air.pressure_pa}
    return Air(**_wide(state))


def _flat(found: Any) -> Any:
    """The fields as (LANES,)."""
    return SimpleNamespace(**{name: np.ravel(getattr(found, name)) for name in POINT_FIELDS})


def _check(trial: Trial, what: str, numbers: _Numbers, found: Any, airspeed: Any, throttle: Any, bad: Any,
           wanted: Any = None) -> None:  # fmt: skip
    """Numbers where the status says so and nowhere else; and they satisfy the equations."""
    trial.judged += LANES
    good, off = found.status == Status.OK, found.status == Status.OFF
    if (found.status[bad] != Status.BAD_INPUT).any():
        raise Misread(f"{what}, malformed: status {found.status[bad]} of a malformed lane")
    for name in ("rpm", "thrust_n", "torque_nm", "motor_current_a", "pack_current_a", "pack_voltage_v", "heat_w"):
        values = getattr(found, name)
        if not np.isfinite(values[good]).all() or np.isfinite(values[~good & ~off]).any():
            raise Misread(
                f"{what}, {name}: numbers and status disagree in lanes "
                f"{np.flatnonzero(np.isfinite(values) != (good | off))[:5]}"
            )
    with np.errstate(all="ignore"):
        rpm = np.where(good, found.rpm, np.nan)
        pull, torque = numbers.loads(rpm, airspeed)
        current = numbers.current(rpm, torque)
        left, scale = numbers.off_v(rpm, torque, throttle)
        drawn = numbers.pack_current(current, throttle)
        near = 0.01 * numbers.count * numbers.density * (rpm / 60.0) ** 2 * numbers.size**4
        off_by = {
            "volts": left / scale,
            "thrust_n": (found.thrust_n - numbers.count * pull) / _size(numbers.count * pull, near),
            "torque_nm": (found.torque_nm - torque) / _size(torque, 0.01 * numbers.size * near / numbers.count),
            "motor_current_a": (found.motor_current_a - current) / _size(current, 1e-9),
            "pack_current_a": (found.pack_current_a - drawn) / _size(drawn, 1e-9),
            "pack_voltage_v": (found.pack_voltage_v - numbers.open_v + numbers.pack * drawn)
            / _size(numbers.open_v, 1.0),
        }
        if wanted is not None:
            off_by["wanted"] = (found.thrust_n - wanted) / _size(wanted, near)
    for name, off_share in off_by.items():
        wrong = np.flatnonzero(good & ~(np.abs(off_share) < _CLOSE))
        if wrong.size:
            at = wrong[0]
            raise Misread(
                f"{what}, {name}: off by {off_share[at]:.3g} in lane {at} of {wrong.size} wrong, "
                f"rpm {found.rpm[at]:.6g}, flags {Flag(int(found.flags[at]))!r}"
            )
    _check_failed(what, numbers, found, airspeed, throttle, wanted)


def _size(value: Any, least: float) -> Any:
    return np.maximum(np.abs(value), least)


def _check_failed(what: str, numbers: _Numbers, found: Any, airspeed: Any, throttle: Any, wanted: Any) -> None:
    """A lane of :func:`solve` that says it has no answer has none that it reaches from rest.

    One that cannot turn is judged by what the status means: S <= r I0(0), at rest; the airstream may turn it yet.
    """
    if wanted is not None:
        return
    with np.errstate(all="ignore"):
        start = throttle * (numbers.open_v - numbers.pack * numbers.radio)
        shared = numbers.count * throttle**2 * numbers.pack / (1.0 - numbers.loss * (1.0 - throttle))
        held = (numbers.ohm + numbers.switch + shared) * np.where(numbers.exponent > 0, 0.0, numbers.idle)
    stuck = found.status == Status.CANNOT_TURN
    if (wrong := np.flatnonzero(stuck & (start > held + 1e-9 * np.abs(start)))).size:
        raise Misread(
            f"{what}, CANNOT_TURN: {start[wrong[0]]:.6g} V against {held[wrong[0]]:.6g} V at rest in lane {wrong[0]}"
        )
    failed = np.flatnonzero(np.isin(found.status, (Status.NO_SOLUTION, Status.NOT_CONVERGED)))
    if not failed.size:
        return
    top = 30.0 / math.pi * numbers.open_v / (numbers.k * numbers.gear)
    left = []
    with np.errstate(all="ignore"):
        for share in np.linspace(0.002, 1.0, _LOOKED_AT):
            rpm = share * top
            _, torque = numbers.loads(rpm, airspeed)
            left.append(numbers.off_v(rpm, torque, throttle)[0])
        left_v = np.array(left)
    settles = (left_v[:-1] > 0) & (left_v[1:] < 0) & (left_v[0] > 0)
    for at in failed:
        if settles[:, at].any():
            share = np.linspace(0.002, 1.0, _LOOKED_AT)[np.flatnonzero(settles[:, at])[0]]
            raise Misread(
                f"{what}, {Status(int(found.status[at])).name}: torque and line cross near {share * top[at]:.5g} rpm "
                f"in lane {at}"
            )


def _same_alone(rng: Any, trains: list[PowerTrain], found: Any, asked: dict[str, Any], air: Air) -> None:
    """A lane alone gives what it gives among others, malformed ones included."""
    for at in rng.integers(0, LANES, 2):
        alone = solve(
            trains[at], **{name: float(values[at]) for name, values in asked.items()},
            air=Air(density_kg_m3=air.density_kg_m3[at], temperature_k=air.temperature_k[at]),
        )  # fmt: skip
        if alone.status != found.status[at]:
            raise Misread(
                f"solve, alone: {alone.status!r} alone, {Status(int(found.status[at]))!r} among others, lane {at}"
            )
        for name in ("rpm", "thrust_n", "motor_current_a", "pack_current_a"):
            one, other = getattr(alone, name), getattr(found, name)[at]
            if not (math.isnan(one) and math.isnan(other)) and not math.isclose(
                one, other, rel_tol=1e-10, abs_tol=1e-12
            ):
                raise Misread(f"solve, alone: {name} is {one!r} alone, {other!r} among others, lane {at}")
