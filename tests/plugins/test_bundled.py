"""The bundled data: as many and as varied as promised, plausible, made by the script, with its origin."""

import hashlib
import io
import tomllib
from itertools import pairwise

import numpy as np
import pytest
from support.bundled import bundled_catalogue, ids, nearest

import propmatch_datasets
from propmatch import load_brief, solve
from propmatch.brief import resolve_variants
from propmatch.records.estimates import NOMINAL_CELL_V, completed
from propmatch.records.parts import FAMILIES, Pack, PowerTrain
from propmatch.units import GRAM_FORCE_N
from propmatch_datasets import generate

TABLES = ("motors", "packs", "controllers", "propellers", "propeller_tables")


@pytest.fixture(scope="module")
def catalogue():
    return bundled_catalogue()


def read(name):
    return propmatch_datasets.path(name).read_bytes()


def test_nothing_is_faulty_or_hard_to_believe(catalogue):
    assert catalogue.faults == ()
    assert catalogue.broken == ()
    assert catalogue.warnings == ()


def test_motors_cover_small_models(catalogue):
    motors = list(catalogue.motors.values())
    masses = sorted(part.mass_g for part in motors)
    assert len(motors) >= 60
    assert masses[0] < 6
    assert masses[-1] > 110
    assert max(b / a for a, b in pairwise(masses)) < 1.4
    for cells in (1, 2, 3, 4):
        assert sum(part.cells_min <= cells <= part.cells_max for part in motors) >= 10
    assert any(part.resistance_ohm is None for part in motors)
    assert any(part.max_current_a is None for part in motors)
    assert any(part.no_load_exponent > 0 for part in motors)
    kinds = [part.kv_kind for part in motors]
    assert kinds.count("label") > kinds.count("measured") > 0


def test_no_part_carries_a_label_that_many_real_parts_share(catalogue):
    """What shops list most: values from memory."""
    for part in catalogue.motors.values():
        stator, _, label = part.id.removeprefix("bundled/").partition("-")
        assert int(stator[:2]) not in {11, 13, 14, 18, 20, 22, 23, 26, 28}, part.id
        assert int(label) % 50, part.id
        assert part.kv_rpm_per_v % 50, part.id
        assert part.kv_kind == "measured" or part.kv_rpm_per_v == int(label), part.id
    capacities = {150, 180, 240, 250, 300, 350, 450, 500, 550, 600, 650, 800, 850, 1000, 1100, 1200, 1300, 1500, 1550,
                  1800, 2000, 2200, 2500, 2600, 2800, 3000}  # fmt: skip
    for part in catalogue.packs.values():
        assert part.capacity_mah not in capacities, part.id
        assert part.c_rating % 5, part.id
    for part in catalogue.controllers.values():
        assert part.max_current_a not in {6, 8, 10, 12, 15, 18, 20, 25, 30, 35, 40, 45, 50, 60}, part.id
    for part in catalogue.propellers.values():
        assert round(10 * part.pitch_in) % 5, part.id


def test_packs_are_dense_where_small_models_need_them(catalogue):
    packs = list(catalogue.packs.values())
    lipo = {cells: sorted({p.capacity_mah for p in packs if p.cells_series == cells and p.chemistry == "lipo"})
            for cells in (1, 2, 3, 4)}  # fmt: skip
    assert len(packs) >= 40
    for cells in (2, 3):
        assert lipo[cells][0] < 200
        assert lipo[cells][-1] > 2000
        assert max(b / a for a, b in pairwise(lipo[cells])) < 1.7
    assert lipo[1]
    assert lipo[4]
    assert {p.chemistry for p in packs} == {"lipo", "lihv", "liion"}


def test_controllers_cover_ratings_and_servo_supplies(catalogue):
    controllers = list(catalogue.controllers.values())
    assert len(controllers) >= 15
    ratings = sorted(c.max_current_a for c in controllers)
    assert ratings[0] < 6
    assert ratings[-1] > 50
    assert max(b / a for a, b in pairwise(ratings)) < 1.5
    assert {c.servo_supply for c in controllers} == {"none", "linear", "switching"}


def test_propellers_cover_sizes_and_families_with_tables_past_zero_thrust(catalogue):
    propellers = list(catalogue.propellers.values())
    assert len(propellers) >= 60
    assert min(p.diameter_in for p in propellers) == 3
    assert max(p.diameter_in for p in propellers) == 10
    assert {p.family for p in propellers} == set(FAMILIES) - {"racing"}
    for propeller in propellers:
        table = propeller.table
        assert table.rpm.size >= 6, propeller.id
        assert np.all(table.ct[:, -1] < 0), propeller.id
        assert np.all(table.cp[:, 0] > 0), propeller.id
        assert propeller.source.kind == "predicted"
        assert "invented" in propeller.source.text
        assert f"label, family {propeller.family}" in propeller.source.text
        assert "80 % interval of static thrust -" in propeller.source.text
        assert 0 < propeller.source.uncertainty < 0.5
        if propeller.max_rpm is not None:
            assert table.rpm[-1] == pytest.approx(propeller.max_rpm, rel=0.05), propeller.id


def test_static_thrust_stays_below_the_ideal_rotor(catalogue):
    """Momentum theory: figure of merit CT^1.5/(sqrt(pi/2) CP) < 1 (actuator disk, hover)."""
    for propeller in catalogue.propellers.values():
        ct, cp = propeller.table.ct[:, 0], propeller.table.cp[:, 0]
        merit = ct**1.5 / (np.sqrt(np.pi / 2) * cp)
        assert np.all((merit > 0.2) & (merit < 1.0)), propeller.id


def test_efficiency_stays_below_the_ideal_propeller(catalogue):
    """Actuator disk: eta <= 2/(1 + sqrt(1 + 8 CT/(pi J^2)))."""
    for propeller in catalogue.propellers.values():
        table = propeller.table
        j, ct, cp = table.advance_ratio[1:], table.ct[:, 1:], table.cp[:, 1:]
        drives = (ct > 0) & (cp > 0)
        eta = np.where(drives, j * ct / np.where(drives, cp, 1.0), 0.0)
        ideal = 2 / (1 + np.sqrt(1 + 8 * np.maximum(ct, 0) / (np.pi * j**2)))
        assert np.all(eta <= ideal), propeller.id


def test_motors_take_the_usual_watts_per_gram(catalogue):
    """Common practice, no published source: 3 to 5 W of input per gram of outrunner, continuous, at its most cells."""
    rated = [part for part in catalogue.motors.values() if part.max_current_a is not None]
    assert len(rated) > 40
    for part in rated:
        assert 3 <= part.max_current_a * NOMINAL_CELL_V * part.cells_max / part.mass_g <= 5, part.id
        assert 3 <= part.max_power_w / part.mass_g <= 5, part.id


def test_motors_reach_the_usual_efficiency(catalogue):
    """Common practice, no published source: small outrunners with controller peak at 0.70 to 0.82, the lightest below.

    Peak over airspeed at full throttle, on a stiff battery of the motor's most cells, with a propeller near the size
    it is for; what counts is shaft power over the power into the controller.
    """
    controller = catalogue.controllers[nearest("controllers", max_current_a=30, servo_supply="none")]
    peaks = {}
    for motor in catalogue.motors.values():
        inches = 2.6 * motor.mass_g**0.25
        size = nearest("propellers", family="thin", diameter_in=inches, pitch_in=0.65 * inches)
        pack = Pack(
            name="stiff", cells_series=motor.cells_max, capacity_mah=20000, c_rating=60, mass_g=1000,
            cell_resistance_mohm=0.01, lead_resistance_mohm=0,
        )  # fmt: skip
        train = PowerTrain(
            motor=motor, propeller=catalogue.propellers[size], pack=pack, controller=controller, radio_current_a=0
        )
        point = solve(train, airspeed_m_s=np.linspace(0, 60, 121), charge=0.5)
        drives = point.shaft_power_w > 0
        peaks[motor.id] = np.max(point.shaft_power_w[drives] / point.pack_power_w[drives])
    usual = [0.70 <= peak <= 0.82 for name, peak in peaks.items() if catalogue.motors[name].mass_g >= 12]
    assert np.mean(usual) >= 0.85
    assert 0.62 < min(peaks.values()) <= max(peaks.values()) <= 0.83


def test_packs_hold_the_usual_energy(catalogue):
    """Common practice, no published source: LiPo packs with leads hold 110 to 160 Wh/kg, more C is heavier."""
    lipo = [part for part in catalogue.packs.values() if part.chemistry == "lipo"]
    for part in lipo:
        assert 110 <= part.cells_series * NOMINAL_CELL_V * part.capacity_mah / part.mass_g <= 160, part.id
    for light in lipo:
        for heavy in lipo:
            same = (light.cells_series, light.capacity_mah) == (heavy.cells_series, heavy.capacity_mah)
            assert not (same and light.c_rating < heavy.c_rating and light.mass_g >= heavy.mass_g), heavy.id


def test_small_controllers_with_supply_weigh_3_to_6_g(catalogue):
    """Common practice, no published source."""
    small = [c for c in catalogue.controllers.values() if c.max_current_a < 10 and c.servo_supply != "none"]
    assert small
    assert all(3 <= part.mass_g <= 6.2 for part in small)


def test_motor_masses_are_near_what_a_kitchen_scale_shows(catalogue):
    """Common practice, no published source: an outrunner with about 2 cm^3 of stator diameter^2 times height: 20 g."""
    for part in catalogue.motors.values():
        stator = part.id.removeprefix("bundled/")
        if 1800 <= int(stator[:2]) ** 2 * int(stator[2:4]) <= 2200:
            assert part.mass_g == pytest.approx(20, rel=0.2), part.id


def test_what_makers_do_not_print_is_left_to_the_estimates():
    assert b"part_throttle_loss" not in read("controllers.csv")


def effective_kv(motor):
    return completed(motor)[0].kv_rpm_per_v


def test_a_sport_model_of_250_g_is_lifted_as_usual(catalogue):
    """Common practice, no published source.

    A motor near 20 g, a 5 in propeller and a 2S pack near 0.6 A h lift a sport model of 200 to 300 g with a thrust to
    weight between about 0.7 and 1.3, and with less at half charge.
    """
    motors = [m for m in catalogue.motors.values() if 17 <= m.mass_g <= 25 and 1700 <= effective_kv(m) <= 2700]
    propellers = [p for p in catalogue.propellers.values() if p.diameter_in == 5]
    packs = [p for p in catalogue.packs.values() if p.cells_series == 2 and 500 <= p.capacity_mah <= 700]
    controller = catalogue.controllers[nearest("controllers", max_current_a=12, servo_supply="linear")]
    trains = [
        PowerTrain(motor=motor, propeller=propeller, pack=pack, controller=controller)
        for motor in motors
        for propeller in propellers
        for pack in packs
    ]
    full, half = (solve(trains, charge=charge).thrust_n for charge in (1.0, 0.5))
    assert np.all(half < full)
    for mass_g in (200, 250, 300):
        ratio = half / (mass_g * GRAM_FORCE_N)
        usual = np.mean((ratio >= 0.7) & (ratio <= 1.3))
        assert usual >= 0.33, f"{mass_g} g: {usual:.0%}"


@pytest.mark.parametrize("name", TABLES)
def test_checksum_rows_and_columns_of_the_origin_hold(name):
    data = read(f"{name}.csv")
    origin = tomllib.loads(read(f"{name}.origin.toml").decode())
    assert hashlib.sha256(data).hexdigest() == origin["sha256"]
    lines = data.decode().splitlines()
    assert len(lines) - 1 == origin["rows"]
    assert set(origin["units"]) <= set(lines[0].split(","))
    assert origin["licence"] == "MIT"
    assert origin["made"]
    assert origin["date"]


def test_the_script_writes_exactly_these_files():
    made = generate.files()
    assert sorted(made) == sorted(f"{name}{end}" for name in TABLES for end in (".csv", ".origin.toml"))
    for name in made:
        assert made[name].encode() == read(name), f"{name} differs: run the script or change its lists"


def test_the_script_writes_into_a_folder(tmp_path):
    generate.main(tmp_path)
    assert sorted(each.name for each in tmp_path.iterdir()) == sorted(generate.files())


def test_tables_read_back_as_numpy_reads_them(catalogue):
    """Second path: numpy's own reader with names, one propeller picked out by its rows."""
    whole = np.genfromtxt(
        io.BytesIO(read("propeller_tables.csv")), delimiter=",", names=True, dtype=None, encoding="ascii"
    )
    name = ids("propellers", blades=3)[-1]
    rows = whole[whole["propeller"] == name.removeprefix("bundled/")]
    table = catalogue.propellers[name].table
    assert np.array_equal(np.repeat(table.rpm, table.advance_ratio.size), rows["rpm"])
    assert np.array_equal(table.ct.ravel(), rows["ct"])
    assert np.array_equal(table.cp.ravel(), rows["cp"])


def test_the_bundled_briefs_read_without_fault():
    assert propmatch_datasets.briefs() == ("club_racer", "schoolyard_trainer", "wetland_logger")
    for name in propmatch_datasets.briefs():
        brief = load_brief(propmatch_datasets.path(f"briefs/{name}.toml"))
        bare = resolve_variants(brief)[0].airframe.bare_mass_g
        assert bare == pytest.approx({"club_racer": 290, "schoolyard_trainer": 150, "wetland_logger": 265}[name])
        assert bare < brief.aircraft.target_mass_g
        assert brief.variant


def test_a_file_that_is_not_there_is_named():
    with pytest.raises(FileNotFoundError, match=r"no bundled file 'wings\.csv'"):
        propmatch_datasets.path("wings.csv")
