"""The numbers that checks judge, for many power trains at once: each value beside its limit.

One function serves a single design and a search over millions of lanes; :mod:`propmatch.limits` turns its arrays into
``Check`` objects. Currents are taken fresh from the charger (charge 1), thrust and climb at half charge.
"""

from typing import Any

import attrs
import numpy as np
from numpy.typing import NDArray

from propmatch.air import Air
from propmatch.balance import MassBuildUp, bare_build_up, place_packs
from propmatch.brief import Brief, ResolvedVariant, resolve_variants
from propmatch.coupling import OperatingPoint, solve_lanes
from propmatch.estimates import completed
from propmatch.flight import FullThrottle, full_throttle_lanes, level_lanes
from propmatch.flightlanes import FlightLanes, flight_time_lanes
from propmatch.geometry import Geometry
from propmatch.lanes import TrainLanes
from propmatch.polar import AirframeLanes, airframe_lanes, stall_speed_m_s
from propmatch.ratings import RatingLanes
from propmatch.sections import Phase
from propmatch.units import GRAM_KG

__all__ = ["CHECKS", "CheckRule", "Flown", "Measure", "Setting", "TrainMeasures", "setting", "settings"]

Floats = NDArray[np.float64]

SERVO_SUPPLY_LIMIT_W = 2.0
TIP_MACH_LIMIT = 0.8
PITCH_SPEED_RATIO = 2.5
SPEED_OVER_STALL = 1.25
LEVEL_THROTTLE_LIMIT = 0.8
THROTTLE_AIRSPEED = 1.3
"""Airspeed of a throttle phase that names none, as a multiple of stall speed."""


@attrs.frozen
class CheckRule:
    """How one check is judged.

    Attributes
    ----------
    unit : str
    least : bool
        True when the limit is a minimum.
    basis : str
        ``brief``, ``part rating`` or ``common practice``; where the limit may come from either, the one that excludes.
    what : str
        The value in plain words.
    """

    unit: str
    least: bool
    basis: str
    what: str


_B, _R, _P = "brief", "part rating", "common practice"
CHECKS: dict[str, CheckRule] = {
    "cell_count": CheckRule("S", False, _R, "cells in series against motor and controller"),
    "propeller_diameter": CheckRule("in", False, _B, "propeller diameter"),
    "all_up_mass": CheckRule("g", False, _B, "everything that flies"),
    "wing_loading": CheckRule("g/dm2", False, _B, "all-up mass over wing area"),
    "motor_current_static": CheckRule("A", False, _R, "motor current at full throttle at rest, full pack"),
    "motor_current_flight": CheckRule("A", False, _R, "motor current at full throttle in flight, full pack"),
    "motor_power": CheckRule("W", False, _R, "motor input at full throttle, full pack"),
    "controller_current": CheckRule("A", False, _R, "motor current through the controller, full pack"),
    "pack_burst": CheckRule("A", False, _R, "pack current at full throttle, full pack"),
    "propeller_rpm": CheckRule("rpm", False, _R, "propeller speed at full throttle, full pack"),
    "thrust_to_weight": CheckRule("", True, _B, "static thrust over weight at half charge"),
    "hand_launch": CheckRule("", True, _B, "thrust over weight at half the stall speed, half charge"),
    "climb": CheckRule("m/s", True, _B, "best climb at full throttle, half charge"),
    "cell_voltage": CheckRule("V", True, _B, "cell voltage at full throttle at rest, half charge"),
    "balance": CheckRule("mm", False, _B, "centre of gravity off target with the pack at its best place"),
    "pack_sustained": CheckRule("A", False, _R, "mean pack current of the hungriest phase"),
    "flight_time": CheckRule("min", True, _B, "flight time"),
    "servo_supply_heat": CheckRule("W", False, _P, "heat in a linear servo supply"),
    "tip_mach": CheckRule("", False, _P, "helical tip Mach number"),
    "pitch_speed_ratio": CheckRule("", True, _P, "static pitch speed over stall speed"),
    "speed_over_stall": CheckRule("", True, _P, "slowest powered phase over stall speed"),
    "level_throttle": CheckRule("", False, _P, "throttle of the hungriest held airspeed at reserve charge"),
    "mass_threshold": CheckRule("g", False, _P, "all-up mass against a legal mass class"),
}
"""Every check, in the order in which a combination is counted as left out."""


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
class Setting:
    """What is the same for every power train: one variant of the brief at its site.

    Attributes
    ----------
    brief : Brief, completed; stated : Brief as it came
    variant : ResolvedVariant
    air : Air
    build : MassBuildUp or None, geometry : Geometry or None, for the balance
    """

    brief: Brief
    stated: Brief
    variant: ResolvedVariant
    air: Air
    build: MassBuildUp | None
    geometry: Geometry | None

    @property
    def phases(self) -> tuple[Phase, ...]:
        """The phases of the brief."""
        return self.brief.phase

    @property
    def full_throttle_seconds(self) -> float | None:
        """Longest timed phase above throttle 0.95; None when one has no end, or none says how long."""
        loud = [p for p in self.phases if p.throttle is not None and p.throttle > 0.95]
        times = [p.seconds for p in loud]
        known = [t for t in times if t is not None]
        return max(known) if known and len(known) == len(times) else None

    def airframes(self, train_mass_g: Floats) -> AirframeLanes:
        """The airframe carrying each train."""
        mass = (self.variant.airframe.bare_mass_g + train_mass_g) * GRAM_KG
        return airframe_lanes(self.variant.airframe, mass)[0]


def setting(brief: Brief, variant: ResolvedVariant | None = None) -> Setting:
    """The setting of one variant, the aircraft as designed by default."""
    filled, _ = completed(brief)
    chosen = resolve_variants(brief)[0] if variant is None else variant
    site = filled.site
    assert site.altitude_m is not None
    geometry = Geometry.of_brief(filled, chosen.airframe)
    return Setting(
        brief=filled,
        stated=brief,
        variant=chosen,
        air=Air.at_site(site.altitude_m, site.temperature_c),
        build=None if geometry is None else bare_build_up(filled, chosen),
        geometry=geometry,
    )


def settings(brief: Brief) -> tuple[Setting, ...]:
    """The setting of each variant, the aircraft as designed first."""
    return tuple(setting(brief, variant) for variant in resolve_variants(brief))


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
        """The measures of some lanes."""
        return TrainMeasures(self.setting, self.lanes.take(index), self.ratings.take(index))

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
        out = []
        for phase in self.setting.phases:
            if phase.throttle == 0:
                continue
            if phase.airspeed_m_s is None:
                speed = THROTTLE_AIRSPEED * self.stall_m_s
            else:
                speed = np.full(self.lanes.size, phase.airspeed_m_s)
            out.append(Flown(name=phase.name, airspeed=speed, phase=phase))
        return tuple(out)

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
        limits = self.setting.brief.limits
        assert limits.reserve_charge is not None
        assert limits.cutoff_cell_v is not None
        result: FlightLanes = self._once(
            "flight",
            lambda: flight_time_lanes(
                self.lanes, self.frames, self.setting.phases, limits.reserve_charge, limits.cutoff_cell_v,
                self._density, self._sound,
            ),
        )  # fmt: skip
        return result

    @property
    def top(self) -> FullThrottle:
        """Top speed and climb at half charge."""
        half = np.full(self.lanes.size, 0.5)
        result: FullThrottle = self._once(
            "top", lambda: full_throttle_lanes(self.lanes, self.frames, half, self._density, self._sound)
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
        geometry, build, r = self.setting.geometry, self.setting.build, self.ratings
        if geometry is None or build is None:
            return self._against(np.nan, None)
        places = (
            (r.motors_g, geometry.motor_mm),
            (r.propellers_g, geometry.propeller_mm),
            (r.controllers_g, geometry.controller_mm),
        )
        base = build.mass_g + np.sum([mass for mass, _ in places], axis=0)
        moment = build.mass_g * build.position_mm + sum(
            mass * (np.nan if place is None else place) for mass, place in places
        )
        packs = place_packs(geometry, base_mass_g=base, base_cg_mm=moment / base, pack_mass_g=r.pack_g)
        miss = np.abs(packs.miss_mm)
        return self._against(miss, np.where(np.isnan(miss), np.nan, geometry.cg_tolerance_mm))

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


def _speed_key(phase: Phase) -> Any:
    return "1.3 stall" if phase.airspeed_m_s is None else phase.airspeed_m_s
