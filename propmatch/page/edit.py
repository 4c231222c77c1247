"""A brief as the page edits it: TOML text, and changes of single numbers laid over it."""

import math
from collections.abc import Mapping
from functools import lru_cache
from typing import Any

import attrs

from propmatch.faults import Fault, InputFaults
from propmatch.records.brief import dump_brief, loads_brief
from propmatch.records.fields import build, replace
from propmatch.records.masses import listed_mass_g
from propmatch.records.sections import Aircraft, Brief, Limits, Site

__all__ = ["FIELDS", "edited", "field_values"]

FIELDS = (
    "aircraft.bare_mass_g",
    "site.altitude_m",
    "site.temperature_c",
    "limits.reserve_charge",
    "limits.max_propeller_diameter_in",
    "limits.min_flight_minutes",
    "limits.min_thrust_to_weight",
    "limits.cells",
)
"""Keys of the brief that the sentence lets a reader change."""

_SECTIONS: dict[str, type[Any]] = {"aircraft": Aircraft, "site": Site, "limits": Limits}


def edited(text: str, changes: Mapping[str, Any]) -> Brief:
    """The brief of a TOML text with changes of single keys; None takes a key away.

    A new bare mass of a brief that lists items and printed parts changes the filament in proportion, and every item
    where nothing is printed.

    Raises
    ------
    InputFaults
        With every fault of the text, or else of every change.
    """
    brief = _read(text)
    faults = [
        Fault("change", key, value, f"only {', '.join(FIELDS)} can be changed here")
        for key, value in changes.items()
        if key not in FIELDS
    ]
    wanted: dict[str, dict[str, Any]] = {}
    for key, value in changes.items():
        if key in FIELDS:
            section, _, name = key.partition(".")
            wanted.setdefault(section, {})[name] = value
    for section, values in wanted.items():
        kept = getattr(brief, section)
        given = {field: getattr(kept, field) for field in _SECTIONS[section].__annotations__} | values
        given = {name: list(value) if isinstance(value, tuple) else value for name, value in given.items()}
        if given.get("cells", ()) is None:
            del given["cells"]
        _, wrong = build(_SECTIONS[section], given, "sentence", path=section)
        faults += wrong
        if not wrong and "bare_mass_g" in values:
            brief = _with_bare_mass(brief, values.pop("bare_mass_g"), faults)
            continue
        if not wrong:
            changed = {name: given.get(name, ()) for name in values}
            changed = {name: tuple(v) if isinstance(v, list) else v for name, v in changed.items()}
            brief = replace(brief, **{section: replace(kept, **changed)})
    if faults:
        raise InputFaults(faults)
    return loads_brief(dump_brief(brief), "brief")


@lru_cache(maxsize=16)
def _read(text: str) -> Brief:
    return loads_brief(text, "brief")


def _with_bare_mass(brief: Brief, mass_g: float | None, faults: list[Fault]) -> Brief:
    if mass_g is None:
        rule = "must be a number of grams: everything but the power train"
        faults.append(Fault("sentence", "aircraft.bare_mass_g", None, rule))
        return brief
    if not (brief.item or brief.structure):
        return replace(brief, aircraft=replace(brief.aircraft, bare_mass_g=float(mass_g)))
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
        faults.append(Fault("sentence", "aircraft.bare_mass_g", mass_g, rule))
        return brief
    return replace(brief, structure=tuple(each.with_filament(factor) for each in brief.structure))


def field_values(brief: Brief) -> dict[str, Any]:
    """What the brief says at each of ``FIELDS``; None where it is silent."""
    values: dict[str, Any] = {}
    for key in FIELDS:
        section, _, name = key.partition(".")
        values[key] = getattr(getattr(brief, section), name)
    if values["aircraft.bare_mass_g"] is None:
        values["aircraft.bare_mass_g"] = round(listed_mass_g(brief.item, brief.structure), 6)
    values["limits.cells"] = list(values["limits.cells"])
    return {key: value if not isinstance(value, float) or math.isfinite(value) else None
            for key, value in values.items()}  # fmt: skip
