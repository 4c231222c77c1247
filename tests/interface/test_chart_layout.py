"""What stands on paper: no text of a chart upon another or beyond the paper, none below 7 pt, short phases visible."""

from collections.abc import Iterator

import attrs
import numpy as np
import pytest
from support.bundled import bundled_catalogue, nearest
from support.textboxes import collisions, text_boxes
from support.trains import simple_airframe, simple_train

from propmatch import Check, Phase
from propmatch.checks.chances import sureness
from propmatch.checks.judged import judged_trains
from propmatch.checks.limits import checks_of
from propmatch.checks.setting import ResolvedBrief
from propmatch.commands.briefs import open_brief
from propmatch.records.parts import PowerTrain
from propmatch.sheet import compare_chart, flight_chart, margin_chart, operating_chart, throttle_chart
from propmatch.sheet.aircraftviews import aircraft_views
from propmatch.sheet.flightcharts import FlightPlan
from propmatch.sheet.picture import Picture

SMALLEST_PT = 7.0
LONG = "a phase whose name goes on and on " * 9


def bundled_pictures(name: str) -> Iterator[Picture]:
    """Every chart of a sheet, of parts near to what such a model takes."""
    here = ResolvedBrief.of(open_brief(name, None)[0]).as_designed
    parts = bundled_catalogue()
    train = PowerTrain(
        motor=parts.motors[nearest("motors", kv_rpm_per_v=1600, mass_g=28)],
        propeller=parts.propellers[nearest("propellers", diameter_in=7, pitch_in=4.5, family="thin")],
        controller=parts.controllers[nearest("controllers", max_current_a=20)],
        pack=parts.packs[nearest("packs", cells_series=2, capacity_mah=850, chemistry="lipo")],
        **here.train_numbers,
    )
    sure, mass = sureness(here, train), here.all_up_mass_kg(train.mass_g)
    frame = here.variant.airframe
    yield margin_chart(checks_of(judged_trains(here, [train])[0], sure=[sure])[0])
    yield operating_chart(train, frame, mass, air=here.air, phases=here.phases, sure=sure)
    yield throttle_chart(train, air=here.air, limits_a={"motor limit": 11.0, "controller limit": 12.0}, sure=sure)
    plan = FlightPlan(train=train, airframe=frame, mass_kg=mass, phases=here.phases, air=here.air)
    yield flight_chart(plan, flight=here.flight_time(train), sure=sure)
    views = aircraft_views(here, train)
    yield from [views] if views else []


def faults(picture: Picture) -> list[str]:
    """Collisions, and texts that are too small."""
    svg = picture.svg()
    small = [f"{each.text!r} in {each.size_pt} pt" for each in text_boxes(svg)[0] if each.size_pt < SMALLEST_PT]
    return collisions(svg) + small


@pytest.mark.parametrize("name", ["club_racer", "schoolyard_trainer", "wetland_logger"])
def test_texts_of_the_charts_of_bundled_briefs_keep_off_each_other(name: str) -> None:
    assert {picture.name: found for picture in bundled_pictures(name) if (found := faults(picture))} == {}


def check(name: str, value: float, limit: float) -> Check:
    return Check(name=name, value=value, limit=limit, unit="A", margin=1 - value / limit, least=False, basis="brief",
                 verdict="ok", low=0.5 * value, high=1.5 * value, chance=0.5, chance_wanted=0.9)  # fmt: skip


def awkward() -> Iterator[Picture]:
    """Names without end, phases at one speed, flights of many short phases, limits on each other."""
    train, frame = simple_train(), simple_airframe()
    same = [Phase(f"{LONG}{at}", airspeed_m_s=12, share=1 / 6) for at in range(6)]
    yield operating_chart(train, frame, 0.4, phases=same)
    short = [Phase(f"burst {at}", throttle=1.0 if at % 2 else 0.4, seconds=4) for at in range(9)]
    for phases in (short, [*short, Phase("W" * 300, airspeed_m_s=12, share=1.0)], same):
        yield flight_chart(FlightPlan(train=train, airframe=frame, mass_kg=0.4, phases=phases))
    yield throttle_chart(train, limits_a={"motor limit": 9.0, "controller limit": 9.0, "pack limit": 9.2})
    yield compare_chart({f"{at}S of a rather long name": train for at in range(2, 8)}, frame,
                        {f"{at}S of a rather long name": 0.4 for at in range(2, 8)})  # fmt: skip
    yield margin_chart([check("W" * 60, 1, 90), check("long words " * 9, 300, 10), check("x", 9, 10)])
    yield margin_chart([])


def test_awkward_charts_keep_their_texts_apart_too() -> None:
    found = [(picture.name, faults(picture)) for picture in awkward()]
    assert [each for each in found if each[1]] == []


def test_the_layout_test_finds_what_collides_what_is_cut_off_and_what_is_small() -> None:
    def draw(figure: object) -> None:
        for x, text, size in ((0.2, "here", 8.0), (0.25, "there", 8.0), (0.97, "beyond", 8.0), (0.6, "tiny", 5.0)):
            figure.text(x, 0.5, text, fontsize=size)  # type: ignore[attr-defined]

    found = faults(attrs.evolve(margin_chart([]), draw=draw))
    assert found == ["'here' upon 'there'", "'beyond' beyond the paper", "'tiny' in 5.0 pt"]


def test_a_short_phase_has_room_in_the_flight_chart() -> None:
    """Four seconds of minutes: less than a hundredth of the flight, at least a twentieth of the axis."""
    train = simple_train()
    phases = (Phase("launch", throttle=1.0, seconds=4), Phase("cruise", airspeed_m_s=12, share=1.0))
    figure = flight_chart(FlightPlan(train=train, airframe=simple_airframe(), mass_kg=0.4, phases=phases)).figure()
    axes = figure.axes[0]
    end = axes.get_xlim()[1]
    at = axes.transData.transform([[0.0, 8.0], [4 / 60, 8.0], [end, 8.0]])[:, 0]
    assert 0.01 * end > 4 / 60
    assert at[1] - at[0] >= 0.05 * (at[2] - at[0])
    assert np.all(np.diff(axes.transData.transform([[t, 8.0] for t in np.linspace(0, end, 50)])[:, 0]) > 0)
    ticks = [text.get_text() for text in figure.axes[-1].get_xticklabels()]
    assert ticks[:2] == ["0", "0.1"], "the end of the launch, in minutes"
    assert "short phases drawn wider" in figure.axes[-1].get_xlabel()
