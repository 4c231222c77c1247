"""The longest that a flight can last, from the lightest that a propeller may carry and the most charge."""

import numpy as np

from propmatch.aircraft.flightlanes import pays
from propmatch.checks.setting import Setting
from propmatch.models.arrays import Flags, Floats, Index
from propmatch.search.bounds.tables import IMPOSSIBLE, OFF, UNKNOWN, PropellerTables
from propmatch.train import line
from propmatch.train.line import Trains

__all__ = ["longest_minutes", "margin_at_most"]

_ROUNDING = 1.0 + 1e-6
"""Bounds are widened by this much: far above rounding and the accuracy of roots (1e-10)."""


def _motor_power_w(m: Trains, pair: Index, u: Floats, torque_nm: Floats) -> Floats:
    """V_c I of a motor with its controller's resistance at a propeller speed and torque [W]."""
    w = m.gear_ratio[pair] * u
    current = line.current_a(m, torque_nm, line.no_load_a(m, w, pair), pair)
    return line.behind_v(m, w, current, line.fixed_ohm(m, pair), pair) * current


def longest_minutes(
    tables: PropellerTables, propeller: Index, node: Index, *, coulombs: Floats, mean_v: Floats, full_v: Floats,
    pair: tuple[Trains, Index] | None = None,
) -> tuple[Floats, Flags]:  # fmt: skip
    """Minutes that no flight exceeds at a node of mass or above it, and whether the wing carries it.

    The pack gives at least the power P that the motors take: V_t (I - I_acc) >= P, and V_t <= E. P is count Q u of
    motors without loss, or count V_c I of a pair's; it rises with mass. Over the charge I >= I_acc + P/E(q), and since
    1/I is concave in E, the mean of 1/I lies below 1/I at the mean of E (Jensen); a list without shares, flown between
    other charges, takes the full voltage. Timed phases beside shares add at most their own length. Where height may
    change how long a phase is flown, all the charge goes at the least current of any. Arrays broadcast.
    """
    phases, shape = tables.setting.phases, np.broadcast_shapes(propeller.shape, node.shape, coulombs.shape)
    shared = [phase for phase in phases if phase.share is not None]
    weights = {id(p): (p.share if shared else p.seconds) or 0.0 for p in (shared or phases)}
    total = sum(weights.values()) or 1.0
    least_of_any = np.full(shape, np.inf)
    flies, current, unknown = np.ones(shape, dtype=bool), np.zeros(shape), np.zeros(shape, dtype=bool)
    volts = mean_v if shared else full_v
    for phase, held in zip(phases, tables.held, strict=True):
        least = np.full(shape, tables.radio_a)
        if held is not None:
            table = held[0]
            kind, at = table.kind[propeller, node], (propeller, node)
            u, torque = table.speed[at], table.torque[at]
            flies &= kind != IMPOSSIBLE
            unknown |= kind == UNKNOWN
            power = u * torque if pair is None else _motor_power_w(*pair, u, torque)
            least = least + np.where(kind == OFF, 0.0, tables.count * power) / volts
        least_of_any = np.minimum(least_of_any, least)
        if id(phase) in weights:
            current = current + weights[id(phase)] / total * least
    if any(p.to_height_m is not None for p in phases) or not (any(map(pays, shared)) or all(map(pays, phases))):
        return coulombs / np.where(unknown, 0.0, least_of_any) / 60.0 * _ROUNDING, flies
    seconds = coulombs / np.where(unknown, 0.0, current)
    timed = sum((phase.seconds or 0.0) for phase in phases)
    return (seconds + timed) / 60.0 * _ROUNDING, flies


def margin_at_most(setting: Setting, mass_g: Floats, minutes: Floats) -> Floats:
    """The smallest margin of all is at most that of mass and of flight time; 1e-6 stands above rounding."""
    out = np.full(mass_g.shape, np.inf)
    target, least = setting.variant.target_mass_g, setting.brief.limits.min_flight_minutes
    if target is not None:
        out = np.minimum(out, (target - mass_g) / target)
    if least is not None:
        out = np.minimum(out, (minutes - least) / least)
    return out + 1e-6
