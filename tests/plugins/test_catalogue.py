"""The catalogue: lazy by kind, found by id or name, empty and faulty ones with a defined answer."""

import subprocess
import sys

import pytest
from support.bundled import bundled_catalogue, ids
from support.commands import MOTOR
from support.entry_points import point
from support.trains import simple_controller, simple_motor, simple_pack, simple_propeller

from propmatch.catalogue.catalogue import Catalogue, load_catalogue
from propmatch.catalogue.plugins import build_manager
from propmatch.faults import Fault, InputFaults
from propmatch.hookspecs import PartRow, PartSet, hookimpl
from propmatch.records.parts import KINDS

STATOR = MOTOR.rpartition("-")[0]
NAME = bundled_catalogue().motors[MOTOR].name


@pytest.fixture(scope="module")
def bundled():
    return bundled_catalogue()


def test_a_kind_is_read_when_it_is_first_used():
    read = []

    def sets(kind, *parts):
        def load():
            read.append(kind)
            return parts

        return hookimpl(lambda: [PartSet(id="set", description="", source="", load=load)])

    plugin = point(
        "mine",
        propmatch_motors=sets("motors", simple_motor()),
        propmatch_packs=sets("packs", simple_pack()),
    )
    catalogue = Catalogue(build_manager(found=[plugin], only=["mine"]))
    assert read == []
    assert len(catalogue.packs) == len(catalogue.packs) == 1
    assert read == ["packs"]
    assert catalogue.motors
    assert read == ["packs", "motors"]


def test_parts_cannot_be_changed_through_the_catalogue(bundled):
    with pytest.raises(TypeError):
        bundled.motors["x"] = 1


def test_ids_are_plugin_and_part_and_the_part_knows_its_own(bundled):
    for kind in KINDS:
        for name, part in bundled.parts(kind).items():
            assert name.startswith("bundled/")
            assert part.id == name


def test_select_by_glob_text_and_condition(bundled):
    same = [name for name in bundled.motors if name.startswith(STATOR)]
    assert len(same) > 1
    assert list(bundled.select("motors", f"{STATOR.removeprefix('bundled/')}*")) == same
    size = ids("propellers", diameter_in=6.0, pitch_in=3.9)
    assert len(size) > 1
    assert list(bundled.select("propellers", "6X3.9")) == size
    light = bundled.select("packs", "2s*", where=lambda pack: pack.mass_g < 20)
    assert list(light) == ids("packs", cells_series=2, mass_g=(0, 19.99))
    assert dict(bundled.select("controllers")) == dict(bundled.controllers)
    assert bundled.select("motors", "no such motor") == {}


def test_restricted_keeps_the_other_kinds(bundled):
    other = ids("motors", mass_g=(100, 1000))[0]
    few = bundled.restricted(motors=[other.removeprefix("bundled/"), f"{STATOR}*"], packs="3s-480*")
    assert list(few.motors) == [*(name for name in bundled.motors if name.startswith(STATOR)), other]
    assert list(few.packs) == ids("packs", cells_series=3, capacity_mah=480)
    assert dict(few.propellers) == dict(bundled.propellers)
    with pytest.raises(ValueError, match="no kind 'batteries' of parts; the kinds are motors"):
        bundled.restricted(batteries="*")


@pytest.mark.parametrize(
    "text", [MOTOR, MOTOR.removeprefix("bundled/"), NAME.capitalize(), f"{NAME.lower().removesuffix('0')}*"]
)
def test_find_by_id_half_id_name_and_glob(bundled, text):
    assert bundled.find("motors", text).id == MOTOR


def test_find_says_what_comes_near(bundled):
    short = MOTOR.removeprefix("bundled/")
    wrong = f"{short[:-1]}1"
    with pytest.raises(InputFaults, match=rf"motors: '{wrong}': no part with this id or name; did you mean {short}"):
        bundled.find("motors", wrong)
    same = [name for name in bundled.motors if name.startswith(STATOR)]
    with pytest.raises(InputFaults, match=f"means {len(same)} parts; say which: {same[0]}, "):
        bundled.find("motors", STATOR.removeprefix("bundled/"))
    with pytest.raises(InputFaults, match="'propmatch parts packs' lists them"):
        bundled.find("packs", "§§§")
    with pytest.raises(ValueError, match="the kinds are motors, controllers, packs, propellers"):
        bundled.find("wings", "x")


def test_an_empty_catalogue_names_every_kind_it_lacks():
    empty = load_catalogue(plugins=[])
    assert [dict(empty.parts(kind)) for kind in KINDS] == [{}, {}, {}, {}]
    with pytest.raises(InputFaults) as caught:
        empty.require()
    assert [str(fault) for fault in caught.value.faults] == [
        f"catalogue: {kind}: the catalogue has no {kind}; plugins loaded: none" for kind in KINDS
    ]
    load_catalogue(plugins=["bundled"]).require()


def test_an_empty_kind_says_how_many_were_set_aside():
    rows = hookimpl(lambda: [PartSet(id="set", description="", source="a test", load=lambda: [{}, {}])])
    catalogue = Catalogue(build_manager(found=[point("mine", propmatch_packs=rows)], only=["mine"]))
    with pytest.raises(
        InputFaults, match="the catalogue has no packs; 2 were set aside, see the faults; plugins loaded"
    ):
        catalogue.require("packs")


def test_a_catalogue_of_given_parts():
    own = Catalogue.of(
        motors=[simple_motor(name="m"), simple_motor(name="n", id="lab/n")], packs=[simple_pack(name="p")]
    )
    assert list(own.motors) == ["m", "lab/n"]
    assert own.motors["m"].id == "m"
    assert own.faults == ()
    assert own.find("motors", "n").id == "lab/n"
    assert dict(own.propellers) == {}
    with pytest.raises(InputFaults, match="two parts have this id"):
        Catalogue.of(propellers=[simple_propeller(name="p"), simple_propeller(name="p")])


def test_strict_reads_everything_and_raises_every_fault(monkeypatch):
    rows = hookimpl(lambda: [PartSet(id="set", description="", source="a test", load=lambda: [{"name": "x"}])])
    plugin = point("mine", propmatch_packs=rows)
    monkeypatch.setattr("propmatch.catalogue.plugins.entry_points", lambda **options: [plugin])
    assert len(load_catalogue().faults) == 4
    with pytest.raises(InputFaults) as caught:
        load_catalogue(strict=True)
    assert len(caught.value.faults) == 4


def test_assumptions_of_a_part_with_gaps(bundled):
    listed = ids("motors", no_load_current_a=None)[0]
    made = {each.field for each in bundled.assumptions("motors", listed)}
    assert {"kv_rpm_per_v", "resistance_ohm", "no_load_current_a", "max_power_w"} <= made
    whole = ids("packs", cell_resistance_mohm=(0.0, 1000.0))[0]
    assert bundled.assumptions("packs", whole) == ()


def test_warnings_are_apart_from_faults():
    own = Catalogue.of(
        motors=[simple_motor(name="m", resistance_ohm=9.0)], controllers=[simple_controller(name="c", mass_g=900.0)]
    )
    assert own.faults == ()
    assert [(warning.where, warning.key, warning.kind) for warning in own.warnings] == [
        ("m", "resistance_ohm", "warning"),
        ("c", "mass_g", "warning"),
    ]


def test_reading_the_whole_catalogue_needs_neither_scipy_nor_pandas():
    code = (
        "import sys; from propmatch import load_catalogue; c = load_catalogue(plugins=['bundled']); "
        "[c.parts(kind) for kind in ('motors', 'controllers', 'packs', 'propellers')]; "
        "print([m for m in ('scipy', 'pandas') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_faults_that_a_reader_hands_over_are_kept_and_counted():
    fault = Fault(where="motors.csv:7", rule="this line has 3 fields, the heading 5")
    remark = Fault(where="motors.csv", rule="decimal commas", kind="warning")
    rows = [
        fault,
        remark,
        PartRow(where="motors.csv:8", faults=(fault,), rows=3),
        PartRow(where="motors.csv:9", part=simple_motor(name="m")),
    ]
    sets = [PartSet(id="set", description="", source="a test", load=lambda: rows), "not a set"]
    catalogue = Catalogue(build_manager(found=[point("mine", propmatch_motors=hookimpl(lambda: sets))], only=["mine"]))
    assert list(catalogue.motors) == ["mine/m"]
    assert catalogue.faults == (fault, remark, fault)
    assert catalogue.set_aside("motors") == 4
    assert "must answer a list of PartSet, found str" in str(catalogue.broken[0])
