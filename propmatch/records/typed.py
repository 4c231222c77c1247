"""Parts typed in one line, so that nobody needs a catalogue: ``1500kV 28g``, ``2S 450mAh 35C``, ``6x4 thin``, ``20A``.

A line is a row of words. A word is a number with a unit that can mean only one thing (``28g``), a key with a value
(``no_load_current_a=0.9``, or a clear beginning or usual short form: ``i0=0.9A``), one of the words a field knows
(``thin``, ``label``), ``2S`` or ``3S2P`` for a pack, and ``6x4`` or ``6x4x3`` for a propeller. A pack may be typed as
its label has it: ``11.1V 2200 30C LiPo``, the nominal voltage for the cells, the capacity without its unit.
"""

import re
import shlex
from collections.abc import Callable, Mapping
from typing import Any

import attrs

from propmatch.faults import Fault, did_you_mean
from propmatch.models.pack import CHEMISTRIES, chemistry_named
from propmatch.records.blades import FAMILIES
from propmatch.records.estimates import (
    MEMORY,
    PRACTICE,
    Assumption,
    completed,
    estimated_current_a,
    nominal_v,
)
from propmatch.records.fields import Declared, build, check, declared
from propmatch.records.headings import BARE_UNIT, SIGNATURE, kind_in, phrases, same_words
from propmatch.records.listing import ListingRow
from propmatch.records.parts import ESTIMATED, KINDS, LISTED, Controller, Motor, Pack, Propeller, Source
from propmatch.records.written import (
    BEC,
    BLADE_WORDS,
    LABEL_V,
    amount,
    cells_of_label,
    other_unit,
    quantity,
    readings,
    short_form,
    supply_of_label,
)
from propmatch.units import MAH_AH, conversion

__all__ = [
    "TypedPart",
    "chemistry_of",
    "controller_for",
    "field_of",
    "from_name",
    "kind_of_name",
    "label_gaps",
    "looks_typed",
    "read_number",
    "read_part",
    "read_value",
    "typed_words",
]

_KEY = re.compile(r"([A-Za-z_][\w-]*)\s*=\s*(.*)", re.DOTALL)
_STATOR = re.compile(r"\d{4}")
_ALONE = re.compile(r"[-+]?[\d.,']*\d[\d.,']*")
_BARE: Mapping[type, Mapping[str, str]] = {
    **BARE_UNIT,
    ListingRow: {
        "rpm/V": "kv_rpm_per_v", "g": "mass_g", "V": "volts", "A": "amps", "gf": "thrust_gf", "rpm": "rpm",
    },
}  # fmt: skip

_EXAMPLE: dict[type, str] = {
    Motor: '"1500kV 28g", "2111 1190KV 46g 2-3S" or "kv=1500 measured mass=28g r=80mohm i0=0.9A"',
    Controller: '"20A", "30A ESC 2-4S SBEC" or "20A 18g r=5mohm"',
    Pack: '"2S 450mAh 35C", "11.1V 2200 30C LiPo" or "3S2P 5000mAh 28g cell=18mohm"',
    Propeller: '"6x4", "6x4x3" or "6x4 3-blade", "6x4 thin 3.5g", or "6x4 thin 9800rpm 62W" as you read it at rest',
    ListingRow: '"1500kV 28g 7.4V 6.5A 7x4 300gf"',
}

_TYPED = Source(text="typed in", kind="label")
_MEASURED = Source(text="typed in, kV called measured", kind="measured")
_CHEMISTRY_WORDS = {name: name for name in CHEMISTRIES} | {
    "lipoly": "lipo", "lipolymer": "lipo", "lfp": "lifepo4", "life": "lifepo4",
}  # fmt: skip
"""Words of a label without hyphens, and the chemistry each means."""
_IDLE_WORDS: Mapping[type, tuple[str, ...]] = {
    Motor: ("motor", "brushless", "outrunner", "bldc"),
    Controller: ("esc", "brushless", "controller", "speed", "motor"),
    Pack: ("battery", "pack", "brushless", "burst", "peak"),
    Propeller: ("prop", "propeller", "e", "f", "sf", "r", "l", "p"),
    ListingRow: ("motor", "brushless", "outrunner", "bldc"),
}
"""Words of a label that say what the part is and no more, as letters behind a propeller's size do; a motor's stator
size, four digits, is one too."""
_SIZES_AND_BLADES = {
    r"(?<=\d)\s+(mm|cm|inch(?:es)?|in)\b": r"\1",
    r"(?<=\d)(mm|cm|inch|in)\s*[x×*]\s*(\d[\d.,]*)\1\b": r"x\2\1",
    rf"\b(\d|{'|'.join(BLADE_WORDS)})[\s-]*(blade[sd]?|blatt|pales?|palas?)\b": r"\1-\2",
}
_AMPS_AND_BEC = r"(?<!.)\d[\d.,]*\s*A\s+[lsu]?bec\b(?!.*\d\s*A\b)"
"""A controller's label that begins with its current; where nobody says what it is, a supply of its own too."""
_AS_ONE_WORD: Mapping[type, Mapping[str, str]] = {
    Controller: {
        r"\b(?:no|without|w/o|ohne|sans|sin|senza)\s+[lsu]?bec\b": "opto",
        r"\b(?:with|mit|avec|con)\s+(?=.*bec)": "",
        r"\b([lsu]?bec)[\s:]+(\d[\d.,]*)\s*V\b": r"\1\2V",
        r"(?<=\d)\s*V\s*[/,@]?\s*(\d[\d.,]*)\s*A\b": r"V/\1A",
        rf"(?<![\d.,/V])(?!{_AMPS_AND_BEC})(\d[\d.,]*)\s*A\s+([lsu]?bec)\b": r"\2\1A",
    },
    Propeller: _SIZES_AND_BLADES,
    ListingRow: _SIZES_AND_BLADES,
    Pack: {r"(?<=\d)\s*C\s*(?:cont\w*\.?)?\s*/\s*(?=\d)": "C/"},
}
"""Wordings with blanks in them that are one word of a label, and that word; the current of a BEC is passed over,
but what a label begins with is the controller's own where it says no other."""
_PLUG = re.compile(r"(?:XT|EC|JST|MPX|PH)-?[\d.]*|plug|connector", re.IGNORECASE)
_LONGEST_LINE = 500
_LEAST_BARE_MAH = 50.0
"""From here on a number of a pack without a unit is its capacity."""
_CONTROLLER_G_PER_A = 0.9
_CONTROLLER_MOST_A = 500.0


@attrs.frozen(kw_only=True)
class TypedPart:
    """A part read from a line; ``part`` is None when there is any fault.

    Attributes
    ----------
    part : Motor, Controller, Pack, Propeller or None
    faults : tuple of Fault
    assumptions : tuple of Assumption
        Numbers the class needs and the line does not bring.
    """

    part: Any
    faults: tuple[Fault, ...] = ()
    assumptions: tuple[Assumption, ...] = ()


def looks_typed(text: str) -> bool:
    """Whether a line describes a part, rather than names one: its first word begins with a number or is a key."""
    try:
        words = typed_words(Motor, text)
    except ValueError:
        words = text.split()
    while len(words) > 1 and (chemistry_of(words[0]) or _STATOR.fullmatch(words[0]) or _idle(words[0])):
        words = words[1:]
    if not words:
        return False
    first = words[0]
    begins = re.match(r"[-+~.]?\d", first)
    forms = begins and any(_short_form(cls, first) for cls in _WORD_FORMS)
    return bool(_KEY.match(first) or forms or (begins and amount(first)))


def _idle(word: str) -> bool:
    return any(word.lower() in words for words in _IDLE_WORDS.values())


def typed_words(cls: type, text: str) -> list[str]:
    """The words of a line; a number and its unit, or the numbers of a size, are one word.

    Raises
    ------
    ValueError
        A quotation mark is not closed, or the line is too long; in words.
    """
    if len(text) > _LONGEST_LINE:
        raise ValueError(f"is longer than the {_LONGEST_LINE} characters of a line that describes a part")
    for pattern, better in _AS_ONE_WORD.get(cls, {}).items():
        text = re.sub(pattern, better, text, flags=re.IGNORECASE)
    text = re.sub(r"(?<=[\d\"])\s*[x×*]\s*(?=\.?\d)", "x", text)
    text = re.sub(r'(?<=\d)"(?=x)|(?<=x\d)"(?=\s|$)|(?<=[.,]\d)"(?=\s|$)', "", text) if "x" in text else text
    made: list[str] = []
    try:
        words = shlex.split(text.replace("'", "\\'") if re.search(r"\d'\d{3}", text) else text)
    except ValueError:
        raise ValueError("a quotation mark is not closed") from None
    for word in words:
        if made and _ALONE.fullmatch(made[-1]) and _is_bare_unit(cls, word):
            made[-1] += word
        else:
            made.append(word)
    return made


def _is_bare_unit(cls: type, word: str) -> bool:
    """Whether a word is a unit that belongs to the number before it."""
    also = {Pack: ("V",), Controller: ("V",)}.get(cls, ())
    return word.rstrip(",;").isalpha() and any(
        conversion(word.rstrip(",;"), ours) is not None for ours in (*_BARE[cls], *also)
    )


def read_part(cls: type, text: str, where: str) -> TypedPart:
    """Read one line.

    Parameters
    ----------
    cls : type
        ``Motor``, ``Controller``, ``Pack``, ``Propeller`` or ``ListingRow``.
    text : str
    where : str
        What the faults name as their place.

    Returns
    -------
    TypedPart
        Every fault of the line at once.
    """
    values: dict[str, Any] = {}
    faults: list[Fault] = []
    try:
        words = typed_words(cls, text)
    except ValueError as error:
        words, faults = [], [Fault(where, value=text, rule=str(error))]
    rules = {rule.name: rule for rule in declared(cls) if rule.name not in ("id", "source", "table")}
    for word in _reading_at(cls, rules, words):
        found = _read_word(cls, rules, word.rstrip(",;"))
        if isinstance(found, Fault):
            faults.append(attrs.evolve(found, where=where))
            continue
        for key, value in found.items():
            if key in values and values[key] != value:
                faults.append(Fault(where, key, value, f"given twice, {values[key]} before"))
            values[key] = value
    values = {**LISTED.get(cls, {}), **values}
    linear = cls is Controller and values.get("servo_supply") is None and supply_of_label(values)
    if cls is Pack and not faults:
        faults += [attrs.evolve(fault, where=where) for fault in cells_of_label(values)]
    assumed = {} if faults else label_gaps(cls, values)
    complete = {"name": " ".join(words) or cls.__name__, **{key: each.value for key, each in assumed.items()}, **values}
    if linear:
        volts = values.get("servo_supply_v", 5.0)
        assumed["servo_supply"] = Assumption("", "servo_supply", volts, "V", f"BEC taken as linear; {PRACTICE}")
    complete |= {ESTIMATED[key]: True for key in assumed if key in ESTIMATED}
    part, wrong = build(cls, {key: value for key, value in complete.items() if key in rules}, where)
    derived = {"mass_g"} if cls in (Pack, Controller) and len(wrong) > 1 else set()
    faults += [
        _with_example(fault, cls)
        for fault in wrong
        if not (fault.rule.startswith("missing") and (faults or fault.key in derived))
    ]
    if faults or part is None:
        return TypedPart(part=None, faults=tuple(faults))
    source = _MEASURED if values.get("kv_kind", "label") != "label" else _TYPED
    named = attrs.evolve(part, source=source) if "source" in attrs.fields_dict(cls) else part
    return TypedPart(
        part=named,
        assumptions=tuple(attrs.evolve(each, subject=part.name) for each in assumed.values()),
    )


def from_name(cls: type, name: str, mark: str = "") -> dict[str, Any]:
    """What the name of a part says for sure: words with a unit of one meaning, and a bare capacity beside cells and C.

    Unlike a typed line, words that are not understood are passed over; numbers said twice in different ways are left
    out. A family of blades counts behind a size. ``mark`` is the settled decimal mark, as
    :func:`propmatch.records.written.readings` takes it.
    """
    rules = {rule.name: rule for rule in declared(cls) if rule.name not in ("id", "source", "table")}
    found: dict[str, Any] = {}
    twice: set[str] = set()
    try:
        words = typed_words(cls, name)
    except ValueError:
        return {}
    for word in _reading_at(cls, rules, words):
        bare = word.strip(",;()")
        family = "diameter_in" in found and bare.lower() in FAMILIES
        if not re.match(r"(?:read_rpm=)?\.?\d", bare) and not chemistry_of(bare) and not family:
            continue
        read = _read_word(cls, rules, bare, mark)
        for key, value in ({} if isinstance(read, Fault) else read).items():
            twice |= {key} if found.get(key, value) != value else set()
            found[key] = value
    if cls is Pack:
        twice |= {LABEL_V for _ in cells_of_label(found)}
        if any(_ALONE.fullmatch(word) for word in words) and "cells_series" not in found:
            twice.add("capacity_mah")
    return {key: value for key, value in found.items() if key not in twice and (key in rules or key == BEC)}


def kind_of_name(name: str, mark: str = "") -> str | None:
    """The kind of part that a name tells: by its word, else by the numbers that only one kind has."""
    if word := kind_in(name):
        return word
    if re.match(_AMPS_AND_BEC, name, re.IGNORECASE):
        return None
    told = [kind for kind, needed in _TOLD_BY.items() if needed <= from_name(KINDS[kind], name, mark).keys()]
    told = [kind for kind in told if kind in SIGNATURE] or told
    return told[0] if len(told) == 1 else None


_TOLD_BY = {kind: {*names} for kind, names in SIGNATURE.items()} | {
    "packs": {"capacity_mah", "cells_series"}, "controllers": {"max_current_a"},
}  # fmt: skip


def _with_example(fault: Fault, cls: type) -> Fault:
    if fault.rule.startswith("missing"):
        return attrs.evolve(fault, hint=f"type it like {_EXAMPLE[cls]}")
    if fault.key == "family" and not fault.hint:
        return attrs.evolve(fault, hint=_WHICH)
    if not fault.hint and isinstance(fault.value, float):
        rule = next((rule for rule in declared(cls) if rule.name == fault.key), None)
        return attrs.evolve(fault, hint=other_unit(rule, fault.value) if rule is not None else "")
    return fault


# ---------------------------------------------------------------- words


def _read_word(cls: type, rules: Mapping[str, Declared], word: str, mark: str = "") -> dict[str, Any] | Fault:
    """Attribute to value of one word, or what is wrong with it."""
    if keyed := _KEY.fullmatch(word):
        return _read_key(cls, rules, *keyed.groups())
    if (cls in (Motor, ListingRow) and _STATOR.fullmatch(word)) or (cls is Pack and _PLUG.fullmatch(word)):
        return {}
    if found := _short_form(cls, word):
        return found
    if amount(word):
        return _read_quantity(cls, rules, word, mark)
    if cls is Pack and (chemistry := chemistry_of(word)):
        return {"chemistry": chemistry}
    if word.lower() in _IDLE_WORDS[cls]:
        return {}
    options = {
        option: name
        for name, rule in rules.items()
        for option in (*rule.options, *([rule.nothing] if rule.nothing else []))
        if rule.kind == "choice"
    }
    if word.lower() in options:
        return {options[word.lower()]: word.lower()}
    known = [*options, *_CHEMISTRY_WORDS] if cls is Pack else options
    hint = did_you_mean(word, known) or f"type it like {_EXAMPLE[cls]}"
    if cls is Propeller and word.isalpha() and not did_you_mean(word, known):
        hint = f"the families are {', '.join(known)}; {_WHICH}"
    return Fault("", value=word, rule="not understood", hint=hint)


_WHICH = "three questions tell: 'propmatch parts --which-family SIZE'"


def _in_tenths(word: str) -> str:
    """Diameter and pitch of four digits as shops run them together; empty where they make no usual propeller."""
    found = re.fullmatch(r"(\d\d)(\d\d)", word)
    if not found:
        return ""
    diameter, pitch = int(found[1]) / (1 if int(found[1]) < 25 else 10), int(found[2]) / 10
    return f"in tenths? then it is {diameter:g}x{pitch:g}" if 0 < 0.2 * diameter <= pitch <= 1.5 * diameter else ""


_SPAN = r"\d+S?(?:-\d+)?S"
_WORD_FORMS: Mapping[type, Mapping[str, str]] = {
    Motor: {"cells": _SPAN, "gear_ratio": r".*:.*", "burst_current_a": r".*A.*s", "max_current_a": r".*/.*A"},
    ListingRow: {"cells": _SPAN},
    Controller: {
        "cells": _SPAN,
        "servo_supply": r"opto|.*V.+A|.*bec.*",
        "burst_current_a": r".*A.*s",
        "max_current_a": r"[^V]*/.*A",
    },
    Pack: {"cells": r"\d+S(?:\d+P)?", "c_rating": r".*C.*[-/].*C"},
    Propeller: {"size": r".*", "blades": r".*"},
}
"""The short forms that mean one thing without a key, by field: what a word must look like."""


def _short_form(cls: type, word: str) -> dict[str, Any] | None:
    for field, pattern in _WORD_FORMS[cls].items():
        if re.fullmatch(pattern, word, re.IGNORECASE):
            found = short_form(Motor if cls is ListingRow else cls, field, word)
            if found is not None:
                return found
    return None


def _reading_at(cls: type, rules: Mapping[str, Declared], words: list[str]) -> list[str]:
    """Words of a propeller; a bare speed beside a power or a thrust is the one that they were read at, not a limit."""

    def field(word: str) -> object:
        keyed = _KEY.fullmatch(word)
        return _named(cls, rules, keyed[1]) if keyed else _unit_of(cls, word)

    if cls is not Propeller or not {"read_shaft_w", "read_input_w", "read_thrust_gf"} & {
        name for word in words if isinstance(name := field(word), str)
    }:
        return words
    return [f"read_rpm={word}" if _unit_of(cls, word) == "max_rpm" else word for word in words]


def _unit_of(cls: type, word: str) -> str | None:
    """The field that a bare number with a unit means."""
    unit = (amount(word.rstrip(",;")) or ("", ""))[1]
    return next((each for ours, each in _BARE[cls].items() if unit and conversion(unit, ours) is not None), None)


def _named(cls: type, rules: Mapping[str, Declared], key: str) -> str | Fault:
    asked = key.lower().replace("-", "_")
    said = phrases(Motor if cls is ListingRow else cls)
    means = [each for each in rules if asked[-1:].isalnum() and same_words(asked) in said.get(each, ())]
    near = [asked] if asked in rules else means or [each for each in rules if each.startswith(asked)]
    if len(near) == 1:
        return near[0]
    if near:
        return Fault("", key, None, f"could be {' or '.join(near)}")
    short = [next(iter(words)) for each in rules for words in said.get(each, ()) if len(words) == 1]
    hint = did_you_mean(asked, [*rules, *sorted(short)]) or "known keys: " + ", ".join(rules)
    return Fault("", key, None, "unknown key", hint)


def _read_key(cls: type, rules: Mapping[str, Declared], key: str, text: str) -> dict[str, Any] | Fault:
    name = _named(cls, rules, key)
    if isinstance(name, Fault):
        return name
    value = read_value(rules[name], text)
    if name == "chemistry":
        value = chemistry_of(value) or value
    return value if isinstance(value, Fault) else {name: value}


def read_value(rule: Declared, text: str) -> Any:
    """The value of a key: text, or a number with or without a unit; ranges are checked later."""
    if rule.kind not in ("number", "integer"):
        return text
    return quantity(rule, text)


def field_of(cls: type, key: str) -> Declared | Fault:
    """The field that a key means: its name, a usual short form, or a clear beginning."""
    rules = {rule.name: rule for rule in declared(cls) if rule.name not in ("source", "table")}
    name = _named(cls, rules, key)
    return name if isinstance(name, Fault) else rules[name]


def read_number(cls: type, field: str, text: str, where: str) -> Any:
    """One number typed for a field of a class, in the field's range: the number, or a ``Fault``."""
    rule = next(each for each in declared(cls) if each.name == field)
    value = read_value(rule, text)
    if not isinstance(value, Fault):
        value, problems = check(rule, value, "", reading=True)
        if problems:
            value = Fault(where, "", problems[0].value, problems[0].rule)
    return attrs.evolve(value, where=where, key="") if isinstance(value, Fault) else value


def _read_quantity(cls: type, rules: Mapping[str, Declared], word: str, mark: str) -> dict[str, Any] | Fault:
    """A number with a unit and no key."""
    number, unit = amount(word) or ("", "")
    if cls is Pack and unit in ("V", "v"):
        found = readings(number, mark)
        return {LABEL_V: found[0]} if len(found) == 1 else Fault("", value=word, rule="no voltage")
    if cls is Pack and not unit and max(readings(number, mark), default=0.0) >= _LEAST_BARE_MAH:
        unit = "mAh"
    name = _unit_of(cls, f"{number}{unit}")
    if name is not None:
        value = quantity(rules[name], f"{number} {unit}", mark)
        return value if isinstance(value, Fault) else {name: value}
    keys = [each for each, rule in rules.items() if unit and rule.unit and conversion(unit, rule.unit) is not None]
    if len(keys) == 1:
        value = quantity(rules[keys[0]], word, mark)
        return value if isinstance(value, Fault) else {keys[0]: value}
    if keys:
        return Fault("", value=word, rule="say which number this is: " + " or ".join(f"{key}={word}" for key in keys))
    run_together = _in_tenths(word) if cls is Propeller else ""
    return Fault("", value=word, rule="not understood", hint=run_together or f"type it like {_EXAMPLE[cls]}")


def chemistry_of(word: str) -> str | None:
    """The chemistry that a word of a label means."""
    return _CHEMISTRY_WORDS.get(re.sub(r"[-_]", "", word.lower()))


# ---------------------------------------------------------------- what a line may leave out


def label_gaps(cls: type, values: Mapping[str, Any]) -> dict[str, Assumption]:
    """Required numbers that a label may leave out because a usual value is known; subjects are set later."""
    fillers: Mapping[type, Callable[[Mapping[str, Any]], dict[str, Assumption]]] = {
        Pack: _pack_gaps,
        Controller: _controller_gaps,
    }
    return fillers[cls](values) if cls in fillers else {}


def _pack_gaps(values: Mapping[str, Any]) -> dict[str, Assumption]:
    made = {}
    cells, capacity = values.get("cells_series"), values.get("capacity_mah")
    kind = chemistry_named(values.get("chemistry", "lipo"))
    if "c_rating" not in values:
        text = f"continuous rating {kind.usual_c:g} C, usual for {kind.name} packs; {PRACTICE}"
        made["c_rating"] = Assumption("", "c_rating", kind.usual_c, "1/h", text)
    if "mass_g" not in values and cells and capacity and 0 < cells * capacity < 1e9:
        mass = round(kind.mass_g_per_wh * cells * kind.nominal_v * capacity * MAH_AH, 1)
        text = f"pack mass {mass:g} g, {kind.mass_g_per_wh:g} g per W h at {kind.nominal_v} V a cell; {PRACTICE}"
        made["mass_g"] = Assumption("", "mass_g", mass, "g", text, 0.75 * mass, 1.35 * mass)
    return made


def _controller_gaps(values: Mapping[str, Any]) -> dict[str, Assumption]:
    current = values.get("max_current_a")
    if "mass_g" in values or not current or not 0 < current < 1e4:
        return {}
    mass = round(_CONTROLLER_G_PER_A * current, 1)
    text = f"ESC mass {mass:g} g, {_CONTROLLER_G_PER_A:g} g per ampere of its rating; {PRACTICE}"
    return {"mass_g": Assumption("", "mass_g", mass, "g", text, 0.5 * mass, 2.0 * mass)}


def controller_for(motor: Motor, pack: Pack) -> TypedPart:
    """A controller for a motor when none was named: rated 1.25 times its continuous current, in steps of 5 A."""
    current = motor.max_current_a
    if current is None:
        current = float(estimated_current_a(completed(motor)[0].max_power_w, nominal_v(pack)))
    needed = 1.25 * current
    rating = min(max(5.0, 5.0 * -(-needed // 5.0)), _CONTROLLER_MOST_A)
    typed = read_part(Controller, f"name='ESC of {rating:g} A' {rating:g}A", "--controller")
    text = f"no ESC was named: one rated {rating:g} A, 1.25 times the motor's continuous current; {MEMORY}"
    made = Assumption(typed.part.name, "max_current_a", rating, "A", text)
    source = Source(text="not named, assumed", kind="assumed")
    part = attrs.evolve(typed.part, max_current_estimated=True, source=source)
    return TypedPart(part=part, assumptions=(made, *typed.assumptions))
