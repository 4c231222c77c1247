"""``propmatch sweep``: many briefs and sites matched in one go, on this machine or over a running cluster."""

from collections import Counter
from itertools import groupby, product
from typing import TYPE_CHECKING, Any

import attrs
import click

from propmatch.commands.options import Command, answer_options, catalogue_options, form_of, shown_units
from propmatch.commands.trains import LazyCatalogue
from propmatch.faults import Fault, InputFaults

if TYPE_CHECKING:
    from propmatch.records.brief import Brief
    from propmatch.words.shown import Shown

__all__ = ["command"]


@click.command("sweep", cls=Command)
@click.argument("briefs", nargs=-1)
@click.option("--altitude", metavar="VALUES", help="Field heights in m instead of the briefs', such as 0,1500.")
@click.option("--temperature", metavar="VALUES", help="Air temperatures in degC instead of the briefs', such as 5,35.")
@click.option(
    "--samples",
    type=click.IntRange(min=2, max=65536),
    metavar="N",
    help="Match N samples of the parts, each off its data sheet, and count how often a power train comes first.",
)
@click.option("--seed", type=click.IntRange(min=0), default=1, show_default=True, help="Which samples.")
@click.option("--top", type=click.IntRange(min=1, max=1000), default=1, show_default=True, help="Rows for each case.")
@click.option("--processes", type=click.IntRange(min=1, max=256), help="Processes of this machine to share the work.")
@click.option("--cluster", metavar="ADDRESS", help="Scheduler of a running dask cluster to share the work.")
@catalogue_options
@answer_options
@click.pass_context
def command(ctx: click.Context, /, **options: Any) -> None:
    """The best power train for each of many cases: every BRIEF at every field height and temperature named.

    A BRIEF is a file, or the name of a bundled brief; without one all bundled briefs are taken. The answers are the
    same wherever the work is done. Exit code 1 when some case has no answer.
    """
    from propmatch.commands.briefs import open_brief
    from propmatch.commands.output import Reply, show
    from propmatch.commands.progress import progress_line
    from propmatch.commands.ranges import ALTITUDE, TEMPERATURE, read_values
    from propmatch.models.pack import COLDEST_C
    from propmatch.records.estimates import completed
    from propmatch.records.packuse import TOO_COLD
    from propmatch.search.sweep import Stock, Task, sweep
    from propmatch.tolerances.samples import spread_assumptions
    from propmatch_datasets import briefs as bundled

    faults: list[Fault] = []
    if options["processes"] and options["cluster"]:
        faults.append(Fault("--cluster", rule="goes without --processes: the work is shared one way"))
    heights, temperatures = (
        [None] if options[name] is None else read_values(quantity, options[name], faults)
        for name, quantity in (("altitude", ALTITUDE), ("temperature", TEMPERATURE))
    )
    if faults:
        raise InputFaults(faults)
    named = options["briefs"] or tuple(sorted(bundled()))
    opened = [open_brief(name)[0] for name in named]
    coldest = min((each for each in temperatures if each is not None), default=COLDEST_C)
    if coldest < COLDEST_C and any(brief.site.pack_temperature_c is None for brief in opened):
        raise InputFaults([Fault("--temperature", value=coldest, rule=TOO_COLD)])
    stock = LazyCatalogue(options["parts_folder"], options["strict"])
    whole = Stock.of(stock.catalogue)
    stocks = [whole] if options["samples"] is None else list(whole.samples(options["samples"], seed=options["seed"]))
    cases = [case for brief in opened for case in _cases(brief, heights, temperatures)]
    tasks = [
        Task(name=name, brief=brief, stock=parts, top=options["top"], count=options["samples"] is None)
        for name, brief in cases
        for parts in stocks
    ]
    with progress_line("matching"):
        answers = sweep(tasks, processes=options["processes"], cluster=options["cluster"])
    shown = shown_units(options["units"], opened[0])
    if options["samples"] is None:
        lines = [line for answer in answers for line in _answer_lines(answer, shown)]
    else:
        lines = _sample_lines(answers, options["samples"])
    met = sum(bool(answer.rows) for answer in answers)
    assumptions = dict.fromkeys(each for _, brief in cases for each in completed(brief)[1])
    if options["samples"] is not None:
        assumptions.update(dict.fromkeys(spread_assumptions()))
    show(
        Reply(
            command="sweep",
            headline=[f"{met} of {len(answers)} cases have a power train that meets the brief."],
            blocks=[lines],
            rows=[
                {"case": answer.name, "combinations": answer.combinations, "passing": answer.passing}
                | attrs.asdict(row)
                for answer in answers
                for row in answer.rows
            ],
            assumptions=list(assumptions),
            faults=(*stock.broken, *stock.catalogue.faults),
            extra={"cases": [{"case": a.name, "left_out": a.left_out} for a in answers]},
            caution=True,
        ),
        form=form_of(options),
    )
    ctx.exit(0 if met == len(answers) else 1)


_SAMPLE_LINES = 6


def _answer_lines(answer: Any, shown: "Shown") -> list[str]:
    many = "some" if answer.passing is None else f"{answer.passing}"
    lines = [f"{answer.name}: {many} of {answer.combinations} combinations meet it."]
    for row in answer.rows:
        lines.append(
            f"  {row.cells}S  {row.flight_minutes:.1f} min  T/W {row.thrust_to_weight:.2f}  "
            f"{shown.mass_text(row.all_up_mass_g)}"
        )
        lines.append(f"    {row.id}")
    return lines


def _sample_lines(answers: Any, samples: int) -> list[str]:
    """How often each power train comes first, case by case."""
    lines = []
    for name, group in groupby(answers, key=lambda answer: answer.name):
        firsts = Counter(answer.rows[0].id if answer.rows else None for answer in group)
        lines.append(f"{name}: first in how many of {samples} samples of the parts")
        for train, count in firsts.most_common(_SAMPLE_LINES):
            lines.append(f"  {count:6d}  {train or 'nothing meets the brief'}")
        if len(firsts) > _SAMPLE_LINES:
            lines.append(f"  {sum(firsts.values()) - sum(c for _, c in firsts.most_common(_SAMPLE_LINES)):6d}  others")
    return lines


def _cases(brief: "Brief", heights: Any, temperatures: Any) -> list[tuple[str, Any]]:
    """The brief at each site, by name."""
    from propmatch.records.fields import replace

    cases = []
    for height, temperature in product(heights, temperatures):
        site, words = brief.site, [brief.aircraft.name]
        if height is not None:
            site = replace(site, altitude_m=height)
            words.append(f"{height:g} m")
        if temperature is not None:
            site = replace(site, temperature_c=temperature)
            words.append(f"{temperature:g} degC")
        cases.append((", ".join(words), replace(brief, site=site)))
    return cases
