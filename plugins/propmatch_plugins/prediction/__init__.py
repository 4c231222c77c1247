"""Predicted coefficient tables for propellers that were never measured, each with an honest interval.

As a plugin it gives any propeller row without a table a predicted one; ``predict`` is the call for scripts. Heavy
modules load on first use.
"""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from propmatch.hookspecs import TableAnswer, hookimpl

if TYPE_CHECKING:
    from propmatch.records.parts import Propeller
    from propmatch_plugins.prediction.evidence import Anchor, Sibling
    from propmatch_plugins.prediction.predicted import Prediction, predict
    from propmatch_plugins.prediction.shapes import Geometry
    from propmatch_plugins.prediction.wording import describe

__all__ = [
    "Anchor",
    "Geometry",
    "Prediction",
    "Sibling",
    "describe",
    "line_name",
    "predict",
    "propmatch_coefficient_table",
]

_WHERE = {
    "Anchor": "evidence",
    "Geometry": "shapes",
    "Prediction": "predicted",
    "Sibling": "evidence",
    "describe": "wording",
    "predict": "predicted",
}


def __getattr__(name: str) -> Any:
    if name in _WHERE:
        from importlib import import_module

        return getattr(import_module(f"{__name__}.{_WHERE[name]}"), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")


def line_name(name: str) -> str:
    """Name of a propeller's line: the words before its size, lower case; empty when there are none."""
    words = []
    for word in name.lower().replace("_", " ").replace("-", " ").split():
        if any(letter.isdigit() for letter in word):
            break
        words.append(word)
    return " ".join(words)


@hookimpl
def propmatch_coefficient_table(propeller: "Propeller", siblings: "Sequence[Propeller]") -> TableAnswer:
    """Predict from the label; measured propellers of the same plugin whose names begin alike teach the line."""
    from propmatch_plugins.prediction.predicted import predict
    from propmatch_plugins.prediction.wording import describe

    line = line_name(propeller.name)
    known = [
        each
        for each in siblings
        if line
        and each.table is not None
        and each.source.kind == "measured"
        and line_name(each.name) == line
        and (propeller.family is None or each.family in (None, propeller.family))
    ]
    answer = predict(
        propeller.diameter_in,
        propeller.pitch_in,
        blades=propeller.blades,
        family=propeller.family,
        siblings=known,
    )
    return TableAnswer(table=answer.table, source=answer.source, notes=tuple(describe(answer)))
