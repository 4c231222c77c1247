"""``propmatch measure``: what to measure next, and what a reading says."""

from typing import TYPE_CHECKING, Any

import click

from propmatch.columns import numbers_of
from propmatch.commands.options import Command, answer_options, catalogue_options, cautions_option, form_of, shown_units
from propmatch.commands.trains import LazyCatalogue, train_data, train_options

if TYPE_CHECKING:
    from propmatch.bench.next import NextMeasurements

__all__ = ["command"]


@click.command("measure", cls=Command)
@click.argument("brief", required=False)
@click.option(
    "--reading", "readings", multiple=True, metavar="NAME=VALUE",
    help='One that was taken: wattmeter=9.1A, scale=210gf, "drill=1480 2%" with its error. May stand several times.',
)  # fmt: skip
@click.option("--check", metavar="NAME", help="What should be surer.  [default: the least certain]")
@click.option("--variant", metavar="NAME", help="One variant of the brief.  [default: as designed]")
@click.option("--train", metavar="ID", help='The ids of its parts joined by " + ", as match prints them.')
@train_options
@catalogue_options
@cautions_option
@answer_options
@click.pass_context
def command(ctx: click.Context, /, **options: Any) -> None:
    """What to measure next at home, and what a reading changes.

    BRIEF is a file, or the name of a bundled brief. The power train is that of --train, or of --motor, --propeller,
    --pack and --controller; without any of them the best that match finds.
    """
    from propmatch.bench.next import MEASUREMENTS, changed, read_readings, updated, what_to_measure
    from propmatch.checks.chances import sureness
    from propmatch.checks.setting import ResolvedBrief
    from propmatch.commands.briefs import open_brief
    from propmatch.commands.choose import choose_for_brief, wanted_settings
    from propmatch.commands.output import Reply, show
    from propmatch.words import measurewords as words
    from propmatch.words.checkwords import parts_text

    brief, which = open_brief(options["brief"], options["only"])
    shown = shown_units(options["units"], brief)
    units = {name: shown.unit(each.kind) for name, each in MEASUREMENTS.items()}
    readings = read_readings(options["readings"], units)
    check = None if options["check"] is None else options["check"].strip().replace(" ", "_")
    resolved = ResolvedBrief.of(brief)
    setting = wanted_settings(resolved, options["variant"])[0]
    stock = LazyCatalogue(options["parts_folder"], options["strict"])
    chosen = choose_for_brief(stock, resolved, setting, options)
    sure = before = sureness(setting, chosen.train)
    doubts: tuple[Any, ...] = ()
    if readings:
        sure, doubts = updated(before, readings)
    found = what_to_measure(sure, check)
    pairs = changed(before, sure) if readings else ()
    chances = (before.chance_all_limits, sure.chance_all_limits)
    where = f"{brief.aircraft.name} with {parts_text(chosen.train)}"
    measured = f", measured: {words.reading_words(readings, shown)}" if readings else ""
    blocks = [words.changes_block(pairs, chances, shown)] if readings else []
    blocks += words.measure_blocks(found, shown)
    show(
        Reply(
            command="measure",
            headline=[
                f"{where}{measured}.", *(text for text in (which, chosen.how) if text),
                *words.measure_sentences(found, sure, shown, why=not readings, named=check is not None),
                *words.full_throttle_words(found, sure),
            ],
            blocks=blocks,
            rows=[_row(each) for each in found.rows],
            assumptions=chosen.assumptions,
            faults=(*chosen.doubts, *doubts, *stock.broken),
            notes=[words.LEGEND] if found.rows else [],
            extra={
                "train": train_data(chosen.train), "variant": setting.variant.name, **_judged(found),
                "readings": readings, "chance_all_limits_before": chances[0], "chance_all_limits": chances[1],
                "before": [before for before, _ in pairs], "after": [after for _, after in pairs],
            },
            caution=True,
        ),
        form=form_of(options),
    )  # fmt: skip


def _judged(found: "NextMeasurements") -> dict[str, Any]:
    return {
        "judged": found.judged,
        "wrong_verdict": found.wrong_verdict,
        "best_two": {
            "measurements": [each.measurement.name for each in found.best_two],
            "remaining_sd": found.best_two_remaining_sd,
            "wrong_verdict": found.best_two_wrong_verdict,
        },
        "impossible": [each.name for each in found.impossible],
    }


def _row(each: Any) -> dict[str, Any]:
    m = each.measurement
    return {
        "measurement": m.name, "what": m.what, "unit": m.unit, **numbers_of(each), "minutes": m.minutes,
        "tools": m.tools, "how": m.how, "caution": m.caution,
    }  # fmt: skip
