"""Propellers with the motor off against measured sweeps, measured chords and a handbook's flat plates.

windmilling.csv
    J. B. Brandt, R. W. Deters, G. K. Ananda, O. D. Dantsker, M. S. Selig, UIUC Propeller Database, volumes 1 and 2,
    University of Illinois at Urbana-Champaign (AIAA 2011-1255, AIAA 2014-2151): rows typed from five sweeps that go on
    past zero thrust, with the dataset's own labels. No sweep of the database reaches zero torque: the lowest CP are
    about 0.005, so the measured advance ratio of zero torque is a straight line through the last two rows.
CHORDS
    The same database, chord over radius by place on the radius; its vol. 1 and 2 geometry tables.
"""

import csv
import itertools
import math
from pathlib import Path

import numpy as np
import pytest
from support.trains import simple_train

from propmatch.aircraft.motoroff import WINDMILLING, motor_off_drag
from propmatch.models.tables import CoefficientTable
from propmatch.records.motoroff import BLADE_AREA, FOLDED_CD, stopped_cd
from propmatch.train.lanes import train_lanes

RHO = 1.225
CHORDS = {
    "thin": (0.138, 0.154, 0.190, 0.200, 0.174, 0.129, 0.081, 0.040),
    "thick": (0.163, 0.154, 0.147, 0.155, 0.167, 0.155, 0.096, 0.021),
    "broad": (0.109, 0.132, 0.175, 0.216, 0.224, 0.197, 0.133, 0.049),
    "folding": (0.160, 0.146, 0.143, 0.151, 0.160, 0.146, 0.089, 0.022),
    "wide": (0.120, 0.1266, 0.1227, 0.2119, 0.2798, 0.2779, 0.2758, 0.0328),
}
PLACES = (0.15, 0.2, 0.3, 0.45, 0.6, 0.75, 0.9, 1.0)

with (Path(__file__).parent / "windmilling.csv").open(encoding="utf-8") as file:
    SWEEPS = {label: list(rows) for label, rows in itertools.groupby(csv.DictReader(file), lambda row: row["label"])}


def numbers(label, *names):
    return (np.array([float(row[name]) for row in SWEEPS[label]]) for name in names)


def windmilling(label):
    """J and -CT of a frictionless motor on a table that knows only the rows with positive thrust, and as measured."""
    j, ct, cp = numbers(label, "advance_ratio", "ct", "cp")
    rpm, diameter_in = (float(SWEEPS[label][0][name]) for name in ("rpm", "diameter_in"))
    known = ct > 0
    at_rest = (np.concatenate([[x[0]], x[known]]) for x in (ct, cp))  # never read here: J = 0 stands as the first row
    table = CoefficientTable([rpm], np.concatenate([[0.0], j[known]]), *([x] for x in at_rest))
    train = simple_train(
        motor={"no_load_current_a": 0.0},
        propeller={"diameter_in": diameter_in, "pitch_in": 0.6 * diameter_in, "table": table},
        motor_off="windmilling",
    )
    lanes, _ = train_lanes([train])
    diameter = 0.0254 * diameter_in
    v = rpm / 60.0 * diameter * j[-1]
    off = motor_off_drag(lanes, v, RHO)
    assert off.kind.tolist() == [WINDMILLING]
    assert off.beyond.all()
    n = float(off.rpm[0]) / 60.0
    zero = j[-1] - cp[-1] * (j[-1] - j[-2]) / (cp[-1] - cp[-2])
    ct_zero = np.interp(zero, j[-2:], ct[-2:]) if zero < j[-1] else ct[-1] + (zero - j[-1]) * (
        (ct[-1] - ct[-2]) / (j[-1] - j[-2])
    )  # fmt: skip
    return v / (n * diameter), float(off.drag_n[0]) / (RHO * n**2 * diameter**4), zero, -ct_zero


@pytest.mark.parametrize("label", SWEEPS)
def test_windmilling_found_from_rows_with_thrust_is_near_the_measured_rows(label):
    """A sweep cut at zero thrust tells where torque ends and the drag there; the wide one bends after the cut.

    Tolerance: of the 250 sweeps of the database that go past zero thrust 90 % of the advance ratios lie within -3 and
    +11 %, 90 % of the thrust at the last row within -21 and +22 %; another sixth for the line through two rows.
    """
    j, drag, j_measured, drag_measured = windmilling(label)
    assert j == pytest.approx(j_measured, rel=0.13)
    assert drag / j**2 == pytest.approx(drag_measured / j_measured**2, rel=0.38)


def test_windmilling_is_not_off_to_one_side():
    ratios = np.array([(j / j_measured, d / d_m) for j, d, j_measured, d_m in map(windmilling, SWEEPS)])
    assert np.median(ratios[:, 0]) == pytest.approx(1.0, abs=0.03)
    assert np.median(ratios[:, 1]) == pytest.approx(1.0, abs=0.15)


@pytest.mark.parametrize("family", CHORDS)
def test_blade_areas_are_those_of_measured_chords(family):
    area = np.trapezoid(CHORDS[family], PLACES)
    middle, low, high = BLADE_AREA[family]
    assert low <= area <= high
    assert middle == pytest.approx(area, rel=0.25)


def test_a_stopped_blade_is_near_a_flat_plate_across_the_stream():
    """Plates of sides 1:1, 1:5, 1:10 have 1.18, 1.2, 1.3: F. M. White, Fluid Mechanics, table 7.3 (from memory).

    A blade is 7 to 10 times as long as its mean chord; rounded edges take some of it away.
    """
    plate = np.interp(1.0 / 0.127, (1.0, 5.0, 10.0), (1.18, 1.2, 1.3))
    assert 0.8 * plate <= stopped_cd(0.0) <= plate
    # twisted away from the stream a plate of constant normal force has the cosine of its angle
    for pitch in (0.4, 0.6, 0.8, 1.0):
        angle = math.atan(pitch / (0.7 * math.pi))
        assert stopped_cd(pitch) == pytest.approx(plate * math.cos(angle), rel=0.25)


def test_folded_blades_have_one_to_four_times_the_friction_of_plates():
    """Laminar plate, 1.328/sqrt(Re) a side: H. Blasius, 1908; chords of 1 to 3 cm at 8 to 15 m/s."""
    for reynolds in (6000.0, 30000.0):
        assert 1.0 <= FOLDED_CD / (2 * 1.328 / math.sqrt(reynolds)) <= 4.0
