"""What to measure next, against Bayes' rule by weights on many draws, scipy's normal distributions and closed forms.

Weights: numpy's own draws of the truth, the likelihood of one reading over 4,096 draws of the priors. Ensemble: the
conjugate normal posterior of one number (mean and variance weighted by precision), and planted truths.
"""

import math

import attrs
import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.stats import multivariate_normal, norm, spearmanr
from support.small_aircraft import small_brief, small_train

from propmatch.bench.next import (
    MEASUREMENTS,
    HowSure,
    Reading,
    _wrong,
    changed,
    read_readings,
    uncertain_check,
    updated,
    what_to_measure,
)
from propmatch.checks.chances import Drawn, Sureness, sureness
from propmatch.checks.judged import judged_trains
from propmatch.checks.setting import ResolvedBrief
from propmatch.faults import InputFaults
from propmatch.tolerances.draws import normal_draws
from propmatch.tolerances.numbers import NAMES

CHECK = "thrust_to_weight"
UNITS = {name: each.unit for name, each in MEASUREMENTS.items()}


def subject(*edits):
    setting = ResolvedBrief.of(small_brief(*edits)).as_designed
    return sureness(setting, small_train())


@pytest.fixture(scope="module")
def sure():
    return subject(("min_thrust_to_weight = 0.5", "min_thrust_to_weight = 1.1"))


@pytest.fixture(scope="module")
def found(sure):
    return what_to_measure(sure, CHECK)


def redrawn(sure, raw):
    return Sureness(Drawn(sure.drawn.setting, sure.drawn.trains, raw)).measured


# ---------------------------------------------------------------- what each is worth


def test_shares_left_agree_with_bayes_rule_over_simulated_readings(sure, found):
    rng = np.random.default_rng(3)
    wide = redrawn(sure, normal_draws(4096, 77))
    truths = redrawn(sure, rng.standard_normal((100, len(NAMES))))
    y = np.log(wide[CHECK].value)
    foretold, simulated = [], []
    for row in found.rows:
        sd = row.measurement.sd_ln(sure.measured, row.reading)
        h, true = (np.log(row.measurement.value(each)) for each in (wide, truths))
        left = []
        for seen in true[np.isfinite(true)] + sd * rng.standard_normal(int(np.isfinite(true).sum())):
            weight = np.nan_to_num(norm.pdf(seen, h, sd))
            left.append(np.average((y - np.average(y, weights=weight)) ** 2, weights=weight))
        foretold.append(row.remaining_sd)
        simulated.append(math.sqrt(np.mean(left) / np.var(y)))
    assert np.abs(np.subtract(foretold, simulated)).max() < 0.03
    assert spearmanr(np.round(foretold, 2), np.round(simulated, 2)).statistic > 0.95


@pytest.mark.parametrize("chance", [0.5, 0.62, 0.9, 0.999])
@pytest.mark.parametrize("left", [0.9, 0.25, 0.02])
def test_the_wrong_verdicts_left_by_the_bivariate_normal_distribution(chance, left):
    """Truth t and its estimate m are normal with correlation sqrt(1 - v); wrong where their signs differ."""
    mean, rho = norm.ppf(chance), math.sqrt(1 - left)
    # t = mean + a, m = mean + rho b, a and b standard normal: they cross 0 at -mean and -mean/rho
    both = multivariate_normal([0, 0], [[1, rho], [rho, 1]]).cdf([-mean, -mean / rho])
    wanted = norm.cdf(-mean) + norm.cdf(-mean / rho) - 2 * both
    assert _wrong(chance, left, 1 << 20) == pytest.approx(wanted, rel=2e-3, abs=2e-6)


def test_a_perfect_measurement_leaves_no_wrong_verdict_and_a_useless_one_all():
    assert _wrong(0.7, 0.0, 1024) == 0.0
    assert _wrong(0.7, 1.0, 1024) == pytest.approx(0.3, abs=1e-9)


def test_rows_are_sorted_and_two_leave_less_than_one(found):
    shares = [row.remaining_sd for row in found.rows]
    assert shares == sorted(shares)
    assert all(0 <= share <= 1 for share in shares)
    assert found.best_two_remaining_sd <= shares[0]
    assert found.best_two_wrong_verdict <= found.rows[0].wrong_verdict <= found.wrong_verdict
    assert found.rows[0].measurement.name == "scale"


def test_expected_readings_hold_four_fifths_of_the_readings(sure, found):
    rng = np.random.default_rng(5)
    fresh = redrawn(sure, rng.standard_normal((2000, len(NAMES))))
    for row in found.rows:
        sd = row.measurement.sd_ln(sure.measured, row.reading)
        seen = row.measurement.value(fresh) * np.exp(sd * rng.standard_normal(2000))
        inside = np.mean((seen >= row.reading_low) & (seen <= row.reading_high))
        assert inside == pytest.approx(0.8, abs=0.04), row.measurement.name


def test_the_least_certain_check_is_taken_where_none_is_named(sure):
    assert what_to_measure(sure).judged.check == uncertain_check(sure)
    chances = sure.chance_by_check
    assert 0 < chances[uncertain_check(sure)] < 1


def test_no_check_is_uncertain_where_nothing_is(sure):
    still = Sureness(Drawn(sure.drawn.setting, sure.drawn.trains, np.zeros((64, len(NAMES)))))
    found = what_to_measure(still)
    assert found.judged is None
    assert found.rows == ()
    assert what_to_measure(still, CHECK).rows[0].remaining_sd == 1.0


@pytest.mark.parametrize(("check", "rule"), [("nonsense", "is no check"), ("propeller_mach", "is no check")])
def test_a_check_that_is_none(sure, check, rule):
    with pytest.raises(InputFaults, match=rule):
        what_to_measure(sure, check)


# ---------------------------------------------------------------- what instruments show


def test_a_bare_motor_by_brentq(sure):
    """E - R_b I - K w - (R + R_c + b w) I = 0 with I = I0(w), the no-load current at the speed that follows."""
    m = sure.measured
    lanes, shown = m.lanes, MEASUREMENTS["bare"].value(m)
    for at in (0, 5, 40):
        k, ohm = lanes.k[at], lanes.resistance_ohm[at] + lanes.controller_ohm[at] + lanes.pack_ohm(np.ones(1024))[at]
        volts = lanes.open_circuit_v(np.ones(1024))[at]

        def idle(w, at=at):
            return lanes.no_load_a[at] * (w / lanes.reference_rad_s[at]) ** lanes.exponent[at]

        w = brentq(lambda w: volts - k * w - (ohm + lanes.slope_ohm_s[at] * w) * idle(w), 1.0, 2 * volts / k)  # noqa: B023
        assert shown[at] == pytest.approx(idle(w), rel=1e-3)


def test_what_a_drill_a_meter_and_a_scale_show(sure):
    m = sure.measured
    assert MEASUREMENTS["drill"].value(m) == pytest.approx(60 / (2 * math.pi) / m.lanes.k)
    assert MEASUREMENTS["winding"].value(m) == pytest.approx(1000 * m.lanes.resistance_ohm)
    assert MEASUREMENTS["weigh"].value(m) == pytest.approx(1000 * m.frames.mass_kg)


def test_the_sink_of_a_glide_is_drag_times_speed_over_weight(sure):
    """Least power: CD = 4 CD0 (J. D. Anderson, Introduction to Flight, ch. 6), no slower than 1.2 stall."""
    m = sure.measured
    f, rho = m.frames, np.asarray(m.setting.air.density_kg_m3)
    lift = np.minimum(np.sqrt(3 * f.cd0 / f.k), f.cl_max / 1.44)
    speed = np.sqrt(2 * f.weight_n / (rho * f.area_m2 * lift))
    bare = speed * (f.cd0 + f.k * lift**2) / lift
    sink = MEASUREMENTS["glide"].value(m)
    assert np.all(sink > bare)
    assert np.median(sink / bare) < 2


# ---------------------------------------------------------------- a reading that was taken


def test_the_ensemble_is_the_conjugate_posterior_where_all_is_straight(sure):
    """All-up mass: prior N(m, s^2) from the draws, reading N(y, e^2): precisions add up."""
    mass = np.log(1000 * sure.measured.frames.mass_kg)
    mean, spread, error = mass.mean(), mass.std(), 0.02
    seen = math.exp(mean + 1.5 * spread)
    after, doubts = updated(sure, [Reading(name="weigh", value=seen, sd=error)])
    left = np.log(1000 * after.measured.frames.mass_kg)
    weight = spread**2 / (spread**2 + error**2)
    assert left.mean() == pytest.approx(mean + weight * 1.5 * spread, abs=0.1 * spread)
    assert left.std() == pytest.approx(math.sqrt(1 - weight) * spread, rel=0.08)
    assert doubts == ()


def test_planted_truths_lie_in_the_new_intervals(sure):
    rng = np.random.default_rng(11)
    truths = redrawn(sure, rng.standard_normal((60, len(NAMES))))
    scale = MEASUREMENTS["scale"]
    sd, held = scale.sd_ln(sure.measured, float(np.median(scale.value(sure.measured)))), []
    for at, true in enumerate(scale.value(truths)):
        after, _ = updated(
            sure, [Reading(name="scale", value=float(true * np.exp(sd * rng.standard_normal())))], seed=at
        )
        ends = after.value(CHECK)
        held.append(ends.low <= truths[CHECK].value[at] <= ends.high)
    assert 0.68 <= np.mean(held) <= 0.93


def test_the_middle_is_what_is_stated_until_readings_move_it(sure):
    """A second path: the design judged with its numbers as stated; then inside the range of the moved draws."""
    setting, train = sure.drawn.setting, small_train()
    stated = judged_trains(setting, [train])[0]
    for name in ("thrust_to_weight", "controller_current", "flight_time"):
        assert HowSure.of(sure, name).value == pytest.approx(float(stated[name].value[0]), rel=1e-9)
    reading = read_readings(["wattmeter=6.5"], UNITS)
    after, _ = updated(sure, reading)
    for before, now in changed(sure, after):
        assert now.value_low <= now.value <= now.value_high, before.check
        assert now.value == pytest.approx(np.nanmedian(after.measured[now.check].value), rel=0.05), before.check


def test_a_reading_narrows_and_moves_what_it_bears_on(sure):
    scale = MEASUREMENTS["scale"]
    low = float(np.quantile(scale.value(sure.measured), 0.2))
    after, _ = updated(sure, [Reading(name="scale", value=low)])
    pairs = {before.check: (before, then) for before, then in changed(sure, after)}
    before, then = pairs[CHECK]
    assert then.value_high - then.value_low < 0.4 * (before.value_high - before.value_low)
    assert then.value < before.value
    assert then.chance < before.chance
    again = what_to_measure(after, CHECK)
    assert again.rows[0].measurement.name != "scale"


def test_two_readings_say_more_than_one(sure):
    middle = {n: float(np.median(MEASUREMENTS[n].value(sure.measured))) for n in ("scale", "weigh")}
    one, _ = updated(sure, [Reading(name="scale", value=middle["scale"])])
    both, _ = updated(sure, [Reading(name=n, value=v) for n, v in middle.items()])

    def wide(x):
        ends = x.value(CHECK)
        return ends.high - ends.low

    assert wide(both) < wide(one) < wide(sure)


def test_a_reading_far_from_all_that_was_expected_is_doubted_and_then_refused(sure):
    amps = np.log(MEASUREMENTS["wattmeter"].value(sure.measured))
    far, farther = (math.exp(amps.mean() + z * amps.std()) for z in (4.0, 9.0))
    _, doubts = updated(sure, [Reading(name="wattmeter", value=far)])
    assert [each.kind for each in doubts] == ["warning"]
    with pytest.raises(InputFaults, match="mA was expected"):
        updated(sure, read_readings([f"wattmeter={1000 * farther}mA"], UNITS))


def test_a_measurement_that_cannot_be_made_is_named():
    """With a tenth of the thrust needed there is no level flight to time."""
    train = small_train()
    weak = attrs.evolve(train, propeller=attrs.evolve(train.propeller, table=train.propeller.table.times(ct=0.05)))
    sure = sureness(ResolvedBrief.of(small_brief()).as_designed, weak)
    found = what_to_measure(sure, CHECK)
    assert "laps" in [each.name for each in found.impossible]
    with pytest.raises(InputFaults, match="has no answer"):
        updated(sure, [Reading(name="laps", value=15.0)])


# ---------------------------------------------------------------- typed readings


def test_readings_are_read_in_any_unit_of_their_quantity():
    found = read_readings(["wattmeter=9100 mA", "scale=210gf", "laps = 54 km/h 5%", "drill=1480"], UNITS)
    values = {each.name: each.value for each in found}
    assert values == pytest.approx({"wattmeter": 9.1, "scale": 0.210 * 9.80665, "laps": 15.0, "drill": 1480.0})
    assert [each.sd for each in found] == [None, None, 0.05, None]


@pytest.mark.parametrize(
    ("text", "rule"),
    [
        ("wattmeter", "must be NAME=NUMBER"), ("watmeter=9", "is no measurement"), ("wattmeter=9..1", "is no number"),
        ("wattmeter=-2", "above 0"), ("wattmeter=0", "above 0"), ("wattmeter=9V", "must be in A"),
        ("wattmeter=9 0%", "error must be"), ("wattmeter=9 200%", "error must be"), ("wattmeter=nan", "NAME=NUMBER"),
        ("wattmeter=1e999", "above 0"),
    ],
)  # fmt: skip
def test_each_bad_reading_has_its_own_fault(text, rule):
    with pytest.raises(InputFaults, match=rule) as error:
        read_readings([text, "scale=1", "scale=2"], UNITS)
    assert len(error.value.faults) == 2
    assert "named twice" in str(error.value)
