"""Blade shapes: the mean shape of a family, or the user's own chord and angle."""

import math
from dataclasses import dataclass

import attrs
import numpy as np
from numpy.typing import ArrayLike, NDArray

from propmatch.faults import Fault, InputFaults
from propmatch_plugins.prediction.bemt import blade_stations
from propmatch_plugins.prediction.coefficients import FittedTable
from propmatch_plugins.prediction.families import REFERENCE_DIAMETER_IN, REFERENCE_PITCH_RATIO, Label

__all__ = ["RADIUS", "WEIGHT", "BladeShape", "Geometry", "family_shape", "geometry_shape"]

FloatArray = NDArray[np.float64]

RADIUS, WEIGHT = blade_stations(12)
"""Stations r/R (12,) and integration weights at which every blade is evaluated."""

_DIAMETER_EXPONENT = -0.045
_LEAST_ANGLE_RAD = math.radians(0.5)


@dataclass(frozen=True)
class BladeShape:
    """Chord c/R and blade angle [rad] at ``RADIUS``, shape (N,)."""

    chord: FloatArray
    angle_rad: FloatArray


def _readonly(value: ArrayLike) -> FloatArray:
    array = np.array(value, dtype=np.float64, ndmin=1)
    array.setflags(write=False)
    return array


@attrs.frozen(eq=False)
class Geometry:
    """Measured blade shape.

    Attributes
    ----------
    r_over_R : (N,) radius fractions, strictly rising in 0.05 to 1, N >= 2
    c_over_R : (N,) chord over radius, above 0, at most 1
    beta_deg : (N,) blade angle to the plane of rotation [deg], 0 to 89
    only_75 : True when the single station at 75 % radius is all that is known, see ``at_75``

    Raises
    ------
    InputFaults
        With every fault at once.
    """

    r_over_R: FloatArray = attrs.field(converter=_readonly)
    c_over_R: FloatArray = attrs.field(converter=_readonly)
    beta_deg: FloatArray = attrs.field(converter=_readonly)
    only_75: bool = False

    def __attrs_post_init__(self) -> None:
        faults = list(_geometry_faults(self))
        if faults:
            raise InputFaults(faults)

    @classmethod
    def at_75(cls, chord_over_radius: float, angle_deg: float) -> "Geometry":
        """Chord over radius and angle [deg] at 75 % radius; the family's mean shape gives the rest."""
        return cls([0.75], [chord_over_radius], [angle_deg], only_75=True)

    @property
    def chord_75(self) -> float:
        """c/R at 75 % radius."""
        return float(np.interp(0.75, self.r_over_R, self.c_over_R))

    @property
    def pitch_ratio_75(self) -> float:
        """Geometric pitch over diameter at 75 % radius, pi 0.75 tan(beta)."""
        helix = self.r_over_R * np.tan(np.radians(self.beta_deg))
        return float(math.pi * np.interp(0.75, self.r_over_R, helix))


def _geometry_faults(geometry: Geometry) -> list[Fault]:
    out: list[Fault] = []

    def add(key: str, value: object, rule: str) -> None:
        out.append(Fault("Geometry", key, value, rule))

    columns = {"r_over_R": geometry.r_over_R, "c_over_R": geometry.c_over_R, "beta_deg": geometry.beta_deg}
    stations = geometry.r_over_R.size
    for key, column in columns.items():
        if column.ndim != 1:
            add(key, f"shape {column.shape}", "must be one row of numbers")
        elif column.size != stations:
            add(key, column.size, f"must have as many values as r_over_R, {stations}")
        for index in np.flatnonzero(~np.isfinite(column)):
            add(f"{key}[{index}]", float(column.flat[index]), "must be a finite number")
    if stations < 2 and not geometry.only_75:
        add("r_over_R", stations, "needs at least 2 stations; with one at 75 % radius use Geometry.at_75")
    limits = (
        ("r_over_R", 0.05, 1.0, "must lie between 0.05 and 1 (radius fraction, not millimetres)"),
        ("c_over_R", 1e-3, 1.0, "must be above 0 and at most 1 (chord over radius, not millimetres)"),
        ("beta_deg", 0.0, 89.0, "must be at least 0 and below 90 degrees (typical 8 to 45)"),
    )
    for key, low, high, rule in limits:
        column = columns[key]
        with np.errstate(invalid="ignore"):
            wrong = np.flatnonzero(np.isfinite(column) & ((column < low) | (column > high)))
        for index in wrong:
            add(f"{key}[{index}]", float(column.flat[index]), rule)
    r = columns["r_over_R"]
    if r.ndim == 1 and np.all(np.isfinite(r)):
        for index in np.flatnonzero(np.diff(r) <= 0.0):
            add(f"r_over_R[{index + 1}]", float(r[index + 1]), "must rise from hub to tip")
    return out


def family_shape(shapes: FittedTable, families: FittedTable, label: Label) -> BladeShape:
    """Mean blade of the label's family: c/R = C(x) (D/9 in)^-0.045 (B/2)^e k, beta = atan(h(x) (p/D)/(pi x)) + offset.

    h also has a slope in u = ln((p/D)/0.65); ``folding`` uses the shape of ``thin`` (none was measured). e is 0 but for
    ``racing``, whose blades are the narrower the more there are.
    """
    assert label.family is not None
    numbers = families.row(label.family)
    source = "thin" if label.family == "folding" else label.family
    pitch_ratio = label.pitch_in / label.diameter_in
    x = np.array([float(row) for row in shapes.rows])
    u = np.clip(math.log(pitch_ratio / REFERENCE_PITCH_RATIO), -0.8, 0.65)
    chord = np.interp(RADIUS, x, shapes.column(f"{source}_chord"))
    chord = chord * numbers["chord_factor"] * (label.diameter_in / REFERENCE_DIAMETER_IN) ** _DIAMETER_EXPONENT
    chord = chord * (label.blades / 2.0) ** numbers.get("blades_exponent", 0.0)
    helix = shapes.column(f"{source}_helix") + u * shapes.column(f"{source}_helix_slope")
    angle = np.arctan(np.interp(RADIUS, x, helix) * pitch_ratio / (math.pi * RADIUS))
    angle = angle + math.radians(numbers["angle_offset_deg"])
    return BladeShape(chord=chord, angle_rad=np.maximum(angle, _LEAST_ANGLE_RAD))


def geometry_shape(geometry: Geometry, mean: BladeShape) -> BladeShape:
    """The user's shape at ``RADIUS``; with one station the family's mean shape scaled through it.

    Between stations chord and x tan(beta) are linear; beyond the ends they are held.
    """
    if geometry.only_75:
        chord = mean.chord * (geometry.chord_75 / np.interp(0.75, RADIUS, mean.chord))
        helix = np.tan(mean.angle_rad) * RADIUS
        helix = helix * (geometry.pitch_ratio_75 / math.pi / np.interp(0.75, RADIUS, helix))
    else:
        chord = np.interp(RADIUS, geometry.r_over_R, geometry.c_over_R)
        tangent = geometry.r_over_R * np.tan(np.radians(geometry.beta_deg))
        helix = np.interp(RADIUS, geometry.r_over_R, tangent)
    angle = np.arctan(helix / RADIUS)
    return BladeShape(chord=chord, angle_rad=np.maximum(angle, _LEAST_ANGLE_RAD))
