"""Packs as numbers of which groups know the best, and an order in which near ones stand beside each other."""

from functools import cached_property
from typing import Any

import attrs
import numpy as np

from propmatch.checks.setting import Setting
from propmatch.models.arrays import Floats, Index
from propmatch.models.pack import Chemistry, pack_resistance_ohm
from propmatch.search.bounds.drives import Pairs, held_to
from propmatch.search.shelf import Shelf
from propmatch.train import line

__all__ = ["PackClass", "PackNumbers", "classes", "mean_ocv_v"]


def mean_ocv_v(chemistry: Chemistry, last: Any) -> Floats:
    """Mean open-circuit voltage of a cell over the charge from full to each of some charges (N,) [V]."""
    charge = np.sort(np.concatenate([chemistry.charge[chemistry.charge > np.min(last)], np.ravel(last), [1.0]]))[::-1]
    volts = np.asarray(chemistry.cell_ocv_v(charge))
    area = np.cumsum(0.5 * (volts[:-1] + volts[1:]) * -np.diff(charge))
    means = volts.copy()
    np.divide(area, 1.0 - charge[1:], out=means[1:], where=charge[1:] < 1.0)
    return np.asarray(means[charge.size - 1 - np.searchsorted(charge[::-1], last)])


_LEAST = {"half_ohm", "strong_ohm", "mass_g"}
"""Numbers of which less is better."""


@attrs.frozen(kw_only=True, eq=False)
class PackNumbers:
    """Numbers of packs, or the best of each number of groups of packs, (N,) each or one for all.

    Attributes
    ----------
    full_v, half_v, mean_v : open-circuit voltage full, at half charge, and its mean from full to the reserve
    half_ohm, strong_ohm : resistance at half charge and full, the least of a group; full_ohm the greatest, full
    mass_g, burst_a, coulombs : mass, rated current for the load of full throttle, charge down to the reserve
    least_v : voltage that the cells must keep
    """

    full_v: Floats
    half_v: Floats
    mean_v: Floats
    half_ohm: Floats
    full_ohm: Floats
    strong_ohm: Floats
    mass_g: Floats
    burst_a: Floats
    coulombs: Floats
    least_v: Floats

    @classmethod
    def of(cls, setting: Setting, shelf: Shelf) -> "PackNumbers":
        """Every pack of a shelf."""
        none = np.zeros(shelf.sizes[2], dtype=np.intp)
        rating = shelf.ratings_of(none, none, np.arange(none.size)).pack
        reserve = float(setting.brief.limits.reserve_charge or 0.0)
        cutoff = setting.stated.limits.cutoff_cell_v
        cells, kind = shelf.column("cells"), shelf.column("chemistry")

        def volts(of_cell: Any) -> Floats:
            return np.asarray(cells * np.array([float(of_cell(each)) for each in shelf.lanes.chemistries])[kind])

        ohm = shelf.column("cells_ohm"), shelf.column("leads_ohm")
        full_ohm = np.asarray(pack_resistance_ohm(*ohm, 1.0))
        return cls(
            full_v=volts(lambda each: each.cell_ocv_v(1.0)),
            half_v=volts(lambda each: each.cell_ocv_v(0.5)),
            mean_v=volts(lambda each: mean_ocv_v(each, reserve)),
            half_ohm=np.asarray(pack_resistance_ohm(*ohm, 0.5)),
            full_ohm=full_ohm,
            strong_ohm=full_ohm,
            mass_g=shelf.column("pack_g"),
            burst_a=held_to(rating, rating.limit(setting.burst_load_seconds), setting.brief.limits),
            coulombs=3600.0 * shelf.column("capacity_ah") * (1.0 - reserve),
            least_v=volts(lambda each: 0.0 if cutoff is None else each.flown_to_v(cutoff)),
        )

    def take(self, some: Index) -> "PackNumbers":
        """Some of them."""
        return PackNumbers(**{name: line.lanes_of(getattr(self, name), some) for name in _NAMES})

    def grouped(self, packs: Index, starts: Index) -> "PackNumbers":
        """The best of each number in groups of packs that begin at ``starts``."""
        return PackNumbers(
            **{
                name: (np.minimum if name in _LEAST else np.maximum).reduceat(getattr(self, name)[packs], starts)
                for name in _NAMES
            }
        )


_NAMES = tuple(a.name for a in attrs.fields(PackNumbers))


@attrs.define(kw_only=True, eq=False)
class PackClass:
    """Packs (N,) of one chemistry and cell count, near ones beside each other, and the pairs that take them."""

    _numbers: PackNumbers
    some: Index
    pairs: Index

    @cached_property
    def packs(self) -> Index:
        """The packs, sorted once they are asked for."""
        numbers, some = self._numbers, self.some
        return some[_near_each_other(np.column_stack([numbers.mass_g[some], np.log(numbers.half_ohm[some])]))]


def classes(shelf: Shelf, pairs: Pairs, numbers: PackNumbers) -> list[PackClass]:
    """The classes of all packs of a shelf, those that no pair takes left out."""
    kinds, of_pack = np.unique(
        np.stack([shelf.column("chemistry"), shelf.column("cells")]), axis=1, return_inverse=True
    )
    out = []
    for at in range(kinds.shape[1]):
        some = np.flatnonzero(of_pack.ravel() == at)
        fitting = pairs.fitting(int(some[0]))
        if fitting.size:
            out.append(PackClass(numbers=numbers, some=some, pairs=fitting))
    return out


def _near_each_other(places: Floats) -> Index:
    """An order of rows (N, 2) in which neighbours lie near each other: halved again and again, the wider way."""
    order = np.arange(len(places))
    if len(order) <= 2:
        return order
    width = np.ptp(places, axis=0) / (np.std(places, axis=0) + 1e-12) * np.ptp(places, axis=0)
    order = np.argsort(places[:, int(np.argmax(width))], kind="stable")
    half = len(order) // 2
    return np.concatenate([some[_near_each_other(places[some])] for some in (order[:half], order[half:])])
