"""Every hook: documented with its exact signature, tested, free of defaults, and cheap to import."""

import inspect
import pickle
import re
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from support.entry_points import point
from support.trains import constant_table, simple_controller, simple_motor, simple_pack, simple_propeller

from propmatch import hookspecs
from propmatch.battery import CHEMISTRIES, Chemistry, chemistry_of
from propmatch.catalogue.catalogue import Catalogue
from propmatch.catalogue.plugins import build_manager
from propmatch.checks.limits import Check
from propmatch.hookspecs import ExtraCheck, PartRow, PartSet, SheetSection, TableAnswer, hookimpl
from propmatch.records.parts import Source

ROOT = Path(__file__).parents[2]
HOOKS = {
    name: function
    for name, function in vars(hookspecs).items()
    if name.startswith("propmatch_") and inspect.isfunction(function)
}


def catalogue_of(**functions):
    """A catalogue of one made-up plugin named ``mine``."""
    report = build_manager(only=["mine"], found=[point("mine", **functions)])
    assert report.broken == []
    return Catalogue(report)


def set_of(*parts, **changes):
    values = {"id": "set", "description": "a set", "source": "a test", "load": lambda: list(parts)} | changes
    return PartSet(**values)


def test_every_hook_has_a_test():
    tests = [name for name in globals() if name.startswith("test_hook_")]
    missing = [hook for hook in HOOKS if f"test_hook_{hook}" not in tests]
    assert missing == []


def test_every_hook_has_a_heading_with_its_signature_in_the_guide():
    headings = re.findall(r"^### (propmatch_.*)$", (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8"), re.M)
    wanted = [f"{name}({', '.join(inspect.signature(function).parameters)})" for name, function in HOOKS.items()]
    assert sorted(headings) == sorted(wanted)


@pytest.mark.parametrize("name", HOOKS)
def test_hooks_are_documented_and_have_no_defaults(name):
    assert HOOKS[name].__doc__
    assert all(each.default is inspect.Parameter.empty for each in inspect.signature(HOOKS[name]).parameters.values())


def test_the_marks_import_nothing_heavy():
    code = (
        "import sys; from propmatch import hookimpl; "
        "print([m for m in ('numpy', 'scipy', 'pandas', 'propmatch.records.parts') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_hook_propmatch_motors():
    motor = simple_motor(name="silver")
    row = {"name": "grey", "kv_rpm_per_v": 2000, "mass_g": 20, "max_current_a": None}
    found = catalogue_of(propmatch_motors=hookimpl(lambda: [set_of(motor, row)])).motors
    assert list(found) == ["mine/silver", "mine/grey"]
    assert found["mine/grey"].source == Source(text="a test", kind="assumed")
    assert found["mine/grey"].max_current_a is None
    assert found["mine/silver"].id == "mine/silver"


def test_hook_propmatch_controllers():
    found = catalogue_of(propmatch_controllers=hookimpl(lambda: [set_of(simple_controller(name="c"))])).controllers
    assert list(found) == ["mine/c"]


def test_hook_propmatch_packs():
    row = PartRow(
        values={"id": "p", "name": "a pack", "cells_series": 2, "capacity_mah": 450, "c_rating": 30, "mass_g": 28,
                "source": "shop", "source_kind": "data sheet", "uncertainty": 0.1},
        where="file.csv:2",
    )  # fmt: skip
    pack = catalogue_of(propmatch_packs=hookimpl(lambda: [set_of(row, simple_pack(name="q"))])).packs["mine/p"]
    assert pack.source == Source(text="shop", kind="data sheet", uncertainty=0.1)


def test_hook_propmatch_propellers():
    catalogue = catalogue_of(propmatch_propellers=hookimpl(lambda: [set_of(simple_propeller(name="p"))]))
    assert catalogue.propellers["mine/p"].table is not None


def test_hook_propmatch_chemistries():
    own = Chemistry(name="made up", charge=[0, 1], ocv_v=[2.5, 3.6], source="a test")
    clash = Chemistry(name="lipo", charge=[0, 1], ocv_v=[2.5, 3.6], source="a test")
    pack = simple_pack(name="p", chemistry="made up")
    other = simple_pack(name="q", chemistry="made upp")
    catalogue = catalogue_of(
        propmatch_chemistries=hookimpl(lambda: [own, clash]),
        propmatch_packs=hookimpl(lambda: [set_of(pack, other)]),
    )
    assert catalogue.chemistries["made up"].cell_ocv_v(0.5) == pytest.approx(3.05)
    assert list(catalogue.packs) == ["mine/p"]
    assert catalogue.set_aside("packs") == 1
    texts = [str(fault) for fault in catalogue.faults]
    assert any("'lipo'" in text and "plugin 'mine'" in text for text in texts)
    assert any("did you mean made up?" in text for text in texts)
    assert catalogue.chemistries["lipo"].ocv_v[-1] == 4.2
    assert "made up" not in CHEMISTRIES, "other catalogues do not know it"
    travelled = pickle.loads(pickle.dumps(catalogue.packs["mine/p"]))
    assert chemistry_of(travelled).cell_ocv_v(0.5) == pytest.approx(3.05), "the pack takes its cells with it"


def test_hook_propmatch_coefficient_table():
    tested = Source(text="bench", kind="measured")
    measured, foreign = (simple_propeller(name=f"{make} 8x4", source=tested) for make in ("reed", "other"))
    read = simple_propeller(name="reed 9x4", table=None, read_rpm=9000.0, read_thrust_gf=400.0)
    said, bare = (simple_propeller(name=name, table=None) for name in ("reed 6x4", "reed 7x4"))
    seen = {}

    def answer(propeller, siblings):
        seen[propeller.name] = [each.name for each in siblings]
        return TableAnswer(table=constant_table(ct=0.08), source=Source(text="guess", kind="predicted"))

    catalogue = catalogue_of(
        propmatch_propellers=hookimpl(lambda: [set_of(measured, foreign, read, said, bare)]),
        propmatch_coefficient_table=hookimpl(answer),
    )
    assert catalogue.listed("propellers")["mine/reed 7x4"].table is None
    assert seen == {}
    assert catalogue.propellers["mine/reed 7x4"].table.ct[0, 0] == 0.08
    assert catalogue.propellers["mine/reed 7x4"].source.text == "guess"
    assert seen["reed 7x4"] == ["reed 8x4", "reed 9x4"], "those of the make that were measured or read"
    assert seen["reed 9x4"] == ["reed 8x4"]


def test_propeller_without_table_is_set_aside_when_nobody_answers():
    bare = simple_propeller(name="bare", table=None)
    catalogue = catalogue_of(
        propmatch_propellers=hookimpl(lambda: [set_of(bare)]),
        propmatch_coefficient_table=hookimpl(lambda propeller: np.zeros(3)),
    )
    assert dict(catalogue.propellers) == {}
    assert catalogue.set_aside("propellers") == 1
    assert "no plugin answers one" in str(catalogue.faults[0])
    assert "must answer None or a TableAnswer of table and source, not ndarray" in str(catalogue.broken[0])


def test_hook_propmatch_file_reader():
    def reader(path):
        return (lambda path: [PartRow(values={}, where=str(path), kind="motors")]) if path.suffix == ".me" else None

    report = build_manager(
        only=["a", "b"],
        found=[point("b", propmatch_file_reader=hookimpl(reader)), point("a", propmatch_file_reader=hookimpl(reader))],
    )
    answer = report.first("propmatch_file_reader", path=Path("x.me"))
    assert answer.plugin == "a"
    assert next(iter(answer.value(Path("x.me")))).kind == "motors"
    assert report.first("propmatch_file_reader", path=Path("x.csv")) is None


def check(**changes):
    known = {"value": 1.0, "limit": 2.0, "unit": "g", "margin": 0.5, "verdict": "ok", "basis": "brief"}
    return Check(**{"name": "own", **known} | changes)


WRONG_CHECKS = {
    "no check": ("ok", "must answer checks, found str"),
    "a verdict of its own": (
        check(name="x", verdict="over"),
        "verdict 'over' must be one of ok, close, fails, no limit, unknown",
    ),
    "a built-in name": (check(name="climb"), "the name 'climb' is taken"),
    "no number": (check(name="x", value="much"), "value must be a number, NaN where there is none"),
    "no text": (check(name="x", note=7), "note must be a text"),
}


@pytest.mark.parametrize("case", WRONG_CHECKS)
def test_hook_propmatch_checks(case):
    def broken(design, brief):
        raise SystemExit("out of paper")

    def half(design, brief):
        yield check(name="half")
        raise RuntimeError("out of ink")

    wrong, words = WRONG_CHECKS[case]
    runs = {
        "good": lambda design, brief: [check(note=f"{design} for {brief}")],
        "bad": broken,
        "half": half,
        "wrong": lambda design, brief: [wrong, check(name="beside")],
        "again": lambda design, brief: [check()],
    }
    checks = [ExtraCheck(id=name, description="", run=run) for name, run in runs.items()]
    catalogue = catalogue_of(propmatch_checks=hookimpl(lambda: checks))
    found = catalogue.extra_checks("design", "brief")
    assert [each.name for each in found] == ["own", "beside"]
    assert found[0].note == "design for brief"
    assert not found[0].excluding, "whatever its basis"
    texts = [str(each).partition("2.0: ")[2] for each in catalogue.broken]
    assert sorted(texts) == sorted([
        "failed when asked for propmatch_checks, 'bad': SystemExit: out of paper",
        "failed when asked for propmatch_checks, 'half': RuntimeError: out of ink",
        f"does not fit the hooks for propmatch_checks, 'wrong': {words}",
        "does not fit the hooks for propmatch_checks, 'again': the name 'own' is taken",
    ])  # fmt: skip


def test_hook_propmatch_sheet_sections():
    builds = {"paint": {"colour": "yellow"}, "Paint": {"colour": "red"}, "odd": {"colour": 7}, "none": None}
    sections = [
        SheetSection(id=name, title=name.title(), build=lambda design, brief, lines=lines: lines)
        for name, lines in builds.items()
    ]
    catalogue = catalogue_of(propmatch_sheet_sections=hookimpl(lambda: [*sections, "not a section"]))
    assert catalogue.extra_sections(None, None) == {"Paint": {"colour": "yellow"}}
    texts = " ".join(map(str, catalogue.broken))
    for words in ("must answer a list of SheetSection", "there is a section 'Paint' already",
                  "must answer label and plain text of each line", "'NoneType' object is not iterable"):  # fmt: skip
        assert words in texts
