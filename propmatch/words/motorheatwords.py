"""How the heat of a motor reads: watts as they are, kelvin as ranges that nobody judges."""

import math
from typing import TYPE_CHECKING

from propmatch.words.shown import signed

if TYPE_CHECKING:
    from propmatch.aircraft.motorheat import MotorHeat

__all__ = ["heat_head", "heat_rows", "heat_sentences"]


def heat_head(heat: "MotorHeat", build: str = "") -> str:
    """Over the table; ``build`` where there are several."""
    which = "the motor" if heat.motors == 1 else f"each of {heat.motors} motors"
    return f"Heat in {which}, {build}" if build else f"Heat in {which}"


def heat_rows(heat: "MotorHeat") -> list[dict[str, str]]:
    """A row for each phase, and full throttle at rest."""
    return [
        {
            "phase": row.name,
            "heat W": signed(row.motor_heat_w),
            "in the winding W": signed(row.winding_heat_w),
            "K above the air at its end": _span(row.end_rise_low_k, row.end_rise_high_k),
            "K if it went on": _span(row.steady_rise_low_k, row.steady_rise_high_k),
        }
        for row in heat.rows
    ]


def _span(low: float, high: float) -> str:
    return f"{low:.0f} to {high:.0f}" if math.isfinite(low + high) else "-"


def heat_sentences(heat: "MotorHeat") -> tuple[str, ...]:
    """What stands beside the numbers."""
    with_controller = (
        " The winding's part holds the controller's, as the motor's resistance does." if heat.with_controller else ""
    )
    thrust, current = (signed(100 * each, 0) for each in (heat.hot_thrust_change, heat.hot_current_change))
    return (
        "How well this motor cools nobody has measured: its mass alone gives the kelvin, within a factor of "
        f"{heat.bound_factor:g} either way, the winding is hotter than the whole, and there is no verdict. Feel the "
        f"motor after a short flight.{with_controller}",
        f"A winding {heat.hot_k:g} K warmer than its stated resistance changes thrust at full throttle at rest by "
        f"{thrust} % and motor current by {current} %.",
    )
