"""``propmatch match``: which combinations of parts meet a brief, and which is best."""

from typing import Any

import click

from propmatch.commands.options import Command, answer_options, assumptions_option, catalogue_options, form_of
from propmatch.commands.trains import LazyCatalogue

__all__ = ["command"]

_TOP_TEXT, _TOP_ROWS = 6, 20
_CONTROLLERS = 10
"""Combinations looked for behind each line of the text, because those that differ in the controller share one."""


@click.command("match", cls=Command)
@click.argument("brief", required=False)
@click.option(
    "--top",
    type=click.IntRange(min=1, max=10000),
    metavar="N",
    help="How many, for each cell count.  [default: 6; JSON and CSV 20]",
)
@click.option("--cells", metavar="LIST", help="Cell counts instead of the brief's, such as 2,3.")
@click.option("--variant", metavar="NAME", help="Rank for this variant of the brief.  [default: as designed]")
@click.option("--why", metavar="ID", help="Every check of one combination: its parts' ids joined by ' + '.")
@click.option("--count", is_flag=True, help="Count exactly how many meet the brief, however many there are.")
@click.option("--front", is_flag=True, help="Also those that nothing beats in time, thrust and mass at once.")
@click.option("--on-paper", is_flag=True, help="Rank with every number as it stands, and say no chances.")
@click.option("--exhaustive", is_flag=True, help="Judge every combination one by one: slow, and proves the quick way.")
@assumptions_option
@catalogue_options
@answer_options
@click.pass_context
def command(ctx: click.Context, /, **options: Any) -> None:
    """Which combinations of parts meet a brief, best first, for each cell count.

    BRIEF is a file, or the name of a bundled brief; without one the bundled wetland logger is matched. Hard limits (the
    brief's and the parts' ratings) come first, then what the brief prefers.

    Exit code 1 when no combination meets the brief.
    """
    from propmatch.commands.briefs import open_brief
    from propmatch.commands.matching import find_shortlist, with_cells
    from propmatch.commands.matchwords import match_reply, why_reply
    from propmatch.commands.output import show

    brief, which = open_brief(options["brief"])
    brief = with_cells(brief, options["cells"])
    form = form_of(options)
    stock = LazyCatalogue(options["parts_folder"], options["strict"])
    if options["why"] is not None:
        reply, met = why_reply(stock, brief, options, which)
    else:
        lines = options["top"] or _TOP_TEXT
        wanted = lines if form == "text" else options["top"] or _TOP_ROWS
        top = lines * _CONTROLLERS if form == "text" and options["on_paper"] else wanted
        shortlist = find_shortlist(stock, brief, options, top)
        reply, met = match_reply(stock, shortlist, which, lines, options)
    show(reply, form=form)
    ctx.exit(0 if met else 1)
