"""What was read on a propeller, and what is known of its make, reaches its prediction: by file, typed and in a log."""

import math

import pytest

from propmatch.catalogue.catalogue import load_catalogue
from propmatch.catalogue.partsets import make_of, table_of
from propmatch.faults import InputFaults
from propmatch.records.estimates import EFFICIENCY_AT_REST, completed
from propmatch.records.parts import Propeller
from propmatch.records.plausibility import warnings_of
from propmatch.records.typed import read_part

RHO, INCH_M, GF_N = 1.225, 0.0254, 9.80665e-3
"""Standard air (ISO 2533), the inch (1959), the gram-force (CGPM 1901)."""


@pytest.fixture(scope="module")
def plugins():
    return load_catalogue().plugins


def answer_of(plugins, text, others=()):
    typed = read_part(Propeller, text, "here")
    assert typed.faults == ()
    return table_of(typed.part, others, plugins)


def static(table, rpm):
    found = table.lookup(rpm, 0.0)
    return float(found.ct), float(found.cp)


def width(answer, quantity):
    low, high = answer.source.prediction.interval_80[quantity].values()
    return math.log1p(high) - math.log1p(low)


@pytest.mark.parametrize(
    ("name", "make"), [("Marsh Hawk 9x6", "marsh hawk"), ("reed_7x4_3b", "reed"), ("9x6", ""), ("Plain", "plain")]
)
def test_the_make_is_what_stands_before_the_size(name, make):
    assert make_of(name) == make


def test_a_reading_moves_the_coefficients_towards_it_and_narrows_them(plugins):
    """CT = T/(rho n^2 D^4), CP = P/(rho n^3 D^5) of the reading: definitions."""
    alone = answer_of(plugins, "7x4 thin")
    n, d = 9000 / 60, 7 * INCH_M
    ct, cp = static(alone.table, 9000)
    thrust_gf, shaft_w = 1.2 * ct * RHO * n**2 * d**4 / GF_N, 1.25 * cp * RHO * n**3 * d**5
    scale = answer_of(plugins, f"7x4 thin 9000rpm {thrust_gf:.1f}gf")
    shaft = answer_of(plugins, f"7x4 thin 9000rpm shaft={shaft_w:.2f}W")
    meter = answer_of(plugins, f"7x4 thin 9000rpm {shaft_w / EFFICIENCY_AT_REST[0]:.2f}W")
    assert 1.1 < static(scale.table, 9000)[0] / ct < 1.2
    assert 1.15 < static(shaft.table, 9000)[1] / cp < 1.25
    assert 1.05 < static(meter.table, 9000)[1] / cp < static(shaft.table, 9000)[1] / cp
    assert width(scale, "ct0") < 0.6 * width(alone, "ct0")
    assert width(shaft, "cp0") < width(meter, "cp0") < width(alone, "cp0")
    assert "static point" in shaft.source.prediction.rests_on


def test_a_wattmeter_alone_rests_on_a_stated_efficiency():
    full, made = completed(read_part(Propeller, "7x4 9000rpm 60W", "here").part)
    assert full.read_shaft_w == pytest.approx(60 * EFFICIENCY_AT_REST[0])
    told = next(each for each in made if each.field == "read_shaft_w")
    assert told.low < told.value < told.high
    assert "no published source" in told.text


def test_a_sibling_that_reads_high_moves_this_propeller_less_than_itself(plugins):
    alone = answer_of(plugins, "7x4 thin")
    ct, _ = static(alone.table, 9000)
    taught = answer_of(plugins, "7x4 thin sibling='8x4 thin 8000rpm 450gf'")
    own = answer_of(plugins, "8x4 thin 8000rpm 450gf")
    moved = static(taught.table, 9000)[0] / ct
    itself = static(own.table, 8000)[0] / static(answer_of(plugins, "8x4 thin").table, 8000)[0]
    assert itself > 1.03
    assert 1.0 < moved < itself
    assert width(taught, "ct0") < width(alone, "ct0")
    assert "sibling" in taught.source.prediction.rests_on


@pytest.mark.parametrize("reading", ["9000rpm 400gf", "9000rpm 60W"])
def test_a_reading_of_a_sibling_widens_nothing(plugins, reading):
    """What is known besides never makes an answer less sure: definition of a variance given more."""
    alone, told = answer_of(plugins, "8x4 thin"), answer_of(plugins, f"8x4 thin sibling='7x4 thin {reading}'")
    for quantity in alone.source.prediction.interval_80:
        assert width(told, quantity) <= width(alone, quantity) * (1 + 1e-9)


def test_a_line_that_it_reads_like_narrows(plugins):
    alone, told = answer_of(plugins, "7x4 thin"), answer_of(plugins, "7x4 thin reads_like=thin-2")
    assert width(told, "cp0") < width(alone, "cp0")
    assert static(told.table, 9000)[1] < static(alone.table, 9000)[1]
    assert told.source.prediction.rests_on == "line"


@pytest.mark.parametrize(
    ("text", "said"), [("7x4 thin reads_like=thin-0", "no line"), ("7x4 reads_like=thin-1", "must be thin")]
)
def test_a_line_that_does_not_exist_or_fit_is_a_fault(plugins, text, said):
    with pytest.raises(InputFaults) as error:
        answer_of(plugins, text)
    assert said in str(error.value)


@pytest.mark.parametrize(
    ("text", "said"),
    [("7x4 sibling=8x4", "teaches nothing"), ("7x4 sibling='8x4 slim'", "not understood"),
     ("7x4 sibling=nobodys", "no propeller with this id or name")],
)  # fmt: skip
def test_a_sibling_that_teaches_nothing_is_a_fault(plugins, text, said):
    with pytest.raises(InputFaults) as error:
        answer_of(plugins, text)
    (fault,) = error.value.faults
    assert fault.key.startswith("sibling")
    assert said in str(fault)


def test_in_a_folder_one_reading_teaches_its_make(tmp_path):
    (tmp_path / "props.csv").write_text(
        "name,size,rpm,thrust,shaft power\nReed 7x4 thin,7x4 thin,9000,400,45\nReed 8x4 thin,8 x 4 thin 2-blade,,,\n"
        "Other 8x4 thin,8x4 thin,,,\n",
        encoding="utf-8",
    )
    catalogue = load_catalogue(parts=str(tmp_path), plugins=["prediction"])
    found = {name: catalogue.find("propellers", name) for name in ("Reed 7x4 thin", "Reed 8x4 thin", "Other 8x4 thin")}
    assert found["Reed 7x4 thin"].read_rpm == 9000
    assert {each.family for each in found.values()} == {"thin"}
    uncertainty = [each.source.uncertainty for each in found.values()]
    assert uncertainty[0] < uncertainty[2]
    assert uncertainty[1] < uncertainty[2]
    assert static(found["Reed 8x4 thin"].table, 8000)[0] > static(found["Other 8x4 thin"].table, 8000)[0]


def test_a_reading_that_is_hard_to_believe_is_said(plugins):
    typed = read_part(Propeller, "6x4 thin 9800rpm 160W", "here").part
    (doubt,) = warnings_of(typed)
    assert (doubt.key, doubt.kind) == ("read_input_w", "warning")
    assert "tachometer" in doubt.hint
    assert "from what the label suggests" in table_of(typed, (), plugins).source.text
    assert warnings_of(read_part(Propeller, "6x4 thin 9800rpm 35W 190gf", "here").part) == []


@pytest.mark.parametrize(
    ("text", "key"),
    [
        ("7x4 9800rpm 6200W", "read_input_w"),
        ("7x4 thin 9800rpm 5W", "read_input_w"),
        ("7x4 9800rpm shaft=700W", "read_shaft_w"),
        ("7x4 9800rpm 9000gf", "read_thrust_gf"),
    ],
)
def test_a_reading_beyond_anything_measured_is_a_fault_at_its_cell(text, key):
    """CT0 0.048 to 0.254 and CP0 0.0173 to 0.193 in 2884 static readings (UIUC Propeller Database, vols 1 to 4)."""
    (fault,) = read_part(Propeller, text, "here").faults
    assert fault.key == key
    assert "UIUC" in fault.rule


def test_a_thrust_beyond_momentum_theory_is_a_fault():
    """T^1.5/sqrt(2 rho A) (W. J. M. Rankine, 1865): 300 gf of 6 in need 23.9 W in standard air, worked by hand."""
    disc = math.pi / 4 * (6 * INCH_M) ** 2
    least = (300 * GF_N) ** 1.5 / math.sqrt(2 * RHO * disc)
    assert 23 < least < 24.5
    assert read_part(Propeller, f"6x4 9000rpm 300gf shaft={least:.2f}W", "here").faults == ()
    (fault,) = read_part(Propeller, f"6x4 9000rpm 300gf shaft={least / 1.2:.2f}W", "here").faults
    assert "takes more power of any propeller" in str(fault)
