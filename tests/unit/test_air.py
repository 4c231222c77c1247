"""The standard air; its numbers are in tests/reference/air.csv."""

import numpy as np
import pytest

from propmatch.models.air import Air


def test_scalars_stay_floats_and_arrays_broadcast() -> None:
    assert isinstance(Air.standard(500).density_kg_m3, float)
    air = Air.standard([0.0, 1000.0], [[0.0], [15.0]])
    assert air.density_kg_m3.shape == (2, 2)
    assert air.density_kg_m3[1, 0] == pytest.approx(Air.standard(0.0, 15.0).density_kg_m3)


def test_an_integer_altitude_is_as_good() -> None:
    assert Air.standard(1500).density_kg_m3 == Air.standard(1500.0).density_kg_m3


@pytest.mark.parametrize("altitude", [-1001.0, 11001.0, np.nan])
def test_outside_the_troposphere(altitude: float) -> None:
    with pytest.raises(ValueError, match="troposphere"):
        Air.standard(altitude)


@pytest.mark.parametrize("offset", [-200.0, 200.0, np.nan])
def test_absurd_offsets(offset: float) -> None:
    with pytest.raises(ValueError, match="temperature_offset_k"):
        Air.standard(0.0, offset)


def test_a_field_and_its_thermometer() -> None:
    warm = Air.at_site(150.0, 30.0)
    assert warm.temperature_k == pytest.approx(303.15)
    assert warm.pressure_pa == Air.standard(150.0).pressure_pa
    assert Air.at_site(150.0, None).density_kg_m3 == Air.standard(150.0).density_kg_m3


def test_density_falls_with_height_and_heat() -> None:
    heights = np.linspace(-1000.0, 11000.0, 200)
    assert np.all(np.diff(Air.standard(heights).density_kg_m3) < 0)
    assert np.all(np.diff(Air.standard(0.0, np.linspace(-60.0, 60.0, 50)).density_kg_m3) < 0)
