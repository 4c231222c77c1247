"""The plugin manager: one at a time, rolled back when broken, recorded with its owner, the rest unharmed."""

import copy
import os
import pickle
import subprocess
import sys
import threading
import time
from importlib.metadata import EntryPoint

import pytest
from support.entry_points import FakeEntryPoint, module_of, point, raising_point
from support.trains import simple_motor, simple_propeller

from propmatch.catalogue.catalogue import Catalogue, load_catalogue
from propmatch.catalogue.plugins import FIRST_PARTY, build_manager
from propmatch.faults import InputFaults
from propmatch.hookspecs import HOOK_VERSION, PartSet, hookimpl
from propmatch.models.pack import CHEMISTRIES


def motors_of(*parts):
    return hookimpl(lambda: [PartSet(id="set", description="a set", source="a test", load=lambda: list(parts))])


def good(name="good", part="fine"):
    return point(name, propmatch_motors=motors_of(simple_motor(name=part)))


def catalogue_of(*points, **options):
    """A catalogue of the bundled plugin and these."""
    return Catalogue(build_manager(found=points, **options))


def the_rest_is_unharmed(catalogue):
    """The bundled catalogue and the good plugin beside the broken one are all there."""
    motors = catalogue.motors
    alone = load_catalogue(plugins=["bundled"])
    assert [name for name in motors if name.startswith("bundled/")] == list(alone.motors)
    assert "good/fine" in motors
    assert list(catalogue.packs) == list(alone.packs)


@hookimpl
def unmarked_argument(colour):
    return []


@hookimpl
def raising():
    raise ZeroDivisionError("division by zero")


def raising_load():
    yield {"name": "read before", "kv_rpm_per_v": 1000, "mass_g": 30}
    raise OSError("the disk is gone")


def whole_set(load, **changes):
    return PartSet(**{"id": "set", "description": "a set", "source": "a test", "load": load} | changes)


def raise_(error):
    raise error


class Speechless(BaseException):
    def __str__(self):
        raise RuntimeError


BROKEN = {
    "import error": (
        raising_point("broken", ModuleNotFoundError("No module named 'gone'")),
        "import",
        "plugin 'broken' from dist-broken 2.0: could not be imported: ModuleNotFoundError: No module named 'gone'",
    ),
    "wrong hook name": (
        point("broken", propmatch_motor=motors_of()),
        "verify",
        "plugin 'broken' from dist-broken 2.0: does not fit the hooks: there is no hook named propmatch_motor; "
        "did you mean propmatch_motors?",
    ),
    "wrong argument": (
        point("broken", propmatch_motors=unmarked_argument),
        "register",
        "plugin 'broken' from dist-broken 2.0: could not be registered: propmatch_motors asks for colour, but this "
        "hook takes no argument",
    ),
    "raising hook": (
        point("broken", propmatch_motors=raising),
        "call",
        "plugin 'broken' from dist-broken 2.0: failed when asked for propmatch_motors: ZeroDivisionError: division by "
        "zero",
    ),
    "raising load": (
        point(
            "broken",
            propmatch_motors=hookimpl(
                lambda: [PartSet(id="set", description="a set", source="a test", load=raising_load)]
            ),
        ),
        "call",
        "plugin 'broken' from dist-broken 2.0: failed when asked for propmatch_motors, set 'set': OSError: the disk is "
        "gone",
    ),
    "default value": (
        point("broken", propmatch_file_reader=hookimpl(lambda path="x.csv": None)),
        "verify",
        "plugin 'broken' from dist-broken 2.0: does not fit the hooks: propmatch_file_reader(path=...) has a default "
        "value, which would hide what is passed; write the argument without one",
    ),
    "mark forgotten": (
        point("broken", propmatch_motors=lambda: []),
        "verify",
        "plugin 'broken' from dist-broken 2.0: does not fit the hooks: propmatch_motors lacks the mark @hookimpl in "
        "front of it",
    ),
    "nothing in it": (
        point("broken"),
        "verify",
        "plugin 'broken' from dist-broken 2.0: does not fit the hooks: it implements no hook; mark its functions with "
        "@hookimpl",
    ),
    "wrapper": (
        point("broken", propmatch_motors=hookimpl(wrapper=True)(lambda: (yield))),
        "verify",
        "plugin 'broken' from dist-broken 2.0: does not fit the hooks: propmatch_motors is a wrapper, and plugins are "
        "called one at a time",
    ),
    "leaves the program": (
        raising_point("broken", SystemExit("bye")),
        "import",
        "plugin 'broken' from dist-broken 2.0: could not be imported: SystemExit: bye",
    ),
    "wrong answer": (
        point("broken", propmatch_motors=hookimpl(lambda: "motors.csv")),
        "verify",
        "plugin 'broken' from dist-broken 2.0: does not fit the hooks for propmatch_motors: must answer a list of "
        "PartSet, not str",
    ),
    "newer rows": (
        point(
            "broken",
            propmatch_motors=hookimpl(
                lambda: [PartSet(id="set", description="", source="", load=list, schema_version=99)]
            ),
        ),
        "verify",
        "plugin 'broken' from dist-broken 2.0: does not fit the hooks for propmatch_motors: set 'set' has row layout "
        "99, this version reads up to 1",
    ),
    "leaves the program when asked": (
        point("broken", propmatch_motors=hookimpl(lambda: sys.exit(3))),
        "call",
        "plugin 'broken' from dist-broken 2.0: failed when asked for propmatch_motors: SystemExit: 3",
    ),
    "leaves the program while its parts are read": (
        point("broken", propmatch_motors=hookimpl(lambda: [whole_set(lambda: sys.exit(3))])),
        "call",
        "plugin 'broken' from dist-broken 2.0: failed when asked for propmatch_motors, set 'set': SystemExit: 3",
    ),
    "raises between its sets": (
        point("broken", propmatch_motors=hookimpl(lambda: (1 / 0 for _ in "x"))),
        "call",
        "plugin 'broken' from dist-broken 2.0: failed when asked for propmatch_motors: ZeroDivisionError: division by "
        "zero",
    ),
    "raises what cannot be said": (
        point("broken", propmatch_motors=hookimpl(lambda: raise_(Speechless()))),
        "call",
        "plugin 'broken' from dist-broken 2.0: failed when asked for propmatch_motors: Speechless: (no words)",
    ),
    "a set without its words": (
        point("broken", propmatch_motors=hookimpl(lambda: [whole_set(list, source=None)])),
        "call",
        "plugin 'broken' from dist-broken 2.0: failed when asked for propmatch_motors: TypeError: PartSet.source must "
        "be a text, not NoneType",
    ),
    "nothing is read": (
        point("broken", propmatch_motors=hookimpl(lambda: [whole_set(lambda: None)])),
        "call",
        "plugin 'broken' from dist-broken 2.0: failed when asked for propmatch_motors, set 'set': TypeError: "
        "'NoneType' object is not iterable",
    ),
    "changes what all share": (
        point("broken", propmatch_motors=hookimpl(lambda: CHEMISTRIES.clear())),
        "call",
        "plugin 'broken' from dist-broken 2.0: failed when asked for propmatch_motors: AttributeError: 'mappingproxy' "
        "object has no attribute 'clear'",
    ),
    "a class": (
        FakeEntryPoint("broken", lambda: PartSet),
        "register",
        "plugin 'broken' from dist-broken 2.0: could not be registered: a plugin is a module or an object, not a class",
    ),
}


@pytest.mark.parametrize("case", BROKEN)
def test_a_broken_plugin_is_recorded_and_the_rest_is_unharmed(case):
    broken, phase, message = BROKEN[case]
    catalogue = catalogue_of(broken, good())
    the_rest_is_unharmed(catalogue)
    assert len(catalogue.broken) == 1
    assert str(catalogue.broken[0]).startswith(message)
    record = catalogue.broken[0]
    assert (record.name, record.distribution, record.version, record.phase) == ("broken", "dist-broken", "2.0", phase)
    assert isinstance(record.exception, BaseException)


@pytest.mark.parametrize("case", BROKEN)
def test_strict_raises_what_would_be_recorded(case):
    broken, _, message = BROKEN[case]
    with pytest.raises(InputFaults) as caught:
        dict(catalogue_of(broken, good(), strict=True).motors)
    assert message in str(caught.value)


def test_a_refused_plugin_leaves_nothing_behind():
    report = build_manager(found=[BROKEN["wrong hook name"][0], BROKEN["wrong argument"][0]])
    assert list(report.plugins) == list(FIRST_PARTY)
    assert [name for name, _ in report.manager.list_name_plugin()] == list(FIRST_PARTY)
    assert report.manager.check_pending() is None


def test_rows_read_before_a_load_fails_are_kept():
    assert "broken/read before" in catalogue_of(BROKEN["raising load"][0]).motors


def test_invalid_parts_are_set_aside_with_all_their_faults():
    bad = {"id": "bad", "name": "bad", "kv_rpm_per_v": -5, "mass_g": float("nan"), "colour": "red"}
    catalogue = catalogue_of(point("broken", propmatch_motors=motors_of(bad, {"mass_g": 3}, 7)), good())
    the_rest_is_unharmed(catalogue)
    assert catalogue.set_aside("motors") == 3
    assert [str(fault) for fault in catalogue.faults if "broken" in fault.where] == [
        "broken:set:1: colour: unknown key; known keys: " + str(catalogue.faults[0]).partition("known keys: ")[2],
        "broken:set:1: kv_rpm_per_v = -5: must be a number at least 20 and at most 30000 rpm/V",
        "broken:set:1: mass_g = nan: must be finite: a number at least 0.5 and at most 5000 g",
        "broken:set:2: name: missing; needs a text",
        "broken:set:2: kv_rpm_per_v: missing; needs a number at least 20 and at most 30000 rpm/V",
        "broken:set:3: 'int': must be a row of keys or a Motor",
    ]


def test_duplicate_ids_are_a_fault_that_names_both_places():
    first, again = simple_motor(name="same"), simple_motor(name="same", mass_g=99.0)
    catalogue = catalogue_of(point("broken", propmatch_motors=motors_of(first, again)), good())
    the_rest_is_unharmed(catalogue)
    assert [str(fault) for fault in catalogue.faults] == [
        "broken:set:2: id = 'broken/same': this id is taken by the part at broken:set:1; an id names one part, the "
        "second is set aside"
    ]
    assert catalogue.motors["broken/same"].mass_g == first.mass_g


def test_the_same_part_in_two_plugins_is_no_duplicate():
    catalogue = catalogue_of(good("a", "same"), good("b", "same"))
    assert catalogue.faults == ()
    assert [name for name in catalogue.motors if name.endswith("same")] == ["a/same", "b/same"]


def test_a_taken_name_is_recorded_with_both_distributions():
    report = build_manager(found=[
        point("mine", distribution="zebra", propmatch_motors=motors_of()),
        point("mine", distribution="ant", propmatch_motors=motors_of()),
        point("bundled", distribution="thief", propmatch_motors=motors_of()),
    ])  # fmt: skip
    assert report.plugins["mine"].distribution == "ant"
    assert report.plugins["bundled"].entry_point == FIRST_PARTY["bundled"]
    texts = sorted(str(each) for each in report.broken)
    assert texts[0].startswith(
        "plugin 'bundled' from thief 2.0: could not be registered: the name 'bundled' is taken by "
        "propmatch_plugins.bundled from propmatch "
    )
    assert texts[1] == (
        "plugin 'mine' from zebra 2.0: could not be registered: the name 'mine' is taken by mine_module from ant 2.0; "
        "one of the two needs another entry-point name"
    )


def test_the_same_module_twice_is_recorded():
    module = module_of(propmatch_motors=motors_of())
    report = build_manager(found=[FakeEntryPoint(name, lambda: module) for name in ("one", "two")])
    assert "already loaded as plugin 'one'" in str(report.broken[0])
    assert "two" not in report.plugins


def test_order_is_by_name_whatever_the_order_of_discovery():
    points = [good(name) for name in ("c", "a", "b")]
    names = [list(build_manager(found=order).plugins) for order in (points, points[::-1])]
    assert names[0] == names[1] == sorted(names[0])
    report = build_manager(found=points, only=["a", "b", "c"])
    assert [answer.plugin for answer in report.ask("propmatch_motors")] == ["a", "b", "c"]


def test_every_manager_is_new():
    one, two = build_manager(found=[good()]), build_manager(found=[])
    assert "good" in one.plugins
    assert "good" not in two.plugins
    assert one.manager is not two.manager


def test_the_variable_limits_what_is_loaded(monkeypatch):
    monkeypatch.setenv("PROPMATCH_PLUGINS", "")
    assert dict(build_manager(found=[good()]).plugins) == {}
    monkeypatch.setenv("PROPMATCH_PLUGINS", " good , bundeld")
    report = build_manager(found=[good()])
    assert list(report.plugins) == ["good"]
    assert [str(each) for each in report.broken] == [
        "plugin 'bundeld': not found: no installed distribution offers it; did you mean bundled?"
    ]
    assert list(build_manager(found=[good()], only=["bundled"]).plugins) == ["bundled"]


def test_a_plugin_outside_the_limit_is_not_even_imported():
    report = build_manager(found=[raising_point("broken", RuntimeError("imported"))], only=["bundled"])
    assert report.broken == []


def test_first_party_plugins_need_no_metadata():
    report = build_manager(found=[])
    assert {name: plugin.entry_point for name, plugin in report.plugins.items()} == FIRST_PARTY
    assert {plugin.distribution for plugin in report.plugins.values()} == {"propmatch"}
    again = build_manager(found=[EntryPoint(name, value, "propmatch") for name, value in FIRST_PARTY.items()])
    assert again.broken == []


def test_installed_metadata_lists_the_first_party_plugins():
    from importlib.metadata import entry_points

    installed = {each.name: each.value for each in entry_points(group="propmatch") if each.dist.name == "propmatch"}
    assert installed == FIRST_PARTY


def test_one_failure_is_recorded_once():
    report = build_manager(found=[BROKEN["raising hook"][0]])
    for _ in range(3):
        list(report.ask("propmatch_motors"))
    assert len(report.broken) == 1


NEWER = {
    "marked optional": {"propmatch_airframes": hookimpl(optionalhook=True)(lambda: [])},
    "of a newer version": {"propmatch_airframes": hookimpl(lambda: []), "HOOK_VERSION": HOOK_VERSION + 1},
}


@pytest.mark.parametrize("case", NEWER)
def test_a_hook_that_is_not_known_yet_does_not_lose_the_plugin(case):
    functions = {"propmatch_motors": motors_of(simple_motor(name="m")), **NEWER[case]}
    catalogue = catalogue_of(point("newer", **functions))
    assert catalogue.broken == ()
    assert "newer/m" in catalogue.motors
    note = next(str(fault) for fault in catalogue.faults if "propmatch_airframes" in str(fault))
    assert "there is no hook named propmatch_airframes in this version; it is passed over" in note
    assert ("hooks of version 2, these are 1" in note) == ("HOOK_VERSION" in functions)
    assert catalogue_of(point("newer", **functions), strict=True).motors["newer/m"]


def test_what_a_plugin_prints_is_kept_out_of_the_answer(capfd):
    """By Python, past it as a library in C would, and by a program that it begins."""

    def load():
        print("reading")
        sys.stderr.flush()
        os.write(1, b"past Python\n")
        subprocess.run([sys.executable, "-c", "print('a program')"], check=True)
        return [simple_motor(name="m")]

    print("before")
    assert "loud/m" in catalogue_of(point("loud", propmatch_motors=hookimpl(lambda: [whole_set(load)]))).motors
    print("after")
    said = capfd.readouterr()
    assert (said.out, said.err) == ("before\nafter\n", "reading\npast Python\na program\n")


def test_standard_output_comes_back_after_plugins_in_several_threads(capfd):
    """The first to go in may be the last to come out."""
    both = threading.Barrier(2)

    def load(wait_s):
        def run():
            both.wait()
            time.sleep(wait_s)
            os.write(1, b"noise\n")
            return [simple_motor(name="m")]

        return run

    def ask(wait_s):
        loud = point("loud", propmatch_motors=hookimpl(lambda: [whole_set(load(wait_s))]))
        assert "loud/m" in catalogue_of(loud).motors

    threads = [threading.Thread(target=ask, args=(wait_s,)) for wait_s in (0.0, 0.1)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    os.write(1, b"ours\n")
    print("ours")
    said = capfd.readouterr()
    assert sorted(said.out.split()) == ["ours", "ours"]
    assert said.err == "noise\nnoise\n"


def test_a_plugin_that_takes_long_is_named_while_it_does(capsys, monkeypatch):
    monkeypatch.setattr("propmatch.catalogue.plugins.SLOW_S", 0.05)
    seen = []

    def load():
        time.sleep(0.3)
        seen.append(capsys.readouterr().err)
        return [simple_motor(name="m")]

    catalogue = catalogue_of(point("slow", propmatch_motors=hookimpl(lambda: [whole_set(load)])))
    assert "slow/m" in catalogue.motors
    assert seen == [
        "plugin 'slow' has taken 0.05 s for propmatch_motors, set 'set' and is not done; Ctrl-C ends the wait\n"
    ]
    assert [(fault.where, fault.kind) for fault in catalogue.faults] == [("plugin 'slow'", "note")]


def test_parts_are_copied_at_the_door_and_read_only():
    mine = simple_propeller(name="p", id="own/p")
    catalogue = catalogue_of(point("own", propmatch_propellers=hookimpl(lambda: [whole_set(lambda: [mine])])))
    found, before = catalogue.propellers["own/p"], mine.table.ct.copy()
    assert found.table is not mine.table
    for array in (found.table.ct, mine.table.ct, CHEMISTRIES["lipo"].ocv_v):
        with pytest.raises(ValueError, match="WRITEABLE"):
            array.setflags(write=True)
    object.__setattr__(mine, "mass_g", 1e6)
    object.__setattr__(mine.table, "ct", before * 2)
    assert found.mass_g != 1e6
    assert (found.table.ct == before).all()


def test_a_catalogue_travels_with_its_plugins():
    catalogue = catalogue_of(good(), BROKEN["raises what cannot be said"][0])
    near, far = copy.deepcopy(catalogue), pickle.loads(pickle.dumps(catalogue))
    for each in (near, far):
        assert list(each.motors) == list(catalogue.motors)
        assert list(each.propellers) == list(catalogue.propellers)
        assert "good/fine" in each.motors
        assert list(map(str, each.broken)) == list(map(str, catalogue.broken))
        assert not next(iter(each.propellers.values())).table.ct.flags.writeable
        assert each.plugins.first("propmatch_motors").plugin == "bundled"


def test_an_interrupt_goes_through():
    with pytest.raises(KeyboardInterrupt):
        build_manager(found=[raising_point("broken", KeyboardInterrupt())])


def test_a_ready_object_can_be_added():
    report = build_manager(found=[])
    report.add("mine", module_of(propmatch_motors=motors_of(simple_motor(name="m"))))
    report.add("worse", module_of())
    assert "mine/m" in Catalogue(report).motors
    assert str(report.broken[0]).startswith("plugin 'worse': does not fit the hooks")
    with pytest.raises(InputFaults):
        build_manager(found=[], strict=True).add("worse", module_of())


def test_loading_the_manager_reads_no_table():
    import subprocess

    code = (
        "import sys; from propmatch.catalogue.plugins import build_manager; build_manager(); "
        "print([m for m in ('scipy', 'pandas', 'propmatch_datasets', 'csv') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert "scipy" not in done.stdout
    assert "pandas" not in done.stdout
    assert "propmatch_datasets" not in done.stdout
