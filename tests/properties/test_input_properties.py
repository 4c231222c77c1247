"""Reading and filling in: every planted fault is found and none invented, whatever the mixture."""

import math
import tomllib
from typing import Any

import jsonschema
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from propmatch.brief import Brief, Phase, dump_brief, loads_brief, resolve_variants
from propmatch.faults import InputFaults
from propmatch.records.estimates import completed, usable_c
from propmatch.records.fields import Declared, build, declared, replace
from propmatch.records.parts import Airframe, Controller, Motor, Pack, Propeller
from propmatch.records.schema import record_schema
from propmatch.records.sections import Aircraft, Limits, Prefer, Site, Units, Variant, Wing
from propmatch.records.tomltext import key_lines

# ---------------------------------------------------------------- planted faults

GOOD = [
    "[aircraft]",
    'name = "logger"',
    "bare_mass_g = 265",
    "target_mass_g = 410",
    "[[variant]]",
    'name = "heavy"',
    "cd0 = 0.045",
    "[wing]",
    "area_dm2 = 16.0",
    "span_mm = 1100",
    "oswald = 0.8",
    "[limits]",
    "min_flight_minutes = 15",
    "cells = [2, 3]",
    "cutoff_cell_v = 3.3",
    "[[phase]]",
    'name = "climb"',
    "throttle = 1.0",
    "seconds = 25",
    "[[phase]]",
    'name = "cruise"',
    "airspeed_m_s = 11",
    "share = 1",
    "[site]",
    "altitude_m = 150",
    "[prefer]",
    "flight_time = 1.0",
]
# line, what stands there instead, the key that is at fault
PLANTED = {
    1: ("name = 7", "aircraft.name"),
    2: ("bare_mass_g = -265", "aircraft.bare_mass_g"),
    3: ("target_mass = 410", "aircraft.target_mass"),
    5: ("name = ''", "variant[1].name"),
    6: ('cd0 = "glider"', "variant[1].cd0"),
    8: ("area_dm2 = nan", "wing.area_dm2"),
    9: ("span_mm = 1e9", "wing.span_mm"),
    10: ("oswald = true", "wing.oswald"),
    12: ('min_flight_minutes = "15"', "limits.min_flight_minutes"),
    13: ("cells = [2, 7]", "limits.cells[2]"),
    14: ("cutoff_cell_v = -inf", "limits.cutoff_cell_v"),
    17: ("throttle = 1.0001", "phase[1].throttle"),
    18: ("seconds = 0", "phase[1].seconds"),
    21: ("airspeed = 11", "phase[2].airspeed"),
    22: ("share = -1", "phase[2].share"),
    24: ("altitude_m = [150]", "site.altitude_m"),
    26: ("nonsense = 1.0", "prefer.nonsense"),
}


@given(st.sets(st.sampled_from(sorted(PLANTED))))
def test_all_planted_faults_are_found_and_none_invented(lines: set[int]) -> None:
    text = [PLANTED[at][0] if at in lines else line for at, line in enumerate(GOOD)]
    expected = [(f"b.toml:{at + 1}", PLANTED[at][1]) for at in sorted(lines)]
    try:
        loads_brief("\n".join(text), "b.toml")
        found = []
    except InputFaults as error:
        found = [(fault.where, fault.key) for fault in error.faults]
    assert found == expected


@given(st.lists(st.tuples(st.sampled_from(["plain", "table", "list"]), st.integers(0, 4)), max_size=12))
def test_lines_of_keys_agree_with_where_they_were_written(parts: list[tuple[str, int]]) -> None:
    text, expected, prefix, counts, seen = [], {}, "", 0, set()
    for kind, size in parts:
        text += ["# comment = [", ""] * (size % 2)
        if kind == "plain":
            key = f"k{len(text)}"
            value = ["1", '"""\n[x]\ny = 2"""', "[1,\n 2,\n]", "'#'", "{a = 1}"][size]
            expected[f"{prefix}.{key}" if prefix else key] = sum(t.count("\n") + 1 for t in text) + 1
            text.append(f"{key} = {value} # z = [")
        else:
            number = sum(t.count("\n") + 1 for t in text) + 1
            name = f"t{number}" if kind == "table" else "many"
            counts += kind == "list"
            prefix = name if kind == "table" else f"many[{counts}]"
            text.append(f"[{name}]" if kind == "table" else "[[many]]")
            expected[prefix] = number
            if kind == "list" and "many" not in seen:
                expected["many"] = number
                seen.add("many")
    whole = "\n".join(text)
    tomllib.loads(whole)
    assert key_lines(whole) == expected


# ---------------------------------------------------------------- any record

ODD = st.text("a \"'\\#=[]{}\n\t\x00\x7féжx", max_size=8)
NAMES = st.builds(lambda before, after: before + "x" + after, ODD, ODD)


def values(rule: Declared) -> st.SearchStrategy[Any]:
    """Values that the declaration of one field allows."""
    if rule.kind in ("number", "integer", "words or number"):
        low = rule.ge if rule.ge is not None else rule.gt
        high = rule.le if rule.le is not None else rule.lt
        if rule.kind == "integer":
            return st.integers(int(low), int(high))
        floats = st.floats(low, high, exclude_min=rule.ge is None, exclude_max=rule.le is None)
        return floats if rule.kind == "number" else st.one_of(floats, st.sampled_from(rule.options))
    if rule.kind == "choice":
        return st.sampled_from(rule.options)
    if rule.kind == "many" and isinstance(rule.item, type):
        return st.lists(mappings(rule.item), max_size=2)
    if rule.kind == "many":
        return st.lists(values(rule.item), max_size=3, unique=True)
    if rule.kind == "flag":
        return st.booleans()
    assert rule.kind == "text"
    return NAMES


def mappings(cls: type) -> st.SearchStrategy[dict[str, Any]]:
    rules = [rule for rule in declared(cls) if rule.kind not in ("one", "instance", "numbers", "row")]
    needed = {rule.name: values(rule) for rule in rules if rule.required}
    return st.fixed_dictionaries(needed, optional={rule.name: values(rule) for rule in rules if not rule.required})


def records(cls: type) -> st.SearchStrategy[Any]:
    return mappings(cls).map(lambda mapping: build(cls, mapping, "f")[0]).filter(lambda made: made is not None)


SOLVER_NEEDS = {
    Motor: ("kv_rpm_per_v", "resistance_ohm", "no_load_current_a"),
    Controller: ("resistance_mohm", "max_current_a"),
    Pack: ("cell_resistance_mohm", "lead_resistance_mohm"),
    Propeller: ("mass_g",),
    Airframe: ("cd0",),
}


@pytest.mark.parametrize("cls", SOLVER_NEEDS, ids=lambda cls: cls.__name__)
def test_completed_leaves_no_gap_and_states_what_it_filled(cls: type) -> None:
    @given(records(cls))
    def check(part: Any) -> None:
        filled, made = completed(part)
        assert all(math.isfinite(getattr(filled, name)) for name in SOLVER_NEEDS[cls])
        assert completed(filled) == (filled, ())
        changed = {rule.name for rule in declared(cls) if getattr(part, rule.name) != getattr(filled, rule.name)}
        stated = {each.field for each in made}
        beside = {"kv_kind", "controller_included", "no_load_voltage_v", "no_load_exponent"}
        assert changed - beside <= stated, "one that stands beside another is said with it"
        assert all(getattr(filled, each.field) == each.value for each in made)
        if cls is not Airframe:
            open_fields = {rule.name for rule in declared(cls) if getattr(part, rule.name) is None}
            assert stated <= open_fields | {"kv_rpm_per_v", "no_load_exponent"}, (
                "nothing stated by the user is replaced"
            )

    check()


@given(records(Pack))
def test_usable_c_never_exceeds_half_the_label(pack: Pack) -> None:
    assert 0 < usable_c(pack) <= pack.c_rating / 2


@given(mappings(Motor), st.data())
def test_whatever_the_schema_refuses_the_reader_refuses(mapping: dict[str, Any], data: st.DataObject) -> None:
    # jsonschema is the outside judge of single fields; rules between fields are the reader's own
    anything = st.one_of(st.integers(-5, 5), st.floats(), st.booleans(), st.text(max_size=3), st.just([]), st.just({}))
    names = st.sampled_from([*mapping, "other", "kv"])
    changed = mapping | data.draw(st.dictionaries(names, anything, max_size=3))
    errors = list(jsonschema.Draft202012Validator(record_schema(Motor)).iter_errors(changed))
    made, faults = build(Motor, changed, "f")
    assert (made is None) == bool(faults)
    if errors:
        assert faults
    elif not any(isinstance(value, float) and not math.isfinite(value) for value in changed.values()):
        between = {rule.at or rule.keys[0] for rule in Motor.__rules__}
        assert {fault.key for fault in faults} <= between


# ---------------------------------------------------------------- briefs

TIMES = st.one_of(
    st.fixed_dictionaries({"seconds": st.floats(0.1, 3600)}), st.fixed_dictionaries({"share": st.floats(0.01, 10)})
)
HOW = st.one_of(
    st.fixed_dictionaries({"throttle": st.floats(0, 1)}, optional={"airspeed_m_s": st.floats(0, 40)}),
    st.fixed_dictionaries({"airspeed_m_s": st.floats(0.1, 40)}, optional={"climb_m_s": st.floats(-5, 5)}),
)
PHASES = st.builds(lambda name, how, time: Phase(name=name, **how, **time), NAMES, HOW, TIMES)


def may_fly(aircraft: Aircraft) -> bool:
    """Whether it states a mass, and no target below it, which is a fault of a brief that is read."""
    bare_g, target_g = aircraft.bare_mass_g, aircraft.target_mass_g
    return bare_g is not None and (target_g is None or target_g >= bare_g)


@st.composite
def briefs(draw: st.DrawFn) -> Brief:
    phases = draw(st.lists(PHASES, max_size=4))
    assume(not phases or any(phase.throttle != 0 for phase in phases))
    plain = records(Variant).filter(lambda v: v.filament is None and not v.structure)
    variants = [draw(plain) for _ in range(draw(st.integers(0, 2)))]
    assume(len({each.name for each in variants}) == len(variants))
    numbers = {
        "aircraft": draw(records(Aircraft).filter(may_fly)),
        "wing": draw(records(Wing)),
        "limits": draw(records(Limits)),
        "site": replace(draw(records(Site)), wind_m_s=None),
        "prefer": draw(records(Prefer)),
        "units": draw(records(Units)),
        "phase": sorted(phases, key=lambda phase: phase.share is not None),
        "variant": variants,
    }
    return Brief(**numbers)


@given(briefs())
def test_a_brief_written_and_read_is_the_same(brief: Brief) -> None:
    text = dump_brief(brief)
    made, faults = build(Brief, tomllib.loads(text), "f")
    assert faults == []
    assert made == brief
    try:
        again = loads_brief(text)
    except InputFaults as error:  # a variant laid over the aircraft may make an impossible wing
        found = {fault.key.partition("[")[0] for fault in error.faults}
    else:
        found = set()
        assert again == brief
    assert found <= {"variant"}
    assume(not found)
    resolved = resolve_variants(brief)
    assert [each.name for each in resolved[1:]] == [each.name for each in brief.variant]
    assert all(isinstance(each.airframe.cd0, float) for each in resolved)
