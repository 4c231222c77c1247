"""What a fit leaves in the user's folder: the motor, packs that were named beside the log, and propellers.

Numbers are rounded to six digits, deviations and correlations to four, so that the same log gives the same bytes.
"""

from collections.abc import Iterable, Sequence
from typing import Any

from propmatch.bench.logfit import FITTED, Constant, LogFit
from propmatch.faults import Fault, InputFaults
from propmatch.records.estimates import completed
from propmatch.records.fields import declared, replace
from propmatch.records.parts import Motor, Pack, Propeller, Source
from propmatch.units import MILLIOHM_OHM

__all__ = ["is_fitted", "saved_parts"]

_SHORT_OF_ONE = 0.999
"""Keeps a correlation matrix positive definite when its members are rounded."""
_ONE_FACTOR = 0.99
"""Correlation of cells and leads of a pack whose resistance was found as a whole."""


def is_fitted(part: Any) -> bool:
    """Whether a part comes from a fit."""
    return bool(part.source.kind == "measured" and part.source.text.startswith(FITTED))


def saved_parts(fit: LogFit, name: str, packs: Iterable[Pack] = ()) -> dict[str, Sequence[Any]]:
    """The parts of a fit by kind.

    Parameters
    ----------
    fit : LogFit
        A usable one.
    name : str
        Of the motor.
    packs : iterable of Pack
        Those that were named beside the log; one whose resistance the log determines is kept as NAME's.

    Raises
    ------
    InputFaults
        The fit says too little for a motor, or nobody says its mass.
    """
    if any(each.subject == "motor" and each.field == "mass_g" for each in fit.assumptions):
        hint = 'add a column mass_g to the log, or name the motor: --motor "1450kV 28g"'
        raise InputFaults([Fault("--save", "mass_g", rule="missing; a part needs the mass of the motor", hint=hint)])
    motor = replace(fit.part(), name=name)
    found = {pack.name: pack for pack in packs}
    measured = [
        _pack(found[each], constants["resistance_ohm"], motor.source, name)
        for each, constants in fit.packs.items() if each in found and "resistance_ohm" in constants
    ]  # fmt: skip
    blades = [replace(each, name=_beside(each, name)) for each in fit.propeller_parts()]
    made: dict[str, Sequence[Any]] = {
        "motors": [motor],
        "packs": measured,
        "propellers": blades,
    }
    return {kind: [_rounded(each) for each in some] for kind, some in made.items() if some}


def _pack(pack: Pack, ohm: Constant, source: Source, name: str) -> Pack:
    """The pack with cells and leads times what the log says of both together."""
    full = completed(pack)[0]
    before = full.cells_series / full.cells_parallel * full.cell_resistance_mohm + full.lead_resistance_mohm
    factor = ohm.value / (before * MILLIOHM_OHM)
    fields = ("cell_resistance_mohm", "lead_resistance_mohm")
    sd = {field: min(ohm.sd_ln, 1.0) for field in fields if getattr(full, field)}
    together = [(*fields, _ONE_FACTOR)] if len(sd) == len(fields) else []
    made: Pack = replace(
        pack, name=_beside(pack, name), id=None,
        source=replace(source, sd_ln=sd, correlations=together),
        **{field: min(factor * getattr(full, field), 500.0) for field in fields},
    )  # fmt: skip
    return made


def _beside(part: Pack | Propeller, name: str) -> str:
    return f"{part.name.removesuffix(f' with {name}')} with {name}"


def _rounded(part: Motor | Pack | Propeller) -> Any:
    numbers = {
        rule.name: float(f"{value:.6g}")
        for rule in declared(type(part))
        if rule.kind == "number" and (value := getattr(part, rule.name)) is not None
    }
    source = part.source
    sd = {name: float(f"{value:.4g}") for name, value in source.sd_ln.items()}
    pairs = [(one, other, round(_SHORT_OF_ONE * r, 4)) for one, other, r in source.correlations]
    return replace(part, **numbers, source=replace(source, sd_ln=sd, correlations=pairs))
