"""JSON Schema (draft 2020-12) of a record class, from the declarations that the reader uses.

A schema knows keys, types, ranges and words. Rules between fields (a phase has seconds or share) stay with the
reader, so a file that passes the schema can still have faults; a file that fails it always has.
"""

from typing import Any

from propmatch.records.fields import Declared, declared
from propmatch.records.sections import Brief

__all__ = ["brief_schema", "record_schema"]

DIALECT = "https://json-schema.org/draft/2020-12/schema"


def brief_schema() -> dict[str, Any]:
    """Schema of a brief file."""
    return {"$schema": DIALECT, "title": "propmatch brief", **record_schema(Brief)}


def record_schema(cls: type) -> dict[str, Any]:
    """Schema of the table that :func:`propmatch.records.fields.build` reads into ``cls``."""
    rules = [rule for rule in declared(cls) if rule.kind != "instance"]
    required = [rule.name for rule in rules if rule.required]
    table: dict[str, Any] = {"type": "object", "additionalProperties": False}
    table["properties"] = {rule.name: _value_schema(rule) for rule in rules}
    return table | ({"required": required} if required else {})


def _value_schema(rule: Declared) -> dict[str, Any]:
    if rule.kind == "one":
        schema = record_schema(rule.item)
    elif rule.kind == "many":
        item = _value_schema(rule.item) if isinstance(rule.item, Declared) else record_schema(rule.item)
        schema = {"type": "array", "items": item}
    elif rule.kind == "numbers":
        schema = {"type": "object", "additionalProperties": _value_schema(rule.item)}
    elif rule.kind == "row":
        places = [_value_schema(each) for each in rule.item]
        schema = {"type": "array", "prefixItems": places, "minItems": len(places), "maxItems": len(places)}
    elif rule.kind == "text":
        schema = {"type": "string", "pattern": r"\S", "maxLength": rule.longest}
    elif rule.kind == "flag":
        schema = {"type": "boolean"}
    elif rule.kind == "choice":
        schema = {"enum": [*rule.options, *([rule.nothing] if rule.nothing else [])]}
    elif rule.kind == "words or number":
        schema = {"anyOf": [{"type": "number", **_range(rule)}, {"enum": list(rule.options)}]}
    else:
        schema = {"type": rule.kind, **_range(rule)}
    if rule.doc or rule.unit:
        schema["description"] = f"{rule.doc} [{rule.unit}]" if rule.unit else rule.doc
    if isinstance(rule.default, str | int | float):
        schema["default"] = rule.default
    return schema


def _range(rule: Declared) -> dict[str, float]:
    limits = {
        "exclusiveMinimum": rule.gt,
        "minimum": rule.ge,
        "exclusiveMaximum": rule.lt,
        "maximum": rule.le,
    }
    return {word: limit for word, limit in limits.items() if limit is not None}
