import math

import attrs
import numpy as np
import pytest

from propmatch.records.fields import (
    Rule,
    build,
    choice,
    declared,
    flag,
    instance,
    integer,
    many,
    not_below,
    number,
    one,
    record,
    replace,
    text,
    words_or_number,
)


@record(rules=(not_below("longest_m", "shortest_m"),))
class Inner:
    shortest_m: float = number("m", gt=0, lt=10, doc="short side")
    longest_m: float | None = number("m", gt=0, lt=10, default=None)


@record(rules=(Rule(("count", "ready"), lambda count, ready: ready and count == 0, "must be above 0 when ready"),))
class Outer:
    name: str = text(doc="name")
    count: int = integer(ge=0, le=5)
    ready: bool = flag(default=False)
    colour: str = choice(("red", "green"), default="red")
    drag: float | str = words_or_number(("clean", "rough"), ge=0, le=1, default=0.5)
    inner: Inner | None = one(Inner, default=None)
    inners: tuple[Inner, ...] = many(Inner, default=())
    counts: tuple[int, ...] = many(integer(ge=1, le=6), default=())
    carrier: complex | None = instance(complex, default=None, eq=False)


def good() -> dict[str, object]:
    return {"name": "x", "count": 2, "inner": {"shortest_m": 1}, "inners": [{"shortest_m": 2}], "counts": [1, 2]}


def keys(mapping: dict[str, object]) -> list[str]:
    made, faults = build(Outer, mapping, "f.toml")
    assert (made is None) == bool(faults)
    assert all(fault.where == "f.toml" for fault in faults)
    return [fault.key for fault in faults]


def test_a_good_mapping_builds() -> None:
    made, faults = build(Outer, good(), "f.toml")
    assert faults == []
    assert made == Outer(name="x", count=2, inner=Inner(shortest_m=1), inners=(Inner(shortest_m=2.0),), counts=(1, 2))
    assert isinstance(made.inner.shortest_m, float)
    assert build(Outer, good() | {"colour": None}, "f")[0] == made, "None counts as not given"


def test_what_is_read_is_what_python_builds() -> None:
    """A record read is made without checking twice: kinds of numbers and defaults are those of the constructor."""

    @record()
    class Plain:
        whole: int = integer(default=2.0)
        real: float = number(default=3)
        inner: Inner = one(Inner, default=Inner(shortest_m=1))
        words: float | str = words_or_number(("clean",), default=1)

    for given in ({}, {"whole": 4.0, "real": 1, "inner": {"shortest_m": 2}, "words": 2}):
        made, faults = build(Plain, given, "f.toml")
        in_python = Plain(**(given | ({"inner": Inner(shortest_m=2)} if given else {})))
        assert faults == []
        assert made == in_python
        assert repr(made) == repr(in_python)
        values = [[getattr(each, rule.name) for rule in declared(Plain)] for each in (made, in_python)]
        assert [type(each) for each in values[0]] == [type(each) for each in values[1]]
        assert isinstance(made.inner.shortest_m, float)


@pytest.mark.parametrize(
    ("changes", "faulty"),
    [
        ({"name": None}, ["name"]),
        ({"name": ""}, ["name"]),
        ({"name": 3}, ["name"]),
        ({"count": 2.5}, ["count"]),
        ({"count": True}, ["count"]),
        ({"count": 6}, ["count"]),
        ({"count": "2"}, ["count"]),
        ({"count": math.nan}, ["count"]),
        ({"count": 10**400}, ["count"]),
        ({"ready": 1}, ["ready"]),
        ({"ready": True, "count": 0}, ["count"]),
        ({"colour": "gren"}, ["colour"]),
        ({"colour": 1}, ["colour"]),
        ({"drag": "cleen"}, ["drag"]),
        ({"drag": math.inf}, ["drag"]),
        ({"drag": True}, ["drag"]),
        ({"inner": 3}, ["inner"]),
        ({"inner": {}}, ["inner.shortest_m"]),
        ({"inner": {"shortest_m": 0, "other": 1}}, ["inner.other", "inner.shortest_m"]),
        ({"inner": {"shortest_m": 3, "longest_m": 2}}, ["inner.longest_m"]),
        ({"inner": {"shortest_m": -3, "longest_m": 2}}, ["inner.shortest_m"]),
        ({"inners": {"shortest_m": 1}}, ["inners"]),
        ({"inners": [{"shortest_m": 1}, {"shortest_m": 11}]}, ["inners[2].shortest_m"]),
        ({"inners": [1]}, ["inners[1]"]),
        ({"counts": [1, 7, 2.5]}, ["counts[2]", "counts[3]"]),
        ({"counts": "12"}, ["counts"]),
        ({"counts": 1}, ["counts"]),
        ({"carrier": "1+2j"}, ["carrier"]),
        ({"surprise": 1}, ["surprise"]),
        ({"name": None, "nam": "x"}, ["nam"]),
    ],
)
def test_every_fault_with_its_key(changes: dict[str, object], faulty: list[str]) -> None:
    assert keys(good() | changes) == faulty


def test_all_at_once() -> None:
    assert keys({"count": 9, "colour": "blue", "counts": [0], "inner": {"shortest_m": "1"}, "extra": 0}) == [
        "extra", "name", "count", "colour", "inner.shortest_m", "counts[1]"
    ]  # fmt: skip


def test_rule_value_and_hint_are_said() -> None:
    _, faults = build(Outer, good() | {"count": -1, "colour": "gren", "nme": "y", "drag": "0.3"}, "f.toml")
    lines = [str(fault) for fault in faults]
    assert lines[1] == "f.toml: count = -1: must be a whole number at least 0 and at most 5"
    assert lines[2] == "f.toml: colour = 'gren': must be one of red, green; did you mean green?"
    assert lines[0].startswith("f.toml: nme: unknown key; known keys:") or "did you mean" in lines[0]
    assert "must be a number at least 0 and at most 1, or one of: clean, rough" in lines[3]
    _, faults = build(Inner, {"shortest_m": "2"}, "f")
    assert str(faults[0]) == "f: shortest_m = '2': must be a number above 0 and below 10 m; write it without quotes"


def test_lines_of_keys_and_tables_and_the_order_of_the_file() -> None:
    lines = {"inner": 9, "count": 3, "inners[1]": 12, "inners[1].shortest_m": 13}
    mapping = {"name": "x", "count": 9, "inner": {}, "inners": [{"shortest_m": 0}]}
    _, faults = build(Outer, mapping, "f.toml", lines=lines)
    assert [fault.where for fault in faults] == ["f.toml:3", "f.toml:9", "f.toml:13"]


def test_path_prefix() -> None:
    _, faults = build(Inner, {"shortest_m": 0}, "f.xlsx:motors:4", path="row")
    assert (faults[0].where, faults[0].key) == ("f.xlsx:motors:4", "row.shortest_m")


@pytest.mark.parametrize(
    ("changes", "error"),
    [
        ({"name": 3}, TypeError),
        ({"name": " "}, ValueError),
        ({"count": True}, TypeError),
        ({"count": "1"}, TypeError),
        ({"count": 1.5}, ValueError),
        ({"count": math.nan}, ValueError),
        ({"drag": math.inf}, ValueError),
        ({"colour": "blue"}, ValueError),
        ({"inner": {"shortest_m": 1}}, TypeError),
        ({"inners": [3]}, TypeError),
        ({"counts": [9]}, ValueError),
        ({"carrier": "x"}, TypeError),
        ({"ready": True, "count": 0}, ValueError),
        ({"surprise": 1}, TypeError),
    ],
)
def test_objects_built_in_python_raise(changes: dict[str, object], error: type[Exception]) -> None:
    with pytest.raises(error, match=next(iter(changes))):
        Outer(**({"name": "x", "count": 2} | changes))


def test_numbers_of_other_kinds_are_kept_as_plain_float_and_int() -> None:
    made = Inner(shortest_m=np.float32(2))
    assert type(made.shortest_m) is float
    assert type(Outer(name="x", count=2.0).count) is int
    assert type(Outer(name="x", count=np.int64(2)).count) is int


def test_frozen_keyword_only_and_replace() -> None:
    made = Inner(shortest_m=1)
    with pytest.raises(attrs.exceptions.FrozenInstanceError):
        made.shortest_m = 2
    with pytest.raises(TypeError):
        Inner(1)
    assert replace(made, longest_m=3).longest_m == 3.0
    with pytest.raises(ValueError, match="longest_m"):
        replace(made, longest_m=0.5)


def test_declarations_serve_others() -> None:
    by_name = {rule.name: rule for rule in declared(Inner)}
    short, long = by_name["shortest_m"], by_name["longest_m"]
    assert (short.unit, short.gt, short.lt, short.doc, short.required) == ("m", 0, 10, "short side", True)
    assert (long.required, long.default) == (False, None)
    assert [rule.kind for rule in declared(Outer)] == [
        "text", "integer", "flag", "choice", "words or number", "one", "many", "many", "instance"
    ]  # fmt: skip


def test_rules_of_a_base_class_hold_in_its_children() -> None:
    @record()
    class Child(Inner):
        extra: int = integer(ge=0, le=1, default=0)

    with pytest.raises(ValueError, match="longest_m"):
        Child(shortest_m=2, longest_m=1)


def test_instance_left_out_of_equality() -> None:
    assert Outer(name="x", count=1, carrier=1j) == Outer(name="x", count=1, carrier=2j)
