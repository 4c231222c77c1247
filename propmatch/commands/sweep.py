"""``propmatch sweep``: many briefs and sites matched in one go, on this machine or over a running cluster."""

from itertools import product, zip_longest
from typing import TYPE_CHECKING, Any

import attrs
import click

from propmatch.commands.options import Command, answer_options, catalogue_options, cautions_option, form_of, shown_units
from propmatch.commands.trains import LazyCatalogue
from propmatch.faults import Fault, InputFaults
from propmatch.words.shown import wrapped

if TYPE_CHECKING:
    from propmatch.records.brief import Brief
    from propmatch.search.sweep import Where
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
    help="Draw all parts and the aircraft N times, and count how often picks meet the brief.",
)
@click.option("--seed", type=click.IntRange(min=0), default=1, show_default=True, help="Which samples.")
@click.option("--top", type=click.IntRange(min=1, max=1000), default=1, show_default=True, help="Rows for each case.")
@click.option("--processes", type=click.IntRange(min=1, max=256), help="Processes of this machine to share the work.")
@click.option("--cluster", metavar="ADDRESS", help="Scheduler of a running dask cluster to share the work.")
@catalogue_options
@cautions_option
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
    from propmatch.search.worlds import sample
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
    opened = [open_brief(name, options["only"])[0] for name in named]
    coldest = min((each for each in temperatures if each is not None), default=COLDEST_C)
    if coldest < COLDEST_C and any(brief.site.pack_temperature_c is None for brief in opened):
        raise InputFaults([Fault("--temperature", value=coldest, rule=TOO_COLD)])
    stock = LazyCatalogue(options["parts_folder"], options["strict"])
    parts, samples = Stock.of(stock.catalogue), options["samples"]
    cases = [case for brief in opened for case in _cases(brief, heights, temperatures)]
    tasks = [
        Task(name=name, brief=brief, stock=parts, top=options["top"], count=None if samples is None else False)
        for name, brief in cases
    ]
    where: Where = {"processes": options["processes"], "cluster": options["cluster"]}
    with progress_line("matching") as tell:
        where["progress"] = tell
        sampled = () if samples is None else sample(tasks, samples, seed=options["seed"], **where)
        answers = sweep(tasks, **where) if samples is None else tuple(each.answer for each in sampled)
    shown = shown_units(options["units"], opened[0])
    met = sum(bool(answer.rows) for answer in answers)
    show(
        Reply(
            command="sweep",
            headline=[f"{met} of {len(answers)} cases have a power train that meets the brief."],
            blocks=[_sample_lines(each) for each in sampled]
            or [[line for answer in answers for line in _answer_lines(answer, shown)]],
            rows=[row for each in sampled for row in _sample_rows(each)]
            or [
                {"case": answer.name, "combinations": answer.combinations, "passing": answer.passing}
                | attrs.asdict(row)
                for answer in answers
                for row in answer.rows
            ],
            assumptions=list(dict.fromkeys(each for _, brief in cases for each in completed(brief)[1])),
            faults=(*stock.broken, *stock.catalogue.faults),
            notes=[_DRAWN] if sampled else [],
            extra={"cases": [_case(answer, each) for answer, each in zip_longest(answers, sampled)]},
            caution=True,
        ),
        form=form_of(options),
    )
    ctx.exit(0 if met == len(answers) else 1)


_DRAWN = (
    "A sample draws every part and the aircraft once, each number from its own uncertainty; 'propmatch parts --show "
    "ID' has those of a part, [uncertainty] of the brief those of the aircraft."
)


def _case(answer: Any, sampled: Any) -> dict[str, Any]:
    """What the JSON says of a case beside its rows."""
    case = {"case": answer.name, "left_out": answer.left_out}
    return case if sampled is None else case | {"samples": sampled.samples, "nothing_meets": sampled.nothing}


def _sample_rows(sampled: Any) -> list[dict[str, Any]]:
    """A row for each power train that was counted."""
    case = {"case": sampled.answer.name, "samples": sampled.samples}
    return [case | attrs.asdict(row) for row in sampled.rows]


def _answer_lines(answer: Any, shown: "Shown") -> list[str]:
    from propmatch.words.answerwords import count_text, minutes_text

    many = "some" if answer.passing is None else count_text(answer.passing)
    lines = wrapped(f"{answer.name}: {many} of {count_text(answer.combinations)} combinations meet it.")
    for row in answer.rows:
        lines.append(
            f"  {row.cells}S  {minutes_text(row.flight_minutes)}  T/W {row.thrust_to_weight:.2f}  "
            f"{shown.mass_text(row.all_up_mass_g)}"
        )
        lines += wrapped(row.id, first="    ", rest="      ")
    return lines


def _sample_lines(sampled: Any) -> list[str]:
    """How often each power train meets the brief and comes first, in a case."""
    paper, sure = (
        next((row for row in sampled.rows if getattr(row, name) == 1), None) for name in ("rank_on_paper", "rank")
    )
    held = "no pick holds" if sure is None else f"the pick that holds in {sure.meets}"
    met = "nothing meets it" if paper is None else f"the pick on paper meets it in {paper.meets}"
    lines = wrapped(f"{sampled.answer.name}: of {sampled.samples} samples {met}, {held}.")
    lines += ["  meets  first  on paper  holds  power train"] if sampled.rows else []
    for row in sampled.rows:
        ranks = ("-" if rank is None else f"{rank}." for rank in (row.rank_on_paper, row.rank))
        lines += wrapped(row.id, first="  {:5d}  {:5d}  {:>8}  {:>5}  ".format(row.meets, row.first, *ranks))
    others = sampled.firsts - sum(row.first > 0 for row in sampled.rows)
    if others:
        left = sampled.samples - sampled.nothing - sum(row.first for row in sampled.rows)
        lines.append(f"  {others} others come first in {left} samples together.")
    if sampled.nothing:
        lines.append(f"  In {sampled.nothing} samples nothing meets it.")
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
