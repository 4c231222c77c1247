"""``propmatch envelope``: what other builders may fit, as text to paste into the plans."""

from typing import Any

import click

from propmatch.columns import numbers_of
from propmatch.commands.options import (
    Command,
    answer_options,
    catalogue_options,
    form_of,
    on_paper_option,
    short_answer_options,
    shown_units,
)
from propmatch.commands.trains import LazyCatalogue, train_options

__all__ = ["command"]

_ASSUMED = 2
"""So many assumptions are named: the answer is a list already."""


@click.command("envelope", cls=Command)
@click.argument("brief", required=False)
@click.option("--cells", metavar="LIST", help="Cell counts, such as 2,3.  [default: the brief's and the design's]")
@click.option(
    "--altitude", metavar="RANGE", help="Fields it is published for, such as 0..1500m.  [default: the brief's]"
)
@click.option("--temperature", metavar="RANGE", help="Air it is published for, such as -5..35degC.")
@click.option("--markdown", is_flag=True, help="As Markdown to paste.")
@click.option("--train", metavar="ID", help='The ids of its parts joined by " + ", as match prints them.')
@train_options
@on_paper_option
@catalogue_options
@short_answer_options
@answer_options
@click.pass_context
def command(ctx: click.Context, /, **options: Any) -> None:
    """What others may fit, wherever it is flown: propellers, packs, label kV, motor mass and ratings.

    BRIEF is a file, or the name of a bundled brief. The design is that of --train, or of --motor, --propeller, --pack
    and --controller; without any of them the best that match finds. Fields from 0 to 1000 m and air from 0 to 35 degC
    are held, or those of the brief's [publish], in every variant that passes by itself: random builds of what is listed
    keep the brief's chances there. With --on-paper each part listed holds there beside the design's own.

    Exit code 1 when nothing holds with any cell count.
    """
    from propmatch.checks.chances import sureness
    from propmatch.checks.setting import ResolvedBrief
    from propmatch.commands.briefs import open_brief
    from propmatch.commands.choose import choose_for_brief
    from propmatch.commands.matching import cell_counts
    from propmatch.commands.output import Reply, show
    from propmatch.commands.progress import progress_line
    from propmatch.commands.published import published
    from propmatch.commands.saying import mass_block, masses_data
    from propmatch.commands.trains import train_data
    from propmatch.questions.envelope import parts_envelope
    from propmatch.words.assumedwords import mattering
    from propmatch.words.checkwords import speed_question
    from propmatch.words.envelopewords import (
        corner_block,
        envelope_answer,
        envelope_markdown,
        envelope_text,
        further_block,
        sizes_block,
        throttle_block,
    )

    brief, which = open_brief(options["brief"], options["only"])
    counts = None if options["cells"] is None else cell_counts(options["cells"])
    resolved = ResolvedBrief.of(published(brief, options["altitude"], options["temperature"]))
    stock = LazyCatalogue(options["parts_folder"], options["strict"])
    chosen = choose_for_brief(stock, resolved, resolved.as_designed, options)
    with progress_line("drawing builds") as progress:
        found = parts_envelope(
            resolved, stock.catalogue, chosen.train, cells=counts, on_paper=options["on_paper"], progress=progress
        )
    shown = shown_units(options["units"], brief)
    form = form_of(options)
    sure = [] if options["on_paper"] else [sureness(resolved.as_designed, found.train)]
    assumptions = list(dict.fromkeys((*chosen.assumptions, *found.assumptions)))
    if options["markdown"] and form == "text":
        click.echo(envelope_markdown(found, shown), nl=False)
    else:
        reply = Reply(
            command="envelope",
            headline=[
                *envelope_answer(found, [text for text in (which, chosen.how) if text]),
                *speed_question(found.train),
            ],
            blocks=envelope_text(found, shown),
            details={
                "further ranges": further_block(found, shown),
                "throttle limits": throttle_block(found, shown),
                "every size tried": sizes_block(found),
                "worst corner": corner_block(found),
                "mass build-up": mass_block(resolved.settings, found.train, shown),
            },
            rows=lambda: [_row(each) for each in found.cells.values()],
            assumptions=assumptions,
            matter=mattering(assumptions, sure, options, most=_ASSUMED),
            faults=(*chosen.doubts, *stock.broken),
            extra=lambda: {
                "train": train_data(found.train),
                "target_cg_mm": found.target_cg_mm,
                "cg_tolerance_mm": found.cg_tolerance_mm,
                "altitude_m": found.altitude_m,
                "temperature_c": found.temperature_c,
                "chances_asked": found.asked,
                "on_paper": found.on_paper,
                "cells_without_packs": found.missing,
                "variants": found.variants,
                "masses": masses_data(resolved.settings, found.train),
                "markdown": envelope_markdown(found, shown),
            },
            caution=True,
        )
        show(reply, form=form)
    ctx.exit(0 if any(each.holds for each in found.cells.values()) else 1)


def _row(each: Any) -> dict[str, Any]:
    """A cell count for JSON and CSV: every range as two numbers."""
    row: dict[str, Any] = {name: getattr(each, name) for name in ("cells", "holds")} | each.limited.row
    row["failed"] = each.failing
    row |= {f"changed_{kind}": part.id or part.name for kind, part in each.changes.items()}
    for name, value in numbers_of(each).items():
        row |= {f"{name}_from": value[0], f"{name}_to": value[1]} if isinstance(value, tuple) else {name: value}
    for kind in ("propellers", "packs"):
        row[f"{kind}_fitting"] = [choice.part.name for choice in getattr(each, kind) if choice.fits]
        row[kind] = [choice.data for choice in getattr(each, kind)]
    corner = each.corner
    row["worst_corner"] = None if corner is None else {
        "motor": corner.train.motor.name, "propeller": corner.train.propeller.name, "pack": corner.train.pack.name,
        **{name: getattr(corner, name) for name in _CORNER},
    }  # fmt: skip
    row["costs"] = None if each.costs is None else [each.costs.least, *each.costs.without]
    return row


_CORNER = ("variant", "altitude_m", "temperature_c", "pack_temperature_c", "chance", "check")
