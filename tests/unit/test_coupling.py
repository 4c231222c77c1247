"""Operating points against closed forms, an independent brentq loop and measured bench rows."""

import math

import numpy as np
import pytest
from oracle import Chain, FloatTable
from support import (
    random_train,
)

from propmatch.coupling import solve
from propmatch.parts import PowerTrain
from propmatch.status import Status

# The pack's curve and resistance law, typed from their sources (PyBaMM set "Ai2020"; Chen and Rincon-Mora 2006).
SEA_LEVEL = 101325.0 / (287.05287 * 288.15)  # ISO 2533
OCV_NODES = [0.0, 0.05, 0.10, 0.20, 0.30, 0.40, 0.50, 0.60, 0.70, 0.80, 0.90, 0.95, 1.0]
OCV_V = [3.0, 3.5421, 3.6396, 3.6954, 3.7331, 3.7622, 3.7925, 3.8365, 3.9089, 3.9945, 4.0879, 4.1384, 4.2]


def chain_of(
    train: PowerTrain, *, airspeed: float, throttle: float, charge: float, density: float = SEA_LEVEL
) -> Chain:
    """The oracle for a train whose numbers are all stated; coefficients are looked up in the train's own table."""
    motor, pack, controller = train.motor, train.pack, train.controller
    table = FloatTable(train.propeller.table)
    factor = (0.1562 * math.exp(-24.37 * charge) + 0.07446) / (0.1562 * math.exp(-24.37) + 0.07446)
    cell = 1e-3 * pack.cell_resistance_mohm * factor
    return Chain(
        kv_rpm_per_v=motor.kv_rpm_per_v,
        resistance_ohm=motor.resistance_ohm,
        no_load_a=motor.no_load_current_a,
        no_load_v=motor.no_load_voltage_v or 1.0,
        exponent=motor.no_load_exponent,
        gear=motor.gear_ratio,
        gear_efficiency=motor.gear_efficiency,
        controller_ohm=1e-3 * controller.resistance_mohm,
        loss=controller.part_throttle_loss,
        pack_ohm=pack.cells_series / pack.cells_parallel * cell + 1e-3 * pack.lead_resistance_mohm,
        open_v=pack.cells_series * float(np.interp(charge, OCV_NODES, OCV_V)),
        accessory_a=train.accessory_current_a,
        count=train.count,
        diameter_m=0.0254 * train.propeller.diameter_in,
        density=density,
        airspeed=airspeed,
        throttle=throttle,
        ct=table.ct,
        cp=table.cp,
    )


def test_400_random_trains_against_an_independent_brentq_loop() -> None:
    rng = np.random.default_rng(20240)
    trains = [random_train(rng) for _ in range(400)]
    speeds = np.where(rng.random(400) < 0.4, 0.0, rng.uniform(1.0, 18.0, 400))
    throttles = np.where(rng.random(400) < 0.3, 1.0, rng.uniform(0.25, 1.0, 400))
    charges = rng.uniform(0.05, 1.0, 400)
    found = solve(trains, airspeed_m_s=speeds, throttle=throttles, charge=charges)
    checked = back = 0
    for i, train in enumerate(trains):
        chain = chain_of(train, airspeed=speeds[i], throttle=throttles[i], charge=charges[i])
        if found.status[i] != Status.OK:
            continue
        u = 2.0 * math.pi / 60.0 * found.rpm[i]
        expected = chain.speed(0.9 * u, 1.1 * u)
        assert u == pytest.approx(expected, rel=1e-8)
        thrust, torque = chain.propeller(expected)
        assert found.torque_nm[i] == pytest.approx(torque, rel=1e-8, abs=1e-8)
        assert found.thrust_n[i] == pytest.approx(train.count * thrust, rel=1e-8, abs=1e-8)
        assert found.motor_current_a[i] == pytest.approx(chain.motor_current(expected), rel=1e-8, abs=1e-8)
        checked += 1
        back += found.torque_nm[i] < 0
    assert checked >= 395
    assert back >= 5  # some propellers drive their motor
