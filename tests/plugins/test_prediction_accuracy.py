"""Reading measured folders and comparing: on an invented folder whose truth is known."""

import json
import math
import runpy
from pathlib import Path

import numpy as np
import pytest

from prediction_training.accuracy import by_line, by_model, compare, measured_sibling, weighted_quantile
from prediction_training.baselines import nearest_propeller, textbook_blade_element
from prediction_training.invented import write_invented
from prediction_training.measured import MeasuredPropeller, Sweep, read_measured
from propmatch_plugins.prediction import predict

BENCHMARK = Path(__file__).parents[2] / "benchmarks" / "propeller_accuracy.py"
SIZES = ((8, 4), (9, 6), (10, 5))
FACTOR = 1.1


@pytest.fixture
def folder(tmp_path):
    """Three propellers of an invented line: predicted tables with 10 % more thrust, in the dataset's columns."""
    write_invented(tmp_path, {"da4002": ("thick", FACTOR)}, SIZES)
    with (tmp_path / "diameters.csv").open("a", encoding="utf-8") as file:
        file.write("da4002_9x6,9,9.1\n")
    return tmp_path


def test_a_folder_is_read_as_it_is(folder):
    read = {p.label: p for p in read_measured(folder)}
    assert set(read) == {"da4002_8x4", "da4002_9x6", "da4002_10x5"}
    p = read["da4002_9x6"]
    assert (p.line, p.family, p.blades, p.true_diameter_in) == ("da4002", "thick", 2, 9.1)
    assert p.static_rpm.tolist() == [3000, 4500, 6000]
    assert len(p.sweeps) == 3
    assert all(np.all(np.diff(s.j) > 0) for s in p.sweeps)


def test_a_missing_column_is_named(folder):
    (folder / "static.csv").write_text("propeller,volume,rpm,CT0\n", encoding="utf-8")
    with pytest.raises(ValueError, match=r"static\.csv: column CP0"):
        read_measured(folder)


def test_errors_are_predicted_over_measured_less_one(folder):
    p = next(p for p in read_measured(folder) if p.label == "da4002_9x6")
    found = compare(p, predict(9, 6, family="thick", rpm=[3000, 4500, 6000]))
    assert np.allclose(found.errors["CT0"], 1 / FACTOR - 1, atol=1e-9)
    assert np.allclose(found.errors["CP0"], 0, atol=1e-9)
    assert np.allclose(found.errors["static thrust at given power"], 1 / FACTOR - 1, atol=1e-9)
    assert np.max(np.abs(found.errors["J0"])) < 0.005
    assert np.max(np.abs(found.errors["CP, 0..0.8 J0"])) < 0.01
    assert np.all(found.covered("cp0") == 1)


def test_measured_siblings_teach_the_ten_percent(folder):
    read = read_measured(folder)
    line = [measured_sibling(p) for p in read if p.label != "da4002_9x6"]
    taught, label = (predict(9, 6, family="thick", siblings=s) for s in (line, ()))
    assert np.all(taught.ct0 / label.ct0 > 1.06)
    assert np.allclose(taught.cp0 / label.cp0, 1, atol=0.02)


def test_zero_thrust_of_a_sweep():
    j = np.array([0.2, 0.4, 0.6, 0.8])
    crossing = Sweep(5000, j, np.array([0.08, 0.05, 0.02, -0.02]), np.full(4, 0.04))
    assert crossing.zero_thrust_j == pytest.approx(0.7)
    short = Sweep(5000, j, np.array([0.08, 0.05, 0.03, 0.015]), np.full(4, 0.04))
    assert short.zero_thrust_j == pytest.approx(1.0)
    assert math.isnan(Sweep(5000, j, np.array([0.08, 0.07, 0.06, 0.05]), np.full(4, 0.04)).zero_thrust_j)


def test_groups_keep_models_and_lines_together(folder):
    read = read_measured(folder)
    assert sum(len(group) for group in by_model(read)) == 3
    assert by_line(read) == [{"da4002_8x4", "da4002_9x6", "da4002_10x5"}]


def test_weighted_quantile():
    values, weights = np.array([3.0, 1.0, 2.0]), np.array([1.0, 1.0, 2.0])
    assert weighted_quantile(values, weights, 0.25) == 1.0
    assert weighted_quantile(values, weights, 0.5) == 2.0
    assert weighted_quantile(values, weights, 0.8) == 3.0


def test_the_benchmark_runs_on_any_such_folder(folder, tmp_path, capsys):
    main = runpy.run_path(str(BENCHMARK), run_name="benchmark")["main"]
    assert main([str(folder), "--leave-out", "nothing", "--json", str(tmp_path / "out.json")]) == 0
    figures = json.loads((tmp_path / "out.json").read_text(encoding="utf-8"))
    assert figures["label"]["errors"]["CT0"][0] == pytest.approx(100 * (1 - 1 / FACTOR), rel=0.15)
    assert figures["siblings"]["errors"]["CT0"][0] < 0.6 * figures["label"]["errors"]["CT0"][0]
    assert "80 % intervals hold" in capsys.readouterr().out


def test_misses_are_judged_at_their_own_speed(folder):
    """Half-widths are read off in ln rpm: at a speed of the table they are the table's."""
    p = next(p for p in read_measured(folder) if p.label == "da4002_9x6")
    answer = predict(9, 6, family="thick", rpm=[3000, 4500, 6000])
    found = compare(p, answer)
    np.testing.assert_allclose(found.half_widths("ct0"), answer.widths[:, 0])
    assert np.all(found.covered("band_cp") == 1)


def test_a_static_point_is_left_out_of_what_it_is_judged_by(folder):
    """3 % error: 0.8 to 1.2 of the shaft power CP rho n^3 D^5 of the middle speed."""
    p = next(p for p in read_measured(folder) if p.label == "da4002_8x4")
    point = p.static_point()
    assert point.rpm == 4500
    exact = p.static_cp[1] * 1.225 * (4500 / 60) ** 3 * (8 * 0.0254) ** 5
    assert 0.8 < point.shaft_power_w / exact < 1.2
    assert p.without_static_point.static_rpm.tolist() == [3000, 6000]


def test_the_textbook_baseline_thrusts_like_a_propeller():
    """Zero thrust of a cambered true screw lies beyond its pitch: J0 above p/D (Glauert 1926), below 1.6 of it."""
    p = MeasuredPropeller("x_9x6", "9", "x", "thin", "x_9x6", 9.0, 6.0, 2, 9.0)
    found = textbook_blade_element(p)
    assert np.all((found.zero_thrust_j > 6 / 9) & (found.zero_thrust_j < 1.6 * 6 / 9))
    assert np.all((found.peak_efficiency > 0.5) & (found.peak_efficiency < 0.95))


def test_the_nearest_propeller_is_the_one_most_alike(folder):
    read = read_measured(folder)
    p = next(p for p in read if p.label == "da4002_10x5")
    same = nearest_propeller(p, read)
    sibling = measured_sibling(p)
    np.testing.assert_array_equal(same.table.ct, sibling.table.ct)
    others = [q for q in read if q is not p]
    near = min(
        others, key=lambda q: abs(q.pitch_in / q.diameter_in - 0.5) / 0.15 + abs(math.log(q.diameter_in / 10)) / 0.3
    )
    np.testing.assert_array_equal(nearest_propeller(p, others).table.ct, measured_sibling(near).table.ct)
