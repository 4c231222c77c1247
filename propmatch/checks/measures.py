"""The numbers that checks judge, for many power trains at once: each value beside its limit.

One function serves a single design and a search over millions of lanes; :mod:`checks.limits` turns its arrays into
``Check`` objects. Currents are taken fresh from the charger (charge 1), thrust and climb at half charge.
"""

from typing import Any

import attrs
import numpy as np
from numpy.typing import NDArray

from propmatch.aircraft.flight import FullThrottle, full_throttle_lanes, level_lanes
from propmatch.aircraft.flightlanes import FlightLanes, flight_time_lanes
from propmatch.aircraft.polar import stall_speed_m_s
from propmatch.checks.checkrules import CHECKS, CheckRule
from propmatch.checks.ratings import RatingLanes
from propmatch.checks.setting import Setting, balance_miss_mm, settings
from propmatch.records.sections import Phase
from propmatch.train.coupling import OperatingPoint, solve_lanes
from propmatch.train.lanes import TrainLanes
from propmatch.units import GRAM_KG

__all__ = [
    "CHECKS",
    "CheckRule",
    "Flown",
    "Measure",
    "Setting",
    "TrainMeasures",
    "balance_miss_mm",
    "settings",
]

Floats = NDArray[np.float64]

SERVO_SUPPLY_LIMIT_W = 2.0
TIP_MACH_LIMIT = 0.8
PITCH_SPEED_RATIO = 2.5
SPEED_OVER_STALL = 1.25
LEVEL_THROTTLE_LIMIT = 0.8


@attrs.frozen(kw_only=True, eq=False)
class Measure:
    """A value and its limit for N lanes; ``limit`` is NaN where there is none.

    ``judged`` is True where ``over`` would exclude: the limit comes from the brief or a part's rating.
    """

    value: Floats
    limit: Floats
    judged: Any

    def passes(self, rule: CheckRule) -> NDArray[np.bool_]:
        """Lanes within the limit, or without one to judge; a value that is NaN does not pass."""
        within = self.value >= self.limit if rule.least else self.value <= self.limit
        return np.asarray(within | np.isnan(self.limit) | ~np.asarray(self.judged))


@attrs.frozen(kw_only=True, eq=False)
class Flown:
    """One airspeed of the brief's phases: (N,) speeds, and whether it is held with the motor on."""

    name: str
    airspeed: Floats
    phase: Phase


class TrainMeasures:
    """The measures of N power trains in one setting, each computed when it is asked for.

    Parameters
    ----------
    setting : Setting
    lanes : TrainLanes; ratings : RatingLanes, the same N trains
    """

    def __init__(self, setting: Setting, lanes: TrainLanes, ratings: RatingLanes) -> None:
        self.setting, self.lanes, self.ratings = setting, lanes, ratings
        self.frames = setting.airframes(ratings.mass_g)
        n = lanes.size
        self._density = np.full(n, setting.air.density_kg_m3)
        self._sound = np.full(n, setting.air.speed_of_sound_m_s)
        self._kept: dict[Any, Any] = {}

    def __getitem__(self, name: str) -> Measure:
        """A measure by the name of its check."""
        if name not in self._kept:
            self._kept[name] = getattr(self, f"_{name}")()
        measure: Measure = self._kept[name]
        return measure

    def take(self, index: Any) -> "TrainMeasures":
        """The measures of some lanes, with what is known of them already."""
        some = TrainMeasures(self.setting, self.lanes.take(index), self.ratings.take(index))
        some.frames = self.frames.take(index)
        some._kept = {key: _lanes_of(value, index) for key, value in self._kept.items()}
        return some

    def has_limit(self, name: str) -> bool:
        """False when the brief gives a check no limit, so that it need not be computed to judge."""
        limits = self.setting.brief.limits
        given = {
            "propeller_diameter": limits.max_propeller_diameter_in,
            "all_up_mass": self.setting.variant.target_mass_g,
            "wing_loading": limits.max_wing_loading_g_dm2,
            "thrust_to_weight": limits.min_thrust_to_weight,
            "hand_launch": limits.min_launch_thrust_to_weight,
            "climb": limits.min_climb_m_s,
            "cell_voltage": self.setting.stated.limits.cutoff_cell_v,
            "balance": self.setting.geometry,
            "flight_time": limits.min_flight_minutes,
        }
        return given.get(name, name) is not None

    # ------------------------------------------------------------ states the measures share

    def _once(self, key: Any, make: Any) -> Any:
        if key not in self._kept:
            self._kept[key] = make()
        return self._kept[key]

    def full(self, charge: float, airspeed: Floats | None = None, key: Any = "static") -> OperatingPoint:
        """Full throttle at a charge, at rest or at an airspeed kept under ``key``."""
        n = self.lanes.size
        speed = np.zeros(n) if airspeed is None else airspeed
        point: OperatingPoint = self._once(
            ("full", charge, key),
            lambda: solve_lanes(self.lanes, speed, np.ones(n), np.full(n, charge), self._density, self._sound),
        )
        return point

    @property
    def stall_m_s(self) -> Floats:
        """Stall speed of each lane."""
        return np.asarray(self._once("stall", lambda: stall_speed_m_s(self.frames, self._density)))

    @property
    def flown(self) -> tuple[Flown, ...]:
        """Airspeeds of the powered phases; a throttle phase that names none flies at 1.3 stall."""
        return tuple(
            Flown(name=phase.name, airspeed=self.setting.airspeed_m_s(phase, self.frames), phase=phase)
            for phase in self.setting.phases
            if phase.throttle != 0
        )

    def _worst(self, field: str, *, static: bool = True) -> Floats:
        """Largest value of a field at full throttle and charge 1, over rest and the phases' airspeeds."""
        points = [self.full(1.0)] if static else []
        points += [self.full(1.0, f.airspeed, _speed_key(f.phase)) for f in self.flown]
        if not points:
            return np.full(self.lanes.size, np.nan)
        stacked = np.array([getattr(p, field) for p in points])
        # a NaN in flight alone (no steady speed there) does not hide the static value; a NaN at rest does
        worst = np.fmax.reduce(stacked)
        return np.where(np.isnan(stacked[0]), np.nan, worst) if static else worst

    @property
    def flight(self) -> FlightLanes:
        """Flight time of each lane."""
        here = self.setting
        result: FlightLanes = self._once(
            "flight",
            lambda: flight_time_lanes(
                self.lanes, self.frames, here.phases, here.reserve_charge, here.cutoff_cell_v, self._density,
                self._sound,
            ),
        )  # fmt: skip
        return result

    @property
    def top(self) -> FullThrottle:
        """Top speed and climb at half charge."""
        return self.top_at(0.5)

    def top_at(self, charge: float) -> FullThrottle:
        """Top speed and climb at a charge."""
        everywhere = np.full(self.lanes.size, charge)
        result: FullThrottle = self._once(
            ("top", charge),
            lambda: full_throttle_lanes(self.lanes, self.frames, everywhere, self._density, self._sound),
        )
        return result

    # ------------------------------------------------------------ the checks

    def _against(self, value: Any, limit: float | Floats | None, judged: Any = True) -> Measure:
        n = self.lanes.size
        bound = np.nan if limit is None else limit
        return Measure(
            value=np.broadcast_to(np.asarray(value, dtype=np.float64), (n,)),
            limit=np.broadcast_to(np.asarray(bound, dtype=np.float64), (n,)),
            judged=judged,
        )

    def _cell_count(self) -> Measure:
        cells, r = self.lanes.cells, self.ratings
        too_few = cells < r.cells_least
        stated = np.where(np.isfinite(r.cells_most), r.cells_most, np.where(r.cells_least > 0, np.inf, np.nan))
        return self._against(cells, np.where(too_few, 0.0, stated))

    def _propeller_diameter(self) -> Measure:
        return self._against(self.ratings.diameter_in, self.setting.brief.limits.max_propeller_diameter_in)

    def _all_up_mass(self) -> Measure:
        return self._against(self.frames.mass_kg / GRAM_KG, self.setting.variant.target_mass_g)

    def _wing_loading(self) -> Measure:
        loading = self.frames.mass_kg / GRAM_KG / self.setting.variant.airframe.wing_area_dm2
        return self._against(loading, self.setting.brief.limits.max_wing_loading_g_dm2)

    def _motor_current_static(self) -> Measure:
        limit = self.ratings.motor_limit_a(self.setting.full_throttle_seconds)
        return self._against(self.full(1.0).motor_current_a, limit)

    def _motor_current_flight(self) -> Measure:
        limit = self.ratings.motor_limit_a(self.setting.full_throttle_seconds)
        if not self.flown:
            return self._against(np.nan, None)
        return self._against(self._worst("motor_current_a", static=False), limit)

    def _motor_power(self) -> Measure:
        points = [self.full(1.0), *(self.full(1.0, f.airspeed, _speed_key(f.phase)) for f in self.flown)]
        watts = np.array([p.motor_voltage_v * p.motor_current_a for p in points])
        return self._against(np.where(np.isnan(watts[0]), np.nan, np.fmax.reduce(watts)), self.ratings.motor_w)

    def _controller_current(self) -> Measure:
        limit = self.ratings.controller_limit_a(self.setting.full_throttle_seconds)
        return self._against(self._worst("motor_current_a"), limit)

    def _pack_burst(self) -> Measure:
        return self._against(self._worst("pack_current_a"), self.ratings.burst_a)

    def _pack_sustained(self) -> Measure:
        return self._against(np.fmax.reduce(self.flight.phase_current_a), self.ratings.usable_a)

    def _propeller_rpm(self) -> Measure:
        return self._against(self._worst("rpm"), self.ratings.max_rpm, self.ratings.max_rpm_stated > 0)

    def _thrust_to_weight(self) -> Measure:
        ratio = self.full(0.5).thrust_n / self.frames.weight_n
        return self._against(ratio, self.setting.brief.limits.min_thrust_to_weight)

    def _hand_launch(self) -> Measure:
        thrust = self.full(0.5, 0.5 * self.stall_m_s, "half stall").thrust_n
        ratio = thrust * self.frames.installed_thrust / self.frames.weight_n
        return self._against(ratio, self.setting.brief.limits.min_launch_thrust_to_weight)

    def _climb(self) -> Measure:
        return self._against(self.top.climb_m_s, self.setting.brief.limits.min_climb_m_s)

    def _cell_voltage(self) -> Measure:
        limits = self.setting.brief.limits
        stated = self.setting.stated.limits.cutoff_cell_v is not None
        return self._against(self.full(0.5).cell_voltage_v, limits.cutoff_cell_v, stated)

    def _balance(self) -> Measure:
        r = self.ratings
        miss, limit = balance_miss_mm(
            self.setting,
            motors_g=r.motors_g,
            propellers_g=r.propellers_g,
            controllers_g=r.controllers_g,
            pack_g=r.pack_g,
        )
        return self._against(miss, limit)

    def _flight_time(self) -> Measure:
        return self._against(self.flight.minutes, self.setting.brief.limits.min_flight_minutes)

    def _servo_supply_heat(self) -> Measure:
        p, r = self.lanes, self.ratings
        volts = p.open_circuit_v(np.ones(p.size)) - p.pack_ohm(np.ones(p.size)) * p.accessory_a
        heat = (volts - r.servo_supply_v) * p.accessory_a
        linear = r.servo_supply_linear > 0
        return self._against(np.where(linear, heat, 0.0), np.where(linear, SERVO_SUPPLY_LIMIT_W, np.nan), False)

    def _tip_mach(self) -> Measure:
        return self._against(self._worst("tip_mach"), TIP_MACH_LIMIT, False)

    def _pitch_speed_ratio(self) -> Measure:
        ratio = self.full(0.5).pitch_speed_m_s / self.stall_m_s
        return self._against(ratio, PITCH_SPEED_RATIO, False)

    def _speed_over_stall(self) -> Measure:
        if not self.flown:
            return self._against(np.nan, None, False)
        ratios = [f.airspeed / (self.stall_m_s * np.sqrt(f.phase.load_factor)) for f in self.flown]
        return self._against(np.min(ratios, axis=0), SPEED_OVER_STALL, False)

    def _level_throttle(self) -> Measure:
        held = [f for f in self.flown if f.phase.throttle is None]
        if not held:
            return self._against(np.nan, None, False)
        reserve = np.full(self.lanes.size, self.setting.brief.limits.reserve_charge)
        throttles = [
            level_lanes(
                self.lanes, self.frames, f.airspeed, reserve, self._density, self._sound,
                f.phase.climb_m_s, f.phase.load_factor,
            ).throttle
            for f in held
        ]  # fmt: skip
        return self._against(np.max(throttles, axis=0), LEVEL_THROTTLE_LIMIT, False)

    def _mass_threshold(self) -> Measure:
        return self._against(self.frames.mass_kg / GRAM_KG, self.setting.brief.limits.mass_threshold_g, False)


def _lanes_of(value: Any, index: Any) -> Any:
    """Some lanes of an array, lanes last, or of a record of arrays."""
    if isinstance(value, np.ndarray):
        return value[..., index]
    if attrs.has(type(value)):
        arrays = {a.name: getattr(value, a.name) for a in attrs.fields(type(value))}
        return attrs.evolve(value, **{k: v[..., index] for k, v in arrays.items() if isinstance(v, np.ndarray)})
    return value


def _speed_key(phase: Phase) -> Any:
    return "1.3 stall" if phase.airspeed_m_s is None else phase.airspeed_m_s
