"""``propmatch point``: the numbers are the solver's, the sentence and the units are right, the rows are complete."""

import csv
import io
import math
import re

import attrs
import pytest
from support.bundled import PROPELLER, bundled_catalogue

from propmatch.commands.point import POINT
from propmatch.commands.ranges import AIRSPEED, read_values
from propmatch.coupling import POINT_FIELDS, hold_thrust, solve
from propmatch.models.air import Air
from propmatch.records.parts import Controller, Motor, Pack, PowerTrain

MOTOR = "kv=1500 effective mass=28 r=0.08 i0=0.9 max=12"
PACK = "2S 450mAh 35C 28g cell=20mohm leads=8mohm"
CONTROLLER = "20A 18g r=5mohm"
PARTS = ("--motor", MOTOR, "--propeller", PROPELLER, "--pack", PACK, "--controller", CONTROLLER)


@pytest.fixture(scope="module")
def train() -> PowerTrain:
    """The train that ``PARTS`` types, built in Python."""
    return PowerTrain(
        motor=Motor(
            name="m", kv_rpm_per_v=1500, mass_g=28, resistance_ohm=0.08, no_load_current_a=0.9, max_current_a=12
        ),
        propeller=bundled_catalogue().propellers[PROPELLER],
        pack=Pack(
            name="p", cells_series=2, capacity_mah=450, c_rating=35, mass_g=28, cell_resistance_mohm=20,
            lead_resistance_mohm=8,
        ),
        controller=Controller(name="c", max_current_a=20, mass_g=18, resistance_mohm=5),
    )  # fmt: skip


def assert_same(row, point):
    for name in POINT_FIELDS:
        value = getattr(point, name)
        if name not in ("status", "flags"):
            assert row[name] == (None if math.isnan(value) else pytest.approx(value, rel=1e-12)), name


def test_json_is_the_solvers_answer(run, train):
    done = run("point", *PARTS, "--json")
    assert done.exit_code == 0
    document = done.document
    assert document["command"] == "point"
    assert set(document) >= {"command", "assumptions", "faults", "rows"}
    (row,) = document["rows"]
    assert_same(row, solve(train))
    assert row["status"] == "OK"


def test_conditions_reach_the_solver(run, train):
    words = (
        "--airspeed",
        "36km/h",
        "--charge",
        "50%",
        "--throttle",
        "0.8",
        "--altitude",
        "1500",
        "--temperature",
        "30",
    )
    (row,) = run("point", *PARTS, *words, "--json").document["rows"]
    air = Air.at_site(1500.0, 30.0)
    warm = attrs.evolve(train, pack_temperature_c=30.0)  # the cells are as warm as the air
    assert_same(row, solve(warm, airspeed_m_s=10.0, charge=0.5, throttle=0.8, air=air))


def test_two_motors_radio_current_and_a_cold_pack_reach_the_solver(run, train):
    words = ("--motors", "2", "--radio-current", "1.5A", "--pack-temperature", "5")
    (row,) = run("point", *PARTS, *words, "--json").document["rows"]
    two = attrs.evolve(train, count=2, radio_current_a=1.5, pack_temperature_c=5.0)
    assert_same(row, solve(two))


def test_a_held_thrust_is_hold_thrust(run, train):
    (row,) = run("point", *PARTS, "--hold", "100gf", "--airspeed", "10", "--json").document["rows"]
    # 1 gf = 9.80665 mN: standard acceleration of gravity, ISO 80000-3
    assert_same(row, hold_thrust(train, 100 * 9.80665e-3, airspeed_m_s=10.0))


def test_the_first_line_answers_in_the_units_asked_for(run, train):
    point = solve(train)
    metric = " ".join(run("point", *PARTS).out.split("\n\n")[0].split())
    assert f"{point.thrust_n / 9.80665e-3:.0f} gf" in metric
    assert f"{point.pack_current_a:.1f} A" in metric
    imperial = " ".join(run("point", *PARTS, "--units", "imperial").out.split("\n\n")[0].split())
    # avoirdupois ounce 28.349523125 g: international yard and pound agreement, 1959
    assert f"{point.thrust_n / 9.80665 * 1000 / 28.349523125:.1f} oz" in imperial


def test_sweep_rows_follow_the_values(run):
    rows = run("point", *PARTS, "--throttle", "0.2..1/5", "--json").document["rows"]
    assert [row["throttle"] for row in rows] == pytest.approx([0.2, 0.4, 0.6, 0.8, 1.0])
    thrust = [row["thrust_n"] for row in rows]
    assert thrust == sorted(thrust)


@pytest.mark.parametrize(
    ("words", "first", "last", "count"),
    [
        (("--throttle", "20%..100%"), 0.2, 1.0, 9),
        (("--throttle", "0.3,0.9"), 0.3, 0.9, 2),
        (("--charge", "1..0.2/3"), 1.0, 0.2, 3),
        (("--airspeed", "0..36km/h/4"), 0.0, 10.0, 4),
        (("--airspeed", "0..10/2"), 0.0, 10.0, 2),
        (("--hold", "50..100gf/3"), 50 * 9.80665e-3, 100 * 9.80665e-3, 3),
    ],
)
def test_values_lists_and_ranges(run, words, first, last, count):
    rows = run("point", *PARTS, *words, "--json").document["rows"]
    key = {"--throttle": "throttle", "--charge": "charge", "--airspeed": "airspeed_m_s", "--hold": "asked_thrust_n"}
    values = [row[key[words[0]]] for row in rows]
    assert len(values) == count
    assert values[0] == pytest.approx(first)
    assert values[-1] == pytest.approx(last)


def test_csv_has_every_field_and_keeps_notes_apart(run):
    done = run("point", *PARTS[2:], "--motor", "1500kV 28g", "--airspeed", "0,10", "--csv")
    rows = list(csv.DictReader(io.StringIO(done.out)))
    assert len(rows) == 2
    assert set(POINT_FIELDS) <= set(rows[0])
    assert "Assumed" in done.err


@pytest.mark.parametrize("words", [(), ("--throttle", "0..1"), ("--airspeed", "0..90km/h/30"), ("--hold", "9999gf")])
def test_text_fits_the_page_and_has_no_boxes(run, words):
    out = run("point", *PARTS, *words).out
    assert max(map(len, out.splitlines())) <= 80
    assert out.isascii()
    assert not re.search(r"[|#]|\+[-+=]", out)


def test_assumptions_and_origin_stand_beside_the_result(run):
    typed = ("--motor", "1500kV 28g", "--propeller", PROPELLER, "--pack", "2S 450mAh")
    done = run("point", *typed, "--assumptions", "--sources")
    for words in ("resistance", "no-load current", "no ESC was named", "Sources of this answer"):
        assert words in done.out
    document = run("point", *typed, "--json").document
    assert {"resistance_ohm", "no_load_current_a"} <= {each["field"] for each in document["assumptions"]}
    assert document["train"]["propeller"]["source"]["kind"] == "predicted"


def test_every_number_has_its_range_in_text_json_and_csv(run):
    (row,) = run("point", *PARTS, "--json").document["rows"]
    fixed = {"throttle", "airspeed_m_s", "charge", "asked_thrust_n", "answered_share"}
    names = {column.name for column in POINT} - fixed
    assert {name for name in names if f"{name}_low" in row} == names
    for name in names - {"advance_ratio", "propeller_efficiency", "system_efficiency"}:  # zero at rest, in every build
        assert row[f"{name}_low"] <= row[name] <= row[f"{name}_high"], name
    flat = " ".join(run("point", *PARTS).out.split())
    low, high = (row[f"thrust_n_{end}"] / 9.80665e-3 for end in ("low", "high"))
    assert f"gf ({low:.0f} to {high:.0f}) of thrust" in flat
    assert flat.count("Ranges in brackets hold 80 of 100 builds") == 1
    (line,) = csv.DictReader(io.StringIO(run("point", *PARTS, "--csv").out))
    assert float(line["thrust_n_low"]) == pytest.approx(row["thrust_n_low"])


def test_a_sweep_shows_from_and_to(run):
    rows = run("point", *PARTS, "--throttle", "0.4..1/4", "--json").document["rows"]
    lines = run("point", *PARTS, "--throttle", "0.4..1/4").out.splitlines()
    at = next(i for i, line in enumerate(lines) if line.startswith("thrust, gf"))
    for line, name in zip(lines[at : at + 3], ("thrust_n", "thrust_n_low", "thrust_n_high"), strict=True):
        assert line.split()[-4:] == [f"{row[name] / 9.80665e-3:.0f}" for row in rows]


def test_cautions_are_shown(run):
    assert run("point", *PARTS).out.splitlines()[-1].startswith("Estimates: before flight measure")
    text = " ".join(run("point", *PARTS, "--cautions").out.split())
    assert "measure on the bench with a wattmeter" in text
    assert "local rules" in text


def test_part_throttle_says_that_the_motor_carries_more(run):
    text = " ".join(run("point", *PARTS, "--throttle", "0.5").out.split())
    assert "a motor carries more current than it draws from the pack" in text


def test_the_power_of_the_cells_is_all_accounted_for(run):
    import re

    out = run("point", *PARTS, "--airspeed", "8", "--full").out
    total = float(re.search(r"Where the ([\d.]+) W", out).group(1))
    block = out[out.index("Where the") :].split("\n\n")[0]
    parts = [float(watts) for watts in re.findall(r"^  \S.*?([\d.]+) W ", block, re.MULTILINE)]
    assert sum(parts) == pytest.approx(total, abs=0.3)


def test_the_heat_of_a_linear_servo_supply_stands_alone(run):
    """What the pack has above 5 V, times the current, is the supply's; 5 V times the current reach the servos."""
    import re

    words = (*PARTS[:-2], "--controller", "20A linear", "--radio-current", "0.8")
    assert PARTS[-2] == "--controller"
    found = run("point", *words, "--full")
    (volts,) = (row["pack_voltage_v"] for row in run("point", *words, "--json").document["rows"])
    block = found.out[found.out.index("Where the") :].split("\n\n")[0]
    watts = {name.strip(): float(w) for name, w in re.findall(r"^  (\S.*?) +([\d.]+) W ", block, re.MULTILINE)}
    assert watts["heat in the linear BEC"] == pytest.approx((volts - 5.0) * 0.8, abs=0.06)
    assert watts["radio and payload"] == pytest.approx(5.0 * 0.8, abs=0.06)
    switching = run("point", *PARTS[:-2], "--controller", "20A switching", "--radio-current", "0.8", "--full").out
    assert "linear BEC" not in switching


def test_a_radio_current_nobody_stated_is_said(run):
    said = "receiver and 3 micro servos draw 0.2 A"
    assert said in " ".join(run("point", *PARTS, "--assumptions").out.split())
    assert "--assumptions" in run("point", *PARTS).out
    assert said not in " ".join(run("point", *PARTS, "--radio-current", "0.2").out.split())


STIFF = ("--pack", "2S 90000mAh 30C 4000g cell=0 leads=0", "--radio-current", "0", "--charge", "0..1/201")


def test_a_listing_row_comes_out_again(run):
    """Volts, amps, speed and thrust, within hobby instruments: the pack is stiff and sits at the row's voltage."""
    words = ("--listing", "1500kV 28g 7.4V 6.0A 6x4 i0=0.7 10000rpm 260gf", "--propeller", "6x4", "--controller", "20A")
    rows = run("point", *words, *STIFF, "--json").document["rows"]
    near = min(rows, key=lambda row: abs(row["pack_voltage_v"] - 7.4))
    assert near["pack_voltage_v"] == pytest.approx(7.4, abs=0.02)
    assert near["pack_current_a"] == pytest.approx(6.0, rel=0.02)
    assert near["rpm"] == pytest.approx(10000, rel=0.01)
    assert near["thrust_n"] == pytest.approx(0.260 * 9.80665, rel=0.03)


def test_the_propeller_beside_a_listing_row(run):
    """Of the row's size it is the row's; another predicted one moves half as far, and each says so."""
    row = ("--listing", "1500kV 28g 7.4V 6.0A 6x4 10000rpm 260gf", "--pack", "2S 850mAh")
    same, other = (
        " ".join(run("point", *row, "--propeller", size, "--assumptions", "--sources").out.split())
        for size in ("6x4 thick", "7x4")
    )
    assert "family thick" in same
    assert "to fit rows (predicted" in same
    assert "6x4 thick - thrust coefficient times" in same
    assert "as 6x4 of the row asks for (predicted" in other


@pytest.mark.parametrize("option", ["--motor", "--listing", "--propeller", "--pack", "--controller"])
def test_what_the_help_shows_as_an_example_works(run, option):
    import re

    from propmatch.commands.point import command

    help_text = next(each.help for each in command.params if option in each.opts)
    examples = re.findall(r'"([^"]+)"', help_text)
    assert examples
    for example in examples:
        given = {"--motor": "1500kV 28g", "--propeller": "6x4", "--pack": "2S 450mAh", option: example}
        if option == "--listing":
            del given["--motor"]
        done = run("point", *(word for pair in given.items() for word in pair))
        assert done.exit_code == 0, (example, done.err)


@pytest.mark.parametrize(
    "arguments", [("point",), ("ask", "throttle"), ("ask", "kv"), ("ask", "propeller")], ids=" ".join
)
def test_a_pack_of_more_cells_than_the_parts_allow_is_said(run, arguments):
    """Four cells on a motor for three, and the heat of a linear supply: (V - 5 V) x current, by hand."""
    parts = ("--motor", f"{MOTOR} cells_max=3", *PARTS[2:4], "--pack", "4S 450mAh 35C 56g",
             "--controller", "20A 18g r=5mohm servo_supply=linear")  # fmt: skip
    flat = " ".join(run(*arguments, *parts).out.split())
    assert "4S is more cells than parts and brief allow (3S)" in flat
    assert "BEC heat" in flat
    found = {check["name"]: check for check in run(*arguments, *parts, "--json").document["misfits"]}
    assert (found["cell_count"]["value"], found["cell_count"]["limit"]) == (4.0, 3.0)
    assert found["servo_supply_heat"]["value"] == pytest.approx((4 * 4.2 - 5.0) * 0.2, rel=0.03)  # less a little sag
    assert run(*arguments, *PARTS, "--json").document["misfits"] == []


def test_the_cells_that_the_brief_names_are_judged_in_ask(run):
    """The bundled racer asks for two or three cells."""
    four = (*PARTS[:4], "--pack", "4S 450mAh 35C 56g", "--controller", CONTROLLER)
    assert "4S is more cells than parts and brief allow" in run("ask", "mass", "club_racer", *four).out


@pytest.mark.parametrize("text", ["12,5km/h", "5,10km/h", "20km/h,5"])
def test_a_unit_beside_some_numbers_of_a_list_is_asked_for(text):
    """12,5km/h may be 12.5 km/h, or 12 of something and 5 km/h."""
    faults = []
    assert read_values(AIRSPEED, text, faults) == []
    assert [fault.rule for fault in faults] == ["says a unit beside some of its numbers only"]


def test_a_list_may_say_its_own_unit_once():
    assert read_values(AIRSPEED, "5,10m/s", []) == [5.0, 10.0]
    assert read_values(AIRSPEED, "36km/h,10m/s", []) == [10.0, 10.0]


def test_a_range_of_as_many_values_as_nobody_wants():
    faults = []
    assert read_values(AIRSPEED, f"0..1/{'9' * 5000}", faults) == []
    assert faults[0].rule == "a range has 2 to 1001 values"
