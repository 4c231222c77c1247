"""Every hook: documented with its exact signature, tested, free of defaults, and cheap to import."""

import inspect
import re
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from support.entry_points import point
from support.trains import constant_table, simple_controller, simple_motor, simple_pack, simple_propeller

from propmatch import hookspecs
from propmatch.battery import CHEMISTRIES, Chemistry
from propmatch.catalogue.catalogue import Catalogue
from propmatch.catalogue.plugins import build_manager
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
    try:
        assert catalogue.chemistries["made up"].cell_ocv_v(0.5) == pytest.approx(3.05)
        assert list(catalogue.packs) == ["mine/p"]
        assert catalogue.set_aside("packs") == 1
        texts = [str(fault) for fault in catalogue.faults]
        assert any("'lipo'" in text and "plugin 'mine'" in text for text in texts)
        assert any("did you mean made up?" in text for text in texts)
        assert catalogue.chemistries["lipo"].ocv_v[-1] == 4.2
    finally:
        CHEMISTRIES.pop("made up")


def test_hook_propmatch_coefficient_table():
    measured, bare = simple_propeller(name="measured"), simple_propeller(name="bare", table=None)
    seen = []

    def answer(propeller, siblings):
        seen.append((propeller.name, [each.name for each in siblings]))
        return TableAnswer(table=constant_table(ct=0.08), source=Source(text="guess", kind="predicted"))

    catalogue = catalogue_of(
        propmatch_propellers=hookimpl(lambda: [set_of(measured, bare)]),
        propmatch_coefficient_table=hookimpl(answer),
    )
    assert catalogue.listed("propellers")["mine/bare"].table is None
    assert seen == []
    assert catalogue.propellers["mine/bare"].table.ct[0, 0] == 0.08
    assert catalogue.propellers["mine/bare"].source.text == "guess"
    assert seen == [("bare", ["measured"])]


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


def test_hook_propmatch_checks():
    def broken(design, brief):
        raise RuntimeError("out of paper")

    checks = [
        ExtraCheck(id="good", description="", run=lambda design, brief: [f"{design} for {brief}"]),
        ExtraCheck(id="bad", description="", run=broken),
    ]
    catalogue = catalogue_of(propmatch_checks=hookimpl(lambda: checks))
    assert catalogue.extra_checks("design", "brief") == ["design for brief"]
    assert "plugin 'mine' from dist-mine 2.0: failed when asked for propmatch_checks, 'bad'" in str(catalogue.broken[0])


def test_hook_propmatch_sheet_sections():
    section = SheetSection(id="paint", title="Paint", build=lambda design, brief: {"colour": "yellow"})
    catalogue = catalogue_of(propmatch_sheet_sections=hookimpl(lambda: [section, "not a section"]))
    assert catalogue.extra_sections(None, None) == {"Paint": {"colour": "yellow"}}
    assert "must answer a list of SheetSection" in str(catalogue.broken[0])
