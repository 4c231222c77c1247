"""Parts that a command found out, kept in the user's folder."""

import numpy as np
import pytest

from propmatch.catalogue.boxes import parts_folder
from propmatch.catalogue.catalogue import load_catalogue
from propmatch.catalogue.ownparts import keep_parts
from propmatch.faults import InputFaults
from propmatch.models.tables import CoefficientTable
from propmatch.records.fields import replace
from propmatch.records.parts import Motor, Pack, Propeller, Source

SURE = Source(
    text='bench "log" a.csv, 4 rows', kind="measured", sd_ln={"kv_rpm_per_v": 0.01, "resistance_ohm": 0.03},
    correlations=[("kv_rpm_per_v", "resistance_ohm", -0.4)],
)  # fmt: skip
MOTOR = Motor(name="falke", kv_rpm_per_v=1304.5, kv_kind="measured", mass_g=28, resistance_ohm=0.155, source=SURE)
OF_PACK = Source(text="bench", kind="measured", sd_ln={"capacity_mah": 0.02})
PACK = Pack(name="3S with falke", cells_series=3, capacity_mah=1300, c_rating=45, mass_g=108, source=OF_PACK)
J = np.linspace(0, 0.9, 10)
TABLE = CoefficientTable(
    rpm=[4000, 8000, 16000], advance_ratio=J,
    ct=[0.11 * (1 - (J / 0.8) ** 2) * f for f in (0.97, 1.0, 1.02)],
    cp=[0.045 * (1 - 0.5 * (J / 0.8) ** 2) * f for f in (1.02, 1.0, 0.99)],
)  # fmt: skip
BLADES = Propeller(name="6x4 with falke", diameter_in=6, pitch_in=4, table=TABLE, source=replace(
    SURE, sd_ln={"ct": 0.03, "cp": 0.05}, correlations=[("ct", "cp", 0.1)]))  # fmt: skip


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.delenv("PROPMATCH_PARTS", raising=False)
    monkeypatch.delenv("PROPMATCH_PLUGINS", raising=False)
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "home"))
    path = tmp_path / "my parts"
    path.mkdir()
    return path


def test_kept_parts_read_back_equal(folder):
    file = keep_parts({"motors": [MOTOR], "packs": [PACK], "propellers": [BLADES]}, "falke", folder)
    assert file == folder / "fit-falke.toml"
    catalogue = load_catalogue(plugins=["parts"], parts=folder)
    assert catalogue.faults == ()
    assert catalogue.motors["parts/falke"] == replace(MOTOR, id="parts/falke")
    assert catalogue.packs["parts/3S with falke"] == replace(PACK, id="parts/3S with falke")
    blades = catalogue.propellers["parts/6x4 with falke"]
    assert blades == replace(BLADES, id="parts/6x4 with falke")
    rpm, j = np.meshgrid([4500, 8000, 15000], [0.0, 0.2, 0.4, 0.6])
    kept, was = blades.table.lookup(rpm, j), TABLE.lookup(rpm, j)
    assert np.allclose(kept.ct, was.ct, rtol=0.02, atol=0.002)
    assert np.allclose(kept.cp, was.cp, rtol=0.02)


def test_the_same_parts_give_the_same_bytes_and_others_replace_them(folder):
    parts = {"motors": [MOTOR], "propellers": [BLADES]}
    file = keep_parts(parts, "falke", folder)
    first = {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}
    assert len(first) == 2
    keep_parts(parts, "falke", folder)
    assert {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()} == first
    keep_parts({"motors": [replace(MOTOR, kv_rpm_per_v=1310)]}, "falke", folder)
    assert b"1310" in file.read_bytes()


@pytest.mark.parametrize(
    "change",
    [
        lambda text: text.replace("28.0", "31.0"),
        lambda text: text + '\n[[motors]]\nname = "mine"\nkv_rpm_per_v = 900\nmass_g = 60\n',
        lambda text: "# mine\n" + text,
        lambda text: '[[motors]]\nname = "falke"\nkv_rpm_per_v = 900\nmass_g = 60\n',
        lambda text: "",
    ],
)
def test_what_is_not_of_a_fit_stays_unless_forced(folder, change):
    file = keep_parts({"motors": [MOTOR]}, "falke", folder)
    ours = file.read_text()
    file.write_text(change(ours))
    with pytest.raises(InputFaults, match="not of a fit of this name, or were changed by hand"):
        keep_parts({"motors": [MOTOR]}, "falke", folder)
    assert file.read_text() == change(ours)
    keep_parts({"motors": [MOTOR]}, "falke", folder, force=True)
    assert file.read_text() == ours


def test_two_names_that_make_one_file_name_are_told_apart(folder):
    keep_parts({"motors": [replace(MOTOR, name="A b")]}, "A b", folder)
    with pytest.raises(InputFaults, match="fit-a-b"):
        keep_parts({"motors": [replace(MOTOR, name="a-b")]}, "a-b", folder)


def test_a_name_of_another_file_is_not_taken_even_by_force(folder):
    (folder / "motors.csv").write_text("name,kv_rpm_per_v,mass_g\nfalke,1450,28\n")
    (folder / "more.toml").write_text(
        '[[packs]]\nname = "3S with falke"\ncells_series = 3\ncapacity_mah = 1\nc_rating = 1\n'
    )
    for force in (False, True):
        with pytest.raises(InputFaults) as refused:
            keep_parts({"motors": [MOTOR]}, "falke", folder, force=force)
        (fault,) = refused.value.faults
        assert (fault.where, fault.value) == ("--save", "falke")
        assert "choose another" in fault.hint
    assert not (folder / "fit-falke.toml").exists()
    keep_parts({"motors": [replace(MOTOR, name="falke measured")]}, "falke measured", folder)


def test_the_users_own_folder_is_made_and_read_without_being_named(folder, monkeypatch):
    assert not parts_folder().exists()
    file = keep_parts({"motors": [MOTOR]}, "falke")
    assert file.parent == parts_folder()
    assert "parts/falke" in load_catalogue().motors
    monkeypatch.setenv("PROPMATCH_PARTS", str(folder))
    assert keep_parts({"motors": [MOTOR]}, "falke").parent == folder


def test_a_folder_that_does_not_exist_is_a_fault(folder):
    with pytest.raises(InputFaults, match="no such folder"):
        keep_parts({"motors": [MOTOR]}, "falke", folder / "none")


def test_a_name_of_signs_alone_makes_a_file_too(folder):
    part = replace(MOTOR, name='"..//\\"')
    file = keep_parts({"motors": [part]}, part.name, folder)
    assert file == folder / "fit-part.toml"
    (read,) = load_catalogue(plugins=["parts"], parts=folder).motors.values()
    assert read.name == part.name


def test_a_box_holds_what_is_kept_in_it_and_another_of_the_name_stays(folder):
    keep_parts({"motors": [MOTOR]}, "falke", folder)
    file = keep_parts({"motors": [MOTOR], "propellers": [BLADES]}, "falke", folder, box="mine")
    assert file == folder / "mine" / "fit-falke.toml"
    catalogue = load_catalogue(plugins=["parts"], parts=folder)
    assert {each.kind for each in catalogue.faults} == {"note"}, "the name stands twice"
    assert set(catalogue.motors) == {"parts/falke", "mine/falke"}
    assert catalogue.propellers["mine/6x4 with falke"] == replace(BLADES, id="mine/6x4 with falke")
    with pytest.raises(InputFaults, match="is the name of a plugin"):
        keep_parts({"motors": [MOTOR]}, "falke", folder, box="tables")
