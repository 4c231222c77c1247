"""A brief as the page edits it: TOML text, and changes of any of its keys laid over it."""

import math
import tomllib
from collections.abc import Mapping
from functools import lru_cache
from typing import Any

import attrs

from propmatch.faults import Fault, InputFaults, did_you_mean
from propmatch.records.brief import brief_of, loads_brief
from propmatch.records.fields import declared, placed, replace, walk
from propmatch.records.masses import listed_mass_g
from propmatch.records.sections import Aircraft, Brief

__all__ = ["edited", "field_values", "plain"]

_BARE = "aircraft.bare_mass_g"
_TABLES = {rule.name: rule for rule in declared(Brief)}
_KEYS = [
    f"{table}.{rule.name}" for table, each in _TABLES.items() if each.kind == "one" for rule in declared(each.item)
]


def edited(text: str, changes: Mapping[str, Any]) -> Brief:
    """The brief of a TOML text with some of its keys changed.

    Parameters
    ----------
    text : str
    changes : mapping
        A key of a table (``wing.area_dm2``) to its value, or a whole table or list of tables (``phase``) to what it
        holds, as JSON has it; None takes it away. A new bare mass of a brief that lists items and printed parts changes
        the filament in proportion, and every item where nothing is printed.

    Raises
    ------
    InputFaults
        With every fault of the text, or else of every change.
    """
    brief = _read(text)
    if not changes:
        return brief
    data, faults = tomllib.loads(text), []
    for key, value in changes.items():
        section, _, name = key.partition(".")
        rule = _TABLES.get(section)
        if rule is not None and not name:
            data[section] = value
        elif rule is not None and rule.kind == "one" and f"{section}.{name}" in _KEYS:
            held = data.get(section)
            table = {**(held if isinstance(held, Mapping) else {}), name: value}
            data[section] = None if all(each is None for each in table.values()) else table
        else:
            faults.append(Fault("sentence", key, value, "no key of a brief", did_you_mean(key, [*_KEYS, *_TABLES])))
    listed = _BARE in changes and bool(data.get("item") or data.get("structure"))
    mass_g = (data["aircraft"] or {}).pop("bare_mass_g", None) if listed else None
    try:
        brief = brief_of(data, "sentence")
    except InputFaults as error:
        faults += error.faults
    if listed:
        faults += placed(walk(Aircraft, {"name": "any", "bare_mass_g": mass_g}, "aircraft")[1], "sentence", {})
        if not faults:
            brief = _with_bare_mass(brief, mass_g, faults)
    if faults:
        raise InputFaults(faults)
    return brief


@lru_cache(maxsize=16)
def _read(text: str) -> Brief:
    return loads_brief(text, "brief")


def _with_bare_mass(brief: Brief, mass_g: float | None, faults: list[Fault]) -> Brief:
    """A brief that lists what it is made of, with another mass of all that together."""
    if mass_g is None:
        rule = "must be a number of grams: everything but the power train"
        faults.append(Fault("sentence", _BARE, None, rule))
        return brief
    filament = sum(each.filament_g for each in brief.structure)
    listed = listed_mass_g(brief.item, brief.structure)
    if not filament:
        items = tuple(replace(each, mass_g=each.mass_g * mass_g / listed) for each in brief.item)
        return attrs.evolve(brief, item=items)  # type: ignore[misc]
    factor = 1 + (mass_g - listed) / filament
    if not factor > 0:
        rule = (
            f"must be above {listed - filament:.4g} g, what items and additions to the print weigh without any filament"
        )
        faults.append(Fault("sentence", _BARE, mass_g, rule))
        return brief
    return replace(brief, structure=tuple(each.with_filament(factor) for each in brief.structure))


def field_values(brief: Brief) -> dict[str, Any]:
    """What the brief says at every key of a table, and in every list of tables; None where it is silent."""
    values: dict[str, Any] = {}
    for section, rule in _TABLES.items():
        held = getattr(brief, section)
        if rule.kind == "many":
            values[section] = plain(held)
        else:
            for each in declared(rule.item):
                values[f"{section}.{each.name}"] = plain(None if held is None else getattr(held, each.name))
    if values[_BARE] is None:
        values[_BARE] = round(listed_mass_g(brief.item, brief.structure), 6)
    return values


def plain(value: Any) -> Any:
    """A value of a brief as JSON has it; of a record what is given."""
    if isinstance(value, tuple):
        return [plain(each) for each in value]
    if hasattr(type(value), "__declared__"):
        held = ((rule, getattr(value, rule.name)) for rule in declared(type(value)))
        return {rule.name: plain(each) for rule, each in held if rule.required or each != rule.default}
    if isinstance(value, Mapping):
        return {str(name): plain(each) for name, each in value.items()}
    return None if isinstance(value, float) and not math.isfinite(value) else value
