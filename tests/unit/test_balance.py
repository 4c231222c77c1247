"""Mass build-up, place of the pack, ballast and static margin on numbers worked out by hand."""

import numpy as np
import pytest
from support.trains import simple_controller, simple_motor, simple_propeller, simple_train

from propmatch.aircraft.balance import (
    Item,
    MassBuildUp,
    ballast_g,
    centre_of_gravity_mm,
    pack_position_mm,
    place_packs,
    place_trains,
    power_train_items,
)
from propmatch.aircraft.geometry import Geometry
from propmatch.aircraft.stability import stability
from propmatch.brief import loads_brief, resolve_variants
from propmatch.faults import InputFaults
from propmatch.models.liftingsurface import downwash_gradient, lift_slope_per_rad
from propmatch.records.fields import replace
from propmatch.records.layout import Balance, Structure, Tail, ThrustLine
from propmatch.records.masses import build_lines
from propmatch.status import Status

WING = {"wing_area_dm2": 20.0, "wing_span_mm": 1000.0}


def balance(**changes):
    values = {
        "target_cg_mm": 260.0, "pack_tray_from_mm": 120.0, "pack_tray_to_mm": 160.0,
        "nose_ballast_mm": 20.0, "tail_ballast_mm": 800.0,
    }  # fmt: skip
    return Balance(**(values | changes))


def geometry(places=None, **changes):
    return Geometry(**WING, balance=balance() if places is None else places, **changes)


def build_up(items=(), structure=()):
    return MassBuildUp(build_lines(items, structure)[0])


def bare_build_up(variant):
    return MassBuildUp(variant.lines).scaled_to(variant.airframe.bare_mass_g)


def test_one_balance_digit_by_digit():
    # Invented aircraft; every line by hand, sources: sum(m x)/sum(m) only.
    #   printed structure 180 g x flow 0.95 = 171.0 g, + finish 6 + glue 4 + hardware 9      = 190.0 g at 330 mm
    #   two servos 2 x 9 = 18 g at 300 mm; receiver 8 g at 220 mm
    #   bare mass 190 + 18 + 8                                                              = 216.0 g
    #   moment 190 x 330 + 18 x 300 + 8 x 220 = 62 700 + 5 400 + 1 760                      = 69 860 g mm
    #   bare centre 69 860/216                                                              = 323.4259 mm
    bare = build_up(
        [
            Item(name="servos", mass_g=18, position_mm=300),
            Item(name="receiver", mass_g=8, position_mm=220),
        ],
        [Structure(slicer_g=180, flow_rate=0.95, finish_g=6, glue_g=4, hardware_g=9, position_mm=330)],
    )
    assert bare.mass_g == pytest.approx(216.0, rel=1e-12)
    assert bare.position_mm == pytest.approx(323.4259, abs=5e-5)
    #   motor 28 g at 15 mm, propeller 4 g at 0 mm, controller 12 g at 90 mm: 44 g, moment 420 + 0 + 1 080 = 1 500 g mm
    #   without the pack 260 g, (69 860 + 1 500)/260 = 71 360/260                           = 274.4615 mm
    train = simple_train(
        motor=simple_motor(mass_g=28.0),
        propeller=simple_propeller(mass_g=4.0),
        controller=simple_controller(mass_g=12.0),
    )
    aircraft = geometry(
        balance(motor_mm=15.0, controller_mm=90.0), thrust_line=ThrustLine(height_mm=10.0, position_mm=0.0)
    )
    flying = MassBuildUp((*bare.lines, *power_train_items(aircraft, train)))
    assert flying.mass_g == pytest.approx(260.0, rel=1e-12)
    assert flying.position_mm == pytest.approx(274.4615, abs=5e-5)
    #   pack 60 g: (260 x 320 - 71 360)/60 = (83 200 - 71 360)/60 = 11 840/60              = 197.3333 mm, 37.3333 behind
    #     at the tray's rear end 160: (71 360 + 9 600)/320 = 80 960/320                     = 253.0 mm, 7 mm ahead
    #     tail ballast at 800: 320 x 7/(800 - 260) = 2 240/540                              = 4.1481 g
    #   pack 100 g: (260 x 360 - 71 360)/100 = (93 600 - 71 360)/100                        = 222.4 mm, behind too
    #   pack 20 g: (260 x 280 - 71 360)/20 = 1 440/20                                       = 72 mm, 48 ahead
    #     at the front end 120: (71 360 + 2 400)/280 = 73 760/280 = 263.428571 mm, 3.428571 aft
    #     nose ballast at 20: 280 x 3.428571/(260 - 20) = 960/240                           = 4.0 g
    #   pack 32 g: (260 x 292 - 71 360)/32 = 4 560/32                                       = 142.5 mm, inside
    places = place_packs(
        aircraft, base_mass_g=flying.mass_g, base_cg_mm=flying.position_mm, pack_mass_g=[60, 100, 20, 32]
    )
    np.testing.assert_allclose(places.wanted_mm, [197.3333333, 222.4, 72.0, 142.5], rtol=1e-8)
    np.testing.assert_array_equal(places.in_tray, [False, False, False, True])
    np.testing.assert_allclose(places.outside_mm, [37.3333333, 62.4, -48.0, 0.0], rtol=1e-8)
    np.testing.assert_allclose(places.cg_mm[[0, 2, 3]], [253.0, 263.4285714, 260.0], rtol=1e-9)
    np.testing.assert_allclose(places.ballast_g[[0, 2, 3]], [4.14814815, 4.0, 0.0], rtol=1e-8)
    np.testing.assert_array_equal(places.ballast_mm[[0, 2]], [800.0, 20.0])
    # The same by whole power trains at once.
    trains = [replace(train, pack=replace(train.pack, mass_g=float(mass))) for mass in (60, 100, 20, 32)]
    by_train = place_trains(aircraft, bare, trains)
    for field in ("base_mass_g", "wanted_mm", "cg_mm", "ballast_g", "mass_g"):
        np.testing.assert_allclose(getattr(by_train, field), getattr(places, field), rtol=1e-12)


def test_missing_place_leaves_the_centre_unknown():
    bare = build_up([Item(name="glue", mass_g=3), Item(name="wing", mass_g=90, position_mm=200)])
    assert bare.mass_g == 93
    assert np.isnan(bare.position_mm)
    places = place_packs(geometry(), base_mass_g=bare.mass_g, base_cg_mm=bare.position_mm, pack_mass_g=50.0)
    assert places.status is Status.BAD_INPUT
    assert np.isnan(places.cg_mm)
    assert "unknown" in places.readings(["pack"])[0]


def test_scaling_keeps_the_centre():
    bare = MassBuildUp((Item(name="a", mass_g=10, position_mm=0), Item(name="b", mass_g=30, position_mm=100)))
    heavier = bare.scaled_to(60)
    assert heavier.mass_g == pytest.approx(60)
    assert heavier.position_mm == pytest.approx(bare.position_mm)


def test_heights_are_averaged_like_positions():
    lines = (Item(name="a", mass_g=10, height_mm=-20), Item(name="b", mass_g=30, height_mm=20))
    assert MassBuildUp(lines).height_mm == pytest.approx(10.0)
    assert np.isnan(MassBuildUp((*lines, Item(name="c", mass_g=1))).height_mm)
    assert MassBuildUp((*lines, Item(name="nothing", mass_g=0))).height_mm == pytest.approx(10.0)


def test_two_motors_count_twice_and_default_to_the_thrust_line():
    train = simple_train(
        motor=simple_motor(mass_g=20.0), propeller=simple_propeller(mass_g=3.0),
        controller=simple_controller(mass_g=9.0), count=2,
    )  # fmt: skip
    twin = geometry(thrust_line=ThrustLine(height_mm=10.0, position_mm=120.0, side_mm=150.0))
    lines = power_train_items(twin, train)
    # The controllers sit midway between motor and target: (120 + 260)/2 = 190 mm, an assumption.
    assert [(line.mass_g, line.position_mm) for line in lines] == [(40, 120), (6, 120), (18, 190)]
    assert {each.field for each in twin.assumptions} >= {"motor_mm", "controller_mm"}
    # Nothing says where the motor is: no centre of gravity.
    unplaced = [line.name for line in power_train_items(geometry(), train) if line.position_mm is None]
    assert unplaced == ["2 motors", "2 propellers", "2 controllers"]
    bare = MassBuildUp((Item(name="bare", mass_g=200, position_mm=300),))
    assert place_trains(geometry(), bare, [train]).status.tolist() == [Status.BAD_INPUT]


BRIEF = """
[aircraft]
name = "invented"
[wing]
area_dm2 = 20
span_mm = 1000
[[item]]
name = "servos"
mass_g = 20
position_mm = 300
[[structure]]
slicer_g = 200
flow_rate = 0.9
glue_g = 10
position_mm = 330
[[variant]]
name = "half the filament"
filament = 0.5
[[variant]]
name = "as weighed"
bare_mass_g = 231
[balance]
target_cg_mm = 260
[tail]
area_dm2 = 4
span_mm = 400
position_mm = 760
[thrust_line]
position_mm = 0
height_mm = 30
"""


def test_variants_of_a_brief_by_filament_and_by_weighing():
    brief = loads_brief(BRIEF)
    found = [bare_build_up(each) for each in resolve_variants(brief)]
    # 20 + 200 x 0.9 + 10 = 210 g at (20 x 300 + 190 x 330)/210 = 327.142857 mm; half: 20 + 90 + 10 = 120 g at
    # (6 000 + 100 x 330)/120 = 325 mm; weighed: 231 g, servos and glue keep their 30 g, so 201 g are filament:
    # (6 000 + 211 x 330)/231 = 327.402597 mm
    assert [each.mass_g for each in found] == pytest.approx([210.0, 120.0, 231.0])
    assert [each.position_mm for each in found] == pytest.approx([327.142857143, 325.0, 327.402597403])
    assert [line.mass_g for line in found[2].lines] == pytest.approx([20.0, 211.0])
    said = [str(each) for each in resolve_variants(brief)[2].assumptions]
    assert (
        "aircraft: 'as weighed' is 21 g more than the lists: in the filament of the printed parts in proportion, "
        "everything else as it is" in said
    )
    aircraft = Geometry.of_brief(brief, resolve_variants(brief)[0].airframe)
    assert aircraft.tail.position_mm == 760.0
    assert aircraft.chord_mm == pytest.approx(200.0)


def test_a_weighing_of_what_is_not_printed_scales_every_line():
    text = BRIEF.replace("bare_mass_g = 231", "bare_mass_g = 90").replace(
        "[[structure]]\nslicer_g = 200\nflow_rate = 0.9\nglue_g = 10", '[[item]]\nname = "hull"\nmass_g = 40'
    )
    brief = loads_brief(text.replace('[[variant]]\nname = "half the filament"\nfilament = 0.5\n', ""))
    designed, weighed = (resolve_variants(brief)[at] for at in (0, -1))
    before, after = bare_build_up(designed), bare_build_up(weighed)
    assert after.mass_g == pytest.approx(90)
    assert after.position_mm == pytest.approx(before.position_mm)
    assert any("in every line in proportion" in str(each) for each in weighed.assumptions)


def test_no_build_is_lighter_than_its_items_and_what_is_added_to_the_print():
    # 20 g of servos and 10 g of glue stay: at 30 g no filament is left.
    with pytest.raises(InputFaults) as caught:
        loads_brief(BRIEF.replace("bare_mass_g = 231", "bare_mass_g = 30"))
    assert [fault.key for fault in caught.value.faults] == ["variant[2].bare_mass_g"]
    assert "above 30 g" in str(caught.value)
    build = bare_build_up(resolve_variants(loads_brief(BRIEF))[0])
    lanes = build.at(np.array([29.0, 30.0, 31.0, 210.0]))
    np.testing.assert_array_equal(np.isnan(lanes.mass_g), [True, True, False, False])
    np.testing.assert_array_equal(np.isnan(lanes.position_mm), [True, True, False, False])
    with pytest.raises(ValueError, match="not above 30 g"):
        build.scaled_to(30.0)


def test_one_bare_mass_is_placed_by_its_own_centre():
    text = '[aircraft]\nname = "invented"\nbare_mass_g = 300\n'
    brief = loads_brief(text + "[balance]\ntarget_cg_mm = 260\nbare_cg_mm = 310\n")
    bare = bare_build_up(resolve_variants(brief)[0])
    assert (bare.mass_g, bare.position_mm) == (300.0, 310.0)
    plain = loads_brief(text)
    assert np.isnan(bare_build_up(resolve_variants(plain)[0]).position_mm)
    assert Geometry.of_brief(plain, resolve_variants(plain)[0].airframe) is None


@pytest.mark.parametrize(
    ("old", "new", "key"),
    [
        ("[balance]\ntarget_cg_mm = 260\n", "", "balance"),
        ("height_mm = 30", "height_mm = 30\nside_mm = 100", "thrust_line.side_mm"),
        ("position_mm = 760", "position_mm = 200", "tail.position_mm"),
        ("target_cg_mm = 260", "target_cg_mm = 260\npack_tray_from_mm = 80", "balance.pack_tray_from_mm"),
        (
            "target_cg_mm = 260",
            "target_cg_mm = 260\npack_tray_from_mm = 80\npack_tray_to_mm = 70",
            "balance.pack_tray_to_mm",
        ),
        ("flow_rate = 0.9", "flow_rate = 0", "structure[1].flow_rate"),
    ],
)
def test_faults_of_the_balance_tables_name_their_key(old, new, key):
    with pytest.raises(InputFaults) as caught:
        loads_brief(BRIEF.replace(old, new))
    assert [fault.key for fault in caught.value.faults] == [key]


def test_bad_lanes_do_not_touch_the_others():
    good = place_packs(geometry(), base_mass_g=500.0, base_cg_mm=290.0, pack_mass_g=120.0)
    mixed = place_packs(geometry(), base_mass_g=500.0, base_cg_mm=290.0, pack_mass_g=[np.nan, 120.0, 0.0, -3.0, np.inf])
    assert good.status is Status.OK
    assert type(good.cg_mm) is float
    np.testing.assert_array_equal(mixed.status, [Status.BAD_INPUT, Status.OK] + [Status.BAD_INPUT] * 3)
    for field in ("wanted_mm", "pack_mm", "cg_mm", "ballast_g", "mass_g", "cg_from_mm", "cg_to_mm"):
        values = getattr(mixed, field)
        assert values[1] == getattr(good, field)
        assert np.isnan(np.delete(values, 1)).all()


def test_without_tray_nothing_is_outside_and_the_reading_says_why():
    free = balance(pack_tray_from_mm=None, pack_tray_to_mm=None)
    places = place_packs(geometry(free), base_mass_g=500.0, base_cg_mm=290.0, pack_mass_g=[80.0])
    assert places.in_tray.all()
    assert np.isnan(places.cg_from_mm).all()
    assert "no pack tray" in places.readings(["small"])[0]


def test_readings_name_side_distance_and_ballast():
    # 500 g at 290 mm, 85 g pack: wanted (260 x 585 - 145 000)/85 = 83.53 mm, 36.47 ahead of 120; at 120:
    # 155 200/585 = 265.30 mm, 5.3 aft; ballast 585 x 5.2991/240 = 12.92 g.
    text, inside = place_packs(geometry(), base_mass_g=500.0, base_cg_mm=290.0, pack_mass_g=[85.0, 130.0]).readings(
        ["2S small", "3S"]
    )
    assert "36 mm ahead of the tray" in text
    assert "5.3 mm aft of the target" in text
    assert "13 g of ballast at 20 mm" in text
    assert "inside the tray" in inside
    bare = place_packs(
        geometry(balance(nose_ballast_mm=None)), base_mass_g=500.0, base_cg_mm=290.0, pack_mass_g=80.0
    ).readings(["2S small"])[0]
    assert "no place for nose ballast" in bare


def test_ballast_on_the_wrong_side_has_no_answer():
    assert np.isnan(ballast_g(500.0, 270.0, 300.0, 260.0))
    assert np.isnan(ballast_g(500.0, 270.0, 260.0, 260.0))
    assert ballast_g(500.0, 260.0, 20.0, 260.0) == 0.0


def test_nothing_has_no_centre():
    assert np.isnan(centre_of_gravity_mm([0.0, 0.0], [1.0, 2.0]))
    assert np.isnan(pack_position_mm(500.0, 290.0, 0.0, 260.0))


# ---------------------------------------------------------------- static margin

TAIL = Tail(area_dm2=4.0, span_mm=400.0, position_mm=760.0)


def test_lift_slope_limits():
    # 2 pi for a wing without ends (thin section theory) and pi A/2 for a very short one (R. T. Jones, NACA R-835).
    assert lift_slope_per_rad(1e9) == pytest.approx(2 * np.pi, rel=1e-6)
    assert lift_slope_per_rad(1e-4) == pytest.approx(np.pi * 1e-4 / 2, rel=1e-4)
    # Lifting-line theory, 2 pi A/(A + 2), is an upper bound, 8 % above at A = 4 and 2 % at A = 10.
    aspect = np.array([4.0, 6.0, 10.0])
    ratio = lift_slope_per_rad(aspect) / (2 * np.pi * aspect / (aspect + 2))
    assert (ratio < 1).all()
    assert (ratio > 0.92).all()


def test_neutral_point_is_the_lift_weighted_mean_of_wing_and_tail():
    # Second path without tail volume: where an added angle of attack adds its lift.
    geometry = Geometry(**WING, balance=balance(leading_edge_mm=200.0, chord_mm=200.0), tail=TAIL)
    wing = lift_slope_per_rad(5.0) * 20.0
    tail = lift_slope_per_rad(4.0) * 4.0 * (1 - downwash_gradient(lift_slope_per_rad(5.0), 5.0))
    expected = (wing * 250.0 + tail * 760.0) / (wing + tail)
    found = stability(geometry)
    assert found.neutral_point_mm == pytest.approx(expected, rel=1e-12)
    assert found.static_margin == pytest.approx((expected - 260.0) / 200.0, rel=1e-12)
    # Tail volume by hand: 4/20 x (760 - 250)/200 = 0.51.
    assert found.tail_volume == pytest.approx(0.51, rel=1e-12)
    assert [each.field for each in found.assumptions] == ["lift_slope_per_rad", "downwash_gradient"]


@pytest.mark.parametrize(("cg", "word"), [(300.0, "unstable"), (283.0, "little"), (262.0, "stable."), (230.0, "much")])
def test_margin_reading(cg, word):
    geometry = Geometry(**WING, balance=balance(leading_edge_mm=200.0, chord_mm=200.0), tail=TAIL)
    assert word in stability(geometry, cg_mm=cg).reading()


def test_margin_of_several_centres_of_gravity_reads_the_smallest():
    geometry = Geometry(**WING, balance=balance(leading_edge_mm=200.0, chord_mm=200.0), tail=TAIL)
    found = stability(geometry, cg_mm=[250.0, 300.0])
    assert found.static_margin.shape == (2,)
    assert "unstable" in found.reading()


def test_margin_without_leading_edge_is_unknown():
    found = stability(Geometry(**WING, balance=balance(), tail=TAIL))
    assert np.isnan(found.static_margin)
    assert "unknown" in found.reading()
    assert any("leading edge" in note for note in found.notes)
    assert [each.field for each in found.assumptions] == ["chord_mm", "lift_slope_per_rad", "downwash_gradient"]


def test_margin_needs_a_tail():
    with pytest.raises(ValueError, match="tail"):
        stability(Geometry(**WING, balance=balance()))
