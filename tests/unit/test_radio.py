"""What receiver, servos and payload draw, and the supply that feeds them."""

import attrs
import numpy as np
import pytest
from support.small_aircraft import small_brief, small_train
from support.trains import simple_controller

from propmatch.aircraft.balance import MassBuildUp, place_trains, power_train_items
from propmatch.brief import dump_brief, loads_brief, resolve_variants
from propmatch.checks.judged import judged_trains
from propmatch.checks.limits import checks_of
from propmatch.checks.setting import settings
from propmatch.faults import InputFaults
from propmatch.records.estimates import RADIO, completed, supply_assumed
from propmatch.records.fields import declared, replace
from propmatch.records.parts import PowerTrain
from propmatch.records.radio import SERVO_CURRENT_A, Radio

SMALL = '[aircraft]\nname = "x"\nbare_mass_g = 200\n'
NONE = simple_controller(servo_supply="none")
LINEAR = simple_controller(servo_supply="linear")


def radio_a(text: str) -> float:
    return resolve_variants(loads_brief(SMALL + text))[0].radio_current_a


def assumed(text: str) -> dict[str, float]:
    return {each.field: each.value for each in completed(loads_brief(SMALL + text))[1] if each.subject == "radio"}


def test_items_add_up() -> None:
    whole = "[radio]\nreceiver_current_a = 0.08\nservos = 4\nservo_current_a = 0.07\npayload_current_a = 0.3\n"
    assert radio_a(whole) == pytest.approx(0.08 + 4 * 0.07 + 0.3)
    assert assumed(whole) == {}
    # a micro servo 0.05 A as the mean of a flight, a mini one twice, a standard one four times that, a receiver 0.05 A:
    # common practice, no published source
    assert radio_a('[radio]\nservos = 5\nservo_size = "standard"\n') == pytest.approx(0.05 + 5 * 0.2)
    assert radio_a('[radio]\nservo_size = "mini"\nservos = 2\npayload_current_a = 0.1\n') == pytest.approx(0.35)
    assert radio_a("[radio]\nservos = 0\nreceiver_current_a = 0\n") == 0
    assert "servo_current_a" not in assumed("[radio]\nservos = 0\n")
    assert assumed("[radio]\nservos = 2\n") == {"receiver_current_a": 0.05, "servo_current_a": 0.05,
                                                "payload_current_a": 0}  # fmt: skip


def test_nothing_stated_is_the_default_of_a_train() -> None:
    (default,) = (rule.default for rule in declared(PowerTrain) if rule.name == "radio_current_a")
    assert radio_a("") == pytest.approx(default)
    assert RADIO.value == default
    made = [each for each in completed(loads_brief(SMALL))[1] if each.subject == "radio"]
    low, high = ({each.field: getattr(each, end) for each in made} for end in ("low", "high"))
    for ends, whole in ((low, RADIO.low), (high, RADIO.high)):
        assert ends["receiver_current_a"] + 3 * ends["servo_current_a"] == pytest.approx(whole)


def test_a_larger_servo_draws_more_and_every_estimate_lies_in_its_range() -> None:
    values = list(SERVO_CURRENT_A.values())
    assert [low < each < high for each, low, high in values] == [True] * 3
    assert sorted(values) == values


def test_the_sum_and_the_items_exclude_each_other() -> None:
    with pytest.raises(InputFaults) as error:
        loads_brief(SMALL + "radio_current_a = 0.4\n[radio]\nservos = 4\nservo_sise = 'mini'\nservo_current_a = 3\n")
    assert {fault.key: fault.hint for fault in error.value.faults} == {
        "radio.servo_sise": "did you mean servo_size?", "radio.servo_current_a": "",
    }  # fmt: skip
    with pytest.raises(InputFaults) as error:
        loads_brief(SMALL + "radio_current_a = 0.4\n[radio]\nservos = 4\n")
    (fault,) = error.value.faults
    assert (fault.key, "[radio]" in fault.rule) == ("aircraft.radio_current_a", True)


def test_a_variant_may_state_the_sum_alone() -> None:
    text = "[radio]\nservos = 4\n[[variant]]\nname = 'camera'\nradio_current_a = 0.9\n[[variant]]\nname = 'same'\n"
    first, camera, same = resolve_variants(loads_brief(SMALL + text))
    assert (first.radio_current_a, camera.radio_current_a, same.radio_current_a) == pytest.approx((0.25, 0.9, 0.25))
    assert [each.field for each in camera.assumptions if each.subject == "radio"] == []
    brief = loads_brief(SMALL + text)
    assert loads_brief(dump_brief(brief)) == brief
    assert isinstance(brief.radio, Radio)


# ---------------------------------------------------------------- the supply


def checked(train: PowerTrain, *edits: tuple[str, str]) -> tuple[dict[str, object], float]:
    """Checks of a train by name, and its all-up mass as the checks have it."""
    setting = settings(small_brief(*edits))[0]
    flown = setting.train(train.motor, train.controller, train.pack, train.propeller)
    measured, _ = judged_trains(setting, [flown])
    assert measured.ratings.mass_g[0] == pytest.approx(flown.mass_g, rel=1e-12)
    assert setting.all_up_mass_g(flown.mass_g) == pytest.approx(1e3 * measured.frames.mass_kg[0], rel=1e-12)
    return {check.name: check for check in checks_of(measured)[0]}, flown.supply_g


STATED = ("target_mass_g = 460\n", "target_mass_g = 460\nreceiver_supply_mass_g = {}\n")


@pytest.mark.parametrize(
    ("controller", "stated", "mass", "words"),
    [
        (NONE, None, 3.8, "separate supply of 3.8 g, assumed"),
        (NONE, "9.5", 9.5, "separate supply of 9.5 g, named by the brief"),
        (NONE, "0", 0.0, "the brief says that one is aboard"),
        (LINEAR, None, 0.0, "the controller brings it"),
        (LINEAR, "9.5", 0.0, "the controller brings it"),
    ],
)
def test_a_controller_without_supply_gets_one(controller, stated, mass, words) -> None:
    edits = () if stated is None else ((STATED[0], STATED[1].format(stated)),)
    checks, flown_g = checked(small_train(controller=controller), *edits)
    assert flown_g == pytest.approx(mass)
    assert words in checks["receiver_supply"].note
    assert checks["receiver_supply"].value == 5.0
    without, _ = checked(small_train())
    assert checks["all_up_mass"].value - without["all_up_mass"].value == pytest.approx(mass)


def test_a_linear_supply_gives_no_more_than_the_pack_has() -> None:
    one_cell = attrs.evolve(small_train().pack, cells_series=1)
    linear, _ = checked(small_train(controller=LINEAR, pack=one_cell))
    assert linear["receiver_supply"].value == pytest.approx(3.3), "the cutoff of one cell"
    assert linear["receiver_supply"].margin < 0
    assert linear["servo_supply_heat"].value == 0
    two, _ = checked(small_train(controller=LINEAR))
    assert two["receiver_supply"].value == 5


def test_who_draws_nothing_needs_no_supply() -> None:
    edits = (("target_mass_g = 460\n", "target_mass_g = 460\nradio_current_a = 0\n"),)
    checks, flown_g = checked(small_train(controller=NONE), *edits)
    assert flown_g == 0
    assert np.isnan(checks["receiver_supply"].limit)


def test_one_supply_for_all_motors() -> None:
    one = small_train(controller=NONE)
    two = replace(one, count=2)
    assert two.supply_g == one.supply_g
    pair = 2 * (two.motor.mass_g + two.controller.mass_g + two.propeller.mass_g)
    assert two.mass_g == pytest.approx(pair + 3.8 + two.pack.mass_g)


def test_it_is_assumed_once_and_said() -> None:
    train = small_train(controller=NONE)
    filled, made = completed(train)
    (supply,) = supply_assumed(train)
    assert made[-1] == supply
    assert filled.receiver_supply_mass_g == pytest.approx(3.8)
    assert completed(filled) == (filled, ())
    assert supply_assumed(replace(train, receiver_supply_mass_g=5.0)) == ()
    assert supply_assumed(small_train()) == ()
    setting = settings(small_brief())[0]
    assert judged_trains(setting, [train, train])[1].count(supply) == 1


def test_it_balances_beside_the_controller_in_every_reckoning() -> None:
    setting = settings(small_brief())[0]
    train = small_train(controller=NONE)
    items = power_train_items(setting.geometry, train)
    assert [(item.name, item.mass_g, item.position_mm) for item in items][-1] == ("receiver supply", 3.8, 80)
    base = MassBuildUp((*setting.build.lines, *items))
    by_items = base.position_mm
    by_trains = place_trains(setting.geometry, setting.build, [train])
    measured, _ = judged_trains(setting, [train])
    assert by_trains.base_cg_mm[0] == pytest.approx(by_items, rel=1e-12)
    assert measured.packs.base_cg_mm[0] == pytest.approx(by_items, rel=1e-12)
    assert measured.packs.base_mass_g[0] == pytest.approx(base.mass_g, rel=1e-12)
