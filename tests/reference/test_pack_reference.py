"""Packs held against measured cells and published parameter sets.

Resistances, discharges and cold capacities are public figures of measured cells and packs, named by kind alone; the
potentials are those of the parameter sets of the PyBaMM library (BSD-3), typed from its formulas.
"""

import math

import numpy as np
import pytest
from scipy.optimize import brentq
from support.measured_cells import COLD_SHARES, LI_ION, LIPO, cold_share, given, pack
from support.trains import simple_train

from propmatch.models.pack import CHEMISTRIES, CellState
from propmatch.records.estimates import burst_c, completed

FARADAY_AH = 96485.33212 / 3600.0


def estimated_mohm(chemistry: str, capacity_ah: float, label_c: float) -> float:
    part, _ = completed(pack(chemistry=chemistry, capacity_mah=1e3 * capacity_ah, c_rating=label_c))
    return float(part.cell_resistance_mohm)


@pytest.mark.parametrize(("chemistry", "cells"), [("liion", LI_ION), ("lipo", LIPO)])
def test_measured_cells_lie_within_the_stated_factor(chemistry: str, cells: list[tuple[float, float, float]]) -> None:
    """At least three of four; the mean of the logarithms within a third."""
    factor = CHEMISTRIES[chemistry].resistance.factor
    errors = [math.log(estimated_mohm(chemistry, ah, c) / mohm) for ah, c, mohm in cells]
    within = [abs(error) <= math.log(factor) for error in errors]
    assert sum(within) >= 0.75 * len(cells)
    assert abs(np.mean(errors)) < 1.0 / 3.0


@pytest.mark.parametrize("label_c", [25.0, 45.0])
def test_published_fit_to_model_packs(label_c: float) -> None:
    """A published fit to model packs labelled 25 to 45C has R x A h x C of 0.513 V."""
    assert estimated_mohm("lipo", 2.2, label_c) * 1e-3 * 2.2 * label_c == pytest.approx(0.513, rel=0.02)


@pytest.mark.parametrize(("rate", "over"), [(1.0, 0.08), (2.0, 0.24), (3.0, 0.47), (4.0, 0.74)])
def test_discharge_times_of_a_round_cell(rate: float, over: float) -> None:
    """Discharges of a round cell of 3 A h labelled 5C down to 3.3 V last 1/(1 + over) of those with 12 mohm A h."""
    train = simple_train(pack=pack())
    measured = given(train, 3.0 * rate, 3.3, level_mohm_ah=12.0) / (1.0 + over)
    assert given(train, 3.0 * rate, 3.3) == pytest.approx(measured, rel=0.05)


@pytest.mark.parametrize(
    ("celsius", "volts", "within"),
    [(-10.0, 3.0, 0.05), (-15.0, 3.0, 0.05), (-20.0, 3.0, 0.10), (-10.0, 2.5, 0.05), (-15.0, 2.5, 0.10),
     (-20.0, 2.5, 0.11)],
)  # fmt: skip
def test_discharges_of_round_cells_in_the_cold(celsius: float, volts: float, within: float) -> None:
    """Capacity law and sag together, each counted once; the mean of the three cells."""
    assert cold_share(celsius, volts) == pytest.approx(np.mean(COLD_SHARES[celsius][volts]), rel=within)


def test_a_used_round_cell_keeps_what_the_standard_asks_for() -> None:
    """IEC 61960-3 asks 0.6 of the rated capacity after 400 cycles of a cell, IEC 61951-2 the same of nickel cells after
    500: values from memory. Ours age by common practice, so they must at least do that."""
    assert CellState(cycles=400).capacity_ratio(CHEMISTRIES["liion"]) > 0.6
    assert CellState(cycles=500).capacity_ratio(CHEMISTRIES["nimh"]) > 0.6


@pytest.mark.parametrize(
    ("name", "low", "high"), [("lipo", 3.8, 3.85), ("lihv", 3.85, 3.9), ("liion", 3.6, 3.75), ("lifepo4", 3.2, 3.35)]
)
def test_storage_voltages(name: str, low: float, high: float) -> None:
    """Common practice, no published source; a cell that is put away is near half charged, flat curves aside."""
    kind = CHEMISTRIES[name]
    assert low <= kind.put_away_v <= high
    if name != "lifepo4":
        assert 0.4 <= np.interp(kind.put_away_v, kind.ocv_v, kind.charge) <= 0.65


def graphite_v(x):
    """Chen et al., J. Electrochem. Soc. 167 (2020) 080534, as in PyBaMM."""
    return (
        1.9793 * np.exp(-39.3631 * x) + 0.2482 - 0.0909 * np.tanh(29.8538 * (x - 0.1234))
        - 0.04478 * np.tanh(14.9159 * (x - 0.2769)) - 0.0205 * np.tanh(30.4444 * (x - 0.6103))
    )  # fmt: skip


def nickel_rich_v(y):
    """Chen et al. 2020, as in PyBaMM."""
    return (
        -0.8090 * y + 4.4875 - 0.0428 * np.tanh(18.5138 * (y - 0.5542)) - 17.7326 * np.tanh(15.7890 * (y - 0.3117))
        + 17.5842 * np.tanh(15.9308 * (y - 0.3120))
    )  # fmt: skip


def iron_phosphate_v(y):
    """Afshar et al., arXiv 1709.03970 (2017), as in PyBaMM."""
    return 3.4077 - 0.020269 * y + 0.5 * np.exp(-150.0 * y) - 0.9 * np.exp(-30.0 * (1.0 - y))


def open_circuit_v(positive, x_full, y_full, anode_ah, cathode_ah, least_v, top_v=None):
    """Cell voltage over charge from electrode potentials, 0 at ``least_v`` and 1 at ``top_v`` or the full state."""

    def volts(drawn_ah):
        return positive(y_full + drawn_ah / cathode_ah) - graphite_v(x_full - drawn_ah / anode_ah)

    first = 0.0 if top_v is None else brentq(lambda ah: volts(ah) - top_v, -0.3, 0.3)
    last = brentq(lambda ah: volts(ah) - least_v, 0.6 * x_full * anode_ah, 0.999 * x_full * anode_ah)
    return lambda charge: volts(last - (last - first) * charge)


def test_iron_phosphate_cell_is_that_of_prada_2013() -> None:
    """Parameter set Prada 2013: 0.18 m2, stoichiometries 0.81 and 0.0038 at full; from 10 to 100 % charge."""
    anode = 30555 * 0.58 * 3.4e-5 * 0.18 * FARADAY_AH
    cathode = 22806 * 0.374 * 8e-5 * 0.18 * FARADAY_AH
    theirs = open_circuit_v(iron_phosphate_v, 0.81, 0.0038, anode, cathode, 2.0)
    charge = np.linspace(0.1, 1.0, 91)
    miss = CHEMISTRIES["lifepo4"].cell_ocv_v(charge) - theirs(charge)
    assert np.max(np.abs(miss)) < 0.015


def test_li_ion_cell_is_near_that_of_chen_2020() -> None:
    """Parameter set Chen 2020, an energy cell of 2.5 to 4.2 V: at most 0.15 V below it from 10 to 100 % charge."""
    area = 0.065 * 1.58
    anode = 33133 * 0.75 * 8.52e-5 * area * FARADAY_AH
    cathode = 63104 * 0.665 * 7.56e-5 * area * FARADAY_AH
    theirs = open_circuit_v(nickel_rich_v, 29866 / 33133, 17038 / 63104, anode, cathode, 2.5, 4.2)
    charge = np.linspace(0.1, 1.0, 91)
    miss = CHEMISTRIES["liion"].cell_ocv_v(charge) - theirs(charge)
    assert np.all((miss > -0.15) & (miss < 0.0))


def test_current_of_a_label() -> None:
    """5000 mAh at 25 1/h is 125 A: battery page of a teaching wiki, HAW Hamburg."""
    part = pack(chemistry="lipo", capacity_mah=5000.0, c_rating=25.0)
    assert burst_c(part) * part.capacity_mah / 1e3 == 125.0


def test_nickel_cell_is_flat_about_its_nominal_voltage() -> None:
    """Assumed curve, no published source: 1.2 to 1.35 V between a tenth and nine tenths of the charge."""
    kind = CHEMISTRIES["nimh"]
    middle = kind.cell_ocv_v(np.linspace(0.1, 0.9, 81))
    assert kind.nominal_v <= middle.min()
    assert middle.max() < 1.35
