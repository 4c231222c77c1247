"""``propmatch fit --save``: from readings to a part that every command uses."""

import csv
import math
import tomllib

import numpy as np
import pytest
from scipy.optimize import brentq

from propmatch.catalogue.catalogue import load_catalogue
from propmatch.commands.trains import with_table
from propmatch.records.parts import Propeller
from propmatch.units import INCH_M

KV, OHM, SLOPE, IDLE = 1320.0, 0.16, 7e-5, 0.6
"""A planted motor of 28 g: near its label's 1450 x 0.93, resistance near the motor law's."""


def row(size: str, cells: int = 3) -> str:
    """One row of the log at full throttle."""
    volts, amps, rpm = reading(size, cells)
    return f"falke,1450,28,{cells},{size},1,{volts:.2f},{amps:.1f},{10 * round(rpm / 10):.0f}"


def blades(name: str) -> Propeller:
    """Of the catalogue, or predicted."""
    if "/" in name:
        return load_catalogue().find("propellers", name)
    diameter, pitch = map(float, name.split("x"))
    return with_table(load_catalogue(), Propeller(name=name, diameter_in=diameter, pitch_in=pitch))


def reading(size: str, cells: int) -> tuple[float, float, float]:
    """Volts, amps and rpm, balanced by scipy's brentq: E - (R + b w + R_pack) I = K w, I = Q/K + I0."""
    k, pack_ohm, open_v = 60 / (2 * math.pi * KV), 0.02 * cells, 4.08 * cells
    made = None if size == "none" else blades(size)

    def amps(w: float) -> float:
        if made is None:
            return IDLE
        cp = float(made.table.lookup(w * 30 / math.pi, 0.0).cp)
        torque = cp * 1.225 * (w / (2 * math.pi)) ** 2 * (made.diameter_in * INCH_M) ** 5 / (2 * math.pi)
        return torque / k + IDLE

    w = brentq(lambda w: open_v - (OHM + SLOPE * w + pack_ohm) * amps(w) - k * w, 50, 0.999 * open_v / k)
    return open_v - pack_ohm * amps(w), amps(w), w * 30 / math.pi


HEAD = "motor,label_kv,mass_g,cells,propeller,throttle,volts,amps,rpm"


@pytest.fixture(scope="module")
def rows() -> dict[str, str]:
    return {size: row(size) for size in ("none", "5x4", "6x4", "7x4")} | {
        "2S": row("6x4", 2),
        "2S bare": row("none", 2),
    }


@pytest.fixture
def own(run, tmp_path):
    folder = tmp_path / "mine"
    folder.mkdir()

    def fit(lines, *words, name="log.csv", head=HEAD):
        (tmp_path / name).write_text("\n".join([head, *lines]) + "\n")
        return run("fit", str(tmp_path / name), "--parts", str(folder), *words)

    return folder, fit


def test_a_kept_motor_is_what_every_command_uses(run, own, rows):
    folder, fit = own
    ran = fit([rows["none"], rows["6x4"], rows["7x4"]], "--save")
    assert ran.exit_code == 0, ran.err
    assert f"Kept as parts/falke and parts/6x4 with falke and parts/7x4 with falke in {folder}" in " ".join(
        ran.out.split()
    )
    shown = run("parts", "--show", "parts/falke", "--parts", str(folder), "--json").document["rows"][0]
    assert shown["source"]["kind"] == "measured"
    assert shown["source"]["text"] == "bench log log.csv, 3 rows"
    sd = shown["source"]["sd_ln"]["kv_rpm_per_v"]
    assert shown["sureness"]["kv_rpm_per_v"]["standard_uncertainty"] == sd
    assert abs(math.log(shown["kv_rpm_per_v"] / KV)) < 3 * sd < 0.06
    kept = run("parts", "--show", "parts/6x4 with falke", "--parts", str(folder), "--json").document["rows"][0]
    blades = kept["source"]
    assert blades["kind"] == "measured"
    assert 0.03 <= blades["sd_ln"]["cp"] < 0.1 < blades["sd_ln"]["ct"] < 0.2, "no thrust was read"
    assert blades["uncertainty"] == blades["sd_ln"]["ct"]
    assert "power coefficient times" in blades["text"]
    train = ("--propeller", "parts/6x4 with falke", "--pack", "3S 1150mAh 38C", "--parts", str(folder))
    answer = run("point", "--motor", "falke", *train, "--json").document
    assert answer["train"]["motor"]["id"] == "parts/falke"
    assert not [each for each in answer["assumptions"] if each["field"] in ("kv_rpm_per_v", "resistance_ohm")]
    label = run("point", "--motor", "1450kV 28g", *train, "--json").document
    assert label["rows"][0]["rpm"] != answer["rows"][0]["rpm"]


def test_more_rows_replace_and_narrow(own, rows):
    folder, fit = own
    sds = []
    for some in (("none", "6x4"), ("none", "5x4", "6x4", "7x4", "2S", "2S bare")):
        ran = fit([rows[name] for name in some], "--save")
        assert ran.exit_code == 0, ran.err
        (motor,) = tomllib.loads((folder / "fit-falke.toml").read_text())["motors"]
        sds.append(motor["source"]["sd_ln"])
    before, after = sds
    assert after["kv_rpm_per_v"] < before["kv_rpm_per_v"]
    assert after["resistance_ohm"] < before["resistance_ohm"]


def test_the_same_log_gives_the_same_bytes_wherever_it_lies(own, rows, run, tmp_path):
    folder, fit = own
    lines = [rows["none"], rows["6x4"], rows["7x4"]]
    fit(lines, "--save")
    first = {path.relative_to(folder): path.read_bytes() for path in folder.rglob("*") if path.is_file()}
    (tmp_path / "there").mkdir()
    (tmp_path / "other").mkdir()
    (tmp_path / "there" / "log.csv").write_text("\n".join([HEAD, *lines]) + "\n")
    ran = run("fit", str(tmp_path / "there" / "log.csv"), "--parts", str(tmp_path / "other"), "--save")
    assert ran.exit_code == 0
    again = {path.relative_to(tmp_path / "other"): path.read_bytes() for path in (tmp_path / "other").rglob("*.*")}
    assert again == first
    assert str(tmp_path).encode() not in b"".join(first.values())


def test_a_pack_that_was_named_is_kept_with_its_resistance(own, rows):
    folder, fit = own
    lines = [rows[name] for name in ("none", "5x4", "6x4", "7x4")]
    saved = fit(lines, "--save", "bench falke", "--pack", "3S 1150mAh 38C", "--json").document["saved"]
    assert saved["file"] == str(folder / "fit-bench-falke.toml")
    assert saved["ids"][:2] == ["parts/bench falke", "parts/3S 1150mAh 38C with bench falke"]
    pack = load_catalogue(plugins=["parts"], parts=folder).packs["parts/3S 1150mAh 38C with bench falke"]
    ohm = 3 * pack.cell_resistance_mohm + pack.lead_resistance_mohm
    assert abs(math.log(ohm / 60)) < 3 * pack.source.sd_ln["cell_resistance_mohm"]


def test_a_log_that_says_too_little_is_not_kept(own, rows):
    folder, fit = own
    ran = fit([rows["6x4"]] * 3, "--save")
    assert ran.exit_code == 1
    assert "Not saved" in ran.out
    assert fit([rows["6x4"]] * 3, "--save", "--json").document["saved"] is None
    assert list(folder.iterdir()) == []


def test_what_is_not_kept_though_asked_for_is_exit_code_1(own, rows):
    """Some numbers, but no resistance: nothing is kept."""
    _, fit = own
    lines = [rows["none"].rpartition(",")[0] + ",", *(rows[name].rpartition(",")[0] + "," for name in ("6x4", "7x4"))]
    assert fit(lines).exit_code == 0
    ran = fit(lines, "--save")
    assert "Not saved" in ran.out
    assert ran.exit_code == 1


@pytest.mark.parametrize("name", ["c + d", "two\nlines", "../x", ".", "a/b", "9x9", "kv=3", "..."])
def test_a_name_that_no_command_could_find_is_a_fault(own, rows, name):
    folder, fit = own
    ran = fit([rows["none"], rows["6x4"], rows["7x4"]], "--save", name)
    assert (ran.exit_code, ran.out) == (2, "")
    assert ran.err.startswith("--save: ")
    assert list(folder.iterdir()) == []


def test_without_mass_or_over_another_part_it_is_a_fault(own, rows):
    folder, fit = own
    lines = [rows["none"], rows["6x4"], rows["7x4"]]
    light = [",".join(cells[:2] + cells[3:]) for cells in (line.split(",") for line in lines)]
    ran = fit(light, "--save", head=HEAD.replace("mass_g,", ""))
    assert (ran.exit_code, ran.out) == (2, "")
    assert "--save: mass_g: missing" in ran.err
    (folder / "fit-falke.toml").write_text("# mine\n")
    ran = fit(lines, "--save")
    assert (ran.exit_code, ran.out) == (2, "")
    assert "--force replaces it" in ran.err
    assert (folder / "fit-falke.toml").read_text() == "# mine\n"
    assert fit(lines, "--save", "--force").exit_code == 0


def test_an_earlier_fit_named_as_the_motor_is_remarked(own, rows):
    _, fit = own
    fit([rows["none"], rows["6x4"], rows["7x4"]], "--save")
    ran = fit([rows["none"], rows["5x4"], rows["2S"]], "--save", "second", "--motor", "parts/falke", "--json")
    assert any("earlier fit" in remark for remark in ran.document["notes"])


def test_from_the_protocol_over_its_filled_log_to_a_part(run, tmp_path):
    """What the protocol asks for, filled with planted readings, says the planted motor."""
    log, folder = tmp_path / "falke.csv", tmp_path / "mine"
    folder.mkdir()
    train = ("--motor", "name=falke 1450kV 28g", "--propeller", "7x4", "--pack", "3S 1150mAh 38C")
    assert run("bench", *train, "--template", str(log)).exit_code == 0
    empty = run("fit", str(log))
    assert (empty.exit_code, empty.out) == (2, "")
    assert "no row of readings" in empty.err
    notes = [line for line in log.read_text().splitlines() if line.startswith("#")]
    rows = list(csv.DictReader(line for line in log.read_text().splitlines() if not line.startswith("#")))
    for each in rows:
        if float(each["throttle"]) == 1:
            volts, amps, rpm = reading(each["propeller"], int(each["cells"]))
            each |= {"volts": f"{volts:.2f}", "amps": f"{amps:.1f}", "rpm": f"{10 * round(rpm / 10)}"}
    with log.open("w", newline="") as file:
        file.write("\n".join(notes) + "\n")
        writer = csv.DictWriter(file, rows[0])
        writer.writeheader()
        writer.writerows(rows)
    ran = run("fit", str(log), "--save", "--parts", str(folder), "--json")
    assert ran.exit_code == 0, ran.err
    found = ran.document["motor"]
    assert found["kv_rpm_per_v"]["low"] < KV < found["kv_rpm_per_v"]["high"]
    ohm = OHM + SLOPE * found["at_rpm"] * math.pi / 30
    assert found["resistance_ohm"]["low"] < ohm < found["resistance_ohm"]["high"]
    assert "parts/falke" in ran.document["saved"]["ids"]


def test_kept_deviations_narrow_what_is_said_of_a_train(own, rows):
    """The core draws from the part's own deviations: less spread than of the label."""
    from propmatch.commands.trains import LazyCatalogue, choose_train
    from propmatch.records.sureness import Uncertainty
    from propmatch.tolerances.numbers import tolerances

    folder, fit = own
    fit([rows[name] for name in ("none", "5x4", "6x4", "7x4")], "--save")
    stock = LazyCatalogue(str(folder), False)

    def sd(motor: str, propeller: str) -> dict[str, float]:
        named = {"motor": motor, "propeller": propeller, "pack": "3S 1150mAh 38C", "controller": None, "listing": None}
        return {each.name: each.sd for each in tolerances(choose_train(stock, named).train, Uncertainty())}

    label, kept = sd("1450kV 28g", "6x4"), sd("parts/falke", "parts/6x4 with falke")
    for name in ("kv_rpm_per_v", "no_load_current_a", "cp"):
        assert kept[name] < 0.6 * label[name], name
    assert np.isfinite(list(kept.values())).all()


def test_a_box_is_where_a_brief_that_names_it_finds_the_motor(run, own, rows):
    folder, fit = own
    lines = [rows["none"], rows["6x4"], rows["7x4"]]
    ran = fit(lines, "--save", "--box", "club")
    assert ran.exit_code == 0, ran.err
    assert "Kept as club/falke" in ran.out
    assert (folder / "club" / "fit-falke.toml").exists()
    assert run("parts", "--show", "club/falke", "--parts", str(folder)).exit_code == 0
    assert fit(lines, "--box", "club").exit_code == 2
    assert "--box: '': must have" in fit(lines, "--save", "--box", "").err


def test_the_motor_of_a_box_that_the_log_names_keeps_its_rating(own, rows):
    folder, fit = own
    (folder / "mine").mkdir(parents=True)
    motors = folder / "mine" / "motors.csv"
    head = "name,kv_rpm_per_v,mass_g,max_current_a\n"
    motors.write_text(f"{head}falke,1450,28,14\n")
    lines = [rows[name] for name in ("none", "5x4", "6x4", "7x4")]
    for _ in range(2):
        ran = fit(lines, "--save", "bench falke", "--force")
        assert ran.exit_code == 0, ran.err
        assert "known of it is that of mine/falke in the catalogue" in " ".join(ran.out.split())
        (motor,) = tomllib.loads((folder / "fit-bench-falke.toml").read_text())["motors"]
        assert motor["max_current_a"] == 14
    motors.write_text(f"{head}falke,1700,28,14\n")
    ran = fit(lines, "--save", "bench falke", "--force")
    assert "mine/falke of the catalogue is another motor" in " ".join(ran.out.split())
    (motor,) = tomllib.loads((folder / "fit-bench-falke.toml").read_text())["motors"]
    assert "max_current_a" not in motor
