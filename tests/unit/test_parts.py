import math

import pytest

from propmatch.models.tables import CoefficientTable
from propmatch.records.fields import build, replace
from propmatch.records.parts import CD0_WORDS, Airframe, Controller, Motor, Pack, PowerTrain, Propeller, Source


def motor(**changes: object) -> Motor:
    return Motor(**({"name": "m", "kv_rpm_per_v": 1800, "mass_g": 25} | changes))


def controller(**changes: object) -> Controller:
    return Controller(**({"name": "c", "max_current_a": 12, "mass_g": 8} | changes))


def pack(**changes: object) -> Pack:
    return Pack(**({"name": "p", "cells_series": 2, "capacity_mah": 600, "c_rating": 30, "mass_g": 40} | changes))


def propeller(**changes: object) -> Propeller:
    return Propeller(**({"name": "5x4", "diameter_in": 5, "pitch_in": 4} | changes))


def airframe(**changes: object) -> Airframe:
    numbers = {"wing_area_dm2": 16, "wing_span_mm": 1100, "cd0": 0.035, "cl_max": 1.1, "bare_mass_g": 265}
    return Airframe(**(numbers | changes))


def test_names_and_defaults_of_the_contract() -> None:
    m, c, p, q, a = motor(), controller(), pack(), propeller(), airframe()
    assert (m.kv_kind, m.no_load_exponent, m.gear_ratio, m.gear_efficiency) == ("effective", 0.0, 1.0, 1.0)
    open_fields = ("resistance_ohm", "no_load_current_a", "no_load_voltage_v", "max_current_a", "burst_current_a",
                   "burst_seconds", "max_power_w", "cells_min", "cells_max")  # fmt: skip
    assert all(getattr(m, name) is None for name in open_fields)
    assert (c.resistance_mohm, c.part_throttle_loss, c.servo_supply, c.servo_supply_v) == (None, None, "none", 5.0)
    assert (p.chemistry, p.cells_parallel, p.burst_c_rating) == ("lipo", 1, None)
    assert (p.cell_resistance_mohm, p.lead_resistance_mohm) == (None, None)
    assert (q.blades, q.mass_g, q.max_rpm, q.family, q.table) == (2, None, None, None, None)
    assert (a.oswald, a.installed_thrust) == (0.8, 1.0)
    assert m.source.kind == "assumed"


@pytest.mark.parametrize(
    ("make", "changes"),
    [
        (motor, {"kv_rpm_per_v": 0}),
        (motor, {"kv_rpm_per_v": -1800}),
        (motor, {"mass_g": -25}),
        (motor, {"mass_g": math.nan}),
        (motor, {"resistance_ohm": 95}),  # milliohms as ohms
        (motor, {"resistance_ohm": -0.1}),
        (motor, {"max_current_a": math.inf}),
        (motor, {"burst_current_a": 9, "max_current_a": 10}),
        (motor, {"cells_min": 3, "cells_max": 2}),
        (motor, {"gear_ratio": 0}),
        (motor, {"gear_efficiency": 1.1}),
        (motor, {"no_load_exponent": 1.0}),
        (motor, {"no_load_exponent": 1.0, "no_load_current_a": 0.5}),
        (motor, {"no_load_current_a": 20, "no_load_voltage_v": 8, "resistance_ohm": 0.5}),
        (motor, {"kv_kind": "printed"}),
        (motor, {"name": " "}),
        (controller, {"part_throttle_loss": 0.5}),
        (controller, {"burst_current_a": 9}),
        (controller, {"servo_supply": "lineal"}),
        (pack, {"capacity_mah": 2.2}),  # ampere-hours as milliampere-hours
        (pack, {"cells_series": 0}),
        (pack, {"cells_series": 2.5}),
        (pack, {"c_rating": -30}),
        (pack, {"burst_c_rating": 20}),
        (propeller, {"diameter_in": 127}),  # millimetres as inches
        (propeller, {"pitch_in": 0}),
        (propeller, {"diameter_in": 4, "pitch_in": 11}),
        (propeller, {"blades": 0}),
        (propeller, {"family": "slim"}),
        (airframe, {"cd0": "clean"}),
        (airframe, {"cd0": 3.5}),
        (airframe, {"wing_span_mm": 110}),  # centimetres as millimetres: the aspect ratio gives it away
        (airframe, {"wing_area_dm2": 1600}),  # square centimetres
        (airframe, {"installed_thrust": 1.2}),
        (airframe, {"bare_mass_g": 0}),
    ],
)
def test_values_no_part_can_have(make: object, changes: dict[str, object]) -> None:
    with pytest.raises(ValueError, match=next(iter(changes)).split("_")[0]):
        make(**changes)


def test_a_part_is_hashable_and_its_table_does_not_count_for_equality() -> None:
    def table(ct: float) -> CoefficientTable:
        return CoefficientTable(rpm=[5000.0], advance_ratio=[0.0, 0.5], ct=[[ct, 0.02]], cp=[[0.05, 0.03]])

    one, other = propeller(table=table(0.1)), propeller(table=table(0.2))
    assert one == other
    assert hash(one) == hash(other)
    with pytest.raises(TypeError, match="table"):
        propeller(table=[[0.1]])


def test_a_part_from_a_mapping_with_a_source_table() -> None:
    numbers = {"name": "m", "kv_rpm_per_v": 1800, "mass_g": 25, "source": {"text": "bench", "kind": "measured"}}
    made, faults = build(Motor, numbers, "m.toml")
    assert faults == []
    assert made.source == Source(text="bench", kind="measured")
    _, faults = build(Motor, numbers | {"source": {"kind": "measurd", "uncertainty": 2}}, "m.toml")
    assert [fault.key for fault in faults] == ["source.text", "source.kind", "source.uncertainty"]


def test_train_mass_counts_every_set() -> None:
    train = PowerTrain(motor=motor(), controller=controller(), pack=pack(), propeller=propeller(mass_g=3), count=2)
    sets = 2 * (25 + 8 + 3) + 40
    # 3 g and 4 g for each ampere of the 0.2 A that they draw: common practice, no published source
    assert train.mass_g == pytest.approx(sets + 3.8)
    assert replace(train, receiver_supply_mass_g=7).mass_g == sets + 7
    assert replace(train, receiver_supply_mass_g=0).mass_g == sets
    assert replace(train, radio_current_a=0).mass_g == sets, "nothing to feed"
    own = replace(train, controller=controller(servo_supply="linear"), receiver_supply_mass_g=7)
    assert own.mass_g == sets, "the controllers bring it"
    # 5-inch two-blade plastic propellers weigh 2 to 4 g: common practice, no published source
    fed = controller(servo_supply="switching")
    unknown = PowerTrain(motor=motor(), controller=fed, pack=pack(), propeller=propeller())
    assert 2 <= unknown.mass_g - (25 + 8 + 40) <= 4
    with pytest.raises(TypeError, match="motor"):
        PowerTrain(motor=pack(), controller=controller(), pack=pack(), propeller=propeller())


def test_aspect_ratio() -> None:
    assert airframe(wing_area_dm2=20, wing_span_mm=1000).aspect_ratio == pytest.approx(100 / 20, rel=1e-12)


def test_drag_wordings_rank_as_anyone_would_rank_them() -> None:
    assert 6 <= len(CD0_WORDS) <= 10
    assert CD0_WORDS["clean glider"] == 0.03
    assert CD0_WORDS["trainer with fixed gear"] == 0.055
    assert CD0_WORDS["floats"] == 0.08
    assert CD0_WORDS["clean racer"] < CD0_WORDS["clean sport model"] < CD0_WORDS["biplane"]
    for words in CD0_WORDS:
        assert airframe(cd0=words).cd0 == words
