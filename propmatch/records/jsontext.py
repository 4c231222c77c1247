"""JSON in: one value for each key, numbers as they stand, faults instead of exceptions."""

import json
import re
from collections.abc import Sequence
from typing import Any

from propmatch.faults import Fault

__all__ = ["LONGEST_NUMBER", "parse_json"]

LONGEST_NUMBER = 400
"""Digits of a whole number beyond which no double holds it: 1.8e308 has 309 (IEEE 754)."""


def parse_json(text: str, where: str) -> tuple[Any, list[Fault]]:
    """What a JSON text holds, or None and why it does not count: a key twice in one table, NaN, wrong syntax."""
    faults: list[Fault] = []

    def table(pairs: Sequence[tuple[str, Any]]) -> dict[str, Any]:
        found: dict[str, Any] = {}
        for key, value in pairs:
            if key in found:
                place = _place_of_second(text, key)
                faults.append(Fault(f"{where}:{place}" if place else where, key, rule="stands twice in one table",
                                    hint="leave one out, or make it a list"))  # fmt: skip
            found[key] = value
        return found

    def whole(digits: str) -> int | float:
        return int(digits) if len(digits) <= LONGEST_NUMBER else float(digits)

    def constant(word: str) -> float:
        raise ValueError(f"the word {word} is no number; leave the key out where the value is not known")

    try:
        data = json.loads(text, object_pairs_hook=table, parse_int=whole, parse_constant=constant)
    except json.JSONDecodeError as error:
        return None, [Fault(f"{where}:{error.lineno}:{error.colno}", rule=f"not valid JSON: {error.msg.lower()}")]
    except RecursionError:
        return None, [Fault(where, rule="not valid JSON: nested too deeply")]
    except ValueError as error:
        return None, [Fault(where, rule=f"not valid JSON: {error}")]
    return (None, faults) if faults else (data, [])


def _place_of_second(text: str, key: str) -> str:
    """Line and column where a key that stands exactly twice in a text stands again; empty otherwise."""
    found = [each.start() for each in re.finditer(re.escape(json.dumps(key)) + r"\s*:", text)]
    if len(found) != 2:
        return ""
    return f"{text.count(chr(10), 0, found[1]) + 1}:{found[1] - text.rfind(chr(10), 0, found[1])}"
