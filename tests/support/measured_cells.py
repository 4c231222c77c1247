"""Measured cells, named by kind alone: public figures, typed; and what the program says of the same."""

import numpy as np

from propmatch.records.parts import Pack
from propmatch.train.lanes import train_lanes
from support.trains import simple_train

LI_ION = [(5.0, 8.0, 13.0), (5.0, 2.0, 20.0), (2.8, 10.0, 12.0), (3.0, 5.0, 13.0), (4.2, 10.7, 6.5)]
"""A h, label C and measured mohm of round cells: direct current, data sheet, pulse."""
LIPO = [(1.5, 95.0, 4.975), (1.3, 95.0, 5.575), (7.5, 8.0, 10.4)]
"""The same of LiPo cells: one charger, and discharges of a slow cell at 1C and 5C."""
COLD_SHARES = {
    -10.0: {3.0: (0.744, 0.694, 0.695), 2.5: (0.863, 0.785, 0.814)},
    -15.0: {3.0: (0.708, 0.624, 0.615), 2.5: (0.828, 0.744, 0.778)},
    -20.0: {3.0: (0.614, 0.537, 0.449), 2.5: (0.761, 0.685, 0.690)},
}
"""Charge that round cells of three sizes (3.4, 5.0 and 4.5 A h) gave at 1C down to a voltage, over that at 25 degC:
public figures of a test stand. Their labels of about 3C are a value from memory."""


def pack(**changes: object) -> Pack:
    values = {"name": "p", "cells_series": 1, "capacity_mah": 3000.0, "c_rating": 5.0, "mass_g": 48.0}
    return Pack(**values | {"chemistry": "liion", "lead_resistance_mohm": 0.0} | changes)


def given(train, current_a: float, volts: float, level_mohm_ah: float | None = None) -> float:
    """Share of the charge that one cell gives from full down to a voltage."""
    lanes = train_lanes([train])[0].sustained()
    charge = np.linspace(0.0, 1.0, 20_001)
    ohm = lanes.pack_ohm(charge)
    if level_mohm_ah is not None:
        ohm = ohm * level_mohm_ah * 1e-3 / train.pack.capacity_mah * 1e3 / lanes.cells_ohm[0]
    low = charge[lanes.open_circuit_v(charge) - current_a * ohm < volts]
    return float((1.0 - low[-1] if low.size else 1.0) * lanes.capacity_ah[0])


def cold_share(celsius: float, volts: float) -> float:
    """Charge at 1C down to a voltage in the cold, over that at 25 degC."""
    cold, warm = (
        given(simple_train(pack=pack(c_rating=3.0), pack_temperature_c=t), 3.0, volts) for t in (celsius, 25.0)
    )
    return cold / warm
