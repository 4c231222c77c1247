"""The propeller with the motor off: what is asked, what is taken, what is said, and the model at single points."""

import math

import numpy as np
import pytest
from scipy.optimize import brentq
from support.oracle import FloatTable
from support.small_aircraft import small_brief, small_catalogue, small_train
from support.trains import simple_train, smooth_table

from propmatch.aircraft.motoroff import BRAKED, FOLDED, KINDS, STOPPED, WINDMILLING, motor_off_drag
from propmatch.checks.judged import judged_trains
from propmatch.checks.setting import settings
from propmatch.faults import InputFaults
from propmatch.records.brief import loads_brief
from propmatch.records.fields import replace
from propmatch.records.motoroff import folding_faults, motor_off_notes, taken
from propmatch.records.parts import MOTOR_OFF
from propmatch.records.sections import Phase
from propmatch.search.matching import match
from propmatch.train.lanes import train_lanes

RHO = 1.2
GLIDE = Phase(name="glide", throttle=0.0, share=1.0)


def train(family="thin", motor_off=None, **motor):
    return simple_train(motor=motor, propeller={"family": family}, motor_off=motor_off)


def off(made, airspeed, density=RHO):
    lanes, _ = train_lanes([made])
    return motor_off_drag(lanes, airspeed, density)


# ---------------------------------------------------------------- what is taken


@pytest.mark.parametrize(
    ("family", "asked", "word"),
    [
        ("folding", None, "folded"), ("thin", None, "windmilling"), (None, None, "windmilling"),
        ("folding", "windmilling", "windmilling"), ("thick", "folded", "stopped"), (None, "folded", "folded"),
        ("broad", "braked", "braked"), ("wide", "stopped", "stopped"),
    ],
)  # fmt: skip
def test_the_word_decides_and_the_family_where_there_is_none(family, asked, word):
    assert taken(train(family, asked)) == word


def test_each_kind_is_named_as_in_a_brief():
    assert tuple(KINDS.values()) == tuple(MOTOR_OFF)
    for word in MOTOR_OFF:
        kind = KINDS[int(off(train("folding", word, no_load_current_a=0.01), 15.0).kind[0])]
        assert kind == ("stopped" if word == "braked" else word)


def test_blades_that_do_not_fold_are_a_fault_where_they_are_named():
    (fault,) = folding_faults("folded", train("thick").propeller)
    assert (fault.key, fault.value) == ("aircraft.motor_off", "folded")
    assert "one of stopped" in fault.rule
    for asked, family in (("folded", "folding"), ("folded", None), ("stopped", "thick"), (None, "thick")):
        assert not folding_faults(asked, train(family).propeller)


def test_the_brief_and_its_variants_say_what_the_propeller_does():
    text = 'motor_off = "{}"\n'
    brief = loads_brief(
        '[aircraft]\nname = "a"\nbare_mass_g = 300\n' + text.format("folded")
        + '[[variant]]\nname = "b"\n' + text.format("braked")
    )  # fmt: skip
    designed, variant = settings(brief)
    assert [each.train_numbers["motor_off"] for each in (designed, variant)] == ["folded", "braked"]
    flown = designed.train(*(getattr(small_train(), name) for name in ("motor", "controller", "pack", "propeller")))
    assert flown.motor_off == "folded"
    assert variant.flown(flown).motor_off == "braked"
    with pytest.raises(InputFaults, match=r"motor_off.*folded, stopped, windmilling, braked"):
        loads_brief('[aircraft]\nname = "a"\nbare_mass_g = 300\nmotor_off = "off"\n')


def test_what_is_taken_is_said_where_a_phase_is_flown_without_motor():
    assert motor_off_notes(train(), [Phase(name="all", throttle=0.5, share=1.0)]) == ()
    area, stopped, windmilling = motor_off_notes(train(), [GLIDE])
    assert "nothing else being said" in area.text
    assert area.low < area.value < area.high
    assert stopped.field == "stopped_cd"
    assert windmilling.low < 1 < windmilling.high
    area, folded = motor_off_notes(train("folding"), [GLIDE])
    assert "fold back" in area.text
    assert folded.value == 0.04
    area, _ = motor_off_notes(train("thick", "folded"), [GLIDE])
    assert "'folded' is asked for, but thick blades do not fold" in area.text


def test_lists_and_judgements_say_it():
    brief = small_brief(("[site]", '[[phase]]\nname = "down"\nthrottle = 0\nshare = 0.5\n[site]'))
    setting = settings(brief)[0]
    expected = motor_off_notes(small_train(), setting.phases)
    assert expected
    assert set(expected) <= set(judged_trains(setting, [small_train()])[1])
    assert set(expected) <= set(setting.assumptions_of(small_train()))
    assert any(each.field == "blade_area_cm2" for each in match(brief, small_catalogue(), top=1).assumptions)
    assert any(each.field == "blade_area_cm2" for each in setting.flight_time(small_train()).assumptions)


# ---------------------------------------------------------------- the model


def test_blades_that_do_not_turn_have_their_area_in_the_stream():
    """Two blades of 0.127 R^2, D = (0.1 + cos^2 beta) q A with tan beta = 5/(0.7 pi 7), two propellers."""
    area = 2 * 0.127 * (3.5 * 0.0254) ** 2
    angle = math.atan(5.0 / (0.7 * math.pi * 7.0))
    drag = (0.1 + math.cos(angle) ** 2) * 0.5 * RHO * 9.0**2 * area
    found = off(replace(train(motor_off="stopped"), count=2), 9.0)
    assert found.drag_n == pytest.approx([2 * drag], rel=1e-12)
    assert (found.rpm.tolist(), found.kind.tolist(), found.beyond.tolist()) == ([0.0], [STOPPED], [False])
    folded = off(train("folding"), 9.0)
    assert folded.drag_n == pytest.approx([0.04 * 0.5 * RHO * 9.0**2 * area * 0.115 / 0.127], rel=1e-12)
    assert folded.kind.tolist() == [FOLDED]


def test_no_speed_no_drag_and_no_answer_without_an_airspeed():
    lanes, _ = train_lanes([train(motor_off=word) for word in ("windmilling", "stopped", "windmilling", "braked")])
    found = motor_off_drag(lanes, [0.0, np.nan, -1.0, np.inf], RHO)
    assert found.drag_n[0] == 0.0
    assert np.isnan(found.drag_n[1:]).all()
    assert np.isnan(found.rpm[1:]).all()
    assert found.kind.tolist() == [STOPPED, 0, 0, 0]


def balance(made, airspeed, u):
    """Torque at the motor that turns it, less friction and brake [N m], written out: one lane, plain floats."""
    motor, table = made.motor, FloatTable(made.propeller.table)
    k = 60.0 / (2 * math.pi * motor.kv_rpm_per_v)
    n, d = u / (2 * math.pi), 0.0254 * made.propeller.diameter_in
    w = motor.gear_ratio * u
    torque = -table.cp(60 * n, airspeed / (n * d)) * RHO * n**2 * d**5 / (2 * math.pi)
    at_motor = torque * (motor.gear_efficiency if torque > 0 else 1 / motor.gear_efficiency) / motor.gear_ratio
    reference = (motor.no_load_voltage_v - motor.resistance_ohm * motor.no_load_current_a) / k
    held = motor.no_load_current_a * (w / reference) ** motor.no_load_exponent
    if made.motor_off == "braked":
        held += k * w / (motor.resistance_ohm + made.controller.resistance_mohm / 1000)
    return at_motor - k * held


@pytest.mark.parametrize("word", ["windmilling", "braked"])
@pytest.mark.parametrize("airspeed", [7.0, 12.0, 25.0])
def test_the_speed_found_is_that_of_a_general_root_finder(word, airspeed):
    """scipy's brentq from the fastest sign change of a fine grid, J0 to 2 J0."""
    brake = {"kv_rpm_per_v": 20000.0, "resistance_ohm": 0.5} if word == "braked" else {}
    cases = [
        train(motor_off=word, no_load_current_a=0.15, no_load_voltage_v=4.0, **brake),
        train(motor_off=word, no_load_current_a=0.3, no_load_exponent=0.7, **brake),
        train(motor_off=word, no_load_current_a=0.1, gear_ratio=2.0, gear_efficiency=0.9, **brake),
        train(motor_off=word, no_load_current_a=3.0, **brake),
    ]
    lanes, _ = train_lanes(cases)
    found = motor_off_drag(lanes, airspeed, RHO)
    turning = 0
    for lane, made in enumerate(cases):
        zero = float(made.propeller.table.surfaces.j_zero_high[0])
        per_j = 2 * math.pi * airspeed / (0.0254 * made.propeller.diameter_in)
        grid = per_j / np.linspace(0.95 * zero, 2 * zero, 1000)
        turns = [balance(made, airspeed, u) > 0 for u in grid]
        if not any(turns):
            assert found.kind[lane] == STOPPED
            continue
        at = turns.index(True)
        u = brentq(lambda x, made=made: balance(made, airspeed, x), grid[at], grid[at - 1], xtol=1e-12, rtol=1e-14)
        table, n, d = FloatTable(made.propeller.table), u / (2 * math.pi), 0.0254 * made.propeller.diameter_in
        drag = -table.ct(60 * n, airspeed / (n * d)) * RHO * n**2 * d**4
        assert found.rpm[lane] == pytest.approx(60 * n, rel=1e-9)
        assert found.drag_n[lane] == pytest.approx(drag, rel=1e-8)
        assert found.kind[lane] == (WINDMILLING if word == "windmilling" else BRAKED)
        turning += 1
    assert turning or airspeed < 10


def test_a_shorted_winding_holds_a_usual_motor_still():
    """K^2/R of a 1400 kV, 0.12 ohm motor: 3.9e-4 N m s, against 0.005 N m of friction; the stream gives less."""
    found = off(train(motor_off="braked"), 15.0)
    assert found.kind.tolist() == [STOPPED]
    assert found.drag_n == off(train(motor_off="stopped"), 15.0).drag_n


def test_friction_slows_it_down_and_then_stops_it():
    rpm, kinds = [], []
    for idle in (0.0, 0.1, 0.2, 0.4, 0.8, 1.6, 3.2):
        found = off(train(motor_off="windmilling", no_load_current_a=idle), 12.0)
        rpm.append(float(found.rpm[0]))
        kinds.append(int(found.kind[0]))
    assert rpm == sorted(rpm, reverse=True)
    assert kinds[0] == WINDMILLING
    assert kinds[-1] == STOPPED


def test_a_table_read_past_its_end_is_flagged():
    short = smooth_table(j_thrust=0.75, j_power=0.85)
    rows = short.advance_ratio <= 0.7
    cut = type(short)(short.rpm, short.advance_ratio[rows], short.ct[:, rows], short.cp[:, rows])
    for table, beyond in ((short, False), (cut, True)):
        made = simple_train(propeller={"table": table}, motor={"no_load_current_a": 0.05}, motor_off="windmilling")
        assert off(made, 15.0).beyond.tolist() == [beyond]
