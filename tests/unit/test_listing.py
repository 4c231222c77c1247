import math

import numpy as np
import pytest
from scipy.optimize import brentq, minimize

from propmatch.faults import InputFaults
from propmatch.models.tables import CoefficientTable
from propmatch.records.estimates import completed
from propmatch.records.listing import ListedMotor, motor_from_listing
from propmatch.records.motorfit import BenchRow, fit_motor
from propmatch.records.parts import Motor, Propeller, Source

DENSITY, DIAMETER_M, GF = 1.225, 5 * 0.0254, 9.80665e-3
Z80 = 1.2816


def five_inch(*, ct: float = 0.141, cp: float = 0.08, sure: float | None = None, kind: str = "predicted") -> Propeller:
    table = CoefficientTable(
        rpm=[15000.0], advance_ratio=[0.0, 0.5, 1.0], ct=[[ct, ct / 2, 0.0]], cp=[[cp, cp * 0.7, cp * 0.2]]
    )
    source = Source(text="typed", kind=kind, uncertainty=sure)
    return Propeller(name="5x4.5", diameter_in=5, pitch_in=4.5, table=table, source=source)


def listed(propeller: Propeller | None = None, **row: object) -> ListedMotor:
    numbers = {"name": "m", "kv_rpm_per_v": 2600, "mass_g": 28, "volts": 7.182, "amps": 8.991}
    return motor_from_listing(propeller=propeller or five_inch(), **(numbers | row))


def operating_point(found: ListedMotor, volts: float, controller_ohm: float = 0.0) -> tuple[float, float, float]:
    """Speed, current and thrust of motor and propeller, by scipy's brentq and the equations alone."""
    motor, table = found.motor, found.propeller.table
    k, size = 60 / (2 * math.pi * motor.kv_rpm_per_v), found.propeller.diameter_in * 0.0254
    b, i0 = motor.resistance_slope_ohm_s, motor.no_load_current_a
    reference = (motor.no_load_voltage_v - motor.resistance_ohm * i0) / (k + b * i0)

    def current(w: float) -> float:
        torque = table.cp[0, 0] * DENSITY * size**5 / (2 * math.pi) ** 3 * w**2
        return torque / (k * motor.torque_constant_ratio) + i0 * (w / reference) ** motor.no_load_exponent

    def left(w: float) -> float:
        return volts - k * w - (motor.resistance_ohm + b * w + controller_ohm) * current(w)

    w = brentq(left, 1, volts / k, xtol=1e-10)
    return w * 30 / math.pi, current(w), table.ct[0, 0] * DENSITY * (w / 2 / math.pi) ** 2 * size**4 / GF


ROWS = [
    {"thrust_gf": 298.6},
    {"rpm": 15095},
    {"rpm": 15095, "thrust_gf": 298.6},
    {},
    {"thrust_gf": 298.6, "no_load_current_a": 0.9},
    {"kv_rpm_per_v": 2400, "kv_kind": "effective", "rpm": 15095},
    {"rpm": 15095, "controller_resistance_mohm": 10},
]


@pytest.mark.parametrize("row", ROWS)
def test_motor_and_propeller_reproduce_the_row(row: dict[str, object]) -> None:
    """Within the instruments' uncertainty: volts 1, amps 2, rpm 1, thrust 3 %."""
    found = listed(**row)
    rpm, amps, thrust = operating_point(found, 7.182, 1e-3 * row.get("controller_resistance_mohm", 0))
    assert amps == pytest.approx(8.991, rel=0.02)
    assert rpm == pytest.approx(row.get("rpm", found.rpm), rel=0.01)
    assert thrust == pytest.approx(row.get("thrust_gf", thrust), rel=0.03)
    assert found.efficiency == pytest.approx(found.torque_nm * rpm * math.pi / 30 / (7.182 * 8.991), rel=0.03)
    assert found.motor.kv_kind == "effective"
    assert found.motor.source.kind == "label"
    assert found.motor.controller_included is ("controller_resistance_mohm" not in row)
    assert found.warnings == ()


def test_a_measured_row_gives_constants_near_the_fit_of_all_rows() -> None:
    # Cao and Strawson, motor_propeller_testing (2018), motor a, propeller 6, 7.4 V: 298.6 gf, 7.182 V, 8.991 A,
    # 15095 rpm; V = rpm/kV + R I over all propellers gives 97.5 mohm with controller and leads; CT 0.141 +/- 3.3 %.
    # CP was not measured; 0.08 is an assumed value for such a propeller; the mass is from memory.
    found = listed(rpm=15095)
    kv, ohm, slope = (
        getattr(found.motor, name) for name in ("kv_rpm_per_v", "resistance_ohm", "resistance_slope_ohm_s")
    )
    assert ohm + slope * 15095 * math.pi / 30 == pytest.approx(0.0975, rel=0.3)
    assert kv == pytest.approx(2394, rel=0.05)
    assert listed(thrust_gf=298.6).rpm == pytest.approx(15095, rel=0.05)


def test_one_row_foretells_the_other_voltage() -> None:
    # The same set, motor d, propeller 4, full throttle at 7.4 and 11.1 V; CT 0.126 is the set's median of propeller 4,
    # CP assumed, mass from memory. Bands: twice the medians of such predictions, 2.9, 5.8 and 6.8 %.
    found = listed(five_inch(ct=0.126, cp=0.065), kv_rpm_per_v=2450, mass_g=20, volts=7.314, amps=4.698, rpm=13185,
                   thrust_gf=200.6)  # fmt: skip
    measured, answers = (17846, 8.866, 352.6), operating_point(found, 10.85)
    for right, answer, band in zip(measured, answers, (5.8, 11.6, 13.6), strict=True):
        assert answer == pytest.approx(right, rel=band / 100)


def test_every_constant_is_stated_with_its_range() -> None:
    found = listed(thrust_gf=298.6)
    stated = {each.field: each for each in found.assumptions}
    for name in ("kv_rpm_per_v", "resistance_ohm", "resistance_slope_ohm_s", "torque_constant_ratio"):
        assert stated[name].value == pytest.approx(getattr(found.motor, name), rel=1e-12)
        assert stated[name].low < stated[name].value < stated[name].high
    assert stated["ct"].value == pytest.approx(found.propeller.table.ct[0, 0] / 0.141, rel=1e-12)
    assert stated["cp"].value == pytest.approx(found.propeller.table.cp[0, 0] / 0.08, rel=1e-12)
    assert "7.182 V, 8.991 A, 5x4.5" in found.motor.source.text


def test_what_is_known_moves_less() -> None:
    """A measured propeller keeps its table and the motor's constants move; a guessed one gives way."""
    sure, unsure = (listed(five_inch(cp=0.1, sure=u, kind="measured"), rpm=15095) for u in (0.02, 0.3))
    factors = [each.propeller.table.cp[0, 0] / 0.1 for each in (sure, unsure)]
    assert 0.95 < factors[0] < 1
    assert factors[1] < 0.85


def test_another_predicted_propeller_moves_half_as_far() -> None:
    found = listed(thrust_gf=400, rpm=15095)
    other = found.beside(five_inch(ct=0.2, cp=0.1))
    assert other.table.ct[0, 0] == pytest.approx(0.2 * math.sqrt(found.propeller.table.ct[0, 0] / 0.141))
    assert other.table.cp[0, 0] == pytest.approx(0.1 * math.sqrt(found.propeller.table.cp[0, 0] / 0.08))
    measured = five_inch(kind="measured")
    assert found.beside(measured) is measured


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ({"thrust_gf": 298.6, "amps": 1.5}, "from any propeller of 5 in"),
        ({"thrust_gf": 90000}, "from any propeller"),
        ({"rpm": 15095, "amps": 1.5}, "at this speed, more than the 10.8 W that go in"),
        ({"rpm": 30000}, "without load"),
        ({"no_load_current_a": 9}, "must be below amps"),
    ],
)
def test_rows_that_no_motor_can_make(row: dict[str, object], words: str) -> None:
    with pytest.raises(InputFaults, match=words) as caught:
        listed(**row)
    assert len(caught.value.faults) == 1


def test_the_least_power_of_a_thrust_is_rankines() -> None:
    """T^1.5/sqrt(2 rho A), here 30 W for 3.6 N of 5 in: refused well below it, taken above it."""
    thrust, disc = 3.6, math.pi / 4 * DIAMETER_M**2
    ideal = thrust**1.5 / math.sqrt(2 * DENSITY * disc)
    listed(thrust_gf=thrust / GF, volts=7.4, amps=1.05 * ideal / 7.4)
    with pytest.raises(InputFaults, match="any propeller"):
        listed(thrust_gf=thrust / GF, volts=7.4, amps=0.8 * ideal / 7.4)


def test_every_bad_number_at_once() -> None:
    bare = Propeller(name="6x4", diameter_in=6, pitch_in=4)
    with pytest.raises(InputFaults) as caught:
        motor_from_listing(propeller=bare, where="row 4", name="m", kv_rpm_per_v=2600, mas_g=22, volts=-7, amps=np.nan)
    assert [fault.key for fault in caught.value.faults] == ["mas_g", "volts", "amps", "propeller"]
    assert {fault.where for fault in caught.value.faults} == {"row 4"}
    with pytest.raises(InputFaults) as caught:
        listed(rpm=20000, thrust_gf=1500, amps=3)
    assert [fault.key for fault in caught.value.faults] == ["rpm", "thrust_gf"]


@pytest.mark.parametrize(
    ("row", "key", "words"),
    [
        ({"rpm": 15095, "thrust_gf": 500}, "thrust_gf", "above the"),
        ({"rpm": 15095, "thrust_gf": 150}, "thrust_gf", "below the"),
        ({"amps": 2.5}, "amps", "below the"),
        ({"kv_rpm_per_v": 3600, "rpm": 15095}, "kv_rpm_per_v", "above the"),
        ({"rpm": 7500, "thrust_gf": 298.6}, "rpm", "below the"),
    ],
)
def test_what_contradicts_is_said_with_how_far(row: dict[str, object], key: str, words: str) -> None:
    warnings = listed(**row).warnings
    assert key in [each.key for each in warnings]
    first = next(each for each in warnings if each.key == key)
    assert first.kind == "warning"
    assert words in first.rule
    assert "times its uncertainty" in first.rule


def test_one_wrong_number_does_not_spoil_the_others() -> None:
    """Thrust that is not the propeller's, on a propeller that is known: the motor stays what the rest says."""
    right, wrong = (listed(five_inch(sure=0.03), rpm=15095, thrust_gf=gf).motor for gf in (298.6, 500))
    assert wrong.kv_rpm_per_v == pytest.approx(right.kv_rpm_per_v, rel=0.01)
    assert wrong.resistance_ohm == pytest.approx(right.resistance_ohm, rel=0.05)


# ---------------------------------------------------------------- the fit itself

LAW = Motor(name="m", kv_rpm_per_v=2600, kv_kind="label", mass_g=28)


def spreads() -> list[float]:
    """sd of ln of f, c, b, g, d as the law states them beside its assumptions."""
    names = ("kv_rpm_per_v", "resistance_ohm", "resistance_slope_ohm_s", "torque_constant_ratio", "no_load_current_a")
    made = {each.field: each for each in completed(LAW)[1]}
    return [math.log(made[name].value / made[name].low) / Z80 for name in names]


def objective(z: np.ndarray, rpm: float, thrust_n: float) -> float:
    """Sum of 4 ln(1 + r^2/4) of one row, written out for a propeller of constant CT 0.141 and CP 0.08."""
    motor, _ = completed(LAW)
    f, c, b, g, d = np.exp(np.array(spreads()) * z[:5])
    ct, cp = np.exp([0.17 * z[5], 0.20 * (0.8 * z[5] + 0.6 * z[6])])
    w = z[7] * 100
    k0 = 60 / (2 * math.pi * motor.kv_rpm_per_v)
    reference = (motor.no_load_voltage_v - motor.resistance_ohm * motor.no_load_current_a) / (
        k0 + motor.resistance_slope_ohm_s * motor.no_load_current_a
    )
    k = k0 / f
    torque = 0.08 * cp * DENSITY * DIAMETER_M**5 / (2 * math.pi) ** 3 * w**2
    i0 = motor.no_load_current_a * d * f / g * (w / reference) ** motor.no_load_exponent
    amps = torque / (k * motor.torque_constant_ratio * g) + i0
    volts = k * w + (motor.resistance_ohm * c + motor.resistance_slope_ohm_s * b * w) / f**2 * amps
    thrust = 0.141 * ct * DENSITY * (w / 2 / math.pi) ** 2 * DIAMETER_M**4
    off = [math.log(volts / 7.182) / 0.01, math.log(amps / 8.991) / 0.02, math.log(w * 30 / math.pi / rpm) / 0.01,
           math.log(thrust / thrust_n) / 0.03]  # fmt: skip
    return float(np.sum(4 * np.log1p(np.array([*z[:7], *off]) ** 2 / 4)))


@pytest.mark.parametrize("thrust_gf", [298.6, 400.0])
def test_the_answer_is_the_one_a_general_minimiser_finds(thrust_gf: float) -> None:
    """scipy.optimize.minimize on the objective written out above."""
    row = BenchRow(propeller=five_inch(), volts=7.182, amps=8.991, rpm=15095, thrust_n=thrust_gf * GF)
    found = fit_motor(LAW, [row])
    start = np.array([0.0] * 7 + [15.8])
    best = minimize(objective, start, (15095, thrust_gf * GF), method="BFGS", options={"gtol": 1e-6})
    kv = completed(LAW)[0].kv_rpm_per_v * math.exp(spreads()[0] * best.x[0])
    assert found.value["kv_rpm_per_v"][0] == pytest.approx(kv, rel=1e-3)
    assert found.value["ct"][0] == pytest.approx(math.exp(0.17 * best.x[5]), rel=2e-3)
    assert found.value["rpm"][0] == pytest.approx(best.x[7] * 100 * 30 / math.pi, rel=1e-4)


@pytest.mark.parametrize("name", ["rpm", "thrust_n"])
def test_a_misfit_is_that_of_the_fit_without_the_number(name: str) -> None:
    numbers = {"volts": 7.182, "amps": 8.991, "rpm": 15095, "thrust_n": 3.3}
    whole = fit_motor(LAW, [BenchRow(propeller=five_inch(), **numbers)])
    without = fit_motor(LAW, [BenchRow(propeller=five_inch(), **numbers | {name: None})])
    misfit = next(each for each in whole.misfits if each.name == name)
    assert misfit.given == pytest.approx(numbers[name])
    assert misfit.expected == pytest.approx(without.value[name][0], rel=0.03)
    sd = math.hypot(without.sd_ln[name][0], {"rpm": 0.01, "thrust_n": 0.03}[name])
    assert misfit.sigmas == pytest.approx(math.log(misfit.given / misfit.expected) / sd, rel=0.25)


def test_several_rows_tell_more_than_one() -> None:
    """The set's motor a on three propellers, each with its own factors, against 97.5 mohm and kV 2394 of all rows."""
    sizes = ((7.189, 7.711, 15418, 275.2), (7.182, 8.991, 15095, 298.6), (7.058, 10.412, 14477, 329.6))
    rows = [BenchRow(propeller=five_inch(), volts=v, amps=a, rpm=n, thrust_n=t * GF) for v, a, n, t in sizes]
    one, three = fit_motor(LAW, rows[:1]), fit_motor(LAW, rows)
    assert len(three.propellers) == 3
    assert three.value["ohm"].shape == (3,)
    for name in ("kv_rpm_per_v", "resistance_ohm"):
        assert three.sd_ln[name][0] < one.sd_ln[name][0]
    volts = three.value["rpm"] / three.value["kv_rpm_per_v"] + three.value["ohm"] * three.value["amps"]
    assert volts == pytest.approx([v for v, *_ in sizes], rel=0.01)


def test_the_benchmark_runs_on_its_typed_rows() -> None:
    import listing_rows

    found = listing_rows.study(listing_rows.smoke())
    for kind, result in found.items():
        assert result["refused"] == [], kind
        assert result["errors"]["itself"]["amps"] < 2
    assert found["rpm and thrust"]["errors"]["other volts"]["rpm"] < 3
