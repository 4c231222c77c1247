"""``propmatch fit``: what bench readings say about a motor, its propellers and packs."""

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import attrs
import click

from propmatch.commands.keeping import keep, save_options
from propmatch.commands.options import Command, answer_options, catalogue_options, form_of, shown_units
from propmatch.commands.plotting import check_plot, save_plot
from propmatch.commands.trains import LazyCatalogue

if TYPE_CHECKING:
    from propmatch.bench.logfit import Constant, LogFit

__all__ = ["command", "fit_data", "fit_of_options"]

_MOTOR = ("kv_rpm_per_v", "resistance_ohm", "no_load_current_a", "resistance_slope_ohm_s")
_PACK = ("resistance_ohm", "open_circuit_v")


def _numbers(found: "Mapping[str, Constant]", names: tuple[str, ...]) -> dict[str, Any]:
    """Value and interval of each constant; None where it is undetermined."""
    return {
        name: {key: getattr(found[name], key) for key in ("value", "low", "high")} if name in found else None
        for name in names
    }


def fit_data(fit: "LogFit") -> dict[str, Any]:
    """The answer as JSON has it."""
    from propmatch.bench.logfit import INTERVAL

    packs = {name: _numbers(pack, _PACK) for name, pack in fit.packs.items()}
    first = next(iter(packs.values()), _numbers({}, _PACK))
    return {
        "interval": INTERVAL,
        "motor": {
            **_numbers(fit.constants, _MOTOR), "at_rpm": fit.at_rpm, "no_load_voltage_v": fit.no_load_voltage_v,
        },
        "pack": first,
        **({"packs": packs} if len(packs) > 1 else {}),
        "propellers": {name: _numbers(found, ("ct0", "cp0")) for name, found in fit.propellers.items()},
        "undetermined": [{"constant": each.constant, "why": each.why} for each in fit.undetermined],
        "instruments": fit.instruments,
        "contradicted": fit.contradicted,
    }  # fmt: skip


def fit_of_options(log: str, options: Mapping[str, Any]) -> "tuple[LogFit, list[Any]]":
    """The fit that the parameters of the command ask for, and what was assumed to read its parts.

    Raises
    ------
    InputFaults
        Every fault of parts and log.
    """
    from propmatch.bench.fit import fit_log
    from propmatch.commands.fits import substitutes

    stock = LazyCatalogue(options["parts_folder"], options["strict"])
    typed = {kind: options[kind] for kind in ("motor", "propeller") if options[kind] is not None}
    packs: list[Any] = []
    assumptions: list[Any] = []
    found: dict[str, Any] = {}
    for text in options["pack"]:
        part, made, _ = substitutes(stock, {"pack": text})
        packs.append(part["pack"])
        assumptions += made
    if typed:
        found, made, _ = substitutes(stock, typed)
        assumptions += made
    needs = options["parts_folder"] is not None or "catalogue" in vars(stock)
    motor, which = found.get("motor"), options["which"]
    if which is not None:
        motor = which if motor is None else attrs.evolve(motor, name=which)
    fit = fit_log(
        log, motor=motor, propellers=found.get("propeller"), packs=packs,
        instruments=options["instruments"] or (), count=options["count"], catalogue=stock.catalogue if needs else None,
    )  # fmt: skip
    return fit, assumptions


def _picture(fit: "LogFit") -> Any:
    from propmatch.sheet.fitcharts import fit_chart

    return fit_chart(fit)


@click.command(name="fit", cls=Command, short_help="What bench readings say about a motor, propellers and packs.")
@click.argument("log", metavar="LOG")
@click.option("--which", metavar="NAME", help="Which motor of the log, where its column motor names several.")
@click.option("--motor", metavar="PART",
              help='What is known of the motor: id, or typed: "1500kV 28g".  [default: the part that the log names]'
              )  # fmt: skip
@click.option("--propeller", metavar="PART", help='Of rows that name none: id, or typed: "6x4".')
@click.option("--pack", metavar="PART", multiple=True, help='Id, or typed: "3S 1300mAh"; again for another cell count.')
@click.option("--motors", "count", metavar="N", type=click.IntRange(1, 12), default=1, show_default=True,
              help="Motors on the pack; amps and thrust are those of all.")  # fmt: skip
@click.option("--instruments", metavar="NAMES",
              help="With commas between: wattmeter, clamp, bench supply, optical tachometer, kitchen scale, torque "
                   "arm.  [default: wattmeter, optical tachometer, kitchen scale]")  # fmt: skip
@click.option("--plot", metavar="FILE", type=click.Path(),
              help="Draw readings, fit and residuals: FILE.svg, .png or .pdf.")  # fmt: skip
@save_options
@catalogue_options
@answer_options
@click.pass_context
def command(ctx: click.Context, /, log: str, **options: Any) -> None:
    """Fit motor, propellers and packs to bench readings.

    LOG is a CSV file or workbook with a head of any of: motor, label_kv, mass_g, cells, propeller ('none' for a bare
    shaft), throttle, volts, amps, rpm, thrust_gf, torque_nm, charge_mah, seconds, temperature_c. A row is one setting,
    read when it is steady. What the rows leave open gets no number, but the row that would settle it.

    Exit code: 0 fitted, 1 the log contradicts itself or says nothing, or too little for --save, 2 nothing can be read.
    """
    from propmatch.commands.output import Reply, show
    from propmatch.words.fitwords import fit_blocks, fit_sentences

    check_plot(options)
    fit, assumptions = fit_of_options(log, options)
    kept = keep(fit, options)
    reply = Reply(
        command="fit",
        headline=[*fit_sentences(fit), *save_plot(options, lambda: _picture(fit)), *kept.said],
        blocks=fit_blocks(fit, shown_units(options["units"])),
        rows=[attrs.asdict(row) for row in fit.rows],
        assumptions=[*fit.assumptions, *assumptions],
        faults=fit.faults,
        notes=kept.notes,
        extra={**fit_data(fit), "saved": kept.data},
        all_faults=True,
    )
    show(reply, form=form_of(options))
    unkept = options["save"] is not None and kept.data is None
    ctx.exit(0 if fit.constants and not fit.contradicted and not unkept else 1)
