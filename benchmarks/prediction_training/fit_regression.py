"""Fits the twelve-term regression of ``regression.py``: levels by ridge, curve shapes by linear least squares."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from prediction_training.measured import MeasuredPropeller
from propmatch_plugins.prediction.coefficients import FittedTable
from propmatch_plugins.prediction.families import FAMILIES, label_terms, reynolds_number

__all__ = ["fit_regression"]

FloatArray = NDArray[np.float64]

_TERMS = (*FAMILIES, "u", "uu", "l", "ul", "ll", "d", "b")
_PENALTY = np.array([0.02] * len(FAMILIES) + [0.2, 1.0, 1.0, 4.0, 4.0, 4.0, 1.0])
_SHAPE_PENALTY = np.array([0.5] * len(FAMILIES) + [1.0, 1.0, 1.0, 1.0, 1e6, 1e6, 1e6])


def _terms(p: MeasuredPropeller, rpm: FloatArray) -> FloatArray:
    return label_terms(_TERMS, p.printed, reynolds_number(p.diameter_m, rpm))


def _ridge(x: FloatArray, y: FloatArray, weight: FloatArray, penalty: FloatArray) -> FloatArray:
    """Weighted ridge, the penalised columns drawn to the common mean carried by the families."""
    normal = x.T @ (weight[:, None] * x) + np.diag(penalty)
    return np.asarray(np.linalg.solve(normal, x.T @ (weight * y)))


def fit_regression(propellers: Sequence[MeasuredPropeller]) -> FittedTable:
    """All ten columns of the table; every propeller has weight 1."""
    known = [p for p in propellers if p.family is not None and p.static_rpm.size]
    columns: dict[str, FloatArray] = {}
    x = np.concatenate([_terms(p, p.static_rpm) for p in known])
    weight = np.concatenate([np.full(p.static_rpm.size, 1.0 / p.static_rpm.size) for p in known])
    for name, values in (
        ("ln_ct0", np.concatenate([np.log(p.static_ct) for p in known])),
        ("ln_cp0", np.concatenate([np.log(p.static_cp) for p in known])),
    ):
        columns[name] = _about_mean(x, values, weight, _PENALTY)
    rows, values_j, weights_j = [], [], []
    thrust: list[tuple[FloatArray, FloatArray, FloatArray]] = []
    power: list[tuple[FloatArray, FloatArray, FloatArray]] = []
    for p in known:
        sweeps = [s for s in p.sweeps if np.isfinite(s.zero_thrust_j)]
        for s in sweeps:
            zero = s.zero_thrust_j
            term = _terms(p, np.array([s.rpm]))[0]
            rows.append(term)
            values_j.append(np.log(zero))
            weights_j.append(1.0 / len(sweeps))
            ct0 = np.interp(s.rpm, p.static_rpm, p.static_ct)
            cp0 = np.interp(s.rpm, p.static_rpm, p.static_cp)
            for out, most, value, powers in ((thrust, 1.0, s.ct / ct0, 3), (power, 1.1, s.cp / cp0, 4)):
                use = s.j < most * zero
                if not np.any(use):
                    continue
                place = np.concatenate([[0.0], s.j[use] / zero])
                y = np.concatenate([[1.0], value[use]])
                basis = place[:, None] ** np.arange(float(powers))
                if powers == 3:
                    basis = basis * (1.0 - place[:, None])
                design = (basis[:, :, None] * term).reshape(place.size, -1)
                out.append((design, y, np.full(place.size, 1.0 / (len(sweeps) * place.size))))
    columns["ln_j0"] = _about_mean(np.array(rows), np.array(values_j), np.array(weights_j), _PENALTY)
    for letter, parts, powers in (("a", thrust, 3), ("b", power, 4)):
        design = np.concatenate([part[0] for part in parts])
        values = np.concatenate([part[1] for part in parts])
        weight = np.concatenate([part[2] for part in parts])
        # families all equal first: the common curve; then what the label adds to it
        common = design.reshape(values.size, powers, -1)[:, :, : len(FAMILIES)].sum(axis=2)
        mean = _ridge(common, values, weight, np.full(powers, 1e-6))
        rest = _ridge(design, values - common @ mean, weight, np.tile(_SHAPE_PENALTY, powers))
        table = rest.reshape(powers, len(_TERMS))
        table[:, : len(FAMILIES)] += mean[:, None]
        for k in range(powers):
            columns[f"{letter}{k}"] = table[k]
    return FittedTable(_TERMS, columns, np.array(list(columns.values())).T)


def _about_mean(x: FloatArray, y: FloatArray, weight: FloatArray, penalty: FloatArray) -> FloatArray:
    mean = float(np.average(y, weights=weight))
    out = _ridge(x, y - mean, weight, penalty)
    out[: len(FAMILIES)] += mean
    return out
