"""Upper bounds of what a ranking asks for: for every propeller on every pack, and for combinations that pass.

Flight time: the pack gives at least the shaft power of level flight with the lightest drive. Thrust, speed and climb: a
motor within its limits gives at most P = max (I - I0)(E' - r I) of shaft power, thrust at rest is that of the propeller
at this power, and thrust power in flight at most the propeller's best efficiency times it. Top speed follows from
P = V D >= rho S CD0 V^3/2, climb from excess power over weight.
"""

from typing import Any

import numpy as np

from propmatch.models.arrays import Flags, Floats, Index
from propmatch.search.bounds.drives import Drives
from propmatch.search.bounds.flighttime import FlightBounds
from propmatch.search.bounds.fullthrottle import TESTED
from propmatch.search.bounds.groups import Groups
from propmatch.search.bounds.minutes import longest_minutes, margin_at_most
from propmatch.search.bounds.screen import Lanes, Screen
from propmatch.search.ranking import Ranking
from propmatch.units import DM2_M2, GRAM_KG, GRAVITY_M_S2

__all__ = ["lane_bounds", "pair_bound", "pair_values", "score_at_most"]

_ROUNDING = 1.0 + 1e-6
"""Bounds are widened by this much: far above rounding and the accuracy of roots (1e-10)."""


def score_at_most(ranking: Ranking, values: dict[str, Any], shape: tuple[int, ...]) -> Floats:
    """Score of bounds of the metrics that count; infinity where one is not known."""
    with np.errstate(invalid="ignore"):
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
        values["margin"] = margin_at_most(screen.setting, mass, flight.minutes_high)
    total, shares = sum(ranking.weights.values()), np.zeros((lanes.size, len(TESTED)))
    for column, metric in enumerate(TESTED):
        if metric in wanted:
            shares[:, column] = ranking.weights[metric] / total * ranking.part(metric, values[metric])
            values[metric] = np.zeros(lanes.size)
    return lower, score_at_most(ranking, values, (lanes.size,)), np.where(np.isnan(shares), np.inf, shares)


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
        watts, thrust = tables.curves.thrust_of_power
        best = np.full(propeller.size, np.inf)
        for p in np.flatnonzero(np.bincount(propeller)):
            mine = propeller == p
            if tables.regular[p]:
                at = np.searchsorted(watts[p], power[mine])
                best[mine] = np.append(thrust[p], np.inf)[at]
        out["thrust_to_weight"] = count * best * frame.installed_thrust / weight
    useful = count * power * tables.curves.efficiency[propeller] * frame.installed_thrust
    if "top_speed" in wanted:
        area = screen.setting.variant.airframe.wing_area_dm2 * DM2_M2
        out["top_speed"] = np.cbrt(2.0 * useful / (tables.density * area * frame.cd0)) * _ROUNDING
    out["climb"] = useful / weight * _ROUNDING
    return out


def pair_bound(screen: Screen, ranking: Ranking, packs: Index, propellers: Index) -> Floats:
    """Upper bound (packs, propellers) of the score of any combination that passes; -inf where none can."""
    values, possible = pair_values(screen, ranking, packs, propellers)
    return np.where(possible, score_at_most(ranking, values, possible.shape), -np.inf)


def pair_values(screen: Screen, ranking: Ranking, packs: Index, propellers: Index) -> tuple[dict[str, Floats], Flags]:
    """Bounds (packs, propellers) of the metrics that count, and where a combination may pass."""
    tables, shelf, setting = screen.tables, screen.shelf, screen.setting
    shape = (packs.size, propellers.size)
    drive_g = screen.lightest_g[packs] + shelf.column("pack_g")[packs]
    mass = setting.all_up_mass_g(drive_g[:, None]) + tables.mass_g[propellers]
    possible = np.isfinite(mass) & (mass <= tables.mass_limit_g * _ROUNDING) & screen.fits[propellers]
    possible &= screen.clears[propellers]
    node = tables.node_of(np.where(np.isfinite(drive_g), drive_g, tables.mass_start_g))
    values: dict[str, Any] = {"mass": mass / _ROUNDING}
    wanted = set(ranking.weights)
    with np.errstate(all="ignore"):
        top = screen.packs.take(packs[:, None])
        minutes, flies = longest_minutes(
            tables, propellers[None, :], node[:, None], mean_v=top.mean_v, full_v=top.full_v, coulombs=top.coulombs,
        )  # fmt: skip
        possible &= flies
        least = setting.brief.limits.min_flight_minutes
        if least is not None:
            possible &= minutes >= least / _ROUNDING
        values["flight_time"] = minutes
        if "margin" in wanted:
            values["margin"] = margin_at_most(setting, mass, minutes)
        if wanted & {"thrust_to_weight", "top_speed", "climb"}:
            power = Groups(screen).greatest_power_w(packs)
            flat = [np.broadcast_to(x, shape).ravel() for x in (propellers, power[:, None], mass)]
            found = _power_bounds(screen, flat[0].astype(np.intp), flat[1], flat[2], wanted, float(shelf.count))
            values |= {name: value.reshape(shape) for name, value in found.items()}
        return values, possible
