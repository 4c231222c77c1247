"""Upper bounds of what a ranking asks for: for every propeller on every pack, and for combinations that pass.

Flight time: the pack gives at least the shaft power of level flight with the lightest drive. Thrust, speed and climb: a
motor within its limits gives at most P = max (I - I0)(E' - r I) of shaft power, thrust at rest is that of the propeller
at this power, and thrust power in flight at most the propeller's best efficiency times it. Top speed follows from
P = V D >= rho S CD0 V^3/2, climb from excess power over weight.
"""

from typing import Any

import numpy as np

from propmatch.aircraft.flightlanes import pays
from propmatch.models.arrays import Flags, Floats, Index
from propmatch.search.bounds.drives import Drives
from propmatch.search.bounds.flighttime import FlightBounds
from propmatch.search.bounds.fullthrottle import TESTED
from propmatch.search.bounds.screen import Lanes, Screen
from propmatch.search.bounds.tables import IMPOSSIBLE, OFF, UNKNOWN
from propmatch.search.ranking import Ranking
from propmatch.units import DM2_M2, GRAM_KG, GRAVITY_M_S2

__all__ = ["lane_bounds", "pair_bound"]

_ROUNDING = 1.0 + 1e-6
"""Bounds are widened by this much: far above rounding and the accuracy of roots (1e-10)."""


def _score(ranking: Ranking, values: dict[str, Any], shape: tuple[int, ...]) -> Floats:
    score = np.broadcast_to(np.asarray(ranking.score(values), dtype=np.float64), shape)
    return np.where(np.isnan(score), np.inf, score)


def lane_bounds(
    screen: Screen, ranking: Ranking, drives: Drives, lanes: Lanes, flight: FlightBounds
) -> tuple[Floats, Floats, Floats]:
    """Bounds of the score of combinations that pass.

    The lower one (N,), -inf where unknown; the upper one in parts: of the metrics that are not in ``TESTED`` (N,), and
    of each that is (N, metrics).
    """
    mass = screen.setting.all_up_mass_g(drives.mass_g[lanes.drive]) + screen.tables.mass_g[lanes.propeller]
    values: dict[str, Any] = {"mass": mass / _ROUNDING, "flight_time": flight.minutes_high}
    wanted = set(ranking.weights)
    lower = np.full(lanes.size, -np.inf)
    if wanted <= {"mass", "flight_time"}:
        low = ranking.score({"mass": mass * _ROUNDING, "flight_time": flight.minutes_low})
        lower = np.asarray(low / _ROUNDING)
    if wanted & {"thrust_to_weight", "top_speed", "climb"}:
        powers = drives.shaft_power_w(screen.tables)
        values |= _power_bounds(screen, lanes.propeller, powers[lanes.drive], mass, wanted, float(drives.shelf.count))
    if "margin" in wanted:
        values["margin"] = _margin(screen, mass, flight.minutes_high)
    total, shares = sum(ranking.weights.values()), np.zeros((lanes.size, len(TESTED)))
    for column, metric in enumerate(TESTED):
        if metric in wanted:
            shares[:, column] = ranking.weights[metric] / total * ranking.part(metric, values[metric])
            values[metric] = np.zeros(lanes.size)
    return lower, _score(ranking, values, (lanes.size,)), np.where(np.isnan(shares), np.inf, shares)


def _power_bounds(
    screen: Screen, propeller: Index, power: Floats, mass_g: Floats, wanted: set[str], count: float
) -> dict[str, Floats]:
    """Bounds from the power P of one propeller [W] and the all-up mass m [g].

    At rest a propeller gives more thrust the more power it takes (a regular one), so T <= T(P) read at the next node
    above. In flight count P eta_max f >= T V (f the installed thrust), so climb = (T V - D V)/(m g) <= T V/(m g), and
    at top speed T V = D V >= rho S CD0 V^3/2.
    """
    tables, frame = screen.tables, screen.setting.airframes(np.zeros(1))
    weight = mass_g * GRAM_KG * GRAVITY_M_S2
    out: dict[str, Floats] = {}
    if "thrust_to_weight" in wanted:
        watts, thrust = tables.thrust_of_power
        best = np.full(propeller.size, np.inf)
        for p in np.flatnonzero(np.bincount(propeller)):
            mine = propeller == p
            if tables.regular[p]:
                at = np.searchsorted(watts[p], power[mine])
                best[mine] = np.append(thrust[p], np.inf)[at]
        out["thrust_to_weight"] = count * best * frame.installed_thrust / weight
    useful = count * power * tables.efficiency[propeller] * frame.installed_thrust
    if "top_speed" in wanted:
        area = screen.setting.variant.airframe.wing_area_dm2 * DM2_M2
        out["top_speed"] = np.cbrt(2.0 * useful / (tables.density * area * frame.cd0)) * _ROUNDING
    out["climb"] = useful / weight * _ROUNDING
    return out


def _margin(screen: Screen, mass_g: Floats, minutes: Floats) -> Floats:
    """The smallest margin of all is at most that of mass and of flight time; 1e-6 stands above rounding."""
    setting = screen.setting
    out = np.full(mass_g.shape, np.inf)
    target, least = setting.variant.target_mass_g, setting.brief.limits.min_flight_minutes
    if target is not None:
        out = np.minimum(out, (target - mass_g) / target)
    if least is not None:
        out = np.minimum(out, (minutes - least) / least)
    return out + 1e-6


def pair_bound(screen: Screen, ranking: Ranking, packs: Index, propellers: Index) -> Floats:
    """Upper bound (packs, propellers) of the score of any combination that passes; -inf where none can."""
    tables, shelf, setting = screen.tables, screen.shelf, screen.setting
    shape = (packs.size, propellers.size)
    lightest = np.array([screen.lightest_g(int(k)) for k in packs])
    drive_g = lightest + shelf.column("pack_g")[packs]
    mass = setting.all_up_mass_g(drive_g[:, None]) + tables.mass_g[propellers]
    possible = np.isfinite(mass) & (mass <= tables.mass_limit_g * _ROUNDING) & screen.fits[propellers]
    possible &= screen.clears[propellers]
    values: dict[str, Any] = {"mass": mass / _ROUNDING}
    wanted = set(ranking.weights)
    with np.errstate(all="ignore"):
        minutes, flies = _minutes(screen, packs, propellers, drive_g)
        possible &= flies
        least = setting.brief.limits.min_flight_minutes
        if least is not None:
            possible &= minutes >= least / _ROUNDING
        values["flight_time"] = minutes
        if "margin" in wanted:
            values["margin"] = _margin(screen, mass, minutes)
        if wanted & {"thrust_to_weight", "top_speed", "climb"}:
            power = screen.greatest_power_w(packs)
            flat = [np.broadcast_to(x, shape).ravel() for x in (propellers, power[:, None], mass)]
            found = _power_bounds(screen, flat[0].astype(np.intp), flat[1], flat[2], wanted, float(shelf.count))
            values |= {name: value.reshape(shape) for name, value in found.items()}
        return np.where(possible, _score(ranking, values, shape), -np.inf)


def _minutes(screen: Screen, packs: Index, propellers: Index, drive_g: Floats) -> tuple[Floats, Flags]:
    """Flight time of a motor without loss on the lightest drive, and whether the wing carries it.

    The pack gives at least the power the propellers take: V_t (I - I_acc) >= count Q u, and V_t <= E. Q u rises with
    mass, so the node at or below the lightest drive bounds it. Over the charge I >= I_acc + count Q u/E(q), and since
    1/I is concave in E, the mean of 1/I lies below 1/I at the mean of E (Jensen); a list without shares, flown between
    other charges, takes the full voltage. Timed phases beside shares add at most their own length. Where height may
    change how long a phase is flown, all the charge goes at the least current of any.
    """
    tables, shelf, phases = screen.tables, screen.shelf, screen.setting.phases
    shape = (packs.size, propellers.size)
    node = tables.node_of(np.where(np.isfinite(drive_g), drive_g, tables.mass_start_g))
    radio = shelf.column("radio_a")[packs][:, None]
    mean_v, full_v = (np.array([screen.volts(int(k))[i] for k in packs])[:, None] for i in (0, 1))
    reserve = screen.setting.brief.limits.reserve_charge or 0.0
    coulombs = 3600.0 * shelf.column("capacity_ah")[packs][:, None] * (1.0 - reserve)
    shared = [phase for phase in phases if phase.share is not None]
    weights = {id(p): (p.share if shared else p.seconds) or 0.0 for p in (shared or phases)}
    total = sum(weights.values()) or 1.0
    least_of_any = np.full(shape, np.inf)
    flies, current, unknown = np.ones(shape, dtype=bool), np.zeros(shape), np.zeros(shape, dtype=bool)
    volts = mean_v if shared else full_v
    for phase, held in zip(phases, tables.held, strict=True):
        least = np.broadcast_to(radio, shape)
        if held is not None:
            table = held[0]
            at = (propellers[None, :], node[:, None])
            kind = table.kind[at]
            flies &= kind != IMPOSSIBLE
            unknown |= kind == UNKNOWN
            power = shelf.count * table.speed[at] * table.torque[at]
            least = least + np.where(kind == OFF, 0.0, power) / volts
        least_of_any = np.minimum(least_of_any, least)
        if id(phase) in weights:
            current = current + weights[id(phase)] / total * least
    if any(p.to_height_m is not None for p in phases) or not (any(map(pays, shared)) or all(map(pays, phases))):
        return coulombs / np.where(unknown, 0.0, least_of_any) / 60.0 * _ROUNDING, flies
    seconds = coulombs / np.where(unknown, 0.0, current)
    timed = sum((phase.seconds or 0.0) for phase in phases)
    return (seconds + timed) / 60.0 * _ROUNDING, flies
