"""The motor model: identities; cited numbers are in tests/reference."""

import numpy as np
import pytest

from propmatch.models import motor


def test_torque_constant_is_the_inverse_of_kv_in_si() -> None:
    assert motor.torque_constant(9.549296585513721) == pytest.approx(1.0, rel=1e-15)


def test_no_load_current_is_constant_or_a_power_of_speed() -> None:
    w = np.array([0.0, 50.0, 100.0, 200.0])
    assert motor.no_load_current_a(w, 0.8, 100.0, 0.0).tolist() == [0.8] * 4
    assert motor.no_load_current_a(w, 0.8, 100.0, 1.0) == pytest.approx([0.0, 0.4, 0.8, 1.6])
    assert motor.no_load_current_a(200.0, 0.8, 100.0, 0.5) == pytest.approx(0.8 * 2**0.5)


def test_the_reference_speed_is_where_the_reading_was_taken() -> None:
    k = motor.torque_constant(1000.0)
    w = motor.reference_speed_rad_s(k, 0.1, 0.5, 8.0)
    assert motor.terminal_voltage_v(w, 0.5, k, 0.1) == pytest.approx(8.0, rel=1e-15)


@pytest.mark.parametrize("e", [1.0, 0.9, 0.6])
def test_a_gear_loses_in_both_directions(e: float) -> None:
    """Driving: shaft torque at the propeller is e g K (I - I0). Driven: the motor gets e Q/g."""
    k, g, no_load = 0.01, 3.0, 0.4
    current = motor.current_a(0.05, no_load, k, g, e)
    assert e * g * k * (current - no_load) == pytest.approx(0.05, rel=1e-14)
    back = motor.current_a(-0.05, no_load, k, g, e)
    assert k * (back - no_load) == pytest.approx(-0.05 * e / g, rel=1e-14)


def test_efficiency_needs_a_positive_input() -> None:
    k = 0.01
    assert np.isnan(motor.efficiency(500.0, 0.0, 0.3, k, 0.1))
    assert np.isnan(motor.efficiency(500.0, -2.0, 0.3, k, 0.1))
    assert motor.efficiency(500.0, 0.3, 0.3, k, 0.1) == 0.0
