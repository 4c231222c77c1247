"""``propmatch sheet``: one file to publish with the plans."""

import os
from pathlib import Path
from typing import Any

import click

from propmatch.commands.options import (
    Command,
    answer_options,
    catalogue_options,
    cautions_option,
    form_of,
    on_paper_option,
    shown_units,
)
from propmatch.commands.outputs import file_faults, force_option
from propmatch.commands.plotting import check_plot
from propmatch.commands.trains import LazyCatalogue

__all__ = ["command"]


@click.command("sheet", cls=Command)
@click.argument("brief", required=False)
@click.option("--train", metavar="ID", help='The ids of its parts joined by " + ", as match prints them.')
@click.option("-o", "--output", metavar="FILE", type=click.Path(), help="HTML file.  [default: the brief's name]")
@click.option(
    "--pdf",
    "as_pdf",
    is_flag=True,
    help="Write a PDF of the same name beside it: by Chromium or its like, else by WeasyPrint.",
)
@click.option(
    "--plot", metavar="FILE", type=click.Path(),
    help="Draw side and top view of the aircraft in a file of their own too: FILE.svg, .png or .pdf.",
)  # fmt: skip
@click.option("--log", metavar="LOG", help="Bench readings of the motor, as for fit: drawn on the sheet.")
@force_option
@on_paper_option
@catalogue_options
@cautions_option
@answer_options
def command(**options: Any) -> None:
    """The build sheet: one HTML file that needs no network, with charts, limits, substitutes and cautions.

    It shows the aircraft from the side and from above, to scale, with every mass at its place, where the brief has a
    [balance]; --plot writes that drawing alone beside it.

    BRIEF is a file, or the name of a bundled brief. The charts show the power train of --train, else the best that
    match finds.

    With --on-paper it is quick, marked so on its first page, and nothing to publish: no ranges, chances or timer.

    Exit code 1 when nothing in the catalogue meets the brief.
    """
    from propmatch.checks.setting import ResolvedBrief
    from propmatch.commands.briefs import open_brief
    from propmatch.commands.choose import allowed_by_brief, train_of_ids
    from propmatch.commands.output import Reply, show
    from propmatch.commands.progress import progress_line
    from propmatch.faults import Fault, InputFaults
    from propmatch.files import file_name, write_files
    from propmatch.sheet.aircraftviews import NO_VIEWS, aircraft_views
    from propmatch.sheet.content import build_sheet
    from propmatch.sheet.pdf import printed_pdf, printers
    from propmatch.sheet.picture import need

    for module in ("matplotlib", "jinja2"):
        need(module)
    check_plot(options)
    if options["as_pdf"]:
        printers()
    brief, which = open_brief(options["brief"], options["only"])
    if options["plot"] is not None and brief.balance is None:
        raise InputFaults([Fault("--plot", value=options["plot"], rule="cannot be drawn", hint=NO_VIEWS)])
    html = Path(options["output"] or f"{file_name(brief.aircraft.name, 'sheet')}.html")
    files = [html, *([html.with_suffix(".pdf")] if options["as_pdf"] else [])]
    _check_files(files, options["plot"], options["force"])
    stock = LazyCatalogue(options["parts_folder"], options["strict"])
    resolved = ResolvedBrief.of(brief)
    train = None
    if options["train"] is not None:
        design = resolved.as_designed
        train = allowed_by_brief(train_of_ids(stock, options["train"], **design.train_numbers), design)
    shown = shown_units(options["units"], brief)
    fit = None
    if options["log"] is not None:
        from propmatch.bench.fit import fit_log

        fit = fit_log(options["log"], catalogue=stock.catalogue)
    with progress_line("matching") as progress:
        sheet = build_sheet(
            resolved,
            stock.catalogue,
            train=train,
            shown=shown,
            fit=fit,
            on_paper=options["on_paper"],
            progress=progress,
        )
    from propmatch.sheet.html import sheet_html

    text = sheet_html(sheet)
    made = [text.encode(), *([printed_pdf(text)] if options["as_pdf"] else [])]
    rows = [{"file": str(file), "bytes": len(content)} for file, content in zip(files, made, strict=True)]
    lines = [f"Wrote {row['file']} ({len(content) / 1000:.0f} kB)." for row, content in zip(rows, made, strict=True)]
    views = aircraft_views(resolved.as_designed, sheet.design.train, shown=shown) if options["plot"] else None
    if views is not None:
        files, made = [*files, Path(options["plot"])], [*made, views.content(Path(options["plot"]).suffix.lower())]
        lines.append(f"Drawn in {options['plot']}.")
    write_files(zip(files, made, strict=True), force=options["force"])
    answer = (*sheet.lead, *sheet.section("parts").text, *sheet.section("sure").text)
    show(
        Reply(command="sheet", headline=[*lines, *answer, *([which] if which else [])], rows=rows, faults=stock.broken,
              caution=True),
        form=form_of(options),
    )  # fmt: skip


def _check_files(files: list[Path], plot: str | None, force: bool) -> None:
    from propmatch.faults import Fault, InputFaults

    faults = []
    if files[0].suffix.lower() == ".pdf":
        hint = f"-o {files[0].with_suffix('.html')} --pdf writes a PDF of the same name beside it"
        faults.append(Fault("-o", value=str(files[0]), rule="names the HTML file", hint=hint))
        files = []
    for file in files:
        faults += file_faults("-o", file, force=force, endings=(".html", ".htm") if file is files[0] else ())
    if plot is not None and os.path.realpath(plot) in map(os.path.realpath, files):
        faults.append(Fault("--plot", value=plot, rule="is named twice: the sheet is written there too"))
    if faults:
        raise InputFaults(faults)
