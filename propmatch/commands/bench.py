"""``propmatch bench``: what to run on the bench, in which order, and an empty table for it."""

import math
from typing import TYPE_CHECKING, Any

import click

from propmatch.commands.options import Command, answer_options, catalogue_options, form_of, shown_units
from propmatch.commands.outputs import file_faults, force_option
from propmatch.commands.trains import LazyCatalogue, train_data, train_options

if TYPE_CHECKING:
    from propmatch.bench.protocol import BenchRow, Protocol
    from propmatch.commands.choose import TrainForBrief
    from propmatch.commands.output import Reply
    from propmatch.words.shown import Shown

__all__ = ["CAUTIONS", "CONNECT", "INSTRUMENTS", "command"]

INSTRUMENTS = (
    "wattmeter between pack and ESC: volts and amps",
    "optical tachometer, or the ESC's own count: rpm",
    "kitchen scale under a lever or a sliding stand, where you have one: thrust in gf",
    "thermometer on the motor's case, where you have one",
)
CONNECT = (
    "Bolt the motor to a stand that holds several times its thrust, clear of everything the blades could throw; a mark "
    "of tape on bell or blade for the tachometer.",
    "Pack, wattmeter, ESC, motor, with the leads that you fly. One motor alone.",
    "Receiver or servo tester on the ESC, fed from a supply of its own or from the pack before the wattmeter: "
    "amps are those of the motor alone.",
    "Set the ESC's end points, timing and cutoff as you fly them.",
    "Begin every row with a pack charged full and at room temperature. Open the throttle within two seconds, hold it "
    "until the readings stand, read volts, amps and rpm together, close it.",
    "Close the throttle at once where amps or rpm reach the row's stop: that is the lowest rating of the parts.",
    "Rest as long as the table says: a hot winding reads as a higher resistance.",
)
CAUTIONS = (
    "No propeller on the shaft while connecting, setting up and in the bare run; plug the pack in last, out first.",
    "Stand behind the plane of the blades, eyes covered, sleeves and bystanders away; use undamaged, balanced blades.",
    "Lithium packs: charge under watch on something that cannot burn, stop below 3.5 V a cell under load, and use none "
    "that is puffed, dented or hot.",
    "The makers' limits of motor, ESC, pack and propeller, and local rules, come before anything printed here.",
)


@click.command("bench", cls=Command)
@click.argument("brief", required=False)
@click.option("--train", metavar="ID", help='The ids of its parts joined by " + ", as match prints them.')
@train_options
@click.option("--template", metavar="FILE", type=click.Path(), help="Write an empty table with these rows: FILE.csv.")
@force_option
@catalogue_options
@answer_options
@click.pass_context
def command(ctx: click.Context, /, **options: Any) -> None:
    """What to run on the bench so that 'propmatch fit' can say what motor, pack and propeller really are.

    Rows in the order in which they are run, with what the instruments should read and where to stop. No row asks for
    more than the parts' ratings allow, even at the high end of what it may read.

    BRIEF is a file, or the name of a bundled brief; without one the power train is taken alone. Without any named, it
    is the best that match finds.

    Exit code 1 where no propeller can be run within the ratings.
    """
    from propmatch.bench.protocol import protocol, template_text
    from propmatch.catalogue.catalogue import box_of_id
    from propmatch.checks.setting import ResolvedBrief, settings
    from propmatch.commands.briefs import open_brief
    from propmatch.commands.choose import choose_for_brief, names_a_train
    from propmatch.commands.output import show
    from propmatch.commands.saying import nowhere
    from propmatch.faults import InputFaults
    from propmatch.files import write_file

    faults = file_faults("--template", options["template"], force=options["force"], endings=(".csv",))
    stock = LazyCatalogue(options["parts_folder"], options["strict"])
    brief, which = None, ""
    try:
        if options["brief"] is None and names_a_train(options):
            setting = settings(nowhere())[0]
            chosen = _alone(stock, options)
        else:
            brief, which = open_brief(options["brief"], options["only"])
            resolved = ResolvedBrief.of(brief)
            setting = resolved.as_designed
            chosen = choose_for_brief(stock, resolved, setting, options)
    except InputFaults as error:
        raise InputFaults([*faults, *error.faults]) from None
    if faults:
        raise InputFaults(faults)
    propellers = stock.catalogue.parts("propellers")
    boxes = options["only"] or (() if brief is None else brief.parts.only)
    boxed = [each for id, each in propellers.items() if box_of_id(id) in boxes]
    plan = protocol(chosen.train, setting, list(propellers.values()), boxed)
    if options["template"] is not None:
        write_file(options["template"], template_text(plan), force=options["force"])
        wrote = [f"Wrote {options['template']}, {len(plan.rows)} rows to fill in."]
    else:
        wrote = [
            "--template FILE.csv writes these rows as an empty table; 'propmatch fit FILE.csv --save' reads it filled."
        ]
    said = [*wrote, *(text for text in (which, chosen.how) if text)]
    shown = shown_units(options["units"], brief)
    show(_reply(plan, chosen, stock, said, shown, options["template"]), form=form_of(options))
    ctx.exit(0 if plan.loaded else 1)


def _alone(stock: LazyCatalogue, options: dict[str, Any]) -> "TrainForBrief":
    """The train that the options name, for no brief."""
    from propmatch.commands.choose import TrainForBrief, train_of_ids
    from propmatch.commands.trains import TRAIN_OPTIONS, choose_train, pack_state
    from propmatch.faults import Fault, InputFaults

    if options["train"] is None:
        made = choose_train(stock, options)
        return TrainForBrief(train=made.train, how="", assumptions=made.assumptions, doubts=made.doubts)
    typed = [f"--{name.replace('_', '-')}" for name in TRAIN_OPTIONS if options.get(name) is not None]
    faults = [Fault("--train", rule=f"names the whole train, so leave out {', '.join(typed)}")] if typed else []
    numbers = pack_state(options, faults)
    if faults:
        raise InputFaults(faults)
    return TrainForBrief(train=train_of_ids(stock, options["train"], **numbers), how="")


# ---------------------------------------------------------------- saying it


def _reply(
    plan: "Protocol", chosen: "TrainForBrief", stock: LazyCatalogue, said: list[str], shown: "Shown", file: str | None
) -> "Reply":
    from propmatch.bench.protocol import REST_S
    from propmatch.commands.output import Reply
    from propmatch.train.lanes import train_lanes

    train = plan.train
    what = f"{train.motor.name} on {train.propeller.name} with {train.pack.name}"
    first = (
        f"{len(plan.rows)} rows for {what}, about {plan.minutes:.0f} minutes; rest {REST_S:.0f} s between them, pack "
        "charged full. Ranges hold 80 % of what each may read."
    )
    blocks = [_table(plan, shown), _reasons(plan), _listed("Instruments:", INSTRUMENTS), _listed("Connect:", CONNECT)]
    return Reply(
        command="bench",
        headline=[first, *said],
        blocks=[*blocks, _listed("Cautions:", (*CAUTIONS, *_unrated(plan)))],
        rows=[row.data for row in plan.rows],
        assumptions=list(dict.fromkeys((*chosen.assumptions, *train_lanes([plan.train])[1]))),
        faults=(*chosen.doubts, *stock.broken),
        extra={
            "train": train_data(plan.train), "minutes": plan.minutes, "left_out": plan.left_out, "template": file,
            "instruments": INSTRUMENTS, "connect": CONNECT, "cautions": (*CAUTIONS, *_unrated(plan)),
        },
    )  # fmt: skip


def _table(plan: "Protocol", shown: "Shown") -> list[str]:
    from propmatch.words.shown import table

    return table([_cells(row, shown) for row in plan.rows], left=("propeller", "pack"))


def _cells(row: "BenchRow", shown: "Shown") -> dict[str, str]:
    from propmatch.words.shown import signed

    return {
        "row": str(row.row), "propeller": "none" if row.propeller is None else row.propeller.name,
        "pack": f"{row.pack.cells_series}S", "throttle": f"{100 * row.throttle:.0f} %", "V": f"{row.volts:.2f}",
        "A": f"{row.amps:.1f} ({row.amps_low:.1f} to {row.amps_high:.1f})", "rpm": f"{row.rpm:.0f}",
        "thrust": "-" if math.isnan(row.thrust_static_n) else shown.thrust_text(row.thrust_static_n),
        "stop A": signed(row.stop_amps), "stop rpm": signed(row.stop_rpm, 0),
    }  # fmt: skip


def _reasons(plan: "Protocol") -> list[str]:
    """What each row tells, what was changed in it and why, and what is left out."""
    from propmatch.words.shown import wrapped

    lines = ["What each row tells:"]
    for row in plan.rows:
        lines += wrapped(f"{row.what}, {row.run_s:.0f} s: {row.why}.", first=f"  {row.row}  ", rest="     ")
        if row.instead:
            lines += wrapped(f"{row.instead}.", first="     ", rest="     ")
    for text in plan.left_out:
        lines += wrapped(f"left out, {text}.", first="  -  ", rest="     ")
    return lines


def _unrated(plan: "Protocol") -> list[str]:
    """A caution about propellers whose highest speed nobody states."""
    names = dict.fromkeys(
        row.propeller.name for row in plan.rows if row.propeller is not None and math.isnan(row.stop_rpm)
    )
    return [f"Nobody states the highest speed of {name}: look it up at its maker and stay below it." for name in names]


def _listed(title: str, texts: tuple[str, ...]) -> list[str]:
    from propmatch.words.shown import wrapped

    return [title, *(line for text in texts for line in wrapped(text, first="  - ", rest="    "))]
