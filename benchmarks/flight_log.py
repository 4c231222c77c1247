"""How well one calibrating flight predicts the next at another speed, on planted aircraft.

An aircraft is planted by a loop of its own (scipy's ``brentq`` for every operating point, ``solve_ivp`` for the
discharge) with a drag, a propulsion and a way of flying that nobody told the engine, drawn from the spreads that are
stated for parts known by their label. It flies once; minutes and mAh are noted as a builder would, with the errors of
charger and timer. The engine sees brief, parts and that flight, and predicts the one at 1.25 or 0.85 times the speed.

    python benchmarks/flight_log.py [--cases 200] [--parts label|measured] [--airspeed-error 0]

For comparison, published: endurance within 2.3 % after one calibrating flight (Hwang, Cha and Jung, Energies 2018, 11,
2221), 3 % with a measured battery (Traub, Journal of Aircraft 50, 2013); both from memory of the abstracts.
"""

import argparse
import math
import sys

import attrs
import numpy as np
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from propmatch.bench.flightlog import Flown, level_power
from propmatch.brief import loads_brief
from propmatch.checks.setting import ResolvedBrief, Setting
from propmatch.faults import InputFaults
from propmatch.models.pack import CHEMISTRIES
from propmatch.models.tables import CoefficientTable
from propmatch.records.fields import replace
from propmatch.records.parts import Controller, Motor, Pack, PowerTrain, Propeller, Source

SPEED_M_S, FASTER, SLOWER, DRAWN_MAH = 12.0, 1.25, 0.85, 750.0
BRIEF = """
[aircraft]
name = "planted"
bare_mass_g = 290
[wing]
area_dm2 = 16.0
span_mm = 1100
cl_max = 1.1
cd0 = 0.04
oswald = 0.8
[[phase]]
name = "cruise"
airspeed_m_s = {speed}
share = 1.0
[site]
altitude_m = 0
"""
LOSS = 0.2
CT0, J_THRUST, CP0, J_POWER = 0.11, 0.85, 0.05, 0.95
CHARGER_GAIN, FLIGHT_SD, TIMER_MIN, CHARGE_LOSS = 0.02, 0.015, 0.1, 0.01
SD = {"cd0": 0.27, "oswald": 0.08, "installed": 0.04, "mass": 0.05, "density": 0.015, "radio": 0.30, "flying": 0.1037}
"""sd of ln of what is planted beside the stated numbers of the aircraft and the way it is flown."""
PART_SD = {
    "label": {"kv": 0.035, "ohm": 0.35, "i0": 0.45, "slope": 0.35, "torque": 0.03, "switch": 0.45, "cell": 0.45,
              "leads": 0.45, "capacity": 0.04, "ct": 0.17, "cp": 0.20, "loss": 0.10},
    "measured": {"kv": 0.01, "ohm": 0.05, "i0": 0.10, "slope": 0.10, "torque": 0.01, "switch": 0.10, "cell": 0.10,
                 "leads": 0.10, "capacity": 0.01, "ct": 0.03, "cp": 0.03, "loss": 0.03},
}  # fmt: skip
"""The same of the parts' numbers, known by label or measured; CT and CP with correlation 0.8, and ``loss`` is added to
the part-throttle loss."""
FLYING = 1.3


def planted_train(kind: str = "label") -> PowerTrain:
    """Parts of one kind of source, every number stated."""
    source = Source(text="planted", kind=kind)
    j = np.linspace(0.0, 1.2, 49)
    ct, cp = CT0 * (1 - j / J_THRUST), CP0 * (1 - (j / J_POWER) ** 2)
    table = CoefficientTable(rpm=[6000.0], advance_ratio=j, ct=ct[None], cp=cp[None])
    return PowerTrain(
        motor=Motor(name="motor", kv_rpm_per_v=1200.0, kv_kind="effective", mass_g=36.0, resistance_ohm=0.11,
                    no_load_current_a=0.5, no_load_voltage_v=8.0, resistance_slope_ohm_s=1.6e-4,
                    torque_constant_ratio=0.95, max_current_a=20.0, source=source),
        propeller=Propeller(name="8x6", diameter_in=8.0, pitch_in=6.0, mass_g=7.0, table=table, source=source),
        pack=Pack(name="3S 1000", cells_series=3, capacity_mah=1000.0, c_rating=30.0, mass_g=90.0,
                  cell_resistance_mohm=12.0, lead_resistance_mohm=6.0, source=source),
        controller=Controller(name="20 A", max_current_a=20.0, mass_g=14.0, resistance_mohm=6.0,
                              part_throttle_loss=LOSS, servo_supply="switching", source=source),
        radio_current_a=0.25,
    )  # fmt: skip


def setting_at(speed_m_s: float) -> Setting:
    """The brief whose one phase holds a speed."""
    return ResolvedBrief.of(loads_brief(BRIEF.format(speed=speed_m_s))).as_designed


@attrs.frozen(kw_only=True)
class Planted:
    """Factors on the stated numbers, by the keys of ``SD`` and ``PART_SD``, and the part-throttle loss."""

    factor: dict[str, float]
    loss: float = LOSS

    @classmethod
    def drawn(cls, rng: np.random.Generator, kind: str) -> "Planted":
        """One aircraft from the spreads."""
        part = PART_SD[kind]
        z = {name: rng.standard_normal() for name in (*SD, *part)}
        z["cp"] = 0.8 * z["ct"] + 0.6 * z["cp"]
        factor = {name: math.exp((SD | part)[name] * each) for name, each in z.items()}
        factor["installed"] = min(factor["installed"], 1.0)
        loss = float(np.clip(LOSS + part["loss"] * z["loss"], 0.0, 0.499))
        return cls(factor={**factor, "flying": FLYING * factor["flying"]}, loss=loss)

    def flight(self, speed_m_s: float, mah: float) -> float:
        """Minutes of a flight at one speed until so much is drawn; NaN where it cannot be flown."""
        f, t = self.factor, planted_train()
        mass, end_charge = 1e-3 * (290.0 * f["mass"] + t.mass_g), 1.0 - mah / (1000.0 * f["capacity"])
        rho, area, span = 1.225 * f["density"], 0.16, 1.1
        pressure = 0.5 * rho * speed_m_s**2 * area
        induced = (mass * 9.80665) ** 2 / (math.pi * 0.8 * f["oswald"] * span**2 / area * pressure)
        thrust = (pressure * 0.04 * f["cd0"] + induced) / f["installed"]
        diameter = 8.0 * 0.0254

        def excess(n: float) -> float:
            j = speed_m_s / (n * diameter)
            return f["ct"] * CT0 * (1 - j / J_THRUST) * rho * n**2 * diameter**4 - thrust

        n = brentq(excess, speed_m_s / (J_THRUST * diameter), 1000.0)
        j, w = speed_m_s / (n * diameter), 2 * math.pi * n
        torque = f["cp"] * CP0 * (1 - (j / J_POWER) ** 2) * rho * n**2 * diameter**5 / (2 * math.pi)
        k = 60.0 / (2 * math.pi * 1200.0 * f["kv"])
        amps = torque / (k * 0.95 * f["torque"]) + 0.5 * f["i0"]
        ohm = 0.11 * f["ohm"] + 1.6e-4 * f["slope"] * w + 0.006 * f["switch"]
        behind = k * w + ohm * amps
        cells = CHEMISTRIES["lipo"]
        loss, radio = self.loss, 0.25 * f["radio"]

        def current(q: float) -> float:
            """Pack current; NaN where full throttle does not suffice."""
            open_v = 3.0 * float(np.interp(q, cells.charge, cells.ocv_v))
            shape = (0.1562 * math.exp(-24.37 * q) + 0.07446) / 0.07446
            pack_ohm = 3.0 * 0.012 * f["cell"] * cells.sustained_ratio * shape + 0.006 * f["leads"]

            def left(d: float) -> float:
                return d * (open_v - pack_ohm * (d * amps / (1 - loss * (1 - d)) + radio)) - behind

            if left(1.0) < 0:
                return math.nan
            d = brentq(left, 1e-3, 1.0)
            return (d * amps / (1 - loss * (1 - d)) + radio) * f["flying"]

        if not math.isfinite(current(end_charge)):
            return math.nan
        minutes = 60.0 * f["capacity"]
        found = solve_ivp(
            lambda q, time: [-minutes / current(q)], (1.0, end_charge), [0.0], rtol=1e-7, atol=1e-9, max_step=0.02
        )
        return float(found.y[0, -1])


def noted(minutes: float, mah: float, rng: np.random.Generator, gain: float) -> Flown:
    """A flight as timer and charger show it; ``gain`` is the charger's."""
    wrong = gain * math.exp(FLIGHT_SD * rng.standard_normal())
    shown = max(minutes + TIMER_MIN * rng.standard_normal(), 0.1)
    return Flown(minutes=shown, recharge_mah=mah / (1.0 - CHARGE_LOSS) * wrong)


@attrs.frozen(kw_only=True)
class Case:
    """Relative errors of the second flight's minutes, and whether the 90 % intervals hold the truth."""

    speed_ratio: float
    steady: float
    usual: float
    calibrated: float
    covered: bool
    covered_first: bool


def one_case(rng: np.random.Generator, speed_ratio: float, kind: str, airspeed_sd: float) -> Case | None:
    """Plant an aircraft, calibrate by one flight, predict another; None where it cannot be flown, or is not believed.

    ``airspeed_sd`` is how far (sd of ln) the first flight's airspeed may lie from the one stated.
    """
    aircraft, train = Planted.drawn(rng, kind), planted_train(kind)
    gain = math.exp(CHARGER_GAIN * rng.standard_normal())
    first = aircraft.flight(SPEED_M_S * math.exp(airspeed_sd * rng.standard_normal()), DRAWN_MAH)
    at_speed, second = (aircraft.flight(SPEED_M_S * ratio, DRAWN_MAH) for ratio in (1.0, speed_ratio))
    if not np.isfinite([first, at_speed, second]).all():
        return None
    flown = noted(first, DRAWN_MAH, rng, gain)
    if airspeed_sd:
        flown = replace(flown, airspeed_m_s=SPEED_M_S)
    at_first, at_second = setting_at(SPEED_M_S), setting_at(SPEED_M_S * speed_ratio)
    try:
        power = level_power(train, at_first, [flown], airspeed_sd=airspeed_sd)
    except InputFaults:
        return None
    there = power.at(SPEED_M_S * speed_ratio)

    def minutes(setting: Setting, factor: float) -> float:
        brief = replace(setting.brief, limits=replace(setting.brief.limits, reserve_charge=1.0 - DRAWN_MAH / 1000.0))
        return attrs.evolve(setting, brief=brief).flight_time(train, factor).minutes

    steady = minutes(at_second, 1.0)
    true, true_first = steady / second, minutes(at_first, 1.0) / at_speed
    return Case(
        speed_ratio=speed_ratio,
        steady=steady / second - 1.0,
        usual=steady / FLYING / second - 1.0,
        calibrated=steady / there.factor / second - 1.0,
        covered=there.factor_low <= true <= there.factor_high,
        covered_first=power.level_power_factor_low <= true_first <= power.level_power_factor_high,
    )


def cases(count: int, *, kind: str = "label", seed: int = 1, airspeed_sd: float = 0.0) -> list[Case]:
    """So many planted aircraft, one half predicted at the faster, the other at the slower speed."""
    rng, found = np.random.default_rng(seed), []
    while len(found) < count:
        case = one_case(rng, FASTER if len(found) % 2 else SLOWER, kind, airspeed_sd)
        if case is not None:
            found.append(case)
    return found


def medians(found: list[Case]) -> dict[str, float]:
    """Median absolute errors and coverage."""
    return {
        **{name: float(np.median([abs(getattr(each, name)) for each in found])) for name in
           ("steady", "usual", "calibrated")},
        **{name: float(np.mean([getattr(each, name) for each in found])) for name in ("covered", "covered_first")},
    }  # fmt: skip


def main(argv: list[str]) -> None:
    parser = argparse.ArgumentParser(description=str(__doc__).splitlines()[0])
    parser.add_argument("--cases", type=int, default=200)
    parser.add_argument("--parts", choices=tuple(PART_SD), default="label", help="how the parts are known")
    parser.add_argument("--airspeed-error", type=float, default=0.0, help="per cent")
    parser.add_argument("--smoke", action="store_true", help="a few cases")
    asked = parser.parse_args(argv)
    found = cases(6 if asked.smoke else asked.cases, kind=asked.parts, airspeed_sd=asked.airspeed_error / 100.0)
    print("median error of the second flight's minutes; 90 % intervals")
    print("speed   cases  steady %  usual %  calibrated %  covered %  covered at the first speed %")
    for ratio in (SLOWER, FASTER, None):
        some = [each for each in found if ratio in (None, each.speed_ratio)]
        said = {name: 100 * value for name, value in medians(some).items()}
        name = "both" if ratio is None else f"x{ratio:g}"
        print(
            f"{name:<6} {len(some):>6} {said['steady']:>9.1f} {said['usual']:>8.1f} {said['calibrated']:>13.1f} "
            f"{said['covered']:>10.0f} {said['covered_first']:>12.0f}"
        )


if __name__ == "__main__":
    main(sys.argv[1:])
