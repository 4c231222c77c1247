import io
import json
import re

import numpy as np
import pandas as pd
import pytest

LOG = """label_kv,mass_g,cells,propeller,volts,amps,rpm
1400,30,3,6x3,11.98,5.2,14500
1400,30,3,8x4,11.30,13.4,12100
1400,30,3,none,12.33,0.6,15800
1400,30,3,7x4,11.66,9.1,13300
"""
READ = pd.read_csv(io.StringIO(LOG))
KV = 1 / np.linalg.lstsq(READ[["rpm", "amps"]].to_numpy(), READ.volts.to_numpy(), rcond=None)[0][0]
"""Of V = rpm/kV + R I by plain least squares."""
KEYS = {"command", "assumptions", "interval", "motor", "pack", "propellers", "undetermined", "rows", "faults"}


@pytest.fixture
def write(tmp_path):
    def made(text):
        path = tmp_path / "log.csv"
        path.write_text(text, encoding="utf-8")
        return str(path)

    return made


def test_the_answer_first_then_what_is_open_and_the_rows(run, write):
    ran = run("fit", write(LOG))
    assert ran.exit_code == 0
    text = " ".join(ran.out.split())
    kv, low, high = map(int, re.match(r"motor, from 4 rows: kV (\d+) \((\d+) to (\d+)\); resistance", text).groups())
    assert low < kv < high
    assert kv == pytest.approx(KV, rel=0.015)
    assert "Left open by these rows, so no number is given: - rise of the resistance with speed" in text
    assert "Propellers at rest" in text
    assert re.search(r"2 6x3 11\.98 1[12]\.\d\d 5\.20 5\.\d\d 14500 14[45]\d\d", text)
    assert all(len(line) <= 100 for line in ran.out.splitlines())


def test_json_has_the_numbers_with_their_intervals(run, write):
    document = json.loads(run("fit", write(LOG), "--json").out)
    assert set(document) >= KEYS
    assert document["interval"] == 0.9
    motor = document["motor"]
    for name in ("kv_rpm_per_v", "resistance_ohm", "no_load_current_a"):
        assert motor[name]["low"] < motor[name]["value"] < motor[name]["high"]
    assert motor["resistance_slope_ohm_s"] is None
    assert 12000 < motor["at_rpm"] < 15000
    assert set(document["pack"]) == {"resistance_ohm", "open_circuit_v"}
    assert set(document["propellers"]) == {"6x3", "7x4", "8x4"}
    assert document["propellers"]["7x4"]["ct0"] is None
    assert document["propellers"]["7x4"]["cp0"]["value"] > 0
    assert {"constant", "why"} == set(document["undetermined"][0])
    assert document["rows"][2]["fit_rpm"] == pytest.approx(15800, rel=1e-3)


@pytest.mark.parametrize(
    ("change", "said", "code"),
    [
        (lambda text: "\n".join(text.splitlines()[:2]), "there is one row", 1),
        (lambda text: text.replace(",14500", ",0"), "is no reading: a motor that runs turns", 0),
        (lambda text: text.replace(",9.1,", ",-9.1,"), "current flows back into the pack", 0),
        (lambda text: text.replace(",9.1,", ",nine,"), "must be a number", 0),
        (lambda text: text.replace("1400,", "800,"), "another motor, another winding, or another label", 0),
        (lambda text: text.replace(",3,", ",2,"), "they are those of 3 in series (3S)", 0),
        (lambda text: text.replace("volts,amps,rpm", "x,y,z"), "no column says what an instrument read", 2),
        (lambda text: "", "is empty", 2),
    ],
)
def test_each_bad_log_has_its_sentence(run, write, change, said, code):
    ran = run("fit", write(change(LOG)))
    assert said in " ".join((ran.out + ran.err).split())
    assert ran.exit_code == code
    assert "Traceback" not in ran.err


def test_options_say_what_the_log_does_not(run, write):
    bare = "\n".join(line.split(",", 3)[3] for line in LOG.splitlines()).replace("7x4", "")
    words = ("--motor", "1400kV 30g", "--propeller", "7x4", "--pack", "3S 1300mAh 30C")
    ran = run("fit", write(bare), *words, "--instruments", "clamp, optical tachometer", "--json")
    document = json.loads(ran.out)
    assert document["motor"]["kv_rpm_per_v"]["value"] == pytest.approx(KV, rel=0.015)
    assert document["instruments"][0] == "clamp"


def test_wrong_options_and_a_missing_file(run, write):
    ran = run("fit", write(LOG), "--instruments", "clmp")
    assert ran.exit_code == 2
    assert "did you mean clamp" in ran.err
    ran = run("fit", "nowhere.csv")
    assert ran.exit_code == 2
    assert "No such file" in ran.err
    ran = run("fit", write(LOG), "--which", "left")
    assert ran.exit_code == 2
    assert "left is said to be meant" in ran.err


@pytest.mark.parametrize("cells", [2, 4])
def test_a_log_without_volts_stops_at_no_cell_count(run, write, cells):
    log = write(f"motor,cells,propeller,amps,rpm\nX,{cells},none,0.6,10800\nX,{cells},6x4,5.4,9180\n")
    ran = run("fit", log, "--json")
    assert ran.exit_code in (0, 1)
    assert ran.document["motor"]["resistance_ohm"] is None, "only volts under load tell it"
