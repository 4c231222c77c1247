"""What the charts draw is what the functions say, and it can be told apart without colour."""

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import attrs
import html5lib
import numpy as np
import pytest
from support.commands import TRAIN, narrow_brief  # noqa: F401
from support.sheets import HOSTILE, brief, stock
from support.trains import simple_airframe, simple_train

from propmatch import Check, Phase, compare_cells, flight_time, match, solve
from propmatch.brief import loads_brief
from propmatch.checks.chances import Sureness, drawn, sureness
from propmatch.checks.measures import settings
from propmatch.records.fields import replace
from propmatch.sheet import compare_chart, flight_chart, margin_chart, operating_chart, throttle_chart
from propmatch.sheet.bands import charge_band, needed_band, throttle_bands, thrust_band
from propmatch.sheet.flightcharts import FlightPlan, stretches
from propmatch.sheet.style import BLUE, DARK, GREEN, GREY, INK, ORANGE, PAPER, PURPLE
from propmatch.tolerances.numbers import Tolerance
from propmatch.train.coupling import solve_lanes
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
    assert sorted(patch.get_width() for patch in axes.patches) == pytest.approx([-0.2, 0.2, 0.5])
    assert "Beyond a limit of the brief or of a part: over." in picture.summary
    assert len(picture.table.rows) == 4


def test_what_is_kept_in_every_draw_alike_is_not_called_unsure() -> None:
    exact, unsure = check("exact", 10, 10), attrs.evolve(check("unsure", 9, 10), chance=0.6, chance_wanted=0.9)
    assert "not as surely as asked: unsure (holds in 60 of 100)." in margin_chart([exact, unsure]).summary


def test_margin_bands_span_the_range_of_the_value() -> None:
    """By hand: 8 to 11 A against at most 10 A is a margin of 0.2 to -0.1; 0.8 to 1.2 against at least 1 is 0.2."""
    most = attrs.evolve(check("most", 9, 10), low=8.0, high=11.0, chance=0.7, chance_wanted=0.9)
    least = attrs.evolve(check("least", 1.0, 1.0, least=True), low=0.8, high=1.2, chance=0.5, chance_wanted=0.8)
    picture = margin_chart([most, least, check("stated", 5, 10)])
    (axes,) = picture.figure().axes
    bands = [patch for patch in axes.patches if patch.get_alpha()]
    spans = [(patch.get_x(), patch.get_x() + patch.get_width()) for patch in bands]
    assert sorted(spans) == [pytest.approx((-0.2, 0.2)), pytest.approx((-0.1, 0.2))]
    written = [text.get_text() for text in axes.texts]
    assert "9.00 A, at most 10 A; 70 of 100" in written
    assert "5.00 A, at most 10 A" in written, "what nothing varies has no chance"
    assert {row[0]: row[4] for row in picture.table.rows} == {"most": "-10 % to 20 %", "least": "-20 % to 20 %",
                                                             "stated": ""}  # fmt: skip


# ---------------------------------------------------------------- bands

ONE_UNKNOWN = """
[aircraft]
name = "x"
[[item]]
name = "all"
mass_g = 250
[wing]
area_dm2 = 16
span_mm = 1100
cl_max = 1.1
cd0 = 0.03
[limits]
min_thrust_to_weight = 0.4
[[phase]]
name = "cruise"
airspeed_m_s = 12
share = 1.0
"""


@pytest.fixture
def sure_of(monkeypatch: pytest.MonkeyPatch) -> Callable[..., Sureness]:
    """How sure what is said of the simple train is; of motor and ESC only these numbers are unknown (sd of ln)."""

    def make(**unknown: float) -> Sureness:
        found = tuple(Tolerance(subject="x", name=name, sd=sd, basis="test") for name, sd in unknown.items())
        for name in ("tolerances", "drive_tolerances", "kept_tolerances", "aircraft_tolerances"):
            known = found if name in ("tolerances", "drive_tolerances") else ()
            monkeypatch.setattr(f"propmatch.tolerances.draws.{name}", lambda *_, known=known: known)
        return sureness(settings(loads_brief(ONE_UNKNOWN, "one unknown"))[0], simple_train())

    return make


def test_a_band_of_one_number_lies_between_its_ends(sure_of: Callable[..., Sureness]) -> None:
    """Only kV unknown, and thrust rises with it: the band ends where kV stands at its 10 and 90 % quantiles.

    exp(-+1.2816 sd) by the normal distribution; 1,024 draws miss an end by 1.4 % of the width at most.
    """
    sd = 0.05
    band = thrust_band(sure_of(kv_rpm_per_v=sd), 20.0)
    own = simple_train()
    ends = []
    for z in (-1.2816, 1.2816):
        motor = replace(own.motor, kv_rpm_per_v=own.motor.kv_rpm_per_v * np.exp(z * sd))
        ends.append(solve(replace(own, motor=motor), airspeed_m_s=band.x).thrust_n)
    width = ends[1] - ends[0]
    assert np.all(width > 0)
    np.testing.assert_allclose((band.low - ends[0]) / width, 0, atol=0.03)
    np.testing.assert_allclose((band.high - ends[1]) / width, 0, atol=0.03)


def test_a_band_has_no_width_where_everything_is_known(sure_of: Callable[..., Sureness]) -> None:
    sure = sure_of()
    found = [thrust_band(sure, 20.0), needed_band(sure, 9.0, 20.0), charge_band(sure),
             *throttle_bands(sure, 0.0, 1.0, np.array([20.0, 100.0])).values()]  # fmt: skip
    for band in found:
        np.testing.assert_allclose(band.high, band.low, rtol=1e-9, atol=1e-9)


def test_bands_hold_the_lines_of_what_is_stated(sure_of: Callable[..., Sureness]) -> None:
    """The stated numbers are the medians of what is drawn, so their lines lie inside."""
    train = simple_train()
    sure, here = sure_of(kv_rpm_per_v=0.05, resistance_ohm=0.3), settings(loads_brief(ONE_UNKNOWN, "one unknown"))[0]
    thrust = thrust_band(sure, 20.0)
    stated = solve(train, airspeed_m_s=thrust.x).thrust_n
    assert np.all((thrust.low < stated) & (stated < thrust.high))
    charge = charge_band(sure)
    assert charge.low[0] == charge.high[0] == pytest.approx(1.0)
    assert np.all(np.diff(charge.low) <= 1e-12)
    flight = here.flight_time(train)
    low, high = charge.at(0.5 * flight.minutes)
    # one steady phase: half the time takes nearly half the charge, less as long as the pack is full
    assert low < 0.6 + 0.02
    assert high > 0.6 - 0.02
    assert charge.low[-1] == pytest.approx(here.reserve_charge, abs=1e-6), "all have landed with the reserve"


def test_charts_draw_the_bands_and_print_the_ranges() -> None:
    train, here = simple_train(), settings(loads_brief(ONE_UNKNOWN, "one unknown"))[0]
    sure, frame = sureness(here, train), here.variant.airframe
    mass = here.all_up_mass_kg(train.mass_g)
    flight = FlightPlan(train=train, airframe=frame, mass_kg=mass, phases=here.phases)
    pictures = {
        operating_chart(train, frame, mass, sure=sure): 2,
        throttle_chart(train, sure=sure): 3,
        flight_chart(flight, sure=sure): 1,
        compare_chart({"2S": train}, frame, {"2S": mass}, sure={"2S": sure}): 1,
    }
    for picture, bands in pictures.items():
        drawn = [each for axes in picture.figure().axes for each in axes.collections if len(each.get_paths()) == 1]
        assert len(drawn) == bands, picture.name
        named = {text for axes in picture.figure().axes for text in axes.get_legend_handles_labels()[1]}
        assert "80 % of builds" in named
        assert any(re.search(r"\(-?[\d.]+ to -?[\d.]+\)", cell) for row in picture.table.rows for cell in row)
    low, high = thrust_band(sure, 20.0).at(0.0)
    words = f"({low / GRAM_FORCE_N:.0f} to {high / GRAM_FORCE_N:.0f})"
    assert all(words in each.summary for each in pictures if each.name in ("operating",))


def test_curves_are_told_apart_without_colour() -> None:
    trains = {f"{cells}S": simple_train(pack=replace(simple_train().pack, cells_series=cells)) for cells in (2, 3, 4)}
    (axes,) = compare_chart(trains, FRAME, dict.fromkeys(trains, MASS)).figure().axes
    looks = {(line.get_linestyle(), line.get_marker()) for line in axes.get_lines() if line.get_marker() != "None"}
    assert len(looks) == 3
    written = {text.get_text() for text in axes.get_legend().get_texts()}
    assert {f"{key}, full throttle" for key in trains} <= written


def luminance(colour: str) -> float:
    """Relative luminance, by the formula of WCAG 2.2."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return float(np.dot(linear, [0.2126, 0.7152, 0.0722]))


@pytest.mark.parametrize("colour", [INK, BLUE, ORANGE, GREEN, PURPLE, GREY])
def test_colours_of_text_have_contrast_on_paper_and_on_a_dark_screen(colour: str) -> None:
    """WCAG 2.2, success criterion 1.4.3: at least 4.5 to 1."""
    assert 1.05 / (luminance(colour) + 0.05) >= 4.5
    assert (luminance(DARK[colour]) + 0.05) / (luminance(DARK[PAPER]) + 0.05) >= 4.5


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


def test_the_sheet_draws_its_aircraft_in_a_file_too(
    run: Callable[..., Any],
    narrow_brief: str,  # noqa: F811
    tmp_path_factory: pytest.TempPathFactory,
) -> None:
    tmp_path = tmp_path_factory.mktemp("drawn")
    where = ("--plot", str(tmp_path / "views.svg"), "-o", str(tmp_path / "sheet.html"))
    done = run("sheet", "schoolyard_trainer", *where)
    assert (done.exit_code, "has no [balance]" in done.err) == (2, True)
    assert list(tmp_path.iterdir()) == []
    done = run("sheet", narrow_brief, *TRAIN, *where)
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


def test_a_band_holds_four_fifths_of_the_builds() -> None:
    """Each draw solved by itself at its own constants; percentiles by numpy. Of several trains, each has its own."""
    setting, train = settings(brief())[0], simple_train()
    other = simple_train(motor=replace(train.motor, kv_rpm_per_v=1100.0))
    alone, both = sureness(setting, train), drawn(setting, [other, train])
    band = thrust_band(alone, 16.0, 0.5)
    lanes, air = alone.measured.lanes, alone.measured.setting.air
    half, sound = np.full(lanes.size, 0.5), np.full(lanes.size, air.speed_of_sound_m_s)
    for at in (0, 9, 18):
        speed, full = np.full(lanes.size, band.x[at]), np.ones(lanes.size)
        whole = solve_lanes(lanes, speed, full, half, np.asarray(air.density_kg_m3), sound).thrust_n
        assert (band.low[at], band.high[at]) == pytest.approx(tuple(np.percentile(whole, [10, 90])), rel=1e-9)
    beside = thrust_band(both.each[1], 16.0, 0.5)
    np.testing.assert_allclose((beside.low, beside.high), (band.low, band.high), rtol=1e-9)
    np.testing.assert_allclose(charge_band(both.each[1]).low, charge_band(alone).low, rtol=1e-9)
