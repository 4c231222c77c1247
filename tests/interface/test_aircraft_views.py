"""Side and top view: to scale, complete, finite, no name upon another. Distances are those of the brief, by hand."""

import re
from collections.abc import Sequence
from itertools import pairwise
from typing import Any
from xml.etree import ElementTree

import numpy as np
import pytest
from hypothesis import HealthCheck, given, reject, settings
from hypothesis import strategies as st
from support.sheets import made_sheet
from support.small_aircraft import small_brief, small_train
from support.textboxes import collisions
from support.trains import simple_pack, simple_propeller, simple_train

from propmatch.brief import Brief, loads_brief
from propmatch.checks.limits import Check
from propmatch.checks.setting import ResolvedBrief
from propmatch.faults import InputFaults
from propmatch.sheet import margin_chart
from propmatch.sheet import picture as sheet_picture
from propmatch.sheet.aircraftviews import aircraft_views
from propmatch.sheet.labels import callouts, columned, folded, spread, text_width_pt
from propmatch.sheet.picture import Picture
from propmatch.sheet.viewlayout import Layout
from propmatch.sheet.viewpaper import arranged
from propmatch.sheet.viewshapes import side_view
from propmatch.words.shown import Shown

SVG = "{http://www.w3.org/2000/svg}"
LISTED = """
[aircraft]
name = "measured"
[wing]
area_dm2 = 15.0
span_mm = 1000
[[phase]]
name = "cruise"
airspeed_m_s = 10
share = 1
[[item]]
name = "servos"
mass_g = 25
position_mm = 300
height_mm = 40
[[item]]
name = "camera"
mass_g = 100
position_mm = 150
height_mm = -20
[[item]]
name = "string"
mass_g = 3
[[structure]]
name = "boom"
slicer_g = 60
position_mm = 420
[balance]
target_cg_mm = 235
cg_tolerance_mm = 6
cg_height_mm = 10
leading_edge_mm = 200
pack_tray_from_mm = 90
pack_tray_to_mm = 190
pack_height_mm = -15
motor_mm = 320
controller_mm = 260
nose_ballast_mm = 12
tail_ballast_mm = 620
wing_incidence_deg = 3
[tail]
area_dm2 = 3.0
span_mm = 400
position_mm = 650
height_mm = 55
[thrust_line]
height_mm = 90
position_mm = 340
tilt_deg = 4
"""
INCH = 25.4


def drawn(text: str, **train: Any) -> Picture:
    return picture_of(loads_brief(text), **train)


def picture_of(brief: Brief, **train: Any) -> Picture:
    design = ResolvedBrief.of(brief).as_designed
    train = {"propeller": simple_propeller(diameter_in=8.0, pitch_in=5.0)} | train
    picture = aircraft_views(design, simple_train(**train, **design.train_numbers))
    assert picture is not None
    return picture


def parts(picture: Picture) -> dict[str, list[np.ndarray]]:
    """Name of every part to the points (N, 2) of each time it is drawn, in user units of the SVG, y up."""
    found: dict[str, list[np.ndarray]] = {}
    for group in ElementTree.fromstring(picture.svg()).iter(f"{SVG}g"):
        name = group.get("class")
        if name is None:
            continue
        marks = [(float(use.get("x", 0)), float(use.get("y", 0))) for use in group.iter(f"{SVG}use")]
        lines = [child for child in group if child.tag == f"{SVG}path"]
        numbers = re.findall(r"-?[\d.]+", lines[0].get("d", "")) if lines else []
        points = np.array(numbers, dtype=float).reshape(-1, 2) if lines else np.array(marks)
        found.setdefault(name, []).append(points * [1, -1])
    return found


def scale_of(picture: Picture) -> float:
    """User units for a millimetre, by the scale bar and what is written beside it."""
    (bar,) = parts(picture)["scale-bar"]
    texts = [node.text or "" for node in ElementTree.fromstring(picture.svg()).iter(f"{SVG}text")]
    (length,) = [float(text.removesuffix(" mm")) for text in texts if re.fullmatch(r"[\d.]+ mm", text)]
    return float(np.ptp(bar[:, 0])) / length


def test_distances_on_paper_are_those_of_the_brief() -> None:
    picture = drawn(LISTED)
    found, scale = parts(picture), scale_of(picture)

    def size(name: str, axis: int) -> float:
        (points,) = found[name]
        return float(np.ptp(points[:, axis])) / scale

    def from_datum(name: str) -> np.ndarray:
        """Of the side view, in mm."""
        (datum,), (points,) = found["side-datum"], found[name]
        return (points - datum[0]) / scale

    near = {"abs": 0.03 / scale}  # the SVG writes hundredths of a unit
    assert size("top-wing", 0) == pytest.approx(150, **near)  # 15 dm2 over 1000 mm
    assert size("top-wing", 1) == pytest.approx(1000, **near)
    assert size("side-wing", 0) == pytest.approx(150, **near)
    assert size("top-tail", 0) == pytest.approx(75, **near)  # 3 dm2 over 400 mm
    assert size("top-tail", 1) == pytest.approx(400, **near)
    assert size("top-propeller-disc", 1) == pytest.approx(8 * INCH, **near)
    assert size("side-pack-tray", 0) == pytest.approx(100, **near)
    assert size("top-target", 0) == pytest.approx(12, **near)
    assert from_datum("side-wing")[:, 0].min() == pytest.approx(200, **near)
    assert from_datum("side-tail")[:, 0].min() == pytest.approx(650 - 75 / 4, **near)
    assert from_datum("side-mass-1")[0] == pytest.approx([300, 40], **near)
    assert from_datum("side-mass-2")[0] == pytest.approx([150, -20], **near)
    assert from_datum("side-mass-5")[0] == pytest.approx([320, 90], **near)
    assert from_datum("side-centre-of-gravity")[0] == pytest.approx([235, 10], **near)
    assert from_datum("side-pack-tray") == pytest.approx(np.array([[90, -15], [190, -15]]), **near)
    disc, line = from_datum("side-propeller-disc"), from_datum("side-thrust-line")
    assert np.hypot(*(disc[0] - disc[1])) == pytest.approx(8 * INCH, **near)
    assert disc.mean(axis=0) == pytest.approx([340, 90], **near)
    ahead = line[1] - line[0]
    assert np.degrees(np.arctan2(ahead[1], ahead[0])) == pytest.approx(4, abs=0.02)  # thrust points down to the front
    square = ahead @ (disc[0] - disc[1]) / np.hypot(*ahead) / (8 * INCH)
    assert square == pytest.approx(0, abs=1e-3)  # square to each other
    assert -np.degrees(np.arctan2(*(from_datum("side-wing")[30] - from_datum("side-wing")[0])[::-1])) == pytest.approx(
        3, abs=0.1
    )


def test_both_views_share_scale_and_place() -> None:
    found = parts(drawn(LISTED))
    for name in ("wing", "tail", "pack-tray", "target"):
        ((side,), (top,)) = found[f"side-{name}"], found[f"top-{name}"]
        assert (side[:, 0].min(), side[:, 0].max()) == pytest.approx((top[:, 0].min(), top[:, 0].max()), abs=0.02)
    for number in (1, 2, 5):
        assert found[f"side-mass-{number}"][0][0, 0] == found[f"top-mass-{number}"][0][0, 0]


def test_the_jet_leaves_the_disc_whole_and_narrows() -> None:
    """Momentum theory, Glauert 1926: from R in the disc to not less than R/sqrt(2) far behind it."""
    found = parts(drawn(LISTED))
    low, high = found["top-jet"]
    wide = (high - low)[:, 1] / np.ptp(found["top-propeller-disc"][0][:, 1])
    assert wide[0] == pytest.approx(1, abs=2e-3)
    assert np.all(np.diff(wide) < 1e-3)
    assert 1 / np.sqrt(2) < wide[-1] < 0.99


def test_dots_grow_with_the_mass_by_area() -> None:
    sizes = {line.get_gid(): line.get_markersize() for line in drawn(LISTED).figure().axes[0].get_lines()}
    assert sizes["top-mass-2"] ** 2 == pytest.approx(4 * sizes["top-mass-1"] ** 2)  # 100 g and 25 g
    assert sizes["side-mass-2"] == sizes["top-mass-2"]
    assert sizes["top-mass-4"] ** 2 == pytest.approx(0.6 * sizes["top-mass-2"] ** 2)  # 60 g, in one view alone


def test_every_line_is_numbered_and_what_has_no_place_is_named() -> None:
    picture = drawn(LISTED)
    texts = [node.text for node in ElementTree.fromstring(picture.svg()).iter(f"{SVG}text")]
    for number, name in enumerate(("servos", "camera", "string", "boom", "motor", "propeller", "controller"), start=1):
        assert any(text.startswith(f"{number}: {name}, ") for text in texts), name
    found = parts(picture)
    assert {f"top-mass-{n}" for n in (1, 2, 4, 5, 6, 7)} <= set(found)
    assert "top-mass-3" not in found
    assert "side-mass-4" not in found
    assert "Not drawn, as no place is known: string, pack." in texts
    assert "In the top view alone, as no height is stated: boom." in texts
    assert [len(found[f"top-mass-{n}"]) for n in (9, 10)] == [1, 1], "places for ballast"


def test_two_motors_stand_beside_the_centre_line() -> None:
    twin = LISTED.replace('name = "measured"', 'name = "measured"\nmotor_count = 2')
    picture = drawn(twin.replace("tilt_deg = 4", "side_mm = 160"))
    found, scale = parts(picture), scale_of(picture)
    motors = np.array([points[0] for points in found["top-mass-5"]])
    assert np.ptp(motors[:, 1]) / scale == pytest.approx(320, abs=0.1)
    discs = [points[:, 1].mean() for points in found["top-propeller-disc"]]
    assert sorted(discs) == pytest.approx(sorted(motors[:, 1]), abs=0.02)


def test_body_wheels_and_ground_are_drawn_as_far_as_stated() -> None:
    """Ground through both contacts: from -120 mm under the main wheels at 180 mm to -30 mm at 630 mm, 0.2 each mm."""
    body = """
[body]
top_mm = 30
bottom_mm = -35
half_width_mm = 28
nose_mm = 0
main_wheel_mm = 180
main_wheel_height_mm = -120
tail_wheel_mm = 630
tail_wheel_height_mm = -30
"""
    found, plain = parts(drawn(LISTED + body)), parts(drawn(LISTED))
    scale = scale_of(drawn(LISTED + body))
    (datum,) = found["side-datum"]
    (ground,) = found["side-ground-tail-down"]
    assert np.diff(ground[:, 1])[0] / np.diff(ground[:, 0])[0] == pytest.approx(0.2, abs=2e-3)
    below = (ground[0] - datum[0]) / scale
    assert below[1] == pytest.approx(-120 + 0.2 * (below[0] - 180), abs=0.2)
    (level,) = found["side-ground-tail-up"]
    assert (level - datum[0])[:, 1] / scale == pytest.approx([-120] * 4, abs=0.1)
    assert len(found["side-wheel"]) == 2
    sides = [points for points in found["top-body"] if np.ptp(points[:, 0]) > 0]
    assert np.ptp([points[0, 1] for points in sides]) / scale == pytest.approx(56, abs=0.1)
    assert not {"side-body", "side-wheel", "top-body"} & set(plain)


@pytest.mark.parametrize(
    ("main", "tail", "said", "level"),
    [
        # The ground at the disc: -60 + 5 with the tail up; through both wheels -60 (1 - s) - 30 s + 5, s = 160/450.
        ((180, -60), (630, -30), "ground, tail down: 33 mm below the disc", -44.333),
        ((430, -60), (630, -10), "ground, tail up: 43 mm below the disc", -55.0),
        ((430, -60), None, "ground: 43 mm below the disc", -55.0),
        ((430, 20), (630, 35), "ground, tail up: the disc strikes it by 37 mm", 25.0),
    ],
)
def test_the_nearest_ground_is_named_where_the_gap_is_reckoned(
    main: tuple[int, int], tail: tuple[int, int] | None, said: str, level: float
) -> None:
    """By hand: the lowest point of an 8 in disc whose centre is 90 mm up, -11.6; wheels that give way by 5 mm."""
    body = f"[body]\nmain_wheel_mm = {main[0]}\nmain_wheel_height_mm = {main[1]}\nwheel_shrink_mm = 5\n"
    body += "" if tail is None else f"tail_wheel_mm = {tail[0]}\ntail_wheel_height_mm = {tail[1]}\n"
    design = ResolvedBrief.of(loads_brief(LISTED.replace("tilt_deg = 4", "") + body)).as_designed
    layout = Layout.of(design, simple_train(propeller=simple_propeller(diameter_in=8.0, pitch_in=5.0)))
    assert layout is not None
    view = side_view(layout, Shown())
    (label,) = [each for each in view.labels if each.text.startswith("ground")]
    assert label.text == said
    (line,) = [each for each in view.shapes if each.name == said.split(":")[0].replace(",", "")]
    assert label.y == pytest.approx(np.interp(label.x, line.x, line.y))
    assert np.interp(340.0, line.x, line.y) == pytest.approx(level, abs=1e-3)


def test_the_fin_stands_in_the_side_view() -> None:
    """1.2 dm2 over 150 mm are 80 mm of mean chord, its quarter at 660 mm; the root at the height of the tail, 55 mm."""
    control = (
        "[control]\nfin_area_dm2 = 1.2\nfin_height_mm = 150\nfin_position_mm = 660\nrudder_chord_fraction = 0.25\n"
    )
    picture = drawn(LISTED + control)
    found, scale = parts(picture), scale_of(picture)
    (datum,), (fin,), (rudder,) = found["side-datum"], found["side-fin"], found["side-rudder"]
    edges = (fin - datum[0]) / scale
    assert [*edges.min(axis=0), *edges.max(axis=0)] == pytest.approx([640, 55, 720, 205], abs=0.1)
    assert (rudder - datum[0])[:, 0] / scale == pytest.approx([700, 700], abs=0.1)
    assert "fin 1.2 dm²" in [node.text for node in ElementTree.fromstring(picture.svg()).iter(f"{SVG}text")]
    assert "wing, tail and fin have their mean chord" in picture.summary
    assert "side-fin" not in parts(drawn(LISTED))


def test_the_numbers_stand_below_all_but_wing_and_tail() -> None:
    twin = LISTED.replace('name = "measured"', 'name = "measured"\nmotor_count = 2')
    design = ResolvedBrief.of(loads_brief(twin.replace("tilt_deg = 4", "side_mm = 160"))).as_designed
    layout = Layout.of(design, simple_train(**design.train_numbers))
    assert layout is not None
    paper = arranged(layout, Shown())
    for panel in paper.panels:
        drawn = [shape.y.min() for shape in panel.view.shapes if shape.name not in ("wing", "tail")]
        lowest = panel.zero[1] - paper.scale * min(drawn)
        assert min(level for *_, level in panel.numbers) > lowest


def test_every_motor_has_its_place() -> None:
    places = "".join(f"\n[[motor_place]]\nside_mm = {side}\nheight_mm = {up}" for side, up in ((-170, 90), (150, 110)))
    text = LISTED.replace('name = "measured"', 'name = "measured"\nmotor_count = 2') + places
    found, scale = parts(drawn(text)), scale_of(drawn(text))
    high = sorted(points[0, 1] for points in found["top-mass-5"])
    assert (high[1] - high[0]) / scale == pytest.approx(320, abs=0.1)
    aside = sorted(points[:, 1].mean() for points in found["side-propeller-disc"])
    assert (aside[1] - aside[0]) / scale == pytest.approx(20, abs=0.1)


def test_without_a_balance_there_is_nothing_to_draw() -> None:
    bare = LISTED[: LISTED.index("[balance]")]
    design = ResolvedBrief.of(loads_brief(bare)).as_designed
    assert aircraft_views(design, simple_train()) is None


def test_words_that_look_like_markup_stay_words() -> None:
    name = 'a style="fill: red; x: 1.23456" id="mine" <b>'
    picture = drawn(LISTED.replace('"servos"', f"'{name}'"))
    texts = "".join(ElementTree.fromstring(picture.svg()).itertext())
    assert name.split()[-1] in texts
    assert "1.23456" in texts
    assert 'id="mine"' in texts


def test_no_part_of_a_drawing_has_a_style_of_its_own() -> None:
    for picture in (drawn(LISTED), made_sheet().pictures[0]):
        assert all(node.get("style") is None for node in ElementTree.fromstring(picture.svg()).iter())
        assert picture.svg() == picture.svg()


def test_the_margin_chart_stays_small_with_every_kind_of_limit() -> None:
    kinds = ("brief", "part rating", "estimated rating", "common practice", "brief")
    checks = [
        Check(name=f"check {at}", value=8, limit=10, unit="A", margin=0.2, least=False, basis=basis, verdict="ok",
              assumed=at == 4)
        for at, basis in enumerate(kinds)
    ]  # fmt: skip
    assert len(margin_chart(checks).svg()) < 60_000


def test_the_sheet_shows_the_views_beside_their_numbers() -> None:
    section = made_sheet().section("views")
    (picture,), (table,) = section.pictures, section.tables
    assert "side-wing" in parts(picture)
    assert [row[0] for row in table.rows if row[0]] == [str(n) for n in range(1, len(table.rows))]
    whole = next(row for row in table.rows if row[1] == "all-up")
    masses = sum(float(row[2]) for row in table.rows if row[0])
    assert float(whole[2]) == pytest.approx(masses, abs=0.1 * len(table.rows))


# ---------------------------------------------------------------- names and numbers keep off each other


def apart(texts: Sequence[tuple[float, float, float]]) -> bool:
    """Of left, right and height of each."""
    return all(
        a[1] < b[0] or b[1] < a[0] or abs(a[2] - b[2]) > 7.6 for at, a in enumerate(texts) for b in texts[at + 1 :]
    )


heights = st.none() | st.floats(-200, 200).map(lambda x: round(x, 1))


@st.composite
def layouts(draw: Any) -> str:
    """A brief with any part of a layout."""

    def keys(**values: Any) -> list[str]:
        return [f"{key} = {value}" for key, value in values.items() if value is not None]

    count, target = draw(st.sampled_from((1, 2))), draw(st.floats(-300, 300).map(lambda x: round(x, 1)))
    maybe = st.none() | st.floats(target - 95, target + 150).map(lambda x: round(x, 1))
    lines = ["[aircraft]", 'name = "any"', f"motor_count = {count}"]
    lines += ["[wing]", *keys(area_dm2=draw(st.sampled_from((8, 15, 60))), span_mm=draw(st.sampled_from((600, 1500))))]
    lines += ["[[phase]]", 'name = "cruise"', *keys(airspeed_m_s=draw(st.sampled_from((6, 15, 60))), share=1)]
    for at in range(draw(st.integers(1, 30))):
        mass = draw(st.sampled_from((0, 1, 20, 300))) if at else 50
        lines += ["[[item]]", f'name = "thing {at}"', *keys(mass_g=mass, position_mm=draw(maybe))]
        lines += keys(height_mm=draw(heights))
    lines += ["[balance]", *keys(target_cg_mm=target, cg_height_mm=draw(heights), motor_mm=draw(maybe))]
    lines += keys(controller_mm=draw(maybe), leading_edge_mm=draw(st.sampled_from((None, target - 30))))
    lines += keys(nose_ballast_mm=draw(maybe), tail_ballast_mm=draw(maybe), pack_height_mm=draw(heights))
    if draw(st.booleans()):
        lines += keys(pack_tray_from_mm=target - 90, pack_tray_to_mm=target + draw(st.sampled_from((-90, 40))))
    if draw(st.booleans()):
        lines += ["[tail]", *keys(area_dm2=draw(st.sampled_from((0.5, 3))), span_mm=400, height_mm=draw(heights))]
        lines += keys(position_mm=target + draw(st.sampled_from((150, 700))))
    if draw(st.booleans()):
        fin = target + draw(st.sampled_from((10, 700)))
        lines += ["[control]", *keys(fin_area_dm2=draw(st.sampled_from((0.2, 2))), fin_position_mm=fin)]
    if draw(st.booleans()):
        lines += ["[thrust_line]", *keys(height_mm=draw(st.sampled_from((-80, 0, 150))))]
        lines += keys(position_mm=draw(maybe) or target, tilt_deg=draw(st.sampled_from((-20, 0, 30))))
        lines += keys(side_mm=90) if count == 2 else []
    if draw(st.booleans()):
        lines += [
            "[body]",
            *keys(top_mm=draw(st.sampled_from((None, 20))), half_width_mm=draw(st.sampled_from((None, 30)))),
        ]
        lines += keys(nose_mm=draw(st.none() | st.just(target - 90)), main_wheel_mm=target - 20)
        lines += keys(main_wheel_height_mm=draw(st.sampled_from((-260, -900))))
        if draw(st.booleans()):
            lines += keys(tail_wheel_mm=target + draw(st.sampled_from((10, 150))), tail_wheel_height_mm=-100)
    return "\n".join(lines)


@pytest.mark.slow
@settings(suppress_health_check=[HealthCheck.too_slow])
@given(layouts())
def test_any_layout_is_drawn_with_finite_numbers_and_no_name_upon_another(text: str) -> None:
    try:
        brief = loads_brief(text)
    except InputFaults:
        reject()  # a propeller in the body, a thing too far outside
    design = ResolvedBrief.of(brief).as_designed
    layout = Layout.of(design, simple_train(**design.train_numbers))
    assert layout is not None
    paper = arranged(layout, Shown())
    assert np.all(np.isfinite([paper.scale, paper.height_pt, *paper.bar]))
    assert paper.height_pt < 6 * paper.width_pt
    svg = picture_of(brief).svg()
    assert collisions(svg) == []
    assert not re.search(r"[\" ](nan|inf|-inf)[\" \n]", svg)
    named = "".join(ElementTree.fromstring(svg).itertext())
    assert all(line.name in named for line in design.brief.item)


@given(st.lists(st.tuples(st.floats(0, 280), st.floats(5, 150)), max_size=12))
def test_callouts_keep_off_each_other(labels: list[tuple[float, float]]) -> None:
    points, widths = [x for x, _ in labels], [wide for _, wide in labels]
    placed = callouts(points, widths, 288.0)
    texts = [(left, left + wide, 10.0 * row) for (left, row), wide in zip(placed, widths, strict=True)]
    assert apart(texts)
    assert all(left >= 0 and left + wide <= 288.0 + 1e-9 for (left, _), wide in zip(placed, widths, strict=True))


@given(st.lists(st.floats(-50, 400), max_size=20).map(sorted))
def test_spread_numbers_stand_apart_in_order_and_inside(wanted: list[float]) -> None:
    placed = spread(wanted, 11.0, 0.0, 250.0)
    step = min(11.0, 250.0 / max(len(wanted) - 1, 1))
    assert all(b - a >= step - 1e-9 for a, b in pairwise(placed))
    assert all(-1e-9 <= at <= 250.0 + 1e-9 for at in placed)


def test_numbers_with_room_stay_where_they_belong() -> None:
    assert spread([10.0, 50.0, 90.0], 11.0, 0.0, 250.0) == [10.0, 50.0, 90.0]


def test_long_entries_fold_and_columns_keep_every_word() -> None:
    texts = ["one", "two " * 20, "three"]
    assert all(text_width_pt(line, 7.6) <= 120 for line in folded(texts[1], 120, 7.6))
    kept = " ".join(line for column in columned(texts, 288.0, 7.6) for line in column)
    assert kept.split() == " ".join(texts).split()


def test_a_pack_that_cannot_reach_the_target_is_drawn_where_it_ends_up() -> None:
    brief = small_brief(("pack_tray_to_mm = 190", "pack_tray_to_mm = 25"))
    design = ResolvedBrief.of(brief).as_designed
    layout = Layout.of(design, small_train(pack=simple_pack(mass_g=60.0)))
    assert layout is not None
    pack = next(mass for mass in layout.masses if mass.name == "pack")
    assert 20 <= (pack.position_mm or 0) <= 25
    total = sum(mass.mass_g for mass in layout.masses if np.isfinite(mass.mass_g))
    moment = sum(mass.mass_g * (mass.position_mm or 0) for mass in layout.masses if np.isfinite(mass.mass_g))
    assert layout.cg_mm == pytest.approx(moment / total)


def test_without_matplotlib_every_line_is_where_it_would_be(monkeypatch: pytest.MonkeyPatch) -> None:
    """Drawn plainly: outlines, lines, marks and words of the same names at the same places as by matplotlib."""
    picture = drawn(LISTED)
    known, words = parts(picture), [node.text for node in ElementTree.fromstring(picture.svg()).iter(f"{SVG}text")]
    monkeypatch.setattr(sheet_picture, "has", lambda module: False)
    root = ElementTree.fromstring(picture.svg())
    assert [node.text for node in root.iter(f"{SVG}text")] == words
    plain: dict[str, list[np.ndarray]] = {}
    for group in root.iter(f"{SVG}g"):
        lines = [each for each in group if each.get("transform") is None]
        places = [each.get("transform", "") for each in group if each not in lines]
        marks = [re.findall(r"translate\((\S+) (\S+)\)", place)[0] for place in places]
        found = re.findall(r"-?[\d.]+", lines[0].get("d", "")) if lines else marks
        plain.setdefault(group.get("class"), []).append(np.array(found, dtype=float).reshape(-1, 2) * [1, -1])
    assert plain.keys() == known.keys()
    for name, drawings in known.items():
        assert len(plain[name]) == len(drawings)
        for mine, theirs in zip(plain[name], drawings, strict=True):
            for end in (np.min, np.max):  # a straight run of points may be drawn as one line
                np.testing.assert_allclose(end(mine, axis=0), end(theirs, axis=0), atol=0.02, err_msg=name)
