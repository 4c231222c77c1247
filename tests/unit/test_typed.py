"""Parts typed in one line: what each word means, what may be left out, every fault at once."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from propmatch.records.listing import ListingRow
from propmatch.records.parts import Controller, Motor, Pack, Propeller
from propmatch.records.typed import (
    controller_for,
    field_of,
    from_name,
    kind_of_name,
    looks_typed,
    read_number,
    read_part,
)
from propmatch.records.written import SHORT_FORMS, amount, readings, short_form

CLASSES = [Motor, Controller, Pack, Propeller, ListingRow]


def values_of(cls, text):
    typed = read_part(cls, text, "here")
    assert typed.faults == ()
    return typed.part


def rules_of(cls, text):
    typed = read_part(cls, text, "here")
    assert typed.part is None
    assert all(fault.where == "here" for fault in typed.faults)
    return [str(fault) for fault in typed.faults]


@pytest.mark.parametrize(
    "text",
    [
        "1500kV 28g r=80mohm i0=0.9A",
        "kv=1500 mass=28 r=0.08 i0=0.9",
        "kv_rpm_per_v=1500 mass_g=28g resistance_ohm=0.08ohm no_load_current_a=900mA",
        "i0=0.9, 0.028kg, 80mohm, 1500KV",
        "kv=1.5e3 mass=28g resist=0.08 no_load_c=0.9",
    ],
)
def test_one_motor_typed_in_many_ways(text):
    motor = values_of(Motor, text)
    assert motor.kv_rpm_per_v == pytest.approx(1500)
    assert motor.mass_g == pytest.approx(28)
    assert motor.resistance_ohm == pytest.approx(0.08)
    assert motor.no_load_current_a == pytest.approx(0.9)


def test_an_ounce_is_the_avoirdupois_one():
    # 28.349523125 g: international yard and pound agreement, 1959
    assert values_of(Motor, "1500kV 1oz").mass_g == pytest.approx(28.349523125)


def test_words_of_a_field():
    assert values_of(Motor, "1500kV 28g label").kv_kind == "label"
    assert values_of(Pack, "2S 450mAh lihv").chemistry == "lihv"
    assert values_of(Controller, "20A linear").servo_supply == "linear"
    assert values_of(Propeller, "6x4 thin").family == "thin"


def test_a_pack():
    pack = values_of(Pack, "3S2P 5Ah 40C 390g cell=0.009ohm leads=4")
    assert (pack.cells_series, pack.cells_parallel) == (3, 2)
    assert (pack.capacity_mah, pack.c_rating, pack.mass_g) == (5000, 40, 390)
    assert pack.cell_resistance_mohm == pytest.approx(9)
    assert pack.lead_resistance_mohm == 4


def test_a_propeller():
    propeller = values_of(Propeller, "5.5x4.5x3 2.1g")
    assert (propeller.diameter_in, propeller.pitch_in, propeller.blades, propeller.mass_g) == (5.5, 4.5, 3, 2.1)
    assert propeller.table is None
    # 25.4 mm to the inch
    assert values_of(Propeller, "d=127mm pitch=76.2mm").diameter_in == pytest.approx(5)


@pytest.mark.parametrize(
    "text",
    ["5x4.5 wide 3-blade", "5x4.5x3 wide", "wide 5 x 4.5 three-blade", "5x4,5 Wide tri-blade", "5x4.5 triblade wide",
     "127x114.3mm 3 blades wide", "127 mm x 114.3 mm 3-blade wide", "5x4.5 E wide 3-blade",
     "5x4.5 family=wide blades=3"],
)  # fmt: skip
def test_one_propeller_of_three_blades_typed_in_many_ways(text):
    propeller = values_of(Propeller, text)
    assert (propeller.diameter_in, propeller.pitch_in) == (pytest.approx(5), pytest.approx(4.5))
    assert (propeller.blades, propeller.family) == (3, "wide")


@pytest.mark.parametrize("text", ["6x4", "6x4 unknown", "6x4 family=unknown"])
def test_an_unknown_family_is_none(text):
    assert values_of(Propeller, text).family is None


def test_a_speed_beside_power_or_thrust_is_a_reading_at_rest():
    assert values_of(Propeller, "6x4 9000rpm").max_rpm == 9000
    read = values_of(Propeller, "6x4 thin 9800rpm 62W 310gf")
    assert (read.read_rpm, read.read_input_w, read.read_thrust_gf) == (9800, 62, pytest.approx(310))
    assert read.max_rpm is None
    both = values_of(Propeller, "6x4 max_rpm=15000 9800rpm shaft=0.045kW")
    assert (both.max_rpm, both.read_rpm, both.read_shaft_w) == (15000, 9800, pytest.approx(45))
    held = values_of(Propeller, "6x4 chord=10mm angle=18deg sibling='7x5 9000rpm 60W'")
    assert (held.chord_75_mm, held.angle_75_deg, held.sibling) == (10, 18, "7x5 9000rpm 60W")


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("6x4 310gf", "needs the speed it was read at"),
        ("6x4 read_rpm=9000", "needs what was read at this speed"),
        ("6x4 angle=18", "needs chord_75_mm"),
        ("6x4 chord=80mm", "2 to 30 % of the diameter"),
        ("6x4 9000rpm 40W shaft=50W", "must be above read_shaft_w"),
        ("6x4 slim", "the families are thin, thick, broad, folding, wide, racing, unknown; three questions tell"),
        ("6x4 family=fat", "three questions tell"),
        ("5145 3-blade", "then it is 5.1x4.5"),
        ("1047", "then it is 10x4.7"),
    ],
)
def test_half_a_reading_is_a_fault(text, said):
    assert any(said in each for each in rules_of(Propeller, text))


def test_a_listing_row():
    row = values_of(ListingRow, "1500kV 28g 7.4V 8.5A 320gf")
    assert (row.volts, row.amps, row.thrust_gf, row.kv_kind) == (7.4, 8.5, 320, "label")


def test_a_name_may_be_given_and_is_the_text_otherwise():
    assert values_of(Motor, "1500kV  28g").name == "1500kV 28g"
    assert values_of(Motor, "1500kV 28g name='my motor'").name == "my motor"


def test_what_a_pack_and_a_controller_leave_out_is_assumed_and_said():
    pack = read_part(Pack, "2S 450mAh", "here")
    assert {each.field for each in pack.assumptions} == {"c_rating", "mass_g"}
    assert all(each.subject == pack.part.name for each in pack.assumptions)
    controller = read_part(Controller, "20A", "here")
    assert [each.field for each in controller.assumptions] == ["mass_g"]
    assert read_part(Pack, "2S 450mAh 30C 28g", "here").assumptions == ()


def test_a_controller_for_a_motor_leaves_room():
    two = values_of(Pack, "2S 450mAh")
    made = controller_for(values_of(Motor, "1500kV 28g max=12A"), two)
    assert made.part.max_current_a == 15
    assert "no ESC was named" in made.assumptions[0].text
    assert controller_for(values_of(Motor, "9000kV 2g max=1A"), two).part.max_current_a == 5
    assert controller_for(values_of(Motor, "20kV 5000g"), two).part.max_current_a == 500


@pytest.mark.parametrize(
    ("cls", "text", "said"),
    [
        (Motor, "1500kV 28g 12A", "say which number this is: no_load_current_a=12A or max_current_a=12A"),
        (Motor, "1500kV 28g max_=5", "could be max_current_a or max_power_w"),
        (Motor, "1500kV 28g bogus=5", "unknown key"),
        (Motor, "1500kV 28g hello", "not understood"),
        (Motor, "1500kV 28g i0=1,100", "may be 1.1 or 1100 A"),
        (Motor, "1500kV 28g r=3g", "the unit must be ohm"),
        (Motor, "1500kV 28g 29g", "given twice"),
        (Motor, "1500kV 28g gear=", "gear_ratio"),
        (Motor, "28g", "missing"),
        (Pack, "450mAh", "cells_series"),
        (Pack, "2S 450mAh C=nan", "finite"),
        (Propeller, "6x", "not understood"),
        (Propeller, "6.4.3x4", "not understood"),
        (Propeller, "152x102", "in mm? then it is 5.984 in"),
        (Controller, "20A part_throttle_loss=0.7", "below 0.5"),
        (ListingRow, "1500kV 28g 7.4V", "amps"),
    ],
)
def test_what_is_wrong_with_a_line(cls, text, said):
    assert any(said in rule for rule in rules_of(cls, text))


def test_every_fault_of_a_line_at_once():
    assert len(rules_of(Motor, "1500kV -28g r=x bogus=1 12A hello")) == 5


def test_a_mass_that_follows_from_the_missing_cells_is_not_asked_for():
    assert not any("mass_g" in rule for rule in rules_of(Pack, "450mAh"))


@pytest.mark.parametrize("text", ["1500kV 28g", "kv=1500", "2S 450mAh", "6x4", "20A", ".5oz", "28 g"])
def test_typed_lines_are_told_from_ids(text):
    assert looks_typed(text)


@pytest.mark.parametrize("text", ["bundled/6x3.9-thin", "1909-1690", "6x3.9-thin", "my motor", "", "2s-480-38c"])
def test_ids_are_told_from_typed_lines(text):
    assert not looks_typed(text)


def test_a_number_of_an_option():
    assert read_number(Pack, "mass_g", "1oz", "--mass") == pytest.approx(28.349523125)
    assert "at least 0.3" in str(read_number(Pack, "mass_g", "-1", "--mass"))


def test_the_field_a_key_means():
    assert field_of(Motor, "kv").name == "kv_rpm_per_v"
    assert field_of(Motor, "no_load_c").name == "no_load_current_a"
    assert "unknown key" in str(field_of(Motor, "zzz"))


@given(st.sampled_from(CLASSES), st.text(max_size=40))
def test_no_text_whatever_raises(cls, text):
    typed = read_part(cls, text, "here")
    assert (typed.part is None) == bool(typed.faults)


@given(
    st.sampled_from(CLASSES),
    st.lists(
        st.sampled_from(
            ["1500kV", "28g", "2S", "450mAh", "6x4", "20A", "thin", "r=1", "kv=inf", "m=nan", "c=-1", "7.4V"]
        ),
        max_size=6,
    ),
)
def test_no_row_of_known_words_raises(cls, words):
    typed = read_part(cls, " ".join(words), "here")
    assert (typed.part is None) == bool(typed.faults)


@pytest.mark.parametrize(
    ("text", "cells", "capacity", "rating", "chemistry"),
    [
        ("3S 2200 30C", 3, 2200, 30, "lipo"),
        ("11.1V 2200mAh 30C", 3, 2200, 30, "lipo"),
        ("LiPo 3S 2200 30C", 3, 2200, 30, "lipo"),
        ("3S 2200 30C Li-Po battery", 3, 2200, 30, "lipo"),
        ("11.4V 850 60C LiHV", 3, 850, 60, "lihv"),
        ("Li-ion pack 10.8V 3000mAh 8C", 3, 3000, 8, "liion"),
        ("11.1V 3000mAh 8C li_ion", 3, 3000, 8, "liion"),
        ("9.9V 2500 20C LiFePO4", 3, 2500, 20, "lifepo4"),
        ("2500mAh 12.8V LFP 20C", 4, 2500, 20, "lifepo4"),
        ("7.2V 2000mAh NiMH 5C", 6, 2000, 5, "nimh"),
        ("6S 2000 chemistry=Ni-MH 5C", 6, 2000, 5, "nimh"),
        ("3S 11.1V 2.2Ah 30C", 3, 2200, 30, "lipo"),
    ],
)
def test_packs_as_their_labels_have_them(text: str, cells: int, capacity: float, rating: float, chemistry: str) -> None:
    assert looks_typed(text) or text.startswith("Li-ion pack")
    pack = values_of(Pack, text)
    assert (pack.cells_series, pack.capacity_mah, pack.c_rating, pack.chemistry) == (cells, capacity, rating, chemistry)


@pytest.mark.parametrize(
    ("text", "rule"),
    [
        ("12V 2200 30C", "3S is 11.1 V"),
        ("3S 7.4V 2200", "2S of lipo, but 3S"),
        ("nanV 2200", "nominal voltage"),
        ("infV 2200", "nominal voltage"),
        ("-11.1V 2200", "nominal voltage"),
        ("3S 5 30C", "not understood"),
        ("3S 2200 inf", "capacity_mah"),
        ("3S 2200 lipoo", "lipo"),
    ],
)
def test_labels_that_contradict_themselves(text: str, rule: str) -> None:
    assert any(rule in each for each in rules_of(Pack, text))


def test_what_a_label_leaves_out_is_that_of_its_chemistry() -> None:
    for text, rating, g_per_wh, volts in (("3S 2200", 25, 7.5, 3.7), ("3S 3000 liion", 5, 5.0, 3.6)):
        typed = read_part(Pack, text, "here")
        energy = 3 * volts * typed.part.capacity_mah / 1e3
        assert typed.part.c_rating == rating
        assert typed.part.mass_g == pytest.approx(g_per_wh * energy, rel=1e-3)
        assert len(typed.assumptions) == 2


@pytest.mark.parametrize(
    ("cls", "text", "numbers"),
    [
        (Motor, "2111 1190KV 46g", {"kv_rpm_per_v": 1190, "mass_g": 46}),
        (
            Motor,
            "brushless outrunner 2111 1190 KV 46,5 g 2-3S",
            {"kv_rpm_per_v": 1190, "mass_g": 46.5, "cells_min": 2, "cells_max": 3},
        ),
        (Motor, "1500kV 0.34 oz 3.5:1", {"mass_g": pytest.approx(9.6388, rel=1e-4), "gear_ratio": 3.5}),
        (Motor, "1500kV 1.125oz r=0.125", {"mass_g": pytest.approx(1.125 * 28.349523125), "resistance_ohm": 0.125}),
        (Motor, "1500kV 28g 2S", {"cells_min": None, "cells_max": 2}),
        (Pack, "3S 2200 30C", {"cells_series": 3, "capacity_mah": 2200, "c_rating": 30}),
        (Pack, "11.1V 2200mAh", {"cells_series": 3, "capacity_mah": 2200}),
        (Pack, "11,1 V 2200 mAh 30 C LiPo", {"cells_series": 3, "capacity_mah": 2200, "c_rating": 30}),
        (Pack, "2S 450mAh 30C/60C", {"c_rating": 30, "burst_c_rating": 60}),
        (Controller, "30A ESC", {"max_current_a": 30, "servo_supply": "none"}),
        (Controller, "ESC 30 A 2-4S", {"max_current_a": 30, "cells_min": 2, "cells_max": 4}),
        (Controller, "20A 2-3S", {"max_current_a": 20, "cells_min": 2, "cells_max": 3}),
        (Controller, "30A 40A/10s SBEC", {"burst_current_a": 40, "burst_seconds": 10, "servo_supply": "switching"}),
        (Controller, "30A 5V/3A SBEC", {"max_current_a": 30, "servo_supply": "switching", "servo_supply_v": 5}),
        (Controller, "30A no BEC", {"servo_supply": "none"}),
        (Propeller, "8*4.5", {"diameter_in": 8, "pitch_in": 4.5}),
        (Propeller, "8x4,5", {"diameter_in": 8, "pitch_in": 4.5}),
        (Propeller, "7 x 4 x 3", {"diameter_in": 7, "pitch_in": 4, "blades": 3}),
        (Propeller, '8" x 4.5"', {"diameter_in": 8, "pitch_in": 4.5}),
        (Propeller, "203x114mm", {"diameter_in": pytest.approx(203 / 25.4), "pitch_in": pytest.approx(114 / 25.4)}),
        (
            ListingRow,
            "kv=1500 m=28g 7.4V 6.0A i0=0.7 max=9A thrust=260gf",
            {"no_load_current_a": 0.7, "max_current_a": 9},
        ),
        (ListingRow, "2111 1190KV 46 g 11.1 V 12 A 800 gf", {"kv_rpm_per_v": 1190, "volts": 11.1, "thrust_gf": 800}),
    ],
)
def test_lines_as_people_and_shops_write_them(cls, text, numbers):
    part = values_of(cls, text)
    assert {key: getattr(part, key) for key in numbers} == numbers
    assert looks_typed(text)


def test_a_bec_of_no_said_kind_is_taken_as_the_one_that_heats_and_said():
    typed = read_part(Controller, "30A BEC 5V/2A", "here")
    assert (typed.part.servo_supply, typed.part.servo_supply_v) == ("linear", 5)
    assert any("BEC taken as linear" in each.text for each in typed.assumptions)


@pytest.mark.parametrize(
    ("cls", "text", "said"),
    [
        (Pack, "3S 2,200mAh 30C", "2.2 or 2200 mAh"),
        (Motor, "1.450kV 28g", "1.45 or 1450 rpm/V"),
        (Pack, "2-3S 2200", "not understood"),
        (Propeller, "8045", "not understood"),
        (Motor, "2111 46g", "kv_rpm_per_v: missing"),
        (Motor, "1 450kV 28g", "not understood"),
        (Controller, "30A linear SBEC", "given twice"),
    ],
)
def test_what_may_mean_two_things_is_a_fault(cls, text, said):
    assert any(said in rule for rule in rules_of(cls, text))


@pytest.mark.parametrize("text", ["9" * 5000, "1 000 " * 900, "x1" * 2000, "5" * 300 + " " * 3000 + "q"])
def test_a_line_of_thousands_of_characters_is_refused_unread(text):
    """Patterns for numbers go through such a line once for each of its characters, minutes of work."""
    for cls in (Motor, Controller, Pack, Propeller, ListingRow):
        (fault,) = read_part(cls, text, "--part").faults
        assert fault.rule == "is longer than the 500 characters of a line that describes a part"
    assert amount(text) is None
    assert readings(text) == ()
    assert not any(short_form(cls, field, text) for cls, forms in SHORT_FORMS.items() for field in forms)


def test_four_digits_that_are_no_size_of_a_propeller():
    (fault,) = read_part(Propeller, "0045", "--propeller").faults
    assert fault.rule == "not understood"
    assert "tenths" not in fault.hint


@pytest.mark.parametrize(
    ("label", "amps"),
    [("12A BEC linear", 12), ("12A BEC", 12), ("20A 3A BEC", 20), ("3A BEC 20A", 20), ("30 with 3A BEC", None)],
)
def test_what_a_controllers_label_begins_with_is_its_current_unless_another_stands(label, amps):
    """Common practice, no published source."""
    assert from_name(Controller, label).get("max_current_a") == amps


def test_a_current_before_bec_alone_tells_no_kind():
    assert kind_of_name("5A BEC") is None
