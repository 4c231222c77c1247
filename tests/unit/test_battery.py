"""The pack: curves, faults, resistance laws."""

import numpy as np
import pytest
from support.trains import simple_pack, simple_train

from propmatch import battery
from propmatch.coupling import solve
from propmatch.models.pack import CHEMISTRIES, Chemistry
from propmatch.records.estimates import completed
from propmatch.train.lanes import chemistry_of, train_lanes


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


def test_resistance_of_series_parallel_and_leads() -> None:
    """R_b = S/P r_cell + leads at full charge."""
    pack = simple_pack(cells_series=3, cells_parallel=2, cell_resistance_mohm=10.0, lead_resistance_mohm=5.0)
    lanes, _ = train_lanes([simple_train(pack=pack)])
    assert lanes.pack_ohm(np.array([1.0])) == pytest.approx([0.020])
    assert lanes.pack_ohm(np.array([0.0])) == pytest.approx([0.005 + 0.015 * battery.resistance_factor(0.0)])


def test_resistance_falls_with_charge_and_warmth() -> None:
    assert np.all(np.diff(battery.resistance_factor(np.linspace(0, 1, 100))) < 0)
    assert np.all(np.diff(battery.temperature_factor(np.linspace(-20, 60, 100))) < 0)
    assert battery.temperature_factor(25.0) == 1.0
    cold, warm = (solve(simple_train(pack_temperature_c=t)) for t in (0.0, 25.0))
    assert cold.thrust_n < warm.thrust_n
    assert any(a.field == "pack_temperature_c" for a in cold.assumptions)
