"""The folder of one's own parts: which files, which kinds, and how they enter the catalogue."""

import json
import math
import sys

import numpy as np
import pytest

from propmatch.catalogue.boxes import box_fault, box_folder, boxes, parts_folder
from propmatch.catalogue.catalogue import load_catalogue
from propmatch.faults import InputFaults
from propmatch.hookspecs import PartRow
from propmatch.records.parts import Source

MOTORS = "name,kv_rpm_per_v,mass_g\n"
RUN = "J CT CP eta\n0.20 0.100 0.050 0.40\n0.40 0.080 0.045 0.71\n0.60 0.050 0.035 0.86\n0.80 0.010 0.018 0.44\n"


@pytest.fixture(autouse=True)
def own_folders(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    monkeypatch.setenv("PROPMATCH_CACHE", str(tmp_path / "cache"))
    monkeypatch.delenv("PROPMATCH_PARTS", raising=False)


@pytest.fixture
def folder(tmp_path):
    path = tmp_path / "my parts"
    path.mkdir()
    return path


def load(folder):
    return load_catalogue(plugins=["parts"], parts=folder)


def test_the_folder_is_the_given_one_or_the_variable_s_or_the_user_s(folder, monkeypatch, tmp_path):
    home = parts_folder()
    assert home == tmp_path / "data" / "propmatch" / "parts"
    assert not home.exists()
    assert boxes() == ({}, [])
    home.mkdir(parents=True)
    assert boxes() == ({"parts": home}, [])
    named = tmp_path / "named"
    named.mkdir()
    monkeypatch.setenv("PROPMATCH_PARTS", str(named))
    assert parts_folder() == named
    assert parts_folder(folder) == folder
    assert box_folder("mine", folder) == folder / "mine"
    assert box_folder("parts", folder) == folder


def test_a_sub_folder_is_a_box_and_its_name_stands_in_front_of_its_parts(folder):
    for box in ("mine", "club"):
        (folder / box).mkdir()
        (folder / box / "motors.csv").write_text(MOTORS + "falke,1450,28\n")
    (folder / "motors.csv").write_text(MOTORS + "habicht,1100,40\n")
    catalogue = load(folder)
    assert set(catalogue.motors) == {"parts/habicht", "mine/falke", "club/falke"}
    assert {motor.source.kind for motor in catalogue.motors.values()} == {"label"}
    (note,) = catalogue.faults
    assert (note.kind, note.value, note.rule) == ("note", "falke", "club/falke has this name too; both are kept")
    assert note.where.endswith("mine/motors.csv:2")


@pytest.mark.parametrize(
    "name", ["bundled", "Tables", "parts", "", "a/b", "a\\b", "..", ".x", "a*", "x ", "x.", "con", "LPT1.x", "n" * 61]
)
def test_no_box_has_an_unsafe_name_or_that_of_a_plugin(name, folder):
    assert box_fault(name) is not None
    if name != "parts":
        with pytest.raises(InputFaults, match="such as mine, club or shop"):
            box_folder(name, folder)


@pytest.mark.parametrize("name", ["mine", "Club 2", "läden", "a.b", "3s_packs", "x-y"])
def test_other_names_are_those_of_boxes(name, folder):
    assert box_fault(name) is None


def test_a_sub_folder_that_bears_the_name_of_a_plugin_is_said_and_the_rest_read(folder):
    for box in ("bundled", "mine"):
        (folder / box).mkdir()
        (folder / box / "motors.csv").write_text(MOTORS + "falke,1450,28\n")
    catalogue = load(folder)
    assert set(catalogue.motors) == {"mine/falke"}
    (fault,) = catalogue.faults
    assert (fault.kind, fault.where) == ("warning", str(folder / "bundled"))
    assert "name of a plugin" in fault.rule


def test_the_tables_that_a_row_names_are_no_propellers_of_the_box_they_lie_in(folder):
    rows = [line.split()[:3] for line in RUN.splitlines()[1:]]
    (folder / "mill").mkdir()
    table = ["rpm,J,CT,CP", *(f"{rpm},{','.join(row)}" for rpm in (4000, 6000) for row in rows)]
    (folder / "mill" / "mill_8x4.5.csv").write_text("\n".join(table))
    (folder / "propellers.csv").write_text("name,diameter_in,pitch_in,table\nmill,8,4.5,mill/mill_8x4.5.csv\n")
    assert set(load(folder).propellers) == {"parts/mill"}


@pytest.mark.parametrize("by", ["--parts", "PROPMATCH_PARTS"])
def test_a_named_folder_that_does_not_exist_is_a_fault(by, monkeypatch, tmp_path):
    gone = str(tmp_path / "gone")
    if by != "--parts":
        monkeypatch.setenv(by, gone)
    with pytest.raises(InputFaults, match=f"gone: no such folder; named by {by}"):
        load_catalogue(parts=gone if by == "--parts" else None)


def test_parts_of_the_variable_s_folder_are_there_without_being_asked_for(folder, monkeypatch):
    (folder / "motors.csv").write_text(MOTORS + "falke,1450,28\n")
    monkeypatch.setenv("PROPMATCH_PARTS", str(folder))
    assert "parts/falke" in load_catalogue().motors
    assert "parts/falke" not in load_catalogue(plugins=["bundled"]).motors


def test_the_kind_is_in_the_name_of_the_file_or_in_a_column(folder):
    (folder / "Motors_shop.csv").write_text(MOTORS + "falke,1450,28\n")
    (folder / "bench.csv").write_text(
        "kind,name,kv_rpm_per_v,mass_g,max_current_a\n"
        "motor,habicht,1100,40,\n"
        "controllers,c20,,18,20\n"
        "controller,c30,900,20,30\n"
        "moter,x,1,1,\n"
    )
    catalogue = load(folder)
    assert set(catalogue.motors) == {"parts/falke", "parts/habicht"}
    assert set(catalogue.controllers) == {"parts/c20"}
    found = {(fault.where.rpartition("/")[2], fault.key) for fault in catalogue.faults}
    assert found == {("bench.csv:4", "kv_rpm_per_v"), ("bench.csv:5", "kind")}


def test_a_file_whose_name_does_not_print_is_not_read_and_the_rest_is(folder):
    """Unicode Standard Annex 9: U+202E turns what follows around, so that a name looks like another."""
    for name in ("mot\u202eors.csv", "motors.csv"):
        (folder / name).write_text(f"{MOTORS}{name.isprintable()},900,30\n", encoding="utf-8")
    catalogue = load(folder)
    assert list(catalogue.motors) == ["parts/True"]
    (said,) = (str(fault) for fault in catalogue.faults)
    assert said.endswith("/mot\\u202eors.csv: its name holds signs that do not print; it was not used; rename it")


@pytest.mark.parametrize(("longest", "key"), [(200, "name"), (10_000, "source.text")])
def test_texts_have_a_longest_length_and_it_is_said(folder, longest, key):
    for many in (longest, longest + 1):
        text = f'name = "{"n" * many if key == "name" else many}"\nkv_rpm_per_v = 900\nmass_g = 30\n'
        text += "" if key == "name" else f'source = "{"s" * many}"\n'
        (folder / f"{many}.toml").write_text(f"[[motors]]\n{text}", encoding="utf-8")
    catalogue = load(folder)
    assert len(catalogue.motors) == 1
    assert any(f"must be at most {longest} characters long" in str(fault) for fault in catalogue.faults)


def test_toml_and_json_hold_lists_of_kinds(folder):
    (folder / "mine.toml").write_text(
        'source = "bench, spring"\nsource_kind = "measured"\n'
        '[[motors]]\nname = "falke"\nkv_rpm_per_v = 1450\nmass_g = 28\n'
        '[[packs]]\nname = "p"\ncells_series = 2\ncapacity_mah = 850\nc_rating = 30\nmass_g = 50\n'
        'source = {text = "label", kind = "data sheet"}\n'
    )
    (folder / "controllers.json").write_text(json.dumps([{"name": "c20", "max_current_a": 20, "mass_g": 18}]))
    catalogue = load(folder)
    assert not catalogue.faults
    assert catalogue.motors["parts/falke"].source == Source(text="bench, spring", kind="measured")
    assert catalogue.packs["parts/p"].source == Source(text="label", kind="data sheet")
    assert catalogue.controllers["parts/c20"].max_current_a == 20


def test_toml_and_json_hold_deviations_and_correlations(folder):
    sure = {"text": "bench", "kind": "measured", "sd_ln": {"capacity_mah": 0.02, "cell_resistance_mohm": 0.1},
            "correlations": [["capacity_mah", "cell_resistance_mohm", -0.3]]}  # fmt: skip
    numbers = {"cells_series": 2, "capacity_mah": 850, "c_rating": 30, "mass_g": 50, "cell_resistance_mohm": 12}
    (folder / "packs.json").write_text(json.dumps([{"name": "a", **numbers, "source": sure}]))
    (folder / "mine.toml").write_text(
        '[[packs]]\nname = "b"\n'
        + "".join(f"{key} = {value}\n" for key, value in numbers.items())
        + '[packs.source]\ntext = "bench"\nkind = "measured"\n'
        'correlations = [["capacity_mah", "cell_resistance_mohm", -0.3]]\n'
        "[packs.source.sd_ln]\ncapacity_mah = 0.02\ncell_resistance_mohm = 0.1\n"
        '[[packs]]\nname = "c"\ncells_series = 2\ncapacity_mah = 850\nc_rating = 30\nmass_g = 50\n'
        '[packs.source]\ntext = "bench"\nkind = "measured"\nsd_ln = {capacity = 0.02, mass_g = 7}\n'
    )
    catalogue = load(folder)
    one, other = (catalogue.packs[f"parts/{name}"].source for name in "ab")
    assert one == other == Source(**sure)
    found = [(fault.where.rpartition("/")[2], fault.key) for fault in catalogue.faults]
    assert found == [("mine.toml:15", "source.sd_ln.mass_g"), ("mine.toml:15", "source.sd_ln.capacity")]


def test_faults_of_toml_have_the_line_of_their_table(folder):
    (folder / "mine.toml").write_text('[[motors]]\nname = "a"\nkv = 1450\nmass_g = "28"\n\n[[moters]]\nname = "b"\n')
    catalogue = load(folder)
    found = {(fault.where.rpartition("/")[2], fault.key) for fault in catalogue.faults}
    assert {("mine.toml:6", "moters"), ("mine.toml:1", "mass_g"), ("mine.toml:1", "kv")} <= found


def test_each_row_may_say_where_it_comes_from(folder):
    (folder / "motors.csv").write_text(
        "name,kv_rpm_per_v,mass_g,source,source_kind,uncertainty\n"
        "a,1450,28,own bench,measured,0.02\nb,1450,28,listing,,\nc,1450,28,,,\n"
    )
    motors = load(folder).motors
    assert motors["parts/a"].source == Source(text="own bench", kind="measured", uncertainty=0.02)
    assert motors["parts/b"].source == Source(text="listing", kind="label")
    assert motors["parts/c"].source == Source(text="motors.csv", kind="label")


def test_a_part_read_by_columns_is_the_part_made_by_its_class(folder):
    from propmatch.records.parts import Motor

    (folder / "motors.csv").write_text("name,kv_rpm_per_v,mass_g,cells_min,max_current_a\na,1450,28.5,2,\n")
    source = Source(text="motors.csv", kind="label")
    made = Motor(id="parts/a", name="a", kv_rpm_per_v=1450, kv_kind="label", mass_g=28.5, cells_min=2, source=source)
    (read,) = load(folder).motors.values()
    assert read == made
    assert hash(read) == hash(made)
    assert type(read.cells_min) is int


def test_a_propeller_row_may_name_its_table(folder):
    (folder / "propellers.csv").write_text(
        "name,diameter_in,pitch_in,table\nmill,8,4.5,mill.csv\nbroken,8,4.5,bad.csv\ngone,8,4.5,mil.csv\n"
    )
    rows = [line.split()[:3] for line in RUN.splitlines()[1:]]
    table = ["rpm,J,CT,CP", *(f"{rpm},{','.join(row)}" for rpm in (4000, 6000) for row in rows)]
    (folder / "mill.csv").write_text("\n".join(table))
    (folder / "bad.csv").write_text("rpm,J,CT,CP\n4000,0.2,x,0.05\n")
    catalogue = load(folder)
    (propeller,) = (each for each in catalogue.listed("propellers").values())
    assert propeller.name == "mill"
    found = propeller.table.lookup(np.array([4000.0, 6000.0]), np.array([0.4, 0.4]))
    np.testing.assert_allclose(found.ct, 0.080, atol=0.002 * 0.12)
    words = [str(fault) for fault in catalogue.faults]
    assert any("bad.csv:2: CT = 'x'" in word for word in words)
    assert any("propellers.csv:4: table = 'mil.csv'" in word and "did you mean mill.csv?" in word for word in words)
    assert catalogue.set_aside("propellers") == 2


def test_measured_runs_in_the_folder_become_propellers(folder):
    inside = folder / "tables"
    inside.mkdir()
    (inside / "quill_8x4.5_0123ab_4000.txt").write_text(RUN)
    (folder / "README.txt").write_text("my parts\n")
    (folder / "notes.md").write_text("nothing\n")
    catalogue = load(folder)
    assert not catalogue.faults
    propeller = catalogue.propellers["parts/quill_8x4.5"]
    assert (propeller.diameter_in, propeller.pitch_in) == (8, 4.5)
    assert propeller.source.kind == "measured"


def test_blade_angles_and_true_diameters_in_the_folder_go_with_the_measured_propellers(folder):
    """The layout of the open dataset: long tables, shapes and true diameters side by side in one folder."""
    rows = [line.split()[:3] for line in RUN.splitlines()[1:]]
    table = ["propeller,volume,diameter_in,pitch_in,blades,rpm,J,CT,CP"]
    table += [f"quill_20deg,1,8,,2,{rpm},{','.join(row)}" for rpm in (4000, 6000) for row in rows]
    (folder / "dynamic.csv").write_text("\n".join(table))
    (folder / "geometry.csv").write_text(
        "propeller,volume,r_over_R,c_over_R,beta_deg\nquill_20deg,1,0.5,0.2,20\nquill_20deg,1,1,0.1,20\n"
    )
    (folder / "diameters.csv").write_text("propeller,volume,true_diameter_in\nquill_20deg,1,7.9\n")
    catalogue = load(folder)
    assert not catalogue.faults
    propeller = catalogue.propellers["parts/quill_20deg"]
    assert propeller.diameter_in == 7.9
    assert propeller.pitch_in == pytest.approx(7.9 * 0.75 * math.pi * math.tan(math.radians(20)))


def test_faulty_rows_of_blade_angles_are_named_and_the_rest_is_used(folder):
    rows = [line.split()[:3] for line in RUN.splitlines()[1:]]
    table = ["propeller,diameter_in,rpm,J,CT,CP", *(f"quill_20deg,8,4000,{','.join(row)}" for row in rows)]
    (folder / "dynamic.csv").write_text("\n".join(table))
    (folder / "geometry.csv").write_text(
        "propeller,r_over_R,c_over_R,beta_deg\nquill_20deg,0.5,0.2,20\nquill_20deg,1,0.1,20\n"
        "quill_20deg,0.7\nquill_20deg,0.8,0.1,steep\n"
    )
    catalogue = load(folder)
    assert catalogue.propellers["parts/quill_20deg"].pitch_in == pytest.approx(8 * 0.858, rel=1e-3)
    said = [str(fault) for fault in catalogue.faults]
    assert len(said) == 2
    assert "geometry.csv:4: has 2 fields" in said[0]
    assert "geometry.csv:5: beta_deg = 'steep'" in said[1]


def test_a_sub_folder_of_a_box_is_not_looked_into_and_that_is_said(folder):
    inside = folder / "mine" / "propellers"
    inside.mkdir(parents=True)
    (inside / "quill_8x4.5_4000.txt").write_text(RUN)
    (folder / "mine" / "pictures").mkdir()
    catalogue = load(folder)
    assert not catalogue.listed("propellers")
    (fault,) = catalogue.faults
    assert (fault.kind, fault.where.rpartition("/")[2]) == ("warning", "propellers")
    assert "not looked into" in fault.rule


def test_a_file_in_tables_without_coefficients_is_said(folder):
    inside = folder / "tables"
    inside.mkdir()
    (inside / "quill_8x4.5_4000.txt").write_text(RUN)
    (inside / "notes.txt").write_text("windy day\n")
    catalogue = load(folder)
    assert len(catalogue.listed("propellers")) == 1
    (fault,) = catalogue.faults
    assert (fault.kind, fault.where.rpartition("/")[2]) == ("warning", "notes.txt")


def test_a_file_that_nobody_reads_is_said(folder):
    (folder / "motors.abc").write_text("hello")
    (fault,) = load(folder).faults
    assert (fault.kind, fault.where.rpartition("/")[2]) == ("warning", "motors.abc")


def reading(reader):
    """A plugin that reads ``.abc`` files so."""
    from types import ModuleType

    from propmatch.hookspecs import hookimpl

    plugin = ModuleType("reader")
    plugin.propmatch_file_reader = hookimpl(lambda path: reader if path.suffix == ".abc" else None)
    return plugin


def _late(path):
    yield PartRow(where=str(path), kind="motors", values={"name": "b", "kv_rpm_per_v": 1000, "mass_g": 20})
    raise KeyError("no such cell")


def _late_exit(path):
    yield PartRow(where=str(path), kind="motors", values={"name": "b", "kv_rpm_per_v": 1000, "mass_g": 20})
    raise GeneratorExit


@pytest.mark.parametrize(
    ("reader", "said", "motors"),
    [
        (lambda path: 1 // 0, "plugin 'reader' failed to read it: ZeroDivisionError: integer", ["parts/a"]),
        (lambda path: None, "plugin 'reader' failed to read it: TypeError", ["parts/a"]),
        (lambda path: sys.exit(1), "plugin 'reader' failed to read it: SystemExit: 1", ["parts/a"]),
        (_late_exit, "plugin 'reader' failed to read it: GeneratorExit", ["parts/a", "parts/b"]),
        (lambda path: [PartRow(where="x", kind="motors", part=7)], "failed to read it: AttributeError", ["parts/a"]),
        (_late, "plugin 'reader' failed to read it: KeyError", ["parts/a", "parts/b"]),
        (lambda path: ["row"], "plugin 'reader' answered str where rows and faults are promised", ["parts/a"]),
        (lambda path: [PartRow(where="x", kind="rockets")], "answered a row of kind 'rockets'", ["parts/a"]),
    ],
)
def test_a_reader_that_raises_costs_its_file_alone_and_is_named(folder, reader, said, motors):
    from propmatch.catalogue.catalogue import Catalogue
    from propmatch.catalogue.plugins import PluginReport
    from propmatch_plugins.parts_folder import PartsFolder

    (folder / "a.csv").write_text(MOTORS + "a,1450,28\n")
    (folder / "b.abc").write_text("")
    report = PluginReport()
    report.add("reader", reading(reader))
    report.add("parts", PartsFolder(folder, report))
    catalogue = Catalogue(report)
    assert sorted(catalogue.motors) == motors
    (fault,) = catalogue.faults
    assert (fault.kind, fault.where.rpartition("/")[2]) == ("fault", "b.abc")
    assert said in fault.rule
    assert not catalogue.broken
