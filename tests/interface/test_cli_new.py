"""A brief from a few questions, the bundled briefs, and what a key does."""

import os
import pty
import re
import subprocess
import sys

import pytest
from click.testing import CliRunner

from propmatch.cli import propmatch
from propmatch.commands.matching import cell_counts
from propmatch.questions.newbrief import Wishes, new_brief
from propmatch.records.aircraftkinds import AIRCRAFT_KINDS, FLYING
from propmatch.records.brief import load_brief, loads_brief, resolve_variants
from propmatch.records.briefkeys import brief_keys
from propmatch.records.brieftext import commented_brief
from propmatch.records.parts import CD0_WORDS
from propmatch_datasets import briefs
from tests.support.bundled import ids

PARTS = ids("motors", mass_g=(0, 100))


def run(arguments):
    return CliRunner().invoke(propmatch, arguments)


@pytest.mark.parametrize("like", [None, *AIRCRAFT_KINDS])
@pytest.mark.parametrize("flying", FLYING)
def test_what_is_written_reads_back(like, flying):
    brief, notes = new_brief(Wishes(name='a "b"\n', bare_mass_g=190, like=like, flying=flying, cells=(2, 3)))
    text = commented_brief(brief, notes)
    assert loads_brief(text) == brief
    for key in brief_keys():
        assert re.search(rf"^(# )?{key.path.rpartition('.')[2]} =", text, re.MULTILINE), key.path


def test_a_commented_default_may_be_taken_out_of_its_comment():
    brief, notes = new_brief(Wishes(name="a", bare_mass_g=190))
    lines = commented_brief(brief, notes).splitlines()
    tried = 0
    for at, line in enumerate(lines):
        table = next((each for each in reversed(lines[:at]) if re.match(r"(# )?\[", each)), "#")
        if re.match(r"# \w+ = [^ ]", line) and not table.startswith("#") and "[[" not in table:
            assert loads_brief("\n".join([*lines[:at], line.removeprefix("# "), *lines[at + 1 :]])) == brief
            tried += 1
    assert tried > 5


def test_airspeeds_are_over_the_stall_speed():
    """V = sqrt(2 W/(rho S CL_max)): J. D. Anderson, Introduction to Flight, ch. 5; density of ISO 2533 at sea level."""
    wishes = Wishes(
        name="a", bare_mass_g=200, target_mass_g=400, area_dm2=14, span_mm=900, like="trainer", altitude_m=0
    )
    brief, _ = new_brief(wishes)
    lift = AIRCRAFT_KINDS["trainer"].cl_max
    stall = (2 * 0.4 * 9.80665 / (1.225 * 0.14 * lift)) ** 0.5
    flown = {phase.name: phase.airspeed_m_s for phase in brief.phase}
    assert flown["circuits"] == pytest.approx(1.5 * stall, abs=0.05)


@pytest.mark.parametrize("like", AIRCRAFT_KINDS)
def test_a_kind_stands_in_for_the_wing_and_is_said(like):
    brief = loads_brief(f'[aircraft]\nname = "a"\nlike = "{like}"\nbare_mass_g = 200\ntarget_mass_g = 300\n')
    build, kind = resolve_variants(brief)[0], AIRCRAFT_KINDS[like]
    assert build.airframe.wing_area_dm2 == pytest.approx(300 / kind.wing_loading_g_dm2)
    assert build.airframe.cd0 == CD0_WORDS[kind.drag]
    assert build.airframe.cl_max == kind.cl_max
    assert any(f"usual for a {like}" in each.text for each in build.assumptions)
    stated = loads_brief(
        f'[aircraft]\nname = "a"\nlike = "{like}"\nbare_mass_g = 200\n[wing]\narea_dm2 = 12\ncd0 = 0.04\n'
    )
    assert (resolve_variants(stated)[0].airframe.wing_area_dm2, resolve_variants(stated)[0].airframe.cd0) == (12, 0.04)


def test_new_writes_a_file_and_keeps_one_that_is_there(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    options = [
        "--name",
        "Reed Heron",
        "--bare-mass",
        "6.7oz",
        "--like",
        "glider",
        "--cells",
        "2S, 3S",
        "--span",
        "110cm",
    ]
    made = run(["new", *options])
    assert (made.exit_code, "Wrote reed-heron.toml" in made.stdout) == (0, True)
    brief = load_brief(tmp_path / "reed-heron.toml")
    assert brief.aircraft.bare_mass_g == pytest.approx(6.7 * 28.349523125, rel=1e-4)  # international ounce
    assert (brief.wing.span_mm, brief.limits.cells, brief.phase[-1].throttle) == (1100, (2, 3), 0)
    again = run(["new", *options])
    assert again.exit_code == 2
    assert "exists already" in again.stderr
    assert run(["new", *options, "--force"]).exit_code == 0


def test_every_fault_of_the_options_at_once():
    told = run(["new", "-", "--bare-mass", "190 kV", "--like", "trianer", "--cells", "2,9", "--flying", "wild"])
    assert told.exit_code == 2
    for word in ("--bare-mass", "did you mean trainer", "--cells", "--flying"):
        assert word in told.stderr
    thin = run(["new", "-", "--bare-mass", "190", "--wing-area", "1", "--span", "900"])
    assert (thin.exit_code, "aspect ratio" in thin.stderr) == (2, True)
    assert "--bare-mass: missing" in run(["new", "-"]).stderr
    light = run(["new", "-", "--bare-mass", "190", "--like", "glider", "--all-up-mass", "150"])
    assert (light.exit_code, "--all-up-mass: '150': must be above the 190 g" in light.stderr) == (2, True)


def test_cells_may_be_a_range_and_a_time_minutes_and_seconds():
    text = run(["new", "-", "--bare-mass", "190", "--cells", "2-4S", "--minutes", "8:30"]).stdout
    brief = loads_brief(text)
    assert (brief.limits.cells, brief.limits.min_flight_minutes) == ((2, 3, 4), 8.5)
    assert run(["new", "-", "--bare-mass", "190", "--cells", "4-2"]).exit_code == 2
    assert run(["new", "-", "--bare-mass", "190", "--minutes", "8:75"]).exit_code == 2


@pytest.mark.parametrize("text", ["2-4", "2S-4S", "2,3-4s"])
def test_match_takes_a_range_of_cells_too(text):
    assert cell_counts(text) == (2, 3, 4)


def test_new_asks_on_a_terminal_and_asks_again(tmp_path):
    """A real terminal pair; name, a mass that cannot be read, one that can, one below it, kind, way, Enter."""
    ours, theirs = pty.openpty()
    code = "from propmatch.cli import main; main()"
    child = subprocess.Popen(
        [sys.executable, "-c", code, "new"], stdin=theirs, stdout=subprocess.PIPE, stderr=subprocess.PIPE, cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)},
    )  # fmt: skip
    os.write(ours, b"Heron\nheavy\n190\n\n150\n\ntrainer\n\n\n\n2,3\n\n\n\n")
    out, err = child.communicate(timeout=300)
    os.close(ours)
    os.close(theirs)
    assert child.returncode == 0, err
    brief = load_brief(tmp_path / "heron.toml")
    assert (brief.aircraft.bare_mass_g, brief.aircraft.like, brief.limits.cells) == (190, "trainer", (2, 3))
    assert b"must be a number" in err
    assert b"'150': must be above the 190 g" in err
    assert b"this:" not in err
    assert b"heron.toml" in out


def test_bundled_briefs_are_listed_and_printed():
    listed = run(["briefs"])
    assert all(name in listed.stdout for name in briefs())
    for name in briefs():
        assert loads_brief(run(["briefs", name]).stdout).aircraft.name
    missing = run(["briefs", "wetland"])
    assert missing.exit_code == 2
    assert "wetland_logger" in missing.stderr


def test_explain_says_unit_range_default_and_effect():
    told = " ".join(run(["new", "--explain", "limits.min_flight_minutes"]).stdout.split())
    for word in ("at most 1440 min", "Left out: as if", "Effect:"):
        assert word in told
    assert "sea level" in run(["briefs", "--explain", "altitude_m"]).stdout
    assert run(["briefs", "--explain", "[tail]"]).stdout.count("[tail]") == len(
        [key for key in brief_keys() if key.path.startswith("tail.")]
    )
    weight = run(["new", "--explain", "weight"]).stdout
    assert "[aircraft] bare_mass_g" in weight
    assert "[aircraft] target_mass_g" in weight
    wrong = run(["briefs", "--explain", "limits.chanse"])
    assert wrong.exit_code == 2
    assert "did you mean" in wrong.stderr


@pytest.mark.parametrize(
    ("words", "wanted"),
    [
        (["match", "club"], "plain,club_racer"),
        (["point", "--motor", PARTS[0][:10]], f"plain,{PARTS[0]}"),
        (["parts", "--family", "fol"], "plain,folding"),
        (["new", "--like", "tr"], "plain,trainer"),
        (["ma"], "plain,match"),
    ],
)
def test_the_shell_completes(words, wanted, monkeypatch):
    """By click's own protocol."""
    monkeypatch.setenv("_PROPMATCH_COMPLETE", "bash_complete")
    monkeypatch.setenv("COMP_WORDS", " ".join(["propmatch", *words]))
    monkeypatch.setenv("COMP_CWORD", str(len(words)))
    told = CliRunner().invoke(propmatch, [], prog_name="propmatch")
    assert wanted in told.stdout


@pytest.mark.parametrize(
    ("option", "text"), [("--minutes", "9" * 5000 + ":30"), ("--cells", "9" * 5000), ("--cells", "2-" + "9" * 5000)]
)
def test_numbers_of_thousands_of_digits_are_faults(option, text):
    result = CliRunner().invoke(propmatch, ["new", "-", "--bare-mass", "300g", "--all-up-mass", "500g", option, text])
    assert result.exit_code == 2
    assert option in result.output


def test_an_answer_is_not_rounded():
    words = ["new", "-", "--name", "x", "--bare-mass", "1234.56g", "--all-up-mass", "1.0302kg"]
    result = CliRunner().invoke(propmatch, [*words[:-1], "2000.125"])
    assert "bare_mass_g = 1234.56 " in result.output
    assert "target_mass_g = 2000.125 " in result.output


def test_a_given_number_is_not_assumed_and_motors_are_counted():
    done = run(["new", "--bare-mass", "300", "--wing-area", "28dm2", "--motors", "2", "-"])
    assert "area_dm2 = 28.0    # dm2; wing area\n" in done.output
    assert re.search("^# span_mm =.*assumed$", done.output, re.MULTILINE)
    assert loads_brief(done.output).aircraft.motor_count == 2
    assert "[aircraft] motor_count" in run(["new", "--explain", "motors"]).output
