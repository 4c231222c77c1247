"""Motor, controller and pack reduced to the few numbers that decide beside a propeller.

At full throttle a drive is a line of voltage, E' - r I = K g u, with E' = E - R_b I_acc and r = R + R_c + count R_b
(:mod:`train.torque`). A limit I_lim of the motor current is kept exactly where the propeller's torque at the speed
of the limit, u = (E' - r I_lim)/(K g), does not exceed the torque K g e (I_lim - I0) that the limit leaves: no root is
needed. A limit P of the motor's input V_m I = (E' - (r - R) I) I is a limit of its current too.
"""

from typing import Any

import attrs
import numpy as np
from numpy.typing import NDArray

from propmatch.checks.setting import Setting
from propmatch.models.pack import resistance_factor
from propmatch.search.bounds.tables import PropellerTables
from propmatch.search.shelf import Shelf

__all__ = ["Drives", "Line", "Pairs", "Threshold"]

Floats = NDArray[np.float64]
Index = NDArray[np.intp]
_NEARLY = 1.05
_BELOW = 0.996


@attrs.frozen(kw_only=True, eq=False)
class Line:
    """E' [V] and r [ohm] of each drive at full throttle and one charge."""

    available_v: Floats
    resistance_ohm: Floats


@attrs.frozen(kw_only=True, eq=False)
class Threshold:
    """A limit of the motor current: the speed, its cell in the tables, and the torque that the limit leaves."""

    speed: Floats
    cell: Index
    torque_nm: Floats


class Pairs:
    """Motors with the controllers they go with, (D,) each: what does not depend on the pack.

    The order of ``take`` is that of motor, then controller.
    """

    def __init__(self, setting: Setting, shelf: Shelf) -> None:
        self.shelf = shelf
        motors, controllers, _, _ = shelf.sizes
        self.motor = np.repeat(np.arange(motors), controllers)
        self.controller = np.tile(np.arange(controllers), motors)
        self.mass_g = self._motor("motors_g") + self._controller("controllers_g")
        self.least = np.maximum(self._motor("motor_cells_least"), self._controller("controller_cells_least"))
        self.most = np.minimum(self._motor("motor_cells_most"), self._controller("controller_cells_most"))
        self.kg = self._motor("k") * self._motor("gear_ratio")
        self.ke = self.kg * self._motor("gear_efficiency")
        self.ohm = self._motor("resistance_ohm") + self._controller("controller_ohm")
        seconds = setting.full_throttle_seconds
        ratings = shelf.ratings_of(self.motor, self.controller)
        self.motor_a, self.controller_a = ratings.motor_limit_a(seconds), ratings.controller_limit_a(seconds)
        self.motor_w = self._motor("motor_w")

    def _motor(self, name: str) -> Any:
        return self.shelf.column(name)[self.motor]

    def _controller(self, name: str) -> Any:
        return self.shelf.column(name)[self.controller]

    def fitting(self, pack: int) -> Index:
        """The pairs that take the cell count of a pack."""
        cells = self.shelf.column("cells")[pack]
        return np.flatnonzero((cells >= self.least) & (cells <= self.most))


class Drives:
    """Some pairs on some packs of one chemistry, (D,) each.

    Attributes
    ----------
    motor, controller, pack : indices
    mass_g : motors, controllers and pack; kg, ke, ohm : K g, K g e, R + R_c
    full, half : lines at charges 1 and 0.5
    limit_a : lowest limit of the current; widest_a : the same where motor power beyond its peak may pass
    most_a : the current that no combination which passed so far exceeds
    limits : thresholds at charge 1 by check; ``all`` is the lowest of them
    sustained_a, sustained : pack current a little below what it bears for long, and its threshold at charge 1
    voltage : threshold at charge 0.5 for the cut-off; None where the brief states none
    odd : where the voltage hardly covers the no-load current: nothing is decided there without solving
    power_turns : where motor power falls again before the motor stalls; power_again : threshold of the current from
        which on it is within its limit again
    """

    def __init__(self, pairs: Pairs, tables: PropellerTables, pack: Index, some: Index) -> None:
        shelf, setting = pairs.shelf, tables.setting
        self.shelf, self.size = shelf, some.size
        self.motor, self.controller, self.pack = pairs.motor[some], pairs.controller[some], pack
        self.count = float(shelf.count)
        self.chemistry = shelf.lanes.chemistries[int(shelf.column("chemistry")[pack[0]])]
        columns = ("cells", "cells_ohm", "leads_ohm", "pack_g", "burst_a", "capacity_ah")
        self.of_pack: dict[str, Floats] = {name: shelf.column(name)[pack] for name in columns}
        self.accessory_a = float(shelf.accessory_current_a)
        self.pack_g = self.of_pack["pack_g"]
        self.mass_g = pairs.mass_g[some] + self.pack_g
        self.node = tables.node_of(self.mass_g)
        self.kg, self.ke, self.ohm = pairs.kg[some], pairs.ke[some], pairs.ohm[some]
        self._no_load = shelf.column("no_load_a")[self.motor]
        self._exponent = shelf.column("exponent")[self.motor]
        self.curved = bool(np.any(self._exponent))
        self._per_reference = (shelf.column("gear_ratio") / shelf.column("reference_rad_s"))[self.motor]
        self.full, self.half = self._line(1.0), self._line(0.5)
        e, r = self.full.available_v, self.full.resistance_ohm
        power = pairs.motor_w[some]
        drop = r - shelf.column("resistance_ohm")[self.motor]
        with np.errstate(all="ignore"):
            root = np.sqrt(e * e - 4.0 * drop * power)
            power_a = np.where(np.isnan(root), np.inf, 2.0 * power / (e + root))
            again_a = np.where(np.isnan(root) | (drop <= 0), np.inf, (e + root) / (2.0 * drop))
        self.power_turns = again_a < 1.01 * e / r
        self.power_again = self.threshold(self.full, again_a, tables)
        each = {
            "motor_current_static": pairs.motor_a[some],
            "motor_power": power_a,
            "controller_current": pairs.controller_a[some],
            "pack_burst": (self.of_pack["burst_a"] - self.accessory_a) / self.count,
        }
        each = {name: np.where(np.isnan(limit), np.inf, limit) for name, limit in each.items()}
        self.limit_a: Floats = np.minimum.reduce(list(each.values()))
        but_power: Floats = np.minimum.reduce([limit for name, limit in each.items() if name != "motor_power"])
        self.widest_a: Floats = np.where(self.power_turns, but_power, self.limit_a)
        self.most_a: Floats = self.limit_a.copy()
        self.limits = {name: self.threshold(self.full, limit, tables) for name, limit in each.items()}
        self.limits["motor_current_flight"] = self.limits["motor_current_static"]
        self.limits["all"] = self.threshold(self.full, self.limit_a, tables)
        self.sustained_a = _BELOW * shelf.column("usable_a")[pack]
        self.sustained = self.threshold(self.full, (self.sustained_a - self.accessory_a) / self.count, tables)
        self.voltage: Threshold | None = None
        cutoff = setting.stated.limits.cutoff_cell_v
        if cutoff is not None:
            drop_v = self.open_v(0.5) - self.of_pack["cells"] * cutoff
            current = (drop_v / np.maximum(self.pack_ohm(0.5), 1e-12) - self.accessory_a) / self.count
            self.voltage = self.threshold(self.half, current, tables)
        at_rest = self.friction_a(np.zeros(self.size))
        self.odd = (e <= _NEARLY * r * at_rest) | (
            self.half.available_v <= _NEARLY * self.half.resistance_ohm * at_rest
        )

    def open_v(self, charge: Any, lanes: Any = slice(None)) -> Any:
        """Open-circuit voltage of the packs of some drives at a charge."""
        return self.of_pack["cells"][lanes] * self.chemistry.cell_ocv_v(charge)

    def pack_ohm(self, charge: Any, lanes: Any = slice(None)) -> Any:
        """Resistance of the packs of some drives at a charge."""
        return self.of_pack["cells_ohm"][lanes] * resistance_factor(charge) + self.of_pack["leads_ohm"][lanes]

    def _line(self, charge: float) -> Line:
        ohm = self.pack_ohm(charge)
        return Line(
            available_v=self.open_v(charge) - ohm * self.accessory_a, resistance_ohm=self.ohm + self.count * ohm
        )

    def combinations(self, drive: Index, propeller: Index) -> Index:
        """Indices (N, 4) of motor, controller, pack and propeller."""
        return np.column_stack([self.motor[drive], self.controller[drive], self.pack[drive], propeller])

    def friction_a(self, u: Floats, lanes: Any = slice(None)) -> Floats:
        """No-load current at propeller speeds of some drives."""
        current: Floats = self._no_load[lanes]
        if not self.curved:
            return current
        exponent = self._exponent[lanes]
        bent = np.flatnonzero(exponent)
        if bent.size:
            current = np.array(current)
            with np.errstate(all="ignore"):
                ratio = self._per_reference[lanes][bent] * np.maximum(u[bent], 0.0)
                current[bent] *= ratio ** exponent[bent]
        return current

    def threshold(self, line: Line, current_a: Floats, tables: PropellerTables) -> Threshold:
        """What a limit of the motor current means on a line."""
        with np.errstate(all="ignore"):
            u = (line.available_v - line.resistance_ohm * current_a) / self.kg
            torque = self.ke * (current_a - self.friction_a(u))
        return Threshold(speed=u, cell=tables.cell_of(u), torque_nm=torque)

    def left_over(self, line: Line, lanes: Index, u: Floats, torque: Floats) -> Floats:
        """E' - K g u - r I of drives at a speed and torque: not negative where full throttle gives as much or more."""
        current = torque / self.ke[lanes] + self.friction_a(u, lanes)
        return np.asarray(line.available_v[lanes] - self.kg[lanes] * u - line.resistance_ohm[lanes] * current)

    def shaft_power_w(self, tables: PropellerTables) -> Floats:
        """Greatest shaft power of one motor while full throttle at rest on a full pack keeps the limits (D,).

        max (I - I0)(E' - r I) up to the limit; in flight the current may be larger by the tables' ``flight_ratio``.
        """
        e, r = self.full.available_v, self.full.resistance_ohm
        ratio = float(np.max(tables.flight_ratio))
        idle = self.friction_a(np.zeros(self.size))
        most = np.minimum(self.widest_a * ratio, 0.5 * (e / r + idle))
        power = (most - idle) * (e - r * most)
        return np.where(self.odd | ~np.isfinite(power), np.inf, np.maximum(power, 0.0))
