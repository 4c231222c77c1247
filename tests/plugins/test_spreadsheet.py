"""Workbooks made with openpyxl and odfpy, read through the catalogue."""

import datetime
import sys

import pytest
from openpyxl import Workbook

from propmatch.catalogue.catalogue import load_catalogue

HEADER = ["id", "name", "kv_rpm_per_v", "mass_g", "cells_max"]


@pytest.fixture
def load(tmp_path):
    def go():
        return load_catalogue(plugins=["parts", "spreadsheets"], parts=tmp_path)

    return go


def write(path, **sheets):
    book = Workbook()
    book.remove(book.active)
    for name, rows in sheets.items():
        sheet = book.create_sheet(name)
        for row in rows:
            sheet.append(row)
    book.save(path)


def test_one_sheet_for_each_kind(tmp_path, load):
    write(
        tmp_path / "mine.xlsx",
        motors=[[], HEADER, ["0042", "falke", 1450, 28.5, 3], [], [43, "9x4", "1450", 28, None]],
        Controllers=[["name", "max_current_a", "mass_g"], ["c20", 20, 18]],
        notes=[["anything", "goes"]],
    )
    catalogue = load()
    assert not catalogue.faults
    assert list(catalogue.motors) == ["parts/0042", "parts/43"]
    assert catalogue.motors["parts/0042"].cells_max == 3
    assert catalogue.motors["parts/43"].kv_rpm_per_v == 1450
    assert catalogue.controllers["parts/c20"].mass_g == 18


def test_a_title_stands_above_the_headings(tmp_path, load):
    rows = [["My motors, box under the bench"], [], ["name", "KV", "Gewicht"], ["falke", 1450, 28], ["bad", "x", 28]]
    write(tmp_path / "mine.xlsx", motors=rows)
    catalogue = load()
    assert list(catalogue.motors) == ["parts/falke"]
    assert any(str(fault).startswith(f"{tmp_path / 'mine.xlsx'}:motors:5") for fault in catalogue.faults)


def test_faults_have_file_sheet_and_row(tmp_path, load):
    write(
        tmp_path / "mine.xlsx",
        motors=[
            HEADER,
            ["a", datetime.date(2024, 4, 9), 1450, 28, 3],
            ["b", "falke", datetime.date(2024, 4, 9), "9 mm", 2.5],
            ["c", "habicht", True, 28, 3],
        ],
        odd=[["x"], [1]],
    )
    catalogue = load()
    found = [(fault.where.rpartition("/")[2], fault.key) for fault in catalogue.faults if fault.kind == "fault"]
    assert found == [
        ("mine.xlsx:motors:2", "name"),
        ("mine.xlsx:motors:3", "kv_rpm_per_v"),
        ("mine.xlsx:motors:3", "mass_g"),
        ("mine.xlsx:motors:3", "cells_max"),
        ("mine.xlsx:motors:4", "kv_rpm_per_v"),
        ("mine.xlsx:odd:1", ""),
    ]
    assert "makes a date" in catalogue.faults[0].hint
    assert catalogue.set_aside("motors") == 4


def test_ods(tmp_path, load):
    from odf.opendocument import OpenDocumentSpreadsheet
    from odf.table import Table, TableCell, TableRow
    from odf.text import P

    document = OpenDocumentSpreadsheet()
    table = Table(name="motors")
    for row in (HEADER, ["0042", "falke", 1450, 28.5, 3]):
        line = TableRow()
        for value in row:
            number = isinstance(value, int | float)
            cell = TableCell(valuetype="float", value=value) if number else TableCell(valuetype="string")
            cell.addElement(P(text=str(value)))
            line.addElement(cell)
        table.addElement(line)
    document.spreadsheet.addElement(table)
    document.save(str(tmp_path / "mine.ods"))
    catalogue = load()
    assert not catalogue.faults
    (motor,) = catalogue.motors.values()
    assert (motor.id, motor.mass_g, motor.cells_max) == ("parts/0042", 28.5, 3)


def test_a_missing_extra_is_one_line_that_names_it(tmp_path, load, monkeypatch):
    write(tmp_path / "mine.xlsx", motors=[HEADER, ["a", "falke", 1450, 28, 3]])
    (tmp_path / "motors.csv").write_text("name,kv_rpm_per_v,mass_g\nhabicht,1100,40\n")
    monkeypatch.setitem(sys.modules, "python_calamine", None)
    catalogue = load()
    (fault,) = catalogue.faults
    assert "extra 'spreadsheets'" in fault.rule
    assert fault.hint == "install it: pip install 'propmatch[spreadsheets]'"
    assert list(catalogue.motors) == ["parts/habicht"]


def test_a_mapping_beside_a_workbook_holds_for_it(tmp_path, load):
    write(tmp_path / "shop.xlsx", motors=[["Name", "kV", "oz"], ["falke", 1450, 1]])
    (tmp_path / "shop.mapping.toml").write_text(
        '[columns]\nName = "name"\nkV = "kv_rpm_per_v"\noz = "mass_g"\n[units]\noz = "oz"\n'
    )
    (motor,) = load().motors.values()
    assert motor.mass_g == pytest.approx(28.349523125)


def test_five_motors_filled_into_a_template_are_found(tmp_path, load):
    from openpyxl import load_workbook

    from propmatch_plugins.reading.template import write_template

    path = tmp_path / "mine.xlsx"
    write_template(path)
    book = load_workbook(path)
    sheet = book["motors"]
    columns = {cell.value: cell.column for cell in sheet[1]}
    for n in range(5):
        for name, value in {"name": f"own {n}", "kv_rpm_per_v": 1000 + 100 * n, "mass_g": 30 + n}.items():
            sheet.cell(3 + n, columns[name], value)
    book.save(path)
    motors = load().motors
    assert [part.name for part in motors.values()][1:] == [f"own {n}" for n in range(5)]


def test_errors_and_formulas_without_a_value_are_faults_at_their_cells(tmp_path, load):
    rows = [HEADER, ["a", "a", "#N/A", 28, 3], ["b", "b", "=1+1", 28, 3], ["c", "#REF!", 1100, 28, 3]]
    write(tmp_path / "mine.xlsx", motors=rows)
    catalogue = load()
    found = [(fault.where.rpartition(":")[2], fault.key, fault.value) for fault in catalogue.faults]
    assert found == [("2", "kv_rpm_per_v", "#N/A"), ("3", "kv_rpm_per_v", "=1+1"), ("4", "name", "#REF!")]
    assert not catalogue.motors


def test_a_cell_in_the_far_corner_is_named_before_anything_is_read(tmp_path, load):
    book = Workbook()
    book.active.append(HEADER)
    book.active["XFD1048576"] = 1  # the last cell of a sheet: ISO/IEC 29500-1
    book.save(tmp_path / "mine.xlsx")
    (fault,) = load().faults
    assert "reaches to row 1,048,576, column 16,384" in fault.rule


def test_a_row_of_an_ods_repeated_over_the_sheet_is_named(tmp_path, load):
    from odf.opendocument import OpenDocumentSpreadsheet
    from odf.table import Table, TableCell, TableRow
    from odf.text import P

    document = OpenDocumentSpreadsheet()
    table = Table(name="motors")
    for row, times in ((HEADER, 1), (["0042", "falke", "1450", "28.5", "3"], 1_000_000)):
        line = TableRow(numberrowsrepeated=times)
        for value in row:
            cell = TableCell(valuetype="string")
            cell.addElement(P(text=value))
            line.addElement(cell)
        table.addElement(line)
    document.spreadsheet.addElement(table)
    document.save(str(tmp_path / "mine.ods"))
    (fault,) = load().faults
    assert "reaches to row 1,000,001" in fault.rule


def test_a_reader_that_breaks_off_costs_its_file_alone(tmp_path, load, monkeypatch):
    from propmatch.records import workbookchild

    write(tmp_path / "mine.xlsx", motors=[HEADER, ["a", "falke", 1450, 28, 3]])
    (tmp_path / "motors.csv").write_text("name,kv_rpm_per_v,mass_g\nhabicht,1100,40\n")
    dies = tmp_path / ".dies.py"
    dies.write_text("import os; os.abort()")
    monkeypatch.setattr(workbookchild, "__file__", str(dies))
    catalogue = load()
    assert ["broke off" in fault.rule for fault in catalogue.faults] == [True]
    assert list(catalogue.motors) == ["parts/habicht"]
