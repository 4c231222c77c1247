"""Least squares against scipy.optimize.least_squares, whose loss ``cauchy`` is Student's t of one degree of freedom."""

import numpy as np
import pytest
from scipy.optimize import least_squares

from propmatch.models.leastsquares import GAUSS, contradictions, information, least, linearised

X = np.linspace(0.0, 3.0, 12)
Y = 2.0 * np.exp(-0.7 * X) + 0.05 * np.sin(40 * X)
Y[5] += 1.5


def residuals(x):
    x = np.atleast_2d(np.asarray(x).T).T
    return (x[0] * np.exp(x[1] * X[:, None]) - Y[:, None]) / 0.1


def linear(x):
    return linearised(residuals, x)


@pytest.mark.parametrize(("nu", "loss"), [(GAUSS, "linear"), (1.0, "cauchy")])
def test_the_least_is_that_of_scipy(nu, loss):
    x, r, jacobian = least(linear, np.array([1.0, -0.1]), nu, near=1e-8)
    other = least_squares(lambda x: residuals(x)[:, 0], [1.0, -0.1], loss=loss)
    assert x == pytest.approx(other.x, rel=1e-5)
    assert r == pytest.approx(residuals(x)[:, 0])
    assert information(r, jacobian, GAUSS) == pytest.approx(jacobian.T @ jacobian)


def test_how_far_a_number_misses_is_what_the_others_say_without_it():
    """The leverage formula against fits with the point left out (exact for a linear model)."""
    design = np.column_stack([np.ones(12), X])

    def line(x):
        return (design @ x - Y) / 0.1, design / 0.1

    _, r, jacobian = least(line, np.zeros(2), GAUSS)
    off, sigmas = contradictions(r, jacobian)
    kept = np.arange(12) != 5
    solved = np.linalg.lstsq(design[kept], Y[kept], rcond=None)[0]
    missed = (design[5] @ solved - Y[5]) / 0.1
    spread = np.sqrt(1.0 + design[5] @ np.linalg.inv(design[kept].T @ design[kept]) @ design[5])
    assert off[5] == pytest.approx(missed)
    assert sigmas[5] == pytest.approx(missed / spread)
