"""How each check is judged: unit, direction, and where its limit comes from."""

import attrs

__all__ = ["CHECKS", "CheckRule"]


@attrs.frozen
class CheckRule:
    """How one check is judged.

    Attributes
    ----------
    unit : str
    least : bool
        True when the limit is a minimum.
    basis : str
        ``brief``, ``part rating`` or ``common practice``; where the limit may come from either, the one that excludes.
    what : str
        The value in plain words.
    """

    unit: str
    least: bool
    basis: str
    what: str


_B, _R, _P = "brief", "part rating", "common practice"
CHECKS: dict[str, CheckRule] = {
    "cell_count": CheckRule("S", False, _R, "cells in series against motor and controller"),
    "propeller_diameter": CheckRule("in", False, _B, "propeller diameter"),
    "all_up_mass": CheckRule("g", False, _B, "everything that flies"),
    "wing_loading": CheckRule("g/dm2", False, _B, "all-up mass over wing area"),
    "motor_current_static": CheckRule("A", False, _R, "motor current at full throttle at rest, full pack"),
    "motor_current_flight": CheckRule("A", False, _R, "motor current at full throttle in flight, full pack"),
    "motor_power": CheckRule("W", False, _R, "motor input at full throttle, full pack"),
    "controller_current": CheckRule("A", False, _R, "motor current through the controller, full pack"),
    "pack_burst": CheckRule("A", False, _R, "pack current at full throttle, full pack"),
    "propeller_rpm": CheckRule("rpm", False, _R, "propeller speed at full throttle, full pack"),
    "thrust_to_weight": CheckRule("", True, _B, "static thrust over weight at half charge"),
    "hand_launch": CheckRule("", True, _B, "thrust over weight at half the stall speed, half charge"),
    "climb": CheckRule("m/s", True, _B, "best climb at full throttle, half charge"),
    "cell_voltage": CheckRule("V", True, _B, "cell voltage at full throttle at rest, half charge"),
    "balance": CheckRule("mm", False, _B, "centre of gravity off target with the pack at its best place"),
    "pack_sustained": CheckRule("A", False, _R, "mean pack current of the hungriest phase"),
    "flight_time": CheckRule("min", True, _B, "flight time"),
    "servo_supply_heat": CheckRule("W", False, _P, "heat in a linear servo supply"),
    "tip_mach": CheckRule("", False, _P, "helical tip Mach number"),
    "pitch_speed_ratio": CheckRule("", True, _P, "static pitch speed over stall speed"),
    "speed_over_stall": CheckRule("", True, _P, "slowest powered phase over stall speed"),
    "level_throttle": CheckRule("", False, _P, "throttle of the hungriest held airspeed at reserve charge"),
    "mass_threshold": CheckRule("g", False, _P, "all-up mass against a legal mass class"),
}
"""Every check, in the order in which a combination is counted as left out."""
