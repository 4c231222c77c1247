"""How far each constant is known: after the log, by the log alone, and before it."""

import math

import attrs
import numpy as np

from propmatch.bench.solution import Solution
from propmatch.models import motor as law
from propmatch.models.arrays import Floats
from propmatch.records.motorfit import CONSTANTS
from propmatch.units import RPM_RAD_S

__all__ = ["MOTOR", "PACK", "SLOPE", "Spread", "blades_of", "speed_of", "spreads_of"]

MOTOR = ("kv_rpm_per_v", "resistance_ohm", "no_load_current_a", "resistance_slope_ohm_s")
SLOPE = MOTOR[3]
PACK = {"pack_resistance_ohm": "resistance_ohm", "open_circuit_v": "open_circuit_v"}
"""Constants of motor and pack; the pack's by their names in a row model."""
LEARNT = 0.8
"""What rows alone must know of a constant, over what was known before, for a number to be worth giving: at 1 a tenth of
the logs without a bare run gave a no-load current, to 60 % either way."""


@attrs.frozen
class Spread:
    """ln of a constant, its sd, the sd were nothing known of motor and packs, and the sd usual before a log."""

    ln: float
    sd: float
    alone: float
    before: float

    @property
    def determined(self) -> bool:
        return self.alone < LEARNT * self.before


def speed_of(solution: Solution) -> float:
    """Motor speed that the resistance is given at: the rows', weighted by their current."""
    runs = solution.model.runs
    w, amps = (solution.readings[key][runs] for key in ("w", "current"))
    return float(np.sum(w * amps) / np.sum(amps)) if w.size else 1.0


def spreads_of(solution: Solution, at_rad_s: float) -> dict[str, Spread]:
    """Every constant of motor and packs by its name, packs with their number behind it."""
    model, theta, usual = solution.model, solution.theta, solution.model.scale @ solution.model.scale.T
    motor = len(CONSTANTS)
    usual[:motor, :motor] = np.diag(model.usual**2)
    packs = [at for at, name in enumerate(model.names) if name.partition(" ")[0] in PACK]
    own = [0, 1, 4, *packs]
    now, alone = solution.covariance(), solution.covariance(own)

    def along(gradient: Floats, ln: float, apart: Floats) -> Spread:
        variances = [float(gradient @ each @ gradient) for each in (now, apart, usual)]
        return Spread(ln, *(math.sqrt(max(each, 0.0)) for each in variances))

    each = np.eye(model.size)
    found = {
        name: along(each[CONSTANTS.index(name)], theta[CONSTANTS.index(name)], alone)
        for name in ("kv_rpm_per_v", "no_load_current_a")
    }
    r, b = math.exp(theta[1]), math.exp(theta[2])
    ohm = float(law.resistance_at_speed(r, b, at_rad_s))
    found["resistance_ohm"] = along((r * each[1] + (ohm - r) * each[2]) / ohm, math.log(ohm), alone)
    if model.scale[2, 2]:
        found[SLOPE] = along(each[2], theta[2], solution.covariance([*own, 2]))
    for at in packs:
        found[model.names[at]] = along(each[at], theta[at], alone)
    return found


def blades_of(solution: Solution) -> dict[str, dict[str, Spread]]:
    """CT0 and CP0 of each propeller at its fastest row."""
    model, theta, prior = solution.model, solution.theta, solution.model.scale @ solution.model.scale.T
    own = [0, 1, 4]
    now, out = solution.covariance(), {}
    for at, propeller in enumerate(model.propellers):
        i = len(CONSTANTS) + 2 * at
        alone = solution.covariance([*own, i, i + 1])
        rpm = max(solution.readings["w"][model.which == at]) / RPM_RAD_S / model.motor.gear_ratio
        assert propeller.table is not None
        table = propeller.table.lookup(rpm, 0.0)
        out[propeller.id or propeller.name] = {
            key: Spread(
                theta[j] + math.log(max(float(value), 1e-9)),
                *(math.sqrt(max(each[j, j], 0.0)) for each in (now, alone, prior)),
            )
            for key, j, value in (("ct0", i, table.ct), ("cp0", i + 1, table.cp))
        }
    return out
