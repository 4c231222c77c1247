"""``propmatch parts``: lists, filters, origin of numbers, faults, predictions."""

import csv
import io
import math
import re

import pytest
from support.bundled import PROPELLER, bundled_catalogue, nearest

from propmatch.catalogue.catalogue import load_catalogue


@pytest.fixture(scope="module")
def catalogue():
    return load_catalogue(plugins=["bundled"])


@pytest.fixture
def folder(tmp_path):
    """A folder of the user's with one good and two bad motors."""
    (tmp_path / "motors.csv").write_text(
        "name,kv_rpm_per_v,mass_g\nmine,1500,28\nbad mass,1500,-28\nbad kv,fast,28\n", encoding="utf-8"
    )
    return str(tmp_path)


def test_the_overview_counts_every_kind(run, catalogue):
    rows = run("parts", "--json").document["rows"]
    assert {row["kind"]: row["count"] for row in rows} == {
        kind: len(catalogue.listed(kind)) for kind in ("motors", "controllers", "packs", "propellers")
    }


@pytest.mark.parametrize("kind", ["motors", "controllers", "packs", "propellers"])
def test_a_list_has_every_part_in_json_and_csv(run, catalogue, kind):
    assert [row["id"] for row in run("parts", kind, "--json").document["rows"]] == list(catalogue.listed(kind))
    rows = list(csv.DictReader(io.StringIO(run("parts", kind, "--csv").out)))
    assert [row["id"] for row in rows] == list(catalogue.listed(kind))


@pytest.mark.parametrize("kind", ["motors", "controllers", "packs", "propellers"])
def test_a_list_fits_the_page(run, kind):
    out = run("parts", kind, "--top", "0").out
    assert max(map(len, out.splitlines())) <= 100


def test_a_long_list_is_cut_and_says_so(run, catalogue):
    out = run("parts", "motors", "--top", "3").out
    assert f"{len(catalogue.motors)} motors, the first 3 here" in out
    assert out.count("bundled/") == 3


def test_conditions_filter(run, catalogue):
    words = ("--where", "kv>=1500", "--where", "mass<30g", "--json")
    found = {row["id"] for row in run("parts", "motors", *words).document["rows"]}
    assert found == {name for name, part in catalogue.motors.items() if part.kv_rpm_per_v >= 1500 and part.mass_g < 30}
    assert found
    thin = run("parts", "propellers", "--where", "family=th*", "--where", "blades!=2", "--json").document["rows"]
    assert thin
    assert all(row["family"].startswith("th") and row["blades"] != 2 for row in thin)


def test_patterns_filter(run, catalogue):
    rows = run("parts", "packs", "2s*", "--json").document["rows"]
    assert [row["id"] for row in rows] == [name for name in catalogue.packs if name.startswith("bundled/2s")]


@pytest.mark.parametrize(
    ("condition", "said"),
    [
        ("mass<3V", "the unit must be g"),
        ("mas=x", "must be a number"),
        ("colour=red", "unknown key"),
        ("max_<3", "could be max_current_a or max_power_w"),
        ("light", 'such as "mass<25g"'),
        ("name<3", "compare with ="),
    ],
)
def test_a_condition_that_makes_no_sense(run, condition, said):
    done = run("parts", "motors", "--where", condition)
    assert done.exit_code == 2
    assert said in done.err


def test_one_part_shows_where_each_number_comes_from(run, catalogue):
    name = next(name for name, part in catalogue.motors.items() if part.max_current_a is None)
    done = run("parts", "--show", name)
    assert done.exit_code == 0
    text = " ".join(done.out.split())
    assert catalogue.motors[name].source.text in text
    assert "estimated, see below" in text
    assert "continuous input power" in text
    document = run("parts", "--show", name, "--json").document
    assert document["rows"][0]["source"]["kind"] == "assumed"
    assert "max_power_w" in {each["field"] for each in document["assumptions"]}


def test_a_propeller_shows_and_exports_its_table(run, catalogue):
    assert "CT standing" in run("parts", "--show", PROPELLER).out
    rows = list(csv.DictReader(io.StringIO(run("parts", "--show", PROPELLER, "--csv").out)))
    table = catalogue.propellers[PROPELLER].table
    assert len(rows) == table.ct.size
    assert float(rows[0]["ct"]) == table.ct[0, 0]
    assert float(rows[-1]["cp"]) == table.cp[-1, -1]


def test_an_id_nobody_has(run):
    done = run("parts", "--show", f"{PROPELLER}n")
    assert done.exit_code == 2
    assert "did you mean" in done.err
    assert PROPELLER in done.err


def test_faults_of_a_folder_are_listed_and_the_rest_goes_on(run, folder):
    done = run("parts", "--faults", "--parts", folder)
    assert done.exit_code == 0
    assert "2 rows set aside" in done.out
    for words in ("motors.csv:3", "mass_g", "-28", "motors.csv:4", "kv_rpm_per_v", "fast"):
        assert words in done.out
    assert "mine" in run("parts", "motors", "mine", "--parts", folder).out


def test_strict_makes_faults_fatal(run, folder):
    done = run("parts", "--parts", folder, "--strict")
    assert done.exit_code == 2
    assert "motors.csv:3" in done.err
    assert "motors.csv:4" in done.err


def test_a_folder_that_does_not_exist(run):
    done = run("parts", "--parts", "/no/such/folder")
    assert done.exit_code == 2
    assert "/no/such/folder" in done.err


def test_a_prediction_states_its_origin_and_exports(run):
    done = run("parts", "propellers", "--predict", "7x4", "--blades", "2", "--family", "thin")
    assert done.exit_code == 0
    assert "7 x 4 in, 2 blades, thin" in done.out
    said = " ".join(done.out.split())
    for words in ("widest before the middle", "8 cases out of 10", "zero-thrust speed: -", "callipers", "wattmeter"):
        assert words in said
    rows = list(csv.DictReader(io.StringIO(run("parts", "--predict", "7x4", "--family", "thin", "--csv").out)))
    assert set(rows[0]) == {"rpm", "advance_ratio", "ct", "cp"}
    assert all(float(row["cp"]) > 0 for row in rows if float(row["advance_ratio"]) == 0)


def test_a_prediction_says_what_lies_outside_the_measured_and_what_nobody_stated(run):
    done = run("parts", "propellers", "--predict", "14x20x5")
    said = " ".join(done.out.split())
    for words in ("outside the well measured 4 to 11 in", "outside the measured 0.32 to 1.11", "5 blades",
                  "blade family not given"):  # fmt: skip
        assert words in said
    document = run("parts", "propellers", "--predict", "14x20x5", "--json").document
    assert any("blade family not given" in note for note in document["notes"])


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--predict", "178x102"), "in mm? then it is 7.008 in"),
        (("--predict", "7"), "--predict"),
        (("--predict", "7x4", "--family", "fat"), "one of thin, thick"),
        (("--predict", "7x4", "--blades", "0"), "blades"),
        (("--blades", "3"), "goes with --predict"),
        (("--map", "x.toml"), "goes with --dry-run"),
        (("--predict", "7x4", "--faults"), "exclude each other"),
    ],
)
def test_modes_that_make_no_sense(run, words, said):
    done = run("parts", *words)
    assert done.exit_code == 2
    assert said in done.err


@pytest.mark.parametrize("name", ["motors.csv", "everything.toml", "folder", "parts.xlsx"])
def test_a_template_reads_back_as_its_example(run, tmp_path, name):
    folder = tmp_path / "mine"
    done = run("parts", "--template", str(folder / name if name != "folder" else folder))
    assert done.exit_code == 0
    assert "Wrote" in done.out
    rows = run("parts", "motors", "--parts", str(folder), "--where", "id=parts/*", "--json").document["rows"]
    assert [row["id"] for row in rows] == ["parts/0042"]
    assert run("parts", "--faults", "--parts", str(folder)).out.startswith("0 faults")


def test_a_template_never_overwrites(run, tmp_path):
    path = tmp_path / "motors.csv"
    path.write_text("mine", encoding="utf-8")
    done = run("parts", "--template", str(path))
    assert done.exit_code == 2
    assert "exists already" in done.err
    assert path.read_text(encoding="utf-8") == "mine"


def test_a_dry_run_shows_columns_and_rows_by_a_mapping(run, tmp_path):
    table, mapping = tmp_path / "shop.csv", tmp_path / "map.toml"
    table.write_text("Modell,KV,Gewicht\nfirst,1500,1\nsecond,fast,1\n", encoding="utf-8")
    mapping.write_text(
        'kind = "motors"\n[columns]\nModell = "name"\nKV = "kv_rpm_per_v"\nGewicht = "mass_g"\n'
        '[units]\nGewicht = "oz"\n',
        encoding="utf-8",
    )
    done = run("parts", "--dry-run", str(table), "--map", str(mapping))
    assert done.exit_code == 0
    for words in ("Modell -> name", "Gewicht -> mass_g", "shop.csv:3", "fast"):
        assert words in done.out
    (row,) = run("parts", "--dry-run", str(table), "--map", str(mapping), "--json").document["rows"]
    # avoirdupois ounce: international yard and pound agreement, 1959
    assert row["mass_g"] == pytest.approx(28.349523125)


def test_notes_on_how_tables_were_read_are_counted(run, folder, tmp_path):
    (tmp_path / "drawer.csv").write_text("Name,KV,Weight\nfalke,1500,28 g\n", encoding="utf-8")
    said = " ".join(run("parts", "--parts", folder).out.split())
    assert "2 faults and 0 warnings, 1 note on how tables were read." in said
    assert "KV read as kv_rpm_per_v, label" in " ".join(run("parts", "--faults", "--parts", folder).out.split())


def test_a_dry_run_of_nothing(run, tmp_path):
    done = run("parts", "--dry-run", str(tmp_path / "none.csv"))
    assert done.exit_code == 2
    assert "none.csv" in done.err


def test_a_warning_of_a_file_is_counted_as_a_warning(run, folder, tmp_path):
    (tmp_path / "bundled").mkdir()  # a box may not bear the name of a plugin
    (tmp_path / "bundled" / "motors.csv").write_text("name,kv_rpm_per_v,mass_g\nmine,1500,28\n", encoding="utf-8")
    assert "2 faults and 1 warning." in " ".join(run("parts", "--parts", folder).out.split())


def test_each_number_of_a_part_says_how_sure_it_is(run):
    motor = nearest("motors", kv_kind="label", mass_g=40)
    row = run("parts", "--show", motor, "--json").document["rows"][0]
    sure = row["sureness"]["kv_rpm_per_v"]
    # labels scatter by 5 %, their mean is known to 1.4 % (records.estimates)
    assert sure["standard_uncertainty"] == pytest.approx(math.hypot(0.05, 0.014), rel=1e-3)
    assert sure["relative"]
    assert "range of its estimate" in sure["rests_on"]
    propeller = next(p for p in bundled_catalogue().propellers.values() if p.source.kind == "predicted")
    found = run("parts", "--show", propeller.id, "--json").document["rows"][0]
    assert found["sureness"]["cp"]["standard_uncertainty"] == propeller.source.uncertainty
    assert found["sureness"]["ct"]["standard_uncertainty"] < propeller.source.uncertainty
    text = run("parts", "--show", propeller.id).out
    assert re.search(rf"\n  ?cp +{100 * propeller.source.uncertainty:.2g} %  its source's own\n", text)
    assert "ct and cp go together" in text
