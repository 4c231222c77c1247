"""Packs of other size from a given one: what such cells can be, and the mass by the catalogue's own packs."""

import math
from collections.abc import Iterable, Mapping
from typing import Any

import attrs
import numpy as np

from propmatch.models.arrays import Floats
from propmatch.models.pack import Chemistry, chemistry_named
from propmatch.records.estimates import Assumption, completed
from propmatch.records.fields import replace
from propmatch.records.parts import Pack, Source
from propmatch.units import MAH_AH, percent

__all__ = ["PackFit"]

_LEAST_PACKS = 4
_MOST_STRINGS = 40


@attrs.frozen(kw_only=True)
class PackFit:
    """mass_g = factor x (capacity in A h)^capacity_power x cells^cells_power; round cells weigh in proportion.

    Attributes
    ----------
    factor, capacity_power, cells_power : float
    spread : float
        Root mean square of the relative residual of the catalogue's packs.
    packs : int
        How many it rests on; below 4 mass is taken in proportion to capacity and cells.
    chemistry : str
    round_cells : bool
        Whether packs come in whole cells and strings.
    """

    factor: float
    capacity_power: float
    cells_power: float
    spread: float
    packs: int
    chemistry: str
    round_cells: bool = False

    @classmethod
    def of(cls, packs: Iterable[Pack] | Mapping[Any, Pack], chemistry: str | Chemistry = "lipo") -> "PackFit":
        """Least squares of log(mass) on log(capacity) and log(cells) over the packs of one chemistry."""
        kind = chemistry_named(chemistry)
        every = packs.values() if isinstance(packs, Mapping) else packs
        own = [pack for pack in every if chemistry_named(pack.chemistry).name == kind.name]
        capacity = np.log([pack.capacity_mah * MAH_AH for pack in own])
        cells = np.log([float(pack.cells_series) for pack in own])
        mass = np.log([pack.mass_g for pack in own])
        columns = np.column_stack([np.ones(len(own)), capacity, cells]) if own else np.empty((0, 3))
        if kind.round_cells or len(own) < _LEAST_PACKS or np.linalg.matrix_rank(columns) < 3:
            usual = kind.mass_g_per_wh * kind.nominal_v
            return cls(
                factor=math.exp(float(np.mean(mass - capacity - cells))) if own else usual,
                capacity_power=1.0, cells_power=1.0, spread=float("nan"), packs=len(own), chemistry=kind.name,
                round_cells=kind.round_cells,
            )  # fmt: skip
        solved = np.linalg.lstsq(columns, mass, rcond=None)[0]
        rest = mass - columns @ solved
        return cls(
            factor=math.exp(float(solved[0])), capacity_power=float(solved[1]), cells_power=float(solved[2]),
            spread=float(np.sqrt(np.mean(rest**2))), packs=len(own), chemistry=kind.name,
        )  # fmt: skip

    def mass_g(self, cells: Any, capacity_mah: Any) -> Any:
        """Mass of a pack of the catalogue's kind [g]."""
        return (
            self.factor
            * (np.asarray(capacity_mah) * MAH_AH) ** self.capacity_power
            * np.asarray(cells, dtype=np.float64) ** self.cells_power
        )

    def mass_like_g(self, base: Pack, cells: Any, capacity_mah: Any) -> Any:
        """Mass of a pack built like ``base``: its own mass times the ratio of the fit [g]."""
        return base.mass_g * self.mass_g(cells, capacity_mah) / self.mass_g(base.cells_series, base.capacity_mah)

    def capacity_like_mah(self, base: Pack, cells: int, mass_g: float) -> float:
        """Capacity of a pack built like ``base`` with this mass [mAh]."""
        by_cells = (cells / base.cells_series) ** self.cells_power
        return float(base.capacity_mah * (mass_g / base.mass_g / by_cells) ** (1.0 / self.capacity_power))

    def sizes_mah(self, base: Pack, least_mah: float, most_mah: float, count: int) -> Floats:
        """Capacities of packs built like ``base``, rising: whole strings of round cells, else ``count`` of any size."""
        if not self.round_cells:
            return np.geomspace(least_mah, most_mah, count)
        string_mah = base.capacity_mah / base.cells_parallel
        return string_mah * np.arange(1.0, max(1, min(_MOST_STRINGS, int(most_mah / string_mah))) + 1)

    def scaled(self, base: Pack, *, cells: int, capacity_mah: float, mass_g: float | None = None) -> Pack:
        """A pack of other size built like ``base``, with the same C rating.

        Round cells stay what they are: the pack takes the whole number of strings nearest to the capacity, its mass in
        proportion to the cells. Other cells come in any capacity, resistance in inverse proportion, with the mass of
        the fit or ``mass_g``.
        """
        full, _ = completed(base)
        if self.round_cells:
            strings = round(capacity_mah * full.cells_parallel / full.capacity_mah)
            return _restrung(full, cells, min(max(strings, 1), _MOST_STRINGS))
        resistance = full.cell_resistance_mohm * full.capacity_mah / capacity_mah
        mass = float(self.mass_like_g(base, cells, capacity_mah)) if mass_g is None else mass_g
        pack: Pack = replace(
            full,
            name=f"{cells}S {capacity_mah:.0f} mAh scaled from {base.name}",
            cells_series=cells,
            capacity_mah=capacity_mah,
            cell_resistance_mohm=min(resistance, 2000.0),
            mass_g=mass,
            id=None,
            source=Source(text=f"{base.name} scaled by the catalogue's fit of pack mass", kind="assumed"),
        )
        return pack

    @property
    def text(self) -> str:
        """The law in words."""
        if self.round_cells:
            return f"packs of {self.chemistry} cells come in whole cells and strings, mass in proportion to the cells"
        law = (
            f"pack mass {self.factor:.1f} g x (A h)^{self.capacity_power:.2f} x S^{self.cells_power:.2f}"
        )  # fmt: skip
        if self.packs < _LEAST_PACKS or math.isnan(self.spread):
            return f"{law}: in proportion, as the catalogue has too few {self.chemistry} packs to fit"
        return f"{law}, fitted to {self.packs} {self.chemistry} packs of the catalogue within {percent(self.spread)}"

    @property
    def assumption(self) -> Assumption:
        """The fit as an assumption."""
        cell = "cells" if self.round_cells else "cell resistance in inverse proportion to capacity"
        text = f"{self.text}; C rating as the pack it is scaled from, {cell}"
        return Assumption("scaled pack", "mass_g", self.factor, "g", text)


def _restrung(base: Pack, cells: int, strings: int) -> Pack:
    """The same cells, so many in series and in parallel."""
    ratio = strings / base.cells_parallel
    capacity = base.capacity_mah * ratio
    pack: Pack = replace(
        base,
        name=f"{cells}S{strings}P {capacity:.0f} mAh of the cells of {base.name}",
        cells_series=cells,
        cells_parallel=strings,
        capacity_mah=capacity,
        mass_g=base.mass_g * ratio * cells / base.cells_series,
        id=None,
        source=Source(text=f"{base.name} with other numbers of the same cells", kind="assumed"),
    )
    return pack
