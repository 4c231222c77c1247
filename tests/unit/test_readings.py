import re
import tracemalloc

import pandas as pd
import pytest

from propmatch.bench.readings import COLUMNS, LEAST_SAMPLES, MOST_ROWS, read_log
from propmatch.faults import InputFaults


def log_of(tmp_path, text, name="log.csv"):
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    return read_log(path)


def sentences(log):
    return [str(fault) for fault in log.faults]


def test_units_in_heads_and_cells_and_other_words(tmp_path):
    log = log_of(tmp_path, "Voltage [mV];current;thrust (N);throttle\n12300;5,2;1;60%\n")
    (row,) = log.readings
    assert (row.volts, row.amps, row.throttle) == pytest.approx((12.3, 5.2, 0.6))
    assert row.thrust_gf == pytest.approx(1 / 9.80665e-3)
    assert row.line == 2


def test_the_headings_that_parts_tables_know(tmp_path):
    """German words of the trade; from memory."""
    log = log_of(
        tmp_path,
        "Gewicht (g);Zellen;Gas (%);Spannung V;Strom (A);Drehzahl (1/min);Schub (N);Luftschraube\n"
        "23;3S;60;12,3;5,2;9000;1;6x4\n",
    )
    (row,) = log.readings
    assert (row.mass_g, row.cells, row.throttle) == pytest.approx((23, 3, 0.6))
    assert (row.volts, row.amps, row.rpm) == (12.3, 5.2, 9000)
    assert (row.thrust_gf, row.propeller) == (pytest.approx(1 / 9.80665e-3), "6x4")


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ("12,five,9000", "amps = 'five': must be a number"),
        ("12,-5,9000", "current flows back into the pack; turn the wattmeter round"),
        ("12,5,0", "is no reading: a motor that runs turns; leave the cell empty"),
        ("-1,5,9000", "volts = -1.0: must be a number above 0"),
        ("12,5,inf", "rpm = inf: must be finite"),
    ],
)
def test_a_wrong_number_has_its_sentence_with_line_and_column(tmp_path, row, said):
    log = log_of(tmp_path, f"volts,amps,rpm\n12,5,9000\n{row}\n")
    (sentence,) = sentences(log)
    assert said in sentence
    assert "log.csv:3: " in sentence


def test_a_row_with_a_speed_that_was_not_read_is_kept_and_others_are_set_aside(tmp_path):
    log = log_of(tmp_path, "volts,amps,rpm\n12,5,0\n12,x,9000\n12,5,y\n12,4,8000\n")
    assert [row.line for row in log.readings] == [2, 5]
    assert log.readings[0].rpm is None
    assert len(log.faults) == 3


def test_a_row_at_rest_may_say_rpm_0(tmp_path):
    log = log_of(tmp_path, "throttle,volts,amps,rpm\n0,12.6,0,0\n")
    assert log.faults == ()
    assert log.readings[0].throttle == 0.0


def test_time_that_runs_backwards_is_said(tmp_path):
    log = log_of(tmp_path, "seconds,volts,amps\n0,12,5\n20,12,5\n10,12,5\n")
    assert [row.seconds for row in log.readings] == [0, 20]
    assert "time runs backwards: 10 s after 20 s" in sentences(log)[0]


def test_throttle_as_a_percentage_without_its_sign_says_how_to_write_it(tmp_path):
    with pytest.raises(InputFaults, match=r"write 0\.6, or 60%"):
        log_of(tmp_path, "throttle,volts,amps\n60,12,5\n")


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "is empty"),
        ("volts,amps\n", "holds no row"),
        ("b,c\n1,2\n", "no column says what an instrument read"),
        ("volts,amps\n\n-,n/a\n", "holds no row"),
        ("volts [ohm]\n12\n", "the unit must be V or mV"),
        ("\0\0\0", "is no line of a table"),
        ("x" * 200_000, "is no line of a table"),
    ],
)
def test_what_cannot_be_read(tmp_path, text, said):
    with pytest.raises(InputFaults, match=re.escape(said)):
        log_of(tmp_path, text)


@pytest.mark.parametrize(
    ("name", "text", "places"),
    [
        ("x.json", "[1, {}, 3]", ["[0]", "[2]"]),
        ("x.json", "5", [""]),
        ("x.json", '"abc"', [""]),
        ("x.json", "null", [""]),
        ("x.json", '{"rows": 5}', ["rows"]),
        ("x.json", '{"rows": [1]}', ["rows[0]"]),
        ("x.toml", "rows = 5", ["rows"]),
    ],
)
def test_what_is_no_table_is_a_fault_with_its_key(tmp_path, name, text, places):
    (tmp_path / name).write_text(text)
    with pytest.raises(InputFaults) as caught:
        read_log(tmp_path / name)
    assert [fault.key for fault in caught.value.faults] == places
    assert all("such as {volts = 11.1, amps = 8.2}" in fault.rule for fault in caught.value.faults)


def test_binary_files_and_missing_ones(tmp_path):
    (tmp_path / "x.csv").write_bytes(b"\xff\xfe\x00" * 50)
    with pytest.raises(InputFaults, match="cannot be read as a table"):
        read_log(tmp_path / "x.csv")
    with pytest.raises(OSError):
        read_log(tmp_path / "none.csv")


def test_all_faults_at_once_and_never_more_than_a_screen_or_two(tmp_path):
    log = log_of(tmp_path, "volts,amps\n12,5\n" + "12,x\n" * 400)
    assert 50 <= len(log.faults) <= 60
    assert "350 more faults" in sentences(log)[-1]


def test_unknown_columns_are_passed_over_with_a_hint(tmp_path):
    log = log_of(tmp_path, "volts,amps,thrst\n12,5,300\n")
    assert "did you mean thrust_gf?" in sentences(log)[0]
    assert log.faults[0].kind == "warning"


def test_forms_of_a_log_read_the_same(tmp_path):
    rows = [{"cells": 3, "propeller": "6x4", "volts": 11.5, "amps": 5.0, "rpm": 9000.0},
            {"cells": 3, "propeller": "none", "volts": 12.0, "amps": 0.5, "rpm": 11000.0}]  # fmt: skip
    columns = {"cells": 3, **{key: [row[key] for row in rows] for key in ("propeller", "volts", "amps", "rpm")}}
    frame = pd.DataFrame(rows)
    frame.to_csv(tmp_path / "log.csv", index=False)
    frame.to_excel(tmp_path / "log.xlsx", index=False)
    frame.drop(columns="cells").to_json(tmp_path / "rows.json", orient="records")
    (tmp_path / "log.json").write_text(
        '{"cells": 3, "rows": ' + (tmp_path / "rows.json").read_text(encoding="utf-8") + "}", encoding="utf-8"
    )

    def numbers(log):
        return [[getattr(row, each.name) for each in COLUMNS] for row in read_log(log).readings]

    found = [
        numbers(each) for each in (rows, columns, frame, *(tmp_path / f"log.{s}" for s in ("csv", "xlsx", "json")))
    ]
    assert all(each == found[0] for each in found)
    assert numbers(rows[0]) == found[0][:1]


def test_a_long_log_is_averaged_while_it_is_read(tmp_path):
    """Three settings by turns, each held for 50 rows, with a few rows between them that belong to none."""
    path, rows = tmp_path / "logger.csv", 200
    with path.open("w", encoding="utf-8") as file:
        file.write("seconds,throttle,volts,amps,rpm\n")
        second = 0
        for block in range(rows):
            for at in range(50):
                throttle, amps = [(0.3, 2.0), (0.6, 6.0), (1.0, 12.0)][block % 3]
                ramp = 0.5 if at < 3 else 1.0
                second += 1
                file.write(f"{second},{throttle},{12 - 0.05 * amps:.2f},{amps * ramp + 0.1 * (at % 3):.1f},"
                           f"{4000 + 900 * amps * ramp:.0f}\n")  # fmt: skip
    tracemalloc.start()
    log = read_log(path)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert log.rows == second
    assert len(log.readings) == MOST_ROWS
    assert {round(row.amps, 1) for row in log.readings} == {2.1, 6.1, 12.1}
    assert all(row.samples >= LEAST_SAMPLES for row in log.readings)
    assert [row.line for row in log.readings] == sorted(row.line for row in log.readings)
    assert peak < 2e6
    assert " rows: 60 steady stretches" in sentences(log)[-1]


def test_a_long_log_without_a_steady_stretch_cannot_be_read(tmp_path):
    rows = "".join(f"{12 - 0.03 * at},{0.5 + 7 * (at % 3)}\n" for at in range(100))
    with pytest.raises(InputFaults, match="0 steady stretches"):
        log_of(tmp_path, "volts,amps\n" + rows)


def test_a_log_that_is_mostly_faults_is_given_up(tmp_path):
    with pytest.raises(InputFaults) as raised:
        log_of(tmp_path, "volts,amps,rpm\n" + "x,y,z\n" * 100_000)
    assert "not read" in raised.value.faults[-1].rule
    assert int(raised.value.faults[-1].where.rpartition(":")[2]) < 5000


def test_a_log_in_json_or_toml_is_read_as_strictly(tmp_path):
    for text, name in (
        ('{"rows": [{"volts": 11, "volts": 12}]}', "a.json"),
        ("rows = [{volts = 1" + "0" * 5000, "a.toml"),
    ):
        with pytest.raises(InputFaults):
            log_of(tmp_path, text, name)


# What a person reads in a number: SI Brochure, 5.4.4 (a point or a comma for decimals, blanks for thousands).


@pytest.mark.parametrize(
    ("text", "rpm"),
    [
        ("volts;rpm\n11,1;6.100\n", 6100.0),
        ("volts;rpm\n11,1;6 100\n", 6100.0),
        ("volts,rpm\n11.1,6100.5\n", 6100.5),
        ('volts,rpm\n11.1,"6,100"\n', 6100.0),
        ('volts,rpm\n11.1,"6,100.5"\n', 6100.5),
    ],
)
def test_thousands_are_read_by_the_mark_that_the_log_shows(tmp_path, text, rpm):
    (row,) = log_of(tmp_path, text).readings
    assert (row.volts, row.rpm) == (11.1, rpm)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("volts,rpm\n12,6000\n11,1,6000\n", "log.csv:3: has 3 fields, the first row names 2; a decimal comma?"),
        ("volts,rpm\n12,6000\n11\n", "log.csv:3: has 1 fields, the first row names 2"),
        ('volts,rpm\n12,6000\n11,"6,100"\n', "may be 6.1 or 6100 rpm: nothing settles what ',' marks"),
        ("volts;rpm\n12;6000\n11;6.100\n", "may be 6.1 or 6100 rpm: nothing settles what '.' marks"),
        ("volts,rpm\n12,6000\n11,6_100\n", "rpm = '6_100': must be a number"),
    ],
)
def test_what_may_be_two_numbers_or_none_is_asked_for(tmp_path, text, said):
    log = log_of(tmp_path, text)
    assert [row.line for row in log.readings] == [2]
    (sentence,) = sentences(log)
    assert said in sentence


def test_a_line_break_in_quotes_belongs_to_its_cell(tmp_path):
    log = log_of(tmp_path, 'volts,rpm,motor\n12,6000,"a\nb"\n"11\n5",6100,c\n')
    assert [row.line for row in log.readings] == [2]
    assert log.aside[0].line == 4


def test_true_and_false_are_no_numbers():
    log = read_log([{"volts": 12.0, "amps": True}, {"volts": 12.0, "amps": 1.0}])
    assert [row.line for row in log.readings] == [2]
    assert "amps = true: must be a number" in sentences(log)[0]


def test_a_name_that_turns_the_writing_direction_is_a_fault(tmp_path):
    """Unicode Standard Annex 9, section 2: such a name may look like another."""
    log = log_of(tmp_path, "volts,amps,propeller\n12,5,6x4\n12,5,n\u202eone\n")
    assert [row.line for row in log.readings] == [2]
    assert "propeller = " in sentences(log)[0]
