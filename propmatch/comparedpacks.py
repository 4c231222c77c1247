"""Packs of other cell counts that are comparable: of the same energy, mass or capacity."""

import math
from collections.abc import Sequence

import attrs

from propmatch.packfit import PackFit
from propmatch.parts import Pack

__all__ = ["BASES", "CLOSE_PACK", "ComparedPack", "compared_packs"]

BASES = ("same energy", "same mass", "same capacity")
"""Ways in which packs of different cell counts are comparable."""
CLOSE_PACK = 0.10
"""A catalogue pack this near counts as comparable; common practice, no published source."""


@attrs.frozen(kw_only=True, eq=False)
class ComparedPack:
    """The pack of one cell count that is comparable in one way.

    Attributes
    ----------
    basis : str
        One of ``BASES``.
    cells : int
    pack : Pack
        The one used.
    origin : str
        ``own`` (the design's), ``catalogue`` or ``scaled``.
    nearest : Pack or None
        The nearest pack of the catalogue with this cell count.
    nearest_off : float
        By how much it misses, as a share; NaN when there is none.
    """

    basis: str
    cells: int
    pack: Pack
    origin: str
    nearest: Pack | None
    nearest_off: float


def compared_packs(
    base: Pack, cells: Sequence[int], packs: Sequence[Pack], fit: PackFit
) -> dict[tuple[str, int], ComparedPack]:
    """Comparable packs for each basis and cell count; packs of the base's own chemistry are considered."""

    def size(pack: Pack, basis: str) -> float:
        """What makes packs comparable."""
        if basis == "same mass":
            return pack.mass_g
        return pack.capacity_mah * (pack.cells_series if basis == "same energy" else 1)

    def scaled(basis: str, count: int) -> Pack:
        if basis == "same mass":
            capacity = fit.capacity_like_mah(base, count, base.mass_g)
            return fit.scaled(base, cells=count, capacity_mah=capacity, mass_g=base.mass_g)
        capacity = size(base, basis) / (count if basis == "same energy" else 1)
        return fit.scaled(base, cells=count, capacity_mah=capacity)

    def off(pack: Pack, basis: str) -> float:
        return size(pack, basis) / size(base, basis) - 1.0

    out = {}
    for basis in BASES:
        for count in cells:
            alike = [p for p in packs if p.cells_series == count and p.chemistry == base.chemistry]
            near = min(
                alike,
                key=lambda p: (abs(math.log1p(off(p, basis))), abs(p.c_rating - base.c_rating)),
                default=None,
            )
            miss = float("nan") if near is None else off(near, basis)
            if count == base.cells_series:
                pack, origin = base, "own"
            elif near is not None and abs(miss) <= CLOSE_PACK:
                pack, origin = near, "catalogue"
            else:
                pack, origin = scaled(basis, count), "scaled"
            out[basis, count] = ComparedPack(
                basis=basis, cells=count, pack=pack, origin=origin, nearest=near, nearest_off=miss
            )
    return out
