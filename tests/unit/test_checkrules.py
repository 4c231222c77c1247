"""The record of a check: its arithmetic closes, and one more record is all that a new check takes."""

import math
from collections.abc import Iterator

import attrs
import numpy as np
import pytest
from support.checks import MOST_PACK, one_more_check, reckoned
from support.random_cases import random_case

from propmatch.brief import Brief
from propmatch.checks.checkrules import CHECKS, TOP, TOP_SPEED, costly, excluding, full_throttle_loads, stages
from propmatch.checks.formula import evaluate, substituted
from propmatch.checks.judged import failing
from propmatch.checks.limits import Design, excludes, run_checks
from propmatch.checks.measures import TrainMeasures
from propmatch.checks.rule import BRIEF, PRACTICE, CheckRule, margins
from propmatch.checks.setting import Setting
from propmatch.checks.states import StatePoint
from propmatch.checks.working import Stated, working
from propmatch.records.parts import Controller, Motor, Pack, Propeller
from propmatch.search.bounds.pruned import search
from propmatch.search.bounds.screen import CURRENTS, FLOWN, SIZES
from propmatch.search.exhaustive import exhaustive
from propmatch.search.ranking import ranking


@pytest.fixture
def one_more() -> Iterator[CheckRule]:
    """A check that no other module knows of."""
    with one_more_check() as rule:
        yield rule


def some(seed: int, lanes: int = 10) -> tuple[Setting, TrainMeasures]:
    """Random trains; every other controller has a linear supply."""
    chosen, shelf = random_case(seed, (4, 3, 4, 5))
    rng = np.random.default_rng(seed)
    measured = TrainMeasures(chosen, *shelf.combine(*(rng.integers(0, n, lanes) for n in shelf.sizes)))
    linear = attrs.evolve(measured.ratings, servo_supply_linear=np.arange(lanes) % 2.0)
    return chosen, TrainMeasures(chosen, measured.lanes, linear)


# ---------------------------------------------------------------- arithmetic


@pytest.mark.parametrize("seed", [1, 4, 7, 11, 23])
def test_every_formula_gives_its_value_from_the_state_judged(seed: int) -> None:
    _, measured = some(seed)
    closed = 0
    for index in range(measured.lanes.size):
        each = [
            (name, rule.working(measured, index), float(measured[name].value[index])) for name, rule in CHECKS.items()
        ]
        each.append(("top_speed", working(measured, index, TOP_SPEED, TOP), float(measured.top.top_speed_m_s[index])))
        for name, how, value in each:
            if name == "flight_time" and value == 0:
                continue  # a flight that ends at once has no mean current
            if math.isfinite(value):
                assert reckoned(how.formula, {x.symbol: x.value for x in how.inputs if x.symbol}) == pytest.approx(
                    value, rel=1e-7, abs=1e-9
                ), name
                closed += 1
    assert closed > 100


def test_an_airspeed_without_an_answer_is_never_the_worst(monkeypatch: pytest.MonkeyPatch) -> None:
    _, measured = some(1)
    rest, fast = (StatePoint(words=words, airspeed=np.zeros(1), point=number)
                  for words, number in (("at rest", 3.0), ("fast", np.nan)))  # fmt: skip
    for points in ([rest, fast], [fast, rest]):
        monkeypatch.setattr(type(measured), "points", lambda *_, points=points: points)
        assert measured.worst_point(CHECKS["motor_power"].state, lambda point: np.array([point]), 0) is rest


@pytest.mark.parametrize("seed", [1, 4])
def test_the_mean_current_of_every_phase_stands_beside_that_of_the_worst(seed: int) -> None:
    chosen, measured = some(seed)
    beside = {x.label: x.value for x in CHECKS["pack_sustained"].working(measured, 1).inputs}
    told = [beside[f"mean pack current, {phase.name}"] for phase in chosen.phases]
    np.testing.assert_array_equal(told, measured.flight.phase_current_a[:, 1])


@pytest.mark.parametrize("name", ["motor_current_flight", "controller_current", "propeller_rpm", "motor_power"])
def test_the_worst_point_is_none_that_another_airspeed_beats(name: str) -> None:
    """The airspeed beside the inputs is that of the value: full throttle there gives it again."""
    _, measured = some(4)
    for index in range(measured.lanes.size):
        value = float(measured[name].value[index])
        if not math.isfinite(value):
            continue
        inputs = CHECKS[name].working(measured, index).inputs
        airspeed = next((x.value for x in inputs if x.label == "airspeed"), 0.0)
        point = measured.full(1.0, np.full(measured.lanes.size, airspeed), ("again", index))
        again = {"propeller_rpm": point.rpm, "motor_power": point.motor_voltage_v * point.motor_current_a}
        assert float(again.get(name, point.motor_current_a)[index]) == pytest.approx(value, rel=1e-9)


def test_every_number_of_a_part_names_a_field_that_parts_have() -> None:
    kinds = {"motor": Motor, "controller": Controller, "pack": Pack, "propeller": Propeller}
    _, measured = some(1)
    workings = [rule.working(measured, 1) for rule in CHECKS.values()]
    stated = {each.source for how in workings for each in how.inputs if isinstance(each.source, Stated)}
    assert len(stated) > 8
    for source in stated:
        assert source.field in {field.name for field in attrs.fields(kinds[source.part])}, source


@pytest.mark.parametrize(
    ("formula", "value"),
    [
        ("I = (V_m - n/K_v)/R", (12.0 - 9000.0 / 1000.0) / 0.1),
        ("sqrt((pi * n)^2 + 4)/2", math.sqrt((math.pi * 9000.0) ** 2 + 4.0) / 2.0),
        ("abs(R - V_m)", 11.9),
        ("-R", -0.1),
        ("P = 0", 0.0),
        ("V_m/(R - R)", math.nan),
        ("sqrt(R - V_m)", math.nan),
    ],
)
def test_formulas_are_reckoned_as_written(formula: str, value: float) -> None:
    numbers = {"V_m": 12.0, "n": 9000.0, "K_v": 1000.0, "R": 0.1}
    assert evaluate(formula, numbers) == pytest.approx(value, nan_ok=True)


@pytest.mark.parametrize("formula", ["a b", "a if a else a", "a.real", "open(a)", "'a'", "a // a", "~a"])
def test_what_is_no_formula_is_refused(formula: str) -> None:
    with pytest.raises(ValueError, match="formula"):
        evaluate(formula, {"a": 1.0})


def test_a_symbol_without_a_number_is_no_answer_but_an_error() -> None:
    with pytest.raises(KeyError):
        evaluate("a + b", {"a": 1.0})


def test_texts_stand_in_the_place_of_symbols_alone() -> None:
    assert substituted("I = (V - V_m)/sqrt(n)", {"V": "12", "V_m": "9", "n": "4"}) == "(12 - 9)/sqrt(4)"


# ---------------------------------------------------------------- margin


def test_margins_of_arrays_and_beside_a_limit_of_zero() -> None:
    value, limit = np.array([8.0, 0.0, 1.0, 5.0, np.nan]), np.array([10.0, 0.0, 0.0, np.inf, 1.0])
    np.testing.assert_array_equal(margins(value, limit, least=False), [0.2, 0.0, -np.inf, np.inf, np.nan])
    np.testing.assert_array_equal(margins(value[:3], limit[:3], least=True), [-0.2, 0.0, np.inf])


# ---------------------------------------------------------------- the list


def test_records_are_named_once_and_say_where_their_limit_comes_from() -> None:
    assert [rule.name for rule in CHECKS.values()] == list(CHECKS)
    for rule in CHECKS.values():
        assert rule.what
        assert rule.limit_from
        assert (rule.usual is None) or rule.basis == PRACTICE


def test_stages_are_all_that_excludes_in_order_and_what_is_costly_comes_late() -> None:
    assert [name for stage in stages() for name in stage] == list(excluding())
    assert set(costly()) == {
        "climb", "hand_launch_height", "takeoff_run", "pack_sustained", "motor_current_phase", "flight_time"
    }  # fmt: skip
    assert {"pack_burst", "motor_power", "propeller_rpm"} < set(full_throttle_loads())
    assert not {"cell_count", "thrust_to_weight", "flight_time"} & set(full_throttle_loads())


def test_a_check_the_bounds_do_not_know_stands_where_its_count_is_right() -> None:
    """The quick search settles sizes and currents before all others, and the flight after them."""
    order = list(excluding())
    own = len(SIZES) + len(CURRENTS)
    assert order[:own] == [*SIZES, *CURRENTS], "put a new check after the currents"
    assert tuple(order[-len(FLOWN) :]) == FLOWN, "put a new check before those of the flight"


# ---------------------------------------------------------------- one more


def brief_and_design(seed: int) -> tuple[Brief, Design]:
    chosen, shelf = random_case(seed, (3, 2, 3, 3))
    return chosen.stated, Design.of(shelf.train(0, 0, 0, 0), chosen.variant)


def test_a_balance_that_is_known_is_judged() -> None:
    verdicts = set()
    for seed in range(60):
        brief, design = brief_and_design(seed)
        if brief.balance is not None:
            check = next(check for check in run_checks(design, brief) if check.name == "balance")
            assert math.isfinite(check.value)
            verdicts.add(check.verdict)
    assert verdicts <= {"ok", "close", "fails"}
    assert len(verdicts) > 1


def test_a_new_record_is_judged_like_the_others(one_more: CheckRule) -> None:
    brief, design = brief_and_design(5)
    checks = {check.name: check for check in run_checks(design, brief)}
    assert list(checks) == list(CHECKS)
    mine = checks[one_more.name]
    share = design.train.pack.mass_g / design.all_up_mass_g
    assert mine.value == pytest.approx(share)
    assert (mine.limit, mine.basis, mine.note) == (MOST_PACK, BRIEF, one_more.what)
    assert excludes(mine) is (share > MOST_PACK)


@pytest.mark.parametrize("seed", range(8))
def test_a_new_record_excludes_in_both_searches_alike(one_more: CheckRule, seed: int) -> None:
    setting, shelf = random_case(seed)
    order = ranking(setting)
    plain, quick = exhaustive(setting, shelf, order, top=50), search(setting, shelf, order, top=50)
    assert quick.left_out == plain.left_out
    assert quick.passing == plain.passing
    np.testing.assert_array_equal(quick.combination, plain.combination)
    if len(plain.combination):
        best = TrainMeasures(setting, *shelf.combine(*plain.combination.T))
        assert np.all(best[one_more.name].value <= MOST_PACK)
        assert not any(failing(best))


def test_a_new_record_leaves_something_out(one_more: CheckRule) -> None:
    """The two tests above see it at work."""
    found = [search(s, shelf, ranking(s), top=1).left_out for s, shelf in map(random_case, range(24))]
    assert any(one_more.name in left_out for left_out in found)
