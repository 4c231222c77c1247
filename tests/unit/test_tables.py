"""Coefficient tables: faults, lookup against scipy and against the functions they were sampled from."""

import copy
import pickle

import attrs
import numpy as np
import pytest
from scipy.interpolate import CubicHermiteSpline, PchipInterpolator
from support.trains import TEST_J, constant_table, rising_rpm_table, smooth_table, table_of

from propmatch.models.lookup import FlightReader, RestReader, Workspace
from propmatch.models.surface import _zero_advance_ratio, monotone_slopes, stack_surfaces, surfaces_of
from propmatch.models.tables import CoefficientTable

RNG = np.random.default_rng(7)


def good() -> dict[str, np.ndarray]:
    return {
        "rpm": np.array([3000.0, 6000.0]),
        "advance_ratio": np.array([0.0, 0.4, 0.8]),
        "ct": np.array([[0.1, 0.06, 0.0], [0.11, 0.07, 0.01]]),
        "cp": np.array([[0.05, 0.04, 0.01], [0.05, 0.04, 0.01]]),
    }


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"rpm": [6000.0, 3000.0]}, "strictly rising"),
        ({"rpm": [0.0, 3000.0]}, "positive"),
        ({"advance_ratio": [0.1, 0.4, 0.8]}, "start at 0"),
        ({"advance_ratio": [0.0, 0.4, 0.4]}, "strictly rising"),
        ({"ct": [[0.1, 0.06, 0.0]]}, r"ct has shape \(1, 3\)"),
        ({"cp": [[0.05, np.nan, 0.01], [0.05, 0.04, 0.01]]}, "cp holds a value that is not finite"),
        ({"cp": [[0.0, 0.04, 0.01], [0.05, 0.04, 0.01]]}, "cp at advance ratio 0 must be positive"),
        ({"advance_ratio": [0.0], "ct": [[0.1], [0.1]], "cp": [[0.1], [0.1]]}, "at least 2"),
        ({"rpm": [[3000.0], [6000.0]]}, "in one row"),
    ],
)
def test_faults_of_a_table(change: dict, says: str) -> None:
    with pytest.raises(ValueError, match=says):
        CoefficientTable(**good() | change)


def test_every_fault_is_named_at_once() -> None:
    with pytest.raises(ValueError, match=r"rpm must be positive.*advance_ratio must start"):
        CoefficientTable(**good() | {"rpm": [-1.0, 3000.0], "advance_ratio": [0.1, 0.4, 0.8]})


def test_a_fault_of_one_array_does_not_hide_those_of_another() -> None:
    wrong = {"rpm": [6000.0, 3000.0], "advance_ratio": [0.1, 0.4, np.inf], "ct": [[0.1, np.nan, 0.0]]}
    with pytest.raises(ValueError) as caught:
        CoefficientTable(**good() | wrong)
    for says in ("advance_ratio holds a value", "ct holds a value", "ct has shape", "rpm must be", "must start at 0"):
        assert says in str(caught.value)


def test_arrays_are_copied_and_read_only() -> None:
    given = good()
    table = CoefficientTable(**given)
    given["ct"][0, 0] = 9.0
    assert table.ct[0, 0] == 0.1
    with pytest.raises(ValueError, match="read-only"):
        table.ct[0, 0] = 9.0


@pytest.mark.parametrize("again", [copy.copy, copy.deepcopy, lambda t: pickle.loads(pickle.dumps(t))])
def test_a_copied_table_reads_the_same(again) -> None:
    table = rising_rpm_table()
    before = table.lookup(5000.0, 0.3)
    after = again(table).lookup(5000.0, 0.3)
    assert (after.ct, after.cp) == (before.ct, before.cp)


@pytest.mark.parametrize(
    "table",
    [
        constant_table(),
        smooth_table(),
        rising_rpm_table(),
        table_of(
            lambda r, j: 0.1 * (1 - j) * (r / 6000) ** 0.1,
            lambda r, j: 0.05 * (1 - j * j) * (r / 6000) ** -0.1,
            rpm=[2000, 3000, 4000, 6000, 9000, 14000],
            advance_ratio=[0, 0.1, 0.2, 0.35, 0.5, 0.8, 1.1],
        ),
    ],
)
def test_points_of_the_table_come_back(table: CoefficientTable) -> None:
    found = table.lookup(table.rpm[:, None], table.advance_ratio)
    assert found.ct == pytest.approx(table.ct, abs=1e-14)
    assert found.cp == pytest.approx(table.cp, abs=1e-14)
    assert not (found.rpm_below | found.rpm_above | found.beyond).any()


def test_along_advance_ratio_it_is_scipys_monotone_cubic() -> None:
    j = np.linspace(0.0, 1.0, 13)
    cp = 0.05 + 0.02 * np.sin(4.0 * j) - 0.05 * j**2
    table = table_of(lambda r, _: 0.1 - 0.1 * _, lambda r, _: np.interp(_, j, cp), advance_ratio=j)
    at = RNG.uniform(0.0, 1.0, 500)
    assert table.lookup(6000.0, at).cp == pytest.approx(PchipInterpolator(j, cp)(at), abs=1e-13)


@pytest.mark.parametrize(("rows", "nodes"), [(4, 30), (400, 4)])
def test_slopes_are_scipys(rows: int, nodes: int) -> None:
    """Of few nodes the ends matter, where a slope is held to three times the secant."""
    rng = np.random.default_rng(nodes)
    x = np.cumsum(rng.uniform(0.1, 2.0, nodes))
    y = np.cumsum(rng.normal(size=(rows, nodes)), axis=1)
    assert monotone_slopes(x, y) == pytest.approx(PchipInterpolator(x, y, axis=1).derivative()(x), abs=1e-12)


def test_two_directions_by_hermite_of_hermite() -> None:
    """Inside the table: the cubic Hermite in rpm of cubic Hermites in J, with monotone slopes in each."""
    table = rising_rpm_table(j_power=0.9)
    rpm, j = table.rpm, table.advance_ratio
    in_j = PchipInterpolator(j, table.cp, axis=1)
    by_rpm = PchipInterpolator(rpm, table.cp, axis=0).derivative()(rpm)
    cross = PchipInterpolator(rpm, in_j.derivative()(j), axis=0).derivative()(rpm)
    slope_in_j = CubicHermiteSpline(j, by_rpm, cross, axis=1)
    for r, x in zip(RNG.uniform(2000, 16000, 60), RNG.uniform(0, 1.2, 60), strict=True):
        expected = CubicHermiteSpline(rpm, in_j(x), slope_in_j(x))(r)
        assert table.lookup(r, x).cp == pytest.approx(float(expected), rel=1e-12, abs=1e-14)


def test_a_smooth_propeller_is_followed_closely() -> None:
    """Between nodes: below 2e-3 of the static value for 8 rpm and 25 advance ratios."""
    table = rising_rpm_table()
    rpm, j = RNG.uniform(2000, 16000, 2000), RNG.uniform(0, 1.2, 2000)
    exact = 0.048 * (1 - (j / 0.85) ** 2) * (rpm / 6000.0) ** -0.07
    assert np.max(np.abs(table.lookup(rpm, j).cp - exact)) < 2e-3 * 0.048


def test_outside_rpm_the_edge_curve_is_held_and_flagged() -> None:
    table = rising_rpm_table()
    found = table.lookup([100.0, 1999.0, 16001.0, 90000.0], 0.25)
    edge = table.lookup([2000.0, 2000.0, 16000.0, 16000.0], 0.25)
    assert found.ct == pytest.approx(edge.ct, abs=1e-15)
    assert found.rpm_below.tolist() == [True, True, False, False]
    assert found.rpm_above.tolist() == [False, False, True, True]


def test_beyond_the_last_advance_ratio_the_last_slope_goes_on() -> None:
    table = smooth_table(j_thrust=0.9, j_power=1.0)
    at = np.array([1.2, 1.5, 2.0, 5.0])
    found = table.lookup(6000.0, at)
    ct_slope = -0.11 / 0.9
    assert found.ct == pytest.approx(table.ct[0, -1] + ct_slope * (at - 1.2), rel=1e-9)
    assert found.beyond.tolist() == [False, True, True, True]
    steps = np.diff(table.lookup(6000.0, np.linspace(1.2, 3.0, 7)).cp)
    assert steps == pytest.approx(steps[0], rel=1e-9)
    assert steps[0] < 0


def test_a_last_slope_that_is_not_negative_is_replaced() -> None:
    """By -max(|C_end|, 0.1 C(0))/J_end."""
    table = table_of(lambda r, j: 0.1 + 0 * j, lambda r, j: 0.05 + 0.01 * j, advance_ratio=[0.0, 0.5, 1.0])
    found = table.lookup(6000.0, 2.0)
    assert found.ct == pytest.approx(0.1 - 0.1, abs=1e-12)
    assert found.cp == pytest.approx(0.06 - 0.06, abs=1e-12)


def test_smooth_across_cells() -> None:
    """Value and slope have no steps at nodes (C1), in either direction."""
    table = rising_rpm_table()
    for rpm, j in ((table.rpm[3], 0.33), (5000.0, table.advance_ratio[7])):
        values = []
        for h in (-2e-6, -1e-6, 0.0, 1e-6, 2e-6):
            here = table.lookup(rpm * (1 + h), j) if rpm == table.rpm[3] else table.lookup(rpm, j * (1 + h))
            values.append(float(here.cp))
        slopes = np.diff(values) / 1e-6
        assert slopes == pytest.approx(slopes[0], rel=1e-3, abs=1e-6)


def test_arguments_that_are_no_speed_give_nan() -> None:
    found = rising_rpm_table().lookup([np.nan, -5.0, 5000.0, 5000.0], [0.1, 0.1, -0.1, np.nan])
    assert np.isnan(found.ct).all()
    assert np.isnan(found.cp).all()


def test_a_stack_reads_each_propeller_as_alone() -> None:
    tables = [smooth_table(), rising_rpm_table(), constant_table(), rising_rpm_table(ct0=0.2)]
    alone = [t.surfaces for t in tables]
    stack = stack_surfaces(alone)
    assert stack.first_cell.tolist() == np.concatenate([[0], np.cumsum([len(s.cp_cells) for s in alone])[:-1]]).tolist()
    for i, one in enumerate(alone):
        part = slice(int(stack.first_cell[i]), int(stack.first_cell[i]) + len(one.cp_cells))
        assert np.array_equal(stack.cp_cells[part], one.cp_cells)
    twice = stack_surfaces([stack, alone[1]])
    assert twice.first_row[-1] == stack.ct_rest.shape[1]


@pytest.mark.parametrize("reader", [RestReader, FlightReader])
@pytest.mark.parametrize("moving", [1, 4, 9])
def test_what_a_reader_reads_does_not_depend_on_where_it_was(reader: type[RestReader], moving: int) -> None:
    surfaces = rising_rpm_table().surfaces
    which = np.zeros(9, dtype=np.intp)
    u = 2.0 * np.pi / 60.0 * np.linspace(2500.0, 4500.0, 9)
    there, j = u.copy(), np.full(9, 0.3)
    there[:moving] += 2.0 * np.pi / 60.0 * 3000.0
    gone, fresh = (reader("ct", surfaces, which, 9, Workspace()) for _ in range(2))
    gone.go(u, j)
    before = gone.value().copy()
    gone.go(there, j)
    fresh.go(there, j)
    assert np.array_equal(gone.value(), fresh.value())
    assert np.all((gone.value() != before)[:moving])


def test_uneven_axes_keep_their_points_where_a_uniform_axis_can_hold_them() -> None:
    rpm = np.array([2000.0, 3000.0, 5000.0, 9000.0])
    surfaces = surfaces_of(rpm, TEST_J, np.ones((4, 25)), np.ones((4, 25)))
    assert surfaces.rows[0] == 8 + 1  # 2000, 3000, ... 9000 and the guards
    odd = surfaces_of(np.array([2000.0, 3001.7, 5003.1, 9000.0]), TEST_J, np.ones((4, 25)), np.ones((4, 25)))
    assert odd.rows[0] - 1 > 8


def test_tables_read_together_are_those_read_alone() -> None:
    shapes = ((1, 2), (1, 5), (3, 2), (4, 7), (4, 7), (4, 7), (2, 3))
    tables = [
        (np.sort(RNG.uniform(1000.0, 9000.0, r)), np.append(0.0, np.sort(RNG.uniform(0.1, 1.0, j - 1))),
         RNG.uniform(-0.1, 0.2, (r, j)), RNG.uniform(0.01, 0.1, (r, j)) - 0.06 * (np.arange(j) > j / 2))
        for r, j in shapes
    ]  # fmt: skip
    one, *others = (CoefficientTable(*table) for table in (tables[0], *tables))
    CoefficientTable.read_together([one, *others, one])
    for table, other in zip(tables, others, strict=True):
        for name, value in attrs.asdict(surfaces_of(*table)).items():
            np.testing.assert_array_equal(getattr(other.surfaces, name), value, err_msg=name)
    held = one.surfaces
    CoefficientTable.read_together([one])
    assert one.surfaces is held


def test_where_torque_ends_is_asked_of_rows_that_give_any_at_rest() -> None:
    j, slopes = np.array([0.0, 0.5, 1.0]), np.array([-0.1, -0.1])
    rows = np.array([[0.0, -0.1, -0.2], [0.1, 0.05, -0.05]])
    # half way between 0.05 and -0.05
    assert _zero_advance_ratio(j, rows, slopes) == pytest.approx([np.nan, 0.75], nan_ok=True)
    assert _zero_advance_ratio(j, rows[:1], slopes[:1]) == pytest.approx([1.0])
    assert _zero_advance_ratio(j, rows[1:] + 0.1, slopes[1:]) == pytest.approx([1.5])  # 0.05 at 0.1 per unit


def test_tables_in_which_torque_falls_with_speed_are_known() -> None:
    falling = table_of(lambda r, j: 0.1 * (1 - j), lambda r, j: 0.02 + 0.5 * j**3)
    assert falling.surfaces.torque_falls[0]
    assert not rising_rpm_table().surfaces.torque_falls[0]
