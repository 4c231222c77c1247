"""The conformity checks: our own plugins pass, each planted mistake is caught, a third party's project works."""

import json
import os
import subprocess
import sys
import venv
from contextlib import nullcontext
from importlib import import_module
from pathlib import Path

import pytest
from support.entry_points import module_of
from support.trains import simple_motor

from propmatch.catalogue.plugins import FIRST_PARTY
from propmatch.checks.limits import Check
from propmatch.hookspecs import ExtraCheck, PartRow, PartSet, SheetSection, hookimpl
from propmatch.testing import conformity_checks

ROOT = Path(__file__).parents[2]
EXAMPLE = Path(__file__).parent / "example_distribution"

OURS = [
    pytest.param(check, id=f"{name}: {check}")
    for name, module in FIRST_PARTY.items()
    for check in conformity_checks(import_module(module), name=name)
]


@pytest.mark.parametrize("check", OURS)
def test_our_own_plugins_conform(check):
    check()


def motors(*sets):
    return hookimpl(lambda: list(sets))


def part_set(load, **changes):
    return PartSet(**{"id": "set", "description": "a set", "source": "a test", "load": load} | changes)


def growing():
    count = []

    def load():
        count.append(1)
        return [simple_motor(name=f"m{at}") for at in range(len(count))]

    return load


class Restless:
    """Answers motors of another mass each time."""

    def __init__(self):
        self.mass = 20.0

    def __call__(self):
        self.mass += 1
        return [simple_motor(name="m", mass_g=self.mass)]


def _whatever(path):
    return [PartRow(where=str(path), kind="motors", values={"name": "m", "kv_rpm_per_v": 1000, "mass_g": 20})]


def _over_target(design, brief):
    return [] * (brief.aircraft.target_mass_g > 0)


def _odd_check(design, brief):
    odd = {"name": "climb", "verdict": "over", "basis": "brief", "unit": "g"}
    return [Check(value=1.0, limit=2.0, margin=0.5, **odd)]


MISTAKES = {
    "not a hook": ({"propmatch_motor": motors()}, "loads", "there is no hook named propmatch_motor"),
    "no description": (
        {"propmatch_motors": motors(part_set(list, description=" "))},
        "motors: sets are described",
        "set 'set' has an empty description",
    ),
    "set twice": (
        {"propmatch_motors": motors(part_set(list), part_set(list))},
        "motors: sets are described",
        "set id 'set' is used twice",
    ),
    "not a set": (
        {"propmatch_motors": motors("set")},
        "motors: sets are described",
        "must answer a list of PartSet, found str",
    ),
    "a faulty part": (
        {"propmatch_motors": motors(part_set(lambda: [{"name": "m"}]))},
        "motors: every part is sound",
        "kv_rpm_per_v: missing",
    ),
    "a raising load": (
        {"propmatch_motors": motors(part_set(lambda: 1 // 0))},
        "motors: every part is sound",
        "ZeroDivisionError",
    ),
    "no source": (
        {"propmatch_motors": motors(part_set(lambda: [simple_motor()]))},
        "motors: every part has a source",
        "candidate/test motor has no source",
    ),
    "others each time": (
        {"propmatch_motors": motors(part_set(growing()))},
        "motors: loading again gives the same",
        "motors come in another order, or others come",
    ),
    "other numbers each time": (
        {"propmatch_motors": motors(part_set(Restless()))},
        "motors: loading again gives the same",
        "candidate/m differs",
    ),
    "a check twice": (
        {"propmatch_checks": hookimpl(lambda: [ExtraCheck(id="c", description="", run=list)] * 2)},
        "propmatch_checks: answers as promised",
        "propmatch_checks uses one id twice",
    ),
    "a check that raises": (
        {"propmatch_checks": hookimpl(lambda: [ExtraCheck(id="c", description="", run=lambda design, brief: 1 // 0)])},
        "propmatch_checks: every check judges a model",
        "nothing stated: plugin 'candidate': failed when asked for propmatch_checks, 'c': ZeroDivisionError",
    ),
    "a check that needs what a brief may leave out": (
        {"propmatch_checks": hookimpl(lambda: [ExtraCheck(id="c", description="", run=_over_target)])},
        "propmatch_checks: every check judges a model",
        "nothing stated: plugin 'candidate': failed when asked for propmatch_checks, 'c': TypeError",
    ),
    "a verdict of its own under a built-in name": (
        {"propmatch_checks": hookimpl(lambda: [ExtraCheck(id="c", description="", run=_odd_check)])},
        "propmatch_checks: every check judges a model",
        "the name 'climb' is taken; verdict 'over' must be one of ok, close, fails, no limit, unknown",
    ),
    "a section that raises": (
        {"propmatch_sheet_sections": hookimpl(lambda: [SheetSection(id="s", title="S", build=lambda design: {})])},
        "propmatch_sheet_sections: every section is written",
        "failed when asked for propmatch_sheet_sections, 's': TypeError",
    ),
    "not a check": (
        {"propmatch_checks": hookimpl(lambda: [print])},
        "propmatch_checks: answers as promised",
        "must answer a list of ExtraCheck, found builtin_function_or_method",
    ),
    "not a list": (
        {"propmatch_sheet_sections": hookimpl(lambda: 7)},
        "propmatch_sheet_sections: answers as promised",
        "must answer a list, not int",
    ),
    "not a table": (
        {"propmatch_coefficient_table": hookimpl(lambda: 7)},
        "propmatch_coefficient_table: answers as promised",
        "must answer None or a TableAnswer, not int",
    ),
    "reads everything": (
        {"propmatch_file_reader": hookimpl(lambda: list)},
        "propmatch_file_reader: answers as promised",
        "must answer None for a kind of file it does not know",
    ),
    "raises on an empty file": (
        {"propmatch_file_reader": hookimpl(lambda path: (lambda p: 1 // 0) if path.suffix == ".xlsx" else None)},
        "propmatch_file_reader: an empty file is a fault",
        "raises ZeroDivisionError",
    ),
    "takes garbage for a part": (
        {"propmatch_file_reader": hookimpl(lambda path: _whatever if path.suffix == ".xlsx" else None)},
        "propmatch_file_reader: a garbage file is a fault",
        "a part is read from it",
    ),
    "says nothing": (
        {"propmatch_file_reader": hookimpl(lambda path: (lambda p: []) if path.suffix == ".ods" else None)},
        "propmatch_file_reader: an empty file is a fault",
        "nothing says that it could not be used",
    ),
    "answers words": (
        {"propmatch_file_reader": hookimpl(lambda path: (lambda p: ["row"]) if path.suffix == ".ods" else None)},
        "propmatch_file_reader: a garbage file is a fault",
        "must answer PartRow and Fault, found str",
    ),
    "opens the file": (
        {"propmatch_file_reader": hookimpl(lambda path: path.read_text())},
        "propmatch_file_reader: answers as promised",
        "FileNotFoundError",
    ),
}


@pytest.mark.parametrize("case", MISTAKES)
def test_each_planted_mistake_is_caught_by_its_check(case):
    functions, name, message = MISTAKES[case]
    check = {str(each): each for each in conformity_checks(module_of(**functions))}[name]
    with pytest.raises(AssertionError) as caught:
        check()
    assert message in str(caught.value)


def _lines(path):
    for at, line in enumerate(path.read_text(encoding="utf-8").splitlines(), start=1):
        name, kv, mass = line.split("|")
        values = {"name": name, "kv_rpm_per_v": float(kv), "mass_g": float(mass)}
        yield PartRow(where=f"{path}:{at}", kind="motors", values=values)


@pytest.mark.parametrize(("text", "message"), [
    ("silver|1500|28\n", ""),
    ("silver|1500|-3\n", "mass_g = -3"),
    ("silver 1500 28\n", "plugin 'candidate' failed to read it: ValueError"),
    ("", "no part is read from bench.lines"),
])  # fmt: skip
def test_a_reader_is_given_the_files_it_is_for(tmp_path, text, message):
    plugin = module_of(propmatch_file_reader=hookimpl(lambda path: _lines if path.suffix == ".lines" else None))
    file = tmp_path / "bench.lines"
    file.write_text(text, encoding="utf-8")
    checks = {str(each): each for each in conformity_checks(plugin, suffixes=(".lines",), files=[file])}
    with pytest.raises(AssertionError, match=message) if message else nullcontext():
        checks["propmatch_file_reader: bench.lines is read"]()


def test_a_heavy_import_is_caught(tmp_path, monkeypatch):
    (tmp_path / "heavy_plugin.py").write_text("import pandas\n", encoding="utf-8")
    monkeypatch.syspath_prepend(tmp_path)
    checks = {str(each): each for each in conformity_checks(import_module("heavy_plugin"))}
    with pytest.raises(AssertionError, match=r"importing heavy_plugin loads .*pandas.*: import it inside the load"):
        checks["imports nothing heavy"]()


@pytest.fixture(scope="module")
def installed(tmp_path_factory):
    """Python of a venv with the example distribution built and installed, seeing this environment's packages."""
    folder = tmp_path_factory.mktemp("third_party")
    venv.create(folder, with_pip=False)
    python = folder / ("Scripts" if os.name == "nt" else "bin") / "python"
    site = Path(run(python, "-c", "import sysconfig; print(sysconfig.get_path('purelib'))").strip())
    here = [path for path in sys.path if path and Path(path).is_dir()]
    (site / "beside.pth").write_text("\n".join([*here, *(str(ROOT / each) for each in ("", "plugins", "datasets"))]))
    source = folder / "source"
    subprocess.run(
        [sys.executable, "-c", f"import shutil; shutil.copytree({str(EXAMPLE)!r}, {str(source)!r})"], check=True
    )
    run(python, "-m", "pip", "install", "-q", "--no-deps", "--no-build-isolation", "--no-index", str(source))
    return python


def run(python, *arguments):
    environment = {
        key: value for key, value in os.environ.items() if not key.startswith(("PYTHON", "PROPMATCH", "PIP"))
    }
    done = subprocess.run(
        [str(python), *arguments], capture_output=True, text=True, check=False, env=environment | {"PYTHONUTF8": "1"}
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


REPORT = """
import json
from propmatch import PowerTrain, load_brief, load_catalogue
from propmatch.checks.limits import Design
from propmatch.checks.setting import ResolvedBrief
import propmatch_datasets
catalogue = load_catalogue()
plugin = catalogue.plugins.plugins["club_bench"]
motor = catalogue.motors["club_bench/silver-2104"]
brief = load_brief(propmatch_datasets.path("briefs/wetland_logger.toml"))
others = {kind: next(iter(catalogue.parts(f"{kind}s").values())) for kind in ("controller", "pack", "propeller")}
design = Design.of(PowerTrain(motor=motor, **others), ResolvedBrief.of(brief).as_designed.variant)
checks = [[check.name, check.verdict] for check in catalogue.extra_checks(design, brief)]
print(json.dumps({
    "plugin": [plugin.distribution, plugin.version, plugin.entry_point],
    "broken": [str(each) for each in catalogue.broken], "faults": [str(each) for each in catalogue.faults],
    "motors": [name for name in catalogue.motors if name.startswith("club_bench/")],
    "bundled": sum(name.startswith("bundled/") for name in catalogue.motors),
    "source": [motor.source.text, motor.source.kind, motor.source.uncertainty],
    "checks": checks,
}))
"""


@pytest.mark.slow
def test_a_third_party_distribution_is_built_installed_found_and_used(installed):
    found = json.loads(run(installed, "-c", REPORT))
    assert found["broken"] == []
    assert found["faults"] == []
    assert found["plugin"] == ["propmatch-club-bench", "1.2.0", "propmatch_club_bench"]
    assert found["motors"] == ["club_bench/silver-2104", "club_bench/grey-1705"]
    assert found["bundled"] >= 60
    assert found["source"] == ["club bench, wattmeter and optical tachometer (invented)", "measured", 0.03]
    assert found["checks"] == [["club_mass", "ok"]]


BRIEF = """
[aircraft]
name = "borrowed trainer"
bare_mass_g = 165
target_mass_g = 300
[limits]
min_thrust_to_weight = 0.6
cells = [2]
max_propeller_diameter_in = 6
[parts]
motor = ["club_bench/*"]
"""


@pytest.mark.slow
def test_match_uses_the_third_party_motors_beside_the_bundled_parts(installed, tmp_path):
    (tmp_path / "brief.toml").write_text(BRIEF, encoding="utf-8")
    main = "from propmatch.cli import main; main()"
    arguments = ("match", str(tmp_path / "brief.toml"), "--json")
    surest = json.loads(run(installed, "-c", main, *arguments))["rows"]
    rows = json.loads(run(installed, "-c", main, *arguments, "--top", "200", "--on-paper"))["rows"]
    assert surest
    assert {row["motor_id"] for row in rows} == {"club_bench/silver-2104", "club_bench/grey-1705"}
    for row in (*surest, *rows):
        assert row["motor_id"].startswith("club_bench/")
        assert row["propeller_id"].startswith("bundled/")
        assert row["thrust_to_weight"] >= 0.6


@pytest.mark.slow
def test_the_third_party_runs_its_own_conformity_test(installed):
    out = run(
        installed, "-m", "pytest", "-q", "-p", "no:cacheprovider", str(EXAMPLE / "test_conformity.py"), "-c", os.devnull
    )
    assert " passed" in out


BREAK = {
    "import error": ('"""An invented', 'import gone\n"""An invented', "could not be imported: ModuleNotFoundError"),
    "wrong hook name": (
        "def propmatch_motors()",
        "def propmatch_engines()",
        "there is no hook named propmatch_engines",
    ),
    "wrong argument": ("def propmatch_motors()", "def propmatch_motors(kind)", "asks for kind, but this hook takes no"),
    "raising hook": (
        "    return [\n        PartSet(",
        "    1 / 0\n    return [\n        PartSet(",
        "ZeroDivisionError",
    ),
    "invalid parts": ('"kv_rpm_per_v", "mass_g",', '"kv_rpm_per_v",', "mass_g = '21.4': must be a number"),
    "duplicate ids": ("values = {", "row['id'] = 'one'; values = {", "this id is taken by the part at"),
}

BREAK_REPORT = """
import json
from propmatch import load_catalogue
catalogue = load_catalogue()
bundled = [sum(name.startswith("bundled/") for name in catalogue.parts(kind)) for kind in
           ("motors", "controllers", "packs", "propellers")]
texts = [str(each) for each in (*catalogue.broken, *catalogue.faults)]
print(json.dumps({"bundled": bundled, "texts": texts}))
"""


@pytest.mark.slow
@pytest.mark.parametrize("case", BREAK)
def test_the_installed_distribution_broken_on_purpose_harms_nothing_else(installed, case):
    old, new, message = BREAK[case]
    module = Path(run(installed, "-c", "import propmatch_club_bench as it; print(it.__file__)").strip())
    before = module.read_text(encoding="utf-8")
    assert old in before
    try:
        module.write_text(before.replace(old, new, 1), encoding="utf-8")
        found = json.loads(run(installed, "-B", "-c", BREAK_REPORT))
    finally:
        module.write_text(before, encoding="utf-8")
    assert found["bundled"] == json.loads(run(installed, "-c", BREAK_REPORT))["bundled"]
    assert any(message in text for text in found["texts"]), found["texts"]
