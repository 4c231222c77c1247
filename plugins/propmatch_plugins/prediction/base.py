"""Uncorrected blade-element curves of one blade shape, and how a measured propeller differs from them.

A propeller is described relative to its computed curves by seven numbers (``OUTPUTS``): the logarithms of the factors
on static CT, static CP and zero-thrust J, and of the further factors on CT and CP at x = 0.4 and 0.8, x = J/J0.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from propmatch_plugins.prediction.bemt import BladeCurves, SectionPolar, solve_blade
from propmatch_plugins.prediction.coefficients import FittedTable
from propmatch_plugins.prediction.families import Label
from propmatch_plugins.prediction.shapes import (
    RADIUS,
    WEIGHT,
    BladeShape,
    Geometry,
    family_shape,
    geometry_shape,
)

__all__ = ["OUTPUTS", "Base", "Differences", "shape_factor"]

FloatArray = NDArray[np.float64]

OUTPUTS = ("ct0", "cp0", "j0", "ct4", "ct8", "cp4", "cp8")


def shape_factor(at_4: FloatArray | float, at_8: FloatArray | float, x: FloatArray) -> FloatArray:
    """ln factor along x = J/J0: the parabola through (0, 0), (0.4, ``at_4``), (0.8, ``at_8``), held from x = 1."""
    x = np.minimum(x, 1.0)
    return np.asarray(at_4 * x * (0.8 - x) / 0.16 + at_8 * x * (x - 0.4) / 0.32)


@dataclass(frozen=True)
class Differences:
    """ln(measured/computed): ``static`` (S, 2) at ``static_rpm``; ``sweeps`` (W, 5) at ``sweep_rpm``; NaN unknown."""

    static_rpm: FloatArray
    static: FloatArray
    sweep_rpm: FloatArray
    sweeps: FloatArray


@dataclass(frozen=True)
class Base:
    """Section polar and family shapes: all that the uncorrected curves rest on."""

    polar: SectionPolar
    shapes: FittedTable
    families: FittedTable

    def blade(self, label: Label, geometry: Geometry | None = None) -> BladeShape:
        """The mean blade of the label's family, or the user's own."""
        mean = family_shape(self.shapes, self.families, label)
        return mean if geometry is None else geometry_shape(geometry, mean)

    def curves(self, blade: BladeShape, blades: float, reynolds: FloatArray, j: FloatArray) -> BladeCurves:
        """CT and CP at Re_D ``reynolds`` and advance ratio ``j``, which broadcast."""
        return solve_blade(
            self.polar,
            radius=RADIUS,
            weight=WEIGHT,
            chord=blade.chord,
            angle_rad=blade.angle_rad,
            blades=blades,
            advance_ratio=np.asarray(j, dtype=np.float64)[..., None],
            disk_reynolds=np.asarray(reynolds, dtype=np.float64)[..., None],
        )

    def zero_thrust_j(self, blade: BladeShape, blades: float, reynolds: FloatArray) -> FloatArray:
        """Advance ratio of zero thrust, (R,): three Reynolds numbers on a coarse grid, parabola in ln Re between."""
        log_re = np.log(np.asarray(reynolds, dtype=np.float64))
        node = np.array(sorted({log_re.min(), 0.5 * (log_re.min() + log_re.max()), log_re.max()}))
        angle = float(np.interp(0.75, RADIUS, blade.angle_rad)) - self.polar.zero_lift_rad
        guess = 0.75 * math.pi * math.tan(min(angle, 1.4))
        j = guess * np.linspace(0.4, 1.3, 10)
        ct = self.curves(blade, blades, np.exp(node)[:, None], np.broadcast_to(j, (node.size, j.size))).ct
        if np.any(ct[:, 0] <= 0.0) or np.any(ct[:, -1] > 0.0):
            j = guess * np.concatenate([np.linspace(0.02, 0.38, 10), np.linspace(0.4, 3.0, 14)])
            ct = self.curves(blade, blades, np.exp(node)[:, None], np.broadcast_to(j, (node.size, j.size))).ct
        zero = np.array([_crossing(j, row) for row in ct])
        if node.size == 1:
            return np.full_like(log_re, zero[0])
        return np.asarray(np.polyval(np.polyfit(node, zero, node.size - 1), log_re))

    def differences(
        self,
        blade: BladeShape,
        blades: float,
        *,
        static: tuple[FloatArray, FloatArray, FloatArray, FloatArray],
        sweeps: Sequence[tuple[float, float, float, FloatArray, FloatArray, FloatArray]],
    ) -> Differences:
        """Compare with measurements.

        Parameters
        ----------
        static : rpm, Re_D, CT0, CP0, each (S,)
        sweeps : (rpm, Re_D, zero-thrust J or NaN, j, ct, cp) of each run, static points excluded
        """
        rpm, reynolds, ct0, cp0 = static
        computed = self.curves(blade, blades, reynolds, np.zeros_like(reynolds))
        level = np.log(np.stack([ct0, cp0], axis=1) / np.stack([computed.ct, computed.cp], axis=1))
        out = np.full((len(sweeps), 5), np.nan)
        known = [k for k, sweep in enumerate(sweeps) if math.isfinite(sweep[2])]
        if known:
            own = self.zero_thrust_j(blade, blades, np.array([sweeps[k][1] for k in known]))
            parts, at = [], []
            for zero, k in zip(own, known, strict=True):
                out[k, 0] = math.log(sweeps[k][2] / zero)
                parts.append(sweeps[k][3] * math.exp(-out[k, 0]))
                at.append(np.full(sweeps[k][3].size, sweeps[k][1]))
            curves = self.curves(blade, blades, np.concatenate(at), np.concatenate(parts))
            edges = np.cumsum([part.size for part in parts])[:-1]
            split = zip(known, np.split(curves.ct, edges), np.split(curves.cp, edges), strict=True)
            for k, ct_computed, cp_computed in split:
                speed, _, zero, j, ct, cp = sweeps[k]
                x = j / zero
                for column, most, measured, model in ((0, 0.86, ct, ct_computed), (1, 1.0, cp, cp_computed)):
                    use = (x < most) & (measured > 0.0) & (model > 0.0)
                    if np.sum(use) < 3:
                        continue
                    shift = np.interp(speed, rpm, level[:, column])
                    gap = np.log(measured[use] / model[use]) - shift
                    one, zero_ = np.ones(int(use.sum())), np.zeros(int(use.sum()))
                    design = np.stack([shape_factor(one, zero_, x[use]), shape_factor(zero_, one, x[use])], axis=1)
                    normal = design.T @ design + 0.02 * np.eye(2)
                    out[k, 1 + 2 * column : 3 + 2 * column] = np.linalg.solve(normal, design.T @ gap)
        return Differences(rpm, level, np.array([sweep[0] for sweep in sweeps]), out)


def _crossing(j: FloatArray, ct: FloatArray) -> float:
    """J at the first fall through zero, by a parabola through the three nearest points."""
    k = int(np.argmax(ct <= 0.0)) if np.any(ct <= 0.0) else ct.size - 1
    k = max(k, 1)
    low = min(max(k - 1, 0), ct.size - 3)
    j3, c3 = j[low : low + 3], ct[low : low + 3]
    straight = j[k] - ct[k] * (j[k] - j[k - 1]) / (ct[k] - ct[k - 1])
    # inverse interpolation: J as a parabola in CT
    a, b, c = c3
    if a > b > c:
        return float(
            j3[0] * b * c / ((a - b) * (a - c))
            + j3[1] * a * c / ((b - a) * (b - c))
            + j3[2] * a * b / ((c - a) * (c - b))
        )
    return float(straight)
