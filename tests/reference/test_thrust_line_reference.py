"""Cited and hand-calculated values of slipstream, thrust moment and neutral point: the rows of thrust_line.csv."""

import csv
import json
from pathlib import Path

import pytest

from propmatch.aircraft import stability, trim
from propmatch.models import liftingsurface, slipstream


def jet_speed_m_s(thrust_n, diameter_m, airspeed_m_s=0.0):
    return airspeed_m_s + 2.0 * slipstream.induced_velocity_m_s(thrust_n, diameter_m, airspeed_m_s=airspeed_m_s)


FUNCTIONS = {
    "induced_velocity": slipstream.induced_velocity_m_s,
    "jet_speed": jet_speed_m_s,
    "thrust_moment": trim.thrust_moment_nm,
    "elevator_effectiveness": liftingsurface.elevator_effectiveness,
    "jet_growth": slipstream.jet_growth,
    "neutral_point": stability.neutral_point,
}

with (Path(__file__).parent / "thrust_line.csv").open(encoding="utf-8", newline="") as file:
    ROWS = list(csv.DictReader(file))


@pytest.mark.parametrize("row", ROWS, ids=[row["quantity"] for row in ROWS])
def test_reference_value(row):
    found = FUNCTIONS[row["function"]](**json.loads(row["inputs"]))
    assert found == pytest.approx(float(row["value"]), rel=float(row["tolerance"])), row["source"]


def test_dynamic_pressure_ratio_in_the_jet():
    # (1 + 2 v/V)^2 = 2.38121 for 5 N, 9 inch, 12 m/s: hand calculation to 6 digits, momentum theory.
    jet = jet_speed_m_s(5.0, 9 * 0.0254, airspeed_m_s=12.0)
    assert (jet / 12.0) ** 2 == pytest.approx(2.38121, rel=2e-6)
