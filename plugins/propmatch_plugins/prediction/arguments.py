"""The arguments of ``predict``, checked: every fault at once."""

import math
from collections.abc import Mapping
from typing import Any

import attrs
import numpy as np
from numpy.typing import NDArray

from propmatch.faults import Fault, InputFaults, did_you_mean
from propmatch.models.air import Air
from propmatch.units import INCH_M
from propmatch_plugins.prediction.evidence import Anchor
from propmatch_plugins.prediction.families import FAMILIES, UNKNOWN, Label
from propmatch_plugins.prediction.lines import known_lines
from propmatch_plugins.prediction.shapes import Geometry

__all__ = ["Asked", "checked", "default_rpm"]

FloatArray = NDArray[np.float64]

_SPEEDS = 8
_LOWEST_TIP_MACH, _HIGHEST_TIP_MACH = 0.05, 0.7
_COLUMNS = ("r_over_R", "c_over_R", "beta_deg")
_LARGEST_PITCH_RATIO = 3.0


@attrs.frozen(kw_only=True)
class Asked:
    """What is left after checking: label, speeds of the table, siblings, bench points, shape, and what to say.

    ``chord_75``: chord over radius at 75 % radius where the angle is not known.
    """

    label: Label
    rpm: FloatArray
    siblings: tuple[Any, ...]
    anchors: tuple[Anchor, ...]
    geometry: Geometry | None
    remarks: tuple[str, ...]
    line: str | None = None
    chord_75: float | None = None


def default_rpm(diameter_in: float) -> FloatArray:
    """Eight speeds from tip Mach 0.05 to 0.7 in standard air, rounded to 10 rpm."""
    sound = float(Air.standard().speed_of_sound_m_s)
    per_mach = sound * 60.0 / (math.pi * diameter_in * INCH_M)
    return np.round(np.linspace(_LOWEST_TIP_MACH, _HIGHEST_TIP_MACH, _SPEEDS) * per_mach, -1)


def checked(
    diameter_in: Any,
    pitch_in: Any,
    *,
    blades: Any = 2,
    family: Any = None,
    geometry: Any = None,
    siblings: Any = (),
    anchors: Any = (),
    rpm: Any = None,
) -> Asked:
    """The arguments of ``predict``, or ``InputFaults`` with everything that is wrong with them."""
    faults: list[Fault] = []
    remarks: list[str] = []

    def add(key: str, value: object, rule: str, hint: str = "") -> None:
        faults.append(Fault("predict", key, value, rule, hint))

    sound = True
    for key, number in (("diameter_in", diameter_in), ("pitch_in", pitch_in)):
        if not _positive(number):
            add(key, number, "must be a finite number of inches above 0")
            sound = False
    if isinstance(blades, bool) or not isinstance(blades, int | np.integer) or not 1 <= blades <= 8:
        add("blades", blades, "must be a whole number from 1 to 8")
    family, line = _family(family, faults)
    if sound and pitch_in > _LARGEST_PITCH_RATIO * diameter_in:
        remarks.append(f"Pitch {pitch_in:g} in is hard to believe: {pitch_in:g} mm would be {pitch_in / 25.4:.1f} in.")
    chord = float(geometry) if _positive(geometry) and geometry <= 1 else None
    shape = None if chord is not None else _shape(geometry, faults)
    known = _siblings(siblings, faults, remarks)
    points = _points(anchors, faults)
    speeds = np.empty(0)
    if rpm is not None:
        try:
            speeds = np.atleast_1d(np.asarray(rpm, dtype=np.float64))
        except (TypeError, ValueError):
            speeds = np.array([math.nan])
        rising = speeds.ndim == 1 and np.all(np.isfinite(speeds)) and np.all(np.diff(speeds) > 0)
        if not rising or not speeds.size or speeds[0] <= 0:
            add("rpm", str(rpm), "must be finite, above 0 and strictly rising")
    elif sound:
        speeds = default_rpm(float(diameter_in))
    if faults:
        raise InputFaults(faults)
    label = Label(diameter_in, pitch_in, blades, family)
    return Asked(label=label, rpm=speeds, siblings=known, anchors=points, geometry=shape, remarks=tuple(remarks),
                 line=line, chord_75=chord)  # fmt: skip


def _family(asked: Any, faults: list[Fault]) -> tuple[str | None, str | None]:
    """Family and line of the open data that a word stands for: None, ``unknown``, a family, or a line's key."""
    if asked is None or asked == UNKNOWN:
        return None, None
    lines = known_lines()
    if asked in lines:
        return lines[asked].family, asked
    if asked not in FAMILIES:
        rule = (
            f"must be one of {', '.join((*FAMILIES, UNKNOWN))}, or a line of the open data such as {next(iter(lines))}"
        )
        faults.append(Fault("predict", "family", asked, rule, did_you_mean(str(asked), (*FAMILIES, *lines))))
        return None, None
    return asked, None


def _positive(number: object) -> bool:
    real = isinstance(number, int | float | np.number) and not isinstance(number, bool)
    return real and math.isfinite(number) and number > 0  # type: ignore[arg-type, operator]


def _shape(geometry: Any, faults: list[Fault]) -> Geometry | None:
    if geometry is None or isinstance(geometry, Geometry):
        return geometry
    try:
        columns = [geometry[name] for name in _COLUMNS]
    except (TypeError, KeyError, IndexError, ValueError):
        rule = f"must be a Geometry, or have the columns {', '.join(_COLUMNS)}, or be a chord over radius up to 1"
        faults.append(Fault("predict", "geometry", repr(geometry), rule))
        return None
    try:
        return Geometry(*columns)
    except InputFaults as error:
        faults += error.faults
    except (TypeError, ValueError):
        faults.append(Fault("predict", "geometry", repr(geometry), "must have numbers in its columns"))
    return None


def _many(values: Any, key: str, rule: str, faults: list[Fault]) -> tuple[Any, ...]:
    if isinstance(values, str | Mapping) or not hasattr(values, "__iter__"):
        faults.append(Fault("predict", key, repr(values), f"must be a list; {rule}"))
        return ()
    return tuple(values)


def _siblings(siblings: Any, faults: list[Fault], remarks: list[str]) -> tuple[Any, ...]:
    """Measured propellers; one whose table was itself predicted teaches nothing and is left out."""
    rule = "each must have diameter_in, pitch_in, blades, and a table or anchors"
    known = []
    for index, sibling in enumerate(_many(siblings, "siblings", rule, faults)):
        lacks = any(getattr(sibling, name, None) is None for name in ("diameter_in", "pitch_in", "blades"))
        if lacks or (getattr(sibling, "table", None) is None and not getattr(sibling, "anchors", ())):
            faults.append(Fault("predict", f"siblings[{index}]", repr(sibling), rule.removeprefix("each ")))
        elif getattr(getattr(sibling, "source", None), "kind", "measured") == "predicted":
            size = f"{sibling.diameter_in:.3g}x{sibling.pitch_in:.3g}"
            remarks.append(f"Sibling {size} not used: its table is a prediction, which teaches nothing new.")
        else:
            known.append(sibling)
    return tuple(known)


def _points(anchors: Any, faults: list[Fault]) -> tuple[Anchor, ...]:
    rule = "each must be an Anchor, or a mapping of its fields"
    points = []
    for index, anchor in enumerate(_many(anchors, "anchors", rule, faults)):
        if isinstance(anchor, Anchor):
            points.append(anchor)
            continue
        names = [field.name for field in attrs.fields(Anchor)]
        unknown = [str(name) for name in anchor if name not in names] if isinstance(anchor, Mapping) else []
        if not isinstance(anchor, Mapping) or unknown or "rpm" not in anchor:
            hint = did_you_mean(unknown[0], names) if unknown else ""
            said = f"{rule.removeprefix('each ')} (rpm, and shaft_power_w, thrust_n, or volts, amps and motor)"
            faults.append(Fault("predict", f"anchors[{index}]", repr(anchor), said, hint))
            continue
        try:
            points.append(Anchor(**anchor))
        except InputFaults as error:
            faults += [attrs.evolve(fault, where=f"anchors[{index}]") for fault in error.faults]
    return tuple(points)
