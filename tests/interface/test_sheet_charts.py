"""What the charts draw is what the functions say, and it can be told apart without colour."""

import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import attrs
import html5lib
import numpy as np
import pytest
from support.sheets import HOSTILE, brief, stock
from support.trains import simple_airframe, simple_train

from propmatch import Check, Phase, compare_cells, flight_time, match, solve
from propmatch.brief import loads_brief, resolve_variants
from propmatch.checks.limits import Design, run_checks
from propmatch.records.estimates import KV_LABEL_RANGE
from propmatch.records.fields import replace
from propmatch.sheet import compare_chart, flight_chart, margin_chart, operating_chart, throttle_chart
from propmatch.sheet.flightcharts import FlightPlan, stretches
from propmatch.sheet.spread import spread_of
from propmatch.sheet.style import BLUE, GREEN, GREY, INK, ORANGE, PURPLE
from propmatch.units import GRAM_FORCE_N, KMH_M_S

FRAME, MASS = simple_airframe(), 0.4
PHASES = (Phase("climb", throttle=1.0, seconds=20), Phase("cruise", airspeed_m_s=12, share=0.7),
          Phase("glide", airspeed_m_s=12, throttle=0.0, share=0.3))  # fmt: skip


def lines(axes: Any) -> list[tuple[Any, Any]]:
    return [(np.asarray(line.get_xdata()), np.asarray(line.get_ydata())) for line in axes.get_lines()]


def test_the_operating_chart_draws_full_throttle_of_both_charges() -> None:
    (axes,) = operating_chart(simple_train(), FRAME, MASS, reserve_charge=0.2).figure().axes
    for charge in (1.0, 0.2):
        found = []
        for x, y in lines(axes):
            if len(x) > 10:
                thrust = solve(simple_train(), airspeed_m_s=x * KMH_M_S, charge=charge).thrust_n / GRAM_FORCE_N
                found.append(np.allclose(y, thrust, rtol=1e-9, equal_nan=True))
        assert sum(found) == 1, charge


def test_level_flight_crosses_where_top_speed_is() -> None:
    """The crossing read off the drawn lines is the speed at which thrust equals drag, found by bisection here."""
    train = simple_train()
    (axes,) = operating_chart(train, FRAME, MASS).figure().axes
    curves = {line.get_linestyle() + line.get_color(): line for line in axes.get_lines()}
    full, need = curves["-" + BLUE], curves["-." + ORANGE]
    x = np.asarray(full.get_xdata())
    gap = np.asarray(full.get_ydata()) - np.asarray(need.get_ydata())
    last = np.flatnonzero(gap > 0)[-1]
    low, high = x[last] * KMH_M_S, x[last + 1] * KMH_M_S
    k = 1 / (np.pi * FRAME.oswald * FRAME.aspect_ratio)

    def surplus(v: float) -> float:
        qs = 0.5 * 1.225 * v**2 * FRAME.wing_area_dm2 * 1e-2
        return solve(train, airspeed_m_s=v).thrust_n - (qs * FRAME.cd0 + k * (MASS * 9.80665) ** 2 / qs)

    assert surplus(low) > 0 > surplus(high)


def test_current_against_throttle() -> None:
    figure = throttle_chart(simple_train(), charge=0.5).figure()
    below = figure.axes[1]
    (x, motor), (_, pack) = lines(below)[:2]
    point = solve(simple_train(), throttle=x / 100, charge=0.5)
    np.testing.assert_allclose(motor, point.motor_current_a)
    np.testing.assert_allclose(pack, point.pack_current_a)


@pytest.mark.parametrize(
    "phases",
    [PHASES, PHASES[:2], (Phase("loud", throttle=1.0, seconds=30), Phase("soft", throttle=0.4, seconds=60))],
    ids=["mixture", "one share", "repeated"],
)
def test_the_flight_drawn_ends_when_and_where_flight_time_ends(phases: tuple[Phase, ...]) -> None:
    """The chart integrates the charge by itself, by trapezoids; flight_time by Gauss nodes."""
    train = simple_train()
    flight = flight_time(train, FRAME, MASS, phases)
    parts = stretches(flight)
    assert parts[-1].minutes[-1] == pytest.approx(flight.minutes, rel=1e-9)
    assert parts[-1].charge[-1] == pytest.approx(flight.charge, abs=2e-3)
    lowest = {row.name: row.cell_voltage_lowest_v for row in flight.phases}
    for name in lowest:
        drawn = min(v.min() for part in parts for key, v in part.voltage.items() if key == name)
        assert drawn / train.pack.cells_series == pytest.approx(lowest[name], abs=5e-3)


def test_a_flight_that_cannot_be_flown_is_still_drawn() -> None:
    picture = flight_chart(
        FlightPlan(
            train=simple_train(), airframe=FRAME, mass_kg=20.0, phases=(Phase("cruise", airspeed_m_s=70, share=1.0),)
        )
    )
    assert "annot be flown" in picture.summary or "No answer" in picture.summary
    assert picture.svg().startswith("<svg")


def check(name: str, value: float, limit: float, *, least: bool = False, basis: str = "brief") -> Check:
    margin = (value - limit) / limit if least else (limit - value) / limit
    return Check(name=name, value=value, limit=limit, unit="A", margin=margin, least=least, basis=basis,
                 verdict="fails" if margin < 0 else "close" if margin <= 0.1 else "ok")  # fmt: skip


def test_margin_bars_start_at_the_limit() -> None:
    unknown = attrs.evolve(check("far", 1, 10), margin=float("nan"), limit=float("nan"), verdict="no limit")
    under, least = check("under", 8, 10, basis="part rating"), check("least", 15, 10, least=True)
    checks = [check("over", 12, 10), under, least, unknown]
    picture = margin_chart(checks)
    (axes,) = picture.figure().axes
    widths = sorted(patch.get_width() for patch in axes.patches if patch.get_height() == pytest.approx(0.62))
    assert widths == pytest.approx([-0.2, 0.2, 0.5])
    assert "Beyond a limit of the brief or of a part: over." in picture.summary
    assert len(picture.table.rows) == 4


def test_a_spread_from_one_number_is_the_range_between_its_ends() -> None:
    """With the label's kV alone uncertain, the ends are those of a motor with each end of the label's range."""
    known = {"resistance_slope_ohm_s": 0.0, "torque_constant_ratio": 1.0}
    known |= {"no_load_voltage_v": 8.0, "no_load_exponent": 0.3}
    train = simple_train(motor=replace(simple_train().motor, kv_kind="label", **known))
    design = Design.of(train, resolve_variants(brief())[0])
    design = attrs.evolve(design, airframe=replace(design.airframe, cd0=0.03))
    spread = spread_of(design, brief())
    assert len(spread.varied) == 1
    ends = []
    for share in KV_LABEL_RANGE:
        motor = replace(train.motor, kv_kind="effective", kv_rpm_per_v=train.motor.kv_rpm_per_v * share)
        there = attrs.evolve(design, train=replace(train, motor=motor))
        ends.append(next(c for c in run_checks(there, brief()) if c.name == "motor_current_static").value)
    assert spread.low["motor_current_static"] == pytest.approx(ends[0], rel=1e-9)
    assert spread.high["motor_current_static"] == pytest.approx(ends[1], rel=1e-9)
    assert "all_up_mass" not in spread.low


@pytest.mark.parametrize(
    ("part", "filament", "ends"),
    [
        # 200 g solid in foam at 0.30 to 0.40: 60 to 80 g. 70 g of foam made solid: 70/0.40 = 175 to 70/0.30 = 233.3 g.
        ("slicer_g = 200", "foamed", (60.0, 80.0)),
        ('weighed_g = 70\nprinted_share = 1\nmaterial = "foamed"', "solid", (175.0, 700 / 3)),
    ],
)
def test_the_range_of_a_filament_moves_the_mass(part: str, filament: str, ends: tuple[float, float]) -> None:
    asked = loads_brief(
        '[aircraft]\nname = "x"\ntarget_mass_g = 500\n[wing]\narea_dm2 = 16\nspan_mm = 1100\ncd0 = 0.03\n'
        f'[[item]]\nname = "gear"\nmass_g = 80\n[[structure]]\n{part}\n'
        f'[[variant]]\nname = "v"\nfilament = "{filament}"\n'
    )
    designed, built = resolve_variants(asked)
    assert spread_of(Design.of(simple_train(), designed), asked).varied == ()
    spread = spread_of(Design.of(simple_train(), built), asked)
    assert spread.varied == ("filament: flow rate 0.3 to 0.4",)
    found = (spread.low["all_up_mass"], spread.high["all_up_mass"])
    assert found == pytest.approx([simple_train().mass_g + 80 + end for end in ends], rel=1e-9)
    assert spread.low["thrust_to_weight"] < spread.high["thrust_to_weight"]


def test_a_train_with_every_number_stated_has_no_spread() -> None:
    design = Design.of(simple_train(), resolve_variants(brief())[0])
    spread = spread_of(attrs.evolve(design, airframe=replace(design.airframe, cd0=0.03)), brief())
    assert (spread.varied, spread.low) == ((), {})


def test_curves_are_told_apart_without_colour() -> None:
    trains = {f"{cells}S": simple_train(pack=replace(simple_train().pack, cells_series=cells)) for cells in (2, 3, 4)}
    (axes,) = compare_chart(trains, FRAME, dict.fromkeys(trains, MASS)).figure().axes
    looks = {(line.get_linestyle(), line.get_marker()) for line in axes.get_lines() if line.get_marker() != "None"}
    assert len(looks) == 3
    written = {text.get_text() for text in axes.texts}
    assert {f"{key}, full throttle" for key in trains} <= written


@pytest.mark.parametrize("colour", [INK, BLUE, ORANGE, GREEN, PURPLE, GREY])
def test_colours_of_text_have_contrast_on_white(colour: str) -> None:
    """WCAG 2.2, success criterion 1.4.3: at least 4.5 to 1, by its formula of relative luminance."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    luminance = np.dot(linear, [0.2126, 0.7152, 0.0722])
    assert 1.05 / (luminance + 0.05) >= 4.5


# ---------------------------------------------------------------- files and notebooks

TYPED = ("--motor", "1500kV 28g", "--propeller", "6x4", "--pack", "2S 450mAh 35C")


@pytest.mark.parametrize(
    "words",
    [
        ("point", *TYPED),
        ("point", *TYPED, "--airspeed", "0..20/5"),
        ("point", *TYPED, "--hold", "0.5N,1N"),
        ("time", "schoolyard_trainer", *TYPED),
        ("cells", "schoolyard_trainer", *TYPED),
    ],
    ids=["point", "airspeed", "hold", "time", "cells"],
)
def test_commands_draw_a_labelled_svg(run: Callable[..., Any], tmp_path: Path, words: tuple[str, ...]) -> None:
    file = tmp_path / "chart.svg"
    done = run(*words, "--plot", str(file))
    assert done.exit_code in (0, 1), done.err
    assert str(file) in re.sub(r"\s+", "", done.out)
    root = ElementTree.parse(file).getroot()
    assert root.tag == "{http://www.w3.org/2000/svg}svg"
    assert root.find("{http://www.w3.org/2000/svg}title").text
    kept = file.read_bytes()
    run(*words, "--plot", str(file))
    assert file.read_bytes() == kept


def test_other_kinds_of_picture(run: Callable[..., Any], tmp_path: Path) -> None:
    for suffix, start in ((".png", b"\x89PNG\r\n"), (".pdf", b"%PDF-")):
        file = tmp_path / f"chart{suffix}"
        assert run("point", *TYPED, "--plot", str(file)).exit_code == 0
        assert file.read_bytes().startswith(start)
    done = run("point", *TYPED, "--plot", str(tmp_path / "chart.gif"))
    assert (done.exit_code, "must end in .svg, .png, .pdf" in done.err) == (2, True)
    done = run("time", "--plot", str(tmp_path / "nowhere" / "chart.svg"))
    assert (done.exit_code, "folder does not exist" in done.err) == (2, True)


def test_the_sheet_draws_its_aircraft_in_a_file_too(run: Callable[..., Any], tmp_path: Path) -> None:
    where = ("--plot", str(tmp_path / "views.svg"), "-o", str(tmp_path / "sheet.html"))
    done = run("sheet", "schoolyard_trainer", *where)
    assert (done.exit_code, "has no [balance]" in done.err) == (2, True)
    assert list(tmp_path.iterdir()) == []
    asked = run("match", "club_racer", "--top", "1", "--json")
    train = json.loads(asked.out)["rows"][0]["id"]
    done = run("sheet", "club_racer", "--train", train, *where)
    assert done.exit_code == 0, done.err
    root = ElementTree.parse(tmp_path / "views.svg").getroot()
    groups = {group.get("class") for group in root.iter("{http://www.w3.org/2000/svg}g")}
    assert {"side-wing", "top-wing", "scale-bar"} <= groups
    assert (tmp_path / "sheet.html").stat().st_size < 300_000


def _cells(html: str) -> list[str]:
    tree = html5lib.HTMLParser(strict=False, namespaceHTMLElements=False).parseFragment(html)
    return ["".join(cell.itertext()) for cell in tree.iter() if cell.tag in ("td", "th")]


def test_results_show_as_tables_in_a_notebook() -> None:
    catalogue = stock()
    point = solve(simple_train())
    cells = _cells(point._repr_html_())
    assert cells[cells.index("motor_current_a") + 1] == f"{point.motor_current_a:.4g}"
    assert cells[-2:] == ["status", "OK"]
    assert "lane" in _cells(solve(simple_train(), throttle=[0.5, 1.0])._repr_html_())
    shortlist = match(brief(), catalogue)
    assert shortlist.best.id in _cells(shortlist._repr_html_())
    flight = flight_time(simple_train(), FRAME, MASS, PHASES)
    assert {"cruise", "climb", f"{flight.minutes:.4g}"} <= set(_cells(flight._repr_html_()))
    named = flight_time(simple_train(), FRAME, MASS, [Phase(HOSTILE, airspeed_m_s=12, share=1.0)])
    assert HOSTILE in _cells(named._repr_html_())
    compared = compare_cells(brief(), catalogue, train=shortlist.best.train)
    assert {"2", "3", "same energy"} <= set(_cells(compared._repr_html_()))
    picture = throttle_chart(simple_train())
    assert "<svg" in picture._repr_html_()
    assert set(picture.table.heads) <= set(_cells(picture._repr_html_()))


def test_a_prediction_shows_as_a_table_in_a_notebook() -> None:
    from propmatch_plugins.prediction import predict

    made = predict(6, 4, family="thin")
    cells = _cells(made._repr_html_())
    assert f"{made.ct0[0]:.4g}" in cells
    assert any(cell.startswith("6x4, 2 blades") for cell in cells)
