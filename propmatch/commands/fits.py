"""``propmatch fits``: whether a substitute part may be fitted, and why not."""

from typing import Any

import click

from propmatch.commands.options import Command, answer_options, catalogue_options, form_of, shown_units
from propmatch.commands.trains import LazyCatalogue

__all__ = ["command"]

_KINDS = ("motor", "propeller", "pack", "controller")


@click.command("fits", cls=Command)
@click.argument("brief", required=False)
@click.option("--train", metavar="ID", help='The design: ids joined by " + ".  [default: the best that match finds]')
@click.option("--motor", metavar="PART", help='Substitute, by id or typed: "1500kV 28g".')
@click.option("--propeller", metavar="PART", help='Substitute, by id or typed: "6x4".')
@click.option("--pack", metavar="PART", help='Substitute, by id or typed: "3S 850mAh 45C".')
@click.option("--controller", metavar="PART", help='Substitute, by id or typed: "20A 18g".')
@catalogue_options
@answer_options
@click.pass_context
def command(ctx: click.Context, /, **options: Any) -> None:
    """May this part be fitted instead of the design's? Yes or no, and why.

    BRIEF is a file, or the name of a bundled brief; --train is the design, the other options name what replaces a part
    of it.

    Exit code 1 when it may not.
    """
    from propmatch.commands.briefs import open_brief
    from propmatch.commands.choose import choose_for_brief, wanted_settings
    from propmatch.commands.fitswords import fits_reply, substitutes
    from propmatch.commands.output import show
    from propmatch.fits import may_fit

    brief, which = open_brief(options["brief"])
    stock = LazyCatalogue(options["parts_folder"], options["strict"])
    settings = wanted_settings(brief, None)
    typed = {kind: options[kind] for kind in _KINDS if options[kind] is not None}
    parts, made, doubts = substitutes(stock, typed)
    chosen = choose_for_brief(stock, brief, settings[0], {"train": options["train"]})
    fit = may_fit(brief, stock.catalogue, chosen.train, **parts)
    shown = shown_units(options["units"], brief)
    said = tuple(text for text in (which, chosen.how) if text)
    reply = fits_reply(stock, fit, settings, shown, said, made, doubts)
    show(reply, form=form_of(options))
    ctx.exit(0 if fit.fits else 1)
