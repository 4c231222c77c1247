"""Chances, intervals and shares against a plain Monte Carlo, the Guide's worked examples and known sensitivities.

The Monte Carlo is a loop of its own: numpy's random numbers, scipy's brentq, plain floats (``tests/support/drawn.py``);
``benchmarks/sureness.py`` runs it for ten trains with 20,000 draws each. Guide: JCGM 101:2008, Supplement 1 to the
GUM, propagation of distributions using a Monte Carlo method; its inputs and results are values from memory, and those
that follow in closed form are reckoned here as well.
"""

import math

import numpy as np
import pytest
from scipy.stats import norm, sobol_indices
from support.drawn import ANSWERS, DrawnTrain, random_z

import sureness as benchmark
from propmatch.catalogue.catalogue import load_catalogue
from propmatch.checks import chances
from propmatch.checks.chances import Drawn, interval, sensitivity, sureness
from propmatch.checks.setting import ResolvedBrief
from propmatch.records.brief import loads_brief
from propmatch.tolerances.draws import normal_draws
from propmatch.tolerances.numbers import GROUPS, NAMES

# ---------------------------------------------------------------- a Monte Carlo of its own


@pytest.fixture(scope="module")
def setting():
    return ResolvedBrief.of(loads_brief(benchmark.BRIEF)).as_designed


@pytest.fixture(scope="module")
def trains(setting):
    return benchmark.some_trains(setting, load_catalogue(), 3, seed=2)


def test_every_lane_is_the_draw_it_stands_for(setting, trains):
    """The same normal numbers give the same answers: to rounding at rest, to the step in charge in flight."""
    for train in trains:
        sure = sureness(setting, train, draws=32)
        loop = DrawnTrain(setting, train, sure.inputs)
        plain = [loop.answers(dict(zip(NAMES, z, strict=True))) for z in sure.drawn.draws.z[0].tolist()]
        *at_rest, minutes = np.array(plain).T
        *lanes, flown = benchmark.by_lanes(sure)
        assert np.array(at_rest) == pytest.approx(np.array(lanes), rel=1e-9)
        assert minutes == pytest.approx(flown, rel=1e-4)


@pytest.fixture(scope="module")
def drawn_again(setting, trains):
    """Sureness of each train, and its answers drawn by the loop (answers, 1000)."""
    rng = np.random.default_rng(5)
    out = []
    for train in trains:
        sure = sureness(setting, train)
        loop = DrawnTrain(setting, train, sure.inputs)
        out.append((sure, np.array([loop.answers(random_z(rng)) for _ in range(1000)]).T))
    return out


def test_ends_and_chances_are_those_of_random_draws(drawn_again):
    """A tenth of 1,000 normal draws scatters by 0.3/sqrt(1000)/0.175 sd, 2.1 % of the width; a chance by 1.6 points."""
    for sure, truth in drawn_again:
        of_ends, points = benchmark.errors(benchmark.by_lanes(sure), truth)
        assert (of_ends < 4 * 0.021).all(), dict(zip(ANSWERS, of_ends, strict=True))
        assert (np.abs(points) < 4 * 1.6).all(), dict(zip(ANSWERS, points, strict=True))


def test_four_of_five_planted_truths_lie_inside(drawn_again):
    inside = []
    for sure, truth in drawn_again:
        low, high = benchmark.ends(benchmark.by_lanes(sure)).T[:, :, None]
        inside.append((truth >= low) & (truth <= high))
    covered = np.concatenate(inside, axis=1).mean(axis=1)
    # 3,000 truths: 0.7 points
    assert covered == pytest.approx(np.full(len(ANSWERS), 0.8), abs=0.02)


def test_more_draws_come_nearer(setting, trains):
    """Scrambled Sobol points settle faster than random ones, whose error goes with 1/sqrt(N)."""
    truth = benchmark.by_lanes(sureness(setting, trains[0], draws=16384, seed=99))
    off = {
        n: np.mean([benchmark.errors(benchmark.by_lanes(sureness(setting, trains[0], draws=n, seed=s)), truth)[0]
                    for s in range(4)])
        for n in (64, 1024)
    }  # fmt: skip
    assert off[1024] < 0.02
    assert off[1024] < off[64] / 4.0


# ---------------------------------------------------------------- JCGM 101:2008


def test_sum_of_four_normal_numbers(monkeypatch):
    """Clause 9.2.2: X1 + X2 + X3 + X4, each N(0, 1): u = 2.0, 95 % within 3.92; normal, so 80 % within 1.2816 u."""
    y = normal_draws(2**14, 1, 4).sum(axis=1)
    assert np.std(y) == pytest.approx(2.0, abs=0.01)
    found = interval(y)
    assert (found.low, found.high) == pytest.approx((-2 * 1.2816, 2 * 1.2816), abs=0.02)
    monkeypatch.setattr(chances, "INTERVAL", 0.95)
    found = interval(y)
    assert (found.low, found.high) == pytest.approx((-3.92, 3.92), abs=0.04)


def rectangular(z, low, high):
    return low + (high - low) * norm.cdf(z)


def test_sum_of_four_rectangular_numbers(monkeypatch):
    """Clause 9.2.3: of mean 0 and sd 1 each: 95 % within 2 sqrt(3) (2 - (3/5)^(1/4)) = 3.88."""
    y = rectangular(normal_draws(2**14, 2, 4), -math.sqrt(3), math.sqrt(3)).sum(axis=1)
    monkeypatch.setattr(chances, "INTERVAL", 0.95)
    found = interval(y)
    end = 2 * math.sqrt(3) * (2 - 0.6**0.25)
    assert end == pytest.approx(3.88, abs=0.005)
    assert (found.low, found.high) == pytest.approx((-end, end), abs=0.04)


def test_comparison_of_two_masses(monkeypatch):
    """Clause 9.3, calibration of a 100 g weight against a reference in air, mg: 1.2341, u 0.0754, [1.0834, 1.3825]."""
    z = normal_draws(2**15, 3, 5).T
    reference, correction = 100_000.0 + 0.050 * z[0], 1.234 + 0.020 * z[1]
    air, weight, standard = (
        rectangular(each, *ends) for each, ends in zip(z[2:], ((1.10, 1.30), (7000, 9000), (7950, 8050)), strict=True)
    )
    y = (reference + correction) * (1.0 + (air - 1.2) * (1.0 / weight - 1.0 / standard)) - 100_000.0
    assert np.mean(y) == pytest.approx(1.2341, abs=0.0005)
    assert np.std(y) == pytest.approx(0.0754, abs=0.0005)
    monkeypatch.setattr(chances, "INTERVAL", 0.95)
    found = interval(y)
    # the Guide's is the shortest such interval, which lies 0.001 off the one between two like tails
    assert (found.low, found.high) == pytest.approx((1.0834, 1.3825), abs=0.004)


@pytest.mark.parametrize(("x1", "mean", "u"), [(0.0, 50, 50), (0.010, 150, 112), (0.050, 2550, 502)])
def test_comparison_loss(x1, mean, u, monkeypatch):
    """Clause 9.4, X1^2 + X2^2 with u = 0.005 each, 1e-6: by first order u = 0 at X1 = 0, yet 95 % reach 150."""
    z = normal_draws(2**15, 4, 2).T
    y = 1e6 * ((x1 + 0.005 * z[0]) ** 2 + (0.005 * z[1]) ** 2)
    assert mean == pytest.approx(1e6 * (x1**2 + 2 * 0.005**2), rel=1e-3)
    assert np.mean(y) == pytest.approx(mean, rel=0.01)
    assert np.std(y) == pytest.approx(u, rel=0.01)
    if x1 == 0.0:  # exponential of mean 50: its 95 % point is the end of the shortest 95 % interval, 0 to 150
        monkeypatch.setattr(chances, "INTERVAL", 0.90)
        assert interval(y).high == pytest.approx(-50 * math.log(0.05), rel=0.02)
        assert interval(y).high == pytest.approx(150, rel=0.02)


# ---------------------------------------------------------------- what it hangs on


def test_shares_of_a_linear_function_are_exact():
    """y = 1 z1 + 2 z2 + 3 z3: 1/14, 4/14, 9/14 (squares of the coefficients over their sum)."""
    z = normal_draws(1024, 6, 4)
    found = sensitivity(z @ np.array([1.0, 2.0, 3.0, 0.0]), z, ["a", "b", "c", "none"])
    assert list(found) == ["c", "b", "a", "none"]
    assert [found[name] for name in "abc"] == pytest.approx([1 / 14, 4 / 14, 9 / 14], abs=0.005)
    assert found["none"] == pytest.approx(0.0, abs=1e-9)
    together = sensitivity(z @ np.array([1.0, 2.0, 3.0, 0.0]), z, ["a", "a", "c", "none"])
    assert together["a"] == pytest.approx(5 / 14, abs=0.005)


A, B = 7.0, 0.1
PI4 = math.pi**4
VARIANCE = A**2 / 8 + B * PI4 / 5 + B**2 * math.pi**8 / 18 + 0.5
"""Of the Ishigami function."""


@pytest.fixture(scope="module")
def ishigami():
    """sin x1 + 7 sin^2 x2 + 0.1 x3^4 sin x1, x within +-pi (Ishigami, Homma, ISUMA 1990; Saltelli et al. 2008)."""
    x = rectangular(normal_draws(2**14, 7, 3), -math.pi, math.pi)
    return x, np.sin(x[:, 0]) + A * np.sin(x[:, 1]) ** 2 + B * x[:, 2] ** 4 * np.sin(x[:, 0])


def test_ishigami_has_the_share_of_its_straight_line(ishigami):
    """What regression can claim: E[x sin x] = 1, so (1 + b pi^4/5)^2/(pi^2/3)/V = 0.191 of x1; the rest has no line."""
    x, y = ishigami
    assert np.var(y) == pytest.approx(VARIANCE, rel=1e-3)
    found = sensitivity(y, x, ["x1", "x2", "x3"])
    line = (1 + B * PI4 / 5) ** 2 / (math.pi**2 / 3) / VARIANCE
    assert line == pytest.approx(0.191, abs=0.001)
    assert found["x1"] == pytest.approx(line, abs=0.005)
    assert (found["x2"], found["x3"]) == pytest.approx((0.0, 0.0), abs=0.002)
    assert sum(found.values()) < 0.2


def test_ishigami_by_its_effects_has_its_sobol_indices(ishigami):
    """Known: S1 0.3139, S2 0.4424, S13 0.2437 (Saltelli et al., Global Sensitivity Analysis: The Primer, 2008)."""
    x, y = ishigami
    sine = np.sin(x[:, 0])
    effects = np.column_stack([sine, np.sin(x[:, 1]) ** 2, (x[:, 2] ** 4 - PI4 / 5) * sine])
    found = sensitivity(y, effects, ["x1", "x2", "x1 x3"])
    assert [found[name] for name in ("x1", "x2", "x1 x3")] == pytest.approx([0.3139, 0.4424, 0.2437], abs=0.003)


@pytest.mark.parametrize("answer", [1, 2])
def test_shares_are_first_order_indices(setting, trains, answer):
    """By scipy's Sobol indices of the same train; the project's regression on 1,024 draws agrees within 0.04."""
    train = trains[0]

    def values(z):
        drawn = Drawn(setting, [train], z.T)
        full = drawn.measured.full(1.0)
        return np.array((full.thrust_n, drawn.measured["thrust_to_weight"].value, full.motor_current_a)[answer])

    found = sobol_indices(func=values, n=1024, dists=[norm()] * len(NAMES), rng=np.random.default_rng(8))
    first = {}
    for name, index in zip(NAMES, found.first_order, strict=True):
        first[GROUPS[name]] = first.get(GROUPS[name], 0.0) + index
    sure = sureness(setting, train)
    shares = sure.shares(benchmark.by_lanes(sure)[answer])
    assert {name for name, share in shares.items() if share > 0.1} == {n for n, s in first.items() if s > 0.1}
    for name, share in shares.items():
        assert share == pytest.approx(first[name], abs=0.04), name
