"""``propmatch guide``: the guide in the terminal, or as HTML."""

from pathlib import Path

import click

from propmatch.commands.options import Command
from propmatch.commands.outputs import check_file, force_option

__all__ = ["command", "program_of"]


@click.command("guide", cls=Command)
@click.argument("page", required=False)
@click.option("-o", "--output", metavar="PLACE", type=click.Path(path_type=Path),
              help="Write the whole guide: FILE.html, or a folder with a file for each page.")  # fmt: skip
@force_option
@click.pass_context
def command(ctx: click.Context, page: str | None, output: Path | None, force: bool) -> None:
    """The guide, without a network: accuracy, a tutorial, how to, theory, reference.

    Without a PAGE the pages are listed; 'propmatch guide tutorial' is a good one to begin with.
    """
    program = program_of(ctx)
    if output is not None:
        _write(program, page, output, force=force)
    elif page is None:
        _list()
    else:
        from propmatch.guide.contents import PAGES, markdown
        from propmatch.guide.text import page_text

        if page not in PAGES:
            _no_page(page)
        click.echo_via_pager(page_text(markdown(page, program)))


def program_of(ctx: click.Context) -> click.Group:
    """The command line that a command belongs to, which the guide describes."""
    program = ctx.find_root().command
    assert isinstance(program, click.Group)
    return program


def _no_page(page: str) -> None:
    """Refuse a page that the guide does not have."""
    from propmatch.faults import Fault, InputFaults, did_you_mean
    from propmatch.guide.contents import PAGES

    hint = did_you_mean(page, PAGES) or f"the pages are {', '.join(PAGES)}"
    raise InputFaults([Fault("guide", value=page, rule="no page of the guide has this name", hint=hint)])


def _list() -> None:
    """The pages, a line each."""
    from propmatch.guide.contents import GROUPS
    from propmatch.words.shown import wrapped

    for heading, pages in GROUPS.items():
        click.echo(f"{heading}:")
        wide = max(map(len, pages)) + 4
        for name, about in pages.items():
            click.echo("\n".join(wrapped(about, first=f"  {name}".ljust(wide), rest=" " * wide)))
    click.echo("\nRead one: propmatch guide PAGE. All of it in one file: propmatch guide -o guide.html")


def _write(program: click.Group, page: str | None, output: Path, *, force: bool) -> None:
    """The guide in one file, or in a folder."""
    from propmatch.faults import Fault, InputFaults
    from propmatch.files import write_file, write_files
    from propmatch.guide.html import FIRST, folder, single

    if page is not None:
        raise InputFaults([Fault("guide", value=page, rule="-o writes the whole guide; leave the page out")])
    if output.suffix not in ("", ".html"):
        raise InputFaults([Fault("--output", value=str(output), rule="must be a folder, or a file that ends in .html")])
    if output.suffix:
        check_file("--output", output, force=force)
        write_file(output, single(program), force=force)
        click.echo(f"Wrote {output}.")
        return
    if output.is_dir():
        check_file("--output", output / FIRST, force=force)
    pages = [(output / name, text) for name, text in folder(program).items()]
    output.mkdir(parents=True, exist_ok=True)
    write_files(pages, force=force)
    click.echo(f"Wrote {output}; begin with {output / FIRST}.")
