"""``propmatch parts``: list and check parts, show their origin, predict a propeller, write empty tables."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import click

from propmatch.commands.options import Command, answer_options, catalogue_options, form_of, open_catalogue
from propmatch.records.trainid import PART_KINDS

__all__ = ["command"]

_LIST_LENGTH = 40
_KINDS = [f"{kind}s" for kind in PART_KINDS]
_TOGETHER = (("table", "mapping"), ("predict", "blades"), ("predict", "family"), ("predict", "sibling"),
             ("predict", "reads_like"), ("which_family", "drawing"), ("add", "save"), ("add", "box"))  # fmt: skip
"""Options, and those that go with them alone."""
_ALIASES = {"esc": "controllers", "prop": "propellers", "battery": "packs", "batterie": "packs"}
"""The trade's other words for a kind, without the s of several."""


class _Kind(click.Choice[str]):
    """A kind of parts by any of its names, one or several; a file in its place is let through, to be told of."""

    def convert(self, value: str, param: click.Parameter | None, ctx: click.Context | None) -> str:
        one = value.lower().removesuffix("s")
        kind = _ALIASES.get(one, f"{one}s")
        if kind not in self.choices and Path(value).is_file():
            return value
        return super().convert(kind if kind in self.choices else value, param, ctx)


@click.command("parts", cls=Command)
@click.argument("kind", required=False, type=_Kind(_KINDS))
@click.argument("patterns", nargs=-1, metavar="[PATTERN]...")
@click.option(
    "--where", multiple=True, metavar="COND", help='Only parts with "mass<25g", "kv>=1400", "family=thin"; repeatable.'
)
@click.option("--top", type=click.IntRange(min=0), metavar="N", help="Lines to list, 0 for all.  [default: 40]")
@click.option("--show", "show_id", metavar="ID", help="Every number of one part and where it comes from.")
@click.option("--faults", "only_faults", is_flag=True, help="Everything wrong with parts and plugins.")
@click.option(
    "--template",
    metavar="FILE",
    type=click.Path(path_type=Path),
    help="Write empty tables to fill in: NAME.xlsx, NAME.toml, motors.csv, or a folder.",
)
@click.option(
    "--predict",
    metavar="SIZE",
    help='Coefficients of a propeller without a table: 7x4, "5x4.5 wide 3-blade", and what you read: "7x4 9800rpm 62W" '
    'or "9800rpm 310gf" at rest, "chord=14mm angle=17deg" at 75 % of the radius.',
)
@click.option("--blades", metavar="N", help="Blades of the predicted propeller.  [default: 2]")
@click.option("--family", metavar="WORD", help="Its blades: thin, thick, broad, folding, wide, racing or unknown.")
@click.option(
    "--sibling", metavar="PART", help='Another of its make: id, or typed with what it reads: "8x5 9000rpm 60W".'
)
@click.option("--reads-like", metavar="LINE", help="A line of --lines that it reads like, such as thin-1.")
@click.option(
    "--lines", is_flag=True, help="Lines of measured propellers by what they read beside others of their family."
)
@click.option(
    "--which-family",
    metavar="SIZE",
    help='Which family it is, by three questions; answers stand behind the size: "5x4.5x3 fixed 11mm springy".',
)
@click.option(
    "--drawing", metavar="FILE", type=click.Path(path_type=Path), help="Draw the blades of the families: FILE.svg."
)
@click.option(
    "--dry-run",
    "table",
    metavar="FILE",
    type=click.Path(path_type=Path),
    help="Show the first rows of a table or workbook as they would be read.",
)
@click.option(
    "--map",
    "mapping",
    metavar="FILE",
    type=click.Path(path_type=Path),
    help="With --dry-run: which column is which.  [default: NAME.mapping.toml beside it]",
)
@click.option(
    "--add", is_flag=True, help="Read a table or typed lines from standard input and show what they would be."
)
@click.option("--save", is_flag=True, help="With --add: keep them in a box of your folder.")
@click.option("--box", metavar="NAME", help="With --add: the box, a sub-folder of your parts.  [default: mine]")
@click.option(
    "--force", is_flag=True, help="Replace files that exist, or with --save parts added before that have the same name."
)
@catalogue_options
@answer_options
@click.pass_context
def command(ctx: click.Context, /, **options: Any) -> None:
    """List and check parts, predict a propeller, write an empty table.

    KIND is motors, controllers (esc), packs (batteries) or propellers (props); PATTERN is a piece of an id or name, or
    has * for anything.

    A folder given by --parts, or by the variable PROPMATCH_PARTS, adds parts of your own: CSV, TOML, JSON, workbooks
    and measured propeller tables.

    Without either it is parts/ in your data folder. Each sub-folder is a box, such as mine, club or shop, and its parts
    are mine/NAME; what lies in the folder itself is parts/NAME. 'match --only mine' takes those of a box alone.

    Headings may be a shop's or your own ("KV", "Weight (oz)", "Cells"), cells too ("2-3S", "30C", "48,5", "0.34 oz");
    what was guessed is said. --add takes a table copied from a spreadsheet or a web page, or a part a line
    ("2111 1190KV 46g").

    \b
      propmatch parts motors "*2504*" --where "kv>=1500" --where "mass<30g"
      propmatch parts --show bundled/ID
      propmatch parts propellers --predict 7x4 --blades 2 --family thin --csv
      propmatch parts --which-family 5x4.5x3
      propmatch parts --add --save --box mine < table.csv
    """
    from propmatch.commands import partsmodes

    modes = [name for name in ("show_id", "only_faults", "template", "predict", "lines", "which_family", "table",
                         "add")
             if options[name]]  # fmt: skip
    if len(modes) > 1:
        raise click.UsageError(f"{_option(modes[0])} and {_option(modes[1])} exclude each other", ctx)
    for needed, name in _TOGETHER:
        if options[name] and not options[needed]:
            raise click.UsageError(f"{_option(name)} goes with {_option(needed)}", ctx)
    form = form_of(options)
    if options["template"]:
        partsmodes.write_empty(options["template"], form, force=options["force"])
        return
    if options["kind"] and options["kind"] not in _KINDS:
        partsmodes.refuse_file(options["kind"], options["box"] or "mine", options["parts_folder"])
    if options["add"]:
        from propmatch.commands.partsadd import add

        box = options["box"] or "mine"
        add(options["kind"], box, options["parts_folder"], options["save"], options["force"], form)
        return
    if options["lines"]:
        partsmodes.show_lines(form)
        return
    if options["table"]:
        partsmodes.show_first_rows(options["table"], options["mapping"], form)
        return
    _show(options, form)


def _show(options: Mapping[str, Any], form: str) -> None:
    """What needs the catalogue."""
    from propmatch.commands import partsmodes

    catalogue = open_catalogue(options["parts_folder"], options["strict"])
    if options["predict"]:
        own = {name: options[name] for name in ("blades", "family", "reads_like", "sibling")}
        partsmodes.show_prediction(catalogue, options["predict"], own, form)
    elif options["which_family"]:
        from propmatch.commands.familykey import show_key

        show_key(catalogue, options["which_family"], options["drawing"], form, force=options["force"])
    elif options["show_id"]:
        partsmodes.show_part(catalogue, options["kind"], options["show_id"], form)
    elif options["only_faults"]:
        partsmodes.show_all_faults(catalogue, form)
    elif options["kind"]:
        top = _LIST_LENGTH if options["top"] is None else options["top"]
        partsmodes.show_list(catalogue, options["kind"], options["patterns"], options["where"], top, form)
    else:
        partsmodes.show_overview(catalogue, form)


def _option(name: str) -> str:
    words = {"show_id": "--show", "only_faults": "--faults", "mapping": "--map", "table": "--dry-run"}
    return words.get(name, f"--{name.replace('_', '-')}")
