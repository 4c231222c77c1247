"""Filament of printed parts, items of a variant, heights and the one rule for mass, by sums and moments by hand."""

import re

import numpy as np
import pytest
from support.small_aircraft import small_brief
from support.trains import simple_controller, simple_motor, simple_pack, simple_propeller, simple_train

from propmatch.aircraft.balance import MassBuildUp, place_trains
from propmatch.brief import dump_brief, loads_brief, resolve_variants
from propmatch.checks.judged import judged, judged_trains
from propmatch.checks.placing import balance_assumptions, mass_lines, placing, trim_change_deg, without_place
from propmatch.checks.ratings import rating_lanes
from propmatch.checks.setting import settings
from propmatch.commands.saying import mass_block, unplaced_words
from propmatch.faults import InputFaults
from propmatch.page.edit import edited
from propmatch.questions.ask import mass_range
from propmatch.records.masses import FILAMENTS, Structure, build_lines
from propmatch.train.lanes import train_lanes
from propmatch.words.shown import Shown

HEAD = '[aircraft]\nname = "invented"\n'


def masses(text):
    """Bare mass of each build of a brief, the aircraft as designed first."""
    return [each.airframe.bare_mass_g for each in resolve_variants(loads_brief(HEAD + text))]


def keys_of(text):
    with pytest.raises(InputFaults) as caught:
        loads_brief(HEAD + text)
    return {fault.key: str(fault) for fault in caught.value.faults}


# ---------------------------------------------------------------- filament

VARIANTS = "".join(f'[[variant]]\nname = "{word}"\nfilament = "{word}"\n' for word in ("solid", "foamed"))


@pytest.mark.parametrize(
    "part",
    [
        "slicer_g = 300\nflow_rate = 0.35\nhardware_g = 20",
        "slicer_g = 105\nslicer_flow = 0.35\nhardware_g = 20",
        'slicer_g = 300\nmaterial = "foamed"\nhardware_g = 20',
        "weighed_g = 125\nflow_rate = 0.35\nhardware_g = 20",
        'weighed_g = 125\nmaterial = "foamed"\nprinted_share = 0.84',
    ],
    ids=[
        "flow of the print",
        "flow of the slice",
        "foamed as sliced",
        "weighed, hardware known",
        "weighed, share known",
    ],
)
def test_a_part_that_is_foamed_already_weighs_its_slice_when_made_solid(part):
    # 30 g of servos, 20 g of hardware, 105 g of filament at flow 0.35: 155 g. Solid: 105 x 100/35 = 300, so 350 g.
    # In foamed filament it is what it was.
    text = f'[[item]]\nname = "servos"\nmass_g = 30\n[[structure]]\n{part}\n{VARIANTS}'
    assert masses(text) == pytest.approx([155.0, 350.0, 155.0])


def test_each_part_in_its_own_filament():
    # Wing 100 g as sliced, fuselage 58 g, trays 12 g. Wing foamed, the rest as it is: 35 + 58 + 12 = 105 g.
    # Tray at 1.30 g/cm3 and flow 0.9, the slice being of 1.25: 12 x 1.30/1.25 x 0.9 = 11.232, in all 169.232 g.
    # All foamed but the tray: 0.35 x 158 + 12 = 67.3 g. A third of the filament more: 170 x 1.3 = 221 g.
    parts = "".join(
        f'[[structure]]\nname = "{name}"\nslicer_g = {grams}\nslicer_density_g_cm3 = 1.25\ndensity_g_cm3 = 1.25\n'
        for name, grams in (("wing", 100), ("fuselage", 58), ("servo trays", 12))
    )
    variants = (
        '[[variant]]\nname = "a"\n[[variant.structure]]\nname = "wing"\nmaterial = "foamed"\ndensity_g_cm3 = 1.25\n'
        '[[variant]]\nname = "b"\n[[variant.structure]]\nname = "servo trays"\ndensity_g_cm3 = 1.3\nflow_rate = 0.9\n'
        '[[variant]]\nname = "c"\nfilament = 0.35\n[[variant.structure]]\nname = "servo trays"\nmaterial = "solid"\n'
        '[[variant]]\nname = "d"\nfilament = 1.3\n'
    )
    assert masses(parts + variants) == pytest.approx([170.0, 105.0, 169.232, 67.3, 221.0])
    brief = loads_brief(HEAD + parts + variants)
    assert loads_brief(dump_brief(brief)) == brief
    assert not [each for each in resolve_variants(brief)[2].assumptions if each.subject == "filament"]


def test_what_is_added_to_the_print_stays_and_may_be_a_share_of_it():
    # 200 g of filament and a quarter of it in paint and glue, 6 g of rods: 256 g; foamed 70 + 50 + 6 = 126 g.
    part = "[[structure]]\nslicer_g = 200\nfinish_share = 0.25\nhardware_g = 6\n"
    assert masses(part + VARIANTS) == pytest.approx([256.0, 256.0, 126.0])
    # Weighed 256 g with the same additions: (256 - 6)/1.25 = 200 g of filament.
    weighed = Structure(weighed_g=256, finish_share=0.25, hardware_g=6)
    assert (weighed.filament_g, weighed.added_g) == pytest.approx((200.0, 56.0))
    for each in (weighed, Structure(slicer_g=200, finish_share=0.25, hardware_g=6)):
        other = each.with_filament(1.5)
        assert (other.filament_g, other.added_g, other.mass_g) == pytest.approx((300.0, 56.0, 356.0))


def test_tough_filament_by_density():
    # 100 g sliced in standard filament of 1.24 g/cm3 are 80.645 cm3; at 1.15 g/cm3 they weigh 92.742 g.
    part = '[[structure]]\nslicer_g = 100\nmaterial = "standard"\n[[variant]]\nname = "t"\nfilament = "tough"\n'
    assert masses(part) == pytest.approx([100.0, 100 / 1.24 * 1.15])
    said = resolve_variants(loads_brief(HEAD + part))[1].assumptions
    assert {each.value for each in said if each.field == "density_g_cm3"} == {1.24, 1.15}
    (sliced,) = [each for each in resolve_variants(loads_brief(HEAD + part))[0].assumptions if "filament" in each.text]
    assert sliced.field == "slicer_density_g_cm3"


def test_a_stated_density_says_what_the_slicer_is_taken_to_be_set_to():
    part = "[[structure]]\nslicer_g = 100\ndensity_g_cm3 = 1.05\n"
    (said,) = [each for each in resolve_variants(loads_brief(HEAD + part))[0].assumptions if "slicer" in each.text]
    assert (said.field, said.value) == ("slicer_density_g_cm3", 1.05)
    for more in ("slicer_density_g_cm3 = 1.24\n", ""):
        known = part.replace("density_g_cm3 = 1.05\n", "") if not more else part + more
        assert not [
            each for each in resolve_variants(loads_brief(HEAD + known))[0].assumptions if "slicer" in each.text
        ]


def test_filaments_lie_within_what_data_sheets_and_practice_say():
    # Densities of published data sheets, values from memory: PLA 1.21 to 1.27, ABS 1.03 to 1.08, nylon 1.01 to 1.15,
    # PETG 1.23 to 1.29 g/cm3. Foamed parts weigh 0.30 to 0.40 of solid ones: common practice, no published source.
    assert 1.21 <= FILAMENTS["standard"].density_g_cm3 <= 1.27
    assert 1.03 <= FILAMENTS["tough"].density_g_cm3 <= 1.29
    brief = loads_brief(HEAD + "[[structure]]\nslicer_g = 100\n" + VARIANTS)
    (said,) = [each for each in resolve_variants(brief)[2].assumptions if each.subject == "filament"]
    assert (said.value, said.low, said.high) == (0.35, 0.30, 0.40)
    assert "common practice, no published source" in said.text


# ---------------------------------------------------------------- items of a variant

ITEMS = """
[[item]]
name = "all the rest"
mass_g = 242
position_mm = 242.8
height_mm = 10
[[item]]
name = "skid"
mass_g = 6
position_mm = 200
height_mm = -30
"""


def build_of(variant):
    brief = loads_brief(f'{HEAD}{ITEMS}[[variant]]\nname = "v"\n{variant}')
    return settings(brief)[1].build


def test_wheels_of_a_variant_sit_where_they_are():
    # (242 x 242.8 + 59 x 150)/301 = (58 757.6 + 8 850)/301 = 224.6 mm; height (2 420 - 59 x 60)/301 = -3.72 mm.
    wheels = 'name = "wheels"\nadded = true\nmass_g = 59\nposition_mm = 150\nheight_mm = -60\n'
    build = build_of(f'[[variant.item]]\nname = "skid"\nremoved = true\n[[variant.item]]\n{wheels}')
    assert build.mass_g == pytest.approx(301.0)
    assert build.position_mm == pytest.approx(67607.6 / 301)
    assert round(build.position_mm, 1) == 224.6
    assert build.height_mm == pytest.approx(-1120 / 301)


def test_an_item_takes_another_mass_place_or_height_and_keeps_the_rest():
    # The skid at 20 g: (58 757.6 + 4 000)/262; at 400 mm: (58 757.6 + 2 400)/248; 40 mm below the line: 2 180/248.
    assert build_of('[[variant.item]]\nname = "skid"\nmass_g = 20\n').position_mm == pytest.approx(62757.6 / 262)
    moved = build_of('[[variant.item]]\nname = "skid"\nposition_mm = 400\n')
    assert (moved.mass_g, moved.position_mm) == pytest.approx((248.0, 61157.6 / 248))
    assert build_of('[[variant.item]]\nname = "skid"\nheight_mm = -40\n').height_mm == pytest.approx(2180 / 248)
    without = build_of('[[variant.item]]\nname = "skid"\nmass_g = 0\n')
    assert [line.name for line in without.lines] == ["all the rest"]


def test_an_item_beside_one_bare_mass():
    text = f'{HEAD}bare_mass_g = 242\n[balance]\ntarget_cg_mm = 220\nbare_cg_mm = 242.8\n[[variant]]\nname = "v"\n'
    text += '[[variant.item]]\nname = "wheels"\nadded = true\nmass_g = 59\nposition_mm = 150\n'
    designed, wheels = (each.build for each in settings(loads_brief(text)))
    assert (designed.mass_g, designed.position_mm) == (242.0, 242.8)
    assert (wheels.mass_g, wheels.position_mm) == pytest.approx((301.0, 67607.6 / 301))


# ---------------------------------------------------------------- heights

HEIGHTS = """
[[structure]]
name = "wing"
slicer_g = 150
position_mm = 245
height_mm = 25
[[structure]]
name = "fuselage"
slicer_g = 80
position_mm = 255
height_mm = 2
[[item]]
name = "logger"
mass_g = 30
position_mm = 130
height_mm = {logger}
[[variant]]
name = "raised"
[[variant.item]]
name = "logger"
height_mm = 88.6666667
[wing]
area_dm2 = 16
span_mm = 1100
[balance]
target_cg_mm = 234
cg_height_mm = 20
pack_height_mm = {pack}
controller_height_mm = 0
motor_mm = 315
controller_mm = 250
[tail]
area_dm2 = 2.6
span_mm = 380
position_mm = 640
[thrust_line]
height_mm = 120
position_mm = 330
[[phase]]
name = "cruise"
airspeed_m_s = 14
share = 1
"""


def heights(**changes):
    """The brief, every height of it stated: 230 g of print, a logger, and the train below."""
    return loads_brief(HEAD + HEIGHTS.format(**{"logger": "-10", "pack": "-12"} | changes))


def high_train():
    return simple_train(
        motor=simple_motor(mass_g=28.0), propeller=simple_propeller(mass_g=6.0),
        controller=simple_controller(mass_g=12.0), pack=simple_pack(mass_g=94.0),
    )  # fmt: skip


def arm_mm(setting):
    found = placing(setting, [high_train()], ["2S"])
    return float(found.trim.trim.thrust_arm_mm[0, 2, 0]), " ".join(found.readings(show=str))


def test_the_thrust_line_passes_where_the_heights_say():
    # 150 x 25 + 80 x 2 - 30 x 10 + 34 x 120 + 12 x 0 - 94 x 12 = 3 750 + 160 - 300 + 4 080 - 1 128 = 6 562 g mm over
    # 400 g: 16.405 mm, so the thrust line passes 103.595 mm above it, not 120 - 20 = 100.
    # Pack 120 mm and logger 98.667 mm higher: (94 x 120 + 30 x 98.667)/400 = 14 240/400 = 35.6 mm: 52.005, arm 67.995.
    low, raised = settings(heights())[0], settings(heights(pack="108"))[1]
    lines = mass_lines(low, high_train())
    assert MassBuildUp(lines).mass_g == pytest.approx(400.0)
    assert MassBuildUp(lines).height_mm == pytest.approx(16.405)
    assert MassBuildUp(mass_lines(raised, high_train())).height_mm == pytest.approx(16.405 + 35.6, abs=1e-6)
    assert arm_mm(low)[0] == pytest.approx(103.595)
    arm, said = arm_mm(raised)
    assert arm == pytest.approx(67.995, abs=1e-6)
    assert "52 mm above it with 2S; cg_height_mm = 20 of the brief gives way" in said
    assert not [each for each in balance_assumptions(low, high_train()) if each.field == "cg_height_mm"]


def test_without_a_height_the_stated_one_stands_in_and_the_line_is_named():
    text = HEAD + HEIGHTS.format(logger="0", pack="-12").replace("height_mm = 2\n", "")
    setting = settings(loads_brief(text))[0]
    arm, said = arm_mm(setting)
    assert arm == pytest.approx(100.0)
    assert "lies at 20 mm as stated, as no height says where these are: fuselage" in said
    (assumed,) = [each for each in balance_assumptions(setting, high_train()) if each.field == "cg_height_mm"]
    assert assumed.value == 20.0
    bare = settings(loads_brief(text.replace("cg_height_mm = 20\n", "").replace("pack_height_mm = -12\n", "")))[0]
    arm, said = arm_mm(bare)
    assert arm == pytest.approx(120.0)
    assert "is where heights start, as no height says where these are: fuselage, pack" in said


def test_a_line_without_a_place_is_named_for_each_build_and_heights_stay_known():
    text = HEAD + HEIGHTS.format(logger="-10", pack="-12").replace("position_mm = 130\n", "")
    placed = f'{text}[[variant]]\nname = "placed"\n[[variant.item]]\nname = "logger"\nposition_mm = 130\n'
    unknown, raised, known = settings(loads_brief(placed))
    assert (without_place(unknown, high_train()), without_place(known, high_train())) == (("logger",), ())
    both = settings(loads_brief(text.replace("position_mm = 255\n", "")))[0]
    assert sorted(without_place(both, high_train())) == ["fuselage", "logger"]
    assert unplaced_words([unknown, raised, known], high_train()) == [
        "Balance unknown of as designed and raised, as no position says where these are: logger."
    ]
    # The height is that of the build with every place: 16.405 mm, as above.
    (height,) = place_trains(unknown.geometry, unknown.build, [high_train()]).listed_height_mm
    assert height == pytest.approx(16.405)
    assert "16 mm above it" in arm_mm(unknown)[1]


def test_one_bare_mass_has_one_height():
    # 265 g at 8 mm, motor, propeller 34 g at 30 mm, controller and pack 12 + 52 g at -6 mm:
    # (2 120 + 1 020 - 384)/363 = 7.592 mm.
    brief = small_brief(("bare_cg_mm = 240", "bare_cg_mm = 240\nbare_height_mm = 8\npack_height_mm = -6"))
    lines = mass_lines(settings(brief)[0], simple_train())
    assert MassBuildUp(lines).mass_g == pytest.approx(363.0)
    assert MassBuildUp(lines).height_mm == pytest.approx(2756 / 363)


def test_the_build_up_keeps_names_whole_and_lines_on_the_page():
    names = ["foamed wing, solid fuselage", "with a camera on the wing", "tricycle gear", "without ballast"]
    variants = "".join(f'[[variant]]\nname = "{name}"\nbare_mass_g = {200 + at}\n' for at, name in enumerate(names))
    lines = mass_block(settings(loads_brief(HEAD + HEIGHTS.format(logger="-10", pack="-12") + variants)),
                       high_train(), Shown())  # fmt: skip
    assert max(map(len, lines)) <= 80
    text = "\n".join(lines)
    parts = text.split("\n\n")
    heads = " ".join(part.partition("\n  wing")[0] for part in parts).split()
    for name in ("as designed", *names):
        assert all(heads.count(word) >= 1 for word in name.split()), name
    for row in ("wing ", "fuselage", "controller", "all-up", "centre of gravity, mm aft  ", "centre of gravity, mm up"):
        assert all(f"  {row}" in part for part in parts), row
    # 16.405 mm as above.
    assert re.search(r"centre of gravity, mm up +16\.4 ", parts[0])


def test_the_build_up_says_where_each_pack_sits_and_what_it_misses():
    # As designed 306 g without the pack; 150 x 245 + 80 x 255 + 30 x 130 + 28 x 315 + 6 x 330 + 12 x 250 =
    # 74 850 g mm. Target 234 mm x 400 g = 93 600: the pack at 18 750/94 = 199.5 mm, the tray's.
    # Logger at 60 mm: 72 750 g mm, 20 850/94 = 221.8 mm wanted, 11.8 behind the tray: 11.8 x 94/400 = 2.8 mm ahead of
    # the target; ballast at 640 mm: 400 x 2.775/(640 - 234) = 2.7 g.
    moved = '[[variant]]\nname = "far"\n[[variant.item]]\nname = "logger"\nposition_mm = 60\n'
    tray = ("[balance]\n", "[balance]\npack_tray_from_mm = 60\npack_tray_to_mm = 210\ntail_ballast_mm = 640\n"
            "cg_tolerance_mm = 1\n")  # fmt: skip
    built = settings(loads_brief(HEAD + HEIGHTS.format(logger="-10", pack="-12").replace(*tray) + moved))
    text = "\n".join(mass_block(built, high_train(), Shown()))
    assert re.search(r"pack at, mm aft +199 +199 +210\n", text)
    changes = [trim_change_deg(setting, high_train()) for setting in built]
    assert re.search(rf"trim change with throttle, deg {' +'.join(['', *(f'{each:.1f}' for each in changes)])}", text)
    assert changes[0] == placing(built[0], [high_train()], ["2S"]).trim.worst_deg
    assert "- as designed" not in text
    flat = " ".join(text.split())
    assert f"- far, {high_train().pack.name} (94 g): pack centre at 222 mm is wanted, 12 mm behind the tray" in flat
    assert "lies 2.8 mm ahead of the target; 3 g of ballast at 640 mm would restore it." in flat


# ---------------------------------------------------------------- one rule for mass

PRINTED = (
    ("bare_mass_g = 265\n", ""),
    ('[[variant]]\nname = "heavy"\nbare_mass_g = 330\n',
     '[[structure]]\nname = "print"\nslicer_g = 171\nglue_g = 14\nposition_mm = 260\n'
     '[[item]]\nname = "gear"\nmass_g = 80\nposition_mm = 190\n'),
    ("bare_cg_mm = 240\n", ""),
)  # fmt: skip


def printed_brief(*more):
    return small_brief(*PRINTED, *more)


def test_a_stated_mass_is_that_of_a_variant_of_that_mass():
    trains, variants = [simple_train()], ""
    bare = np.array([110.0, 180.0, 265.0, 300.0])
    for mass in bare:
        variants += f'[[variant]]\nname = "{mass:g} g"\nbare_mass_g = {mass:g}\n'
    built = settings(printed_brief(("[limits]", f"{variants}[limits]")))
    one = np.zeros(bare.size, dtype=np.intp)
    lanes, ratings = train_lanes(trains)[0].take(one), rating_lanes(trains).take(one)
    found = judged(built[0], lanes, ratings, all_up_mass_g=bare + simple_train().mass_g)
    each = [judged_trains(setting, trains)[0] for setting in built[1:]]
    for name in ("balance", "all_up_mass", "thrust_to_weight"):
        assert found[name].value == pytest.approx([measured[name].value[0] for measured in each]), name
    # By hand at 180 g: 80 g at 190 and 100 g at 260, glue among them: (15 200 + 26 000)/180 = 228.889 mm.
    assert built[2].build.position_mm == pytest.approx(41200 / 180)


def test_no_mass_is_asked_for_that_the_items_alone_exceed():
    # 80 g of items and 14 g of glue stay, whatever the print weighs.
    brief = printed_brief(("pack_tray_from_mm = 20\npack_tray_to_mm = 190", ""))
    train = simple_train()
    found = mass_range(brief, train)
    assert found.lightest_by == ()
    assert found.lightest_g == pytest.approx(train.mass_g + 94 + 1)
    setting = settings(brief)[0]
    lanes, ratings = train_lanes([train])[0], rating_lanes([train])
    below = judged(setting, lanes, ratings, all_up_mass_g=train.mass_g + 90)
    assert np.isnan(below["all_up_mass"].value).all()
    assert not below.passes("thrust_to_weight").any()


def test_the_page_changes_a_bare_mass_as_a_variant_does():
    text = dump_brief(printed_brief())
    weighed = settings(printed_brief(("[limits]", '[[variant]]\nname = "w"\nbare_mass_g = 180\n[limits]')))[1].build
    page = settings(edited(text, {"aircraft.bare_mass_g": 180}))[0].build
    assert page.mass_g == pytest.approx(180)
    assert page.position_mm == pytest.approx(weighed.position_mm)
    with pytest.raises(InputFaults, match="above 94 g"):
        edited(text, {"aircraft.bare_mass_g": 90})


# ---------------------------------------------------------------- bad input


def test_every_fault_of_the_lists_at_once_with_what_would_be_right():
    found = keys_of(f"""{ITEMS}
[[structure]]
name = "wing"
slicer_g = 100
position_mm = 2450
[balance]
target_cg_mm = 230
[tail]
area_dm2 = 3
span_mm = 400
position_mm = 640
[[variant]]
name = "a"
[[variant.item]]
name = "skidd"
mass_g = 8
[[variant.item]]
name = "skid"
added = true
mass_g = 8
[[variant.item]]
name = "floats"
added = true
mass_g = 80
position_mm = -900
[[variant.structure]]
name = "wings"
material = "foamed"
[[variant]]
name = "b"
bare_mass_g = 200
""")
    assert list(found) == [
        "structure[1].position_mm", "variant[1].item[1].name", "variant[1].item[2].name",
        "variant[1].item[3].position_mm", "variant[1].structure[1].name", "variant[2].bare_mass_g",
    ]  # fmt: skip
    assert "did you mean skid?" in found["variant[1].item[1].name"]
    assert "added = true" in found["variant[1].item[1].name"]
    assert "leave out added" in found["variant[1].item[2].name"]
    assert "did you mean wing?" in found["variant[1].structure[1].name"]
    # Tail end 640 + 0.75 x 75 = 696.25 mm, nose 230 - 466.25 = -236.25; a fifth of the length is 186.5 mm.
    assert "from -236 to 696 mm" in found["structure[1].position_mm"]
    assert "186 mm more" in found["structure[1].position_mm"]
    assert "above 248 g" in found["variant[2].bare_mass_g"]


def test_every_fault_of_a_filament_at_once():
    found = keys_of("""
[[structure]]
name = "wing"
slicer_g = 100
material = "formed"
[[structure]]
name = "fuselage"
slicer_g = 80
density_g_cm3 = 7.85
[[structure]]
name = "tail"
[[structure]]
name = "nose"
weighed_g = 20
[[structure]]
name = "pylon"
slicer_g = 10
printed_share = 0.5
[[variant]]
name = "v"
filament = "foam"
[[variant.structure]]
name = "wing"
[[variant.structure]]
name = "tail"
density_g_cm3 = 2700
[[variant.item]]
name = "skid"
[[variant.item]]
name = "gear"
added = true
""")
    assert list(found) == [
        "structure[1].material", "structure[2].density_g_cm3", "structure[3].slicer_g", "structure[4].weighed_g",
        "structure[5].printed_share", "variant[1].filament", "variant[1].structure[1].name",
        "variant[1].structure[2].density_g_cm3", "variant[1].item[1].name", "variant[1].item[2].mass_g",
    ]  # fmt: skip
    assert "did you mean foamed?" in found["structure[1].material"]
    assert "at most 2.6 g/cm3, more is solid metal" in found["structure[2].density_g_cm3"]


PLACES = """
[[item]]
name = "servos"
mass_g = 30
position_mm = 200
height_mm = {height}
[wing]
span_mm = 700
[balance]
target_cg_mm = 165
motor_mm = {motor}
controller_mm = {controller}
nose_ballast_mm = {ballast}
{tail}
[thrust_line]
height_mm = 5
position_mm = -12
side_mm = {side}
[body]
main_wheel_mm = {wheel}
main_wheel_height_mm = -95
[control]
fin_area_dm2 = 1
fin_position_mm = {fin}
"""
_TAIL = "[tail]\narea_dm2 = 2.3\nspan_mm = 270\nposition_mm = 470"


def places(tail=_TAIL, **changes):
    usual = {"height": 0, "motor": 5, "controller": 50, "ballast": 5, "side": 0, "wheel": 125, "fin": 480}
    return PLACES.format(tail=tail, **(usual | changes))


@pytest.mark.parametrize("tail", [_TAIL, ""], ids=["by the tail", "by the span"])
def test_no_place_is_outside_the_aircraft_and_none_makes_it_longer(tail):
    # By the tail it ends at 470 + 0.75 x 85.2 = 533.9 mm, and 147.5 mm more may stick out; without one it reaches
    # 700 mm ahead of and behind the centre of gravity, and 280 mm more.
    loads_brief(HEAD + places(tail))
    far = keys_of(places(tail, height=-351, motor=3000, controller=2000, ballast=-1200, wheel=1500, fin=3000))
    assert list(far) == [
        "item[1].height_mm", "balance.motor_mm", "balance.controller_mm", "balance.nose_ballast_mm",
        "body.main_wheel_mm", "control.fin_position_mm",
    ]  # fmt: skip
    assert "half the span, 350 mm" in far["item[1].height_mm"]
    assert ("from -204 to 534 mm" if tail else "from -535 to 865 mm") in far["balance.motor_mm"]
    two = places(tail, side=351).replace("[[item]]", "motor_count = 2\n[[item]]", 1)
    assert list(keys_of(two)) == ["thrust_line.side_mm"]


def test_faults_of_one_entry_and_between_entries_at_once():
    # An item that cannot be read hides neither the one beyond the tail nor what variants ask of the lists.
    found = keys_of("""
[wing]
span_mm = 3
[[item]]
name = "servos"
mass_g = -30
[[item]]
name = "receiver"
mass_g = 8
position_mm = 5000
[balance]
target_cg_mm = 165
[tail]
area_dm2 = 2.3
span_mm = 270
position_mm = 470
[[variant]]
name = "a"
filament = "foamed"
[[variant.item]]
name = "servos"
mass_g = 20
[[variant.item]]
name = "reciever"
removed = true
[[variant]]
name = "b"
[[variant.structure]]
name = "wing"
material = "foamed"
""")
    assert list(found) == [
        "wing.span_mm", "item[1].mass_g", "item[2].position_mm", "variant[1].filament", "variant[1].item[2].name",
        "variant[2].structure",
    ]  # fmt: skip


def test_the_body_of_a_variant_is_looked_at_over_that_of_the_aircraft_beside_other_faults():
    tail = '[[variant]]\nname = "v"\n[variant.body]\ntail_wheel_mm = {}\ntail_wheel_height_mm = -20\n'
    wheels = "[variant.body]\nmain_wheel_mm = 125\nmain_wheel_height_mm = -95\n"
    text = places() + tail.replace("[variant.body]\n", wheels)
    loads_brief(HEAD + text.format(490))
    assert list(keys_of(text.format(1490))) == ["variant[1].body.tail_wheel_mm"]
    faulty = text.format(490) + '[[phase]]\nname = "x"\nshare = 1\n'
    assert list(keys_of(faulty)) == ["phase[1].throttle"]
    assert list(keys_of(faulty.replace("position_mm = -12", "position_mm = true"))) == [
        "thrust_line.position_mm", "phase[1].throttle",
    ]  # fmt: skip


def test_a_faulty_variant_does_not_hide_the_next():
    # 248 g of items stay in every build.
    found = keys_of(ITEMS + '[[structure]]\nslicer_g = 100\n[[variant]]\nname = "a"\ncl_max = 9\n'
                    '[[variant]]\nname = "b"\nbare_mass_g = 200\n[[phase]]\nname = "x"\nshare = 1\n')  # fmt: skip
    assert list(found) == ["variant[1].cl_max", "variant[2].bare_mass_g", "phase[1].throttle"]


@pytest.mark.parametrize(
    ("variant", "key"),
    [
        ('filament = "foamed"\n', "variant[1].filament"),
        ('[[variant.structure]]\nname = "wing"\nmaterial = "foamed"\n', "variant[1].structure"),
        ('[[variant.item]]\nname = "skid"\nremoved = true\nmass_g = 3\n', "variant[1].item[1].removed"),
        ('[[variant.item]]\nname = "skid"\nmass_g = 3\n' * 2, "variant[1].item[2].name"),
    ],
)
def test_one_fault_of_a_variant(variant, key):
    assert list(keys_of(f'{ITEMS}[[variant]]\nname = "v"\n{variant}')) == [key]


def test_a_name_for_two_lines_can_not_be_changed():
    said = keys_of(ITEMS.replace("all the rest", "skid") + '[[variant]]\nname = "v"\n[[variant.item]]\nname = "skid"\n'
                   "mass_g = 3\n")  # fmt: skip
    assert "must be the name of one [[item]], not of 2" in said["variant[1].item[1].name"]


def test_a_variant_that_removes_all_that_is_listed_can_not_weigh_something():
    lone = '[[item]]\nname = "hull"\nmass_g = 150\n[[variant]]\nname = "v"\nbare_mass_g = 200\n'
    gone = '[[variant.item]]\nname = "hull"\nremoved = true\n'
    (said,) = keys_of(lone + gone).items()
    assert said[0] == "variant[1].bare_mass_g"
    assert "a line that weighs something and is not removed" in said[1]
    with pytest.raises(ValueError, match="needs a line that weighs something"):
        MassBuildUp(()).scaled_to(200.0)
    assert masses(lone) == [150.0, 200.0]
    assert masses(f'{lone}{gone}[[variant.item]]\nname = "new hull"\nmass_g = 90\nadded = true\n') == [150.0, 200.0]


def test_lines_built_in_python_are_checked_too():
    brief = loads_brief(HEAD + ITEMS)
    assert [line.mass_g for line in build_lines(brief.item, brief.structure)[0]] == [242.0, 6.0]
    # Steel, and aluminium at 2.70 g/cm3 (CRC Handbook of Chemistry and Physics, value from memory).
    for metal in (7.8, 2.70):
        with pytest.raises(ValueError, match="solid metal"):
            Structure(slicer_g=10, density_g_cm3=metal)
        with pytest.raises(ValueError, match="solid metal"):
            Structure(slicer_g=10, slicer_density_g_cm3=metal)


def test_a_target_mass_below_the_bare_mass_is_named_beside_other_faults():
    low = "target_mass_g = 180\n"
    text = f'{low}bare_mass_g = 190\n[[variant]]\nname = "v"\nbare_mass_g = 185\n{low}'
    found = keys_of(text)
    assert list(found) == ["aircraft.target_mass_g", "variant[1].target_mass_g"]
    assert "is below the bare mass of 190 g" in found["aircraft.target_mass_g"]
    assert "is below the bare mass of 185 g" in found["variant[1].target_mass_g"]
    assert {*keys_of(f"{text}[limits]\nmin_flight_minutes = -1\n")} == {*found, "limits.min_flight_minutes"}
