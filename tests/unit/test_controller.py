"""The averaged chopper."""

import numpy as np
import pytest
from scipy.optimize import brentq

from propmatch.models import controller


def test_no_loss_at_full_throttle() -> None:
    assert controller.eta(1.0, 0.3) == 1.0
    assert controller.eta(0.5, 0.1) == pytest.approx(0.95)
    assert controller.pack_current_per_motor_a(10.0, 1.0, 0.3) == 10.0


def test_power_is_lost_in_both_directions() -> None:
    """At duty d the motor side carries d V_t I; the pack gives 1/eta of it, and gets eta of it back."""
    assert controller.pack_current_per_motor_a(10.0, 0.5, 0.1) == pytest.approx(10 * 0.5 / 0.95)
    assert controller.pack_current_per_motor_a(-10.0, 0.5, 0.1) == pytest.approx(-10 * 0.5 * 0.95)


def test_the_closed_form_solves_the_voltage_balance() -> None:
    """brentq on d (E' - R_b count d I/eta) = V_c, 300 random cases, the lower root."""
    rng = np.random.default_rng(3)
    answered = 0
    for _ in range(300):
        e, rb = rng.uniform(3, 17), rng.uniform(0, 0.2)
        current, behind, k, count = rng.uniform(0, 40), rng.uniform(0.5, 14), rng.uniform(0, 0.45), rng.integers(1, 5)

        def left(d: float, e=e, rb=rb, i=current, v=behind, k=k, n=count) -> float:
            return d * (e - rb * n * d * i / (1 - k * (1 - d))) - v

        grid = np.linspace(0, 1, 4001)
        values = left(grid)
        found = controller.throttle_for(behind, current, e, rb, k, count)
        over = np.flatnonzero(values >= 0)
        if over.size:
            expected = brentq(left, grid[over[0] - 1], grid[over[0]], xtol=1e-15, rtol=1e-14)
            assert found == pytest.approx(expected, rel=1e-9)
            answered += 1
        else:
            assert np.isnan(found) or found > 1 - 1e-3 or found <= 0
    assert answered > 100
