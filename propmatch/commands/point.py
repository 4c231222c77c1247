"""``propmatch point``: one operating point, or a sweep over throttle, thrust, airspeed or charge."""

from typing import Any

import attrs
import click

from propmatch.commands.options import Command, answer_options, catalogue_options, form_of, shown_units
from propmatch.commands.plotting import check_plot, plot_option, point_picture, save_plot
from propmatch.commands.trains import (
    TRAIN_OPTIONS,
    LazyCatalogue,
    choose_train,
    sources_block,
    train_data,
    train_options,
)

__all__ = ["Question", "command"]


@attrs.frozen(kw_only=True)
class Question:
    """What was asked for: lists of values, of which at most one has several.

    ``thrust_n`` is None where the throttle is given, and ``throttle`` where the thrust is.
    """

    throttle: list[float] | None
    thrust_n: list[float] | None
    airspeed_m_s: list[float]
    charge: list[float]
    air: Any

    @property
    def swept(self) -> str:
        """Name of the quantity with several values; empty for one point."""
        names = ("throttle", "thrust_n", "airspeed_m_s", "charge")
        return next((name for name in names if len(getattr(self, name) or ()) > 1), "")

    @property
    def size(self) -> int:
        """How many points."""
        return len(getattr(self, self.swept)) if self.swept else 1


@click.command("point", cls=Command)
@train_options
@click.option("--throttle", metavar="VALUES", help="Duty 0 to 1, not stick position.  [default: 1]")
@click.option("--hold", metavar="VALUES", help="Find the throttle for a thrust, such as 120gf, 4oz or 1.2N.")
@click.option("--airspeed", metavar="VALUES", help="In m/s, or with km/h or mph.  [default: 0]")
@click.option("--charge", metavar="VALUES", help="State of charge, 0 to 1.  [default: 1]")
@click.option("--altitude", metavar="M", help="Height of the field.  [default: 0]")
@click.option("--temperature", metavar="DEGC", help="Air temperature.  [default: standard for the height]")
@plot_option
@catalogue_options
@answer_options
@click.pass_context
def command(ctx: click.Context, /, **options: Any) -> None:
    """What a motor, propeller and pack do together.

    Name each part by its id ('propmatch parts' lists them) or type what you know about it:

    \b
      propmatch point --motor "1500kV 28g" --propeller 6x4 --pack "2S 450mAh 35C"

    VALUES is one number, a list (0.4,0.7,1) or a range (0.2..1, or 0.2..1/5 for five values); one of the options may
    have several. Throttle and charge may be typed as 60%. What you leave out of a part is estimated, and listed.

    Exit code 1 when no point that was asked for exists, such as a thrust the pack cannot hold.
    """
    from propmatch.commands.output import Reply, as_rows, show
    from propmatch.faults import InputFaults

    check_plot(options["plot"])
    faults: list[Any] = []
    question = _question(options, faults)
    stock = LazyCatalogue(options["parts_folder"], options["strict"])
    try:
        chosen = choose_train(stock, **{name: options[name] for name in TRAIN_OPTIONS})
    except InputFaults as error:
        raise InputFaults([*faults, *error.faults]) from None
    if faults or question is None:
        raise InputFaults(faults)

    from propmatch.commands.pointwords import blocks_of, headline_of
    from propmatch.coupling import POINT_FIELDS
    from propmatch.status import Status

    points = _points(chosen.train, question)
    rows = as_rows(points, POINT_FIELDS)
    for row, airspeed, charge in zip(rows, *_along(question, "airspeed_m_s", "charge"), strict=True):
        row["airspeed_m_s"], row["charge"] = airspeed, charge
    if question.thrust_n is not None:
        for row, asked in zip(rows, *_along(question, "thrust_n"), strict=True):
            row["asked_thrust_n"] = asked
    shown = shown_units(options["units"])
    drawn = save_plot(options["plot"], lambda: point_picture(chosen.train, question, points, shown))
    flags = [flag for row in rows for flag in row["flags"]]
    show(
        Reply(
            command="point",
            headline=[*headline_of(chosen.train, question, rows, shown), *drawn],
            blocks=[*blocks_of(chosen.train, question, rows, shown), sources_block(chosen.train)],
            rows=rows,
            assumptions=[each for each in (*chosen.assumptions, *_assumed(chosen.train)) if each.field != "mass_g"],
            faults=(*chosen.doubts, *stock.broken),
            remarks=[text for flag in dict.fromkeys(flags) for text in flag.remarks],
            extra={"train": train_data(chosen.train)},
            caution=True,
        ),
        form=form_of(options),
    )
    if all(row["status"] > Status.OFF for row in rows):
        ctx.exit(1)


def _question(options: dict[str, Any], faults: list[Any]) -> Question | None:
    from propmatch.air import Air
    from propmatch.commands.ranges import AIRSPEED, CHARGE, THROTTLE, THRUST, read_values
    from propmatch.faults import Fault
    from propmatch.sections import Site
    from propmatch.typed import read_number

    if options["throttle"] is not None and options["hold"] is not None:
        faults.append(Fault("--hold", rule="finds the throttle, so leave out --throttle"))
    hold = None if options["hold"] is None else read_values(THRUST, options["hold"], faults)
    throttle = None if hold is not None else read_values(THROTTLE, options["throttle"] or "1", faults)
    airspeed = read_values(AIRSPEED, options["airspeed"] or "0", faults)
    charge = read_values(CHARGE, options["charge"] or "1", faults)
    site: dict[str, float] = {}
    for field, option in (("altitude_m", "altitude"), ("temperature_c", "temperature")):
        if options[option] is not None:
            value = read_number(Site, field, options[option], f"--{option}")
            if isinstance(value, Fault):
                faults.append(value)
            else:
                site[field] = value
    several = [name for name, values in (("--hold", hold), ("--throttle", throttle), ("--airspeed", airspeed),
                                         ("--charge", charge)) if len(values or ()) > 1]  # fmt: skip
    if len(several) > 1:
        faults.append(Fault(several[0], rule=f"only one option may have several values; {several[1]} has too"))
    if faults:
        return None
    air = Air.at_site(site.get("altitude_m", 0.0), site.get("temperature_c"))
    return Question(throttle=throttle, thrust_n=hold, airspeed_m_s=airspeed, charge=charge, air=air)


def _along(question: Question, *names: str) -> list[list[float]]:
    """The values of these quantities at each point."""
    given = [getattr(question, name) for name in names]
    return [values if len(values) > 1 else values * question.size for values in given]


def _points(train: Any, question: Question) -> Any:
    from propmatch.coupling import hold_thrust, solve

    airspeed, charge = _along(question, "airspeed_m_s", "charge")
    if question.thrust_n is not None:
        (thrust,) = _along(question, "thrust_n")
        return hold_thrust(train, thrust, airspeed_m_s=airspeed, charge=charge, air=question.air)
    (throttle,) = _along(question, "throttle")
    return solve(train, airspeed_m_s=airspeed, throttle=throttle, charge=charge, air=question.air)


def _assumed(train: Any) -> tuple[Any, ...]:
    """Estimates for the train's unknown numbers, and what its pack temperature rests on."""
    from propmatch.estimates import completed
    from propmatch.lanes import train_lanes

    return tuple(dict.fromkeys((*completed(train)[1], *train_lanes([train])[1])))
