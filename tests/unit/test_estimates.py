import math

import pytest
from scipy.optimize import brentq
from support.trains import simple_train

from propmatch.records.estimates import (
    Assumption,
    beyond_law,
    burst_c,
    completed,
    estimated_current_a,
    motor_constant_nm_per_sqrt_w,
    motor_no_load_current_a,
    motor_resistance_ohm,
    motor_resistance_slope_ohm_s,
    usable_c,
)
from propmatch.records.parts import Airframe, Controller, Motor, Pack, PowerTrain, Propeller
from propmatch.train.lanes import train_lanes
from propmatch.units import KV_TO_K


def motor(**changes: object) -> Motor:
    return Motor(**({"name": "m", "kv_rpm_per_v": 2400, "mass_g": 20} | changes))


def pack(**changes: object) -> Pack:
    return Pack(**({"name": "p", "cells_series": 2, "capacity_mah": 600, "c_rating": 60, "mass_g": 40} | changes))


def made(part: object) -> dict[str, Assumption]:
    return {each.field: each for each in completed(part)[1]}


@pytest.mark.parametrize("kv", [1744, 2322, 2346, 2394, 2658])
def test_resistance_lies_in_the_measured_band(kv: float) -> None:
    # Cao and Strawson, motor_propeller_testing (2018): fits of 83 to 305 mohm with controller and leads for small
    # outrunners of effective kV 1744 to 2658 at about 15,000 rpm; they weigh about 20 to 30 g (masses from memory)
    for mass in (20, 25, 30):
        under_load = motor_resistance_ohm(mass, kv) + motor_resistance_slope_ohm_s(mass, kv) * 1571
        assert 0.083 <= under_load <= 0.305 * 1.6


def test_motor_constant_follows_the_law_of_similar_shapes() -> None:
    # twice the size: 8 times the mass, 2^2.5 times the motor constant
    assert motor_constant_nm_per_sqrt_w(8 * 20) / motor_constant_nm_per_sqrt_w(20) == pytest.approx(2**2.5)
    # same winding space: resistance and inductance go with 1/kV^2
    for law in (motor_resistance_ohm, motor_resistance_slope_ohm_s):
        assert law(20, 1200) == pytest.approx(4 * law(20, 2400))


@pytest.mark.parametrize(("kv", "mass", "ohm"), [(400, 195.0, 0.116), (1550, 23.7, 0.135)])
def test_near_standstill_it_is_a_winding(kv: float, mass: float, ohm: float) -> None:
    # two makers' windings from an open motor table (MIT licence); 80 % of 44 lie within a factor 1.44 of the law
    assert 1 / 1.6 <= motor_resistance_ohm(mass, kv) / ohm <= 1.6


def test_no_load_current_is_plausible() -> None:
    # 20 g, 2400 rpm/V: 0.5 to 1 A; 100 g, 900 rpm/V: 1 to 2 A; common practice, no published source
    assert 0.5 <= motor_no_load_current_a(20, 2400) <= 1.0
    assert 1.0 <= motor_no_load_current_a(100, 900) <= 2.0


def test_label_kv_becomes_effective() -> None:
    part, assumed = completed(motor(kv_kind="label", resistance_ohm=0.1, no_load_current_a=0.5, max_current_a=9))
    assert (part.kv_kind, part.kv_rpm_per_v) == ("effective", pytest.approx(2400 * 0.95))
    assert [each.field for each in assumed] == [
        "kv_rpm_per_v", "resistance_slope_ohm_s", "torque_constant_ratio", "no_load_exponent",
    ]  # fmt: skip
    assert (part.resistance_ohm, part.controller_included) == (0.1, False), "a stated winding has no controller in it"
    # twelve measured motors: effective over label 0.929, sd 0.040, lies within the range
    assert assumed[0].low < 2400 * (0.929 - 0.040 / 2) < 2400 * (0.929 + 0.040) < assumed[0].high


def test_a_motor_of_measured_kv_and_resistance_is_used_as_given() -> None:
    part, assumed = completed(motor(resistance_ohm=0.1, max_current_a=9))
    assert [each.field for each in assumed] == ["no_load_current_a"]
    assert (part.resistance_slope_ohm_s, part.torque_constant_ratio) == (None, None)


def test_an_estimated_resistance_has_the_controller_in_it() -> None:
    controller = Controller(name="c", max_current_a=12, mass_g=9, resistance_mohm=30)
    for stated, counted in ((motor(kv_kind="label"), 0.0), (motor(kv_kind="label", resistance_ohm=0.1), 0.030)):
        train = PowerTrain(
            motor=stated,
            pack=pack(),
            controller=controller,
            propeller=Propeller(name="q", diameter_in=5, pitch_in=4, table=simple_train().propeller.table),
        )
        assert train_lanes([train])[0].controller_ohm[0] == counted


def test_the_no_load_current_of_the_law_is_taken_at_its_speed() -> None:
    part, _ = completed(motor(kv_kind="label"))
    k, idle = KV_TO_K / part.kv_rpm_per_v, part.no_load_current_a
    speed = brentq(
        lambda w: k * w + (part.resistance_ohm + part.resistance_slope_ohm_s * w) * idle - part.no_load_voltage_v,
        1,
        1e4,
    )
    # d 1.4e-4 m (w/1571)^0.3/K_t with d 0.8 and K_t = K/1.05
    assert idle == pytest.approx(0.8 * 1.4e-4 * 20 * (speed / 1571) ** 0.3 * 1.05 / k)


@pytest.mark.parametrize(("mass", "loss"), [(9.9, 0.45), (10.0, 0.25)])
def test_part_throttle_loss_rests_on_the_motor(mass: float, loss: float) -> None:
    train = PowerTrain(
        motor=motor(mass_g=mass), pack=pack(), controller=Controller(name="c", max_current_a=12, mass_g=9),
        propeller=Propeller(name="q", diameter_in=5, pitch_in=4),
    )  # fmt: skip
    filled, assumed = completed(train)
    assert filled.controller.part_throttle_loss == loss
    assert [(each.subject, each.value) for each in assumed if each.field == "part_throttle_loss"] == [("c", loss)]


def test_beyond_its_domain_the_law_says_so() -> None:
    def said(cells: int, kind: str) -> bool:
        stated = motor(kv_kind=kind, resistance_ohm=0.1)
        return any(
            "fitted up to 12.6 V" in each.text for each in beyond_law(completed(stated)[1], pack(cells_series=cells))
        )

    assert [said(cells, "label") for cells in (3, 4)] == [False, True]
    assert not said(4, "effective")


def test_a_complete_part_is_returned_as_it_is() -> None:
    whole = motor(resistance_ohm=0.1, no_load_current_a=0.5, max_current_a=9)
    part, assumed = completed(whole)
    assert part is whole
    assert assumed == ()


def test_motor_rating_from_mass_and_the_cells_flown() -> None:
    # 3.5 W per gram: value from memory
    assert made(motor())["max_power_w"].value == pytest.approx(70)
    assert "max_power_w" not in made(motor(max_power_w=50))
    assert "max_power_w" not in made(motor(max_current_a=8))

    def flown(cells: int, **changes: object) -> PowerTrain:
        return PowerTrain(
            motor=motor(**changes), pack=pack(cells_series=cells),
            propeller=Propeller(name="q", diameter_in=5, pitch_in=4),
            controller=Controller(name="c", max_current_a=12, mass_g=9),
        )  # fmt: skip

    # power over nominal volts, 3.7 V a cell, of the pack flown: 67 W is 9.05 A on 2S whatever cells_max says
    assert made(flown(2, max_power_w=67, cells_max=3))["max_current_a"].value == pytest.approx(67 / 7.4)
    assert made(flown(3, max_power_w=67))["max_current_a"].value == pytest.approx(67 / 11.1)
    assert made(flown(2, burst_current_a=5))["max_current_a"].value == 5
    assert "max_current_a" not in made(flown(2, max_current_a=8))


def test_pack_and_controller_resistances() -> None:
    # R x A h x C = 0.51 V: measured packs labelled 45 to 95C within a factor 1.6 (see tests/reference)
    whole = made(pack())["cell_resistance_mohm"]
    assert whole.value == pytest.approx(510 / 0.6 / 60)
    assert (whole.low, whole.high) == pytest.approx((whole.value / 1.6, whole.value * 1.6))
    assert made(pack(cells_parallel=2))["cell_resistance_mohm"].value == pytest.approx(2 * whole.value)
    assert made(pack(c_rating=30))["cell_resistance_mohm"].value == pytest.approx(2 * whole.value)
    assert set(made(pack())) == {"cell_resistance_mohm", "lead_resistance_mohm"}
    assert made(pack())["lead_resistance_mohm"].value == 8
    assert made(pack(capacity_mah=1000))["lead_resistance_mohm"].value == 4
    for amps, mohm in ((19.9, 8), (20, 3)):
        part = Controller(name="c", max_current_a=amps, mass_g=9)
        assert made(part)["resistance_mohm"].value == mohm


def test_usable_c_is_half_the_label_or_what_the_cells_support() -> None:
    # 0.25 V over 14.2 mohm is 17.6 A, 29.4 C of 0.6 A h
    assert usable_c(pack()) == pytest.approx(0.25 / 0.51 * 60)
    # 0.25 V over 20 mohm is 12.5 A, 20.8 C of 0.6 A h
    assert usable_c(pack(cell_resistance_mohm=20)) == pytest.approx(0.25 / 0.020 / 0.6)
    assert usable_c(pack(c_rating=20, cell_resistance_mohm=5)) == 10
    assert usable_c(pack(cell_resistance_mohm=5)) == 30
    assert usable_c(pack(cell_resistance_mohm=0)) == 30
    # two cells in parallel share the current
    two = pack(capacity_mah=1200, cells_parallel=2)
    assert usable_c(two) == pytest.approx(usable_c(pack()))
    # filling in the estimate changes nothing
    assert usable_c(completed(pack())[0]) == pytest.approx(usable_c(pack()))
    assert (burst_c(pack()), burst_c(pack(burst_c_rating=90))) == (60, 90)


def test_an_estimated_current_is_none_above_the_burst_limit() -> None:
    assert estimated_current_a(67.0, 7.4) == pytest.approx(67 / 7.4)
    assert estimated_current_a(67.0, 7.4, 8.0) == 8.0
    assert estimated_current_a(67.0, 7.4, math.nan) == pytest.approx(67 / 7.4)


def test_the_label_and_the_chemistry_of_a_pack_matter() -> None:
    round_cells = {"chemistry": "liion", "capacity_mah": 3000}
    eight, five = (made(pack(**round_cells, c_rating=c))["cell_resistance_mohm"] for c in (8, 5))
    # 129 C^-0.53 mohm A h within a factor 1.8
    assert five.value == pytest.approx(129 * 5**-0.53 / 3)
    assert eight.value < five.value
    assert five.high == pytest.approx(1.8 * five.value)
    assert usable_c(pack(**round_cells, c_rating=8)) > usable_c(pack(**round_cells, c_rating=5))
    assert made(pack(chemistry="nimh", c_rating=10))["cell_resistance_mohm"].value > 20


def test_propeller_mass_and_speed_limit() -> None:
    def five(**changes: object) -> Propeller:
        return Propeller(**({"name": "5x4", "diameter_in": 5, "pitch_in": 4} | changes))

    assert made(five())["mass_g"].value == pytest.approx(0.05 * 5**2.5)
    assert made(five(blades=3))["mass_g"].value == pytest.approx(1.5 * made(five())["mass_g"].value)
    limits = {family: made(five(family=family))["max_rpm"].value for family in ("thin", "thick", "broad", "folding")}
    assert limits["broad"] == min(limits.values())
    assert "max_rpm" not in made(five()), "a family that nobody stated has no limit that could be known"
    assert "unverified" in made(five(family="thin"))["max_rpm"].text
    # blade tips stay below Mach 0.65 at every family limit: a conservative figure
    for rpm in limits.values():
        assert math.pi * 5 * 0.0254 * rpm / 60 < 0.65 * 340.3
    assert made(five(mass_g=3, max_rpm=20000)) == {}


def test_drag_in_words() -> None:
    part = Airframe(wing_area_dm2=16, wing_span_mm=1100, cd0="floats", cl_max=1.1, bare_mass_g=265)
    filled, (only,) = completed(part)
    assert filled.cd0 == only.value == 0.08
    assert "floats" in only.text


def test_a_train_collects_the_assumptions_of_its_parts() -> None:
    train = PowerTrain(
        motor=motor(),
        pack=pack(),
        controller=Controller(name="c", max_current_a=12, mass_g=9),
        propeller=Propeller(name="5x4", diameter_in=5, pitch_in=4),
    )
    filled, assumed = completed(train)
    subjects = ["m"] * 5 + ["c", "m"] + ["5x4"] + ["p"] * 2 + ["receiver supply"]
    assert [each.subject for each in assumed] == subjects
    assert filled.receiver_supply_mass_g == assumed[-1].value == filled.supply_g
    for each in assumed[:-1]:
        owner = {"m": filled.motor, "5x4": filled.propeller, "p": filled.pack, "c": filled.controller}[each.subject]
        assert getattr(owner, each.field) == each.value
    assert completed(filled) == (filled, ())


def test_every_assumption_is_one_sentence_with_its_basis() -> None:
    parts = (motor(kv_kind="label"), pack(), Propeller(name="q", diameter_in=5, pitch_in=4))
    for part in parts:
        for each in completed(part)[1]:
            assert str(each) == f"{each.subject}: {each.text}"
            assert "\n" not in each.text
            words = ("common practice", "from memory", "80 % of", "thrust stands", "from its", "measured packs")
            assert any(word in each.text for word in words), each.text
            assert each.low is None or each.low <= each.value <= each.high


def test_an_estimate_never_contradicts_what_is_stated() -> None:
    # at the stated no-load voltage the winding must leave something to turn the motor: R I0 < V0
    for stated in (
        {"no_load_voltage_v": 27, "kv_rpm_per_v": 12000, "mass_g": 4990, "resistance_ohm": 10},
        {"no_load_voltage_v": 0.5, "kv_rpm_per_v": 20, "mass_g": 170},
        {"no_load_voltage_v": 0.5, "no_load_current_a": 20},
    ):
        part, _ = completed(motor(**stated))
        assert part.resistance_ohm * part.no_load_current_a < part.no_load_voltage_v


def test_no_estimates_for_anything_else() -> None:
    with pytest.raises(TypeError, match="int"):
        completed(3)
