"""Every key of a brief as something to fill in: its words, unit and range."""

from collections.abc import Iterable
from functools import cache
from typing import Any

from propmatch.records.brief import Brief
from propmatch.records.fields import Declared, declared
from propmatch.records.sections import Units
from propmatch.words.shown import SYSTEMS

__all__ = ["form_answer"]

_PLAIN = ("number", "integer", "text", "flag", "choice", "words or number")


@cache
def form_answer() -> dict[str, Any]:
    """The tables of a brief with their keys, ``many`` of which there may be, such as phases; and systems of units.

    Keys that hold tables themselves are left to the text of the brief.
    """
    tables = [
        {
            "name": rule.name, "title": rule.name.replace("_", " "), "doc": rule.doc, "many": rule.kind == "many",
            "fields": list(_fields(declared(rule.item))),
        }
        for rule in declared(Brief)
    ]  # fmt: skip
    units = {name: {f"units.{rule.name}": getattr(each, rule.name) for rule in declared(Units)}
             for name, each in SYSTEMS.items()}  # fmt: skip
    return {"tables": tables, "units": units}


def _fields(rules: Iterable[Declared]) -> Iterable[dict[str, Any]]:
    for rule in rules:
        inner = rule.item if rule.kind == "many" and isinstance(rule.item, Declared) else rule
        if inner.kind in _PLAIN:
            yield {
                "name": rule.name, "label": _label(rule), "doc": rule.doc or inner.doc, "unit": inner.unit,
                "kind": inner.kind, "list": inner is not rule, "options": list(inner.options), "rule": inner.rule,
                "required": rule.required, "default": rule.default if inner is rule and not rule.required else None,
            }  # fmt: skip


def _label(rule: Declared) -> str:
    """``min thrust to weight``, ``airspeed``: the name of a key without its unit."""
    unit = {"degC": "c", "min": "minutes", "s": "seconds"}.get(rule.unit, rule.unit.replace("/", "_").lower())
    return rule.name.removesuffix(f"_{unit}").replace("_", " ") if unit != rule.name else rule.name
