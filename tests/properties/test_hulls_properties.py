"""What is proved of propellers from the hulls of their cells holds at every point tried, on tables smooth and rough."""

import numpy as np
import pytest

from propmatch.models.surface import stack_surfaces, surfaces_of
from propmatch.search.bounds.hulls import Hulls, bernstein, least_cp

SEEDS = range(8)
TABLES = 12


def rough(rng):
    """A table whose coefficients fall with J and wander with speed, some of them far from smooth."""
    rpm, j = np.linspace(1500.0, 15000.0, int(rng.integers(2, 9))), np.linspace(0.0, 1.0, int(rng.integers(4, 20)))
    wander = rng.choice([0.0, 0.02, 0.15])
    fall = 1.0 - (j / rng.uniform(0.6, 1.3)) ** rng.uniform(1.0, 3.0)
    ct = rng.uniform(0.08, 0.14) * (fall + wander * rng.normal(size=(rpm.size, j.size)))
    cp = rng.uniform(0.03, 0.06) * (0.25 + fall + wander * rng.normal(size=(rpm.size, j.size)))
    cp[:, 0] = np.abs(cp[:, 0]) + 0.005
    return surfaces_of(rpm, j, ct, cp)


def made(seed):
    """Surfaces, their facts, and readings of them: table, u, J, and CT and CP with their slopes by u and J."""
    rng = np.random.default_rng(seed)
    s = stack_surfaces([rough(rng) for _ in range(TABLES)])
    table = rng.integers(0, TABLES, 20_000)
    u, ratio = np.exp(rng.uniform(np.log(60.0), np.log(2500.0), table.size)), rng.uniform(0.0, 2.2, table.size)
    x, y = s.rpm_scale[table] * u + s.rpm_shift[table], s.j_scale[table] * ratio
    row = np.clip(np.floor(x), 0, s.rows[table] - 1)
    column = np.clip(np.floor(y), 0, s.columns[table] - 1)
    at = (s.first_cell[table] + row * s.columns[table] + column).astype(int)
    found = []
    for cells in (s.ct_cells, s.cp_cells):
        c = cells[at].reshape(-1, 4, 4)
        in_s, by_s = (np.array([order * (x - row) ** max(k - 1, 0) if slope else (x - row) ** k
                                for k, order in enumerate(range(4))]).T for slope in (False, True))  # fmt: skip
        in_t, by_t = (np.array([k * (y - column) ** max(k - 1, 0) if slope else (y - column) ** k
                                for k in range(4)]).T for slope in (False, True))  # fmt: skip

        def read(t, r, c=c):
            return np.einsum("nb,nba,na->n", t, c, r)

        found.append((read(in_t, in_s), read(in_t, by_s) * s.rpm_scale[table], read(by_t, in_s) * s.j_scale[table]))
    return s, Hulls.of(s), table, u, ratio, *found


@pytest.mark.parametrize("degree", [3, 4, 6])
def test_a_polynomial_lies_within_its_coefficients_and_meets_them_at_its_ends(degree):
    # Farin, Curves and Surfaces for CAGD, 5th ed. 2002, ch. 5: convex hull and end points
    rng = np.random.default_rng(degree)
    power = rng.normal(size=(200, 4))
    beta = power @ bernstein(degree, 4).T
    values = power @ (np.linspace(0.0, 1.0, 301) ** np.arange(4)[:, None])
    assert np.all(values.max(axis=1) <= beta.max(axis=1) + 1e-12)
    assert np.all(values.min(axis=1) >= beta.min(axis=1) - 1e-12)
    np.testing.assert_allclose(beta[:, [0, -1]], values[:, [0, -1]], atol=1e-12)


@pytest.mark.parametrize("seed", SEEDS)
def test_torque_and_thrust_rise_with_speed_where_tables_are_regular(seed):
    _, hulls, table, u, ratio, (ct, ct_u, ct_j), (cp, cp_u, cp_j) = made(seed)
    assert hulls.regular.any()
    inside = hulls.regular[table] & (ct > 0)
    assert np.all((2.0 * cp + u * cp_u - ratio * cp_j)[inside] > 0)
    assert np.all((2.0 * ct + u * ct_u - ratio * ct_j)[inside] > 0)
    steep = 2.0 * cp + u * cp_u - ratio * cp_j
    falls = np.bincount(table[(steep < 0) & (ct > 0)], minlength=TABLES) > 0
    assert not hulls.regular[falls].any()


@pytest.mark.parametrize("seed", SEEDS)
def test_no_reading_exceeds_flight_ratio_and_efficiency(seed):
    s, hulls, table, u, ratio, (ct, _, _), (cp, _, _) = made(seed)
    x = s.rpm_scale[table] * u + s.rpm_shift[table]
    row = np.clip(np.floor(x), 0, s.rows[table] - 1)
    rest = np.sum(s.cp_rest[:, (s.first_row[table] + row).astype(int)] * (x - row) ** np.arange(4)[:, None], axis=0)
    assert np.all((cp <= hulls.flight_ratio[table] * rest * (1.0 + 1e-12))[rest > 0])
    both = (ct > 0) & (cp > 0)
    with np.errstate(invalid="ignore"):
        assert np.all((ratio * ct <= hulls.efficiency[table] * cp * (1.0 + 1e-12))[both])
    assert np.isfinite(hulls.flight_ratio).any()


@pytest.mark.parametrize("seed", SEEDS)
def test_thrust_falls_with_airspeed_beyond_the_advance_ratio_said_for_any_drive(seed):
    _, hulls, table, u, ratio, (ct, ct_u, ct_j), (cp, cp_u, cp_j) = made(seed)
    thrust_u, torque_u = 2.0 * ct + u * ct_u - ratio * ct_j, 2.0 * cp + u * cp_u - ratio * cp_j
    beyond = (ratio >= hulls.falling_from[table]) & (ct > 0) & hulls.regular[table]
    assert beyond.sum() > 50
    for drive in (0.0, 0.1, 1.0, 100.0):  # how steeply its torque falls, as a coefficient
        change = ct_j * (torque_u + drive) - thrust_u * cp_j
        assert np.all(change[beyond] <= 1e-9 * (1.0 + drive))
    assert np.any(hulls.falling_from < 0.5)


@pytest.mark.parametrize("seed", SEEDS)
def test_no_torque_between_two_airspeeds_is_less_than_said(seed):
    s, _, table, u, ratio, _, (cp, _, _) = made(seed)
    rng = np.random.default_rng(seed)
    low, high = ratio - rng.uniform(0.0, 0.4, ratio.size), ratio + rng.uniform(0.0, 0.4, ratio.size)
    least = least_cp(s, table, u, np.maximum(low, 0.0), high)
    assert np.all(least <= cp + 1e-12)
    at_one = least_cp(s, table, u, ratio, ratio)
    assert np.all(at_one <= cp + 1e-12)
    assert np.median(cp - at_one) < 2e-3
