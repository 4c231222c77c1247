"""``propmatch flown``: flights held against their prediction, and what they teach the brief."""

from typing import TYPE_CHECKING, Any

import click

from propmatch.columns import numbers_of
from propmatch.commands.options import Command, answer_options, catalogue_options, form_of, shown_units
from propmatch.commands.outputs import file_faults, force_option
from propmatch.commands.trains import LazyCatalogue, train_data, train_options
from propmatch.faults import Fault, InputFaults
from propmatch.words.shown import table, wrapped

if TYPE_CHECKING:
    from propmatch.bench.flightlog import Flown

__all__ = ["command"]

_FLIGHT = {"minutes": "minutes", "mah": "recharge_mah", "airspeed": "airspeed_m_s"}
"""Options that describe a flight, and the field of ``Flown`` that each stands for."""
_MOST_ERROR = 30.0


def _flights(options: dict[str, Any], faults: list[Fault]) -> "list[Flown]":
    """The flights that the options describe, in their order."""
    from propmatch.bench.flightlog import Flown
    from propmatch.records.typed import read_number

    given = {name: options[name] for name in _FLIGHT}
    count = len(given["minutes"])
    if len(given["mah"]) != count:
        rule = f"each flight needs its minutes and its mAh: {count} and {len(given['mah'])} were given"
        faults.append(Fault("--minutes, --mah", rule=rule))
    if given["airspeed"] and len(given["airspeed"]) != count:
        rule = f"give it for every flight or for none: {len(given['airspeed'])} for {count} flights"
        faults.append(Fault("--airspeed", rule=rule, hint="'-' stands for the brief's phases"))
    values: list[dict[str, Any]] = [{} for _ in range(max(map(len, given.values())))]
    for name, field in _FLIGHT.items():
        for at, text in enumerate(given[name]):
            if name == "airspeed" and text == "-":
                continue
            value = read_number(Flown, field, text, f"--{name}")
            if isinstance(value, Fault):
                faults.append(value)
            values[at][field] = value
    return [] if faults else [Flown(**each) for each in values]


def _airspeed_sd(options: dict[str, Any], faults: list[Fault]) -> float:
    """What the airspeeds are known to."""
    from propmatch.bench.flightlog import AIRSPEED_SD

    text = options["airspeed_error"]
    if text is None:
        return AIRSPEED_SD
    try:
        percent = float(text.strip().removesuffix("%"))
    except ValueError:
        percent = -1.0
    if not 0.0 <= percent <= _MOST_ERROR:
        faults.append(
            Fault("--airspeed-error", value=text, rule=f"must be a number of 0 to {_MOST_ERROR:g} (per cent)")
        )
    return percent / 100.0


@click.command("flown", cls=Command)
@click.argument("brief", required=False)
@click.option("--minutes", multiple=True, metavar="MIN", help="Minutes flown, from motor start to its end.")
@click.option("--mah", multiple=True, metavar="MAH", help="Charge put back after that flight, full to full.")
@click.option(
    "--airspeed",
    multiple=True,
    metavar="SPEED",
    help='Airspeed held in it, "14m/s", "50km/h", or "-".  [default: as the brief\'s phases say]',
)
@click.option("--airspeed-error", metavar="PERCENT", help="How well these airspeeds are known.  [default: 5]")
@click.option(
    "--flight-log",
    "logs",
    multiple=True,
    metavar="FILE",
    type=click.Path(),
    help="A logger's table (CSV) of one flight: seconds, amps, and any of volts, airspeed_m_s, ground_speed_m_s, "
    "height_m, throttle.",
)
@click.option("--train", metavar="ID", help='The ids of its parts joined by " + ", as match prints them.')
@train_options
@click.option("--variant", metavar="NAME", help="The variant of the brief that was flown.  [default: as designed]")
@click.option("--output", metavar="FILE", type=click.Path(), help="Write the lines for the brief to a file.")
@force_option
@catalogue_options
@answer_options
@click.pass_context
def command(ctx: click.Context, /, **options: Any) -> None:  # fmt: skip
    """What flights say about the power of level flight, as a value for the brief.

    BRIEF is a file, or the name of a bundled brief. A flight is its minutes and the mAh put back; several are given by
    repeating --minutes, --mah and --airspeed in order. The power train is named as for 'propmatch time'.

    \b
    propmatch flown BRIEF --minutes 11.5 --mah 640
    propmatch flown BRIEF --minutes 11.5 --mah 640 --airspeed 11m/s
                          --minutes 6.8 --mah 650 --airspeed 15m/s
    """
    from propmatch.bench.flightlog import INTERVAL, Minutes, level_power
    from propmatch.bench.loggertable import logged_flight, phases_said, read_flight_table
    from propmatch.checks.setting import ResolvedBrief
    from propmatch.commands.briefs import open_brief
    from propmatch.commands.choose import choose_for_brief, wanted_settings
    from propmatch.commands.output import Reply, show
    from propmatch.files import write_file
    from propmatch.words.checkwords import parts_text
    from propmatch.words.levelpowerwords import brief_lines, logged_rows, power_doubts, power_sentences, reading_rows

    faults = file_faults("--output", options["output"], force=options["force"])
    flights = _flights(options, faults)
    airspeed_sd = _airspeed_sd(options, faults)
    if not (options["minutes"] or options["mah"] or options["logs"]):
        rule = "needs a flight: --minutes and --mah, or --flight-log"
        faults.append(Fault("flown", rule=rule, hint="such as --minutes 11.5 --mah 640"))
    if faults:
        raise InputFaults(faults)
    brief, which = open_brief(options["brief"], options["only"])
    resolved = ResolvedBrief.of(brief)
    setting = wanted_settings(resolved, options["variant"])[0]
    tables = [read_flight_table(each) for each in options["logs"]]
    stock = LazyCatalogue(options["parts_folder"], options["strict"])
    chosen = choose_for_brief(stock, resolved, setting, options)
    shown = shown_units(options["units"], brief)
    logged = [logged_flight(chosen.train, setting, each, log=at) for at, each in enumerate(tables)]
    power = level_power(
        chosen.train,
        setting,
        [*flights, *(band for each in logged for band in each.bands)],
        airspeed_sd=airspeed_sd,
        names=[*(f"flight {at + 1}" for at in range(len(flights))), *(name for each in logged for name in each.names)],
    )
    minutes = Minutes.of(power, setting, chosen.train)
    lines = brief_lines(power)
    if options["output"]:
        write_file(options["output"], "\n".join(lines) + "\n", force=options["force"])
    phases = [phase for each in logged for phase in each.phases]
    show(
        Reply(
            command="flown",
            headline=[
                f"{brief.aircraft.name}, {setting.variant.name}, with {parts_text(chosen.train)}.",
                *power_sentences(power, minutes, airspeed_sd, shown),
                *(text for text in (which, chosen.how) if text),
            ],
            blocks=[
                ["Flights beside steady flight:", *table(reading_rows(power.readings, shown), left=("flight",))],
                *([["By phase:", *table(logged_rows(phases, shown), left=("phase",)), *wrapped(phases_said())]]
                  if phases else []),
                ["For the brief, in place of what it says there:", *(f"  {line}" for line in lines)],
            ],
            rows=[{"name": each.name, **numbers_of(each)} for each in power.readings],
            assumptions=list(
                dict.fromkeys((*chosen.assumptions, *setting.assumptions, *setting.assumptions_of(chosen.train),
                               *power.assumptions))
            ),
            faults=(*power_doubts(power), *(doubt for each in logged for doubt in each.doubts), *chosen.doubts,
                    *stock.broken),
            notes=_notes(brief.flying.factor, options["output"]),
            extra={
                "interval": INTERVAL,
                "level_power": {**numbers_of(power), "told_apart": power.told_apart},
                "minutes": numbers_of(minutes),
                "second_flight": None if power.second is None else {
                    **numbers_of(power.second), "tells_apart": power.second.tells_apart
                },
                "logged_phases": [
                    {"log": each.log, "phase": each.phase, **numbers_of(each)} for each in phases
                ],
                "brief": power.keys,
                "train": train_data(chosen.train),
            },
        ),
        form=form_of(options),
    )  # fmt: skip


def _notes(stated: float | None, output: str | None) -> list[str]:
    """What the reader must know besides."""
    said = [
        "The factor holds for these parts, this variant and this way of flying; it stands in place of [flying] style."
    ]
    if stated is not None:
        said.append(
            f"The brief's own factor {stated:g} is not used here: give the flights behind it again with the new."
        )
    if output:
        said.append(f"Written to {output}.")
    return said
