"""Combinations of a block as lanes, and the limit of propeller speed for them."""

import attrs
import numpy as np
from numpy.typing import NDArray

from propmatch.searchdrives import Drives
from propmatch.searchtables import PropellerTables
from propmatch.shelf import Shelf

__all__ = ["BAND", "Lanes", "RpmLimit"]

Floats = NDArray[np.float64]
Index = NDArray[np.intp]
Flags = NDArray[np.bool_]
BAND = 1e-7
"""Share of a limit within which nothing is decided by bounds."""
_SAMPLED = 0.005


@attrs.frozen(kw_only=True, eq=False)
class Lanes:
    """Combinations of a block: (N,) numbers of propeller and drive."""

    propeller: Index
    drive: Index

    @property
    def size(self) -> int:
        """How many."""
        return int(self.propeller.size)

    def take(self, some: Flags | Index | slice) -> "Lanes":
        """Some of them."""
        return Lanes(propeller=self.propeller[some], drive=self.drive[some])

    @classmethod
    def joined(cls, each: list["Lanes"]) -> "Lanes":
        """One after the other."""
        nothing = np.empty(0, dtype=np.intp)
        return cls(
            propeller=np.concatenate([nothing, *(x.propeller for x in each)]),
            drive=np.concatenate([nothing, *(x.drive for x in each)]),
        )


class RpmLimit:
    """A stated highest rpm is kept where the propeller there takes more torque than full throttle gives.

    Known for each propeller: its torque at its highest rpm, at rest and the least at any airspeed of the phases.
    """

    def __init__(self, tables: PropellerTables, shelf: Shelf) -> None:
        self.tables = tables
        self._rated = (shelf.column("max_rpm_stated") > 0) & np.isfinite(shelf.column("max_rpm"))
        self._top = tables.speed_of_rpm(shelf.column("max_rpm"))
        p = np.arange(tables.mass_g.size)
        with np.errstate(all="ignore"):
            self._top_rest = tables.torque(p, self._top)
            least = self._top_rest.copy()
            nodes = tables.mass_start_g + tables.mass_step_g * np.array([0.0, tables.nodes - 1.0])
            for phase in tables.setting.phases:
                if phase.throttle == 0:
                    continue
                ends = [tables.airspeed(phase, tables.mass_g + node) for node in nodes]
                for share in np.linspace(0.0, 1.0, 1 if phase.airspeed_m_s is not None else 24):
                    least = np.minimum(least, tables.torque(p, self._top, ends[0] + share * (ends[1] - ends[0])))
            self._top_least = least - _SAMPLED * np.abs(self._top_rest)

    def decide(self, drives: Drives, lanes: Lanes) -> tuple[Flags, Flags]:
        """Which lanes surely keep the limit, and which surely do not."""
        rated = np.flatnonzero(self._rated[lanes.propeller])
        p, d = lanes.propeller[rated], lanes.drive[rated]
        odd = drives.odd[d] | ~self.tables.regular[p]
        band = BAND * drives.full.available_v[d]
        u = self._top[p]
        passes = (drives.left_over(drives.full, d, u, self._top_least[p]) < -band) & ~odd
        fails = (drives.left_over(drives.full, d, u, self._top_rest[p]) > band) & ~odd & ~passes
        some = np.flatnonzero(~(passes | fails | odd))
        if some.size:
            p, d, u, band = p[some], d[some], u[some], band[some]
            least = self._top_rest[p]
            for _, airspeed in self.tables.airspeeds(drives.mass_g[d] + self.tables.mass_g[p]):
                least = np.minimum(least, self.tables.torque(p, u, airspeed))
            left = drives.left_over(drives.full, d, u, least)
            passes[some], fails[some] = left < -band, left > band
        pass_all, fail_all = np.ones(lanes.size, dtype=bool), np.zeros(lanes.size, dtype=bool)
        pass_all[rated], fail_all[rated] = passes, fails
        return pass_all, fail_all
