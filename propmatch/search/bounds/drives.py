"""Motor, controller and pack reduced to the few numbers that decide beside a propeller.

At full throttle motor current falls with speed along the line (:mod:`propmatch.train.line`). So a limit I_lim of the
current is kept exactly where the propeller's torque at the speed of the limit, u = (S - r I_lim)/(g (K + b I_lim)),
does not exceed the torque g K_t e (I_lim - I0(g u)) that the limit leaves: no root is needed. A limit P of the motor's
input V_m I = (S - (r - R) I) I is a limit of its current too.
"""

from functools import cached_property
from typing import Any

import attrs
import numpy as np
from numpy.typing import NDArray

from propmatch.checks.ratings import Rating
from propmatch.models.arrays import Floats, Index
from propmatch.models.pack import pack_resistance_ohm
from propmatch.records.sections import Limits
from propmatch.search.bounds.tables import PropellerTables
from propmatch.search.shelf import Shelf
from propmatch.train import line
from propmatch.train.line import MOTOR_FIELDS, Source, Trains

__all__ = ["NEARLY", "Drives", "Pairs", "Threshold", "held_to"]

NEARLY = 1.05
"""Within 5 % of the voltage that the no-load current drops a root lies where the balance is flat: it is solved."""
_BELOW = 0.996
"""Share of the usable current kept as a threshold: more below 1 than the slack that flight times are bounded with."""
_ANY_NM = 1e300
"""Above the torque of any propeller that is known, below the infinity that stands for one that is not."""


@attrs.frozen(kw_only=True, eq=False)
class Threshold:
    """A limit of the motor current: the speed, its cell in the tables, and the torque that the limit leaves."""

    speed: Floats
    cell: Index
    torque_nm: Floats


class Pairs:
    """Motors with the controllers they go with, (D,) each: what does not depend on the pack.

    In the order of motor, then controller; ``motors`` are their columns, ``numbers`` the names of those that are (D,).
    """

    def __init__(self, shelf: Shelf) -> None:
        self.shelf = shelf
        motors, controllers, _, _ = shelf.sizes
        self.motor = np.repeat(np.arange(motors), controllers)
        self.controller = np.tile(np.arange(controllers), motors)
        self.mass_g = self._motor("motors_g") + self._controller("controllers_g") + self._controller("supply_g")
        self.least = np.maximum(self._motor("motor_cells_least"), self._controller("controller_cells_least"))
        self.most = np.minimum(self._motor("motor_cells_most"), self._controller("controller_cells_most"))
        numbers = {name: self._motor(name) for name in (*MOTOR_FIELDS, "resistance_ohm", "alone", "usual_loss")}
        numbers |= {name: self._controller(name) for name in ("switch_ohm", "stated_loss")}
        same = {"count": np.array([float(shelf.count)]), "radio_a": np.array([float(shelf.radio_current_a)])}
        self.motors, self.numbers = Trains(**numbers, **same), tuple(numbers)

    def _motor(self, name: str) -> Floats:
        return np.asarray(self.shelf.column(name)[self.motor])

    def _controller(self, name: str) -> Floats:
        return np.asarray(self.shelf.column(name)[self.controller])

    def fitting(self, pack: int) -> Index:
        """The pairs that take the cell count of a pack."""
        cells = self.shelf.column("cells")[pack]
        return np.flatnonzero((cells >= self.least) & (cells <= self.most))


def held_to(rating: Rating, limit: Floats, limits: Limits) -> Floats:
    """A limit where missing it excludes, else infinity; a burst limit is no estimate."""
    warns = rating.estimated & (limit == rating.continuous) & (limits.estimated_ratings == "warn")
    return np.where(np.isnan(limit) | warns, np.inf, limit)


class Drives:
    """Some pairs on some packs of one chemistry, (D,) each.

    Attributes
    ----------
    motor, controller, pack : indices
    mass_g : motors, controllers and pack
    motors : the columns of :class:`propmatch.train.line.Trains`
    full, half : what pack and controller put before the motors at full throttle, at charges 1 and 0.5
    limit_a : lowest limit of the current; widest_a : the same where motor power beyond its peak may pass
    most_a : the current that no combination which passed so far exceeds
    limits : thresholds at charge 1 by check; ``all`` is the lowest of them
    sustained_a, sustained : pack current a little below what it bears for long, and its threshold at charge 1
    steady_a, steady : the same for the motor current, of what motor and controller bear for long
    phase_a, phase_most_a : motor current that a phase surely may draw, and that none may exceed; infinity where an
        estimate only warns
    usable_a, usable_most_a : the same for the pack
    steps_up : where the pack does not exceed the voltage of a linear servo supply
    voltage : threshold at charge 0.5 for the cut-off; None where the brief states none
    odd : where the voltage hardly covers the no-load current: nothing is decided there without solving
    power_turns : where motor power falls again before the motor stalls; power_again : threshold of the current from
        which on it is within its limit again
    """

    def __init__(self, pairs: Pairs, tables: PropellerTables, pack: Index, some: Index) -> None:
        shelf, setting = pairs.shelf, tables.setting
        self.shelf, self.size = shelf, some.size
        self.motor, self.controller, self.pack = pairs.motor[some], pairs.controller[some], pack
        self.chemistry = shelf.lanes.chemistries[int(shelf.column("chemistry")[pack[0]])]
        columns = ("cells", "cells_ohm", "leads_ohm", "pack_g", "capacity_ah")
        self.of_pack: dict[str, Floats] = {name: shelf.column(name)[pack] for name in columns}
        self.pack_g = self.of_pack["pack_g"]
        self.mass_g = pairs.mass_g[some] + self.pack_g
        self.node = tables.node_of(self.mass_g)
        self.motors = attrs.evolve(pairs.motors, **{name: getattr(pairs.motors, name)[some] for name in pairs.numbers})
        count, radio_a = self.motors.count, self.motors.radio_a
        self.full, self.half = (line.source(self.motors, 1.0, self.open_v(q), self.pack_ohm(q)) for q in (1.0, 0.5))
        e, r = self.full.volts, self.full.ohm
        limits, ratings = setting.brief.limits, shelf.ratings_of(self.motor, self.controller, pack)
        exclude, seconds = limits.estimated_ratings != "warn", setting.burst_load_seconds
        power = held_to(ratings.motor_power, ratings.motor_w, limits)
        drop = r - self.motors.resistance_ohm
        with np.errstate(all="ignore"):
            root = np.sqrt(e * e - 4.0 * drop * power)
            power_a = np.where(np.isnan(root), np.inf, 2.0 * power / (e + root))
            again_a = np.where(np.isnan(root) | (drop <= 0), np.inf, (e + root) / (2.0 * drop))
        self.power_turns = again_a < 1.01 * e / r
        self.power_again = self.threshold(self.full, again_a, tables)
        each = {
            "motor_current_static": held_to(ratings.motor, ratings.motor.limit(seconds), limits),
            "motor_power": power_a,
            "controller_current": held_to(ratings.controller, ratings.controller.limit(seconds), limits),
            "pack_burst": (held_to(ratings.pack, ratings.pack.limit(seconds), limits) - radio_a) / count,
        }
        self.limit_a: Floats = np.minimum.reduce(list(each.values()))
        but_power: Floats = np.minimum.reduce([limit for name, limit in each.items() if name != "motor_power"])
        self.widest_a: Floats = np.where(self.power_turns, but_power, self.limit_a)
        self.most_a: Floats = self.limit_a.copy()
        self.limits = {name: self.threshold(self.full, limit, tables) for name, limit in each.items()}
        self.limits["motor_current_flight"] = self.limits["motor_current_static"]
        self.limits["all"] = self.threshold(self.full, self.limit_a, tables)
        warns = {
            name: np.where(rating.estimated & (not exclude), np.inf, 0.0)
            for name, rating in (("motor", ratings.motor), ("controller", ratings.controller), ("pack", ratings.pack))
        }
        self.phase_a, self.phase_most_a = (
            np.minimum(motor + warns["motor"], controller + warns["controller"])
            for motor, controller in (
                (ratings.motor.continuous, ratings.controller.continuous),
                (ratings.motor.most(limits.allow_burst), ratings.controller.most(limits.allow_burst)),
            )
        )
        self.usable_a = ratings.usable_a + warns["pack"]
        self.usable_most_a = ratings.pack.most(limits.allow_burst) + warns["pack"]
        self.sustained_a, self.steady_a = _BELOW * self.usable_a, _BELOW * self.phase_a
        self.sustained = self.threshold(self.full, (self.sustained_a - radio_a) / count, tables)
        self.steady = self.threshold(self.full, self.steady_a, tables)
        supply = np.nextafter(ratings.servo_supply_v, np.inf)
        self.steps_up = (ratings.servo_supply_linear > 0) & ~(self.open_v(1.0) >= supply)
        self.voltage: Threshold | None = None
        cutoff = setting.stated.limits.cutoff_cell_v
        if cutoff is not None:
            drop_v = self.open_v(0.5) - self.of_pack["cells"] * self.chemistry.flown_to_v(cutoff)
            current = (drop_v / np.maximum(self.pack_ohm(0.5), 1e-12) - radio_a) / count
            self.voltage = self.threshold(self.half, current, tables)
        at_rest = line.no_load_a(self.motors, np.zeros(self.size))
        self.odd = (e <= NEARLY * r * at_rest) | (self.half.volts <= NEARLY * self.half.ohm * at_rest)

    def open_v(self, charge: Any, lanes: Any = slice(None)) -> Any:
        """Open-circuit voltage of the packs of some drives at a charge."""
        return self.of_pack["cells"][lanes] * self.chemistry.cell_ocv_v(charge)

    def pack_ohm(self, charge: Any, lanes: Any = slice(None)) -> Any:
        """Resistance of the packs of some drives at a charge."""
        return pack_resistance_ohm(self.of_pack["cells_ohm"][lanes], self.of_pack["leads_ohm"][lanes], charge)

    def sustained_ohm(self, charge: Any, lanes: Any = slice(None)) -> Any:
        """The same through a whole discharge."""
        cells_ohm = self.chemistry.sustained_ratio * self.of_pack["cells_ohm"][lanes]
        return pack_resistance_ohm(cells_ohm, self.of_pack["leads_ohm"][lanes], charge)

    def combinations(self, drive: Index, propeller: Index) -> Index:
        """Indices (N, 4) of motor, controller, pack and propeller."""
        return np.column_stack([self.motor[drive], self.controller[drive], self.pack[drive], propeller])

    def threshold(self, source: Source, current_a: Floats, tables: PropellerTables) -> Threshold:
        """What a limit of the motor current means at full throttle; one without end leaves any torque at no speed."""
        with np.errstate(all="ignore"):
            m, u = self.motors, line.speed_at(self.motors, source.volts, source.ohm, current_a)
            torque = line.shaft_torque_nm(m, current_a, line.no_load_a(m, m.gear_ratio * u))
        free = np.isposinf(current_a)
        u, torque = np.where(free, 0.0, u), np.where(free, _ANY_NM, torque)
        return Threshold(speed=u, cell=tables.curves.cell_of(u), torque_nm=torque)

    def current_a(self, lanes: Index, u: Floats, torque: Floats) -> Floats:
        """Motor current of drives at a propeller speed and torque."""
        m = self.motors
        return line.current_a(m, torque, line.no_load_a(m, line.lanes_of(m.gear_ratio, lanes) * u, lanes), lanes)

    def left_over(self, source: Source, lanes: Index, u: Floats, torque: Floats) -> Floats:
        """S - K g u - r I of drives at a speed and torque: not negative where full throttle gives as much or more."""
        m, volts, ohm = self.motors, line.lanes_of(source.volts, lanes), line.lanes_of(source.ohm, lanes)
        w = line.lanes_of(m.gear_ratio, lanes) * u
        current = line.current_a(m, torque, line.no_load_a(m, w, lanes), lanes)
        return line.left_over_v(m, volts, ohm, w, current, lanes)

    @cached_property
    def half_line(self) -> NDArray[np.float32]:
        """S - r I0, K g and r/(g K_t e) of full throttle at half charge (3, D, 1): what a speed and torque leave over.

        NaN where the no-load current or the resistance depends on speed, and where nothing is decided.
        """
        m, half = self.motors, self.half
        each = [half.volts - half.ohm * m.constant_a, m.k * m.gear_ratio, half.ohm / m.torque_per_a]
        straight = (m.exponent == 0) & (m.slope_ohm_s == 0) & ~self.odd
        return np.array([np.where(straight, x, np.nan) for x in each], dtype=np.float32)[:, :, None]

    def shaft_power_w(self, tables: PropellerTables) -> Floats:
        """Greatest power at one propeller while full throttle at rest on a full pack keeps the limits (D,).

        max g K_t e (I - I0)(S - r I)/(g K) up to the limit: a resistance that rises with speed only lowers the speed,
        and I0 is least at rest. In flight the current may be larger by the tables' ``flight_ratio``.
        """
        e, r = self.full.volts, self.full.ohm
        ratio = float(np.max(tables.curves.flight_ratio))
        idle = line.no_load_a(self.motors, np.zeros(self.size))
        most = np.minimum(self.widest_a * ratio, 0.5 * (e / r + idle))
        power = (
            line.shaft_torque_nm(self.motors, most, idle) * (e - r * most) / (self.motors.k * self.motors.gear_ratio)
        )
        return np.where(self.odd | ~np.isfinite(power), np.inf, np.maximum(power, 0.0))
