"""Parts of a kind as rows of a list: what each column is called, and what stands in it."""

from collections.abc import Mapping
from typing import Any

from propmatch.records.parts import is_estimated
from propmatch.words.checkwords import kv_word

__all__ = ["list_rows", "value_or_dash"]

_COLUMNS: dict[str, dict[str, str]] = {
    "motors": {"kv_rpm_per_v": "rpm/V", "kv_kind": "kV is", "mass_g": "g", "resistance_ohm": "ohm",
               "no_load_current_a": "no-load A", "max_current_a": "max A"},
    "controllers": {"max_current_a": "max A", "burst_current_a": "burst A", "mass_g": "g", "resistance_mohm": "mohm",
                    "servo_supply": "BEC"},
    "packs": {"cells_series": "S", "cells_parallel": "P", "capacity_mah": "mAh", "c_rating": "C", "mass_g": "g",
              "cell_resistance_mohm": "mohm a cell", "chemistry": "cells"},
    "propellers": {"diameter_in": "in", "pitch_in": "pitch in", "blades": "blades", "family": "family", "mass_g": "g",
                   "max_rpm": "max rpm"},
}  # fmt: skip
"""Attributes that the list of a kind shows, with their heads."""
_OWNED = {"count": "you have", "price": "price"}
"""Those that it shows where any part says them."""


def list_rows(kind: str, parts: Mapping[str, Any]) -> list[dict[str, str]]:
    """Head to text for each part by its id; ``~`` before what is an estimate."""
    rows = []
    for name, part in parts.items():
        row = {"id": name}
        for attribute, head in _COLUMNS[kind].items():
            row[head] = kv_word(part) if attribute == "kv_kind" else value_or_dash(getattr(part, attribute))
            row[head] = f"~{row[head]}" if is_estimated(part, attribute) else row[head]
        row["source"] = part.source.kind
        row |= {head: str(value) for name, head in _OWNED.items() if (value := getattr(part, name)) is not None}
        rows.append(row)
    return rows


def value_or_dash(value: Any) -> str:
    """A number with five digits, a word, or a dash for what is not known."""
    if value is None:
        return "-"
    return f"{value:.5g}" if isinstance(value, float) else str(value)
