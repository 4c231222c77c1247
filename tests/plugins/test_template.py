"""Templates: what is written reads back as the example parts, and says what each column means."""

import pytest

from propmatch.catalogue.catalogue import load_catalogue
from propmatch.faults import InputFaults
from propmatch.records.fields import build, declared
from propmatch.records.parts import KINDS
from propmatch_plugins.reading.template import EXAMPLES, columns_with_notes, write_template


def example(kind):
    values = dict(EXAMPLES[kind])
    source = {"text": values.pop("source"), "kind": values.pop("source_kind")}
    part, faults = build(KINDS[kind], {**values, "id": f"parts/{values['id']}", "source": source}, kind)
    assert not faults
    return part


@pytest.mark.parametrize("name", ["mine.xlsx", "mine.toml", "mine"])
def test_reading_a_template_back_gives_the_example_parts(tmp_path, name):
    write_template(tmp_path / name)
    folder = tmp_path if "." in name else tmp_path / name
    catalogue = load_catalogue(plugins=["parts", "spreadsheets"], parts=folder)
    for kind in KINDS:
        assert list(catalogue.listed(kind).values()) == [example(kind)]
    assert not catalogue.broken
    assert [fault.key for fault in catalogue.faults] == ["table"]  # the example propeller has none
    assert not catalogue.warnings


def test_one_kind_alone(tmp_path):
    (path,) = write_template(tmp_path / "motors_mine.csv")
    assert path.read_text().count("\noutrunner") == 0
    catalogue = load_catalogue(plugins=["parts"], parts=tmp_path)
    assert list(catalogue.motors.values()) == [example("motors")]


@pytest.mark.parametrize("kind", KINDS)
def test_every_field_of_a_part_has_a_column_with_unit_and_meaning(kind):
    notes = dict(columns_with_notes(kind))
    for rule in declared(KINDS[kind]):
        if rule.name not in ("source", "table"):
            assert rule.name in notes
            assert rule.unit in notes[rule.name]
            assert ("needed" in notes[rule.name]) == rule.required
    assert {"source", "source_kind", "uncertainty"} <= notes.keys()


def test_the_notes_stand_in_every_form(tmp_path):
    from openpyxl import load_workbook

    write_template(tmp_path / "mine.xlsx")
    write_template(tmp_path / "mine.toml")
    write_template(tmp_path / "motors.csv")
    note = dict(columns_with_notes("motors"))["kv_rpm_per_v"]
    book = load_workbook(tmp_path / "mine.xlsx")
    assert book.sheetnames == [*KINDS, "notes"]
    comments = {cell.value: cell.comment.text for cell in book["motors"][1]}
    assert comments["kv_rpm_per_v"] == note
    assert ("motors", "kv_rpm_per_v", "rpm/V", note) in list(book["notes"].values)
    assert f"# {note}" in (tmp_path / "mine.toml").read_text()
    assert f"# kv_rpm_per_v: {note}" in (tmp_path / "motors.csv").read_text()


def test_a_file_that_exists_is_not_written_over(tmp_path):
    path = tmp_path / "mine.toml"
    path.write_text("mine")
    with pytest.raises(FileExistsError, match="exists already"):
        write_template(path)
    assert path.read_text() == "mine"
    write_template(path, force=True)
    assert path.read_text() != "mine"


@pytest.mark.parametrize("name", ["mine.csv", "mine.json", "mine.pdf"])
def test_other_endings_say_what_there_is(tmp_path, name):
    with pytest.raises(InputFaults, match=r"NAME\.xlsx, NAME\.toml, one of motors\.csv"):
        write_template(tmp_path / name)
