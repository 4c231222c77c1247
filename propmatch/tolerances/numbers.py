"""How sure each number is: its standard uncertainty, and what that rests on. Written here, and nowhere else.

A number's own uncertainty goes first (``Source.sd_ln`` of the part, ``[uncertainty]`` of the brief); then the range
of the law that filled it in (:mod:`records.estimates`); then what is usual for its kind of source. Uncertainties are
standard deviations of the natural logarithm, but for the part-throttle loss, whose own standard deviation counts.

Sources: spread of propellers known by label: left-out propellers of the UIUC Propeller Database (J. B. Brandt, R. W.
Deters, G. K. Ananda, O. D. Dantsker, M. S. Selig); every other spread that is not an estimate's: common practice, no
published source.
"""

import math
from collections.abc import Iterable, Mapping
from functools import lru_cache
from typing import Any

import attrs
import numpy as np

from propmatch.models.arrays import Floats
from propmatch.records.estimates import (
    PRACTICE,
    Z80,
    Assumption,
    Completed,
    completed,
    drive_assumptions,
    usual_part_throttle_loss,
)
from propmatch.records.motorfit import PROPELLER_CORRELATION, PROPELLER_SD
from propmatch.records.parts import Controller, Motor, Pack, PowerTrain, Propeller
from propmatch.records.sureness import Uncertainty

__all__ = [
    "GROUPS",
    "INPUTS",
    "MEASURED_TABLE_SD",
    "NAMES",
    "Tolerance",
    "aircraft_tolerances",
    "correlation",
    "correlations",
    "drive_tolerances",
    "kept_tolerances",
    "part_correlations",
    "part_tolerances",
    "tolerances",
    "usual_loss_sd",
]

INPUTS = {
    "motor": ("kv_rpm_per_v", "resistance_ohm", "resistance_slope_ohm_s", "torque_constant_ratio", "no_load_current_a"),
    "controller": ("resistance_mohm", "part_throttle_loss"),
    "pack": ("cell_resistance_mohm", "lead_resistance_mohm", "capacity_mah"),
    "propeller": ("ct", "cp"),
    "aircraft": ("bare_mass", "drag", "induced_drag", "lift", "installed_thrust", "radio", "air_density"),
}
"""Every number that is varied, by what it belongs to; their order is that of the columns of a draw."""
GROUPS = {
    **{name: kind for kind in ("motor", "controller", "pack", "propeller") for name in INPUTS[kind]},
    "bare_mass": "bare mass", "drag": "drag", "induced_drag": "drag", "lift": "highest lift",
    "installed_thrust": "thrust lost to the airframe", "radio": "radio and payload", "air_density": "air",
}  # fmt: skip
"""What an input is counted with where shares of a variance are added up."""
NAMES = tuple(GROUPS)
"""The columns of a draw."""

_STATED = {
    "kv_rpm_per_v": (0.01, 0.03, 0.035), "resistance_ohm": (0.05, 0.20, 0.35),
    "resistance_slope_ohm_s": (0.10, 0.30, 0.35), "torque_constant_ratio": (0.01, 0.03, 0.03),
    "no_load_current_a": (0.10, 0.20, 0.45), "resistance_mohm": (0.10, 0.20, 0.45),
    "part_throttle_loss": (0.03, 0.05, 0.10), "cell_resistance_mohm": (0.10, 0.20, 0.45),
    "lead_resistance_mohm": (0.10, 0.20, 0.45), "capacity_mah": (0.01, 0.03, 0.04),
}  # fmt: skip
"""Of a number that is stated: measured, on a data sheet or of no stated origin, on a label or in a shop's listing."""
_KINDS = {"measured": 0, "data sheet": 1, "assumed": 1, "predicted": 2, "label": 2}
_OWN = ("its own", "its source's own", "stated in [uncertainty]")
_MAIN = ("kv_rpm_per_v", "cell_resistance_mohm")
"""What the general uncertainty of a source speaks of, beside a propeller's coefficients."""
MEASURED_TABLE_SD = 0.03
"""sd of ln of the coefficients of a measured table: common practice, no published source."""
_KEPT = 4096
"""Parts, or pairs of them, of which is kept how sure their numbers are."""
_AIRCRAFT = {
    "bare_mass": 0.05, "drag": 0.27, "induced_drag": 0.08, "lift": 0.08, "installed_thrust": 0.04,
    "radio": 0.30, "air_density": 0.015,
}  # fmt: skip


@attrs.frozen(kw_only=True)
class Tolerance:
    """How sure one number is.

    Attributes
    ----------
    subject : str
        Part, or what else it belongs to.
    name : str
        One of ``NAMES``.
    sd : float
        Standard deviation of ln; of the number itself for ``part_throttle_loss``.
    basis : str
        What that rests on.
    """

    subject: str
    name: str
    sd: float
    basis: str

    @property
    def relative(self) -> bool:
        """Whether the deviation is that of ln, and not of the number itself."""
        return self.name != "part_throttle_loss"

    @property
    def group(self) -> str:
        """What it is counted with."""
        return GROUPS[self.name]

    @property
    def stated(self) -> bool:
        """Whether somebody said how sure it is."""
        return self.basis in _OWN


def part_tolerances(part: Any, kind: str, made: tuple[Assumption, ...] | None = None) -> tuple[Tolerance, ...]:
    """How sure the numbers of a part are, ``part`` as it was stated.

    Parameters
    ----------
    part : Motor, Controller, Pack or Propeller
    kind : str
        ``motor``, ``controller``, ``pack`` or ``propeller``.
    made : tuple of Assumption, optional
        What fills it in; default what :func:`completed` says of the part alone.
    """
    if kind == "propeller":
        return tuple(Tolerance(subject=part.name, name=name, sd=sd, basis=basis) for name, sd, basis in _blades(part))
    filled = {each.field: each for each in (completed(part)[1] if made is None else made) if each.subject == part.name}
    found = (_number(part, name, filled.get(name)) for name in INPUTS[kind])
    return tuple(each for each in found if each is not None)


def _number(part: Any, name: str, filled: Assumption | None) -> Tolerance | None:
    source, stated = part.source, getattr(part, name)
    own: Mapping[str, float] = source.sd_ln
    if name in own:
        sd = own[name] * (stated if name == "part_throttle_loss" else 1.0)
        return Tolerance(subject=part.name, name=name, sd=sd, basis="its own")
    if filled is not None and filled.low is not None and filled.high is not None:
        return Tolerance(subject=part.name, name=name, sd=_sd_of(filled), basis="range of its estimate")
    if filled is None and stated is None:
        return None
    at = 2 if filled is not None else _KINDS[source.kind]
    if filled is None and source.uncertainty is not None and name in _MAIN:
        return Tolerance(subject=part.name, name=name, sd=source.uncertainty, basis="its source's own")
    basis = "an estimate" if filled is not None else f"stated, source: {source.kind}"
    return Tolerance(subject=part.name, name=name, sd=_STATED[name][at], basis=f"{basis}; {PRACTICE}")


def usual_loss_sd(motor: Motor) -> float:
    """Standard deviation of the part-throttle loss of a controller that states none, for a motor."""
    return _sd_of(usual_part_throttle_loss(motor.mass_g))


def _sd_of(filled: Assumption) -> float:
    """From an 80 % range; on its wider side where the number stands at an end of it."""
    low, high, value = float(filled.low or 0.0), float(filled.high or 0.0), filled.value
    if filled.field == "part_throttle_loss":
        return max(high - value, value - low) / Z80
    sides = [math.log(value / low)] if low > 0 else []
    return max([*sides, math.log(high / value)]) / Z80


def _blades(part: Any) -> list[tuple[str, float, str]]:
    source = part.source
    own: Mapping[str, float] = source.sd_ln
    by_label = dict(zip(("ct", "cp"), PROPELLER_SD, strict=True))
    out = []
    for name, label in by_label.items():
        if name in own:
            out.append((name, own[name], "its own"))
        elif source.uncertainty is not None:
            # a prediction states that of its power, which is the less sure of the two
            share = label / by_label["cp"] if source.kind == "predicted" else 1.0
            out.append((name, share * source.uncertainty, "its source's own"))
        elif source.kind == "measured":
            out.append((name, MEASURED_TABLE_SD, f"a measured table; {PRACTICE}"))
        else:
            out.append((name, label, "known by its label: held-out propellers of the UIUC Propeller Database"))
    return out


def aircraft_tolerances(stated: Uncertainty) -> tuple[Tolerance, ...]:
    """How sure the numbers of an aircraft and its field are."""
    return tuple(
        Tolerance(
            subject="aircraft", name=name, sd=usual if getattr(stated, name) is None else getattr(stated, name),
            basis=f"usual; {PRACTICE}" if getattr(stated, name) is None else "stated in [uncertainty]",
        )
        for name, usual in _AIRCRAFT.items()
    )  # fmt: skip


class _Same:
    """A part as a key, by identity: to look into its numbers takes longer than what is kept of them."""

    __slots__ = ("part",)

    def __init__(self, part: Any) -> None:
        self.part = part

    def __hash__(self) -> int:
        return id(self.part)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Same) and self.part is other.part


@lru_cache(maxsize=_KEPT)
def _drive(motor: _Same, controller: _Same) -> tuple[Tolerance, ...]:
    made = drive_assumptions(motor.part, controller.part, Completed())
    return part_tolerances(motor.part, "motor", made) + part_tolerances(controller.part, "controller", made)


@lru_cache(maxsize=_KEPT)
def _alone(part: _Same, kind: str) -> tuple[Tolerance, ...]:
    return part_tolerances(part.part, kind)


@lru_cache(maxsize=_KEPT)
def _aircraft(stated: _Same) -> tuple[Tolerance, ...]:
    return aircraft_tolerances(stated.part)


def drive_tolerances(motor: Motor, controller: Controller) -> tuple[Tolerance, ...]:
    """How sure the numbers of motor and controller are, beside each other; kept."""
    return _drive(_Same(motor), _Same(controller))


def kept_tolerances(part: Pack | Propeller, kind: str) -> tuple[Tolerance, ...]:
    """How sure the numbers of a pack or a propeller are; kept."""
    return _alone(_Same(part), kind)


def tolerances(train: PowerTrain, stated: Uncertainty) -> tuple[Tolerance, ...]:
    """How sure every number of a power train, as its parts were stated, and of its aircraft is."""
    return (
        *drive_tolerances(train.motor, train.controller), *kept_tolerances(train.pack, "pack"),
        *kept_tolerances(train.propeller, "propeller"), *_aircraft(_Same(stated)),
    )  # fmt: skip


@lru_cache(maxsize=_KEPT)
def _correlations(part: _Same, kind: str) -> dict[tuple[str, str], float]:
    return part_correlations(part.part, kind)


def correlations(part: Any, kind: str) -> dict[tuple[str, str], float]:
    """Correlations between the numbers of a part, kept."""
    return _correlations(_Same(part), kind)


def correlation(*of_parts: Iterable[tuple[tuple[str, str], float]]) -> Floats:
    """Correlations between the inputs, (inputs, inputs) in the order of ``NAMES``, from those within parts."""
    out = np.eye(len(NAMES))
    for pairs in of_parts:
        for pair, r in pairs:
            i, j = map(NAMES.index, pair)
            out[i, j] = out[j, i] = r
    return out


def part_correlations(part: Any, kind: str) -> dict[tuple[str, str], float]:
    """Correlations between the numbers of a part: as its source says.

    CT and CP of one propeller go together, 0.8 (held-out propellers of the UIUC Propeller Database).
    """
    out = {("ct", "cp"): PROPELLER_CORRELATION} if kind == "propeller" else {}
    for one, other, r in part.source.correlations:
        if {one, other} <= set(INPUTS[kind]):
            out.pop((other, one), None)
            out[one, other] = r
    return out
