"""``propmatch parts --add``: what is pasted is shown as it would be read, and kept in a box when asked."""

import tomllib

import pytest

from propmatch.catalogue.catalogue import load_catalogue

TABLE = "Motor\tKV\tWeight\tCells\tMax A\tProp\nfalke\t1450\t28 g\t2-3S\t12\t7x4\nhabicht\t990\t48,5 g\t3S\t19A\t9x5\n"


@pytest.fixture
def add(run, tmp_path):
    """Paste a text into a folder of parts."""

    def go(text, *words):
        return run("parts", "--add", "--parts", str(tmp_path), *words, typed=text)

    return go


@pytest.fixture
def motors(tmp_path):
    return lambda: load_catalogue(plugins=["parts"], parts=tmp_path).motors


@pytest.mark.parametrize("sign", ["\t", ";"])
def test_a_pasted_table_is_shown_and_not_kept(add, tmp_path, sign):
    done = add(TABLE.replace("\t", sign))
    assert done.exit_code == 0
    assert "Read 2 motors. Nothing is saved yet" in done.out
    assert "KV -> kv_rpm_per_v [rpm/V]" in done.out
    assert "KV read as kv_rpm_per_v, label" in done.out
    assert not list(tmp_path.iterdir())


def test_commas_in_quotes(add):
    (row,) = add('Motor,KV,Weight\nfalke,"1,450","28.5 g"\n', "--json").document["rows"]
    assert (row["kv_rpm_per_v"], row["mass_g"], row["kv_kind"]) == (1450, 28.5, "label")


def test_what_is_saved_is_found_in_its_box(add, motors, tmp_path):
    done = add(TABLE, "--save", "--box", "club")
    assert "Saved 2 to" in done.out
    found = motors()
    assert list(found) == ["club/falke", "club/habicht"]
    assert (found["club/falke"].cells_min, found["club/falke"].cells_max, found["club/falke"].notes) == (
        2,
        3,
        "Prop: 7x4",
    )
    assert found["club/habicht"].mass_g == 48.5
    assert found["club/habicht"].source.kind == "label"
    tomllib.loads((tmp_path / "club" / "added.toml").read_text())


def test_nothing_replaces_a_part_without_being_told(add, motors, tmp_path):
    add(TABLE, "--save")
    file = tmp_path / "mine" / "added.toml"
    before = file.read_bytes()
    assert "2 there already with the same numbers" in add(TABLE, "--save").out
    assert file.read_bytes() == before
    other = TABLE.replace("1450", "1500")
    refused = add(other, "--save")
    assert refused.exit_code == 2
    assert "--force replaces it" in refused.err
    assert file.read_bytes() == before
    assert add(other, "--save", "--force").exit_code == 0
    assert {motor.name: motor.kv_rpm_per_v for motor in motors().values()} == {"falke": 1500, "habicht": 990}


def test_lines_that_a_hand_wrote_stay(add, motors, tmp_path):
    add(TABLE, "--save")
    file = tmp_path / "mine" / "added.toml"
    file.write_text("# my drawer\n" + file.read_text() + "\n# the end\n")
    add(TABLE.replace("990", "980"), "--save", "--force")
    text = file.read_text()
    assert text.startswith("# my drawer\n")
    assert motors()["mine/habicht"].kv_rpm_per_v == 980
    assert text.count("[[motors]]") == 2


def test_a_part_of_another_file_is_not_replaced_even_by_force(add, tmp_path):
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "motors.csv").write_text("name,kv_rpm_per_v,mass_g\nfalke,1400,28\n")
    done = add(TABLE, "--save", "--force")
    assert done.exit_code == 2
    assert "another file of the box 'mine'" in done.err
    assert not (tmp_path / "mine" / "added.toml").exists()


def test_good_rows_are_kept_and_the_bad_said_in_place(add, motors):
    done = add(TABLE + "?\tfast\t28 g\t\t\t\n", "--save")
    assert done.exit_code == 0
    assert "pasted:4: kv_rpm_per_v (column 'KV') = 'fast'" in done.out
    assert len(motors()) == 2


def test_parts_one_a_line(add, tmp_path):
    done = add("2111 1190KV 46g\n3S 2200 30C\n30A ESC\n8*4.5\nfalke\n", "--json")
    assert [(row["kind"], row["name"]) for row in done.document["rows"]] == [
        ("motors", "2111 1190KV 46g"), ("packs", "3S 2200 30C"), ("controllers", "30A ESC"), ("propellers", "8*4.5")
    ]  # fmt: skip
    assert "pasted:5" in str(done.document["faults"])
    add("30A ESC 5V/2A\n", "--save")
    (controller,) = load_catalogue(plugins=["parts"], parts=tmp_path).controllers.values()
    assert (controller.id, controller.max_current_a) == ("mine/30A ESC 5V/2A", 30)
    assert "BEC taken as linear" in controller.notes


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "holds no table"),
        ("hello\nworld\n", "cannot tell what the rows are"),
        ("Name;KV\nfalke;1450\n", "missing column"),
        ("\0\1", "is not a text table"),
    ],
)
def test_what_is_no_table_ends_with_2(add, text, said):
    done = add(text)
    assert done.exit_code == 2
    assert said in done.err


def test_options_that_need_add(run):
    assert "--save goes with --add" in run("parts", "--save").err
    assert "--box goes with --add" in run("parts", "--box", "mine").err


def test_a_box_cannot_bear_a_plugin_s_name(add):
    assert "name of a plugin" in add(TABLE, "--box", "bundled").err


def rows_of(done):
    return done.document["rows"]


@pytest.mark.parametrize(
    ("line", "kind", "numbers"),  # what such a label means: common practice, no published source
    [
        ("40A ESC with 3A BEC 2-4S", "controllers", {"max_current_a": 40, "servo_supply": "linear", "cells_max": 4}),
        ("ESC 20A BEC 5V 2A 2-3S 20g", "controllers", {"max_current_a": 20, "servo_supply_v": 5, "mass_g": 20}),
        ("30/40A ESC 25g", "controllers", {"max_current_a": 30, "burst_current_a": 40}),
        ("850mAh 3S1P 45C 72g XT30", "packs", {"cells_series": 3, "cells_parallel": 1, "c_rating": 45, "mass_g": 72}),
        ("3S 2200mAh 25C continuous / 50C burst", "packs", {"c_rating": 25, "burst_c_rating": 50}),
        ("6x3E folding", "propellers", {"diameter_in": 6, "pitch_in": 3, "family": "folding"}),
        ("6x3 3-blade", "propellers", {"blades": 3}),
        ("254x127 mm", "propellers", {"diameter_in": pytest.approx(10), "pitch_in": pytest.approx(5)}),  # inch: 25.4 mm
    ],
)
@pytest.mark.parametrize("named", [False, True])
def test_a_pasted_line_of_a_label_is_read_with_and_without_its_kind(add, line, kind, numbers, named):
    (row,) = rows_of(add(f"{line}\n", "--json", *([kind] if named else [])))
    assert (row["kind"], {key: row[key] for key in numbers}) == (kind, numbers)


@pytest.mark.parametrize(
    ("line", "words", "said"),
    [
        ("850mAh 3S1P 45C 72g strange", ["packs"], "'strange': not understood"),
        ("850mAh 3S1P 45C 72g strange", [], "as one of the packs: 'strange': not understood"),
        ("1,100KV 28g", ["motors"], "may be 1.1 or 1100 rpm/V"),
    ],
)
def test_a_pasted_line_that_is_refused_says_which_word_is_not_understood(add, line, words, said):
    done = add(f"{line}\n", *words)
    assert done.exit_code == 2
    assert said in done.err


def test_a_pasted_table_of_no_kind_is_told_what_to_type(add):
    said = add("Thing,Colour\nfalke,red\n").err
    assert "propmatch parts motors --add" in said
    assert "file name" not in said


@pytest.mark.parametrize("text", ["11.1V 2200mAh\n", "Battery,Weight\n11.1V 2200mAh,183\n"])
def test_a_guessed_number_is_told_from_one_of_the_label(add, run, tmp_path, text):
    shown = add(text, "--save").out
    assert "~25" in shown
    assert "~ is an estimate" in shown
    (pack,) = load_catalogue(plugins=["parts"], parts=tmp_path).packs.values()
    assert pack.c_rating_estimated
    assert "continuous rating 25 C" in pack.notes
    assert pack.mass_estimated == ("Battery" not in text)
    shown = run("parts", "packs", "--show", "mine/11.1V 2200mAh", "--parts", str(tmp_path)).out
    line = [line for line in shown.splitlines() if line.strip().startswith("c_rating ")][-1]
    assert "estimated, see notes" in line


def test_rows_of_other_parts_below_a_column_of_motors_are_told_by_their_names(add):
    """A drawer in one list: what fills the motors' column is a motor, the rest what its name says, else a motor."""
    text = "Part\tKV\tWeight\nfalke\t1450\t28\n3S 2200 30C\t\t180\n7x4\t\t\nhabicht\t\t48\n"
    done = add(text)
    assert "Read 1 motor, 1 pack, 1 propeller; 1 fault" in done.out
    assert "pasted:5: kv_rpm_per_v: missing" in " ".join(done.out.split())


def test_a_typed_propeller_with_its_make_and_reading_is_kept_and_teaches_the_make(add, run, tmp_path):
    done = add("Reed 7x4 thin 9000rpm 420gf\nReed 8x4 thin 3-blade\n", "propellers", "--save", "--box", "club")
    assert "Saved 2 to" in done.out
    shown = [
        run("parts", "--show", f"club/{name}", "--parts", str(tmp_path), "--json").document["rows"][0]
        for name in ("Reed 7x4 thin 9000rpm 420gf", "Reed 8x4 thin 3-blade")
    ]
    assert (shown[0]["read_rpm"], shown[0]["read_thrust_gf"], shown[0]["max_rpm"]) == (9000, pytest.approx(420), None)
    assert (shown[1]["blades"], shown[1]["family"]) == (3, "thin")
    assert "same line" in shown[1]["source"]["text"] or "same make" in shown[1]["source"]["text"]


def test_a_title_above_the_headings_keeps_the_line_numbers(add):
    done = add("My motors, box under the bench;;\n;;\n" + TABLE.replace("\t", ";") + "milan;x;30;;;\n", "--json")
    assert [row["name"] for row in done.document["rows"]] == ["falke", "habicht"]
    assert "pasted:6" in done.out


def test_a_title_above_something_else_is_asked_for(run, tmp_path):
    (tmp_path / "box.csv").write_text("name,\nfalke,1450\n")
    done = run("parts", "--dry-run", str(tmp_path / "box.csv"))
    assert "line 1 has one filled cell; are the headings further down?" in " ".join(done.out.split())
    assert "column 2: not used" in done.out


def test_a_workbook_is_told_where_it_belongs(add, run, tmp_path):
    """A zip begins with the signature 50 4B 03 04: PKWARE APPNOTE, 4.3.7."""
    book = tmp_path / "box.xlsx"
    book.write_bytes(b"PK\3\4")
    said = " ".join(run("parts", "--add", "--parts", str(tmp_path), str(book)).err.split())
    assert f"--dry-run {book}, and copy it into {tmp_path / 'mine'}" in said
    piped = add("PK\3\4")
    assert piped.exit_code == 2
    assert "is a workbook; copy its file into" in piped.err
