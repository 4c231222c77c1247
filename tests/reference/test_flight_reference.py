"""Cited and hand-calculated values of drag polar and discharge: the rows of flight.csv."""

import csv
import json
from pathlib import Path

import numpy as np
import pytest

from propmatch.aircraft.discharge import Running, gauss_nodes, slowness
from propmatch.aircraft.polar import AirframeLanes, drag_n, least_drag_speed_m_s, least_power_speed_m_s

RHO = 1.225


def lanes(*, weight_n, area_m2, cd0, k):
    numbers = {"area_m2": area_m2, "cd0": cd0, "k": k, "cl_max": 2.0, "installed_thrust": 1.0}
    return AirframeLanes(mass_kg=np.array([weight_n / 9.80665]), **{n: np.array([v]) for n, v in numbers.items()})


# Anderson's CP-1: span 10.912 m, area 16.165 m2, weight 13127.5 N, CD0 0.025, e 0.8, sea level.
CP1 = lanes(weight_n=13127.5, area_m2=16.165, cd0=0.025, k=1 / (np.pi * 0.8 * 10.912**2 / 16.165))
TRAUB = lanes(weight_n=9.34, area_m2=0.32, cd0=0.015, k=0.13)


def lift_coefficient(frame, speed):
    return frame.weight_n[0] / (0.5 * RHO * speed**2 * frame.area_m2[0])


def drag(airspeed_m_s, frame=CP1):
    return float(drag_n(frame, RHO, airspeed_m_s)[0])


def glide_ratio():
    return CP1.weight_n[0] / drag(float(least_drag_speed_m_s(CP1, RHO)[0]))


def best_endurance_ratio():
    speed = float(least_power_speed_m_s(CP1, RHO)[0])
    return np.sqrt(lift_coefficient(CP1, speed)) * CP1.weight_n[0] / drag(speed)


def climb_from_power(power_w):
    speed = float(least_power_speed_m_s(CP1, RHO)[0])
    return (power_w - drag(speed) * speed) / CP1.weight_n[0]


def constant_power_seconds(power_w):
    """A 2.2 A h cell of 10 mohm from full to a charge of 0.2 at constant power, on the project's clock."""
    edges = np.linspace(1.0, 0.2, 17)[:, None]
    s = gauss_nodes(edges)
    u = -1.031 * np.exp(-35 * s) + 3.685 + 0.2156 * s - 0.1178 * s**2 + 0.3201 * s**3
    current = (u - np.sqrt(u**2 - 4 * 0.010 * power_w)) / (2 * 0.010)
    return float(Running.of(edges, *slowness(current, np.array([2.2]))).end[0])


FUNCTIONS = {
    "best_glide_ratio": glide_ratio,
    "best_endurance_ratio": best_endurance_ratio,
    "least_glide_angle_deg": lambda: np.degrees(np.arctan(1 / glide_ratio())),
    "best_glide_lift_coefficient": lambda: lift_coefficient(CP1, float(least_drag_speed_m_s(CP1, RHO)[0])),
    "drag": drag,
    "drag_power": lambda airspeed_m_s: drag(airspeed_m_s) * airspeed_m_s,
    "least_drag_speed": lambda: float(least_drag_speed_m_s(CP1, RHO)[0]),
    "least_power_speed": lambda: float(least_power_speed_m_s(CP1, RHO)[0]),
    "climb_from_power": climb_from_power,
    "traub_endurance_speed": lambda: float(least_power_speed_m_s(TRAUB, RHO)[0]),
    "traub_power": lambda airspeed_m_s: drag(airspeed_m_s, TRAUB) * airspeed_m_s,
    "constant_power_seconds": constant_power_seconds,
}

with (Path(__file__).parent / "flight.csv").open(encoding="utf-8", newline="") as file:
    ROWS = list(csv.DictReader(file))


@pytest.mark.parametrize("row", ROWS, ids=[row["quantity"] for row in ROWS])
def test_reference_value(row):
    found = FUNCTIONS[row["function"]](**json.loads(row["inputs"]))
    assert found == pytest.approx(float(row["value"]), rel=float(row["tolerance"])), row["source"]


def test_speed_of_least_power_over_speed_of_least_drag():
    # 3^(-1/4) = 0.759836, by differentiating drag and power (any textbook; Anderson ch. 6).
    assert least_power_speed_m_s(CP1, RHO) / least_drag_speed_m_s(CP1, RHO) == pytest.approx(3**-0.25, rel=1e-14)


def test_constant_current_discharge_is_exact():
    # 22 A from 2.2 A h down to a charge of 0.2: 288.000 s, arithmetic.
    edges = np.linspace(1.0, 0.2, 4)[:, None]
    clock = Running.of(edges, *slowness(np.full((2, 3, 1), 22.0), np.array([2.2])))
    assert clock.end[0] == pytest.approx(288.0, rel=1e-14)
    assert clock.to(np.array([0.6]))[0] == pytest.approx(144.0, rel=1e-14)
    assert clock.charge_at(np.array([144.0]))[0] == pytest.approx(0.6, rel=1e-14)
