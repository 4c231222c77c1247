"""Families of propellers: their chords against measured blades, the key against Bayes' rule by scipy, the drawing."""

import json
import math
import re
from xml.etree import ElementTree

import pytest
from scipy.stats import lognorm

from propmatch.catalogue.catalogue import load_catalogue
from propmatch.catalogue.partsets import table_of
from propmatch.faults import InputFaults
from propmatch.page.desk import Desk
from propmatch.page.families import families_answer, family_key_answer
from propmatch.questions.familykey import SURE_ENOUGH, FamilyKey, which_family
from propmatch.records.blades import BENDS, FAMILIES, MARK, MEASURING_GUIDE, QUESTIONS, STATIONS, family_chances_after
from propmatch.records.parts import Propeller
from propmatch.sheet.bladedrawing import blade_svg, families_svg
from propmatch.words.bladewords import chances_text, key_sentence

EQUAL = dict.fromkeys(FAMILIES, 1.0 / len(FAMILIES))
MEASURED = {
    "thin": (0.128, 0.129, 0.125, 0.123, 0.103, 0.150, 0.130, 0.135, 0.119, 0.151, 0.134, 0.147, 0.152, 0.1249),
    "thick": (0.146, 0.155, 0.143, 0.144, 0.170, 0.176, 0.142, 0.154, 0.156, 0.133, 0.130, 0.141, 0.1642, 0.1807),
    "broad": (0.197, 0.202, 0.199, 0.206, 0.200, 0.204, 0.197, 0.1799, 0.1731, 0.189, 0.1814, 0.1558, 0.2779),
    "wide": (0.2317, 0.3173, 0.330, 0.2806, 0.2455, 0.1904, 0.185, 0.2071, 0.2099, 0.2823),
}
"""Chord over radius at 75 % of the radius of single blades: geometry files, UIUC Propeller Database (J. B. Brandt,
R. W. Deters, G. K. Ananda, O. D. Dantsker, M. S. Selig), vols 1 to 4; the family of each is our own reading."""


@pytest.mark.parametrize("name", MEASURED)
def test_the_stated_range_of_chords_holds_most_measured_blades(name):
    low, high = FAMILIES[name].chord_range
    inside = [low <= 0.5 * chord <= high for chord in MEASURED[name]]
    assert sum(inside) >= 0.7 * len(inside)
    assert low < FAMILIES[name].chord < high


@pytest.mark.parametrize("name", FAMILIES)
def test_a_family_is_told_by_what_eye_and_callipers_see(name):
    family = FAMILIES[name]
    assert "% of the diameter" in str(family)
    assert all(text and text in str(family) for text in (family.look, family.thickness, family.stiffness, family.sizes))
    assert len(family.outline) == len(STATIONS)
    assert len(family.bends) == len(BENDS)
    assert math.isclose(sum(family.bends), 1.0)


def test_chord_and_angle_are_explained():
    assert all(word in MEASURING_GUIDE for word in ("callipers", "protractor", "three quarters of the radius"))


def test_three_questions_are_asked():
    assert len(QUESTIONS) == 3
    assert all(word in QUESTIONS["bend"] for word in BENDS)


def test_the_key_is_bayes_rule():
    """Posterior of equal families by scipy's lognormal density of the chord, normed by hand."""
    chord = 0.085
    density = {
        name: lognorm.pdf(chord, s=family.chord_sd_ln, scale=family.chord) * family.bends[list(BENDS).index("springy")]
        for name, family in FAMILIES.items()
    }
    after = family_chances_after(EQUAL, chord=chord, bend="springy")
    for name, share in density.items():
        assert after[name] == pytest.approx(share / sum(density.values()), rel=1e-9)
    assert list(after.values()) == sorted(after.values(), reverse=True)


@pytest.mark.parametrize(
    ("answers", "family"),
    [
        ({"hinged": True}, "folding"),
        ({"hinged": False, "chord": 0.5 * MEASURED["thin"][0], "bend": "sheet"}, "thin"),
        ({"hinged": False, "chord": 0.5 * MEASURED["thick"][0], "bend": "blunt"}, "thick"),
        ({"hinged": False, "chord": 0.5 * MEASURED["broad"][0], "bend": "soft"}, "broad"),
        ({"hinged": False, "chord": 0.5 * MEASURED["wide"][1], "bend": "blunt"}, "wide"),
        ({"hinged": False, "chord": 0.078, "bend": "springy"}, "racing"),
    ],
)
def test_three_answers_about_a_measured_blade_pick_its_family(answers, family):
    assert next(iter(family_chances_after(EQUAL, **answers))) == family


def test_impossible_answers_leave_all_families_equal():
    assert set(family_chances_after(dict.fromkeys(FAMILIES, 0.0), chord=0.1).values()) == {1.0 / len(FAMILIES)}


@pytest.fixture(scope="module")
def catalogue():
    return load_catalogue(plugins=["prediction"])


def test_answers_are_read_beside_the_size(catalogue):
    key = which_family("5x4.5x3 fixed 11mm springy", catalogue)
    assert (key.propeller.diameter_in, key.propeller.blades) == (5.0, 3)
    assert key.answers == {"hinged": False, "bend": "springy", "chord": pytest.approx(11 / 127)}
    assert key.open_questions == {}
    assert key.chances == family_chances_after(key.before, **key.answers)
    assert list(which_family("5x4.5x3 fixed", catalogue).open_questions) == ["chord", "bend"]


def test_every_fault_of_the_answers_at_once(catalogue):
    with pytest.raises(InputFaults) as error:
        which_family("5x4.5 fixed hinged rubbery chord=90mm", catalogue)
    said = [str(fault) for fault in error.value.faults]
    assert any("twice" in each for each in said)
    assert any("'rubbery'" in each for each in said)
    assert any(all(word in each for word in ("hinged", "fixed", "mm", *BENDS)) for each in said)


def test_hinges_tell_folding_where_size_left_it_out(catalogue):
    key = which_family("5x4 hinged", catalogue)
    assert next(iter(key.chances)) == "folding"
    assert sum(key.before.values()) == pytest.approx(1.0)


def test_the_sentence_mixes_only_by_what_a_prediction_reads(catalogue):
    chord, bend = (which_family(f"178mm x 100mm {answer}", catalogue) for answer in ("14mm", "fixed"))
    assert "mixes them by these chances" in key_sentence(chord)
    assert "these chances" not in key_sentence(bend)
    assert "7.01x3.94, 2 blades" in key_sentence(bend)
    assert "7x4, 1 blade:" in key_sentence(which_family("7x4x1", catalogue))
    told = table_of(chord.propeller, (), catalogue.plugins)
    assert any("by size, pitch, blades and chord" in note for note in told.notes)
    likeliest, chance = next(iter(chord.chances.items()))
    assert abs(float(re.search(rf"{likeliest} (\d+) %", told.source.text)[1]) - 100 * chance) < 2


def test_below_the_limit_no_family_is_named():
    def sentence(chance):
        chances = {"racing": chance, "thin": 1 - chance}
        propeller = Propeller(name="5x4", diameter_in=5, pitch_in=4)
        return key_sentence(FamilyKey(propeller=propeller, answers={}, before={}, chances=chances))

    assert "Take it as racing" in sentence(SURE_ENOUGH)
    assert "'unknown'" in sentence(SURE_ENOUGH - 0.01)
    assert chances_text({"thin": 0.2, "racing": 0.8, "wide": 0.0}) == "racing 80 %, thin 20 %"


def test_the_page_gets_plain_data_and_drawings(catalogue):
    answer = json.loads(json.dumps(family_key_answer(catalogue, "5x4.5x3 fixed")))
    assert [each["family"] for each in answer["families"]] == list(FAMILIES)
    assert all(each["svg"].startswith("<svg") for each in answer["families"])
    assert "mm" in answer["families"][0]["svg"]
    assert "mm" not in families_answer()[0]["svg"]
    assert sum(answer["chances"].values()) == pytest.approx(1.0)
    asked = Desk(catalogue).answer("family", {"text": "", "name": ""})
    assert (asked["chances"], list(asked["questions"])) == ({}, list(QUESTIONS))
    assert "faults" in Desk(catalogue).answer("family", {"text": "", "name": "5x4 slim"})


@pytest.mark.parametrize("name", FAMILIES)
def test_the_drawing_is_to_scale(name):
    """Hub to tip is the radius, the mark stands at 75 % of it and is as long as the chord; a reader's text says so."""
    radius = 200.0
    svg = ElementTree.fromstring(blade_svg(name, radius=radius, diameter_mm=127.0))
    (polygon,) = svg.findall(".//{*}polygon")
    points = [tuple(map(float, each.split(","))) for each in polygon.get("points").split()]
    hub = svg.find(".//{*}circle")
    middle = float(hub.get("cx"))
    assert max(x for x, _ in points) - middle == pytest.approx(radius, abs=0.1)
    mark = svg.find(".//{*}path").get("d")
    x, top, bottom = map(float, re.match(r"M([\d.]+) ([\d.]+)V([\d.]+)", mark).groups())
    assert x - middle == pytest.approx(MARK * radius, abs=0.1)
    assert bottom - top == pytest.approx(FAMILIES[name].chord * 2 * radius, abs=0.2)
    assert f"{127 * FAMILIES[name].chord:.1f} mm" in svg.find("{*}title").text
    box = [float(each) for each in svg.get("viewBox").split()]
    assert all(0 <= x <= box[2] and 0 <= y <= box[3] for x, y in points)


def test_all_families_are_drawn_to_one_scale():
    svg = ElementTree.fromstring(families_svg())
    assert len(svg.findall(".//{*}polygon")) == len(FAMILIES)
    said = [each.text for each in svg.findall(".//{*}text")]
    assert all(name in said for name in FAMILIES)
