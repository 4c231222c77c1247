"""``propmatch schema``: the brief's JSON Schema."""

from pathlib import Path

import click

from propmatch.commands.options import Command
from propmatch.commands.outputs import force_option

__all__ = ["command"]


@click.command("schema", cls=Command)
@click.option("-o", "--output", metavar="FILE", type=click.Path(path_type=Path), help="Write to a file.")
@force_option
def command(output: Path | None, force: bool) -> None:
    """Write the JSON Schema of a brief file.

    An editor that knows TOML schemas then completes the keys and marks mistakes while you type.
    """
    import json

    from propmatch.files import write_file
    from propmatch.records.schema import brief_schema

    text = json.dumps(brief_schema(), indent=2) + "\n"
    if output is None:
        click.echo(text, nl=False)
        return
    write_file(output, text, force=force)
    click.echo(f"Wrote {output}. Name it on the first line of a brief: #:schema ./{output.name}")
