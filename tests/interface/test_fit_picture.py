"""The picture of a fit: what is drawn is what was read and what the fit says; on file, on the sheet, on the page."""

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import attrs
import numpy as np
import pytest
from support.bundled import bundled_catalogue, nearest
from support.commands import TRAIN_ID
from support.pages import Served, served
from support.sheets import BRIEF, brief, found, fresh_sheet, stock

from propmatch import load_catalogue
from propmatch.bench.fit import fit_log
from propmatch.bench.logfit import LogFit
from propmatch.sheet import build_sheet
from propmatch.sheet.fitcharts import fit_chart, motor_curve
from propmatch.sheet.style import GREY

ROWS = (
    ("none", 12.33, 0.62, 15800), ("5x4.5", 12.01, 5.2, 13900), ("6x4", 11.75, 9.1, 12500), ("7x4", 11.45, 13.4, 10900),
)  # fmt: skip
"""Invented readings of an invented motor."""
HEADS = ("motor", "label_kv", "mass_g", "cells", "propeller", "volts", "amps", "rpm")


def log(rows: Any = ROWS, heads: tuple[str, ...] = HEADS, name: str = "mine") -> str:
    """A log as text, of some columns."""
    full = [dict(zip(HEADS, (name, 1500, 28, 3, *row), strict=True)) for row in rows]
    return "\n".join([",".join(heads), *(",".join(str(each[head]) for head in heads) for each in full)]) + "\n"


@pytest.fixture
def log_file(tmp_path: Path) -> Path:
    file = tmp_path / "bench.csv"
    file.write_text(log(), encoding="utf-8")
    return file


@pytest.fixture
def fit(log_file: Path) -> LogFit:
    return fit_log(log_file)


def test_readings_stand_where_they_were_read(fit: LogFit) -> None:
    above, below = fit_chart(fit).figure().axes
    marks = [line for line in above.get_lines() if line.get_linestyle() == "None"]
    drawn = {(float(x), float(y)) for line in marks for x, y in zip(line.get_xdata(), line.get_ydata(), strict=True)}
    assert drawn == {(amps, rpm) for _, _, amps, rpm in ROWS}
    off = {line.get_label(): list(line.get_ydata()) for line in below.get_lines() if line.get_marker() != "None"}
    for name in ("volts", "amps", "rpm"):
        wanted = [100 * (getattr(row, name) / getattr(row, f"fit_{name}") - 1) for row in fit.rows]
        assert off[name] == pytest.approx(wanted)


def test_the_curve_is_that_of_the_constants(fit: LogFit) -> None:
    """At the speed for which the resistance is stated, rpm = kV (V - R I) by hand, within the gain of a voltmeter."""
    rpm, band = motor_curve(fit, fit.rows)
    amps = float(np.interp(-fit.at_rpm, -rpm, band.x))
    line = np.polyfit([r.amps for r in fit.rows], [r.volts for r in fit.rows], 1)
    volts = float(np.polyval(line, amps))
    by_hand = fit.constants["kv_rpm_per_v"].value * (volts - fit.constants["resistance_ohm"].value * amps)
    assert by_hand == pytest.approx(fit.at_rpm, rel=0.01)
    for row in fit.rows:
        assert np.interp(row.amps, band.x, rpm) == pytest.approx(row.rpm, rel=0.01)
    assert np.all((band.low < rpm) & (rpm < band.high))


def test_the_band_is_that_of_draws_from_the_covariance(fit: LogFit) -> None:
    """By an independent loop: 4,000 draws of a hundredth of the covariance, V = K w + (R + b w) I solved for w."""
    rpm, band = motor_curve(fit, fit.rows)
    line = np.polyfit([r.fit_amps for r in fit.rows], [r.fit_volts for r in fit.rows], 1)
    at = {name: i for i, name in enumerate(fit.names)}
    speeds = []
    for draw in np.random.default_rng(7).multivariate_normal(fit.ln, fit.covariance / 100, 4000, method="eigh"):
        k = 60 / (2 * np.pi * np.exp(draw[at["kv_rpm_per_v"]]))
        r, b = np.exp(draw[at["resistance_ohm"]]), np.exp(draw[at["resistance_slope_ohm_s"]])
        current = (band.x - draw[at["zero of amps"]]) / np.exp(draw[at["gain of amps"]])
        volts = np.polyval(line, band.x) / np.exp(draw[at["gain of volts"]])
        speeds.append((volts - r * current) / (k + b * current) * 60 / (2 * np.pi) * np.exp(draw[at["gain of rpm"]]))
    np.testing.assert_allclose(10 * 1.6449 * np.std(speeds, axis=0), band.high - rpm, rtol=0.08)


def test_a_reading_that_is_wrong_is_seen(tmp_path: Path) -> None:
    file = tmp_path / "bench.csv"
    wrong = [*ROWS, ("7x4", 11.45, 17.9, 10900), ("6x4", 11.75, 9.1, 12500)]
    file.write_text(log(wrong), encoding="utf-8")
    (_, below) = fit_chart(fit_log(file)).figure().axes
    amps = next(line for line in below.get_lines() if line.get_label() == "amps")
    assert int(np.argmax(np.abs(amps.get_ydata()))) == 4
    labels = [label.get_text() for label in below.get_xticklabels()]
    assert labels[4] == "6 !"


def test_without_a_tachometer_the_residuals_are_drawn_alone(tmp_path: Path) -> None:
    file = tmp_path / "bench.csv"
    file.write_text(log(heads=tuple(head for head in HEADS if head != "rpm")), encoding="utf-8")
    picture = fit_chart(fit_log(file))
    assert len(picture.figure().axes) == 1
    assert "Shaded" not in picture.summary


def test_the_curve_of_two_motors_goes_through_their_rows(tmp_path: Path) -> None:
    """Two motors on one pack draw twice the amps at the same volts."""
    file = tmp_path / "twin.csv"
    file.write_text(log([(p, v, 2 * a, n) for p, v, a, n in ROWS]), encoding="utf-8")
    twin = fit_log(file, count=2)
    rpm, band = motor_curve(twin, twin.rows)
    for row in twin.rows:
        assert np.interp(row.amps, band.x, rpm) == pytest.approx(row.rpm, rel=0.01)


def test_rows_set_aside_are_marked(fit: LogFit) -> None:
    aside = attrs.evolve(fit, rows=(*fit.rows[:-1], attrs.evolve(fit.rows[-1], used=False)))
    above, _ = fit_chart(aside).figure().axes
    (cross,) = [line for line in above.get_lines() if line.get_marker() == "x"]
    assert (list(cross.get_xdata()), cross.get_color()) == ([13.4], GREY)


# ---------------------------------------------------------------- where it stands


def test_the_command_draws_it(run: Callable[..., Any], log_file: Path, tmp_path: Path) -> None:
    file = tmp_path / "fit.svg"
    done = run("fit", str(log_file), "--plot", str(file))
    assert done.exit_code == 0, done.err
    root = ElementTree.parse(file).getroot()
    assert root.find("{http://www.w3.org/2000/svg}title").text.startswith("Bench readings of mine")
    kept = file.read_bytes()
    run("fit", str(log_file), "--plot", str(file))
    assert file.read_bytes() == kept
    png = tmp_path / "fit.png"
    assert run("fit", str(log_file), "--plot", str(png)).exit_code == 0
    assert png.read_bytes().startswith(b"\x89PNG\r\n")
    done = run("fit", str(log_file), "--plot", str(tmp_path / "fit.gif"))
    assert (done.exit_code, "must end in .svg, .png, .pdf" in done.err) == (2, True)


def test_the_sheet_shows_the_log_of_its_motor(fit: LogFit) -> None:
    assert "bench" not in {section.name for section in fresh_sheet().sections}
    made = build_sheet(brief(), stock(), shortlist=found(), train=found().best.train, fit=fit)
    section = made.section("bench")
    assert "The log is of mine" in section.text[0]
    assert section.pictures[0].table.rows == fit_chart(fit).table.rows


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    with served(BRIEF, load_catalogue(), tmp_path_factory.mktemp("page")) as made:
        yield made


def test_the_page_fits_a_log_and_flies_its_motor(page: Served) -> None:
    train = TRAIN_ID
    sent = {"name": "../up/bench.csv", "text": log()}
    told = page.ask("fit", text=BRIEF, changes={}, train=train, log=sent).json()
    assert told["motor"] == "bench/mine"
    assert told["train"] == " + ".join(["bench/mine", *train.split(" + ")[1:]])
    assert told["svg"].startswith("<svg")
    assert any("kV 1" in text for text in told["words"])
    flown = page.ask("train", text=BRIEF, changes={}, train=told["train"], log=sent).json()
    assert flown["parts"][0]["name"] == "mine"
    assert flown["parts"][0]["source"].startswith("bench log bench.csv")
    without = page.ask("train", text=BRIEF, changes={}, train=told["train"])
    assert (without.status_code, "no part with this id" in without.text) == (422, True)


def test_the_motor_of_the_train_counts_where_the_log_names_none(page: Served) -> None:
    bare = log(heads=tuple(head for head in HEADS if head not in ("motor", "label_kv", "mass_g")))
    motor = nearest("motors", kv_rpm_per_v=1500, mass_g=28)
    sent = {"name": "bench.csv", "text": bare, "motor": motor}
    told = page.ask("fit", text=BRIEF, changes={}, train=TRAIN_ID, log=sent).json()
    assert told["words"][0].startswith(bundled_catalogue().motors[motor].name)


@pytest.mark.parametrize(
    ("sent", "said"),
    [
        (None, "must be text"),
        ({"name": "a.csv"}, "must be text"),
        ({"name": "a.csv", "text": ""}, "empty"),
        ({"name": "a.csv", "text": "colour\nred\n"}, "no column says what an instrument read"),
        ({"name": "a.csv", "text": "volts,amps,rpm\nmany,1,2\n"}, "a.csv:2"),
    ],
    ids=["none", "no text", "empty", "other columns", "text in numbers"],
)
def test_a_log_that_cannot_be_read_is_a_fault_without_a_folder(page: Served, sent: Any, said: str) -> None:
    reply = page.ask("fit", text=BRIEF, changes={}, log=sent)
    assert reply.status_code == 422
    texts = [fault["text"] for fault in reply.json()["faults"]]
    assert any(said in text for text in texts), texts
    assert not any("/tmp" in text for text in texts)
