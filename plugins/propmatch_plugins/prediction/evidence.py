"""What a builder may bring beside the label: measured propellers of the same line, and points from the bench."""

import math
from typing import Any

import attrs
import numpy as np
from numpy.typing import NDArray

from propmatch.faults import Fault, InputFaults
from propmatch.models.tables import CoefficientTable
from propmatch.records.estimates import Assumption, completed
from propmatch.records.parts import Motor
from propmatch.units import INCH_M

__all__ = ["Anchor", "AnchorPoint", "Sibling", "anchor_point"]

FloatArray = NDArray[np.float64]


@attrs.frozen(kw_only=True)
class Anchor:
    """One static point from the bench.

    Attributes
    ----------
    rpm : propeller speed [rpm]
    shaft_power_w : shaft power [W]; or give volts, amps and motor
    thrust_n : static thrust [N]
    volts, amps : at the motor's controller, full throttle [V], [A]
    motor : ``Motor``; its missing numbers are estimated and named as assumptions
    air_density_kg_m3 : of the air of the test
    uncertainty : relative standard uncertainty of the power and of the thrust
    """

    rpm: float
    shaft_power_w: float | None = None
    thrust_n: float | None = None
    volts: float | None = None
    amps: float | None = None
    motor: Motor | None = None
    air_density_kg_m3: float = 1.225
    uncertainty: float = 0.03

    def __attrs_post_init__(self) -> None:
        faults = []
        for key, number in attrs.asdict(self, filter=lambda a, _: a.name != "motor").items():
            if number is None:
                continue
            if not isinstance(number, int | float | np.number) or not math.isfinite(number) or number <= 0:
                faults.append(Fault("Anchor", key, number, "must be a finite number above 0"))
        electrical = (self.volts is not None, self.amps is not None, self.motor is not None)
        if any(electrical) and not all(electrical):
            faults.append(Fault("Anchor", "volts", None, "volts, amps and motor go together"))
        if self.shaft_power_w is not None and all(electrical):
            faults.append(Fault("Anchor", "shaft_power_w", None, "give shaft power or volts and amps, not both"))
        if self.shaft_power_w is None and self.thrust_n is None and not any(electrical):
            faults.append(Fault("Anchor", "", None, "needs shaft_power_w, thrust_n, or volts, amps and motor"))
        if self.motor is not None and not isinstance(self.motor, Motor):
            faults.append(Fault("Anchor", "motor", repr(self.motor), "must be a Motor"))
        if faults:
            raise InputFaults(faults)


@attrs.frozen(eq=False)
class Sibling:
    """Another propeller of the same line: its label, and its ``CoefficientTable`` or what was read of it at rest."""

    diameter_in: float
    pitch_in: float
    blades: int
    table: CoefficientTable | None = None
    anchors: tuple[Anchor, ...] = ()


@attrs.frozen(kw_only=True)
class AnchorPoint:
    """An anchor as coefficients of the nominal propeller: ``ct0``, ``cp0`` (None unknown) at ``rpm``."""

    rpm: float
    ct0: float | None
    cp0: float | None
    uncertainty: float
    assumptions: tuple[Assumption, ...]


def anchor_point(anchor: Anchor, diameter_in: float) -> AnchorPoint:
    """CT0 = T/(rho n^2 D^4), CP0 = P/(rho n^3 D^5); P = (V - R I)(I - I0) gear efficiency from volts and amps.

    Raises InputFaults when the motor's losses exceed the power.
    """
    n, d = anchor.rpm / 60.0, diameter_in * INCH_M
    power = anchor.shaft_power_w
    assumptions: tuple[Assumption, ...] = ()
    if anchor.motor is not None and anchor.volts is not None and anchor.amps is not None:
        motor: Any
        motor, made = completed(anchor.motor)
        assumptions = tuple(a for a in made if a.field in ("resistance_ohm", "no_load_current_a"))
        back = anchor.volts - motor.resistance_ohm * anchor.amps
        power = back * (anchor.amps - motor.no_load_current_a) * motor.gear_efficiency
        if back <= 0 or power <= 0:
            rule = "the motor's resistance and no-load current leave no shaft power: check volts, amps and motor"
            raise InputFaults([Fault("Anchor", "amps", anchor.amps, rule)])
    density = anchor.air_density_kg_m3
    return AnchorPoint(
        rpm=anchor.rpm,
        ct0=None if anchor.thrust_n is None else anchor.thrust_n / (density * n**2 * d**4),
        cp0=None if power is None else power / (density * n**3 * d**5),
        uncertainty=anchor.uncertainty,
        assumptions=assumptions,
    )
