"""Predicted coefficient tables for propellers that were never measured, each with an honest interval.

As a plugin it gives any propeller row without a table a predicted one; ``predict`` is the call for scripts. Heavy
modules load on first use.
"""

import math
from collections.abc import Sequence
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from propmatch.hookspecs import TableAnswer, hookimpl

if TYPE_CHECKING:
    from propmatch.faults import Fault, InputFaults
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


@hookimpl
def propmatch_coefficient_table(propeller: "Propeller", siblings: "Sequence[Propeller]") -> "TableAnswer | InputFaults":
    """Predict from the label, what was read on the propeller, and what was measured or read of its make.

    Once: of those of which nothing else is known all of a label have one answer, and the same propeller with the same
    siblings finds its table in the cache folder.
    """
    from propmatch.faults import InputFaults

    wrong = _line_fault(propeller)
    if wrong is not None:
        return InputFaults([wrong])
    if siblings or propeller.read_rpm is not None:
        return _kept(propeller, siblings)
    return _of_label(*(getattr(propeller, name) for name in _LABEL))


_LABEL = ("diameter_in", "pitch_in", "blades", "family", "reads_like", "chord_75_mm", "angle_75_deg")
"""What a prediction rests on where nothing was read at rest and nothing of the make is known."""
_TABLES_KEPT = 5000


@lru_cache(maxsize=_TABLES_KEPT)
def _of_label(*label: Any) -> TableAnswer:
    from propmatch.records.parts import Propeller

    return _kept(Propeller(name="by its label", **dict(zip(_LABEL, label, strict=True))), ())


def _kept(propeller: "Propeller", siblings: "Sequence[Propeller]") -> TableAnswer:
    from propmatch.cache import digest, kept

    name = digest(propeller, tuple(siblings), code=_rests_on())
    return kept(
        "predicted", name, lambda: _predicted(propeller, siblings), write=_written, read=_read, most=_TABLES_KEPT
    )


@lru_cache(maxsize=1)
def _rests_on() -> tuple[Path, ...]:
    """Code and fitted numbers that a prediction rests on."""
    from importlib.resources import files

    from propmatch_plugins.prediction.knowledge import SHIPPED_IN

    package = Path(str(files("propmatch")))
    fitted = sorted(Path(str(files(SHIPPED_IN))).glob("*.csv"))
    return Path(__file__).parent, package / "models", package / "records", *fitted


def _written(answer: TableAnswer) -> dict[str, Any]:
    """An answer as JSON knows it."""
    from propmatch.columns import plain_data

    return {"table": plain_data(answer.table), "source": plain_data(answer.source), "notes": answer.notes}


def _read(told: "dict[str, Any]") -> TableAnswer:
    """The answer again."""
    from propmatch.models.tables import CoefficientTable
    from propmatch.records.parts import Predicted, Source

    source = {**told["source"], "prediction": Predicted(**told["source"]["prediction"])}
    return TableAnswer(table=CoefficientTable(**told["table"]), source=Source(**source), notes=tuple(told["notes"]))


def _predicted(propeller: "Propeller", siblings: "Sequence[Propeller]") -> TableAnswer:
    from propmatch_plugins.prediction.predicted import predict
    from propmatch_plugins.prediction.wording import describe

    answer = predict(
        propeller.diameter_in,
        propeller.pitch_in,
        blades=propeller.blades,
        family=propeller.reads_like or propeller.family,
        geometry=_geometry(propeller),
        siblings=[_sibling(each) for each in siblings],
        anchors=_anchors(propeller),
    )
    return TableAnswer(table=answer.table, source=answer.source, notes=tuple(describe(answer)))


def _line_fault(propeller: "Propeller") -> "Fault | None":
    """What is wrong with the line that the propeller is said to read like."""
    from propmatch.faults import Fault, did_you_mean
    from propmatch_plugins.prediction.lines import known_lines

    name, lines = propeller.reads_like, known_lines()
    if name is None:
        return None
    if name not in lines:
        hint = did_you_mean(name, lines) or "'propmatch parts --lines' lists them"
        return Fault("", "reads_like", name, "no line of the open data has this name", hint)
    family = lines[name].family
    if family != propeller.family:
        return Fault("", "reads_like", name, f"is a line of {family} blades, so the family must be {family}")
    return None


_READING_SD = 0.05
"""Of a power or thrust at rest, its speed and the air's density in it: common practice, no published source."""


def _geometry(propeller: "Propeller") -> "Geometry | float | None":
    """Chord and angle at 75 % radius, or chord over radius alone, as read."""
    from propmatch.units import INCH_M, MM_M
    from propmatch_plugins.prediction.shapes import Geometry

    if propeller.chord_75_mm is None:
        return None
    chord = propeller.chord_75_mm * MM_M / (0.5 * propeller.diameter_in * INCH_M)
    return chord if propeller.angle_75_deg is None else Geometry.at_75(chord, propeller.angle_75_deg)


def _anchors(propeller: "Propeller") -> "list[Anchor]":
    """What was read at rest: shaft power and thrust, each as sure as the source says (``sd_ln``), else as usual."""
    from propmatch.records.estimates import completed
    from propmatch.records.packuse import Z80
    from propmatch.units import GRAM_FORCE_N
    from propmatch_plugins.prediction.evidence import Anchor

    if propeller.read_rpm is None:
        return []
    full, made = completed(propeller)
    sure, out = propeller.source.sd_ln, []
    if full.read_shaft_w is not None:
        guessed = next((each for each in made if each.field == "read_shaft_w"), None)
        sd = sure.get("cp", _READING_SD)
        if guessed is not None and guessed.low and guessed.high:
            sd = math.hypot(sd, math.log(guessed.high / guessed.low) / (2 * Z80))
        out.append(Anchor(rpm=full.read_rpm, shaft_power_w=full.read_shaft_w, uncertainty=sd))
    if full.read_thrust_gf is not None:
        thrust_n = full.read_thrust_gf * GRAM_FORCE_N
        out.append(Anchor(rpm=full.read_rpm, thrust_n=thrust_n, uncertainty=sure.get("ct", _READING_SD)))
    return out


def _sibling(propeller: "Propeller") -> "Sibling":
    """A measured propeller of the make, or one of which something was read at rest."""
    from propmatch_plugins.prediction.evidence import Sibling

    measured = propeller.table is not None and propeller.source.kind == "measured" and propeller.read_rpm is None
    return Sibling(
        propeller.diameter_in, propeller.pitch_in, propeller.blades,
        table=propeller.table if measured else None, anchors=() if measured else tuple(_anchors(propeller)),
    )  # fmt: skip
