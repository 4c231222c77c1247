"""``propmatch cells``: what a pack of another cell count changes, and what must change with it."""

from typing import TYPE_CHECKING, Any

import attrs
import click

from propmatch.commands.options import (
    Command,
    answer_options,
    assumptions_option,
    catalogue_options,
    form_of,
    on_paper_option,
    shown_units,
)
from propmatch.commands.plotting import check_plot, plot_option, save_plot
from propmatch.commands.trains import LazyCatalogue, train_options

if TYPE_CHECKING:
    from propmatch.checks.setting import Setting
    from propmatch.questions.cells import CellComparison
    from propmatch.words.shown import Shown

__all__ = ["command"]


@click.command("cells", cls=Command)
@click.argument("brief", required=False)
@click.option(
    "--cells", metavar="LIST", help="Cell counts to compare, 1 to 6.  [default: the brief's and the design's]"
)
@click.option("--train", metavar="ID", help='The ids of its parts joined by " + ", as match prints them.')
@click.option("--thrusts", metavar="A,B", help="Two thrusts, such as 100gf,400gf: the elevator between them.")
@click.option("--full", is_flag=True, help="Every number, check, way out, balance, trim, roll, variant and mass.")
@on_paper_option
@plot_option
@train_options
@catalogue_options
@assumptions_option
@answer_options
@click.pass_context
def command(ctx: click.Context, /, **options: Any) -> None:
    """What 3S instead of 2S does to the same motor, propeller and controller, and what brings it inside the limits.

    BRIEF is a file, or the name of a bundled brief. Packs are compared three ways: of the same energy, the same mass
    and the same capacity. The power train is that of --train, or of --motor, --propeller, --pack and --controller;
    without any of them the best that match finds.

    Exit code 1 when no cell count keeps the limits as designed.
    """
    from propmatch.checks.placing import thrust_pair, trim_geometry
    from propmatch.checks.setting import ResolvedBrief
    from propmatch.commands.briefs import open_brief
    from propmatch.commands.cellswords import cells_reply, named_thrusts, pair_block
    from propmatch.commands.choose import choose_for_brief
    from propmatch.commands.matching import cell_counts
    from propmatch.commands.output import show
    from propmatch.commands.progress import progress_line
    from propmatch.commands.ranges import two_thrusts
    from propmatch.questions.cells import compare_cells, usual_cells

    check_plot(options)
    brief, which = open_brief(options["brief"], options["only"])
    counts = None if options["cells"] is None else cell_counts(options["cells"])
    thrusts = None if options["thrusts"] is None else two_thrusts(options["thrusts"])
    stock = LazyCatalogue(options["parts_folder"], options["strict"])
    resolved = ResolvedBrief.of(brief)
    setting = resolved.as_designed
    if thrusts is not None:
        trim_geometry(setting)  # before the search
    chosen = choose_for_brief(stock, resolved, setting, options)
    with progress_line("comparing"):
        comparison = compare_cells(
            resolved,
            stock.catalogue,
            cells=counts or usual_cells(resolved, chosen.train),
            train=chosen.train,
            on_paper=options["on_paper"],
        )
    shown = shown_units(options["units"], brief)
    pair = None if thrusts is None else thrust_pair(setting, chosen.train, named_thrusts(thrusts, shown))
    drawn = save_plot(options, lambda: _picture(comparison, setting, shown))
    said = (which, chosen.how, *drawn)
    reply, met = cells_reply(stock, comparison, resolved.settings, shown, said, chosen, options)
    if pair is not None:
        reply = attrs.evolve(reply, blocks=[pair_block(pair, shown), *reply.blocks]).with_extra(thrust_pair=pair.rows)
    show(reply, form=form_of(options))
    ctx.exit(0 if met else 1)


def _picture(comparison: "CellComparison", setting: "Setting", shown: "Shown") -> Any:
    """Full throttle of each count as designed, packs of the same energy."""
    from propmatch.sheet.thrustcharts import compare_chart
    from propmatch.units import GRAM_KG

    cases = {f"{cells}S": comparison.case(cells) for cells in comparison.cells}
    return compare_chart(
        {key: case.train for key, case in cases.items()}, setting.variant.airframe,
        {key: case.all_up_mass_g * GRAM_KG for key, case in cases.items()}, air=setting.air, shown=shown,
        sure={key: case.sure for key, case in cases.items() if not case.sure.drawn.on_paper},
    )  # fmt: skip
