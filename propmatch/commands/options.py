"""What the commands have in common: their options, and how bad input ends."""

from collections.abc import Callable
from typing import TYPE_CHECKING, Any, TypeVar

import click

from propmatch.commands.completion import COMPLETED

if TYPE_CHECKING:
    from propmatch.catalogue.catalogue import Catalogue
    from propmatch.words.shown import Shown

__all__ = [
    "Command", "answer_options", "assumptions_option", "catalogue_options", "cautions_option", "form_of",
    "open_catalogue", "short_answer_options", "shown_units",
]  # fmt: skip

ALIASES = {"--controller": "--esc", "--propeller": "--prop", "--pack": "--battery"}
"""Options by the trade's other word for the part."""
F = TypeVar("F", bound=Callable[..., Any])


class Command(click.Command):
    """Bad input ends with every fault on a line of its own and exit code 2, what cannot be met with 1.

    The shell completes what is known.

    A command that takes a brief and looks into the catalogue takes ``--only`` as well.
    """

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        names = [param.name for param in self.params]
        if "parts_folder" in names and {"brief", "briefs"} & {*names}:
            self.params.insert(names.index("parts_folder"), _only_option())
        for param in self.params:
            if isinstance(param.type, click.types.StringParamType):
                param.type = COMPLETED.get(param.name, param.type)
            param.opts += [ALIASES[name] for name in param.opts if name in ALIASES]

    def invoke(self, ctx: click.Context) -> Any:
        from propmatch.faults import Fault, InputFaults, Unmet

        try:
            return super().invoke(ctx)
        except Unmet as error:
            from propmatch.commands.output import show_unmet

            show_unmet(str(self.name), error, form=form_of(ctx.params))
            ctx.exit(1)
        except InputFaults as error:
            faults = error.faults
        except BrokenPipeError:
            raise
        except OSError as error:
            faults = (Fault(str(error.filename or self.name), rule=f"{error.strerror or error}"),)
        from propmatch.commands.output import show_faults

        show_faults(str(self.name), faults, form=form_of(ctx.params))
        ctx.exit(2)


def _only_option() -> click.Option:
    text = "Parts of this box alone, such as mine; repeatable.  [default: the brief's parts.only, else all parts]"
    return click.Option(["--only"], multiple=True, metavar="BOX", help=text)


def form_of(params: dict[str, Any]) -> str:
    """``text``, ``json`` or ``csv``, as the options say."""
    return "json" if params.get("as_json") else "csv" if params.get("as_csv") else "text"


def _one_form(ctx: click.Context, param: click.Parameter, value: bool) -> bool:
    if value and ctx.params.get("as_json"):
        raise click.UsageError("--json and --csv exclude each other", ctx)
    return value


def assumptions_option(function: F) -> F:
    """--assumptions, --cautions."""
    text = "List every assumption, not only those that move the answer most."
    return cautions_option(click.option("--assumptions", is_flag=True, help=text)(function))


def cautions_option(function: F) -> F:
    """--cautions."""
    return click.option("--cautions", is_flag=True, help="The cautions in full, not only one line.")(function)


def short_answer_options(function: F) -> F:
    """--full, and what else a short answer leaves out: --assumptions, --cautions."""
    text = "Every table, not only the short answer."
    return click.option("--full", is_flag=True, help=text)(assumptions_option(function))


def answer_options(function: F) -> F:
    """--units, --json, --csv."""
    for option in (
        click.option("--csv", "as_csv", is_flag=True, callback=_one_form, help="Rows as CSV, units as named."),
        click.option("--json", "as_json", is_flag=True, is_eager=True, help="Rows, assumptions and faults as JSON."),
        click.option(
            "--units",
            type=click.Choice(["metric", "imperial", "si"]),
            envvar="PROPMATCH_UNITS",
            help="Units of the text: gf and km/h, oz and mph, or N and m/s.  [default: the brief's, else metric]",
        ),
    ):
        function = option(function)
    return function


def catalogue_options(function: F) -> F:
    """--parts, --strict."""
    for option in (
        click.option("--strict", is_flag=True, help="Stop at any faulty part or plugin instead of setting it aside."),
        click.option(
            "--parts",
            "parts_folder",
            metavar="DIR",
            type=click.Path(),
            help="Folder with parts of your own, sub-folders are boxes.  [default: PROPMATCH_PARTS, else your own]",
        ),
    ):
        function = option(function)
    return function


def open_catalogue(parts_folder: str | None, strict: bool) -> "Catalogue":
    """The catalogue of the installed plugins and the user's folder."""
    from propmatch.catalogue.catalogue import load_catalogue

    return load_catalogue(parts=parts_folder, strict=strict)


def shown_units(chosen: str | None, brief: Any = None) -> "Shown":
    """The units of the text: chosen, else the brief's, else metric."""
    from propmatch.words.shown import SYSTEMS, Shown

    if chosen is None and brief is not None:
        own = brief.units
        return Shown(thrust=own.thrust, speed=own.speed, wing_loading=own.wing_loading)
    return SYSTEMS[chosen or "metric"]
