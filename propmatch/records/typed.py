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
from propmatch.records.estimates import (
    MEMORY,
    PRACTICE,
    Assumption,
    completed,
    estimated_current_a,
    nominal_v,
)
from propmatch.records.fields import Declared, build, check, declared
from propmatch.records.listing import ListingRow
from propmatch.records.parts import LISTED, Controller, Motor, Pack, Propeller, Source
from propmatch.units import INCH_M, MAH_AH, MM_M, conversion, units_for

__all__ = ["TypedPart", "controller_for", "field_of", "looks_typed", "read_number", "read_part", "read_value"]

_NUMBER = r"[-+]?(?:\d+\.?\d*|\.\d+)(?:e[-+]?\d+)?|[-+]?(?:nan|inf(?:inity)?)"
_QUANTITY = re.compile(rf"({_NUMBER})\s*([^\d\s.,=]*)", re.IGNORECASE)
_KEY = re.compile(r"([A-Za-z_][\w-]*)\s*=\s*(.*)", re.DOTALL)
_CELLS = re.compile(r"(\d+)S(?:(\d+)P)?", re.IGNORECASE)
_SIZE = re.compile(r"([\d.]+)[x×]([\d.]+)(?:[x×](\d+))?", re.IGNORECASE)

_SHORT: dict[type, dict[str, str]] = {
    Motor: {"kv": "kv_rpm_per_v", "mass": "mass_g", "m": "mass_g", "r": "resistance_ohm", "rm": "resistance_ohm",
            "resist": "resistance_ohm", "resistance": "resistance_ohm", "i0": "no_load_current_a",
            "v0": "no_load_voltage_v", "max": "max_current_a", "gear": "gear_ratio", "power": "max_power_w"},
    Controller: {"r": "resistance_mohm", "loss": "part_throttle_loss", "max": "max_current_a"},
    Pack: {"s": "cells_series", "p": "cells_parallel", "cell": "cell_resistance_mohm", "ri": "cell_resistance_mohm",
           "leads": "lead_resistance_mohm", "c": "c_rating", "burst": "burst_c_rating"},
    Propeller: {"d": "diameter_in"},
    ListingRow: {"kv": "kv_rpm_per_v", "mass": "mass_g", "m": "mass_g", "i0": "no_load_current_a",
                 "max": "max_current_a", "thrust": "thrust_gf"},
}  # fmt: skip

_BARE_UNIT: dict[type, dict[str, str]] = {
    Motor: {"rpm/V": "kv_rpm_per_v", "g": "mass_g", "ohm": "resistance_ohm", "W": "max_power_w"},
    Controller: {"A": "max_current_a", "g": "mass_g", "mohm": "resistance_mohm"},
    Pack: {"mAh": "capacity_mah", "1/h": "c_rating", "g": "mass_g"},
    Propeller: {"g": "mass_g", "rpm": "max_rpm"},
    ListingRow: {
        "rpm/V": "kv_rpm_per_v", "g": "mass_g", "V": "volts", "A": "amps", "gf": "thrust_gf", "rpm": "rpm",
    },
}  # fmt: skip
"""What a number with this unit means when no key is given."""

_EXAMPLE: dict[type, str] = {
    Motor: '"1500kV 28g" or "kv=1500 measured mass=28g r=80mohm i0=0.9A"',
    Controller: '"20A" or "20A 18g r=5mohm"',
    Pack: '"2S 450mAh 35C", "11.1V 2200 30C LiPo" or "3S2P 5000mAh 28g cell=18mohm"',
    Propeller: '"6x4", "6x4x3" for three blades, or "6x4 thin 3.5g"',
    ListingRow: '"1500kV 28g 7.4V 6.5A 7x4 300gf"',
}

_TYPED = Source(text="typed in", kind="label")
_MEASURED = Source(text="typed in, kV called measured", kind="measured")
_CHEMISTRY_WORDS = {name: name for name in CHEMISTRIES} | {
    "lipoly": "lipo", "lipolymer": "lipo", "lfp": "lifepo4", "life": "lifepo4",
}  # fmt: skip
"""Words of a label without hyphens, and the chemistry each means."""
_IDLE_WORDS = ("battery", "pack")
_LABEL_V = "nominal voltage"
_NOMINAL_WITHIN = 0.04
"""Labels round: 3.6 and 3.7 V stand for one Li-ion cell, 3.2 and 3.3 V for one of LiFePO4."""
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
    words = text.split()
    if len(words) > 1 and _chemistry(words[0]):
        words = words[1:]
    if not words:
        return False
    first = words[0]
    return bool(_KEY.match(first) or _CELLS.fullmatch(first) or _SIZE.fullmatch(first) or _QUANTITY.fullmatch(first))


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
        words = shlex.split(text)
    except ValueError:
        words, faults = [], [Fault(where, value=text, rule="a quotation mark is not closed")]
    rules = {rule.name: rule for rule in declared(cls) if rule.name not in ("id", "source", "table")}
    for word in words:
        found = _read_word(cls, rules, word.rstrip(",;"))
        if isinstance(found, Fault):
            faults.append(attrs.evolve(found, where=where))
            continue
        for key, value in found.items():
            if key in values and values[key] != value:
                faults.append(Fault(where, key, value, f"given twice, {values[key]} before"))
            values[key] = value
    values = {**LISTED.get(cls, {}), **values}
    if cls is Pack and not faults:
        faults += [attrs.evolve(fault, where=where) for fault in _cells_of_label(values)]
    assumed = {} if faults else _filled(cls, values)
    complete = {"name": " ".join(words) or text, **{key: each.value for key, each in assumed.items()}, **values}
    if "c_rating" in assumed:
        complete["c_rating_estimated"] = True
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


def _with_example(fault: Fault, cls: type) -> Fault:
    if fault.rule.startswith("missing"):
        return attrs.evolve(fault, hint=f"type it like {_EXAMPLE[cls]}")
    if fault.key == "diameter_in" and isinstance(fault.value, float) and 40 < fault.value < 1000:
        return attrs.evolve(fault, hint=f"millimetres? then it is {fault.value * MM_M / INCH_M:.3g} in")
    return fault


# ---------------------------------------------------------------- words


def _read_word(cls: type, rules: Mapping[str, Declared], word: str) -> dict[str, Any] | Fault:
    """Attribute to value of one word, or what is wrong with it."""
    if keyed := _KEY.fullmatch(word):
        return _read_key(cls, rules, *keyed.groups())
    if cls is Pack and (cells := _CELLS.fullmatch(word)):
        series, parallel = cells.groups()
        return {"cells_series": int(series)} | ({"cells_parallel": int(parallel)} if parallel else {})
    if cls is Propeller and (size := _SIZE.fullmatch(word)):
        return _read_size(word, *size.groups())
    if quantity := _QUANTITY.fullmatch(word):
        return _read_quantity(cls, rules, word, *quantity.groups())
    if cls is Pack and (chemistry := _chemistry(word)):
        return {"chemistry": chemistry}
    if cls is Pack and word.lower() in _IDLE_WORDS:
        return {}
    options = {option: name for name, rule in rules.items() for option in rule.options if rule.kind == "choice"}
    if word.lower() in options:
        return {options[word.lower()]: word.lower()}
    known = [*options, *_CHEMISTRY_WORDS] if cls is Pack else options
    hint = did_you_mean(word, known) or f"type it like {_EXAMPLE[cls]}"
    return Fault("", value=word, rule="not understood", hint=hint)


def _named(cls: type, rules: Mapping[str, Declared], key: str) -> str | Fault:
    asked = key.lower().replace("-", "_")
    name = asked if asked in rules else _SHORT.get(cls, {}).get(asked)
    if name is not None:
        return name
    near = [each for each in rules if each.startswith(asked)]
    if len(near) == 1:
        return near[0]
    if near:
        return Fault("", key, None, f"could be {' or '.join(near)}")
    hint = did_you_mean(asked, [*rules, *_SHORT.get(cls, {})]) or "known keys: " + ", ".join(rules)
    return Fault("", key, None, "unknown key", hint)


def _read_key(cls: type, rules: Mapping[str, Declared], key: str, text: str) -> dict[str, Any] | Fault:
    name = _named(cls, rules, key)
    if isinstance(name, Fault):
        return name
    value = read_value(rules[name], text)
    if name == "chemistry":
        value = _chemistry(value) or value
    return value if isinstance(value, Fault) else {name: value}


def read_value(rule: Declared, text: str) -> Any:
    """The value of a key: text, or a number with or without a unit; ranges are checked later."""
    name = rule.name
    if rule.kind not in ("number", "integer"):
        return text
    quantity = _QUANTITY.fullmatch(text.strip())
    if quantity is None:
        hint = "write a decimal point" if re.fullmatch(r"\d+,\d+\S*", text) else ""
        return Fault("", name, text, f"must be {rule.rule}", hint)
    number, unit = quantity.groups()
    convert = conversion(unit or rule.unit, rule.unit)
    if convert is None:
        words = [each or "left out" for each in units_for(rule.unit)]
        return Fault("", name, text, f"the unit must be {' or '.join(words)}")
    return convert(float(number))


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


def _read_quantity(
    cls: type, rules: Mapping[str, Declared], word: str, number: str, unit: str
) -> dict[str, Any] | Fault:
    """A number with a unit and no key."""
    if cls is Pack and unit in ("V", "v"):
        return {_LABEL_V: float(number)}
    if cls is Pack and not unit and float(number) >= _LEAST_BARE_MAH:
        return {"capacity_mah": float(number)}
    for declared_unit, name in _BARE_UNIT[cls].items():
        convert = conversion(unit, declared_unit)
        if convert is not None:
            return {name: convert(float(number))}
    keys = [name for name, rule in rules.items() if rule.unit and conversion(unit, rule.unit) is not None]
    if keys:
        return Fault("", value=word, rule="say which number this is: " + " or ".join(f"{key}={word}" for key in keys))
    return Fault("", value=word, rule="not understood", hint=f"type it like {_EXAMPLE[cls]}")


def _read_size(word: str, diameter: str, pitch: str, blades: str | None) -> dict[str, Any] | Fault:
    try:
        size: dict[str, Any] = {"diameter_in": float(diameter), "pitch_in": float(pitch)}
    except ValueError:
        return Fault("", value=word, rule="must be diameter x pitch in inches", hint="type it like 6x4 or 5.5x4.5")
    return size | ({"blades": int(blades)} if blades else {})


def _chemistry(word: str) -> str | None:
    """The chemistry that a word of a label means."""
    return _CHEMISTRY_WORDS.get(re.sub(r"[-_]", "", word.lower()))


def _cells_of_label(values: dict[str, Any]) -> list[Fault]:
    """Turn a nominal voltage into the cells in series."""
    volts = values.pop(_LABEL_V, None)
    if volts is None:
        return []
    kind = chemistry_named(values.get("chemistry", "lipo"))
    cells = round(volts / kind.nominal_v) if 0.0 < volts < 1e3 else 0
    if not cells or abs(volts / (cells * kind.nominal_v) - 1.0) > _NOMINAL_WITHIN:
        near = max(cells, 1)
        hint = f"{near}S is {near * kind.nominal_v:.3g} V"
        return [Fault("", value=f"{volts:g}V", rule=f"no nominal voltage of {kind.name} cells in series", hint=hint)]
    stated = values.setdefault("cells_series", cells)
    if stated != cells:
        rule = f"{volts:g} V is {cells}S of {kind.name}, but {stated}S is said too"
        return [Fault("", "cells_series", stated, rule)]
    return []


# ---------------------------------------------------------------- what a line may leave out


def _filled(cls: type, values: Mapping[str, Any]) -> dict[str, Assumption]:
    """Required numbers that a line may leave out because a usual value is known; subjects are set later."""
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
    text = f"controller mass {mass:g} g, {_CONTROLLER_G_PER_A:g} g per ampere of its rating; {PRACTICE}"
    return {"mass_g": Assumption("", "mass_g", mass, "g", text, 0.5 * mass, 2.0 * mass)}


def controller_for(motor: Motor, pack: Pack) -> TypedPart:
    """A controller for a motor when none was named: rated 1.25 times its continuous current, in steps of 5 A."""
    current = motor.max_current_a
    if current is None:
        current = float(estimated_current_a(completed(motor)[0].max_power_w, nominal_v(pack)))
    needed = 1.25 * current
    rating = min(max(5.0, 5.0 * -(-needed // 5.0)), _CONTROLLER_MOST_A)
    typed = read_part(Controller, f"name='controller of {rating:g} A' {rating:g}A", "--controller")
    text = f"no controller was named: one rated {rating:g} A, 1.25 times the motor's continuous current; {MEMORY}"
    made = Assumption(typed.part.name, "max_current_a", rating, "A", text)
    source = Source(text="not named, assumed", kind="assumed")
    part = attrs.evolve(typed.part, max_current_estimated=True, source=source)
    return TypedPart(part=part, assumptions=(made, *typed.assumptions))
