"""The pack: curves, faults, resistance laws."""

import numpy as np
import pytest
from support.trains import simple_pack, simple_train

from propmatch import battery
from propmatch.coupling import solve
from propmatch.models.pack import CHEMISTRIES, CellState, Chemistry, chemistry_of
from propmatch.records.estimates import completed
from propmatch.train.lanes import train_lanes


def chemistry(**changes: object) -> Chemistry:
    values: dict = {"name": "own", "charge": [0, 1], "ocv_v": [2.5, 3.6], "source": "a test"}
    return Chemistry(**values | changes)


@pytest.mark.parametrize("name", CHEMISTRIES)
def test_curves_rise_and_stop_at_the_ends(name: str) -> None:
    curve = CHEMISTRIES[name]
    volts = curve.cell_ocv_v(np.linspace(0, 1, 300))
    assert np.all(np.diff(volts) > 0)
    assert np.isnan(curve.cell_ocv_v([-0.01, 1.01, np.nan])).all()


@pytest.mark.parametrize(
    "change",
    [
        {"charge": [0.1, 1.0]},
        {"charge": [0.0, 0.9]},
        {"ocv_v": [3.6, 2.5]},
        {"ocv_v": [2.5, np.inf]},
        {"charge": [0.0, 0.5, 1.0]},
        {"charge": [0.0], "ocv_v": [3.0]},
    ],
)
def test_a_curve_that_is_none(change: dict) -> None:
    with pytest.raises(ValueError, match="own"):
        chemistry(**change)


def test_a_chemistry_may_be_an_object_or_a_name() -> None:
    own = chemistry()
    assert chemistry_of(simple_pack(chemistry=own)) is own
    assert chemistry_of(simple_pack(chemistry="lihv")) is CHEMISTRIES["lihv"]
    with pytest.raises(ValueError, match=r"no chemistry 'lead'.*lipo"):
        chemistry_of(simple_pack(chemistry="lead"))
    with pytest.raises(TypeError, match="chemistry"):
        simple_pack(chemistry=3.7)
    assert completed(simple_pack(chemistry=own))[0].chemistry is own


def test_trains_of_several_chemistries_side_by_side() -> None:
    packs = [simple_pack(chemistry=c) for c in ("lipo", chemistry(), "liion")]
    trains = [simple_train(pack=p) for p in packs]
    together = solve(trains, charge=0.5)
    for i, train in enumerate(trains):
        assert together.rpm[i] == pytest.approx(solve(train, charge=0.5).rpm, rel=1e-12)
    lanes, _ = train_lanes(trains)
    assert lanes.open_circuit_v(np.full((2, 3), 0.5))[1] == pytest.approx([2 * 3.7925, 2 * 3.05, 2 * 3.66])


@pytest.mark.parametrize(
    "change",
    [
        {"least_cutoff_v": 0.0},
        {"least_cutoff_v": 3.2, "cutoff_v": 3.0},
        {"cutoff_v": 3.6},
        {"temperature_c": [25.0, -20.0, 60.0]},
        {"capacity_ratio": [0.0, 1.0, 1.0]},
        {"resistance_ratio": [2.0, 1.0]},
        {"sustained_ratio": 0.9},
        {"sustained_ratio": np.nan},
        {"settles": 1.0},
        {"fades_a_month": -0.1},
        {"fades_a_month": 1.0},
    ],
)
def test_a_chemistry_that_is_none(change: dict) -> None:
    with pytest.raises(ValueError, match="own"):
        chemistry(**change)


def test_a_chemistry_that_says_little_is_like_a_lipo_cell() -> None:
    own = chemistry()
    lipo = CHEMISTRIES["lipo"]
    assert own.cutoff_v / own.full_v == pytest.approx(3.3 / 4.2)
    assert own.least_cutoff_v / own.full_v == pytest.approx(3.0 / 4.2)
    assert 2.5 < own.nominal_v < 3.6
    assert own.resistance == lipo.resistance
    assert (own.sustained_ratio, own.round_cells) == (1.0, False)
    assert own.capacity_at(-20.0) == lipo.capacity_at(-20.0)
    assert own.life == lipo.life
    assert own.put_away_v == own.cell_ocv_v(0.5)


@pytest.mark.parametrize(
    ("name", "asked", "volts"),
    [
        # LiPo never below 3.0 V, Li-ion 2.5 V, LiFePO4 2.0 V, NiMH 0.8 V: common practice, no published source
        ("lipo", 2.5, 3.0), ("lihv", 2.5, 3.0), ("liion", 2.0, 2.5), ("lifepo4", 1.5, 2.0), ("nimh", 0.5, 0.8),
        ("lipo", 3.5, 3.5), ("nimh", 0.9, 0.9),
        ("lipo", None, 3.3), ("liion", None, 3.0), ("lifepo4", None, 2.8), ("nimh", None, 1.0),
    ],
)  # fmt: skip
def test_cut_off_of_each_chemistry(name: str, asked: float | None, volts: float) -> None:
    assert CHEMISTRIES[name].flown_to_v(asked) == volts


def test_resistance_of_series_parallel_and_leads() -> None:
    """R_b = S/P r_cell + leads at full charge."""
    pack = simple_pack(cells_series=3, cells_parallel=2, cell_resistance_mohm=10.0, lead_resistance_mohm=5.0)
    lanes, _ = train_lanes([simple_train(pack=pack)])
    assert lanes.pack_ohm(np.array([1.0])) == pytest.approx([0.020])
    assert lanes.pack_ohm(np.array([0.0])) == pytest.approx([0.005 + 0.015 * battery.resistance_factor(0.0)])


def test_resistance_falls_with_charge_and_warmth() -> None:
    assert np.all(np.diff(battery.resistance_factor(np.linspace(0, 1, 100))) < 0)
    for kind in CHEMISTRIES.values():
        assert np.all(np.diff(kind.resistance_at(np.linspace(-20, 60, 100))) < 0)
        assert np.all(np.diff(kind.capacity_at(np.linspace(-20, 60, 100))) >= 0)
        assert (kind.resistance_at(25.0), kind.capacity_at(25.0)) == pytest.approx((1.0, 1.0))
    cold, warm = (solve(simple_train(pack_temperature_c=t)) for t in (0.0, 25.0))
    assert cold.thrust_n < warm.thrust_n
    assert any(a.field == "pack_temperature_c" for a in cold.assumptions)


def test_cold_takes_capacity_and_says_on_what_basis() -> None:
    packs = [simple_pack(chemistry=kind) for kind in ("liion", "lipo")]
    lanes, made = train_lanes([simple_train(pack=pack, pack_temperature_c=-10.0) for pack in packs])
    warm, _ = train_lanes([simple_train(pack=pack) for pack in packs])
    assert np.all(lanes.capacity_ah < warm.capacity_ah)
    assert lanes.cells_ohm / warm.cells_ohm == pytest.approx([2.8, np.exp(0.025 * 35)])
    assert lanes.sustained().cells_ohm / lanes.cells_ohm == pytest.approx([1.8, 1.0])
    said = [each.text for each in made if each.field == "pack_temperature_c"]
    assert len(said) == 2
    assert "0.74" in said[0]
    assert "no published source" in said[1]


@pytest.mark.parametrize("name", CHEMISTRIES)
def test_new_warm_and_just_charged_cells_are_as_the_label_says(name: str) -> None:
    cells = CHEMISTRIES[name]
    for state in (CellState(), CellState(temperature_c=25.0, cycles=0, rest_h=0.0)):
        assert state.resistance_ratio(cells) == pytest.approx(1.0, abs=1e-12)
        assert state.capacity_ratio(cells) == pytest.approx(1.0, abs=1e-12)
        assert state.cells(cells) is cells


@pytest.mark.parametrize("name", CHEMISTRIES)
def test_a_full_pack_that_rests_reads_less_and_keeps_a_rising_curve(name: str) -> None:
    cells = CHEMISTRIES[name]
    full = [CellState(rest_h=hours).cells(cells).full_v for hours in (0.0, 0.5, 3.0, 48.0)]
    assert np.all(np.diff(full) < 0)
    rested = CellState(rest_h=48.0).cells(cells)
    assert CellState(rest_h=48.0).cells(cells) is rested
    charge = np.linspace(0.0, 0.9, 91)
    assert rested.cell_ocv_v(charge) == pytest.approx(cells.cell_ocv_v(charge), rel=1e-12)
    assert np.all(np.diff(rested.cell_ocv_v(np.linspace(0.0, 1.0, 300))) > 0)


def test_trains_with_and_without_rest_side_by_side() -> None:
    trains = [simple_train(), simple_train(pack_rest_h=24.0), simple_train(pack_cycles=200)]
    together = solve(trains)
    for i, train in enumerate(trains):
        assert together.rpm[i] == pytest.approx(solve(train).rpm, rel=1e-12)
    assert together.cell_voltage_v[1] < together.cell_voltage_v[0]
    assert together.cell_voltage_v[2] < together.cell_voltage_v[0]


def test_a_pack_past_its_usual_life_is_said_to_be() -> None:
    for cycles, past in ((100, False), (600, True)):
        said = [a.text for a in train_lanes([simple_train(pack_cycles=cycles)])[1] if a.field == "pack_cycles"]
        assert len(said) == 1
        assert ("usually retired" in said[0]) is past
