"""Bad input of ``propmatch point``: every fault on a line of its own with exit code 2, or a status said in words."""

import pytest
from support.bundled import PROPELLER

GOOD = {
    "--motor": "kv=1500 mass=28 r=0.08 i0=0.9",
    "--propeller": PROPELLER,
    "--pack": "2S 450mAh 35C 28g",
    "--controller": "20A 18g r=5mohm",
}


def words_of(**changes):
    given = GOOD | {f"--{name}": value for name, value in changes.items()}
    return [word for name, value in given.items() if value is not None for word in (name, value)]


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"motor": "1500kV -28g"}, ["--motor", "mass_g", "-28", "at least 0.5"]),
        ({"motor": "kv=nan mass=28"}, ["--motor", "kv_rpm_per_v", "finite"]),
        ({"motor": "kv=1500 mass=inf"}, ["--motor", "mass_g", "finite"]),
        ({"motor": "1500kV"}, ["--motor", "mass_g", "missing"]),
        ({"motor": "kvv=1500 mass=28"}, ["kvv", "unknown key", "did you mean"]),
        ({"motor": "1500kV 28g i0=1,100"}, ["1.1 or 1100 A"]),
        ({"motor": "1500kV 28g 12A"}, ["say which number", "max_current_a=12A"]),
        ({"motor": "1500kV 28g r=3g"}, ["unit must be ohm"]),
        ({"motor": "1500kV 28g kv=1400"}, ["given twice"]),
        ({"motor": "1500kV 28g 'x"}, ["quotation mark"]),
        ({"motor": "bundled/no-such"}, ["--motor", "no part with this id"]),
        ({"motor": ""}, ["--motor"]),
        ({"pack": "450mAh 35C"}, ["cells_series", "missing"]),
        ({"pack": "2S 450mAh lip"}, ["did you mean lipo"]),
        ({"pack": "2S 450mAh chemistry=steam"}, ["steam"]),
        ({"pack": None}, ["--pack", "missing"]),
        ({"propeller": "152x102"}, ["diameter_in", "in mm?", "5.984"]),
        ({"propeller": "6x4 thn"}, ["did you mean thin"]),
        ({"propeller": "6x4x0"}, ["blades"]),
        ({"propeller": "6x40"}, ["pitch_in", "2.5 times"]),
        ({"controller": "-5A"}, ["max_current_a", "-5"]),
        ({"throttle": "1.2"}, ["--throttle", "1.2", "at most 1"]),
        ({"throttle": "nan"}, ["--throttle", "finite"]),
        ({"throttle": "full"}, ["--throttle", "must be a number"]),
        ({"throttle": "0.2..1/0"}, ["--throttle", "2 to"]),
        ({"airspeed": "-3"}, ["--airspeed", "at least 0"]),
        ({"airspeed": "10kn"}, ["--airspeed", "unit", "km/h"]),
        ({"charge": "inf"}, ["--charge", "finite"]),
        ({"hold": "120"}, ["--hold", "unit", "gf"]),
        ({"hold": "-5gf"}, ["--hold", "at least 0"]),
        ({"altitude": "90000"}, ["--altitude", "at most 6000"]),
        ({"motors": "1.5"}, ["--motors", "whole number"]),
        ({"radio-current": "x"}, ["--radio-current", "number"]),
        ({"throttle": "0.2,0.3", "charge": "0.5,1"}, ["only one option may have several"]),
        ({"throttle": "0.5", "hold": "100gf"}, ["leave out --throttle"]),
        ({"listing": "1500kV 28g 7.4V 8A 6x4"}, ["leave out --motor"]),
        ({"motor": None, "listing": "1500kV 28g 7.4V 8A"}, ["needs the propeller of the row"]),
        ({"parts": "/no/such/folder"}, ["/no/such/folder"]),
    ],
)  # fmt: skip
def test_a_fault_is_said_in_full(run, changes, said):
    done = run("point", *words_of(**changes))
    assert done.exit_code == 2
    assert done.out == ""
    for words in said:
        assert words in done.err
    assert "Traceback" not in done.err


def test_all_faults_of_all_parts_at_once(run):
    done = run(
        "point",
        *words_of(motor="1500kV -28g r=x", pack="0S 450mAh", propeller="99x4", throttle="7", airspeed="fast"),
    )
    assert done.exit_code == 2
    for option in ("--motor", "--pack", "--propeller", "--throttle", "--airspeed"):
        assert any(line.startswith(option) for line in done.faults), option


def test_faults_as_json(run):
    done = run("point", *words_of(throttle="1.2"), "--json")
    assert done.exit_code == 2
    (fault,) = done.document["faults"]
    assert fault["where"] == "--throttle"
    assert done.document["rows"] == []


def test_a_propeller_without_a_table_and_nobody_to_predict_one(run, monkeypatch):
    monkeypatch.setenv("PROPMATCH_PLUGINS", "bundled")
    done = run("point", *words_of(propeller="6x4"))
    assert done.exit_code == 2
    assert "has no coefficient table and no plugin answers one" in done.err


def test_throttle_zero_is_a_motor_that_is_off(run):
    done = run("point", *words_of(throttle="0"))
    assert done.exit_code == 0
    assert "the motor is off; radio and payload draw 0.20 A" in " ".join(done.out.split())


def test_a_thrust_the_pack_cannot_hold(run):
    done = run("point", *words_of(hold="2000gf"))
    assert done.exit_code == 1
    text = " ".join(done.out.split())
    assert "cannot hold this thrust" in text
    assert "The most it gives there is" in text
    (row,) = run("point", *words_of(hold="2000gf"), "--json").document["rows"]
    assert row["status"] == "CANNOT_HOLD"
    assert row["throttle"] is None


def test_a_motor_that_cannot_turn_the_propeller(run):
    done = run("point", *words_of(motor="kv=300 measured mass=28 r=8 i0=2"))
    assert done.exit_code == 1
    assert "the motor cannot turn" in " ".join(done.out.split())
    document = run("point", *words_of(motor="kv=300 measured mass=28 r=8 i0=2"), "--json").document
    assert document["rows"][0]["status"] == "CANNOT_TURN"
    assert document["rows"][0]["rpm"] is None


def test_an_airstream_that_drives_the_propeller(run):
    done = run("point", *words_of(airspeed="40", throttle="0.3"))
    text = " ".join(done.out.split())
    assert done.exit_code == 0
    assert "the airstream drives the propeller" in text
    assert "current flows back" in text
    below = run("point", *words_of(airspeed="40", hold="0gf"))
    assert below.exit_code in (0, 1)


def test_a_sweep_keeps_its_good_lanes_and_names_the_others(run):
    done = run("point", *words_of(hold="50gf,2000gf"))
    assert done.exit_code == 0
    assert "2000: the power train cannot hold this thrust" in " ".join(done.out.split())


def test_a_hostile_name_cannot_steer_the_terminal(run):
    motor = "kv=1500 mass=28 r=0.08 i0=0.9 name='\x1b[2Jred\x07'"
    done = run("point", *words_of(motor=motor))
    assert done.exit_code == 0
    assert "\x1b" not in done.out
    assert "\x07" not in done.out
