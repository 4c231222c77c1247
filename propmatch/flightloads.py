"""What packs give over the charge used, and what a held airspeed takes from them, for the bounds of a search."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from propmatch import controller
from propmatch.battery import Chemistry
from propmatch.searchdrives import Drives
from propmatch.searchtables import OFF, HeldTable
from propmatch.setting import Setting

__all__ = ["Held", "Packs", "mean_ocv_v"]

Floats = NDArray[np.float64]
Index = NDArray[np.intp]


def mean_ocv_v(chemistry: Chemistry, reserve: float) -> float:
    """Mean open-circuit voltage of a cell over the charge from full to the reserve [V]."""
    inside = chemistry.charge[(chemistry.charge > reserve) & (chemistry.charge < 1.0)]
    edges = np.concatenate([[1.0], inside[::-1], [reserve]])
    volts = np.asarray(chemistry.cell_ocv_v(edges))
    widths = edges[:-1] - edges[1:]
    return float(np.sum(widths * 0.5 * (volts[:-1] + volts[1:])) / np.sum(widths))


class Packs:
    """What the packs of some combinations give over the charge used, (N,) each."""

    def __init__(self, setting: Setting, drives: Drives, d: Index) -> None:
        limits = setting.brief.limits
        self.reserve, self.cutoff = float(limits.reserve_charge or 0.0), float(limits.cutoff_cell_v or 0.0)
        self._drives, self._d = drives, d
        self.cells = drives.of_pack["cells"][d]
        self.coulombs = 3600.0 * drives.of_pack["capacity_ah"][d]
        self.accessory_a = drives.accessory_a
        self.mean_v = self.cells * mean_ocv_v(drives.chemistry, self.reserve)

    def open_v(self, charge: Any) -> Floats:
        return np.asarray(self._drives.open_v(charge, self._d))

    def ohm(self, charge: Any) -> Floats:
        return np.asarray(self._drives.pack_ohm(charge, self._d))


class Held:
    """Pack current of a held airspeed at the node below or above each combination's mass."""

    def __init__(
        self, table: HeldTable, drives: Drives, p: Index, d: Index, node: Index, loss: Floats, pack: Packs
    ) -> None:
        u, torque = table.speed[p, node], table.torque[p, node]
        self.off = table.kind[p, node] == OFF
        self.current = torque / drives.ke[d] + drives.friction_a(u, d)
        self.behind = drives.kg[d] * u + drives.ohm[d] * self.current
        self.loss, self.count, self.pack = loss, drives.count, pack

    def at(self, open_v: Floats, ohm: Floats) -> tuple[Floats, Floats]:
        """Pack current and throttle; NaN where it cannot be held."""
        available = open_v - ohm * self.pack.accessory_a
        d = controller.throttle_for(self.behind, self.current, available, ohm, self.loss, self.count)
        current = self.count * d * self.current / (1.0 - self.loss * (1.0 - d)) + self.pack.accessory_a
        return np.where(self.off, self.pack.accessory_a, current), np.where(self.off, 0.0, d)
