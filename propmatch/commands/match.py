"""``propmatch match``: which combinations of parts meet a brief, and which is best."""

import math
from typing import TYPE_CHECKING, Any

import click

from propmatch.commands.options import Command, answer_options, assumptions_option, catalogue_options, form_of
from propmatch.commands.outputs import force_option
from propmatch.commands.trains import LazyCatalogue

if TYPE_CHECKING:
    from propmatch.search.matching import Shortlist

__all__ = ["command"]

_CONTROLLERS = 10
"""Combinations looked for behind each row on paper, because those that differ in the controller share one."""


def _finite(ctx: click.Context, param: click.Parameter, value: float | None) -> float | None:
    if value is not None and not math.isfinite(value):
        raise click.BadParameter("must be a finite number of seconds", ctx, param)
    return value


@click.command("match", cls=Command)
@click.argument("brief", required=False)
@click.option(
    "--top",
    type=click.IntRange(min=1, max=10000),
    metavar="N",
    help="How many rows for each cell count.  [default: 5]",
)
@click.option("--cells", metavar="LIST", help="Cell counts instead of the brief's, such as 2,3.")
@click.option("--variant", metavar="NAME", help="Rank for this variant of the brief.  [default: as designed]")
@click.option("--why", metavar="ROW", help="Every check of one row, by its number or its parts' ids joined by ' + '.")
@click.option("--full", is_flag=True, help="All numbers of each row, what is odd or unsure, and what the others miss.")
@click.option("--count", is_flag=True, help="Count exactly how many meet the brief, however many there are.")
@click.option(
    "--within",
    type=click.FloatRange(min=0, min_open=True),
    callback=_finite,
    metavar="SECONDS",
    help="Rank on paper no longer than this: the best so far, and how much better what is left can be.",
)
@click.option("--front", is_flag=True, help="Also those that nothing beats in time, thrust and mass at once.")
@click.option("--on-paper", is_flag=True, help="Rank with every number as it stands, and say no chances.")
@click.option("--exhaustive", is_flag=True, help="Judge every combination one by one: slow, and proves the quick way.")
@assumptions_option
@click.option(
    "--shopping",
    metavar="FILE",
    type=click.Path(),
    help="With --only: write what you have and what to buy, FILE.csv or FILE.txt.",
)
@force_option
@catalogue_options
@answer_options
@click.pass_context
def command(ctx: click.Context, /, **options: Any) -> None:
    """Which combinations of parts meet a brief, best first, for each cell count.

    BRIEF is a file, or the name of a bundled brief; without one the bundled wetland logger is matched. Hard limits (the
    brief's and the parts' ratings) come first, then what the brief prefers.

    With --only BOX the parts of your own box alone are matched: what works with each cell count, how near the rest
    comes, and the fewest parts to buy.

    Exit code 1 when no combination meets the brief, or none was found within the time. Ctrl-C shows the best
    so far, said as such, with exit code 130.
    """
    from propmatch.commands.briefs import open_brief
    from propmatch.commands.matching import find_shortlist, with_cells
    from propmatch.commands.matchwords import match_reply
    from propmatch.commands.output import Reply, show
    from propmatch.commands.shoppinglist import list_faults
    from propmatch.faults import InputFaults
    from propmatch.search.exhaustive import Interrupted
    from propmatch.search.listed import ROWS

    brief, which = open_brief(options["brief"], options["only"])
    brief = with_cells(brief, options["cells"])
    if faults := list_faults(options["shopping"], options["force"], brief.parts.only):
        raise InputFaults(faults)
    stock = LazyCatalogue(options["parts_folder"], options["strict"])
    top, why = options["top"] or ROWS, options["why"]

    def found() -> "Shortlist":
        return find_shortlist(stock, brief, options, top * (_CONTROLLERS if options["on_paper"] else 1))

    def matched() -> tuple[Reply, bool]:
        return match_reply(stock, found(), which, top, options)

    if why is not None:
        from propmatch.commands.whywords import row_id, why_reply

        id = row_id(found(), top, int(why)) if why.isdigit() else why
        reply, met = why_reply(stock, brief, options, id, which)
    elif brief.parts.only:
        from propmatch.commands.boxwords import box_reply

        reply, met = box_reply(stock, brief, options, which, matched)
    else:
        try:
            reply, met = matched()
        except Interrupted as error:
            show(match_reply(stock, error.found, which, top, options)[0], form=form_of(options))
            raise
    show(reply, form=form_of(options))
    ctx.exit(0 if met else 1)
