"""Tables as people write them, read without a mapping: headings, cells, kinds, and what is said about them."""

import csv
import io

import attrs
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.written_tables import NATURAL, TEN

from propmatch.catalogue.catalogue import load_catalogue
from propmatch.catalogue.partsets import _changed
from propmatch.records.parts import KINDS, Propeller
from propmatch_plugins.reading.preview import dry_run


@pytest.fixture
def read(tmp_path):
    """Write one file, load its folder."""

    def go(text, name="drawer.csv"):
        (tmp_path / name).write_bytes(text if isinstance(text, bytes) else text.encode())
        return load_catalogue(plugins=["parts", "spreadsheets"], parts=tmp_path)

    return go


def wrong(catalogue):
    """Faults of rows and headings; a propeller of this folder has no coefficients, as no plugin predicts them."""
    return [each for each in catalogue.faults if each.kind == "fault" and each.key != "table"]


def notes(catalogue):
    return [fault.rule for fault in catalogue.faults if fault.kind == "note"]


@pytest.mark.parametrize("what", TEN)
def test_ten_people_s_tables_are_read_without_a_mapping(what, read):
    text, expected = TEN[what]
    catalogue = read(text)
    for kind, parts in expected.items():
        found = {part.name: part for part in catalogue.listed(kind).values()}
        for name, numbers in parts.items():
            got = {key: getattr(found[name], key) for key in numbers}
            assert got == {key: pytest.approx(value, rel=1e-4) if isinstance(value, float) else value
                           for key, value in numbers.items()}  # fmt: skip
    assert len(notes(catalogue)) == 1
    rows = sum(len(catalogue.listed(kind)) for kind in KINDS)
    assert rows + len(wrong(catalogue)) == text.count("\n") - 1
    assert [fault.value for fault in wrong(catalogue)] == (["1 oz"] if what.startswith("an Italian") else [])


def test_every_column_under_a_new_user_s_headings_is_understood(read, tmp_path):
    for name, text in NATURAL.items():
        catalogue = read(text, name)
        (preview,) = dry_run(tmp_path / name)
        assert all(column.ours not in ("", "notes") for column in preview.columns), name
        assert not wrong(catalogue)


def test_what_was_guessed_is_said_once_for_the_file(read):
    catalogue = read("Motor,KV,Weight,Shaft\n" + "".join(f"m{n},1450,28,3 mm\n" for n in range(20)))
    (note,) = notes(catalogue)
    assert "KV read as kv_rpm_per_v, label" in note
    assert "Weight read as mass_g, in g where no unit stands" in note
    assert "kept as notes: Shaft" in note
    assert {motor.notes for motor in catalogue.motors.values()} == {"Shaft: 3 mm"}


@pytest.mark.parametrize(
    ("heading", "cell", "field", "value"),
    [
        ("Weight (oz)", "1", "mass_g", 28.349523125),
        ("WEIGHT [G]", "28.5", "mass_g", 28.5),
        ("weight, g", "28.5", "mass_g", 28.5),
        ("Gewicht/g", "28.5", "mass_g", 28.5),
        ("Masse in g", "28.5", "mass_g", 28.5),
        ("Weight", "0.0285 kg", "mass_g", 28.5),
        ("Weight", "~28.5g", "mass_g", 28.5),
        ("oz", "1", "mass_g", 28.349523125),
    ],
)
def test_a_unit_stands_in_brackets_behind_a_mark_or_in_the_cell(heading, cell, field, value, read):
    separator = "\t"
    (motor,) = read(f"Name{separator}KV{separator}{heading}\nfalke\t1450\t{cell}\n").motors.values()
    assert getattr(motor, field) == pytest.approx(value, rel=1e-12)


@pytest.mark.parametrize(
    ("heading", "cell", "numbers"),
    [
        ("Cells", "2-3S", {"cells_min": 2, "cells_max": 3}),
        ("Cells", "2S-3S LiPo", {"cells_min": 2, "cells_max": 3}),
        ("LiPo", "3", {"cells_min": None, "cells_max": 3}),
        ("Voltage", "7.4-11.1V", {"cells_min": 2, "cells_max": 3}),
        ("Voltage (V)", "7.4 - 12.6", {"cells_min": 2, "cells_max": 3}),
        ("Gear", "3.5:1", {"gear_ratio": 3.5}),
        ("Burst current (A)", "18A (10s)", {"burst_current_a": 18, "burst_seconds": 10}),
        ("Rm", "145 mΩ", {"resistance_ohm": 0.145}),
        ("Io", "850mA", {"no_load_current_a": 0.85}),
        ("Max A", "n/a", {"max_current_a": None}),
        ("Current max", "12", {"max_current_a": 12}),
    ],
)
def test_short_forms_of_a_motor(heading, cell, numbers, read):
    catalogue = read(f"Name\tKV\tWeight (g)\t{heading}\nfalke\t1450\t28.5\t{cell}\n")
    assert not wrong(catalogue)
    (motor,) = catalogue.motors.values()
    assert {key: getattr(motor, key) for key in numbers} == pytest.approx(numbers)


def test_ambiguous_headings_are_asked_for_and_the_rows_kept(read):
    catalogue = read("Name,KV,Weight (g),Current\nfalke,1450,28,12\n")
    (fault,) = wrong(catalogue)
    assert (fault.where.rpartition("/")[2], fault.key) == ("drawer.csv:1", "Current")
    assert "no_load_current_a or max_current_a" in fault.rule
    (motor,) = catalogue.motors.values()
    assert (motor.max_current_a, motor.no_load_current_a, motor.notes) == (None, None, "Current: 12")


def test_a_heading_that_only_one_field_is_left_for_is_that_field(read):
    catalogue = read("Name,KV,Weight (g),Io,Current\nfalke,1450,28,0.5,12\n")
    assert not wrong(catalogue)
    assert next(iter(catalogue.motors.values())).max_current_a == 12


def test_a_heading_means_the_same_for_every_kind_of_a_table(read):
    catalogue = read("Type,Name,KV,A,Weight (g)\nmotor,falke,1450,12,28\nESC,c,,20,18\n")
    assert not wrong(catalogue)
    assert next(iter(catalogue.motors.values())).max_current_a == 12
    assert next(iter(catalogue.controllers.values())).max_current_a == 20


def test_a_unit_that_contradicts_the_heading_is_said_and_the_rows_kept(read):
    catalogue = read("Name,KV,Weight (g),Rm (A)\nfalke,1450,28,0.1\nhabicht,1100,1 oz,0.1\n")
    heading, cell = wrong(catalogue)
    assert (heading.key, heading.rule) == ("Rm (A)", "resistance_ohm is no number in A")
    assert "contradicts its column, which is in g" in cell.rule
    assert "28.35" in cell.hint
    assert [motor.name for motor in catalogue.motors.values()] == ["falke"]


def test_a_bare_number_beside_units_of_another_kind_is_asked_for(read):
    catalogue = read("Name,KV,Weight\nfalke,1450,1 oz\nhabicht,1100,30\n")
    (fault,) = wrong(catalogue)
    assert fault.value == "30"
    assert "says no unit" in fault.rule


def test_a_resistance_without_a_unit_that_may_be_milliohms_is_asked_for(read):
    catalogue = read("Name,KV,Weight (g),Rm\nfalke,1450,28,8\nhabicht,1100,30,0.08\n")
    (fault,) = wrong(catalogue)
    assert (fault.value, fault.hint) == ("8", "in mohm? then it is 0.008 ohm")


def test_a_heading_twice_is_said_and_rows_that_agree_are_kept(read):
    text = "name,kv_rpm_per_v,mass_g,mass_g\nfalke,1450,28,28\nhabicht,1100,30,31\n"
    said = wrong(read(text, "motors.csv"))
    assert [(fault.where.rpartition(":")[2], fault.key) for fault in said] == [("1", "mass_g"), ("3", "mass_g")]
    catalogue = read("Name,KV,Weight (g),Weight (oz)\nfalke,1450,28,0.99\nhabicht,1100,30,3\n", "motors.csv")
    (fault,) = wrong(catalogue)
    assert "contradicts the 30 g of another column" in fault.rule
    assert [motor.name for motor in catalogue.motors.values()] == ["falke"]


def test_a_row_that_fills_two_kinds_is_a_fault_in_place(read):
    catalogue = read("Name,KV,mAh,C,Cells,Weight (g)\nfalke,1450,,,3S,28\nboth,1100,850,30,2S,50\nwhat,,,,,3\n")
    both, nothing = wrong(catalogue)
    assert both.where.endswith(":3")
    assert "motors and packs" in both.rule
    assert nothing.where.endswith(":4")
    assert list(catalogue.motors) == ["parts/falke"]


def test_a_type_column_of_other_words_is_no_kind(read):
    catalogue = read("Name,KV,Weight (g),Type\nfalke,1450,28,high torque\n")
    assert not wrong(catalogue)
    assert next(iter(catalogue.motors.values())).notes == "Type: high torque"


def test_a_bec_of_no_said_kind_is_the_kind_that_heats(read):
    catalogue = read("ESC,Max current (A),Weight (g),BEC\na,20,18,5V/2A\nb,20,18,SBEC\nc,20,18,no\n")
    assert not wrong(catalogue)
    assert [each.servo_supply for each in catalogue.controllers.values()] == ["linear", "switching", "none"]
    assert "linear where a cell says BEC and not which" in notes(catalogue)[0]


def test_measured_kv_says_so_in_its_heading(read):
    (motor,) = read("Name,Measured KV,Weight (g)\nfalke,1380,28\n").motors.values()
    assert motor.kv_kind == "measured"


# ---------------------------------------------------------------- RFC 4180, and the spreadsheet programs' own exports

CELL = st.text(st.characters(codec="utf-8", exclude_categories=("Cs", "Cc")), max_size=12).map(str.strip)


@settings(max_examples=60)
@given(st.lists(st.tuples(CELL, CELL), min_size=1, max_size=5, unique_by=lambda row: row[0]))
def test_what_an_rfc_4180_writer_quotes_comes_back(rows):
    """RFC 4180 section 2: CRLF lines, fields with commas, quotes or line breaks in quotes, quotes doubled."""
    from pathlib import Path

    from propmatch_plugins.reading.delimited import grid_of

    out = io.StringIO()
    writer = csv.writer(out, dialect="excel", quoting=csv.QUOTE_ALL)
    writer.writerow(["Name", "Remarks, all"])
    writer.writerows([f"n{at} {name}", f'{text}\r\n"x"'] for at, (name, text) in enumerate(rows))
    grid = grid_of(out.getvalue().encode(), "t.csv", Path())
    assert grid.header == ("Name", "Remarks, all")
    found = [cells for _, cells in grid.rows]
    assert found == [(f"n{at} {name}".strip(), f'{text}\r\n"x"'.strip()) for at, (name, text) in enumerate(rows)]
    assert not grid.faults


@pytest.mark.parametrize("header", ["Name;Weight, g;KV, rpm/V", "Name\tWeight, g\tKV, rpm/V"])
def test_the_delimiter_is_what_splits_every_line_alike(header, read):
    sign = ";" if ";" in header else "\t"
    (motor,) = read(f"{header}\nfalke{sign}28,5{sign}1450\n").motors.values()
    assert (motor.mass_g, motor.kv_rpm_per_v) == (28.5, 1450)


def test_workbooks_of_openpyxl_and_odfpy_under_natural_headings(tmp_path):
    from odf.opendocument import OpenDocumentSpreadsheet
    from odf.table import Table, TableCell, TableRow
    from odf.text import P
    from openpyxl import Workbook

    rows = [["Motor", "KV", "Weight (g)", "Cells", "Rm"], ["falke", 1450, "28,5", "2-3S", 0.145]]
    book = Workbook()
    for row in rows:
        book.active.append(row)
    (tmp_path / "xlsx").mkdir()
    book.save(tmp_path / "xlsx" / "first.xlsx")
    document = OpenDocumentSpreadsheet()
    table = Table(name="Tabelle1")
    for row in rows:
        line = TableRow()
        for value in row:
            number = isinstance(value, int | float)
            cell = TableCell(valuetype="float", value=value) if number else TableCell(valuetype="string")
            cell.addElement(P(text=str(value)))
            line.addElement(cell)
        table.addElement(line)
    document.spreadsheet.addElement(table)
    (tmp_path / "ods").mkdir()
    document.save(str(tmp_path / "ods" / "second.ods"))
    for folder in (tmp_path / "xlsx", tmp_path / "ods"):
        (motor,) = load_catalogue(plugins=["parts", "spreadsheets"], parts=folder).motors.values()
        assert (motor.kv_rpm_per_v, motor.mass_g, motor.cells_min, motor.cells_max) == (1450, 28.5, 2, 3)
        assert motor.resistance_ohm == 0.145


@pytest.mark.parametrize(
    ("text", "name", "said"),
    [
        ("Size,Weight\n7x4,6\n180x100,6\n", "propellers.csv", "in mm? then it is 7.087 in"),  # 25.4 mm to the inch
        ("Size,Weight\n7x4,6\n940x500,6\n", "propellers.csv", "in mm? then it is 37.01 in"),
        ("Size,Weight\n7x4,6\n7x0,6\n", "propellers.csv", "pitch_in"),
        ("Size,Weight\n7x4,6\n7x4x9,6\n", "propellers.csv", "blades"),
        ("ESC,Amps,Weight,Cells\nA,20A,18,2-3S\nB,20A,18,2-99S\n", "controllers.csv", "cells_max"),
        ("ESC,Amps,Weight,BEC\nA,20A,18,5V/3A\nB,20A,18,99V/3A\n", "controllers.csv", "servo_supply_v"),
        ("Pack,mAh,C,Weight,Cells\nA,850,30,80,3S\nB,850,30,80,99S\n", "packs.csv", "cells_series"),
        ("Pack,mAh,C,Weight,Voltage\nA,850,30,80,11.1V\nB,850,30,80,99.9V\n", "packs.csv", "cells_series"),
    ],
)
def test_a_number_out_of_range_in_a_short_form_costs_its_own_row_alone(text, name, said, read):
    catalogue = read(text, name)
    (fault,) = wrong(catalogue)
    assert fault.where.endswith(f"{name}:3")
    assert said in f"{fault.key} {fault.rule} {fault.hint}"
    kind = name.removesuffix(".csv")
    assert len(catalogue.listed(kind)) == 1


def test_a_part_that_cannot_be_changed_costs_itself_alone():
    sound = Propeller(name="7x4", diameter_in=7, pitch_in=4, id="p/7x4")
    faulty = object.__new__(Propeller)
    for field in attrs.fields(Propeller):
        object.__setattr__(faulty, field.name, getattr(sound, field.name))
    object.__setattr__(faulty, "diameter_in", 180.0)
    part, faults = _changed(faulty, "p:set:2", id="p/other")
    assert part is None
    assert "at most 40 in" in faults[0].rule
    assert _changed(sound, "p:set:1", id="p/other")[0].id == "p/other"


def test_blades_are_read_from_a_name_whatever_the_other_rows_are(read):
    catalogue = read("Prop,Weight\n8x4.5x3,9\n6x3 3-blade,4\n9x5,8\n254x127 mm,9\n", "propellers.csv")
    assert not wrong(catalogue)
    found = {each.name: (each.diameter_in, each.blades) for each in catalogue.listed("propellers").values()}
    assert found == {"8x4.5x3": (8, 3), "6x3 3-blade": (6, 3), "9x5": (9, 2), "254x127 mm": (pytest.approx(10), 2)}


def test_a_name_fills_empty_cells_and_a_contradiction_is_said(read):
    catalogue = read("Motor,KV,Weight\nBar 1500kv 24 g,,\nFoo 1500kv,1200,24\n", "motors.csv")
    filled, other = catalogue.motors.values()
    assert not wrong(catalogue)
    assert (filled.kv_rpm_per_v, filled.mass_g, other.kv_rpm_per_v) == (1500, 24, 1200)
    assert notes(catalogue)[1:] == ["1200 is taken, the name says 1500"]


def test_a_size_in_a_name_that_is_out_of_range_is_a_fault(read):
    (fault,) = wrong(read("Prop,Weight\n8x4.5 special,9\n180x100 special,4\n", "propellers.csv"))[:1]
    assert "in mm? then it is 7.087 in" in fault.hint  # 25.4 mm to the inch


@pytest.mark.parametrize(
    ("text", "counts"),
    [
        ("Battery,Weight\n3S 2200,180\n2S 800mAh 25C,48g\n", {"packs": 2}),
        ("Motor\tWeight\n2111 1190KV\t46\n", {"motors": 1}),
        ("ESC,Weight\n30A,25\n", {"controllers": 1}),
        ("Part\tMass\n2111 1190KV 15A\t46\n30A ESC\t20\n3S 2200\t180\n6x4\t3\n", dict.fromkeys(KINDS, 1)),
    ],
)
def test_the_kind_is_told_by_the_heading_of_the_name_or_by_each_row(text, counts, read):
    catalogue = read(text, "drawer.csv" if "\t" not in text else "drawer.tsv")
    assert not wrong(catalogue)
    assert {kind: len(catalogue.listed(kind)) for kind in KINDS if catalogue.listed(kind)} == counts


@pytest.mark.parametrize(
    ("cell", "supply"),
    [("ja", "linear"), ("mit", "linear"), ("oui", "linear"), ("2A", "linear"), ("LBEC", "linear"), ("nein", "none"),
     ("ohne", "none"), ("0", "none"), ("sans", "none"), ("UBEC", "switching")],
)  # fmt: skip
def test_a_bec_in_the_words_of_several_languages(cell, supply, read):
    catalogue = read(f"Regler,Dauerstrom,Gewicht,BEC\na,20A,18,{cell}\n", "controllers.csv")
    assert not wrong(catalogue)
    assert [each.servo_supply for each in catalogue.controllers.values()] == [supply]


def test_a_family_under_its_german_heading(read):
    catalogue = read("Luftschraube,Gewicht,Familie\n6x4,4,thin\n", "propellers.csv")
    assert [each.family for each in catalogue.listed("propellers").values()] == ["thin"]


def test_a_comma_before_three_digits_that_nothing_settles_is_asked_for_under_our_own_names_too(read):
    catalogue = read('name,kv_rpm_per_v,mass_g\na,1400,"1,100"\nb,1400,28\n', "motors.csv")
    assert [each.name for each in catalogue.listed("motors").values()] == ["b"]
    assert "may be 1.1 or 1100 g" in wrong(catalogue)[0].rule


def test_a_name_of_four_digits_costs_no_file(read):
    catalogue = read("name,kv,weight\n0045,1400,28\n")
    assert [each.name for each in catalogue.listed("motors").values()] == ["0045"]
