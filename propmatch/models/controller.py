"""The controller: an averaged chopper with a series resistance and a loss at part throttle.

Symbols: d duty (throttle) 0..1, k part_throttle_loss, eta = 1 - k (1 - d), I motor current, V_t pack terminal voltage,
R_c series resistance. V_m = d V_t - R_c I; the pack side carries I_b = d I/eta, for I < 0 I_b = d I eta.

Sources: averaged chopper: standard power-electronics practice; linear loss term: a plausible reading of published
part-load measurements, not a fit (R. H. Brown, MSc thesis, University of Maryland, 2019: down to 65 %).
"""

import numpy as np

from propmatch.models.arrays import Number

__all__ = ["eta", "linear_supply_heat_w", "motor_current_from_pack_a", "pack_current_per_motor_a", "throttle_for"]

_ROUNDING = 1e-12


def eta(throttle: Number, part_throttle_loss: Number) -> Number:
    """Chopper efficiency eta = 1 - k (1 - d) [-]; 1 at full throttle."""
    return 1.0 - part_throttle_loss * (1.0 - np.asarray(throttle, dtype=np.float64))


def pack_current_per_motor_a(motor_current_a: Number, throttle: Number, part_throttle_loss: Number) -> Number:
    """I_b = d I/eta, for a regenerating motor d I eta [A]."""
    loss = eta(throttle, part_throttle_loss)
    driven = np.asarray(motor_current_a) >= 0
    return throttle * motor_current_a * (1.0 / loss if driven.all() else np.where(driven, 1.0 / loss, loss))


def linear_supply_heat_w(pack_voltage_v: Number, supply_v: Number, radio_current_a: Number) -> Number:
    """(V_t - V_supply) I_acc [W]: a linear supply drops what the pack has more; 0 where the pack has less."""
    return np.maximum(np.asarray(pack_voltage_v, dtype=np.float64) - supply_v, 0.0) * radio_current_a


def motor_current_from_pack_a(per_motor_a: Number, throttle: Number, part_throttle_loss: Number) -> Number:
    """I = I_b eta/d of a motor that is driven at a throttle above 0 [A]."""
    return per_motor_a * eta(throttle, part_throttle_loss) / throttle


def throttle_for(
    controller_voltage_v: Number,
    motor_current_a: Number,
    available_v: Number,
    pack_resistance_ohm: Number,
    part_throttle_loss: Number,
    count: Number = 1.0,
) -> Number:
    """Throttle that puts a voltage behind the controller, in closed form.

    With V_c = K w + (R + R_c) I, E' = E - R_b I_acc, A = k E' - count R_b I, B = (1 - k) E' - k V_c:
    d = 2 (1 - k) V_c/(B + sqrt(B^2 + 4 A (1 - k) V_c)), which solves A d^2 + B d - (1 - k) V_c = 0.

    Parameters
    ----------
    controller_voltage_v : V_c [V]; motor_current_a : I [A]; available_v : E' [V]
    pack_resistance_ohm : R_b [ohm]; part_throttle_loss : k, 0 <= k < 0.5; count : motors on the pack

    Returns
    -------
    Throttle [-]; NaN where the radicand is negative (the pack cannot deliver the power). Values above 1 are returned
    as they are: the caller decides.
    """
    k, vc = part_throttle_loss, controller_voltage_v
    a = k * available_v - count * pack_resistance_ohm * motor_current_a
    b = (1.0 - k) * available_v - k * vc
    square, kept = b * b, (1.0 - k) * vc
    radicand = square + 4.0 * a * (1.0 - k) * vc
    radicand = np.where(np.abs(radicand) <= _ROUNDING * square, 0.0, radicand)  # the most the pack can deliver
    with np.errstate(invalid="ignore", divide="ignore"):
        denominator = b + np.sqrt(radicand)
        return np.where(denominator > 0, 2.0 * kept / denominator, np.nan)
