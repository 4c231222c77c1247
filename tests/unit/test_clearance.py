"""Room around the propeller's disc: plane geometry by hand, circles point by point, the check and its faults."""

import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from support.small_aircraft import BRIEF, small_brief, small_train

from propmatch.aircraft.clearance import Clearance
from propmatch.aircraft.geometry import Geometry
from propmatch.checks.judged import judged_trains
from propmatch.checks.limits import checks_of
from propmatch.checks.setting import settings
from propmatch.faults import InputFaults
from propmatch.models.clearance import box_distance_mm, ground_line
from propmatch.records.body import Body, DiscPlace, disc_places, disc_rooms
from propmatch.records.brief import dump_brief, loads_brief
from propmatch.sheet.viewlayout import Layout

TWO = ('name = "test bird"', 'name = "test bird"\nmotor_count = 2')


def twin(side_mm: float):
    return small_brief(TWO, ("height_mm = 30\n", f"height_mm = 30\nside_mm = {side_mm}\n"))


def room_of(brief) -> Clearance:
    found = settings(brief)[0].clearance
    assert found is not None
    return found


# ---------------------------------------------------------------- by hand


@pytest.mark.parametrize(
    ("side", "height", "distance"),
    [
        (60.0, 60.0, 50.0),
        (-60.0, 60.0, 50.0),
        (10.0, 75.0, 55.0),
        (45.0, 0.0, 15.0),
        (0.0, -32.0, 12.0),
        (25.0, 12.0, -5.0),
    ],
)
def test_distance_from_a_box_by_hand(side, height, distance):
    # half width 30, from -20 to 20: corner 3-4-5, top, side, bottom, and 5 inside the side
    assert box_distance_mm(side, height, half_width_mm=30.0, bottom_mm=-20.0, top_mm=20.0) == pytest.approx(distance)


def test_a_top_alone_is_everything_below_it():
    assert box_distance_mm(400.0, 35.0, half_width_mm=np.inf, bottom_mm=-np.inf, top_mm=15.0) == 20.0


def test_the_ground_through_two_wheels_by_hand():
    # wheels at (100, -80) and (600, -20): slope 60/500, at the nose -80 - 12; giving way by 5 mm it tips: 1.2 x 5
    wheels = {"wheel_mm": 100.0, "wheel_height_mm": -80.0, "other_mm": 600.0, "other_height_mm": -20.0}
    assert ground_line(0.0, **wheels) == (pytest.approx(-92.0), pytest.approx(0.12))
    assert ground_line(0.0, **wheels, shrink_mm=5.0)[0] == pytest.approx(-92.0 + 6.0)
    assert ground_line(300.0, **wheels, shrink_mm=5.0)[0] == pytest.approx(-80.0 + 24.0 + 5.0)
    assert ground_line(7.0, wheel_mm=100.0, wheel_height_mm=-80.0, shrink_mm=5.0) == (-75.0, 0.0)


def test_every_room_of_one_aircraft_by_hand():
    body = Body(
        top_mm=-30.0, boom_side_mm=95.0, main_wheel_mm=100.0, main_wheel_height_mm=-100.0, tail_wheel_mm=600.0,
        tail_wheel_height_mm=-40.0, nose_wheel_mm=None, least_gap_mm=8.0, least_ground_gap_mm=20.0,
    )  # fmt: skip
    rooms = disc_rooms(body, [DiscPlace(position_mm=0.0, height_mm=50.0, side_mm=0.0)])
    # tail down: ground at -112 under the disc, sloped by 0.12, so 20 mm square to it are 20 x sqrt(1 + 0.12^2) upright
    down = 50.0 + 112.0 - 20.0 * math.sqrt(1.0 + 0.12**2)
    assert {room.what: room.radius_mm for room in rooms} == {
        "body": pytest.approx(72.0), "booms": pytest.approx(87.0), "ground, tail up": pytest.approx(130.0),
        "ground, tail down": pytest.approx(down),
    }  # fmt: skip
    tricycle = Body(main_wheel_mm=300.0, main_wheel_height_mm=-100.0, nose_wheel_mm=100.0, nose_wheel_height_mm=-90.0)
    (one,) = disc_rooms(tricycle, [DiscPlace(position_mm=0.0, height_mm=0.0, side_mm=0.0)])
    assert one.what == "ground, on the nose wheel"
    assert one.radius_mm == pytest.approx(85.0 - 25.0 * math.sqrt(1.0 + 0.05**2))


def test_the_body_counts_for_discs_between_its_ends():
    body = Body(half_width_mm=20.0, top_mm=20.0, bottom_mm=-20.0, nose_mm=10.0, tail_mm=400.0)
    ahead, beside = (
        DiscPlace(position_mm=0.0, height_mm=0.0, side_mm=0.0),
        DiscPlace(position_mm=90.0, height_mm=0.0, side_mm=100.0),
    )
    (room,) = disc_rooms(body, [ahead, beside])
    assert (room.disc, room.radius_mm) == (1, 70.0)


# ---------------------------------------------------------------- point by point

mm = st.floats(-300.0, 300.0)


def circle(place: DiscPlace, radius: float, tilt_deg: float) -> np.ndarray:
    """Points (3, N) of a disc's rim: aft, to the side, up; positive tilt takes the lower edge aft."""
    angle, tilt = np.linspace(0.0, 2.0 * np.pi, 7201), math.radians(tilt_deg)
    up, across = radius * np.cos(angle), radius * np.sin(angle)
    return np.array([
        place.position_mm - up * math.sin(tilt), place.side_mm + across, place.height_mm + up * math.cos(tilt)
    ])  # fmt: skip


@given(x=mm, z=st.floats(60.0, 300.0), wheel=st.floats(50.0, 250.0), tail=st.floats(-60.0, 0.0),
       tilt=st.floats(-10.0, 10.0), gap=st.floats(0.0, 40.0))  # fmt: skip
def test_the_largest_disc_leaves_the_gap_above_the_ground(x, z, wheel, tail, tilt, gap):
    body = Body(main_wheel_mm=wheel, main_wheel_height_mm=-90.0, tail_wheel_mm=700.0, tail_wheel_height_mm=tail,
                least_ground_gap_mm=gap)  # fmt: skip
    place = DiscPlace(position_mm=x, height_mm=z, side_mm=0.0)
    up, down = disc_rooms(body, [place], tilt)
    normal = np.array([-(tail + 90.0), 700.0 - wheel]) / math.hypot(tail + 90.0, 700.0 - wheel)
    for room, line in ((up, np.array([0.0, 1.0])), (down, normal)):
        assume(room.radius_mm > 1.0)
        rim = circle(place, room.radius_mm, tilt)
        above = line[0] * (rim[0] - wheel) + line[1] * (rim[2] + 90.0)
        assert above.min() == pytest.approx(gap, abs=1e-3)


@given(y=mm, z=mm, width=st.floats(5.0, 80.0), top=st.floats(5.0, 80.0), gap=st.floats(0.0, 30.0))
def test_the_largest_disc_leaves_the_gap_beside_the_body(y, z, width, top, gap):
    body = Body(half_width_mm=width, top_mm=top, bottom_mm=-top, least_gap_mm=gap)
    place = DiscPlace(position_mm=0.0, height_mm=z, side_mm=y)
    (room,) = disc_rooms(body, [place])
    assume(room.radius_mm > 1.0)
    _, across, up = circle(place, room.radius_mm, 0.0)
    distance = np.hypot(np.maximum(np.abs(across) - width, 0.0), np.maximum(np.abs(up) - top, 0.0))
    assert gap - 1e-9 <= distance.min() <= gap + math.pi * room.radius_mm / 7200


@given(first=st.floats(1.0, 20.0), more=st.floats(0.0, 10.0), height=st.floats(40.0, 200.0), tilt=st.floats(-10, 10))
def test_a_larger_disc_never_has_more_gap(first, more, height, tilt):
    body = Body(top_mm=0.0, boom_side_mm=90.0, main_wheel_mm=100.0, main_wheel_height_mm=-60.0, tail_wheel_mm=600.0,
                tail_wheel_height_mm=-10.0)  # fmt: skip
    places = (DiscPlace(position_mm=0.0, height_mm=height, side_mm=0.0),)
    room = Clearance(rooms=disc_rooms(body, places, tilt), body=body, places=places, tilt_deg=tilt)
    for each in room.rooms:
        assert each.gap_mm(first + more) <= each.gap_mm(first)
    assert room.gap_mm(first + more) <= room.gap_mm(first)
    assert room.gap_mm(room.largest_in) == pytest.approx(room.nearest.least_gap_mm)


# ---------------------------------------------------------------- the check


def clearance_check(brief):
    setting = settings(brief)[0]
    (checks,) = checks_of(judged_trains(setting, [small_train(count=setting.variant.motor_count)])[0])
    return next((each for each in checks if each.name == "propeller_clearance"), None)


def test_two_discs_thirty_millimetres_apart_take_no_five_inches():
    # 30 mm between the shafts, 10 mm between the discs: 20 mm, 0.79 in
    room = room_of(twin(15))
    assert room.nearest.what == "other disc"
    assert room.largest_in == pytest.approx(20.0 / 25.4)
    check = clearance_check(twin(15))
    assert (check.verdict, check.excluding) == ("fails", True)
    assert "other disc" in check.note
    assert clearance_check(twin(150)).verdict == "ok"


def test_nothing_is_asked_where_nothing_is_near():
    assert settings(small_brief())[0].clearance is None
    assert settings(small_brief())[0].widest_in == 8.0
    check = clearance_check(small_brief())
    assert check is None or check.verdict == "no limit"


def test_the_note_names_what_is_nearest_and_the_reading_what_would_help():
    more = "[body]\nmain_wheel_mm = 150\nmain_wheel_height_mm = -70\ntail_wheel_mm = 600\ntail_wheel_height_mm = -10\n"
    brief = small_brief(("[thrust_line]", f"{more}[thrust_line]"))
    room = room_of(brief)
    # tail down: ground at -70 - 150 x 60/450 = -90; the disc has 30 + 90 - 25.2 mm; with the tail up 75
    assert room.nearest.what == "ground, tail up"
    assert room.largest_in == pytest.approx(150.0 / 25.4)
    assert settings(brief)[0].widest_in == pytest.approx(150.0 / 25.4)
    reading = room.reading(8.0)
    assert "leaves -" not in reading
    assert "8 in would strike it by 2 mm, 25 mm wanted" in reading
    assert f"A motor {math.ceil(101.6 - 75)} mm higher would do it" in reading
    assert "tail up" in clearance_check(brief).note
    assert "higher" not in room.reading(5.0)


def test_missing_gaps_are_assumptions_and_stated_ones_are_not():
    more = "[body]\ntop_mm = -60\nmain_wheel_height_mm = -80\n{}[thrust_line]"
    for extra, fields in (
        ("", {"least_gap_mm", "least_ground_gap_mm", "wheel_shrink_mm"}),
        ("least_gap_mm = 4\nwheel_shrink_mm = 2\n", {"least_ground_gap_mm"}),
    ):
        made = settings(small_brief(("[thrust_line]", more.format(extra))))[0].assumptions
        assert {each.field for each in made if each.subject == "body"} == fields
    assert {each.field for each in settings(twin(100))[0].assumptions if each.subject == "body"} == {"least_gap_mm"}


GEAR = (
    "[thrust_line]",
    "[body]\nmain_wheel_mm = 150\nmain_wheel_height_mm = -70\ntail_wheel_mm = 600\ntail_wheel_height_mm = -10\n"
    "[thrust_line]",
)


def test_a_variant_stands_on_its_own_wheels():
    legs = "main_wheel_mm = 240\nmain_wheel_height_mm = -70\nnose_wheel_mm = 60\nnose_wheel_height_mm = -88"
    own = ("[wing]", f"[variant.body]\n{legs}\n[wing]")
    designed, heavy = settings(small_brief(GEAR, own))
    assert {room.what for room in designed.clearance.rooms} == {"ground, tail up", "ground, tail down"}
    # 18 mm over 180 mm: the ground lies at -94 under the disc, where 25 mm square to it are 25 sqrt(1 + 0.1^2) upright
    (room,) = heavy.clearance.rooms
    assert room.what == "ground, on the nose wheel"
    assert room.radius_mm == pytest.approx(30.0 + 94.0 - 25.0 * math.hypot(1.0, 0.1))
    assert Layout.of(heavy, small_train()).body == heavy.variant.body
    assert loads_brief(dump_brief(heavy.stated)) == heavy.stated


def test_what_a_variant_does_not_state_is_that_of_the_aircraft():
    top = ("[wing]", "[variant.body]\ntop_mm = -60\n[wing]")
    designed, heavy = settings(small_brief(GEAR, top))
    assert [room.what for room in heavy.clearance.rooms] == ["body", *(room.what for room in designed.clearance.rooms)]
    assert {each.field for each in heavy.variant.assumptions if each.subject == "body"} >= {"least_gap_mm"}
    assert "least_gap_mm" not in {each.field for each in designed.assumptions}


def test_a_variant_with_other_items_and_no_body_says_where_its_wheels_stand():
    wheel = ("[wing]", '[[variant.item]]\nname = "nose wheel"\nadded = true\nmass_g = 9\nposition_mm = 30\n[wing]')
    designed, heavy = settings(small_brief(GEAR, wheel))
    said = "'heavy' changes items and has no [variant.body]: its wheels stand as in [body]"
    assert said in [each.text for each in heavy.assumptions]
    assert said not in [each.text for each in designed.assumptions]
    body = ("[wing]", "[variant.body]\nmain_wheel_mm = 150\nmain_wheel_height_mm = -80\n[wing]")
    assert said not in [each.text for each in settings(small_brief(GEAR, wheel, body))[1].assumptions]


@pytest.mark.parametrize(
    ("own", "key"),
    [
        ("nose_wheel_mm = 30\nnose_wheel_height_mm = -70", "variant[1].body.nose_wheel_mm"),
        ("main_wheel_height_mm = 60", "variant[1].body.main_wheel_height_mm"),
        ("top_mm = 25", "variant[1].body"),
        ("bottom_mm = -10", "variant[1].body.top_mm"),
    ],
)
def test_the_faults_of_a_variants_body_name_its_key(own, key):
    gear = (GEAR[0], GEAR[1].replace("[body]\n", "[body]\ntop_mm = -20\n"))
    with pytest.raises(InputFaults) as caught:
        small_brief(gear, ("[wing]", f"[variant.body]\n{own}\n[wing]"))
    assert [each.key for each in caught.value.faults] == [key]


def test_motor_places_stand_for_the_thrust_line():
    places = (
        '[[motor_place]]\nside_mm = -90\nturns = "left"\n'
        "[[motor_place]]\nside_mm = 110\nheight_mm = 50\nposition_mm = 40\n"
    )
    brief = small_brief(TWO, ("[thrust_line]", f"{places}[thrust_line]"))
    left, right = disc_places(brief.thrust_line, brief.motor_place, 2)
    assert (left.side_mm, left.height_mm, left.position_mm, left.turns) == (-90.0, 30.0, 0.0, -1)
    assert (right.side_mm, right.height_mm, right.position_mm, right.turns) == (110.0, 50.0, 40.0, 1)
    line = Geometry.of_brief(brief, settings(brief)[0].variant.airframe).thrust_line
    assert (line.side_mm, line.height_mm, line.position_mm) == (100.0, 40.0, 20.0)
    # one behind the other may overlap; in one plane they may not
    assert settings(brief)[0].clearance is None
    level = loads_brief(dump_brief(brief).replace("position_mm = 40.0", "position_mm = 4.0"))
    assert room_of(level).largest_in == pytest.approx((math.hypot(200.0, 20.0) - 10.0) / 25.4)


# ---------------------------------------------------------------- faults


def faults(text: str) -> dict[str, str]:
    with pytest.raises(InputFaults) as caught:
        loads_brief(text)
    return {fault.key: fault.rule for fault in caught.value.faults}


def test_what_cannot_be_is_named_at_once():
    text = (
        BRIEF + "[body]\ntop_mm = 25\nmain_wheel_height_mm = 20\n[control]\nfin_area_dm2 = 1\nfin_position_mm = 150\n"
    )
    found = faults(text)
    assert set(found) == {"body", "body.main_wheel_height_mm", "control.fin_position_mm"}
    assert "least_gap_mm" in found["body"]
    # the motor is 10 mm above the wheels, where 25 are wanted
    assert "lower by more than 15 mm" in found["body.main_wheel_height_mm"]


@pytest.mark.parametrize(
    ("more", "key"),
    [
        ("[control]\nfin_area_dm2 = 1\n", "control.fin_position_mm"),
        ("[body]\ntail_wheel_mm = 600\nmain_wheel_mm = 100\nmain_wheel_height_mm = -50\n", "body.tail_wheel_mm"),
        ("[body]\nmain_wheel_mm = 100\n", "body.main_wheel_height_mm"),
        ("[body]\nmain_wheel_mm = 100\nmain_wheel_height_mm = -90\nnose_wheel_mm = 120\nnose_wheel_height_mm = -80\n",
         "body.nose_wheel_mm"),
        ("[body]\ntop_mm = -90\nbottom_mm = -60\n", "body.top_mm"),
        ("[[motor_place]]\nside_mm = 90\n[[motor_place]]\nside_mm = -90\n", "motor_place"),
    ],
)  # fmt: skip
def test_each_fault_names_its_key(more, key):
    assert set(faults(BRIEF + more)) == {key}


@pytest.mark.parametrize(
    ("more", "keys"),
    [
        ("", {"thrust_line.side_mm"}),
        ("side_mm = 4\n", {"thrust_line.side_mm"}),
        ("[[motor_place]]\nside_mm = 3\n[[motor_place]]\nside_mm = -3\n", {"motor_place"}),
        ("side_mm = 90\n[[motor_place]]\nside_mm = 80\n[[motor_place]]\nside_mm = -80\n", {"thrust_line.side_mm"}),
    ],
)
def test_a_twin_needs_two_places(more, keys):
    assert set(faults(BRIEF.replace(*TWO) + more)) == keys


def test_near_things_need_a_thrust_line():
    assert "height_mm" in faults(BRIEF.split("[thrust_line]")[0] + "[body]\ntop_mm = 3\n")["thrust_line"]
