"""What the commands have in common: their options, and how bad input ends."""

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any, TypeVar

import click

from propmatch.commands.completion import COMPLETED
from propmatch.commands.sources import asked_for, sources_of_answer, sources_option, sources_text

if TYPE_CHECKING:
    from propmatch.catalogue.catalogue import Catalogue
    from propmatch.words.shown import Shown

__all__ = [
    "RENAMED", "Command", "answer_options", "assumptions_option", "catalogue_options", "cautions_option", "form_of",
    "on_paper_option", "open_catalogue", "short_answer_options", "shown_units",
]  # fmt: skip

ALIASES = {"--controller": "--esc", "--propeller": "--prop", "--pack": "--battery"}
"""Options by the trade's other word for the part."""
RENAMED = {
    ("bench", "--log"): "--template", ("cells", "--all"): "--full", ("envelope", "--heights"): "--altitude",
    ("envelope", "--temperatures"): "--temperature", ("flown", "--log"): "--flight-log", ("match", "--all"): "--full",
    ("parts", "--limit"): "--top",
}  # fmt: skip
"""What a command's option was called, and is."""
F = TypeVar("F", bound=Callable[..., Any])


class Command(click.Command):
    """Bad input ends with every fault on a line of its own and exit code 2, what cannot be met with 1.

    The shell completes what is known.

    A command that takes a brief and looks into the catalogue takes ``--only`` as well, and each takes ``--sources``.
    """

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        names = [param.name for param in self.params]
        if "parts_folder" in names and {"brief", "briefs"} & {*names}:
            self.params.insert(names.index("parts_folder"), _only_option())
        self.params.append(sources_option())
        for param in self.params:
            if isinstance(param.type, click.types.StringParamType):
                param.type = COMPLETED.get(param.name, param.type)
            param.opts += [ALIASES[name] for name in param.opts if name in ALIASES]

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        try:
            return super().parse_args(ctx, args)
        except click.NoSuchOption as error:
            if now := RENAMED.get((str(self.name), error.option_name)):
                raise click.UsageError(f"No such option '{error.option_name}'. Did you mean {now}?", ctx) from None
            raise

    def invoke(self, ctx: click.Context) -> Any:
        from propmatch.faults import InputFaults, Unmet

        try:
            return self._called(ctx)
        except Unmet as error:
            from propmatch.commands.output import show_unmet

            show_unmet(str(self.name), error, form=form_of(ctx.params))
            ctx.exit(1)
        except InputFaults as error:
            faults = error.faults
        except BrokenPipeError:
            raise
        except OSError as error:
            from propmatch.commands.outputs import disk_fault

            faults = (disk_fault(error, str(self.name)),)
        from propmatch.commands.output import show_faults

        show_faults(str(self.name), faults, form=form_of(ctx.params))
        ctx.exit(2)

    def _called(self, ctx: click.Context) -> Any:
        """Run, and where sources are asked for name those of an answer that is a file."""
        called = asked_for()
        if called is None:
            return super().invoke(ctx)
        shared = next((name for name in ("processes", "cluster") if ctx.params.get(name)), None)
        if shared:
            raise click.UsageError(f"--sources follows what this process computes; leave out --{shared}", ctx)
        ended: click.exceptions.Exit | None = None
        with called:
            try:
                super().invoke(ctx)
            except click.exceptions.Exit as error:
                ended = error
        if not called.shown:
            click.echo("\n".join(sources_text(sources_of_answer(called, {}))), err=True)
        if ended:
            raise ended
        return None


def _only_option() -> click.Option:
    text = "Parts of this box alone, such as mine; repeatable.  [default: the brief's parts.only, else all parts]"
    return click.Option(["--only"], multiple=True, metavar="BOX", help=text)


def form_of(params: Mapping[str, Any]) -> str:
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


def on_paper_option(function: F) -> F:
    """--on-paper."""
    text = "With every number as stated: quick, but no ranges, chances or timer."
    return click.option("--on-paper", is_flag=True, help=text)(function)


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

    stock = load_catalogue(parts=parts_folder, strict=strict)
    if called := asked_for():
        called.stock = stock
    return stock


def shown_units(chosen: str | None, brief: Any = None) -> "Shown":
    """The units of the text: chosen, else the brief's, else metric."""
    from propmatch.words.shown import SYSTEMS, Shown

    if chosen is None and brief is not None:
        own = brief.units
        return Shown(thrust=own.thrust, speed=own.speed, wing_loading=own.wing_loading)
    return SYSTEMS[chosen or "metric"]
