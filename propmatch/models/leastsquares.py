"""Least squares that one wrong number does not spoil, and how far each number contradicts the others.

Sought is the least sum of nu ln(1 + r^2/nu) over residuals r, each in its own standard uncertainty: the loss of
Student's t; nu = ``GAUSS`` is plain least squares. By Levenberg-Marquardt steps on weights W = 1/(1 + r^2/nu); the
covariance is the inverse of J'WJ there (Laplace).

Sources: K. L. Lange, R. J. A. Little, J. M. G. Taylor, Robust Statistical Modeling Using the t Distribution, JASA 84,
1989; D. W. Marquardt, J. SIAM 11, 1963.
"""

from collections.abc import Callable

import numpy as np

from propmatch.models.arrays import Floats

__all__ = ["GAUSS", "STUDENT", "contradictions", "information", "least", "linearised"]

GAUSS, STUDENT = 1e9, 4.0
_STEPS, _FAR, _DIFFERENCE, _MOST_DAMPING = 50, 3.0, 1e-6, 1e9


def linearised(function: Callable[[Floats], Floats], x: Floats) -> tuple[Floats, Floats]:
    """Values (M,) and Jacobian (M, N) by forward differences of a function of columns, (N, C) to (M, C)."""
    found = function(x[:, None] + np.column_stack([np.zeros(x.size), _DIFFERENCE * np.eye(x.size)]))
    return found[:, 0], (found[:, 1:] - found[:, :1]) / _DIFFERENCE


def _weights(r: Floats, nu: Floats | float) -> Floats:
    return np.asarray(1.0 / (1.0 + r**2 / nu))


def _loss(r: Floats, nu: Floats | float) -> float:
    return float(np.sum(nu * np.log1p(r**2 / nu)))


def information(r: Floats, jacobian: Floats, nu: Floats | float) -> Floats:
    """J'WJ, (N, N)."""
    return np.asarray(jacobian.T @ (jacobian * _weights(r, nu)[:, None]))


def least(
    linear: Callable[[Floats], tuple[Floats, Floats]],
    x: Floats,
    nu: Floats | float,
    *,
    near: float = 1e-4,
    enough: float = 0.0,
) -> tuple[Floats, Floats, Floats]:
    """x of the least loss from a start near it, with r and its Jacobian there.

    Parameters
    ----------
    linear : callable
        Residuals (M,) and their Jacobian (M, N) at x (N,).
    x : (N,), scaled so that 1 is a large step
    nu : float or (M,)
        Degrees of freedom of each residual.
    near, enough : float
        A step this small, or one that gains no more than this, is the last.
    """
    r, jacobian = linear(x)
    loss, damping = _loss(r, nu), 1e-6
    for _ in range(_STEPS):
        normal, pull = information(r, jacobian, nu), -jacobian.T @ (_weights(r, nu) * r)
        while damping < _MOST_DAMPING:
            step = np.linalg.solve(normal + damping * np.diag(np.maximum(np.diag(normal), 1e-9)), pull)
            step = step / max(1.0, np.abs(step).max() / _FAR)
            there, slopes = linear(x + step)
            gained = loss - _loss(there, nu)
            if gained >= 0.0:
                break
            if np.abs(step).max() <= near:
                return x, r, jacobian
            damping *= 10.0
        else:
            break
        x, r, jacobian, loss, damping = x + step, there, slopes, loss - gained, max(0.1 * damping, 1e-9)
        if np.abs(step).max() <= near or gained <= enough:
            break
    return x, r, jacobian


def contradictions(residual: Floats, jacobian: Floats) -> tuple[Floats, Floats]:
    """How far each residual of a plain answer misses what all others say, and that in its joint uncertainty.

    r/(1 - h) and r/sqrt(1 - h), h the leverage.

    Source: any text on linear regression.
    """
    h = np.einsum("ij,jk,ik->i", jacobian, np.linalg.inv(jacobian.T @ jacobian), jacobian)
    rest = np.maximum(1.0 - h, 1e-9)
    return residual / rest, residual / np.sqrt(rest)
