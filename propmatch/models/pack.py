"""The pack: open-circuit voltage over charge, and the resistance that makes it sag.

E = S ocv(charge); R_b = S/P r_cell factor(charge) + leads; terminal voltage
V_t = E - R_b I_pack.

The level of the resistance is the pack's own, or the estimate of its chemistry. In the cold resistance rises and
capacity falls by the ratios of the chemistry, and so they do with every cycle; a full pack that has rested reads less
(:class:`CellState`). Where curves and ratios come from stands beside each chemistry.

Source: rise of resistance at low charge in the shape of Rs(s)/Rs(1) of M. Chen, G. A. Rincon-Mora, IEEE Trans. Energy
Conversion 21 (2006) 504-511.
"""

import math
from collections.abc import Mapping
from functools import lru_cache
from types import MappingProxyType
from typing import Any

import attrs
import numpy as np
from numpy.typing import ArrayLike

from propmatch.models.arrays import Floats, Number

__all__ = [
    "CHEMISTRIES",
    "COLDEST_C",
    "USUAL_C",
    "CellLife",
    "CellResistance",
    "CellState",
    "Chemistry",
    "chemistry_named",
    "chemistry_of",
    "pack_resistance_ohm",
    "resistance_factor",
]


def _row(value: ArrayLike) -> Floats:
    array = np.array(value, dtype=np.float64)
    array.setflags(write=False)
    return array.view()


@attrs.frozen(kw_only=True)
class CellResistance:
    """Estimated resistance of a cell, r = level C^-power/(A h), C the label's continuous rating.

    Attributes
    ----------
    level_mohm_ah : float [mohm A h], at 1 C
    power : float
    factor : float
        A single pack lies within this factor either way.
    basis : str
        Where the law comes from.
    """

    level_mohm_ah: float
    power: float
    factor: float
    basis: str

    def cell_mohm(self, cell_ah: float, c_rating: float) -> float:
        """Resistance of one cell [mohm], full and near 25 degC."""
        return self.level_mohm_ah * math.pow(c_rating, -self.power) / cell_ah


_LIPO_RESISTANCE = CellResistance(
    level_mohm_ah=510.0, power=1.0, factor=1.6, basis="measured packs labelled 45 to 95C and a published fit, 25 to 45C"
)
_LIION_RESISTANCE = CellResistance(
    level_mohm_ah=129.0, power=0.53, factor=1.8, basis="measured round cells of 14 types labelled 2 to 11C"
)


@attrs.frozen(kw_only=True)
class CellLife:
    """How cells age with use: by the same share with every cycle, down to 0.8 of the capacity after ``cycles``.

    Attributes
    ----------
    cycles, cycles_low, cycles_high : float
        Full cycles down to 0.8 of the capacity, and the range in which that lies.
    resistance_ratio, ratio_low, ratio_high : float
        Resistance after so many cycles over that of a new cell, and its range.
    basis : str
        Where that comes from.
    """

    cycles: float
    cycles_low: float
    cycles_high: float
    resistance_ratio: float = 1.5
    ratio_low: float = 1.2
    ratio_high: float = 2.0
    basis: str = "common practice, no published source"

    def capacity_after(self, cycles: Number, life: float | None = None) -> Any:
        """0.8^(cycles/life): capacity over that of a new cell [-]; ``life`` is ``cycles`` unless said."""
        return np.power(0.8, np.asarray(cycles, dtype=np.float64) / (life or self.cycles))

    def resistance_after(self, cycles: Number, ratio: float | None = None) -> Any:
        """ratio^(cycles/life): resistance over that of a new cell [-]; ``ratio`` is the usual one unless said."""
        return np.power(ratio or self.resistance_ratio, np.asarray(cycles, dtype=np.float64) / self.cycles)


USUAL_C = 25.0
"""Temperature at which the numbers of cells are stated."""
COLDEST_C = -20.0
"""Nothing is claimed for colder cells."""
_TEMPERATURES_C = (COLDEST_C, -10.0, 0.0, 15.0, USUAL_C, 60.0)
"""Between them the logarithm of the resistance, and the capacity, are linear; beyond them the ends hold."""
_USUAL_CAPACITY = (0.75, 0.85, 0.93, 1.0, 1.0, 1.0)
_LIPO_FULL_V, _LIPO_CUTOFF_V, _LIPO_LEAST_V = 4.2, 3.3, 3.0


@attrs.frozen(kw_only=True, eq=False)
class Chemistry:
    """A kind of cell: open-circuit voltage, linear between nodes, and what packs of such cells have in common.

    Attributes
    ----------
    name : str
    charge : (N,) rising from 0 to 1
    ocv_v : (N,) [V], rising
    source : str
        Of the curve.
    nominal_v : float [V], default the median of ``ocv_v``
    cutoff_v, least_cutoff_v : float [V]
        Cell voltage under load at which a flight usually ends, and the lowest that is allowed; default a LiPo cell's
        3.3 and 3.0 V in proportion to the full voltage. Common practice, no published source.
    resistance : CellResistance, default a LiPo cell's
    sustained_ratio : float, at least 1
        Resistance through a whole discharge over that of the first seconds; flight times are flown with it.
    temperature_c, resistance_ratio, capacity_ratio : (M,), rising; resistance and capacity over those at 25 degC
        The sag of the resistance comes on top of the capacity. Default exp(0.025 (25 - T)), doubling about every 28 K
        of cooling, and a capacity that falls below 15 degC to 0.85 at -10: common practice, no published source.
    cold_basis : str
        Where the ratios in the cold come from.
    life : CellLife
        How the cells age.
    settles : float, 0 to below 1
        Share of the voltage above that of nine tenths of the charge which a full cell loses while it rests.
    fades_a_month : float, 0 to below 1
        Share of the charge lost in 30 days of rest.
    storage_v : float [V] or None
        Of a cell that is put away; None means that of half the charge, NaN that any will do.
    charge_c : float [1/h]
        Usual charging current over the capacity, where the maker states none.
    round_cells : bool
        Whether packs are made of whole round cells, so that capacity comes in strings.
    usual_c, mass_g_per_wh : float [1/h], [g/W h]
        Of a pack of which nobody says it.
    """

    name: str
    charge: Floats = attrs.field(converter=_row)
    ocv_v: Floats = attrs.field(converter=_row)
    source: str
    nominal_v: float = attrs.field()
    cutoff_v: float = attrs.field()
    least_cutoff_v: float = attrs.field()
    resistance: CellResistance = _LIPO_RESISTANCE
    sustained_ratio: float = 1.0
    temperature_c: Floats = attrs.field(converter=_row, default=_TEMPERATURES_C)
    resistance_ratio: Floats = attrs.field(converter=_row)
    capacity_ratio: Floats = attrs.field(converter=_row)
    cold_basis: str = "common practice, no published source"
    life: CellLife = CellLife(cycles=250.0, cycles_low=120.0, cycles_high=400.0)
    settles: float = 0.2
    fades_a_month: float = 0.03
    storage_v: float | None = None
    charge_c: float = 1.0
    round_cells: bool = False
    usual_c: float = 25.0
    mass_g_per_wh: float = 7.5

    @nominal_v.default
    def _middle_v(self) -> float:
        return float(np.median(self.ocv_v))

    @cutoff_v.default
    def _like_lipo(self) -> float:
        return self.full_v * _LIPO_CUTOFF_V / _LIPO_FULL_V

    @least_cutoff_v.default
    def _least_like_lipo(self) -> float:
        return self.full_v * _LIPO_LEAST_V / _LIPO_FULL_V

    @resistance_ratio.default
    def _usual_rise(self) -> Floats:
        return np.exp(0.025 * (25.0 - self.temperature_c))

    @capacity_ratio.default
    def _usual_loss(self) -> Floats:
        return np.interp(self.temperature_c, _TEMPERATURES_C, _USUAL_CAPACITY)

    def __attrs_post_init__(self) -> None:
        q, v = self.charge, self.ocv_v
        if not (_is_curve(q, v) and q[0] == 0.0 and q[-1] == 1.0 and bool(np.all(np.diff(v) > 0))):
            raise ValueError(f"chemistry {self.name!r}: charge must rise from 0 to 1 and ocv_v rise with it, finite")
        if not 0.0 < self.least_cutoff_v <= self.cutoff_v < self.full_v:
            raise ValueError(f"chemistry {self.name!r}: 0 < least_cutoff_v <= cutoff_v < the full voltage must hold")
        ratios = (self.resistance_ratio, self.capacity_ratio)
        if not all(_is_curve(self.temperature_c, each) and np.all(each > 0) for each in ratios):
            raise ValueError(f"chemistry {self.name!r}: temperature_c must rise, with ratios above 0 beside it")
        if not self.sustained_ratio >= 1.0:
            raise ValueError(f"chemistry {self.name!r}: sustained_ratio must be at least 1")
        if not (0.0 <= self.settles < 1.0 and 0.0 <= self.fades_a_month < 1.0):
            raise ValueError(f"chemistry {self.name!r}: settles and fades_a_month must be 0 to below 1")

    @property
    def full_v(self) -> float:
        """Open-circuit voltage of a full cell [V]."""
        return float(self.ocv_v[-1])

    @property
    def put_away_v(self) -> float:
        """Voltage of a cell that is put away [V]; NaN where any will do."""
        return float(self.cell_ocv_v(0.5)) if self.storage_v is None else self.storage_v

    def cell_ocv_v(self, charge: Number) -> Any:
        """Open-circuit voltage of one cell [V] at a charge 0..1; NaN outside."""
        q = np.asarray(charge, dtype=np.float64)
        return np.where((q >= 0) & (q <= 1), np.interp(q, self.charge, self.ocv_v), np.nan)

    def flown_to_v(self, asked_v: float | None) -> float:
        """Cutoff [V] for the one asked for: never below the least allowed; the usual one where none is asked for."""
        return self.cutoff_v if asked_v is None else max(asked_v, self.least_cutoff_v)

    def resistance_at(self, temperature_c: Number) -> Any:
        """Cell resistance at a temperature over that at 25 degC [-]."""
        return np.exp(np.interp(temperature_c, self.temperature_c, np.log(self.resistance_ratio)))

    def capacity_at(self, temperature_c: Number) -> Any:
        """Capacity at a temperature over that at 25 degC [-]."""
        return np.interp(temperature_c, self.temperature_c, self.capacity_ratio)


def _is_curve(x: Floats, y: Floats) -> bool:
    """Whether x rises strictly and both are finite, of one length of at least 2."""
    same = x.ndim == 1 and x.size >= 2 and x.shape == y.shape
    return same and bool(np.all(np.isfinite(x) & np.isfinite(y)) and np.all(np.diff(x) > 0))


_ROUND_CELLS_COLD: dict[str, Any] = {
    "temperature_c": [COLDEST_C, -10.0, 25.0, 60.0],
    "resistance_ratio": [3.7, 2.8, 1.0, math.exp(0.025 * (25.0 - 60.0))],
    "capacity_ratio": [0.69, 0.82, 1.0, 1.0],
}
_LIPO_Q = [0.0, 0.05, 0.10, 0.20, 0.30, 0.40, 0.50, 0.60, 0.70, 0.80, 0.90, 0.95, 1.0]
_LIPO_V = [3.0, 3.5421, 3.6396, 3.6954, 3.7331, 3.7622, 3.7925, 3.8365, 3.9089, 3.9945, 4.0879, 4.1384, 4.2]

CHEMISTRIES: Mapping[str, Chemistry] = MappingProxyType({
    chemistry.name: chemistry
    for chemistry in (
        Chemistry(
            name="lipo",
            charge=_LIPO_Q,
            ocv_v=_LIPO_V,
            source="LiCoO2 pouch cell, Ai et al. 2020 as in the PyBaMM library",
            nominal_v=3.7,
            cutoff_v=_LIPO_CUTOFF_V,
            least_cutoff_v=_LIPO_LEAST_V,
            storage_v=3.8,
        ),
        Chemistry(
            name="lihv",
            charge=_LIPO_Q,
            ocv_v=[3.0 + (v - 3.0) * 1.35 / 1.2 for v in _LIPO_V],
            source="assumed: the lipo shape stretched to 4.35 V, no published source",
            nominal_v=3.8,
            cutoff_v=_LIPO_CUTOFF_V,
            least_cutoff_v=_LIPO_LEAST_V,
            life=CellLife(cycles=150.0, cycles_low=80.0, cycles_high=300.0),
        ),
        Chemistry(
            name="liion",
            charge=[0.0, 0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0],
            ocv_v=[2.58, 2.96, 3.2, 3.38, 3.5, 3.58, 3.66, 3.75, 3.85, 3.95, 4.05, 4.18],
            source="assumed: a cylindrical energy cell; below a tenth of the charge from measured discharges",
            nominal_v=3.6,
            cutoff_v=3.0,
            least_cutoff_v=2.5,
            resistance=_LIION_RESISTANCE,
            sustained_ratio=1.8,
            **_ROUND_CELLS_COLD,
            cold_basis="five cells measured at 1C, which with the sag gave 0.74 and 0.54 of the capacity down to 3.0 V "
            "at -10 and -20 degC",
            life=CellLife(cycles=400.0, cycles_low=250.0, cycles_high=800.0),
            settles=0.25,
            fades_a_month=0.02,
            storage_v=3.65,
            charge_c=0.5,
            round_cells=True,
            usual_c=5.0,
            mass_g_per_wh=5.0,
        ),
        Chemistry(
            name="lifepo4",
            charge=[0.0, 0.05, 0.1, 0.15, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 0.95, 0.97, 0.98, 0.99, 1.0],
            ocv_v=[2.0, 2.785, 2.978, 3.108, 3.1685, 3.2058, 3.2525, 3.266, 3.2688, 3.274, 3.3097, 3.3142, 3.3164,
                   3.3273, 3.35, 3.4145, 3.5984],
            source="PyBaMM library (BSD-3), parameter set Prada 2013: LiFePO4 potential of Afshar et al. 2017 over "
            "graphite of Chen et al. 2020; not to be relied on below a tenth of the charge",
            nominal_v=3.2,
            cutoff_v=2.8,
            least_cutoff_v=2.0,
            resistance=attrs.evolve(_LIION_RESISTANCE, factor=2.0, basis="as Li-ion cells, no published source"),
            sustained_ratio=1.8,
            **_ROUND_CELLS_COLD,
            cold_basis="as Li-ion cells, no published source",
            life=CellLife(cycles=1500.0, cycles_low=800.0, cycles_high=3000.0),
            settles=0.7,
            fades_a_month=0.02,
            storage_v=3.3,
            round_cells=True,
            usual_c=10.0,
            mass_g_per_wh=10.5,
        ),
        Chemistry(
            name="nimh",
            charge=[0.0, 0.05, 0.1, 0.2, 0.5, 0.8, 0.9, 1.0],
            ocv_v=[1.0, 1.15, 1.2, 1.235, 1.28, 1.315, 1.34, 1.4],
            source="assumed: a round cell, no published source",
            nominal_v=1.2,
            cutoff_v=1.0,
            least_cutoff_v=0.8,
            resistance=CellResistance(
                level_mohm_ah=60.0, power=0.5, factor=2.0, basis="value from memory, no published source"
            ),
            life=CellLife(cycles=400.0, cycles_low=200.0, cycles_high=800.0),
            settles=0.6,
            fades_a_month=0.25,
            storage_v=math.nan,
            round_cells=True,
            usual_c=5.0,
            mass_g_per_wh=13.0,
        ),
    )
})  # fmt: skip
"""The built-in chemistries; those that plugins add come with their packs."""


def chemistry_named(chemistry: str | Chemistry) -> Chemistry:
    """The chemistry itself or of that name, for estimates; LiPo where nobody knows the name."""
    return CHEMISTRIES.get(chemistry, CHEMISTRIES["lipo"]) if isinstance(chemistry, str) else chemistry


def chemistry_of(pack: Any) -> Chemistry:
    """The pack's chemistry: the object itself, or the one of that name.

    Raises
    ------
    ValueError
        Nobody knows the name.
    """
    if isinstance(pack.chemistry, Chemistry):
        return pack.chemistry
    if pack.chemistry not in CHEMISTRIES:
        known = ", ".join(CHEMISTRIES)
        raise ValueError(f"pack {pack.name!r}: no chemistry {pack.chemistry!r} (known: {known})")
    return CHEMISTRIES[pack.chemistry]


_SETTLES_IN_H, _MONTH_H = 1.0, 720.0
_SETTLING_FROM = 0.9


@lru_cache(maxsize=256)
def _rested(chemistry: Chemistry, hours: float) -> Chemistry:
    """The cells with the curve of a full one that has rested: above nine tenths of the charge, and rising still."""
    knee = float(chemistry.cell_ocv_v(_SETTLING_FROM))
    lost = chemistry.settles * (1.0 - math.exp(-hours / _SETTLES_IN_H))
    over = np.maximum(chemistry.ocv_v - knee, 0.0)
    return attrs.evolve(chemistry, ocv_v=chemistry.ocv_v - lost * over)


@attrs.frozen(kw_only=True)
class CellState:
    """How the cells of a pack are when a flight begins; every ratio is 1 for new cells near 25 degC.

    Attributes
    ----------
    temperature_c : float [degC] or None, near 25
    cycles : float, full cycles flown before
    rest_h : float [h], since charging
    """

    temperature_c: float | None = None
    cycles: float = 0.0
    rest_h: float = 0.0

    def resistance_ratio(self, cells: Chemistry) -> float:
        """Resistance over that of new cells at 25 degC."""
        cold = 1.0 if self.temperature_c is None else float(cells.resistance_at(self.temperature_c))
        return cold * float(cells.life.resistance_after(self.cycles))

    def capacity_ratio(self, cells: Chemistry) -> float:
        """Capacity over that of new cells at 25 degC, fresh from the charger."""
        cold = 1.0 if self.temperature_c is None else float(cells.capacity_at(self.temperature_c))
        kept = math.pow(1.0 - cells.fades_a_month, self.rest_h / _MONTH_H)
        return cold * kept * float(cells.life.capacity_after(self.cycles))

    def cells(self, fresh: Chemistry) -> Chemistry:
        """The cells with the open-circuit curve after this rest; the same object for the same rest."""
        return _rested(fresh, self.rest_h) if self.rest_h else fresh


def resistance_factor(charge: Number) -> Number:
    """Cell resistance at a charge over that at full charge, (0.1562 exp(-24.37 s) + 0.07446)/(the same at 1) [-].

    1 at full charge, 1.016 at 0.2, 1.18 at 0.1, 3.1 at 0.
    """
    s: Floats = np.asarray(charge, dtype=np.float64)
    factor: Floats = (0.1562 * np.exp(-24.37 * s) + 0.07446) / (0.1562 * np.exp(-24.37) + 0.07446)
    return factor


def pack_resistance_ohm(cells_ohm: Number, leads_ohm: Number, charge: Number) -> Number:
    """R_b = S/P r_cell factor(charge) + leads [ohm], from that of the cells at full charge and of the leads."""
    return cells_ohm * resistance_factor(charge) + leads_ohm
