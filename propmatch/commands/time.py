"""``propmatch time``: how long a power train flies a brief, phase by phase."""

from typing import Any

import click

from propmatch.commands.options import Command, answer_options, catalogue_options, form_of, shown_units
from propmatch.commands.plotting import check_plot, plot_option, save_plot
from propmatch.commands.trains import LazyCatalogue, sources_block, train_data, train_options

__all__ = ["command"]


@click.command("time", cls=Command)
@click.argument("brief", required=False)
@click.option("--train", metavar="ID", help='The ids of its parts joined by " + ", as match prints them.')
@train_options
@click.option("--variant", metavar="NAME", help="One variant of the brief.  [default: all]")
@plot_option
@catalogue_options
@answer_options
@click.pass_context
def command(ctx: click.Context, /, **options: Any) -> None:
    """How long it flies, phase by phase, and what ends the flight.

    BRIEF is a file, or the name of a bundled brief. The power train is that of --train, or of --motor, --propeller,
    --pack and --controller; without any of them it is the best that match finds.

    Exit code 1 when the flight is shorter than the brief wants, or cannot be flown at all.
    """
    from propmatch.commands.briefs import open_brief
    from propmatch.commands.choose import choose_for_brief, wanted_settings
    from propmatch.commands.output import Reply, show
    from propmatch.commands.timewords import fly, headline_of, met, phase_block, phase_rows

    check_plot(options["plot"])
    brief, which = open_brief(options["brief"])
    wanted = wanted_settings(brief, options["variant"])
    stock = LazyCatalogue(options["parts_folder"], options["strict"])
    chosen = choose_for_brief(stock, brief, wanted[0], options)
    shown = shown_units(options["units"], brief)
    flights = [fly(chosen.train, setting) for setting in wanted]
    drawn = save_plot(options["plot"], lambda: _picture(chosen.train, flights[0], shown))
    assumptions = [each for flight in flights for each in flight.assumptions]
    show(
        Reply(
            command="time",
            headline=[
                *headline_of(chosen.train, brief, flights, shown),
                *(text for text in (which, chosen.how) if text),
                *drawn,
            ],
            blocks=[*(phase_block(flight, shown, len(flights) > 1) for flight in flights), sources_block(chosen.train)],
            rows=[row for flight in flights for row in phase_rows(flight)],
            assumptions=list(dict.fromkeys((*chosen.assumptions, *assumptions))),
            faults=(*chosen.doubts, *stock.broken),
            extra={
                "train": train_data(chosen.train),
                "flights": [flight.summary for flight in flights],
            },
            caution=True,
        ),
        form=form_of(options),
    )
    ctx.exit(0 if met(brief, flights[0]) else 1)


def _picture(train: Any, flight: Any, shown: Any) -> Any:
    from propmatch.report.flightcharts import flight_chart
    from propmatch.units import GRAM_KG

    setting, limits = flight.setting, flight.setting.brief.limits
    return flight_chart(
        train, setting.variant.airframe, flight.mass_g * GRAM_KG, setting.phases, air=setting.air, flight=flight.time,
        reserve_charge=limits.reserve_charge, cutoff_cell_v=limits.cutoff_cell_v, shown=shown,
    )  # fmt: skip
