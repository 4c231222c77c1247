"""``propmatch time``: how long a power train flies a brief, phase by phase."""

import math
from collections.abc import Mapping, Sequence
from functools import cached_property
from operator import attrgetter
from typing import TYPE_CHECKING, Any

import attrs
import click

from propmatch.columns import (
    CUBIC_LOADING,
    POWER_LOADING,
    STATED,
    Column,
    Range,
    columns_of,
    drawn_of,
    numbers_of,
    with_ranges,
)
from propmatch.commands.options import (
    Command,
    answer_options,
    catalogue_options,
    form_of,
    on_paper_option,
    short_answer_options,
    shown_units,
)
from propmatch.commands.plotting import check_plot, plot_option, save_plot
from propmatch.commands.trains import LazyCatalogue, train_data, train_options
from propmatch.words.chancewords import ON_PAPER, end_words, of_hundred
from propmatch.words.checkwords import parts_text, several_words
from propmatch.words.flightwords import end_text, height_words, why_not
from propmatch.words.motorheatwords import heat_head, heat_rows, heat_sentences
from propmatch.words.shown import Shown, clock, signed, table, wrapped

if TYPE_CHECKING:
    from propmatch.aircraft.endurance import FlightTime
    from propmatch.aircraft.motorheat import MotorHeat
    from propmatch.aircraft.speeds import AircraftSpeeds
    from propmatch.aircraft.wind import WindTrip
    from propmatch.checks.chances import Sureness
    from propmatch.checks.launching import LaunchFlown
    from propmatch.checks.limits import Check
    from propmatch.checks.measures import TrainMeasures
    from propmatch.checks.setting import Setting
    from propmatch.questions.asflown import AsFlown
    from propmatch.questions.settings import Settings
    from propmatch.questions.speedranges import SpeedRanges
    from propmatch.records.brief import Brief
    from propmatch.records.parts import PowerTrain

__all__ = ["Flight", "command", "fly", "headline_of", "met", "phase_block", "phase_rows"]


@attrs.frozen(kw_only=True, eq=False)
class Flight:
    """The flight of one variant.

    Attributes
    ----------
    variant : str
    mass_g : float
        All-up mass.
    time : FlightTime
    train : PowerTrain
    trips : tuple of WindTrip
        Out and back in the wind of the site; none where the brief names neither wind nor distance.
    setting : Setting
    flown : AsFlown or None
        None, as the next and ``speed_ranges``, of a variant that only stands beside another.
    settings : Settings or None
    launch : LaunchFlown or None
    sure : Sureness
    judged : TrainMeasures
    ranges : mapping of str to Range, of the flight as a whole
    phase_ranges : list of mappings of str to Range
    """

    variant: str
    mass_g: float
    time: "FlightTime"
    train: "PowerTrain"
    trips: "tuple[WindTrip, ...]"
    setting: "Setting"
    flown: "AsFlown | None"
    settings: "Settings | None"
    launch: "LaunchFlown | None"
    sure: "Sureness"
    judged: "TrainMeasures"
    ranges: Mapping[str, Range]
    phase_ranges: Sequence[Mapping[str, Range]]

    @cached_property
    def speeds(self) -> "AircraftSpeeds":
        """The aircraft's own speeds."""
        return self.setting.speeds(self.train)

    @cached_property
    def speed_ranges(self) -> "SpeedRanges | None":
        """Their ranges."""
        from propmatch.questions.speedranges import speed_ranges

        return None if self.flown is None or self.sure.drawn.on_paper else speed_ranges(self.sure)

    @cached_property
    def heat(self) -> "MotorHeat":
        """What heats the motors."""
        return self.setting.motor_heat(self.train, self.time)

    @cached_property
    def checks(self) -> "list[Check]":
        """Those of the ratings by heat and of what is least certain."""
        from propmatch.checks.limits import checks_of
        from propmatch.words.answerwords import RATED

        paper, certain = self.sure.drawn.on_paper, self.sure.least_certain
        names = [*RATED, *([] if certain is None else [certain])]
        return checks_of(self.judged, names, sure=None if paper else [self.sure])[0]

    @property
    def assumptions(self) -> tuple[Any, ...]:
        """What the flight rests on: of the brief, the variant and the parts."""
        own = () if self.flown is None else (*self.flown.assumptions, *self.speeds.assumptions, self.heat.assumption)
        return *self.setting.assumptions, *self.time.assumptions, *own

    @property
    def summary(self) -> dict[str, Any]:
        """The flight as a whole for the JSON."""
        sure, flown = self.sure, self.flown
        assert flown is not None
        paper = sure.drawn.on_paper
        return {
            "variant": self.variant, "status": self.time.status,
            **{name: getattr(self.time, name) for name in ("ended_by", "ended_in")},
            **with_ranges({column.name: column(self) for column in FLIGHT}, self.ranges),
            "chance_all_limits": sure.chance_all_limits, "chance_by_check": sure.chance_by_check,
            "least_certain": sure.least_certain,
            "flight_minutes_hangs_on": None if paper else sure.shares(sure.measured.flight.minutes),
            "as_flown": {**with_ranges(numbers_of(flown), flown.ranges),
                         "flown_minutes_hangs_on": None if paper else flown.draws.shares()},
            "settings": self.settings_data, "launch": self._launch_data,
            "motor_heat": {
                "rows": [{"phase": row.name, **numbers_of(row)} for row in self.heat.rows], **numbers_of(self.heat)
            },
        }  # fmt: skip

    @property
    def settings_data(self) -> dict[str, Any] | None:
        """What to set, and why, for the JSON."""
        if self.settings is None:
            return None
        return {**with_ranges(numbers_of(self.settings), self.settings.ranges), "source": dict(self.settings.basis)}

    @property
    def _launch_data(self) -> dict[str, Any] | None:
        if self.launch is None:
            return None
        columns = columns_of(type(self.launch))  # type: ignore[arg-type]
        (ranges,) = self.sure.drawn.ranges(drawn_of(columns, self.sure.measured))
        return with_ranges(numbers_of(self.launch), ranges)


FLIGHT = (
    Column(name="all_up_mass_g", kind="mass", label="all-up mass", getter=lambda flight: flight.mass_g,
           drawn=lambda m: 1e3 * m.frames.mass_kg),
    Column(name="pack_power_per_mass_w_kg", kind="W/kg", digits=0, label=POWER_LOADING,
           getter=lambda flight: flight.judged.pack_power_per_mass_w_kg[0],
           drawn=attrgetter("pack_power_per_mass_w_kg")),
    Column(name="cubic_loading_kg_m3", kind="kg/m3", label=CUBIC_LOADING,
           getter=lambda flight: flight.judged.cubic_loading_kg_m3[0], drawn=attrgetter("cubic_loading_kg_m3")),
    Column(name="flight_minutes", kind="min", label="flight time", getter=lambda flight: flight.time.minutes,
           drawn=attrgetter("flight.minutes")),
    Column(name="used_mah", kind="mAh", label="charge drawn", getter=lambda flight: flight.time.used_mah,
           drawn=attrgetter("flight.used_mah")),
    Column(name="average_current_a", kind="A", label="mean pack current of the flight",
           getter=lambda flight: flight.time.average_current_a, drawn=attrgetter("flight.average_current_a")),
    Column(name="charge_left", kind="%", label="charge left at the end of the flight",
           getter=lambda flight: flight.time.charge, drawn=attrgetter("flight.charge")),
    Column(name="height_left_m", kind="m", label="height above the field at the end",
           getter=lambda flight: flight.time.height_left_m, drawn=attrgetter("flight.height_m")),
    Column(name="greatest_height_m", kind="m", label="greatest height above the field",
           getter=lambda flight: flight.time.greatest_height_m, drawn=attrgetter("flight.greatest_height_m")),
    Column(name="paying_climb_m_s", kind="m/s", label="climb of level shares that pays for height lost in others",
           getter=lambda flight: flight.time.paying_climb_m_s, drawn=attrgetter("flight.paying_climb_m_s")),
    Column(name="rounds", label="how often a list without shares is flown", getter=lambda flight: flight.time.rounds,
           drawn=attrgetter("flight.rounds")),
)  # fmt: skip
"""The flight as a whole; ranges from the measures of all draws."""


def fly(train: "PowerTrain", setting: "Setting", *, beside: bool = False, on_paper: bool = False) -> Flight:
    """Fly a train in one setting of a brief; ``beside`` another one only what a text then says of it.

    ``on_paper`` takes every number as it is stated: no range, no chance, no timer.
    """
    from propmatch.aircraft.endurance import PhaseTime
    from propmatch.checks.chances import as_stated, sureness
    from propmatch.checks.judged import judged_trains
    from propmatch.checks.launching import launch_flown
    from propmatch.questions.asflown import as_flown
    from propmatch.questions.settings import settings_of

    time = setting.flight_time(train)
    sure = as_stated(setting, [train]).each[0] if on_paper else sureness(setting, train)
    flown = None if beside else as_flown(train, setting, time, sure)
    judged, _ = judged_trains(setting, [train])
    (ranges,) = sure.drawn.ranges(drawn_of(FLIGHT, sure.measured))
    return Flight(
        variant=setting.variant.name,
        mass_g=setting.all_up_mass_g(setting.flown(train).mass_g),
        time=time,
        train=train,
        trips=setting.wind_trips(train, [phase.used_mah for phase in time.phases]),
        setting=setting,
        flown=flown,
        settings=None if flown is None or on_paper else settings_of(train, setting, time, flown),
        launch=launch_flown(judged),
        sure=sure,
        judged=judged,
        ranges=ranges,
        phase_ranges=sure.drawn.ranges(drawn_of(columns_of(PhaseTime), sure.measured.flight)),
    )


def met(brief: "Brief", flight: Flight) -> bool:
    """Whether the flight is as long as the brief wants, and can be flown."""
    minutes = flight.time.minutes
    return math.isfinite(minutes) and minutes > 0 and minutes >= (brief.limits.min_flight_minutes or 0.0)


def headline_of(
    train: "PowerTrain", brief: "Brief", flights: Sequence[Flight], shown: Shown, said: Sequence[str] = ()
) -> list[str]:
    """The flight in paragraphs: how long and what to set, what works hardest and how sure, airspeeds, what flies.

    ``said`` is how brief and parts were found.
    """
    from propmatch.commands.speeds import pilot_sentences
    from propmatch.words.answerwords import hardest_words
    from propmatch.words.chancewords import chance_words
    from propmatch.words.flownwords import flown_sentences, landing_words, timer_sentence

    first = flights[0]
    time, flown, sure = first.time, first.flown, list[str]()
    assert flown is not None
    long = [f"{brief.aircraft.name}: {_length(first)}."]
    long += flown_sentences(flown, time.minutes, time.cutoff_cell_v, shown, why=False)
    if first.settings is not None:
        long += [timer_sentence(flown, first.settings), landing_words(first.settings)]
    wanted = brief.limits.min_flight_minutes
    if wanted is not None and time.minutes > 0:
        falls = f"short by {wanted - time.minutes:.1f}; " if wanted > time.minutes else ""
        held = "" if first.sure.drawn.on_paper else chance_words(first.sure.chance("flight_time"))
        held = f"{falls}{held}".removesuffix("; ") or "kept"
        sure.append(f"{'Wanted ' if falls else ''}{wanted:g} min: {held}.")
    if time.minutes > 0:
        hottest = hardest_words(first.checks)
        sure += [f"{hottest[0].upper()}{hottest[1:]}."] if hottest else []
        sure += _chances(first)
    flies = [*([first.launch.sentence(shown.speed_text)] if first.launch else []), *height_words(time, shown)]
    flies += pilot_sentences(first.speeds, first.trips, first.setting.brief.site, shown)
    loadings = [shown.text(float(column(first)), column.kind, column.digits) for column in FLIGHT[1:3]]
    mass = f"{shown.mass_text(first.mass_g)} all-up mass, {loadings[0]}, {loadings[1]} over area^1.5"
    parts = f"{first.variant}, {mass}: {parts_text(train)}."
    return [" ".join(filter(None, each)) for each in (long, sure, flies, (parts, *said)) if each]


def _chances(flight: Flight) -> list[str]:
    """How sure all of it is, and what the range hangs on where a propeller was predicted."""
    from propmatch.words.chancewords import RANGES, predicted_words

    assert flight.flown is not None
    if flight.sure.drawn.on_paper:
        return [ON_PAPER]
    held = f"All limits hold in {of_hundred(flight.sure.chance_all_limits)} of 100."
    return [held, RANGES, predicted_words(flight.flown.draws.shares(), flight.sure)]


def _sure_block(flight: Flight, shown: Shown) -> list[str]:
    """What is least certain, and what that hangs on."""
    from propmatch.words.chancewords import hangs_words, least_words

    if flight.flown is None or flight.sure.drawn.on_paper or not flight.time.minutes > 0:
        return []
    why = hangs_words(flight.flown.draws.shares(), flight.flown.draws.sure)
    said = [least_words(flight.sure, flight.checks, shown), f"The minutes as really flown: {why}." if why else ""]
    return [line for text in said if text for line in wrapped(text)]


def _length(flight: Flight) -> str:
    """How long it flies and what ends it, or why it does not."""
    from propmatch.words.answerwords import minutes_text

    if not math.isfinite(flight.time.minutes):
        return f"no answer, {flight.time.status.meaning}"
    if flight.time.minutes == 0:
        return f"cannot be flown, {why_not(flight.time)}"
    ends = flight.ranges.get("flight_minutes", STATED)
    shared = " + " in (flight.time.ended_in or "")
    where = "" if shared or flight.time.ended_by != "reserve" else f", in {flight.time.ended_in}"
    return f"{minutes_text(flight.time.minutes, ends.low, ends.high)} {end_text(flight.time)}{where}"


def variants_block(flights: Sequence[Flight], shown: Shown) -> list[str]:
    """A sentence for each variant but the first; what ends the flight where that is not what ends the first."""
    first = _length(flights[0]).partition(" min ")[2]
    lines = []
    for flight in flights[1:]:
        launch = f"; {flight.launch.words(shown.speed_text)}" if flight.launch else ""
        length = _length(flight).removesuffix(f" {first}")
        kept = f"; all limits hold in {of_hundred(flight.sure.chance_all_limits)} of 100"
        kept = "" if flight.sure.drawn.on_paper else kept
        lines += wrapped(f"{flight.variant}, {_all_up(flight, shown)}: {length}{launch}{kept}.", rest="  ")
    return lines


def _all_up(flight: Flight, shown: Shown) -> str:
    """The all-up mass, and how far it is above the target if it is."""
    target = flight.setting.variant.target_mass_g
    text = f"{shown.mass_text(flight.mass_g)} all-up"
    over = 0.0 if target is None else flight.mass_g - target
    return f"{text}, {shown.mass_text(over)} above the target" if over > 0 else text


def phase_rows(flight: Flight) -> list[dict[str, Any]]:
    """A row for each phase, attribute names as keys."""
    return [
        {"variant": flight.variant, **with_ranges(
            {field.name: getattr(phase, field.name) for field in attrs.fields(type(phase))}, ranges)}
        for phase, ranges in zip(flight.time.phases, flight.phase_ranges, strict=True)
    ]  # fmt: skip


_PHASE_ENDS = {
    "pack A": ("pack_current_mean_a", 1), "motor A": ("motor_current_highest_a", 1), "m gained": ("gained_m", 0),
    "mAh": ("used_mah", 0), "V a cell": ("cell_voltage_lowest_v", 2),
}  # fmt: skip
"""Columns of the table of phases whose range is shown, with the number and its digits."""


def phase_block(flight: Flight, shown: Shown, named: bool, *, ends: bool = False) -> list[str]:
    """What each phase takes from the pack; with ``ends`` the ranges below."""
    rows = []
    for phase, ranges in zip(flight.time.phases, flight.phase_ranges, strict=True):
        low, high = 100 * phase.throttle_from, 100 * phase.throttle_to
        throttle = (
            signed(low, 0) if not math.isfinite(high) or round(low) == round(high) else f"{low:.0f} to {high:.0f}"
        )
        rows.append(
            {
                "phase": "  " + phase.name,
                "min:s": clock(phase.minutes),
                shown.speed_unit: shown.number(phase.airspeed_m_s, "speed", 0),
                "throttle %": throttle,
                "pack A": signed(phase.pack_current_mean_a),
                "motor A": signed(phase.motor_current_highest_a),
                "m gained": signed(phase.gained_m, 0),
                "mAh": signed(phase.used_mah, 0),
                "V a cell": signed(phase.cell_voltage_lowest_v, 2),
            }
        )
        if ends and ranges and phase.minutes > 0:
            known = {head: (ranges[name], digits) for head, (name, digits) in _PHASE_ENDS.items()}
            varied = {head: (each, digits) for head, (each, digits) in known.items() if each.low != each.high}
            for word, end in (("from", "low"), ("to", "high")):
                said = {head: end_words(getattr(each, end), digits) for head, (each, digits) in varied.items()}
                rows.append({"phase": f"    {word}", **said})
    head = f"{flight.variant if named else 'Phase by phase'} (motor A at most, V a cell at least):"
    several = [line for text in several_words(flight.heat.motors) for line in wrapped(text, first="  ", rest="  ")]
    return [*wrapped(head), *table(rows, left=("phase",)), *several]


def heat_block(flight: Flight, named: bool) -> list[str]:
    """What heats the motor, and how little is known of how it cools."""
    rows = [{**row, "phase": "  " + row["phase"]} for row in heat_rows(flight.heat)]
    sentences = [line for text in heat_sentences(flight.heat) for line in wrapped(text, first="  ", rest="  ")]
    return [
        *wrapped(heat_head(flight.heat, flight.variant if named else "")),
        *table(rows, left=("phase",)),
        *sentences,
    ]


def settings_block(flight: Flight, shown: Shown) -> list[str]:
    """What to set for the flight."""
    from propmatch.words.flownwords import USUAL, settings_rows

    if flight.settings is None:
        return []
    head = f"What to set, all from this flight ({flight.variant}); {USUAL}"
    rows = [{**row, "set": f"  {row['set']}"} for row in settings_rows(flight.settings, shown)]
    return [*wrapped(head), *table(rows, columns=("set", "to", "because"), left=("set", "because"), headed=False)]


@click.command("time", cls=Command)
@click.argument("brief", required=False)
@click.option("--train", metavar="ID", help='The ids of its parts joined by " + ", as match prints them.')
@train_options
@click.option("--variant", metavar="NAME", help="One variant of the brief.  [default: all]")
@on_paper_option
@plot_option
@catalogue_options
@short_answer_options
@answer_options
@click.pass_context
def command(ctx: click.Context, /, **options: Any) -> None:
    """How long it flies, phase by phase, and what ends the flight.

    BRIEF is a file, or the name of a bundled brief. The power train is that of --train, or of --motor, --propeller,
    --pack and --controller; without any of them it is the best that match finds.

    Exit code 1 when the flight is shorter than the brief wants, or cannot be flown at all.
    """
    from propmatch.checks.setting import ResolvedBrief
    from propmatch.commands.briefs import open_brief
    from propmatch.commands.choose import choose_for_brief, wanted_settings
    from propmatch.commands.output import Reply, show
    from propmatch.records.estimates import supply_assumed
    from propmatch.words.assumedwords import mattering

    check_plot(options)
    brief, which = open_brief(options["brief"], options["only"])
    resolved = ResolvedBrief.of(brief)
    wanted = wanted_settings(resolved, options["variant"])
    stock = LazyCatalogue(options["parts_folder"], options["strict"])
    chosen = choose_for_brief(stock, resolved, wanted[0], options)
    shown = shown_units(options["units"], brief)
    form = form_of(options)
    flights = [
        fly(chosen.train, each, beside=form != "json" and each is not wanted[0], on_paper=options["on_paper"])
        for each in wanted
    ]
    drawn = save_plot(options, lambda: _picture(chosen.train, flights[0], shown))
    of_flights = [each for flight in flights for each in (*flight.assumptions, *supply_assumed(chosen.train))]
    assumptions = list(dict.fromkeys((*chosen.assumptions, *of_flights)))
    show(
        Reply(
            command="time",
            headline=[
                *headline_of(chosen.train, brief, flights, shown, [text for text in (which, chosen.how) if text]),
                *drawn,
            ],
            blocks=[
                variants_block(flights, shown),
                *([] if options["full"] else [phase_block(flights[0], shown, len(flights) > 1)]),
            ],
            details=_details(flights, shown),
            rows=lambda: [row for flight in flights for row in phase_rows(flight)],
            assumptions=assumptions,
            matter=mattering(assumptions, [] if options["on_paper"] else [flight.sure for flight in flights], options),
            faults=(*chosen.doubts, *stock.broken),
            extra=lambda: _data(flights),
            caution=True,
        ),
        form=form,
    )
    ctx.exit(0 if met(brief, flights[0]) else 1)


def _data(flights: Sequence[Flight]) -> dict[str, Any]:
    """Further keys of the JSON."""
    from propmatch.commands.speeds import speeds_data, wind_rows

    site, own = flights[0].setting.brief.site, [each for each in flights if each.flown]
    return {
        "train": train_data(flights[0].train),
        "flights": [flight.summary for flight in own],
        "speeds": [speeds_data(each.variant, each.speeds, each.speed_ranges) for each in own],
        "wind": [row for each in flights for row in wind_rows(each.variant, each.trips, site)],
        "settings": flights[0].settings_data,
    }


def _details(flights: Sequence[Flight], shown: "Shown") -> dict[str, Any]:
    """The tables that the short answer leaves out."""
    from propmatch.commands.speeds import speed_blocks

    first, several = flights[0], len(flights) > 1
    site = first.setting.brief.site
    phases = [line for each in flights for line in ("", *phase_block(each, shown, several, ends=each is first))]
    return {
        "chances": _sure_block(first, shown),
        "phases": phases[1:],
        **speed_blocks(first.variant, first.speeds, lambda: first.speed_ranges, first.trips, site, shown),
        "settings": settings_block(first, shown),
        "heat": heat_block(first, several),
    }


def _picture(train: "PowerTrain", flight: Any, shown: "Shown") -> Any:
    from propmatch.sheet.flightcharts import FlightPlan, flight_chart

    plan = FlightPlan.of(flight.setting, train)
    return flight_chart(plan, flight=flight.time, shown=shown, sure=None if flight.sure.drawn.on_paper else flight.sure)
