"""Shared builders: small invented power trains and tables given by formulas, so that tests know the exact truth."""

from typing import Any

import numpy as np

from propmatch.models.tables import CoefficientTable
from propmatch.records.parts import Airframe, Controller, Motor, Pack, PowerTrain, Propeller

TEST_J = np.linspace(0.0, 1.2, 25)


def table_of(ct: Any, cp: Any, *, rpm: Any = (6000.0,), advance_ratio: Any = TEST_J) -> CoefficientTable:
    """A table sampled from two functions of (rpm, J)."""
    speeds, ratios = np.asarray(rpm, dtype=float), np.asarray(advance_ratio, dtype=float)
    r, j = np.meshgrid(speeds, ratios, indexing="ij")
    return CoefficientTable(rpm=speeds, advance_ratio=ratios, ct=ct(r, j) + 0 * r, cp=cp(r, j) + 0 * r)


def constant_table(*, ct: float = 0.10, cp: float = 0.045) -> CoefficientTable:
    """One rpm, the same coefficients at every advance ratio."""
    return table_of(lambda r, j: ct, lambda r, j: cp)


def smooth_table(
    *,
    ct0: float = 0.11,
    cp0: float = 0.048,
    j_thrust: float = 0.75,
    j_power: float = 0.85,
    ct_growth: float = 0.0,
    cp_growth: float = 0.0,
    rpm: Any = (6000.0,),
) -> CoefficientTable:
    """CT = ct0 (1 - J/j_thrust), CP = cp0 (1 - (J/j_power)^2), times (rpm/6000) to a power of each."""
    return table_of(
        lambda r, j: ct0 * (1 - j / j_thrust) * (r / 6000.0) ** ct_growth,
        lambda r, j: cp0 * (1 - (j / j_power) ** 2) * (r / 6000.0) ** cp_growth,
        rpm=rpm,
    )


def rising_rpm_table(**changes: Any) -> CoefficientTable:
    """``smooth_table`` on eight speeds; CT rises and CP falls with rpm as measured small propellers do."""
    options: dict[str, Any] = {"ct_growth": 0.11, "cp_growth": -0.07, "rpm": np.linspace(2000.0, 16000.0, 8)}
    return smooth_table(**options | changes)


def simple_motor(**changes: Any) -> Motor:
    """A 28 g outrunner with every number stated."""
    values: dict[str, Any] = {
        "name": "test motor",
        "kv_rpm_per_v": 1400.0,
        "mass_g": 28.0,
        "resistance_ohm": 0.12,
        "no_load_current_a": 0.6,
        "no_load_voltage_v": 8.0,
        "max_current_a": 14.0,
    }
    return Motor(**values | changes)


def simple_controller(**changes: Any) -> Controller:
    """A 20 A controller with every number stated; its servo supply is a switching one."""
    values: dict[str, Any] = {
        "name": "test controller",
        "max_current_a": 20.0,
        "mass_g": 12.0,
        "resistance_mohm": 6.0,
        "part_throttle_loss": 0.10,
        "servo_supply": "switching",
    }
    return Controller(**values | changes)


def simple_pack(**changes: Any) -> Pack:
    """A 2S 850 mAh pack with every number stated."""
    values: dict[str, Any] = {
        "name": "test pack",
        "cells_series": 2,
        "capacity_mah": 850.0,
        "c_rating": 30.0,
        "mass_g": 52.0,
        "cell_resistance_mohm": 14.0,
        "lead_resistance_mohm": 6.0,
    }
    return Pack(**values | changes)


def simple_propeller(**changes: Any) -> Propeller:
    """A 7 x 5 inch propeller with ``rising_rpm_table``."""
    values: dict[str, Any] = {"name": "test propeller", "diameter_in": 7.0, "pitch_in": 5.0, "mass_g": 6.0}
    if "table" not in changes:
        values["table"] = rising_rpm_table()
    return Propeller(**values | changes)


def simple_airframe(**changes: Any) -> Airframe:
    """A small glider."""
    values: dict[str, Any] = {
        "wing_area_dm2": 16.0,
        "wing_span_mm": 1100.0,
        "cd0": 0.035,
        "cl_max": 1.1,
        "bare_mass_g": 265.0,
    }
    return Airframe(**values | changes)


def simple_train(
    *,
    motor: dict[str, Any] | Motor | None = None,
    propeller: dict[str, Any] | Propeller | None = None,
    pack: dict[str, Any] | Pack | None = None,
    controller: dict[str, Any] | Controller | None = None,
    **changes: Any,
) -> PowerTrain:
    """A power train of the parts above; give a part, or a mapping of what differs from the simple one."""

    def made(build: Any, given: Any) -> Any:
        return build(**(given or {})) if given is None or isinstance(given, dict) else given

    return PowerTrain(
        motor=made(simple_motor, motor),
        propeller=made(simple_propeller, propeller),
        pack=made(simple_pack, pack),
        controller=made(simple_controller, controller),
        **changes,
    )


def random_train(rng: np.random.Generator, table: CoefficientTable | None = None) -> PowerTrain:
    """A plausible train with gear, no-load exponent, loss, count and radio and payload anywhere in their ranges."""
    kv = float(np.exp(rng.uniform(np.log(700), np.log(3200))))
    diameter = float(np.clip(9000.0 / kv + rng.normal(0, 1.0), 3.0, 12.0))
    exponent = float(rng.choice([0.0, 0.0, 0.5, 1.0, rng.uniform(0, 1.5)]))
    geared = rng.random() < 0.3
    count = int(rng.choice([1, 1, 1, 2, 4]))
    if table is None:
        table = rising_rpm_table(
            ct0=float(rng.uniform(0.08, 0.15)),
            cp0=float(rng.uniform(0.03, 0.08)),
            j_thrust=float(rng.uniform(0.5, 1.0)),
            j_power=float(rng.uniform(0.6, 1.15)),
        )
    return simple_train(
        motor={
            "kv_rpm_per_v": kv * (2.0 if geared else 1.0),
            "resistance_ohm": float(rng.uniform(0.02, 0.25)),
            "no_load_current_a": float(rng.uniform(0.1, 1.5)),
            "no_load_exponent": exponent,
            "gear_ratio": float(rng.uniform(1.5, 4.0)) if geared else 1.0,
            "gear_efficiency": float(rng.uniform(0.85, 1.0)) if geared else 1.0,
        },
        propeller={"diameter_in": diameter, "pitch_in": 0.6 * diameter, "table": table},
        pack={
            "cells_series": int(rng.integers(1, 5)),
            "cells_parallel": int(rng.integers(1, 3)),
            "capacity_mah": float(rng.uniform(300, 3000)),
            "cell_resistance_mohm": float(rng.uniform(3, 40)),
            "lead_resistance_mohm": float(rng.uniform(0, 10)),
        },
        controller={
            "resistance_mohm": float(rng.uniform(0, 12)),
            "part_throttle_loss": float(rng.choice([0.0, rng.uniform(0, 0.3)])),
        },
        count=count,
        radio_current_a=float(rng.uniform(0, 1.0)),
    )
