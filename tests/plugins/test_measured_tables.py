"""Measured propeller tables: layouts, merging, and how far the solver's lookup moves a point.

The run below is typed from the UIUC Propeller Database, vol. 1 (Brandt and Selig, AIAA 2011-1255), propeller
ance_8.5x6 at 4000 rpm, first rows. All other points are made by formula, so that the right answer is known.
"""

import os
import time
from pathlib import Path

import numpy as np
import pytest

from propmatch.catalogue.catalogue import load_catalogue
from propmatch.faults import InputFaults
from propmatch_plugins.measured_tables import read_tables, table_of_file
from propmatch_plugins.reading.coefficients import MOST_MOVED, Points, sweeps_of, table_of
from propmatch_plugins.reading.runs import collect

PUBLISHED = "J CT CP eta\n0.165 0.0993 0.0539 0.304\n0.214 0.0947 0.0543 0.374\n0.255 0.0916 0.0548 0.427\n"


@pytest.fixture(autouse=True)
def own_cache(tmp_path, monkeypatch):
    monkeypatch.setenv("PROPMATCH_CACHE", str(tmp_path / "cache"))


@pytest.fixture
def folder(tmp_path):
    path = tmp_path / "measured"
    path.mkdir()
    return path


def ct(j, rpm):
    return (0.11 - 0.09 * j - 0.04 * j**2) * (rpm / 5000) ** 0.11


def cp(j, rpm):
    return (0.05 + 0.02 * j - 0.07 * j**2) * (rpm / 5000) ** -0.07


def run(rpm, j, number=0):
    j = np.asarray(j, float)
    r = np.full(j.size, float(rpm))
    return Points(r, j, ct(j, r), cp(j, r), np.full(j.size, number))


def joined(*runs):
    return Points(*(np.concatenate([getattr(each, name) for each in runs]) for name in ("rpm", "j", "ct", "cp", "run")))


def off(table, points, rpm=None):
    found = table.lookup(points.rpm if rpm is None else rpm, points.j)
    return max(
        np.max(np.abs(found.ct - points.ct)) / np.max(np.abs(points.ct)),
        np.max(np.abs(found.cp - points.cp)) / np.max(np.abs(points.cp)),
    )


# ---------------------------------------------------------------- points to table


def test_no_point_moves_by_more_than_two_thousandths():
    points = joined(*(run(rpm, np.linspace(0.1 + rpm / 1e5, 0.95, 17), rpm) for rpm in (3010, 4025, 4990, 6040)),
                    *(run(rpm, [0.0], -1) for rpm in range(1500, 6500, 310)))  # fmt: skip
    table, changes = table_of(points)
    assert off(table, points) <= MOST_MOVED
    assert changes.moved <= MOST_MOVED
    assert changes.static_points == 17
    assert changes.windmilling == np.count_nonzero(points.ct < 0) > 0


def test_between_the_points_the_table_follows_the_law_they_came_from():
    points = joined(*(run(rpm, np.arange(0, 1.0, 0.05), rpm) for rpm in (3000, 4000, 5000, 6000)))
    table, _ = table_of(points)
    j, rpm = np.meshgrid(np.linspace(0, 0.95, 41), np.linspace(3000, 6000, 23))
    found = table.lookup(rpm, j)
    np.testing.assert_allclose(found.ct, ct(j, rpm), atol=0.005 * 0.11)
    np.testing.assert_allclose(found.cp, cp(j, rpm), atol=0.005 * 0.05)


def test_noise_is_kept_not_smoothed():
    clean = joined(*(run(rpm, np.arange(0.05, 0.9, 0.03), rpm) for rpm in (4000, 5000, 6000)))
    jitter = np.random.default_rng(3).normal(0, 0.004, clean.j.size) * 0.11
    noisy = Points(clean.rpm, clean.j, clean.ct + jitter, clean.cp + jitter / 2, clean.run)
    table, changes = table_of(noisy)
    assert off(table, noisy) == pytest.approx(changes.moved)
    assert changes.moved <= MOST_MOVED


def test_rows_in_any_order_and_doubled_make_the_same_table():
    points = joined(run(4000, np.arange(0.1, 0.9, 0.04), 1), run(5000, np.arange(0.1, 0.9, 0.04), 2))
    order = np.random.default_rng(1).permutation(np.repeat(np.arange(points.j.size), 2))
    shuffled = Points(*(getattr(points, name)[order] for name in ("rpm", "j", "ct", "cp", "run")))
    table, changes = table_of(points)
    again, counted = table_of(shuffled)
    np.testing.assert_array_equal(again.ct, table.ct)
    assert (changes.duplicates, counted.duplicates) == (0, points.j.size)


def test_a_step_back_in_j_is_sorted_and_counted():
    table, changes = table_of(run(4000, [0.1, 0.3, 0.5, 0.7, 0.65], 1))
    assert changes.unsorted == 1
    assert off(table, run(4000, [0.65])) <= MOST_MOVED


def test_speeds_within_two_per_cent_are_one_speed():
    points = joined(run(4000, [0.1, 0.3, 0.5], 1), run(4060, [0.4, 0.6, 0.8], 2), run(4300, [0.2, 0.6], 3))
    assert [(round(each.rpm), each.j.size) for each in sweeps_of(points)] == [(4030, 6), (4300, 2)]
    assert table_of(points)[1].merged_speeds == 1


def test_a_point_measured_again_is_averaged_and_said_but_close_points_of_one_run_are_not():
    again = run(5000, [0.402], 2)
    again = Points(again.rpm, again.j, again.ct * 1.02, again.cp, again.run)
    points = joined(run(5000, [0.2, 0.4, 0.405, 0.6], 1), again)
    (sweep,) = sweeps_of(points)
    assert sweep.j.tolist() == pytest.approx([0.2, 0.401, 0.405, 0.6])
    changes = table_of(points)[1]
    assert changes.averaged == 2
    assert 0.002 < changes.averaged_by < 0.02
    assert "2 repeated points averaged" in str(changes)


def test_static_points_are_the_points_at_rest():
    points = joined(run(4000, [0.2, 0.4, 0.6], 1), run(3000, [0.0], -1), run(5000, [0.0], -1))
    table, changes = table_of(points)
    assert changes.extrapolated == 0
    assert table.rpm[0] == 3000
    assert table.rpm[-1] == 5000
    for rpm in (3000.0, 5000.0):
        assert table.lookup(rpm, 0.0).ct == pytest.approx(ct(0.0, rpm), abs=MOST_MOVED * 0.11)


def test_without_static_points_the_run_goes_on_straight_and_says_so():
    j = np.array([0.2, 0.3, 0.4, 0.6])
    flat = np.full(4, 4000.0)
    points = Points(flat, j, 0.1 - 0.08 * j, 0.05 - 0.01 * j, np.zeros(4, int))
    table, changes = table_of(points)
    assert changes.extrapolated == 1
    assert "straight line" in str(changes)
    assert table.lookup(4000.0, 0.0).ct == pytest.approx(0.1, abs=MOST_MOVED * 0.1)


def test_a_short_run_is_continued_with_the_shape_of_a_longer_one():
    points = joined(run(3000, np.arange(0, 0.45, 0.05), 1), run(4000, np.arange(0, 0.95, 0.05), 2))
    table, changes = table_of(points)
    assert changes.continued == 1
    fall = ct(0.8, 4000) - ct(0.4, 4000)
    assert table.lookup(3000.0, 0.8).ct == pytest.approx(ct(0.4, 3000) + fall, abs=0.005 * 0.11)


def test_static_points_alone_make_no_table():
    with pytest.raises(ValueError, match="static points only"):
        table_of(run(4000, [0.0], -1))


# ---------------------------------------------------------------- files


def test_run_files_keep_label_and_take_rpm_from_the_name(folder):
    (folder / "ance_8.5x6_2849cm_4000.txt").write_text(PUBLISHED)
    (folder / "ance_8.5x6_static_2848cm.txt").write_text("RPM CT CP\n3500 0.1048 0.0540\n4100 0.1050 0.0535\n")
    read = read_tables(folder)
    (each,) = read.propellers
    assert not read.faults
    propeller = each.propeller
    assert (propeller.name, propeller.diameter_in, propeller.pitch_in, propeller.blades) == ("ance_8.5x6", 8.5, 6, 2)
    assert propeller.source.kind == "measured"
    assert propeller.table.lookup(4000.0, 0.214).ct == pytest.approx(0.0947, abs=0.002 * 0.105)
    assert propeller.table.lookup(4000.0, 0.255).cp == pytest.approx(0.0548, abs=0.002 * 0.0548)
    assert propeller.table.lookup(3500.0, 0.0).ct == pytest.approx(0.1048, abs=0.002 * 0.105)


def long_tables(folder):
    dynamic = ["propeller,volume,diameter_in,pitch_in,blades,rpm,J,CT,CP,eta"]
    for label, volume, pitch in (("quill_8x5", "1", "5"), ("quill_8x5", "2", "5"), ("oar_9_20deg", "2", "")):
        for rpm in (4000, 5000):
            for j in np.arange(0.1, 0.9, 0.05):
                dynamic.append(f"{label},{volume},8,{pitch},3,{rpm},{j:.2f},{ct(j, rpm):.6f},{cp(j, rpm):.6f},")
    (folder / "dynamic.csv").write_text("\n".join(dynamic))
    (folder / "static.csv").write_text(
        "propeller,volume,diameter_in,pitch_in,blades,rpm,CT0,CP0\n"
        "quill_8x5,1,8,5,3,3000,0.104,0.0518\nreed_5x3,1,5,3,2,9000,0.1,0.05\n"
    )
    (folder / "geometry.csv").write_text(
        "propeller,volume,r_over_R,c_over_R,beta_deg\noar_9_20deg,2,0.7,0.1,21\noar_9_20deg,2,0.8,0.1,19\n"
    )
    (folder / "diameters.csv").write_text("propeller,volume,true_diameter_in\nquill_8x5,1,7.9\n")


def test_long_tables_with_static_geometry_and_true_diameters(folder):
    long_tables(folder)
    read = read_tables(folder)
    found = {each.propeller.id: each.propeller for each in read.propellers}
    assert set(found) == {"quill_8x5@1", "quill_8x5@2", "oar_9_20deg"}
    assert {each.name for each in found.values()} == {"quill_8x5", "oar_9_20deg"}
    assert found["quill_8x5@1"].diameter_in == 7.9
    assert "true diameter 7.9 in, nominal 8" in found["quill_8x5@1"].source.text
    # pi 0.75 D tan(20 deg), the geometric pitch of a blade angle at 0.75 R
    assert found["oar_9_20deg"].pitch_in == pytest.approx(np.pi * 0.75 * 8 * np.tan(np.radians(20)))
    (aside,) = read.set_aside
    assert "reed_5x3: has static points only" in str(aside)


def test_faulty_rows_are_named_and_the_rest_is_used(folder):
    (folder / "quill_8x5_4000.txt").write_text(
        "J CT CP\n0.2 x 0.05\n0.4 0.08 0.045\n0.5 0.07\n-0.1 0.1 0.05\n0.7 0.03 0.03\n"
    )
    read = read_tables(folder)
    found = sorted((fault.where.rpartition(":")[2], fault.key) for fault in read.faults)
    assert found == [("2", "CT"), ("4", ""), ("5", "J")]
    assert read.propellers[0].changes.points == 2


def test_a_table_without_size_or_speed_says_what_is_missing(folder):
    (folder / "quill_4000.txt").write_text(PUBLISHED)
    (folder / "quill_8x5.txt").write_text(PUBLISHED)
    read = read_tables(folder)
    assert not read.propellers
    assert any("diameter_in: quill: not known" in str(fault) for fault in read.set_aside)
    assert any("has no column rpm" in str(fault) for fault in read.faults)


def test_the_second_reading_comes_from_the_cache_and_is_the_same(folder, monkeypatch):
    long_tables(folder)
    (folder / "static.csv").unlink()
    first = read_tables(folder)
    monkeypatch.setattr("propmatch_plugins.reading.coefficients.table_of", None)
    second = read_tables(folder)
    for a, b in zip(first.propellers, second.propellers, strict=True):
        np.testing.assert_array_equal(a.propeller.table.ct, b.propeller.table.ct)
        assert a.changes == b.changes


@pytest.mark.parametrize("spoil", [lambda kept: b"spoiled", lambda kept: kept[: len(kept) // 2], lambda kept: b""])
def test_a_spoiled_cache_is_made_again(folder, tmp_path, spoil):
    long_tables(folder)
    first = read_tables(folder)
    whole = {path: path.read_bytes() for path in (tmp_path / "cache" / "tables").iterdir()}
    assert len(whole) >= len(first.propellers)
    for path, kept in whole.items():
        path.write_bytes(spoil(kept))
    again = read_tables(folder)
    assert [each.changes for each in again.propellers] == [each.changes for each in first.propellers]
    assert {path: path.read_bytes() for path in whole} == whole


def test_with_no_cache_folder_no_table_is_kept(folder, tmp_path, monkeypatch):
    long_tables(folder)
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "usual"))
    monkeypatch.setenv("PROPMATCH_CACHE", "")
    assert read_tables(folder).propellers
    assert not (tmp_path / "usual").exists()
    assert not (tmp_path / "cache").exists()


def test_tables_made_by_other_code_are_made_again(folder, tmp_path, monkeypatch):
    long_tables(folder)
    read_tables(folder)
    before = set((tmp_path / "cache" / "tables").iterdir())
    changed = tmp_path / "coefficients.py"
    changed.write_text("CHANGED = 1\n")
    monkeypatch.setattr("propmatch_plugins.reading.coefficients.__file__", str(changed))
    read_tables(folder)
    assert len(set((tmp_path / "cache" / "tables").iterdir())) == 2 * len(before)


def test_one_table_from_a_file_or_a_folder(folder):
    (folder / "a_4000.txt").write_text(PUBLISHED)
    (folder / "b_5000.txt").write_text(PUBLISHED)
    table = table_of_file(folder)
    assert (table.rpm[0], table.rpm[-1]) == (4000, 5000)
    (folder / "c.txt").write_text(PUBLISHED)
    with pytest.raises(InputFaults, match="has no column rpm"):
        table_of_file(folder / "c.txt")


def test_the_variable_makes_them_part_of_the_catalogue(folder, monkeypatch):
    long_tables(folder)
    monkeypatch.setenv("PROPMATCH_TABLES", str(folder))
    catalogue = load_catalogue(plugins=["tables"])
    assert "tables/oar_9_20deg" in catalogue.propellers
    assert catalogue.set_aside("propellers") == 1
    monkeypatch.setenv("PROPMATCH_TABLES", str(folder / "gone"))
    (fault,) = load_catalogue(plugins=["tables"]).faults
    assert fault.rule == "cannot be read: no such folder"


@pytest.mark.slow
@pytest.mark.skipif("PROPMATCH_MEASURED" not in os.environ, reason="needs a copy of the open data set")
def test_the_whole_open_data_set_keeps_its_points():
    read = read_tables(Path(os.environ["PROPMATCH_MEASURED"]), cache=False)
    assert len(read.propellers) > 100
    assert max(each.changes.moved for each in read.propellers) <= MOST_MOVED


def test_a_log_with_its_own_speed_in_every_row_is_one_sweep():
    from propmatch_plugins.reading.coefficients import Points, sweeps_of

    rows = 2000
    j = np.linspace(0.1, 0.8, rows)
    rpm = 6000.0 + np.random.default_rng(5).permutation(rows) / 40.0  # within 1 %
    points = Points(rpm, j, 0.12 - 0.1 * j, 0.06 - 0.02 * j, np.arange(rows))
    begun = time.process_time()
    (sweep,) = sweeps_of(points)
    assert time.process_time() - begun < 10.0
    # Averages of points on a line lie on it.
    assert sweep.rpm == pytest.approx(rpm.mean())
    assert sweep.values == pytest.approx(np.stack([0.12 - 0.1 * sweep.j, 0.06 - 0.02 * sweep.j]))


@pytest.mark.parametrize(
    ("rpm", "taken"), [("5,430", None), ("5.430", None), ("05.430", 5.43), ("5430", 5430.0), ("5 430", 5430.0)]
)
def test_a_speed_that_may_be_two_where_points_and_commas_contradict_is_asked_for(rpm, taken, tmp_path):
    """SI Brochure, 5.4.4: either mark may stand for decimals; a table that uses both settles neither."""
    path = tmp_path / "long.csv"
    path.write_text(f"propeller;rpm;J;CT;CP\nx_9x4;{rpm};0,25;0.1;0.05\nx_9x4;6000;0,5;0.05;0.04\n")
    found, faults, _ = collect([path])
    (specimen,) = found.values()
    assert len(specimen.rows) == (1 if taken is None else 2)
    assert taken is None or specimen.rows[0][0] == taken
    assert taken is not None or any(fault.key == "rpm" for fault in faults)


def test_an_angle_that_no_blade_has_is_not_lent(tmp_path):
    path = tmp_path / "geometry.csv"
    path.write_text('propeller,r_over_R,beta_deg\nx,0.5,"20,125"\nx,1,10\n')
    read = read_tables([path], cache=False)
    assert any(fault.key == "beta_deg" and fault.rule == "must be a number from -90 to 90" for fault in read.faults)
