"""Rows made by the engine from plausible motors and propellers: never refused, made again, covered by the ranges."""

import math
from typing import Any

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from support.trains import rising_rpm_table, simple_controller

from propmatch.coupling import OperatingPoint, solve
from propmatch.models.air import Air
from propmatch.models.pack import Chemistry
from propmatch.records.estimates import completed
from propmatch.records.fields import replace
from propmatch.records.listing import ListedMotor, motor_from_listing
from propmatch.records.motorfit import AIR_DENSITY_KG_M3, CONSTANTS, INSTRUMENT_SD, scaled_table
from propmatch.records.parts import Motor, Pack, PowerTrain, Propeller, Source
from propmatch.units import GRAM_FORCE_N, INCH_M

SUPPLY_V = (0.5, 30.0)
SUPPLY = Pack(
    name="supply", cells_series=1, capacity_mah=1e5, c_rating=100, mass_g=50, cell_resistance_mohm=0.0,
    lead_resistance_mohm=0.0, chemistry=Chemistry(name="supply", charge=[0, 1], ocv_v=SUPPLY_V, source="of a test"),
)  # fmt: skip
CONTROLLER = simple_controller(max_current_a=500.0, resistance_mohm=0.0)
SURE = 0.2


def ran(motor: Motor, propeller: Propeller, volts: float) -> OperatingPoint:
    """Full throttle on a source of these volts."""
    train = PowerTrain(motor=motor, controller=CONTROLLER, pack=SUPPLY, propeller=propeller, radio_current_a=0.0)
    charge = (volts - SUPPLY_V[0]) / (SUPPLY_V[1] - SUPPLY_V[0])
    return solve(train, charge=charge, air=Air(density_kg_m3=AIR_DENSITY_KG_M3))


def planted(mass_g: float, label: float, z: Any) -> Motor:
    """A motor that differs from the law by z standard deviations in f, c, b, g and d."""
    motor, made = completed(Motor(name="m", kv_rpm_per_v=label, kv_kind="label", mass_g=mass_g))
    sd = {each.field: math.log(each.value / each.low) / 1.2816 for each in made if each.low}
    f, c, b, g, d = (math.exp(sd[name] * float(each)) for name, each in zip(CONSTANTS, z, strict=True))
    factors = dict(zip(CONSTANTS, (f, c / f**2, b / f**2, g, d * f / g), strict=True))
    return replace(motor, **{name: getattr(motor, name) * factor for name, factor in factors.items()})


def blades(mass_g: float, label: float, ct0: float, merit: float) -> Propeller:
    """A propeller that loads such a motor, of a figure of merit CT^1.5 sqrt(2/pi)/CP."""
    diameter = min(max(5.0 * (mass_g / 28) ** 0.25 * (2600 / label) ** 0.5, 2.5), 16.0)
    cp0 = ct0**1.5 * math.sqrt(2 / math.pi) / merit
    table = rising_rpm_table(ct0=ct0, cp0=cp0, ct_growth=0.0, cp_growth=0.0)
    source = Source(text="of a test", kind="predicted", uncertainty=SURE)
    return Propeller(name="q", diameter_in=diameter, pitch_in=0.7 * diameter, table=table, source=source, mass_g=1.0)


def listed(label: float, mass_g: float, propeller: Propeller, row: dict[str, float], kind: str) -> ListedMotor:
    names = [name for name in row if name in ("volts", "amps") or name in kind]
    return motor_from_listing(name="m", kv_rpm_per_v=label, mass_g=mass_g, propeller=propeller,
                              **{name: row[name] for name in names})  # fmt: skip


masses, kinds = st.floats(8, 200), st.sampled_from(["", "rpm", "thrust_gf", "rpm thrust_gf"])
deviations = st.lists(st.floats(-2, 2), min_size=7, max_size=7)


@given(masses, st.floats(0.5, 2), deviations, st.floats(0.08, 0.16), st.floats(0.4, 0.7), st.floats(7, 12.6), kinds)
def test_a_row_is_never_refused_and_comes_out_again(
    mass_g: float, size: float, z: list[float], ct0: float, merit: float, volts: float, kind: str
) -> None:
    label = min(max(size * 13000 / math.sqrt(mass_g), 300), 6000)
    propeller = blades(mass_g, label, ct0, merit)
    true = scaled_table(propeller, math.exp(SURE * z[5]), math.exp(SURE * (0.8 * z[5] + 0.6 * z[6])), "", None)
    point = ran(planted(mass_g, label, z[:5]), true, volts)
    row = {"volts": volts, "amps": point.motor_current_a, "rpm": point.rpm, "thrust_gf": point.thrust_n / GRAM_FORCE_N}
    disc = math.pi / 4 * (propeller.diameter_in * INCH_M) ** 2
    ideal = point.thrust_n**1.5 / math.sqrt(2 * AIR_DENSITY_KG_M3 * disc)
    if max(ideal / point.shaft_power_w, point.motor_efficiency) > 0.95:
        return
    found = listed(label, mass_g, propeller, row, kind)
    again = ran(found.motor, found.propeller, volts)
    numbers = {"amps": again.motor_current_a, "rpm": again.rpm, "thrust_gf": again.thrust_n / GRAM_FORCE_N}
    for name, value in numbers.items():
        if name == "amps" or name in kind:
            assert abs(math.log(value / row[name])) < 2 * INSTRUMENT_SD[name.replace("gf", "n")], name


def test_the_ranges_hold_as_many_as_they_say() -> None:
    """80 % ranges of 150 motors drawn from what the law says, read with hobby instruments."""
    rng = np.random.default_rng(5)
    held: dict[str, list[bool]] = {}
    for _ in range(150):
        mass_g, kind = math.exp(rng.uniform(math.log(8), math.log(200))), rng.choice(["", "rpm", "rpm thrust_gf"])
        label = min(max(13000 / math.sqrt(mass_g), 300), 6000)
        z = rng.standard_normal(7)
        motor, propeller = planted(mass_g, label, z[:5]), blades(mass_g, label, 0.12, 0.55)
        factors = {"ct": math.exp(SURE * z[5]), "cp": math.exp(SURE * (0.8 * z[5] + 0.6 * z[6]))}
        point = ran(motor, scaled_table(propeller, factors["ct"], factors["cp"], "", None), 9.0)
        exact = {"volts": 9.0, "amps": point.motor_current_a, "rpm": point.rpm,
                 "thrust_gf": point.thrust_n / GRAM_FORCE_N}  # fmt: skip
        noise = np.exp(np.array([*INSTRUMENT_SD.values()]) * rng.standard_normal(4))
        row = {name: value * off for (name, value), off in zip(exact.items(), noise, strict=True)}
        for each in listed(label, mass_g, propeller, row, kind).assumptions:
            true = factors.get(each.field) or getattr(motor, each.field)
            held.setdefault(each.field, []).append(each.low <= true <= each.high)
    shares = {name: float(np.mean(each)) for name, each in held.items()}
    assert all(0.7 <= share <= 0.9 for share in shares.values()), shares  # 0.80 +/- 3 standard errors of 0.033
