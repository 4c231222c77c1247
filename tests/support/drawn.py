"""One draw of a power train in its aircraft written out in plain floats: what full throttle gives, how long it flies.

Nothing here calls the project's models, solver or draws: the operating point is :class:`support.oracle.Chain` with
scipy's brentq, level flight a search for the speed that gives the thrust and one for the duty, the flight a trapezoid
rule over charge. Only the parts' completed numbers and how sure they are come from the project.
"""

import math
from collections.abc import Mapping
from typing import Any

import numpy as np
from scipy.optimize import brentq

from propmatch.records.estimates import completed
from support.oracle import Chain, FloatTable

G = 9.80665
INPUTS = (
    "kv_rpm_per_v", "resistance_ohm", "resistance_slope_ohm_s", "torque_constant_ratio", "no_load_current_a",
    "resistance_mohm", "part_throttle_loss", "cell_resistance_mohm", "lead_resistance_mohm", "capacity_mah", "ct", "cp",
    "bare_mass", "drag", "induced_drag", "lift", "installed_thrust", "radio", "air_density",
)  # fmt: skip
ANSWERS = ("thrust_n", "thrust_to_weight", "motor_current_a", "pack_current_a", "flight_minutes")
_CHARGE_STEP = 0.05


def random_z(rng: np.random.Generator) -> dict[str, float]:
    """Standard normal numbers by the names of the inputs; those of CT and CP correlated 0.8."""
    z = dict(zip(INPUTS, rng.standard_normal(len(INPUTS)).tolist(), strict=True))
    return z | {"cp": 0.8 * z["ct"] + 0.6 * z["cp"]}


class DrawnTrain:
    """A power train in the aircraft of a setting with one phase of level flight; its pack is a LiPo near 25 degC."""

    def __init__(self, setting: Any, train: Any, inputs: Any) -> None:
        self.sd: Mapping[str, float] = {each.name: each.sd for each in inputs}
        self.stated, self.full = train, completed(train)[0]
        self.frame, self.bare_g = completed(setting.variant.airframe)[0], setting.variant.airframe.bare_mass_g
        self.table = FloatTable(train.propeller.table)
        self.density = setting.air.density_kg_m3
        (self.phase,) = setting.phases
        self.reserve, self.cutoff_v = setting.reserve_charge, setting.cutoff_cell_v

    def answers(self, z: Mapping[str, float]) -> tuple[float, ...]:
        """``ANSWERS`` of one draw; a flight that cannot begin lasts no time."""
        f = {name: math.exp(self.sd.get(name, 0.0) * each) for name, each in z.items()}
        pack = self.full.pack
        cells_ohm = 1e-3 * pack.cells_series / pack.cells_parallel * pack.cell_resistance_mohm
        self.cells_ohm = cells_ohm * f["cell_resistance_mohm"]
        self.leads_ohm = 1e-3 * pack.lead_resistance_mohm * f["lead_resistance_mohm"]
        chain = self.chain(f, z["part_throttle_loss"])
        weight_n = 1e-3 * (self.bare_g * f["bare_mass"] + self.stated.mass_g) * G
        installed = min(self.frame.installed_thrust * f["installed_thrust"], 1.0)
        thrust, motor_a, pack_a = self.at_rest(chain, 1.0)
        half, *_ = self.at_rest(chain, 0.5)
        minutes = self.minutes(chain, f, weight_n, installed)
        return thrust, installed * half / weight_n, motor_a, pack_a, minutes

    def chain(self, f: Mapping[str, float], loss_z: float) -> Chain:
        """The power train of one draw; what a law derived from kV follows it."""
        m, stated, controller, kv = self.full.motor, self.stated.motor, self.full.controller, f["kv_rpm_per_v"]
        slope, reference = m.resistance_slope_ohm_s or 0.0, None
        if m.no_load_exponent:
            k, i0 = 60.0 / (2.0 * math.pi * m.kv_rpm_per_v), m.no_load_current_a
            reference = (m.no_load_voltage_v - m.resistance_ohm * i0) / (k + slope * i0)
        ct, cp = f["ct"], f["cp"]
        loss = controller.part_throttle_loss + self.sd.get("part_throttle_loss", 0.0) * loss_z
        return Chain(
            kv_rpm_per_v=m.kv_rpm_per_v * kv,
            resistance_ohm=m.resistance_ohm * f["resistance_ohm"] / (kv**2 if stated.resistance_ohm is None else 1.0),
            slope_ohm_s=slope * f["resistance_slope_ohm_s"] / (kv**2 if stated.resistance_slope_ohm_s is None else 1.0),
            torque_ratio=(m.torque_constant_ratio or 1.0) * f["torque_constant_ratio"],
            no_load_a=m.no_load_current_a * f["no_load_current_a"] * (kv if stated.no_load_current_a is None else 1.0),
            exponent=m.no_load_exponent,
            reference_rad_s=reference,
            gear=m.gear_ratio,
            gear_efficiency=m.gear_efficiency,
            controller_ohm=0.0 if m.controller_included else 1e-3 * controller.resistance_mohm * f["resistance_mohm"],
            loss=min(max(loss, 0.0), 0.499),
            open_v=0.0,
            radio_a=self.full.radio_current_a * f["radio"],
            count=self.full.count,
            diameter_m=0.0254 * self.full.propeller.diameter_in,
            density=self.density * f["air_density"],
            ct=lambda rpm, j: ct * self.table.ct(rpm, j),
            cp=lambda rpm, j: cp * self.table.cp(rpm, j),
        )

    def fill(self, chain: Chain, charge: float) -> None:
        """The pack at a charge: four cells' worth of the curve nodes, resistance after Chen and Rincon-Mora (2006)."""
        nodes = ((0.1, 3.6396), (0.2, 3.6954), (0.3, 3.7331), (0.4, 3.7622), (0.5, 3.7925), (0.6, 3.8365),
                 (0.7, 3.9089), (0.8, 3.9945), (0.9, 4.0879), (0.95, 4.1384), (1.0, 4.2))  # fmt: skip
        chain.open_v = self.full.pack.cells_series * float(np.interp(charge, *zip(*nodes, strict=True)))
        rise = (0.1562 * math.exp(-24.37 * charge) + 0.07446) / (0.1562 * math.exp(-24.37) + 0.07446)
        chain.pack_ohm = self.cells_ohm * rise + self.leads_ohm

    def at_rest(self, chain: Chain, charge: float) -> tuple[float, float, float]:
        """Thrust [N] of the train, current of a motor and of the pack [A] at full throttle at rest."""
        self.fill(chain, charge)
        chain.throttle, chain.airspeed = 1.0, 0.0
        u = chain.speed(1.0, chain.open_v / (chain.k * chain.gear))
        current = chain.motor_current(u)
        return chain.count * chain.propeller(u)[0], current, chain.count * current + chain.radio_a

    def minutes(self, chain: Chain, f: Mapping[str, float], weight_n: float, installed: float) -> float:
        """Flight time in level flight down to the reserve, to the cutoff, or to the end of power."""
        frame, v = self.frame, self.phase.airspeed_m_s
        area = 1e-2 * frame.wing_area_dm2
        q = 0.5 * chain.density * v * v
        k = 1.0 / (math.pi * frame.oswald * (1e-3 * frame.wing_span_mm) ** 2 / area)
        lift = weight_n / (q * area)
        drag = q * area * (frame.cd0 * f["drag"] + k / f["induced_drag"] * lift * lift)
        wanted = drag / installed / chain.count
        chain.airspeed = v

        def short(u: float) -> float:
            return chain.propeller(u)[0] - wanted

        low = high = 2.0 * math.pi * v / (1.5 * chain.diameter_m)
        while short(high) < 0:
            low, high = high, 1.05 * high
        u = brentq(short, 0.5 * low if low == high else low, high, xtol=1e-12, rtol=1e-14)
        current = chain.motor_current(u)
        behind = chain.behind(u, current) + chain.controller_ohm * current

        def pack(charge: float) -> tuple[float, float]:
            """Pack current and cell voltage at the duty that holds it; NaN where none does."""
            self.fill(chain, charge)

            def left(d: float) -> float:
                return d * (chain.open_v - chain.pack_ohm * drawn(d)) - behind

            def drawn(d: float) -> float:
                return chain.count * d * current / (1.0 - chain.loss * (1.0 - d)) + chain.radio_a

            if left(1.0) < 0:
                return math.nan, math.nan
            amps = drawn(brentq(left, 0.0, 1.0, xtol=1e-12))
            return amps, (chain.open_v - chain.pack_ohm * amps) / self.full.pack.cells_series

        capacity = 3600e-3 * self.full.pack.capacity_mah * f["capacity_mah"]
        seconds, charge, (amps, volts) = 0.0, 1.0, pack(1.0)
        if not volts >= self.cutoff_v:
            return 0.0
        while charge > self.reserve + 1e-9:
            step = min(_CHARGE_STEP, charge - self.reserve)
            next_amps, next_volts = pack(charge - step)
            if not next_volts >= self.cutoff_v:
                step = _last(lambda s, at=charge: pack(at - s)[1] >= self.cutoff_v, step)
                next_amps, _ = pack(charge - step)
                return (seconds + capacity * step * 0.5 * (1 / amps + 1 / next_amps)) / 60.0
            seconds += capacity * step * 0.5 * (1 / amps + 1 / next_amps)
            charge, amps = charge - step, next_amps
        return seconds / 60.0


def _last(holds: Any, step: float) -> float:
    """The longest step that holds, by halving."""
    low, high = 0.0, step
    for _ in range(40):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if holds(middle) else (low, middle)
    return low
