"""The bundled data: as many and as varied as promised, plausible, made by the script, with its origin."""

import hashlib
import io
import tomllib

import numpy as np
import pytest

import propmatch_datasets
from propmatch import load_brief, load_catalogue, solve
from propmatch.brief import resolve_variants
from propmatch.records.parts import FAMILIES, PowerTrain
from propmatch.units import GRAM_FORCE_N
from propmatch_datasets import generate

TABLES = ("motors", "packs", "controllers", "propellers", "propeller_tables")


@pytest.fixture(scope="module")
def catalogue():
    return load_catalogue(plugins=["bundled"])


def read(name):
    return propmatch_datasets.path(name).read_bytes()


def test_nothing_is_faulty_or_hard_to_believe(catalogue):
    assert catalogue.faults == ()
    assert catalogue.broken == ()
    assert catalogue.warnings == ()


def test_motors_cover_the_stators(catalogue):
    motors = list(catalogue.motors.values())
    stators = {part.id.partition("/")[2].partition("-")[0] for part in motors}
    assert len(motors) >= 60
    assert {"1104", "2204", "2826"} <= stators
    assert min(stators) == "1104"
    assert max(stators) == "2826"
    assert any(part.resistance_ohm is None for part in motors)
    assert any(part.max_current_a is None for part in motors)
    assert any(part.kv_kind == "label" for part in motors)
    assert any(part.no_load_exponent > 0 for part in motors)


def test_packs_are_dense_where_small_models_need_them(catalogue):
    packs = list(catalogue.packs.values())
    lipo = {cells: sorted({p.capacity_mah for p in packs if p.cells_series == cells and p.chemistry == "lipo"})
            for cells in (1, 2, 3, 4)}  # fmt: skip
    assert len(packs) >= 40
    for cells in (2, 3):
        assert lipo[cells][0] == 180
        assert lipo[cells][-1] == 2200
        assert max(b / a for a, b in zip(lipo[cells], lipo[cells][1:], strict=False)) < 1.7
    assert lipo[1]
    assert lipo[4]
    assert {p.chemistry for p in packs} == {"lipo", "lihv", "liion"}


def test_controllers_cover_ratings_and_servo_supplies(catalogue):
    controllers = list(catalogue.controllers.values())
    assert len(controllers) >= 15
    assert min(c.max_current_a for c in controllers) == 6
    assert max(c.max_current_a for c in controllers) == 60
    assert {c.servo_supply for c in controllers} == {"none", "linear", "switching"}


def test_propellers_cover_sizes_and_families_with_tables_past_zero_thrust(catalogue):
    propellers = list(catalogue.propellers.values())
    assert len(propellers) >= 60
    assert min(p.diameter_in for p in propellers) == 3
    assert max(p.diameter_in for p in propellers) == 10
    assert {p.family for p in propellers} == set(FAMILIES)
    for propeller in propellers:
        table = propeller.table
        assert table.rpm.size >= 6, propeller.id
        assert np.all(table.ct[:, -1] < 0), propeller.id
        assert np.all(table.cp[:, 0] > 0), propeller.id
        assert propeller.source.kind == "predicted"
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


def test_masses_are_near_what_a_kitchen_scale_shows(catalogue):
    """Common practice, no published source: 2S 450 mAh near 28 g, 3S 1300 mAh near 105 g, 2204 outrunner near 20 g."""
    assert catalogue.packs["bundled/2s-450-35c"].mass_g == pytest.approx(28, rel=0.15)
    assert catalogue.packs["bundled/3s-1300-45c"].mass_g == pytest.approx(105, rel=0.15)
    assert catalogue.motors["bundled/2204-2300"].mass_g == pytest.approx(20, rel=0.2)
    heavier = [catalogue.packs[f"bundled/3s-{mah}"].mass_g for mah in ("450-35c", "850-45c", "1300-45c", "2200-30c")]
    assert heavier == sorted(heavier)


def test_a_sport_model_of_250_g_is_lifted_as_usual(catalogue):
    """Common practice, no published source.

    A motor near 20 g, a 5 in propeller and a 2S pack near 0.6 A h lift a sport model of 200 to 300 g with a thrust to
    weight between about 0.7 and 1.3, and with less at half charge.
    """
    motors = [m for m in catalogue.motors.values() if 17 <= m.mass_g <= 25 and 1700 <= m.kv_rpm_per_v <= 2700]
    propellers = [p for p in catalogue.propellers.values() if p.diameter_in == 5]
    packs = [p for p in catalogue.packs.values() if p.cells_series == 2 and 500 <= p.capacity_mah <= 700]
    controller = catalogue.controllers["bundled/12a-linear"]
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
    rows = whole[whole["propeller"] == "7x5-thin-3b"]
    table = catalogue.propellers["bundled/7x5-thin-3b"].table
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
