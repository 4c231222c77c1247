"""Faulty and odd files in a folder of parts: every fault is named where it stands, none is lost and none invented."""

import gc
import random
import warnings

import pytest

from propmatch.catalogue import plugins
from propmatch.catalogue.catalogue import load_catalogue
from propmatch.faults import InputFaults

MOTORS = "name,kv_rpm_per_v,mass_g,resistance_ohm\n"
ROW = "falke 2109,1450,28,0.145\n"
PACKS = "name,cells_series,capacity_mah,c_rating,mass_g,cell_resistance_mohm\n"


@pytest.fixture
def read(tmp_path):
    """Write files, load them as a parts folder."""

    def go(strict=False, **files):
        for name, content in files.items():
            raw = content if isinstance(content, bytes) else content.encode()
            (tmp_path / name.replace("__", ".")).write_bytes(raw)
        return load_catalogue(plugins=["parts", "spreadsheets"], parts=tmp_path, strict=strict)

    return go


def shown(catalogue):
    return [(fault.where.rpartition("/")[2], fault.key, fault.value) for fault in catalogue.faults]


def one_motor(catalogue):
    (motor,) = catalogue.motors.values()
    return motor


# ---------------------------------------------------------------- planted faults

COLUMNS = "id,name,kv_rpm_per_v,mass_g,kv_kind,resistance_ohm,max_current_a,burst_current_a,cells_min,cells_max"


def sound(n):
    return [f"{n:05}", f"outrunner {n}", str(800 + n % 900), "28.5", "label", "0.145", "12", "15", "2", "3"]


def plant(kind, cells, n):
    """Spoil one row in a known way and say which column the fault is to name."""
    spoiled = {
        "unit word": (2, "900 rpm", "kv_rpm_per_v"),
        "negative": (3, "-28", "mass_g"),
        "beyond the range": (2, "145000", "kv_rpm_per_v"),
        "not finite": (5, "inf", "resistance_ohm"),
        "some words": (6, "plenty", "max_current_a"),
        "two commas": (3, '"28,5,1"', "mass_g"),
        "missing": (2, "", "kv_rpm_per_v"),
        "unknown word": (4, "labl", "kv_kind"),
        "half a cell": (8, "2.5", "cells_min"),
        "burst below continuous": (7, "11", "burst_current_a"),
        "duplicate id": (0, f"{n - 1:05}", "id"),
    }
    if kind == "a field too many":
        return [*cells, "7"], ""
    at, text, column = spoiled[kind]
    return [*cells[:at], text, *cells[at + 1 :]], column


KINDS = (
    "unit word", "negative", "beyond the range", "not finite", "some words", "two commas", "missing",
    "unknown word", "half a cell", "burst below continuous", "duplicate id", "a field too many",
)  # fmt: skip


def test_two_hundred_faults_of_twelve_kinds_in_ten_thousand_rows_are_found_and_none_invented(read, monkeypatch):
    monkeypatch.setattr(plugins, "SLOW_S", 86400.0)  # a loaded machine is no fault of the file
    draw = random.Random(20)
    places = {at: KINDS[n % len(KINDS)] for n, at in enumerate(sorted(draw.sample(range(2, 10_000, 2), 200)))}
    lines, planted = [COLUMNS], set()
    for n in range(10_000):
        cells = sound(n)
        if n in places:
            cells, column = plant(places[n], cells, n)
            planted.add((f"motors.csv:{n + 2}", column))
        lines.append(",".join(cells))
    catalogue = read(motors__csv="\n".join(lines))
    assert {(where, key) for where, key, _ in shown(catalogue)} == planted
    assert len(catalogue.faults) == 200
    assert catalogue.set_aside("motors") == 200
    assert len(catalogue.motors) == 9_800


def test_a_row_names_all_its_faults_and_is_set_aside_once(read):
    catalogue = read(motors__csv=MOTORS + "falke,900 rpm,-1,0.1\n" + ROW)
    assert shown(catalogue) == [("motors.csv:2", "kv_rpm_per_v", "900 rpm"), ("motors.csv:2", "mass_g", -1.0)]
    assert catalogue.set_aside("motors") == 1
    assert one_motor(catalogue).name == "falke 2109"


def test_a_point_before_three_digits_is_asked_for_only_where_both_readings_are_in_range(read):
    rows = "falke,1450,28.125\nhabicht,1100,1.125\n"
    catalogue = read(drawer__csv="Name,KV,Weight (g)\n" + rows)
    (fault,) = [each for each in catalogue.faults if each.kind == "fault"]
    assert "1.125 or 1125 g" in fault.rule
    assert one_motor(catalogue).mass_g == 28.125


# ---------------------------------------------------------------- files as programs save them


@pytest.mark.parametrize(
    "raw",
    [
        (MOTORS + ROW).encode("utf-8-sig"),
        (MOTORS + ROW).encode("utf-16"),
        (MOTORS + ROW).replace("\n", "\r\n").encode(),
        (MOTORS + ROW + "\n  \n,,,\n").encode(),
        (MOTORS + ROW).replace(",", "\t").encode(),
        (MOTORS + ROW).replace(",", ";").replace(".", ",").encode(),
        ("# my motors\n\n" + MOTORS + "# the good one\n" + ROW).encode(),
        (MOTORS.upper() + ROW).encode(),
        (MOTORS + '"falke 2109", 1450 ,"28",0.145').encode(),
    ],
    ids=["bom", "utf-16", "crlf", "blank last lines", "tabs", "semicolons", "notes", "capitals", "quotes"],
)
def test_the_same_motor_whatever_saved_the_file(read, raw):
    catalogue = read(motors__csv=raw)
    assert not catalogue.faults
    motor = one_motor(catalogue)
    assert (motor.name, motor.kv_rpm_per_v, motor.mass_g, motor.resistance_ohm) == ("falke 2109", 1450, 28, 0.145)


def test_latin_1_is_read_and_said(read):
    catalogue = read(motors__csv=(MOTORS + ROW.replace("falke", "Krähe")).encode("latin-1"))
    assert one_motor(catalogue).name == "Krähe 2109"
    (warning,) = catalogue.faults
    assert (warning.kind, warning.value) == ("warning", "Krähe")
    assert "Latin-1" in warning.rule
    assert catalogue.set_aside("motors") == 0


def test_ids_that_look_like_numbers_or_nothing_stay_text(read):
    catalogue = read(motors__csv="id," + MOTORS + "0042,NA,1450,28,\nNone,1e3,1450,28,\n")
    assert {part.id: part.name for part in catalogue.motors.values()} == {"parts/0042": "NA", "parts/None": "1e3"}


def test_an_empty_cell_is_a_value_not_known(read):
    motor = one_motor(read(motors__csv=MOTORS + "falke,1450,28,\n"))
    assert motor.resistance_ohm is None


def test_a_misspelt_column_of_ours_is_a_fault_and_its_numbers_are_kept_as_notes(read):
    catalogue = read(motors__csv="kv_rpm_per_v,mass_g,name,resistence_ohm\n1450,28,falke,0.1\n")
    fault, note = catalogue.faults
    assert (fault.kind, fault.key) == ("fault", "resistence_ohm")
    assert fault.hint == "did you mean resistance_ohm [ohm]?"
    assert one_motor(catalogue).notes == "resistence_ohm: 0.1"
    assert note.rule == "kept as notes: resistence_ohm"
    assert catalogue.set_aside("motors") == 0


def test_a_column_of_no_meaning_is_said_and_kept_as_notes(read):
    catalogue = read(motors__csv="name,kv_rpm_per_v,mass_g,shaft\nfalke,1450,28,3 mm\n")
    assert [(fault.kind, fault.rule) for fault in catalogue.faults] == [("note", "kept as notes: shaft")]
    assert one_motor(catalogue).notes == "shaft: 3 mm"


@pytest.mark.parametrize(
    ("row", "key", "hint"),
    [
        ("falke,900 rpm,28,0.1", "kv_rpm_per_v", "write 900 without the unit: the column is in rpm/V"),
        ("falke,1450,1 oz,0.1", "mass_g", "write 28.35: the column is in g"),
        ("falke,1450,28,145", "resistance_ohm", "in mohm? then it is 0.145 ohm"),
        ("falke,1450,28,0.1 mm", "resistance_ohm", "write 0.1 without the unit: the column is in ohm"),
        ('falke,"1,45,0",28,0.1', "kv_rpm_per_v", ""),
        ("falke,1_450,28,0.1", "kv_rpm_per_v", ""),
        ("falke,nan,28,0.1", "kv_rpm_per_v", ""),
        ("falke,1450,28,0.1,7", "", "a decimal comma? write a point"),
        ("falke,1450", "", "write an empty field"),
    ],
)
def test_what_would_be_right_stands_beside_each_fault(read, row, key, hint):
    catalogue = read(motors__csv=MOTORS + row + "\n" + ROW)
    (fault,) = catalogue.faults
    assert (fault.where.rpartition("/")[2], fault.key) == ("motors.csv:2", key)
    assert hint in fault.hint
    assert len(catalogue.motors) == 1


def test_millimetres_as_inches(read):
    catalogue = read(propellers__csv="name,diameter_in,pitch_in\nmill,203,5\n")
    assert [fault.hint for fault in catalogue.faults] == ["in mm? then it is 7.992 in"]


@pytest.mark.parametrize(
    ("text", "kv"),
    [
        (MOTORS.replace(",", ";") + "falke;1.450;28,5;0,145\n", 1450),
        (MOTORS + 'falke,"1,450",28.5,0.145\n', 1450),
        (MOTORS.replace(",", ";") + "falke;1 450;28;0\n", 1450),
        (MOTORS.replace(",", ";") + "falke;1'450,5;28,5;0\n", 1450.5),
        (MOTORS.replace(",", ";") + "falke;1.450,5;28.5;0\n", 1450.5),
    ],
)
def test_what_a_comma_or_point_marks_is_settled_by_the_numbers_of_the_file(read, text, kv):
    catalogue = read(motors__csv=text)
    assert not catalogue.faults
    assert one_motor(catalogue).kv_rpm_per_v == kv


@pytest.mark.parametrize("second", ['"28,5"', "28.5"])
def test_a_comma_before_three_digits_is_asked_for_where_the_file_shows_both_marks_or_none(read, second):
    other = "28.5" if second != "28.5" else "28"
    text = f'Name,KV,Weight (g)\nfalke,"1,450",28\nhabicht,1100,{other}\nsperber,990,{second}\n'
    catalogue = read(motors__csv=text.replace("28.5", "28") if second == "28.5" else text)
    (fault,) = [each for each in catalogue.faults if each.kind == "fault"]
    assert (fault.where.rpartition("/")[2], fault.value) == ("motors.csv:2", "1,450")
    assert "1.45 or 1450" in fault.rule
    assert [motor.name for motor in catalogue.motors.values()] == ["habicht", "sperber"]


def test_ohms_where_milliohms_are_declared_are_doubted_but_read(read):
    catalogue = read(packs__csv=PACKS + "2S 850,2,850,30,52,0.012\n")
    assert not catalogue.faults
    (warning,) = catalogue.warnings
    assert warning.key == "cell_resistance_mohm"
    assert "ohms? then it is 12 mohm" in warning.hint


def test_a_second_part_of_the_same_id_names_both_rows(read):
    catalogue = read(motors__csv=MOTORS + ROW + ROW)
    (fault,) = catalogue.faults
    assert fault.where.endswith("motors.csv:3")
    assert "motors.csv:2" in fault.rule
    assert catalogue.set_aside("motors") == 1


def test_a_quotation_mark_left_open_says_where_reading_stopped(read):
    catalogue = read(motors__csv=MOTORS + ROW + '"falke,1450,28,0.1\nhabicht,1450,28,0.1\n')
    (fault,) = catalogue.faults
    assert fault.where.endswith("motors.csv:3")
    assert "not closed" in fault.rule
    assert len(catalogue.motors) == 1


@pytest.mark.parametrize(
    ("name", "raw", "rule"),
    [
        ("motors__csv", b"PK\0\1", "is not a text table"),
        ("motors__csv", b"", "holds no table"),
        ("motors__xlsx", b"hello", "is no workbook"),
        ("mine__json", b'{"motors": [', "not valid JSON"),
        ("mine__json", b'{"motors": [{"name": "a", "mass_g": NaN}]}', "NaN is no number"),
        ("mine__toml", b"[[motors]\n", "not valid TOML"),
        ("shop__csv", b"Thing,Colour\nfalke,red\n", "cannot tell what the rows are"),
    ],
)
def test_a_file_that_cannot_be_read_is_one_fault_and_the_others_go_on(read, name, raw, rule):
    catalogue = read(**{name: raw, "motors_good__csv": MOTORS + ROW})
    (fault,) = catalogue.faults
    assert rule in fault.rule
    assert len(catalogue.motors) == 1


def test_strict_raises_the_faults_but_not_the_warnings(read):
    with pytest.raises(InputFaults) as raised:
        read(strict=True, motors__csv=MOTORS + "falke,1450,-1,0.1\n")
    assert [fault.key for fault in raised.value.faults] == ["mass_g"]
    latin = MOTORS + ROW.replace("falke", "Krähe")
    assert read(strict=True, motors__csv=latin.encode("latin-1")).motors


# ---------------------------------------------------------------- numbers that are easily misread


def test_a_line_break_inside_a_number_is_a_fault_and_moves_no_row(read):
    rows = 'name;kv_rpm_per_v;mass_g\na;"1450,5\n1300,5";28,5\nb;1200,5;29,5\n'
    catalogue = read(motors__csv=rows)
    assert shown(catalogue) == [("motors.csv:2", "kv_rpm_per_v", "1450,5\n1300,5")]
    assert one_motor(catalogue).kv_rpm_per_v == 1200.5


def test_commas_in_numbers_of_a_comma_separated_table_settle_nothing(read):
    catalogue = read(motors__csv='name,kv_rpm_per_v,mass_g,max_power_w\na,1400,"28,5","1,100"\nb,1400,"28,5",150\n')
    (fault,) = catalogue.faults
    assert (fault.key, fault.value, fault.hint) == ("max_power_w", "1,100", "write 1.1 or 1100")
    assert one_motor(catalogue).mass_g == 28.5


@pytest.mark.parametrize("cell", ["#N/A", "#DIV/0!", "#name?", "=A1*2"])
def test_errors_and_formulas_are_no_values(read, cell):
    catalogue = read(motors__csv=f"name,kv_rpm_per_v,mass_g\nfalke,1400,{cell}\n{cell},1400,28\n")
    assert [each for each in shown(catalogue) if each[1]] == [
        ("motors.csv:2", "mass_g", cell), ("motors.csv:3", "name", cell),
    ]  # fmt: skip
    assert not catalogue.motors


def test_a_key_twice_in_json_is_named_and_nothing_of_it_is_read(read):
    catalogue = read(motors__json='{"motors": [{"name": "a", "kv_rpm_per_v": 900,\n "mass_g": 2, "mass_g": 30}]}')
    assert shown(catalogue) == [("motors.json:2:15", "mass_g", None)]
    assert not catalogue.motors


def test_numbers_of_thousands_of_digits_are_faults(read):
    digits = "9" * 5000  # more than Python turns into an integer: 4300, sys.int_info
    catalogue = read(
        motors__json=f'{{"motors": [{{"name": "a", "kv_rpm_per_v": {digits}, "mass_g": 30}}]}}',
        parts__toml=f'[[motors]]\nname = "b"\nkv_rpm_per_v = {digits}\nmass_g = 30\n',
        motors__csv=f"name,kv_rpm_per_v,mass_g\nc,{digits},30\n",
    )
    assert sorted(place for place, _, _ in shown(catalogue)) == [
        "motors.csv:2",
        "motors.json:motors[1]",
        "parts.toml:3",
    ]
    assert all(len(str(fault)) < 300 for fault in catalogue.faults)


# ---------------------------------------------------------------- names


def test_names_that_begin_with_a_number_sign_are_read_and_notes_are_not(read):
    rows = '#1 racer,1100,20\n"# 2",1200,20\n# old,1300,20\n#\n# end\n'
    catalogue = read(motors__csv=f"# begin\nname,kv_rpm_per_v,mass_g\n{rows}")
    assert [motor.name for motor in catalogue.motors.values()] == ["#1 racer", "# 2"]
    (note,) = catalogue.faults
    assert (note.kind, note.value) == ("note", "#1 racer")


@pytest.mark.parametrize("sign", ["\u202e", "\u2066", "\u200f"])  # Unicode Standard Annex 9
def test_controls_of_the_writing_direction_are_refused_everywhere(read, sign):
    catalogue = read(
        motors__csv=f"name,kv_rpm_per_v,mass_g,source,shelf\na{sign}b,1100,20,s,\nc,1100,20,{sign},\nd,1100,20,s,{sign}\n",
        parts__toml=f'[[motors]]\nname = "e{sign}"\nkv_rpm_per_v = 1100\nmass_g = 30\n',
    )
    found = [(place, key) for place, key, _ in shown(catalogue) if key not in ("", "id")]
    assert found == [
        ("motors.csv:2", "name"),
        ("motors.csv:3", "source"),
        ("motors.csv:4", "shelf"),
        ("parts.toml:1", "name"),
    ]


# ---------------------------------------------------------------- sizes


def test_a_table_that_is_mostly_faults_is_given_up(read):
    from propmatch_plugins.reading.grid import BLOCK_ROWS

    rows = 3 * BLOCK_ROWS
    catalogue = read(motors__csv="name,kv_rpm_per_v,mass_g\n" + "a,nonsense,20\n" * rows + "b,1100,20\n")
    assert BLOCK_ROWS <= len(catalogue.faults) < rows
    assert "not read" in catalogue.faults[-1].rule


def test_a_file_that_is_not_read_to_its_end_is_closed(read, tmp_path):
    from propmatch_plugins.reading.grid import BLOCK_ROWS
    from propmatch_plugins.reading.preview import dry_run

    gc.collect()
    with warnings.catch_warnings(record=True) as told:
        warnings.simplefilter("always", ResourceWarning)
        bad = "name,kv_rpm_per_v,mass_g\n" + "a,nonsense,20\n" * 3 * BLOCK_ROWS + "b,1100,20\n"
        assert len(read(motors__csv=bad).faults) < 3 * BLOCK_ROWS
        path = tmp_path / "packs.csv"
        path.write_text(PACKS + "a,3,1000,30,90,8\n" * 3 * BLOCK_ROWS)
        assert [len(each.rows) for each in dry_run(path, rows=2)] == [2]
        gc.collect()
    assert not [each for each in told if issubclass(each.category, ResourceWarning)]


def test_a_table_is_read_in_pieces(tmp_path):
    import tracemalloc

    from propmatch_plugins.reading.delimited import read_delimited

    path = tmp_path / "motors.csv"
    with path.open("w") as file:
        file.write("name,kv_rpm_per_v,mass_g,notes\n")
        file.writelines([f"a,1100,20,{'x' * 500}\n"] * 20_000)
    tracemalloc.start()
    rows = sum(1 for _ in read_delimited(path).rows)
    _, most = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert rows == 20_000
    assert most < path.stat().st_size


def test_no_more_rows_than_the_most_are_read(monkeypatch, tmp_path):
    from propmatch_plugins.reading import delimited, grid

    monkeypatch.setattr(grid, "MOST_ROWS", 10)
    found = delimited.grid_of(b"name,mass_g\n" + b"a,20\n" * 11, "motors.csv", tmp_path)
    assert sum(map(len, grid.blocks(found))) == 10
    assert found.faults[-1].where == "motors.csv:12"


def test_a_file_of_keys_has_a_most_size(read, monkeypatch):
    from propmatch.records import tomltext

    monkeypatch.setattr(tomltext, "MOST_BYTES", 1 << 20)
    catalogue = read(motors__json=" " * (1 << 20) + "[]", parts__toml="\n" * ((1 << 20) + 1), motors__csv=MOTORS + ROW)
    assert [place for place, _, _ in shown(catalogue)] == ["motors.json", "parts.toml"]
    assert all("larger than 1 MB" in fault.rule for fault in catalogue.faults)
    assert one_motor(catalogue).name == "falke 2109"
