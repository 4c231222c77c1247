"""What ``help`` and ``inspect.signature`` say about the records is what their fields declare."""

import inspect
import pydoc
from types import ModuleType

import pytest

import propmatch
from propmatch.models.pack import Chemistry
from propmatch.records import layout, listing, parts, sections
from propmatch.records.fields import Declared, declared, integer, number, one, record


def records_of(module: ModuleType) -> list[type]:
    own = [each for each in vars(module).values() if getattr(each, "__module__", "") == module.__name__]
    return [each for each in own if isinstance(each, type) and hasattr(each, "__declared__")]


RECORDS = [each for module in (parts, sections, layout, listing) for each in records_of(module)]


@record()
class Rod:
    """A rod."""

    length_m: float = number("m", gt=0, default=2.0, doc="end to end")
    turns: int = integer(ge=1, default=1, doc="windings")


@record()
class Frame:
    rod: Rod = one(Rod, default=Rod(turns=3), doc="the longest")


def entries(cls: type) -> dict[str, tuple[str, str]]:
    """Heading and text of each attribute in what ``help(cls)`` prints."""
    lines = [line.removeprefix(" |").strip() for line in pydoc.render_doc(cls, renderer=pydoc.plaintext).splitlines()]
    start = lines.index("Attributes") + 2
    found: dict[str, tuple[str, str]] = {}
    for line in lines[start : lines.index("", start)]:
        if " : " in line and line.split(" : ")[0].isidentifier():
            name = line.split(" : ")[0]
            found[name] = (line, "")
        else:
            found[name] = (found[name][0], f"{found[name][1]} {line}".strip())
    return found


def test_the_records_are_all_here() -> None:
    names = {each.__name__ for each in RECORDS}
    assert {"Motor", "Controller", "Pack", "Propeller", "Airframe", "PowerTrain", "Source"} <= names
    assert {"Brief", "Aircraft", "Wing", "Variant", "Limits", "Phase", "Site", "Prefer", "Units", "Tail"} <= names


@pytest.mark.parametrize("cls", RECORDS, ids=lambda cls: cls.__name__)
def test_help_tells_unit_range_default_and_meaning_of_every_field(cls: type) -> None:
    told = entries(cls)
    assert list(told) == [rule.name for rule in declared(cls)]
    for rule in declared(cls):
        heading, text = told[rule.name]
        inner = rule.item if isinstance(rule.item, Declared) else rule
        assert rule.doc, f"{rule.name} has no meaning"
        assert text.startswith(rule.doc)
        assert (f"[{rule.unit}]" in heading) == bool(rule.unit)
        assert (", default " in heading) == (not rule.required)
        for word, limit in (("above", inner.gt), ("at least", inner.ge), ("below", inner.lt), ("at most", inner.le)):
            assert limit is None or f"{word} {limit:.12g}" in text
        assert all(option in text for option in inner.options)


@pytest.mark.parametrize("cls", RECORDS, ids=lambda cls: cls.__name__)
def test_the_signature_has_the_types_and_defaults_of_the_class(cls: type) -> None:
    written: dict[str, object] = {}
    for base in reversed(cls.__mro__):
        written |= inspect.get_annotations(base)
    signature = inspect.signature(cls)
    rules = {rule.name: rule for rule in declared(cls)}
    assert {name: each.annotation for name, each in signature.parameters.items()} == written
    for name, each in signature.parameters.items():
        assert (each.default is inspect.Parameter.empty) == rules[name].required
        assert rules[name].required or each.default == rules[name].default


def test_some_signatures_word_by_word() -> None:
    motor = inspect.signature(propmatch.Motor).parameters
    assert (motor["kv_rpm_per_v"].annotation, motor["kv_rpm_per_v"].default) == (float, inspect.Parameter.empty)
    assert (motor["resistance_ohm"].annotation, motor["resistance_ohm"].default) == (float | None, None)
    assert motor["cells_max"].annotation == int | None
    assert motor["source"].annotation is propmatch.Source
    assert inspect.signature(propmatch.Pack).parameters["chemistry"].annotation == str | Chemistry
    brief = inspect.signature(propmatch.Brief).parameters
    assert brief["phase"].annotation == tuple[propmatch.Phase, ...]
    assert inspect.signature(sections.Limits).parameters["cells"].annotation == tuple[int, ...]
    assert inspect.signature(propmatch.Phase).parameters["name"].kind is inspect.Parameter.POSITIONAL_OR_KEYWORD


def test_some_entries_word_by_word() -> None:
    assert entries(propmatch.Motor)["kv_rpm_per_v"] == (
        "kv_rpm_per_v : float [rpm/V]",
        "speed per volt a number at least 20 and at most 30000 rpm/V",
    )
    assert entries(propmatch.Controller)["resistance_mohm"][0] == "resistance_mohm : float | None [mohm], default None"
    assert entries(propmatch.Brief)["phase"] == ("phase : tuple[Phase, ...], default ()", "how it is flown")


def test_a_default_record_is_told_by_what_differs() -> None:
    assert Rod.__doc__ is not None
    assert Rod.__doc__.startswith("A rod.\n\nAttributes\n")
    assert entries(Rod)["length_m"] == ("length_m : float [m], default 2.0", "end to end a number above 0 m")
    assert entries(Frame)["rod"] == ("rod : Rod, default Rod(turns=3)", "the longest")
