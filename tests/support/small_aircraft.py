"""A small aircraft with a few parts whose numbers are simple, for the tests of the whole aircraft."""

from typing import Any

from propmatch.brief import Brief, loads_brief
from propmatch.catalogue.catalogue import Catalogue
from propmatch.records.parts import PowerTrain
from support.trains import (
    rising_rpm_table,
    simple_controller,
    simple_motor,
    simple_pack,
    simple_propeller,
    simple_train,
)

BRIEF = """
[aircraft]
name = "test bird"
bare_mass_g = 265
target_mass_g = 460
[[variant]]
name = "heavy"
bare_mass_g = 330
[wing]
area_dm2 = 16.0
span_mm = 1100
cl_max = 1.1
cd0 = 0.035
[limits]
min_thrust_to_weight = 0.5
min_flight_minutes = 6
max_propeller_diameter_in = 8
cells = [2, 3]
[[phase]]
name = "climb out"
throttle = 1.0
seconds = 20
[[phase]]
name = "cruise"
airspeed_m_s = 11
share = 1.0
[site]
altitude_m = 100
temperature_c = 18
[balance]
target_cg_mm = 200
cg_tolerance_mm = 4
bare_cg_mm = 240
leading_edge_mm = 155
pack_tray_from_mm = 20
pack_tray_to_mm = 190
motor_mm = 10
controller_mm = 80
[tail]
area_dm2 = 2.6
span_mm = 380
position_mm = 640
[thrust_line]
height_mm = 30
position_mm = 0
"""


def small_brief(*edits: tuple[str, str]) -> Brief:
    """The brief with lines changed."""
    text = BRIEF
    for old, new in edits:
        assert old in text, old
        text = text.replace(old, new)
    return loads_brief(text)


def lawful_pack(cells: int, capacity_mah: float, **changes: Any) -> Any:
    """A pack of mass 30 g x (A h)^0.9 x S^0.95 exactly."""
    values: dict[str, Any] = {
        "name": f"{cells}S {capacity_mah:g}",
        "cells_series": cells,
        "capacity_mah": capacity_mah,
        "mass_g": 30.0 * (capacity_mah / 1000.0) ** 0.9 * cells**0.95,
        "cell_resistance_mohm": 12.0 / (capacity_mah / 1000.0),
        "c_rating": 45.0,
    }
    return simple_pack(**values | changes)


def small_catalogue() -> Catalogue:
    """Motors of four kV, propellers of four sizes, packs of 1S to 4S by one law, three controllers."""
    motors = [
        simple_motor(name=f"kv{kv}", kv_rpm_per_v=float(kv), resistance_ohm=0.12 * (1400 / kv) ** 2, mass_g=28.0 + at)
        for at, kv in enumerate((900, 1100, 1400, 1700))
    ]
    propellers = [
        simple_propeller(name=f"{d}x{p}", diameter_in=float(d), pitch_in=float(p), mass_g=0.04 * d**2.5,
                         table=rising_rpm_table(ct0=0.11 * (p / d / 0.7) ** 0.6, cp0=0.048 * (p / d / 0.7) ** 1.2,
                                                j_thrust=0.75 * p / d / 0.7, j_power=0.85 * p / d / 0.7))
        for d, p in ((5, 3), (5, 4), (6, 4), (7, 5), (8, 6))
    ]  # fmt: skip
    packs = [lawful_pack(cells, mah) for cells in (1, 2, 3, 4) for mah in (450, 600, 850, 1300)]
    controllers = [simple_controller(name=f"{a}A", max_current_a=float(a), mass_g=0.6 * a) for a in (12, 20, 30)]
    return Catalogue.of(motors=motors, propellers=propellers, packs=packs, controllers=controllers)


def small_train(**changes: Any) -> PowerTrain:
    """Motor, propeller, controller of ``support`` on a lawful 2S 850 mAh pack."""
    return simple_train(**{"pack": lawful_pack(2, 850.0)} | changes)
