"""``propmatch envelope``: what other builders may fit, as text to paste into the plans."""

from typing import Any

import click

from propmatch.commands.options import Command, answer_options, catalogue_options, form_of, shown_units
from propmatch.commands.trains import LazyCatalogue, train_options

__all__ = ["command"]

_RANGES = ("pack_mass_g", "pack_position_mm", "altitude_m", "temperature_c", "thrust_n", "thrust_to_weight",
           "motor_current_a", "pack_current_a", "pack_power_w", "minutes", "returned_mah")  # fmt: skip
_NUMBERS = ("cells", "holds", "failing", "design_thrust_n", "design_motor_current_a", "design_pack_current_a",
            "controller_a", "motor_a", "motor_w", "timer_minutes",
            "servo_supply_w")  # fmt: skip


@click.command("envelope", cls=Command)
@click.argument("brief", required=False)
@click.option("--cells", metavar="LIST", help="Cell counts, such as 2,3.  [default: 2, 3 and the design's]")
@click.option("--markdown", is_flag=True, help="As Markdown to paste.")
@click.option("--train", metavar="ID", help='The ids of its parts joined by " + ", as match prints them.')
@train_options
@catalogue_options
@answer_options
@click.pass_context
def command(ctx: click.Context, /, **options: Any) -> None:
    """What others may fit: kV, motor, controller, propeller, pack and mass from-to, by specification.

    BRIEF is a file, or the name of a bundled brief. The design is that of --train, or of --motor, --propeller, --pack
    and --controller; without any of them the best that match finds. Every corner of the ranges is checked.

    Exit code 1 when nothing holds with any cell count.
    """
    from propmatch.checks.setting import ResolvedBrief
    from propmatch.commands.briefs import open_brief
    from propmatch.commands.choose import choose_for_brief, names_a_train
    from propmatch.commands.matching import cell_counts
    from propmatch.commands.output import Reply, show
    from propmatch.commands.progress import progress_line
    from propmatch.commands.saying import mass_block
    from propmatch.commands.trains import train_data
    from propmatch.questions.envelope import parts_envelope
    from propmatch.words.envelopewords import envelope_markdown, envelope_text

    brief, which = open_brief(options["brief"])
    counts = None if options["cells"] is None else cell_counts(options["cells"])
    resolved = ResolvedBrief.of(brief)
    stock = LazyCatalogue(options["parts_folder"], options["strict"])
    chosen = choose_for_brief(stock, resolved, resolved.as_designed, options) if names_a_train(options) else None
    with progress_line("checking corners") as progress:
        found = parts_envelope(
            resolved, stock.catalogue, None if chosen is None else chosen.train, cells=counts, progress=progress
        )
    shown = shown_units(options["units"], brief)
    form = form_of(options)
    assumptions = list(dict.fromkeys((*(chosen.assumptions if chosen else ()), *found.assumptions)))
    if options["markdown"] and form == "text":
        click.echo(envelope_markdown(found, shown), nl=False)
    else:
        reply = Reply(
            command="envelope",
            headline=[f"Parts envelope: {brief.aircraft.name}.", *(text for text in (which, found.how) if text)],
            blocks=[*envelope_text(found, shown), mass_block(resolved.settings, found.train, shown)],
            rows=[_row(each) for each in found.cells.values()],
            assumptions=assumptions,
            faults=(*(chosen.doubts if chosen else ()), *stock.broken),
            extra={
                "train": train_data(found.train),
                "target_cg_mm": found.target_cg_mm,
                "cg_tolerance_mm": found.cg_tolerance_mm,
                "variants": found.variants,
                "markdown": envelope_markdown(found, shown),
            },
        )
        show(reply, form=form)
    ctx.exit(0 if any(each.holds for each in found.cells.values()) else 1)


def _row(each: Any) -> dict[str, Any]:
    """A cell count for JSON and CSV: every range as two numbers."""
    row: dict[str, Any] = {name: getattr(each, name) for name in _NUMBERS} | each.limited.row
    row |= {f"changed_{kind}": part.id or part.name for kind, part in each.changes.items()}
    ranges = {name: getattr(each, name) for name in _RANGES}
    if each.box is not None:
        ranges |= {name: ends for name, ends in each.box.ranges.items() if name != "air"}
        row |= {"corners_checked": each.box.corners, "points_checked": each.box.samples}
    for name, ends in ranges.items():
        row[f"{name}_from"], row[f"{name}_to"] = ends
    return row
