"""``propmatch envelope``: what other builders may fit, as text to paste into the plans."""

from typing import Any

import click

from propmatch.columns import numbers_of
from propmatch.commands.options import (
    Command,
    answer_options,
    catalogue_options,
    form_of,
    short_answer_options,
    shown_units,
)
from propmatch.commands.trains import LazyCatalogue, train_options

__all__ = ["command"]


@click.command("envelope", cls=Command)
@click.argument("brief", required=False)
@click.option("--cells", metavar="LIST", help="Cell counts, such as 2,3.  [default: the brief's and the design's]")
@click.option("--markdown", is_flag=True, help="As Markdown to paste.")
@click.option("--train", metavar="ID", help='The ids of its parts joined by " + ", as match prints them.')
@train_options
@catalogue_options
@short_answer_options
@answer_options
@click.pass_context
def command(ctx: click.Context, /, **options: Any) -> None:
    """What others may fit: kV, motor, controller, propeller, pack and mass from-to, by specification.

    BRIEF is a file, or the name of a bundled brief. The design is that of --train, or of --motor, --propeller, --pack
    and --controller; without any of them the best that match finds. Every corner of the ranges is checked.

    Exit code 1 when nothing holds with any cell count.
    """
    from propmatch.checks.chances import sureness
    from propmatch.checks.setting import ResolvedBrief
    from propmatch.commands.assumed import mattering
    from propmatch.commands.briefs import open_brief
    from propmatch.commands.choose import choose_for_brief
    from propmatch.commands.matching import cell_counts
    from propmatch.commands.output import Reply, show
    from propmatch.commands.progress import progress_line
    from propmatch.commands.saying import mass_block, masses_data
    from propmatch.commands.trains import train_data
    from propmatch.questions.envelope import parts_envelope
    from propmatch.words.checkwords import speed_question
    from propmatch.words.envelopewords import (
        envelope_answer,
        envelope_markdown,
        envelope_text,
        stops_block,
        throttle_block,
    )

    brief, which = open_brief(options["brief"], options["only"])
    counts = None if options["cells"] is None else cell_counts(options["cells"])
    resolved = ResolvedBrief.of(brief)
    stock = LazyCatalogue(options["parts_folder"], options["strict"])
    chosen = choose_for_brief(stock, resolved, resolved.as_designed, options)
    with progress_line("checking corners") as progress:
        found = parts_envelope(resolved, stock.catalogue, chosen.train, cells=counts, progress=progress)
    shown = shown_units(options["units"], brief)
    form = form_of(options)
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
                "throttle limits": throttle_block(found, shown),
                "what ends the ranges": stops_block(found),
                "mass build-up": mass_block(resolved.settings, found.train, shown),
            },
            rows=[_row(each) for each in found.cells.values()],
            assumptions=assumptions,
            matter=mattering(assumptions, [sureness(resolved.as_designed, found.train)], options),
            faults=(*chosen.doubts, *stock.broken),
            extra={
                "train": train_data(found.train),
                "target_cg_mm": found.target_cg_mm,
                "cg_tolerance_mm": found.cg_tolerance_mm,
                "variant_masses": found.variants,
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
    numbers = numbers_of(each)
    if each.box is not None:
        numbers |= {name: ends for name, ends in each.box.ranges.items() if name != "air"}
        row |= {"corners_checked": each.box.corners, "points_checked": each.box.samples,
                "worst_corner_chance": each.box.least_chance}  # fmt: skip
    for name, value in numbers.items():
        row |= {f"{name}_from": value[0], f"{name}_to": value[1]} if isinstance(value, tuple) else {name: value}
    return row
