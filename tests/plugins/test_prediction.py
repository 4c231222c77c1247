"""The prediction plugin: solver, kinds of knowledge, remarks, faults, hook."""

import dataclasses
import math

import numpy as np
import pytest

from propmatch.cache import VARIABLE
from propmatch.catalogue.catalogue import load_catalogue
from propmatch.catalogue.partsets import table_of
from propmatch.faults import InputFaults
from propmatch.models.tables import CoefficientTable
from propmatch.records.blades import family_chances_after
from propmatch.records.parts import Motor, Propeller, Source
from propmatch.units import INCH_M
from propmatch_plugins import prediction
from propmatch_plugins.prediction import Anchor, Geometry, Sibling, describe, predict
from propmatch_plugins.prediction.arguments import checked, default_rpm
from propmatch_plugins.prediction.bemt import SectionPolar, blade_stations, solve_blade
from propmatch_plugins.prediction.families import FAMILIES, Label, family_chances
from propmatch_plugins.prediction.knowledge import QUANTITIES, bundled_knowledge, curve_spread
from propmatch_plugins.prediction.lines import known_lines
from propmatch_plugins.prediction.predicted import predict_from
from propmatch_plugins.prediction.regression import regression_curves


def messages(error):
    return [str(fault) for fault in error.value.faults]


# ------------------------------------------------------------------ solver


def ideal_blade(j, *, drag=0.0, blades=40, chord=0.05):
    """Many slender blades with next to no drag: momentum theory plus rotation is all that is left."""
    radius, weight = blade_stations(40)
    angle = np.arctan(0.7 / (math.pi * radius))
    polar = SectionPolar(2 * math.pi, math.radians(-3), 1.5, max(drag, 1e-9), 0.0, 0.0, 0.0)
    return solve_blade(
        polar,
        radius=radius,
        weight=weight,
        chord=np.full_like(radius, chord),
        angle_rad=angle,
        blades=blades,
        advance_ratio=np.atleast_1d(j)[:, None],
        disk_reynolds=np.full((np.size(j), 1), 4e5),
    )


def test_blades_without_drag_come_close_to_the_actuator_disk_and_never_beat_it():
    """H. Glauert, 1926, ch. XV: CP_ideal = CT (J + sqrt(J^2 + 8 CT/pi))/2; swirl and uneven load cost some percent."""
    j = np.array([0.0, 0.2, 0.4, 0.6])
    curves = ideal_blade(j)
    ideal = curves.ct * (j + np.sqrt(j**2 + 8 * curves.ct / math.pi)) / 2
    assert np.all(ideal / curves.cp < 1.0)
    assert np.all(ideal / curves.cp > 0.80)


def test_thrust_agrees_with_the_momentum_of_each_annulus():
    """Independent path: axial and swirl momentum solved by scipy's brentq in the induced velocities, not in the angle.

    So many slender blades that the tip factor is 1 inside 93 % of the radius.
    """
    from scipy.optimize import brentq

    radius, weight = blade_stations(12)
    polar = SectionPolar(5.5, math.radians(-3), 5.0, 0.02, 0.0, 0.0, 0.0)
    chord, blades, j = 0.0015, 200, 0.3
    angle = np.arctan(0.6 / (math.pi * radius))
    whole = solve_blade(
        polar,
        radius=radius,
        weight=weight,
        chord=np.full_like(radius, chord),
        angle_rad=angle,
        blades=blades,
        advance_ratio=np.array([[j]]),
        disk_reynolds=np.array([[1e12]]),
    )
    total = 0.0
    for x, w, beta in zip(radius, weight, angle, strict=True):
        if x > 0.93:  # the tip factor matters there
            continue
        v, s = j / (math.pi * x), blades * chord / (2 * math.pi * x)

        def forces(axial, swirl, v=v, beta=beta, x=x):
            phi = math.atan2(v + axial, 1 - swirl)
            speed = math.hypot(v + axial, 1 - swirl)
            linear = 5.5 * (beta - phi + math.radians(3))
            limit = 5.0 * 6.0**0.08 * (1 + 0.84 * (1 - x) ** 2)
            lift = linear / (1 + (linear / limit) ** 4) ** 0.25
            return speed**2 * (lift * math.cos(phi) - 0.02 * math.sin(phi)), speed**2 * (
                lift * math.sin(phi) + 0.02 * math.cos(phi)
            )

        def swirl_of(axial, v=v, s=s, forces=forces):
            return brentq(lambda a: 4 * (v + axial) * a - s * forces(axial, a)[1], -0.5, 0.9)

        def balance(axial, v=v, s=s, forces=forces, swirl_of=swirl_of):
            return 4 * (v + axial) * axial - s * forces(axial, swirl_of(axial))[0]

        axial = brentq(balance, 1e-6, 1.0)
        total += 0.25 * math.pi**3 * x**3 * w * s * forces(axial, swirl_of(axial))[0]
    inner = radius <= 0.93
    part = solve_blade(
        polar,
        radius=radius,
        weight=np.where(inner, weight, 0.0),
        chord=np.full_like(radius, chord),
        angle_rad=angle,
        blades=blades,
        advance_ratio=np.array([[j]]),
        disk_reynolds=np.array([[1e12]]),
    )
    assert float(part.ct[0]) == pytest.approx(total, rel=2e-3)
    assert float(whole.ct[0]) > float(part.ct[0])
    assert whole.unconverged == 0


def test_the_solution_is_smooth_through_zero_speed():
    """No special case at V = 0: CT and CP at J = 1e-6 equal those at rest."""
    curves = ideal_blade(np.array([0.0, 1e-6]), drag=0.02, blades=2, chord=0.15)
    assert curves.ct[1] == pytest.approx(curves.ct[0], rel=1e-4)
    assert curves.cp[1] == pytest.approx(curves.cp[0], rel=1e-4)


# ------------------------------------------------------------------ momentum limit


def test_ideal_efficiency_is_never_exceeded():
    """eta_ideal = 2/(1 + sqrt(1 + Tc)), Tc = 8 CT/(pi J^2); static figure of merit CT^1.5/(CP sqrt(pi/2)) below 1."""
    for family in FAMILIES:
        for ratio in (0.3, 0.6, 0.9, 1.2):
            for blades in (2, 6):
                answer = predict(9, 9 * ratio, blades=blades, family=family)
                table = answer.table
                j, ct, cp = table.advance_ratio[1:], table.ct[:, 1:], table.cp[:, 1:]
                thrust = ct > 0
                eta = np.where(thrust, j * ct / cp, 0.0)
                assert np.all(cp[thrust] > 0)
                assert np.all(eta <= 2 / (1 + np.sqrt(1 + 8 * np.maximum(ct, 0) / (math.pi * j**2))))
                merit = table.ct[:, 0] ** 1.5 / (table.cp[:, 0] * math.sqrt(math.pi / 2))
                assert np.all(merit < 1)


def test_measured_efficiency_formula_from_the_check_values():
    """CT 0.0953, CP 0.1025 at J 0.7963 give 0.74036 (Sinnige et al. 2018, quoted in an open CFD test-case note)."""
    eta = 0.7963 * 0.0953 / 0.1025
    assert eta == pytest.approx(0.74036, abs=1e-4)
    from propmatch_plugins.prediction.curves import hold_to_momentum

    cp, held = hold_to_momentum(np.array([0.7963]), np.array([[0.0953]]), np.array([[0.1025]]))
    assert held == 0
    assert cp[0, 0] == 0.1025


def test_power_below_the_ideal_is_raised_above_it():
    """Actuator disk of 5 N, 0.2286 m, 12 m/s: eta 0.78644 (Glauert, hand calculation); asking for 0.9 must fail."""
    from propmatch_plugins.prediction.curves import hold_to_momentum

    n, d = 100.0, 0.2286
    j, ct = 12 / (n * d), 5 / (1.225 * n**2 * d**4)
    cp, held = hold_to_momentum(np.array([j]), np.array([[ct]]), np.array([[j * ct / 0.9]]))
    assert j * ct / cp[0, 0] < 0.78644
    assert held > 0


# ------------------------------------------------------------------ knowledge


def test_default_speeds_rise_to_tip_mach_0_7():
    rpm = default_rpm(9)
    assert rpm.size == 8
    assert rpm[-1] * math.pi / 60 * 9 * INCH_M / 340.294 == pytest.approx(0.7, abs=1e-3)
    assert 1000 < rpm[0] < 2000


def test_a_label_gives_a_table_past_zero_thrust_with_its_source():
    answer = predict(7, 4, family="thin")
    assert answer.tier == "label"
    assert np.all(answer.table.ct[:, 0] > 0)
    assert np.all(answer.table.ct[:, -1] < 0)
    assert np.all(answer.table.cp[:, -1] < 0)
    assert answer.source.kind == "predicted"
    assert "80 %" in answer.source.text
    assert set(answer.intervals) == set(QUANTITIES)
    assert all(-1 < low < 0 < high for low, high in answer.intervals.values())
    assert answer.unconverged == 0


def test_an_unknown_family_is_wider_and_says_so():
    known, unknown = predict(8, 5, family="thick"), predict(8, 5)
    assert unknown.intervals["ct0"][1] > known.intervals["ct0"][1]
    assert [a.field for a in unknown.assumptions] == ["family"]


def test_geometry_narrows_the_interval_and_follows_the_blade():
    r = np.linspace(0.2, 1.0, 9)
    chord = np.interp(r, [0.2, 0.5, 1.0], [0.14, 0.17, 0.05])
    beta = np.degrees(np.arctan(0.65 / (math.pi * r)))
    label = predict(9, 6, family="thin")
    shape = predict(9, 6, family="thin", geometry=Geometry(r, chord, beta))
    wide = predict(9, 6, family="thin", geometry=Geometry(r, 1.3 * chord, beta))
    steep = predict(9, 6, family="thin", geometry=Geometry(r, chord, beta + 3))
    two = predict(9, 6, family="thin", geometry=Geometry.at_75(0.12, 15.4))
    assert (shape.tier, two.tier) == ("geometry", "chord and angle")
    assert shape.intervals["ct0"][1] < two.intervals["ct0"][1] < label.intervals["ct0"][1]
    assert np.all(wide.ct0 > shape.ct0)
    assert np.all(steep.cp0 > shape.cp0)
    assert np.all(steep.zero_thrust_j > shape.zero_thrust_j)


def line_of_propellers(thrust, power):
    """Invented measured propellers: the predicted table of a label times constant factors."""
    out = []
    for diameter, pitch in ((8, 4), (8, 6), (9, 5), (10, 6)):
        t = predict(diameter, pitch, family="thick").table
        table = CoefficientTable(rpm=t.rpm, advance_ratio=t.advance_ratio, ct=t.ct * thrust, cp=t.cp * power)
        out.append(Sibling(diameter, pitch, 2, table))
    return out


def test_siblings_teach_their_line():
    label = predict(9, 6, family="thick")
    line = line_of_propellers(1.2, 1.3)
    taught = predict(9, 6, family="thick", siblings=line)
    assert taught.tier == "siblings"
    assert np.allclose(taught.ct0 / label.ct0, 1.2, rtol=0.04)
    assert np.allclose(taught.cp0 / label.cp0, 1.3, rtol=0.05)
    assert taught.intervals["cp0"][1] < 0.6 * label.intervals["cp0"][1]
    one = predict(9, 6, family="thick", siblings=line[:1])
    assert taught.intervals["ct0"][1] < one.intervals["ct0"][1] < label.intervals["ct0"][1]
    assert np.all((one.ct0 / label.ct0 > 1.05) & (one.ct0 / label.ct0 < 1.2))


def test_a_propeller_part_is_a_sibling_too():
    sibling = line_of_propellers(1.1, 1.1)[0]
    part = Propeller(name="invented", diameter_in=8, pitch_in=4, table=sibling.table)
    assert np.array_equal(
        predict(9, 6, family="thick", siblings=[part]).ct0, predict(9, 6, family="thick", siblings=[sibling]).ct0
    )


def power(answer, factor, rpm=5000.0):
    at = answer.table.lookup(rpm, 0.0)
    return float(at.cp) * factor * 1.225 * (rpm / 60) ** 3 * (answer.diameter_in * INCH_M) ** 5


def test_a_bench_point_pulls_power_and_some_of_the_thrust():
    label = predict(9, 6, family="thin")
    anchored = predict(9, 6, family="thin", anchors=[Anchor(rpm=5000, shaft_power_w=power(label, 1.15))])
    assert anchored.tier == "label + static point"
    assert np.allclose(anchored.cp0 / label.cp0, 1.15, rtol=0.02)
    assert np.all((anchored.ct0 / label.ct0 > 1.03) & (anchored.ct0 / label.ct0 < 1.15))
    assert anchored.intervals["cp0"][1] < 0.5 * label.intervals["cp0"][1]
    assert not [remark for remark in anchored.remarks if "check diameter" in remark]


def test_volts_and_amps_through_a_known_motor_are_the_same_point():
    """P = (V - R I)(I - I0): 11.1 V, 10 A, 0.1 ohm, 0.5 A leave 10.1 V x 9.5 A = 95.95 W (Drela 2007, first order)."""
    motor = Motor(name="invented", kv_rpm_per_v=1000, mass_g=60, resistance_ohm=0.1, no_load_current_a=0.5)
    electric = predict(9, 6, family="thin", anchors=[Anchor(rpm=8000, volts=11.1, amps=10, motor=motor)])
    shaft = predict(9, 6, family="thin", anchors=[Anchor(rpm=8000, shaft_power_w=95.95)])
    assert np.allclose(electric.cp0, shaft.cp0, rtol=1e-12)
    unknown = Motor(name="invented", kv_rpm_per_v=1000, mass_g=60)
    assumed = predict(9, 6, family="thin", anchors=[Anchor(rpm=8000, volts=11.1, amps=10, motor=unknown)])
    assert {a.field for a in assumed.assumptions} == {"resistance_ohm", "no_load_current_a"}


def test_a_contradicting_point_is_used_and_said():
    label = predict(9, 6, family="thin")
    answer = predict(9, 6, family="thin", anchors=[Anchor(rpm=5000, shaft_power_w=power(label, 2.0))])
    assert any("more than its 80 % interval" in remark for remark in answer.remarks)
    assert np.all(answer.cp0 > 1.6 * label.cp0)


def test_a_point_far_off_the_label_narrows_nothing():
    """Twice the power is 4 standard deviations; 1.2 times is within them."""
    label = predict(9, 6, family="thin")
    near, far = (
        predict(9, 6, family="thin", anchors=[Anchor(rpm=5000, shaft_power_w=power(label, times))])
        for times in (1.2, 2.0)
    )
    assert near.intervals["cp0"][1] < 0.7 * label.intervals["cp0"][1]
    assert any("too far off" in remark for remark in far.remarks)
    middle = label.table.rpm.size // 2
    assert np.all(far.widths[:, :9] >= label.widths[:, :9])
    assert far.cp0[middle] * (1 + far.intervals["cp0"][0]) == pytest.approx(label.cp0[middle], rel=0.02)


@pytest.mark.parametrize(("size", "family"), [((18, 30), None), ((10, 10), "thin"), ((9, 6), "thick")])
def test_no_interval_of_efficiency_passes_an_ideal_disk(size, family):
    """J CT/CP of an ideal disk, 2/(1 + sqrt(1 + 8 CT/(pi J^2))) (Glauert 1926, ch. XV)."""
    answer = predict(*size, family=family)
    rpm, j = answer.table.rpm, answer.table.advance_ratio
    for k in range(rpm.size):
        ct, cp = answer.table.ct[k], answer.table.cp[k]
        best = 1 + np.argmax(j[1:] * ct[1:] / cp[1:])
        ideal = 2 / (1 + math.sqrt(1 + 8 * ct[best] / (math.pi * j[best] ** 2)))
        assert answer.peak_efficiency[k] * (1 + answer.interval("peak_efficiency", rpm[k])[1]) <= ideal * (1 + 1e-6)
    high = answer.intervals["peak_efficiency"][1]
    assert high == pytest.approx(answer.interval("peak_efficiency", rpm[rpm.size // 2])[1])


def test_intervals_reach_a_regression_that_disagrees():
    answer = predict(18, 30)
    middle = answer.table.rpm.size // 2
    other = regression_curves(18, 30, rpm=answer.table.rpm[[middle]], advance_ratio=[0.0])
    assert any("widened to reach" in remark for remark in answer.remarks)
    for key, own, theirs in (
        ("ct0", answer.ct0, other.ct0),
        ("zero_thrust_j", answer.zero_thrust_j, other.zero_thrust_j),
    ):
        low, high = answer.intervals[key]
        assert low - 1e-9 <= theirs[0] / own[middle] - 1 <= high + 1e-9


def test_a_chord_alone_tells_the_family_as_the_key_does():
    before = predict(7, 4).family_chances
    wide = predict(7, 4, geometry=0.25)
    expected = family_chances_after(before, chord=0.125)
    assert wide.family_chances == pytest.approx({name: expected[name] for name in wide.family_chances}, abs=0.02)
    assert wide.family_chances["broad"] + wide.family_chances["wide"] > 0.9
    assert np.all(wide.cp0 > 1.05 * predict(7, 4).cp0)
    stated = predict(7, 4, family="thin", geometry=0.25)
    assert any("Chord not used" in remark for remark in stated.remarks)
    assert np.array_equal(stated.cp0, predict(7, 4, family="thin").cp0)


def test_chances_of_the_families_sum_to_one_and_follow_size_and_blades():
    families = bundled_knowledge().base.families
    for size in ((5, 4.3, 3), (9, 6, 2), (10, 4.7, 2), (3, 2, 2), (14, 8, 2)):
        chances = family_chances(families, *size)
        assert math.fsum(chances.values()) == pytest.approx(1.0)
        assert all(chance >= 0 for chance in chances.values())
    assert family_chances(families, 5, 4.3, 3)["racing"] > 0.5
    assert family_chances(families, 9, 6, 2)["racing"] < 0.01
    assert family_chances(families, 14, 8, 2)["folding"] > family_chances(families, 7, 4, 2)["folding"]


def test_the_unknown_family_is_a_word_too_and_its_spread_holds_that_between_families():
    """Law of total variance: the mixture is at least as wide as the mean of its families, and lies between them."""
    asked, none = predict(6, 4, family="unknown"), predict(6, 4)
    np.testing.assert_array_equal(asked.table.ct, none.table.ct)
    each = {name: predict(6, 4, family=name) for name in asked.family_chances}
    within = sum(chance * each[name].spread[0] ** 2 for name, chance in asked.family_chances.items())
    assert asked.spread[0] ** 2 > within
    levels = [answer.ct0 for answer in each.values()]
    assert np.all((asked.ct0 > np.min(levels, axis=0)) & (asked.ct0 < np.max(levels, axis=0)))


def test_racing_blades_narrow_as_their_number_grows():
    """Common practice, no published source: total blade area with the root of the blade count."""
    base = bundled_knowledge().base
    two, four = (base.blade(Label(5, 4.5, blades, "racing")) for blades in (2, 4))
    np.testing.assert_allclose(two.chord / four.chord, math.sqrt(2))
    thin = predict(5, 4.5, blades=3, family="thin")
    assert predict(5, 4.5, blades=3, family="racing").intervals["ct0"][1] > thin.intervals["ct0"][1]


def test_the_number_of_blades_has_a_spread_of_its_own():
    two, three, four = (predict(8, 5, family="thin", blades=blades).spread for blades in (2, 3, 4))
    assert np.all(two[:3] < three[:3])
    assert np.all(three[:3] < four[:3])


def test_intervals_grow_as_a_propeller_slows_and_steepens():
    answer = predict(5, 4, family="thick", rpm=[1200, 2500, 15000, 25000])
    assert answer.interval("cp0", 1200)[1] > answer.interval("cp0", 2500)[1] > answer.interval("cp0", 15000)[1]
    assert answer.interval("cp0", 15000) == pytest.approx(answer.interval("cp0", 25000))
    gentle, steep = (predict(9, ratio * 9, family="thin") for ratio in (0.8, 1.05))
    assert steep.intervals["ct0"][1] > gentle.intervals["ct0"][1]


def test_beyond_the_measured_speeds_efficiency_grows_more_slowly():
    """Peak efficiency beyond the data rises by 0.075 for each of ln rpm (measured), 0.15 with the whole exponent."""
    most = bundled_knowledge().base.polar.most_reynolds
    diameter_m = 9 * INCH_M
    inside = most / (1.225 * math.pi / 30 * (diameter_m / 2) ** 2 / 1.789e-5)
    rpm = inside * np.array([0.6, 1.0, 1.6])
    eta = predict(9, 6, family="thin", rpm=rpm).peak_efficiency
    below, beyond = np.diff(eta) / np.diff(np.log(rpm))
    assert 0.0 < beyond < 0.8 * below
    assert beyond == pytest.approx(0.075, abs=0.01)


def test_the_joint_band_is_wider_than_the_interval_and_holds_the_curve():
    answer = predict(9, 6, family="thick")
    rpm = float(answer.table.rpm[3])
    band = answer.band(rpm)
    assert band.advance_ratio[-1] == pytest.approx(1.1 * answer.zero_thrust_j[3])
    assert band.ct[-1] < 0
    assert np.all(band.ct_half > 0)
    assert band.ct_half[0] / band.ct[0] > math.log1p(answer.interval("ct0", rpm)[1])
    assert band.cp_half[0] / band.cp[0] > math.log1p(answer.interval("cp0", rpm)[1])
    low, high = answer.interval("windmilling_ct", rpm)
    assert low == -high
    assert band.ct_half[-1] / band.ct[0] > high


def test_the_band_follows_the_curve_by_differences():
    """``curve_spread`` of one output alone is what moving it by 1e-6 does to the mean curve (finite differences)."""
    x = np.array([0.0, 0.3, 0.7, 0.95])
    thrust = lambda place: (1 - place) * (1 + 0.75 * place - 0.31 * place**2)  # noqa: E731
    only = np.zeros((7, 7))
    only[2, 2] = 1.0
    moved = np.abs(thrust(x * math.exp(-1e-6)) - thrust(x)) / 1e-6
    np.testing.assert_allclose(curve_spread(only, x)[:, 0], moved, rtol=1e-4, atol=1e-6)


def test_a_line_of_the_open_data_is_asked_for_by_its_key():
    lines = known_lines()
    assert {line.family for line in lines.values()} <= set(FAMILIES)
    key = max(lines, key=lambda name: lines[name].ct0 if lines[name].propellers > 4 else 0.0)
    line = lines[key]
    alone, taught = predict(10, 6, family=line.family), predict(10, 6, family=key)
    assert (taught.tier, taught.family) == ("line", line.family)
    np.testing.assert_allclose(taught.ct0 / alone.ct0, line.ct0, rtol=0.03)
    assert taught.spread[0] < alone.spread[0]
    assert not any(letter.isupper() for letter in line.description)
    assert f"{line.propellers} propellers" in line.description


def test_a_reading_of_a_sibling_teaches_power_and_some_of_the_thrust():
    alone = predict(9, 6, family="thick")
    other = predict(8, 5, family="thick")
    at = float(other.table.lookup(6000.0, 0.0).cp)
    watts = 1.25 * at * 1.225 * 100.0**3 * (8 * INCH_M) ** 5
    read = Sibling(8, 5, 2, anchors=(Anchor(rpm=6000, shaft_power_w=watts),))
    taught = predict(9, 6, family="thick", siblings=[read])
    assert taught.tier == "sibling reading"
    assert np.all((taught.cp0 / alone.cp0 > 1.08) & (taught.cp0 / alone.cp0 < 1.25))
    assert np.all((taught.ct0 / alone.ct0 > 1.02) & (taught.ct0 / alone.ct0 < taught.cp0 / alone.cp0))
    assert taught.spread[1] < alone.spread[1]
    assert taught.spread[0] < alone.spread[0]


def test_the_label_keeps_a_share_beside_a_blade_shape():
    """The mixture of logarithms lies between the shape's own answer and the label's."""
    knowledge = bundled_knowledge()
    asked = checked(9, 6, family="thin", geometry=Geometry.at_75(0.19, 22.0))
    blended, shape = predict_from(knowledge, asked), predict_from(dataclasses.replace(knowledge, blend=None), asked)
    label = predict(9, 6, family="thin")
    assert np.all((label.ct0 < blended.ct0) & (blended.ct0 < shape.ct0))


def test_a_static_point_says_less_of_far_speeds():
    label = predict(9, 6, family="thin")
    answer = predict(9, 6, family="thin", anchors=[Anchor(rpm=5000, shaft_power_w=power(label, 1.1))])
    near, far = answer.interval("cp0", 5000)[1], answer.interval("cp0", 15000)[1]
    assert near < far < label.interval("cp0", 15000)[1]


def test_the_kept_tables_make_the_invented_propellers():
    from propmatch_datasets.generate import prediction as invented

    answer = invented(5.0, 2.8, 2, "thin")
    assert answer.source.kind == "predicted"
    assert answer.family_chances == {"thin": 1.0}


# ------------------------------------------------------------------ remarks and faults


@pytest.mark.parametrize(
    ("call", "said"),
    [
        ({"diameter_in": 230, "pitch_in": 150}, "230 mm would be 9.1 in"),
        ({"diameter_in": 16, "pitch_in": 8}, "4 to 11 in"),
        ({"diameter_in": 9, "pitch_in": 2}, "0.32 to 1.11"),
        ({"diameter_in": 9, "pitch_in": 6, "blades": 4}, "4 blades"),
        ({"diameter_in": 9, "pitch_in": 6, "family": "folding"}, "thin family"),
        ({"diameter_in": 9, "pitch_in": 6, "rpm": [5000, 27000]}, "Tip Mach above 0.9 from 27000"),
        (
            {"diameter_in": 9, "pitch_in": 6, "anchors": [Anchor(rpm=30000, thrust_n=90)]},
            "Tip Mach above 0.9 from 30000",
        ),
        ({"diameter_in": 9, "pitch_in": 152}, "152 mm would be 6.0 in"),
        ({"diameter_in": 9, "pitch_in": 4, "geometry": Geometry.at_75(0.15, 30)}, "check the angle"),
        ({"diameter_in": 9, "pitch_in": 10.8, "blades": 6, "family": "broad"}, "momentum theory"),
    ],
)
def test_remarks(call, said):
    answer = predict(call.pop("diameter_in"), call.pop("pitch_in"), **call)
    assert any(said in remark for remark in answer.remarks), answer.remarks


def test_the_cross_check_speaks_when_siblings_lead_far_away():
    answer = predict(9, 6, family="thick", siblings=line_of_propellers(1.9, 2.2))
    assert any("Cross-check" in remark for remark in answer.remarks)
    assert not any("Cross-check" in remark for remark in predict(9, 6, family="thick").remarks)


def test_regression_and_engine_agree_within_their_intervals_on_ordinary_labels():
    """Two methods fitted to the same data: 23 and 27 % are the regression's own 80 % half-widths on unknown lines."""
    for family in FAMILIES:
        for ratio in (0.45, 0.65, 0.85):
            answer = predict(9, 9 * ratio, family=family, rpm=[3000, 5000, 7000])
            other = regression_curves(9, 9 * ratio, family=family, rpm=[3000, 5000, 7000], advance_ratio=[0.0])
            own = [math.log1p(high) for _, high in (answer.intervals["ct0"], answer.intervals["cp0"])]
            assert np.all(np.abs(np.log(other.ct0 / answer.ct0)) < math.hypot(0.23, own[0]))
            assert np.all(np.abs(np.log(other.cp0 / answer.cp0)) < math.hypot(0.27, own[1]))
            assert not any("Cross-check" in remark for remark in answer.remarks)


def test_every_fault_of_a_call_at_once():
    with pytest.raises(InputFaults) as error:
        predict(math.nan, -1, blades=0, family="thinn", siblings=[object()], rpm=[3000, 2000])
    said = " ".join(messages(error))
    for word in (
        "diameter_in",
        "pitch_in",
        "blades",
        "thin, thick, broad, folding, wide, racing",
        "siblings[0]",
        "rpm",
    ):
        assert word in said
    assert "did you mean thin" in said


@pytest.mark.parametrize(
    ("call", "said"),
    [
        ({"anchors": Anchor(rpm=8000, thrust_n=3)}, "anchors = "),
        ({"anchors": [{"rpm": 8000, "thrust": 3}]}, "did you mean thrust_n"),
        ({"anchors": [{"thrust_n": 3}]}, "anchors[0]"),
        ({"anchors": [{"rpm": -8000, "thrust_n": 3}]}, "anchors[0]: rpm = -8000"),
        ({"siblings": 5}, "siblings = "),
        ({"siblings": [type("Bare", (), {"table": 1})()]}, "must have diameter_in"),
        ({"rpm": "fast"}, "rpm = 'fast'"),
        ({"geometry": {"r_over_R": [0.3, 0.9], "c_over_R": [0, 0.1], "beta_deg": [95, 9]}}, "c_over_R[0]"),
        ({"geometry": {"r_over_R": [0.3, 0.9]}}, "r_over_R, c_over_R, beta_deg"),
        ({"geometry": (0.1, 20)}, "r_over_R, c_over_R, beta_deg"),
        ({"geometry": {"r_over_R": ["a"], "c_over_R": [1], "beta_deg": [9]}}, "numbers"),
    ],
)
def test_an_argument_of_the_wrong_kind_is_a_fault_among_the_others(call, said):
    with pytest.raises(InputFaults) as error:
        predict(9, 6, blades=0, **call)
    assert any(said in message for message in messages(error)), messages(error)
    assert any("blades" in message for message in messages(error))


def test_columns_and_mappings_are_taken_as_they_are():
    columns = {"r_over_R": [0.2, 0.9], "c_over_R": [0.2, 0.1], "beta_deg": [30, 12]}
    point = {"rpm": 8000, "shaft_power_w": 80}
    loose = predict(9, 6, family="thin", geometry=columns, anchors=[point])
    strict = predict(9, 6, family="thin", geometry=Geometry(*columns.values()), anchors=[Anchor(**point)])
    assert loose.tier == "geometry + static point"
    np.testing.assert_array_equal(loose.table.ct, strict.table.ct)


def test_a_predicted_sibling_teaches_nothing_and_narrows_nothing():
    alone = predict(9, 6, family="thin")
    taught = predict(9, 6, family="thin", siblings=[predict(8, 5, family="thin")])
    assert (taught.tier, taught.intervals["ct0"]) == ("label", alone.intervals["ct0"])
    assert any("Sibling 8x5 not used" in remark for remark in taught.remarks)


@pytest.mark.parametrize(
    ("columns", "said"),
    [
        (([0.3, 0.2], [0.1, 0.1], [20, 15]), "must rise from hub to tip"),
        (([0.2, 0.9], [0.1, 0.0], [20, 15]), "c_over_R[1]"),
        (([0.2, 0.9], [0.1, 0.1], [95, 15]), "below 90 degrees"),
        (([0.75], [0.1], [15]), "Geometry.at_75"),
        (([0.2, 0.9], [0.1, math.nan], [20, 15]), "finite"),
        (([0.2, 0.9], [0.1], [20, 15]), "as many values"),
        (([20, 90], [0.1, 0.1], [20, 15]), "not millimetres"),
    ],
)
def test_faults_of_a_geometry(columns, said):
    with pytest.raises(InputFaults) as error:
        Geometry(*columns)
    assert any(said in message for message in messages(error)), messages(error)


def test_faults_of_a_geometry_come_together():
    with pytest.raises(InputFaults) as error:
        Geometry([0.3, 0.2, 0.9], [0.1, 0.0, 0.1], [20, 95, math.nan])
    assert len(error.value.faults) == 4


@pytest.mark.parametrize(
    ("values", "said"),
    [
        ({"rpm": 5000}, "needs shaft_power_w"),
        ({"rpm": -1, "thrust_n": 3}, "rpm"),
        ({"rpm": 5000, "volts": 11}, "go together"),
        ({"rpm": 5000, "thrust_n": math.nan}, "thrust_n"),
    ],
)
def test_faults_of_a_bench_point(values, said):
    with pytest.raises(InputFaults) as error:
        Anchor(**values)
    assert any(said in message for message in messages(error))


def test_a_bench_point_without_power_left_is_a_fault():
    motor = Motor(name="invented", kv_rpm_per_v=1000, mass_g=60, resistance_ohm=0.5, no_load_current_a=0.5)
    with pytest.raises(InputFaults):
        predict(9, 6, anchors=[Anchor(rpm=8000, volts=4, amps=10, motor=motor)])


def test_description_names_intervals_and_the_next_measurement():
    lines = describe(predict(7, 4, family="thin"))
    assert any("8 cases out of 10" in line for line in lines)
    assert any("callipers" in line for line in lines)
    assert any("protractor" in line and "three quarters of the radius" in line for line in lines)
    assert any("bench" in line for line in lines)


# ------------------------------------------------------------------ plugin


def test_the_hook_answers_and_measured_propellers_of_the_line_teach_it():
    measured = Source(text="bench", kind="measured")
    line = [
        Propeller(
            name=f"Marsh Hawk {s.diameter_in}x{s.pitch_in}",
            diameter_in=s.diameter_in,
            pitch_in=s.pitch_in,
            family="thick",
            table=s.table,
            source=measured,
        )
        for s in line_of_propellers(1.2, 1.3)
    ]
    asked = Propeller(name="Marsh Hawk 9x6", diameter_in=9, pitch_in=6, family="thick")
    other = Propeller(name="Reed 9x6", diameter_in=9, pitch_in=6, family="thick")
    plugins = load_catalogue(plugins=["prediction"]).plugins
    taught, alone = table_of(asked, line, plugins), table_of(other, line, plugins)
    assert "same line" in taught.source.text
    assert "same line" not in alone.source.text
    assert taught.table.ct[0, 0] > 1.1 * alone.table.ct[0, 0]


def test_the_tables_that_ship_say_where_they_come_from():
    import hashlib
    import tomllib
    from importlib.resources import files

    folder = files("propmatch_datasets.prediction")
    origin = tomllib.loads(folder.joinpath("origin.toml").read_text(encoding="utf-8"))
    assert "UIUC" in origin["origin"]["dataset"]
    for name, checksum in origin["sha256"].items():
        assert hashlib.sha256(folder.joinpath(name).read_bytes()).hexdigest() == checksum, name


def test_tables_written_and_read_again_are_the_same(tmp_path):
    bundled_knowledge().save(tmp_path)
    from importlib.resources import files

    for path in tmp_path.iterdir():
        assert path.read_text() == files("propmatch_datasets.prediction").joinpath(path.name).read_text()


def test_a_prediction_is_made_once_and_again_where_what_was_kept_is_damaged(monkeypatch, tmp_path, caplog):
    monkeypatch.setenv(VARIABLE, str(tmp_path))
    asked = Propeller(name="mine 7x5", diameter_in=7.0, pitch_in=5.0, read_rpm=9000.0, read_shaft_w=50.0)
    first = prediction.propmatch_coefficient_table(asked, ())
    (file,) = (tmp_path / "predicted").iterdir()
    with monkeypatch.context() as patch:
        patch.setattr(prediction, "_predicted", lambda *_: pytest.fail("made again"))
        again = prediction.propmatch_coefficient_table(asked, ())
    file.write_bytes(file.read_bytes()[:-9])
    remade = prediction.propmatch_coefficient_table(asked, ())
    assert "damaged" in caplog.text
    for answer in (again, remade):
        assert (answer.source, answer.source.prediction, answer.notes) == (
            first.source, first.source.prediction, first.notes,
        )  # fmt: skip
        for name in ("rpm", "advance_ratio", "ct", "cp"):
            np.testing.assert_array_equal(getattr(answer.table, name), getattr(first.table, name))


def test_propellers_of_one_label_share_the_table_of_that_label(tmp_path):
    rows = ("a,one,9,6,12", "b,two,9,6,15", "c,three,9,5,12")
    (tmp_path / "propellers.csv").write_text("\n".join(("id,name,diameter_in,pitch_in,mass_g", *rows)) + "\n")
    found = load_catalogue(plugins=["prediction"], parts=tmp_path).propellers
    one, two, three = (found[f"parts/{name}"].table for name in "abc")
    assert one is two
    assert not np.array_equal(one.ct, three.ct)
    np.testing.assert_array_equal(one.ct, predict(9, 6).table.ct)
