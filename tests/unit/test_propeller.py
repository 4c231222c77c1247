"""Similarity laws of the propeller."""

import numpy as np
import pytest

from propmatch.models import propeller


def test_efficiency_is_ct_j_over_cp() -> None:
    n, d, v = 120.0, 0.2, 9.0
    ct, cp, j = 0.08, 0.05, propeller.advance_ratio(9.0, 120.0, 0.2)
    power = propeller.torque_nm(cp, 1.2, n, d) * 2 * np.pi * n
    assert propeller.efficiency(propeller.thrust_n(ct, 1.2, n, d), v, power) == pytest.approx(ct * j / cp, rel=1e-14)


def test_efficiency_at_rest_and_wind_milling() -> None:
    assert propeller.efficiency(5.0, 0.0, 60.0) == 0.0
    assert np.isnan(propeller.efficiency(-1.0, 10.0, -3.0))
    assert np.isnan(propeller.efficiency(1.0, 10.0, 0.0))


def test_tip_mach_is_helical() -> None:
    assert propeller.tip_mach(100.0, 0.3, 0.0, 340.0) == pytest.approx(np.pi * 30.0 / 340.0)
    assert propeller.tip_mach(100.0, 0.3, 40.0, 340.0) == pytest.approx(np.hypot(np.pi * 30.0, 40.0) / 340.0)
