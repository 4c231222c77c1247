"""Fits the section polar, the families' mean shapes and their two free numbers to measured propellers."""

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from prediction_training.measured import MeasuredPropeller
from propmatch_plugins.prediction.bemt import SectionPolar, solve_blade
from propmatch_plugins.prediction.coefficients import FittedTable
from propmatch_plugins.prediction.families import (
    FAMILIES,
    REFERENCE_DIAMETER_IN,
    REFERENCE_PITCH_RATIO,
    reynolds_number,
)
from propmatch_plugins.prediction.shapes import (
    RADIUS,
    WEIGHT,
    BladeShape,
    Geometry,
    family_shape,
    geometry_shape,
)

__all__ = ["fit_family_numbers", "fit_polar", "mean_shapes", "measured_geometry"]

FloatArray = NDArray[np.float64]

_STATION = np.round(np.arange(0.15, 1.001, 0.05), 2)
RACING_STATION = (0.15, 0.20, 0.30, 0.40, 0.50, 0.60, 0.70, 0.75, 0.80, 0.90, 0.95, 1.00)
RACING_CHORD = (0.130, 0.150, 0.180, 0.190, 0.185, 0.175, 0.160, 0.150, 0.140, 0.115, 0.090, 0.050)
RACING_DIAMETER_IN = 5.0
"""c/R of a two-blade racing propeller of 5 in: 12 mm wide where it is widest, 9.5 mm at 75 % radius. Values from memory
of common sizes, no published source. Its helix is the label's pitch everywhere."""
RACING = {"lines": 3.0, "d_mean": math.log(5.0 / 9.0), "d_sd": 0.12, "u_mean": math.log(0.85 / 0.65), "u_sd": 0.18,
          "two_blades": 0.3, "three_blades": 0.5, "more_blades": 0.2, "blades_exponent": -0.5,
          "doubt_ct0": 0.15, "doubt_cp0": 0.20, "doubt_j0": 0.08}  # fmt: skip
"""Common practice, no published source. 4 to 6 in, pitch 0.7 to 1 of the diameter, mostly three blades, as many lines
as open data has of ``wide``; total blade area grows with the root of the blade count, as one motor serves all of them.
Doubts: what 17 % of chord and 1.5 degrees of pitch change (blade element, three blades)."""
_LEAST_SD = 0.25
_SUPPORTED, _BEYOND = 0.9, 0.5
"""Share of the static speeds of propellers up to 11 in whose Reynolds number counts in full; beyond it peak efficiency
was measured to rise by 0.075 for each of ln rpm where the whole Reynolds number makes it 0.15; 0.5 leaves 0.07."""
_UNSEEN = 0.3
_PRIOR = np.array([5.5, math.radians(-3.2), 1.5, math.log(0.023), 0.4, 0.16, 0.19])
_PRIOR_SD = np.array([1.0, 0.03, 0.5, 0.7, 0.4, 0.15, 0.2])


def measured_geometry(propeller: MeasuredPropeller) -> Geometry | None:
    """The digitised blade as a ``Geometry``, None when there is none."""
    if propeller.geometry is None:
        return None
    r, c, beta = propeller.geometry.T
    return Geometry(r, c, np.clip(beta, 0.0, 89.0))


def mean_shapes(propellers: Sequence[MeasuredPropeller]) -> FittedTable:
    """Mean c/R (scaled to 9 in), mean helix h and its slope in u for every family with geometry.

    h = tan(beta) pi x/(p/D); one weight for each model; the slope is drawn to zero with the weight of two models
    at u = 0.4.
    """
    columns: dict[str, FloatArray] = {}
    for family in FAMILIES:
        rows = [p for p in propellers if p.family == family and p.geometry is not None]
        if not rows:
            continue
        weight = 1.0 / np.array([sum(q.model == p.model for q in rows) for p in rows])
        chord, helix, u = [], [], []
        for p in rows:
            assert p.geometry is not None
            r, c, beta = p.geometry.T
            chord.append(np.interp(_STATION, r, c) * (p.diameter_in / REFERENCE_DIAMETER_IN) ** 0.045)
            tangent = np.interp(_STATION, r, r * np.tan(np.radians(np.clip(beta, 0.5, 89.0))))
            helix.append(math.pi * tangent / (p.pitch_in / p.diameter_in))
            u.append(math.log(p.pitch_in / p.diameter_in / REFERENCE_PITCH_RATIO))
        design = np.stack([np.ones(len(rows)), np.array(u)], axis=1)
        normal = design.T @ (weight[:, None] * design) + np.diag([0.0, 2 * 0.4**2])
        solution = np.linalg.solve(normal, design.T @ (weight[:, None] * np.array(helix)))
        columns[f"{family}_chord"] = np.average(chord, axis=0, weights=weight)
        columns[f"{family}_helix"], columns[f"{family}_helix_slope"] = solution
    scale = (RACING_DIAMETER_IN / REFERENCE_DIAMETER_IN) ** 0.045
    columns["racing_chord"] = scale * np.interp(_STATION, RACING_STATION, RACING_CHORD)
    columns["racing_helix"], columns["racing_helix_slope"] = np.ones(_STATION.size), np.zeros(_STATION.size)
    return FittedTable([f"{x:.2f}" for x in _STATION], columns, np.array(list(columns.values())).T)


class _Points:
    """A thinned set of measured points of many propellers, each propeller with total weight 3."""

    def __init__(self, propellers: Sequence[MeasuredPropeller]) -> None:
        rows: list[tuple[float, ...]] = []
        for index, p in enumerate(propellers):
            if not p.static_rpm.size:
                continue
            chosen = _spread(p.static_rpm.size, 4)
            for k in chosen:
                ct, cp = p.static_ct[k], p.static_cp[k]
                rows.append((index, p.static_rpm[k], 0.0, ct, cp, ct, cp, 1.0 / len(chosen)))
            sweeps = [p.sweeps[k] for k in _spread(len(p.sweeps), 3) if np.isfinite(p.sweeps[k].zero_thrust_j)]
            for sweep in sweeps:
                inside = np.flatnonzero(sweep.j < sweep.zero_thrust_j)
                inside = inside[_spread(inside.size, 6)]
                ct0 = np.interp(sweep.rpm, p.static_rpm, p.static_ct)
                cp0 = np.interp(sweep.rpm, p.static_rpm, p.static_cp)
                for k in inside:
                    weight = 2.0 / len(sweeps) / inside.size
                    rows.append((index, sweep.rpm, sweep.j[k], sweep.ct[k], sweep.cp[k], ct0, cp0, weight))
        table = np.array(rows)
        self.owner = table[:, 0].astype(int)
        self.rpm, self.j, self.ct, self.cp, self.ct0, self.cp0, weight = table[:, 1:].T
        self.root_weight = np.sqrt(weight)
        self.blades = np.array([p.blades for p in propellers], dtype=np.float64)[self.owner, None]
        diameter = np.array([p.diameter_m for p in propellers])[self.owner]
        self.reynolds = reynolds_number(diameter, self.rpm)[:, None]

    def residual(self, polar: SectionPolar, chord: FloatArray, angle: FloatArray) -> FloatArray:
        """Errors of CT and CP in units of the static values, times the root of the weight; (2 P,)."""
        curves = solve_blade(
            polar,
            radius=RADIUS,
            weight=WEIGHT,
            chord=chord[self.owner],
            angle_rad=angle[self.owner],
            blades=self.blades,
            advance_ratio=self.j[:, None],
            disk_reynolds=self.reynolds,
        )
        thrust = (curves.ct - self.ct) / self.ct0 * self.root_weight
        power = (curves.cp - self.cp) / self.cp0 * self.root_weight
        return np.concatenate([thrust, power])


def _spread(size: int, most: int) -> NDArray[np.intp]:
    """At most ``most`` indices spread over ``size``."""
    return (
        np.unique(np.linspace(0, size - 1, min(most, size)).round().astype(np.intp)) if size else np.empty(0, np.intp)
    )


def _polar(vector: FloatArray) -> SectionPolar:
    values = [float(v) for v in vector]
    values[3] = math.exp(values[3])
    return SectionPolar(*values)


def fit_polar(propellers: Sequence[MeasuredPropeller]) -> SectionPolar:
    """Seven numbers of the polar from the propellers with a measured shape (robust least squares)."""
    from scipy.optimize import least_squares

    rows = [p for p in propellers if p.geometry is not None]
    points = _Points(rows)
    mean = BladeShape(np.empty(0), np.empty(0))
    shapes = []
    for p in rows:
        geometry = measured_geometry(p)
        assert geometry is not None
        shapes.append(geometry_shape(geometry, mean))
    chord = np.array([s.chord for s in shapes])
    angle = np.array([s.angle_rad for s in shapes])

    def residual(vector: FloatArray) -> FloatArray:
        return np.concatenate([points.residual(_polar(vector), chord, angle), 0.15 * (vector - _PRIOR) / _PRIOR_SD])

    fit = least_squares(residual, _PRIOR, loss="soft_l1", f_scale=0.1, x_scale=_PRIOR_SD, max_nfev=25)
    turned = np.concatenate([reynolds_number(p.diameter_m, p.static_rpm) for p in propellers if p.diameter_in < 11.01])
    return replace(_polar(fit.x), most_reynolds=round(float(np.quantile(turned, _SUPPORTED)), -3), beyond=_BEYOND)


def fit_family_numbers(
    propellers: Sequence[MeasuredPropeller], polar: SectionPolar, shapes: FittedTable
) -> FittedTable:
    """Chord factor and angle offset of each family, drawn to 1 (+-8 %) and 0 (+-1.5 deg), and what its lines look like.

    A line, not a propeller, is the independent witness: each has weight 1, with an error of 15 % of the static values.
    ``racing`` takes the mean offset of all lines.
    """
    table: dict[str, dict[str, float]] = {}
    for family in FAMILIES:
        rows = [p for p in propellers if p.family == family]
        if rows:
            lines = len({p.line for p in rows})
            chord, offset = _family_numbers(family, rows, lines, polar, shapes)
            table[family] = {"chord_factor": chord, "angle_offset_deg": offset} | _looks(rows)
    seen = list(table.values())
    offset = sum(row["lines"] * row["angle_offset_deg"] for row in seen) / sum(row["lines"] for row in seen)
    table["racing"] = {"chord_factor": 1.0, "angle_offset_deg": offset} | RACING
    names = list(table["racing"])
    unseen = dict.fromkeys(names, 0.0) | {"chord_factor": 1.0, "d_sd": 1.0, "u_sd": 1.0}
    return FittedTable(FAMILIES, names, [list((unseen | table.get(family, {})).values()) for family in FAMILIES])


def _looks(rows: Sequence[MeasuredPropeller]) -> dict[str, float]:
    """Lines of a family, mean and deviation of d and u over them, shares of two, three and more blades.

    Every line has weight 1, shared by its propellers; ``_UNSEEN`` of a line stands for each blade count never seen.
    """
    share = np.array([1.0 / sum(q.line == p.line for q in rows) for p in rows])
    out = {"lines": float(share.sum())}
    for name, values in zip("ud", np.array([p.printed.size for p in rows]).T, strict=True):
        mean = float(np.average(values, weights=share))
        deviation = math.sqrt(float(np.average((values - mean) ** 2, weights=share)))
        out |= {f"{name}_mean": mean, f"{name}_sd": max(deviation, _LEAST_SD)}
    count = [sum(w for w, p in zip(share, rows, strict=True) if low <= p.blades <= high)
             for low, high in ((1, 2), (3, 3), (4, 99))]  # fmt: skip
    whole = out["lines"] + 3 * _UNSEEN
    names = ("two_blades", "three_blades", "more_blades")
    return out | {name: (each + _UNSEEN) / whole for name, each in zip(names, count, strict=True)}


def _family_numbers(
    family: str, rows: Sequence[MeasuredPropeller], lines: int, polar: SectionPolar, shapes: FittedTable
) -> tuple[float, float]:
    from scipy.optimize import least_squares

    points = _Points(rows)
    scale = np.array([0.08, 1.5])
    size = math.sqrt(lines / (3.0 * len(rows))) / 0.15

    def residual(vector: FloatArray) -> FloatArray:
        table = FittedTable([family], ["chord_factor", "angle_offset_deg"], [[math.exp(vector[0]), vector[1]]])
        blades = [family_shape(shapes, table, p.printed) for p in rows]
        chord, angle = np.array([b.chord for b in blades]), np.array([b.angle_rad for b in blades])
        return np.concatenate([size * points.residual(polar, chord, angle), vector / scale])

    best = least_squares(
        residual, np.zeros(2), loss="soft_l1", x_scale=scale, diff_step=np.full(2, 1e-3), max_nfev=15
    ).x
    return math.exp(best[0]), float(best[1])
