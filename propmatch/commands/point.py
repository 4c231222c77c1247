"""``propmatch point``: one operating point, or a sweep over throttle, thrust, airspeed or charge."""

import math
from collections.abc import Mapping, Sequence
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import attrs
import click

from propmatch.columns import Column
from propmatch.commands.options import Command, answer_options, catalogue_options, form_of, shown_units
from propmatch.commands.plotting import check_plot, plot_option, point_picture, save_plot
from propmatch.commands.saying import misfits
from propmatch.commands.trains import (
    LazyCatalogue,
    choose_train,
    sources_block,
    train_data,
    train_options,
)
from propmatch.status import Status
from propmatch.words.checkwords import over_text, several_words, speed_question
from propmatch.words.shown import WIDTH, Shown, signed, table, wrapped

if TYPE_CHECKING:
    from propmatch.records.parts import PowerTrain, TrainNumbers

__all__ = ["POINT", "Question", "blocks_of", "command", "headline_of"]

Row = Mapping[str, Any]


def _name(train: "PowerTrain") -> str:
    sets = f"{train.count} x ({train.motor.name} on {train.propeller.name})" if train.count > 1 else (
        f"{train.motor.name} on {train.propeller.name}"
    )  # fmt: skip
    return f"{sets} with {train.pack.name}"


def _where(row: Row, question: "Question", shown: Shown) -> str:
    """The conditions of a point, leaving out what is swept."""
    words = []
    if question.swept != "throttle" and question.throttle is not None:
        words.append("full throttle" if row["throttle"] == 1 else f"throttle {100 * question.throttle[0]:.0f} %")
    if question.swept != "airspeed_m_s":
        words.append(shown.speed_text(row["airspeed_m_s"]) if row["airspeed_m_s"] else "standing still")
    if question.swept != "charge":
        words.append("pack full" if row["charge"] == 1 else f"{100 * row['charge']:.0f} % charge")
    return ", ".join(words)


def headline_of(train: "PowerTrain", question: "Question", rows: Sequence[Row], shown: Shown) -> list[str]:
    """The answer in sentences."""
    first = f"{_name(train)}, {_where(rows[0], question, shown)}:"
    if question.swept:
        return [first + " " + _trend(question, rows, shown)]
    row = rows[0]
    if row["status"] == Status.OFF:
        return [f"{first} the motor is off; radio and payload draw {row['pack_current_a']:.2f} A, "
                f"{row['pack_power_w']:.1f} W."]  # fmt: skip
    if row["status"] != Status.OK:
        return [f"{first} no answer. {_why_not(train, question, row, shown)}"]
    if row["motor_current_a"] < 0:
        brake, back = shown.thrust_text(-row["thrust_n"]), -row["motor_current_a"]
        return [
            f"{first} the airstream drives the propeller at {row['rpm']:.0f} rpm; it brakes with {brake}, and "
            f"{back:.1f} A flow back through the motor."
        ]
    answer = f"{shown.thrust_text(row['thrust_n'])} of thrust at {row['rpm']:.0f} rpm, for {_draw(row)} from the pack"
    per_watt = _per_watt(row, shown)
    if per_watt is not None and row["airspeed_m_s"] == 0:
        answer += f" ({_ratio_text(per_watt, shown)})"
    if question.thrust_n is not None:
        answer = f"throttle {100 * row['throttle']:.0f} % (duty, not stick position) gives {answer}"
    return [f"{first} {answer}."]


def speed_first(train: "PowerTrain", rows: Sequence[Row]) -> list[str]:
    """A propeller over its speed at any of the points, said before anything else."""
    fastest = max(rows, key=lambda row: row["rpm"] if row["status"] == Status.OK else -math.inf)
    label, value, limit, share, note = _ratings(train, fastest)[0]
    over = label == "propeller speed" and share > 1
    return [f"Danger: {label} {value}, limit {limit}{f' ({note})' if note else ''}."] if over else []


def _draw(row: Row) -> str:
    return f"{row['pack_current_a']:.1f} A and {row['pack_power_w']:.0f} W"


def _per_watt(row: Row, shown: Shown) -> float | None:
    power = row["pack_power_w"]
    return shown.thrust_of(row["thrust_n"]) / power if math.isfinite(power) and power > 0 else None


def _ratio_text(per_watt: float, shown: Shown) -> str:
    return f"{per_watt:.{1 if shown.thrust == 'gf' else 3}f} {shown.thrust_unit}/W"


def _why_not(train: "PowerTrain", question: "Question", row: Row, shown: Shown) -> str:
    meaning: str = row["status"].meaning
    text = meaning[:1].upper() + meaning[1:] + "."
    if row["status"] == Status.CANNOT_HOLD:
        from propmatch.train.coupling import solve

        most = solve(train, airspeed_m_s=row["airspeed_m_s"], charge=row["charge"], air=question.air)
        if most.status == Status.OK:
            text += f" The most it gives there is {shown.thrust_text(most.thrust_n)}."
    return text


# ---------------------------------------------------------------- one point


def blocks_of(train: "PowerTrain", question: "Question", rows: Sequence[Row], shown: Shown) -> list[list[str]]:
    """The blocks below the sentence."""
    if question.swept:
        several = [line for text in several_words(train.count) for line in wrapped(text)]
        return [*_sweep(question, rows, shown), _gaps(question, rows, shown), several]
    if rows[0]["status"] != Status.OK:
        return []
    if rows[0]["motor_current_a"] < 0:
        return []
    return [_power_way(train, rows[0], shown), _loads(train, rows[0], shown)]


def _power_way(train: "PowerTrain", row: Row, shown: Shown) -> list[str]:
    """From the cells to the air: where the power goes."""
    from propmatch.models.controller import linear_supply_heat_w
    from propmatch.records.estimates import completed

    current, volts = row["pack_current_a"], row["pack_voltage_v"]
    supply_w, supply_v = 0.0, train.controller.servo_supply_v
    if train.controller.servo_supply == "linear":
        supply_w = float(linear_supply_heat_w(volts, supply_v, train.radio_current_a))
    radio_w = volts * train.radio_current_a
    motor_heat = train.count * row["motor_heat_w"]
    cells = row["shaft_power_w"] + row["heat_w"] + radio_w
    if not cells > 0:
        return []
    pack_heat = cells - volts * current
    between = row["heat_w"] - pack_heat - motor_heat
    inside = completed(train.motor)[0].controller_included  # what is in the motor's resistance cannot be told apart
    motor = ("motors" if train.count > 1 else "motor") + (", controller and leads" if inside else "")
    open_v = cells / current
    pieces = [
        ("heat in cells and leads", pack_heat,
         f"sags {open_v - volts:.2f} V to {volts:.2f} V, {row['cell_voltage_v']:.2f} V a cell"),
        ("receiver, servos, payload", radio_w - supply_w, f"{train.radio_current_a:.2f} A"),
        *([("heat in the linear servo supply", supply_w, f"{volts:.2f} V down to {supply_v:g} V")] if supply_w else []),
        (("part-throttle loss" if inside else "heat in the controller")
         + (" and gear" if train.motor.gear_ratio != 1 else ""), between, ""),
        (f"heat in {motor}", motor_heat,
         f"{'with the controller, ' if inside else ''}motor efficiency {100 * row['motor_efficiency']:.0f} %"),
        ("to the propeller" + ("s" if train.count > 1 else ""), row["shaft_power_w"],
         f"{1e3 * row['torque_nm']:.1f} mN m" + (" each" if train.count > 1 else "")),
    ]  # fmt: skip
    lines = [f"Where the {cells:.1f} W of the cells go:"]
    for label, watts, remark in pieces:
        lines.append(f"  {label:<36}{signed(watts):>7} W {signed(100 * watts / cells, 0):>4} %   {remark}".rstrip())
    if row["airspeed_m_s"] > 0:
        lines.append(
            f"  {'  of which pulls the aircraft':<36}{signed(row['thrust_n'] * row['airspeed_m_s']):>7} W "
            f"{signed(100 * row['thrust_n'] * row['airspeed_m_s'] / cells, 0):>4} %   "
            f"propeller efficiency {100 * row['propeller_efficiency']:.0f} %"
        )
    return lines


def _ratings(train: "PowerTrain", row: Row) -> list[tuple[str, str, str, float, str]]:
    """Each load with what it is, its rating, its share of that (NaN where nobody knows it) and a note.

    Propeller speed over its limit stands first.
    """
    from propmatch.checks.ratings import rating_lanes

    r = rating_lanes([train])
    motor, controller = float(r.motor.continuous[0]), float(r.controller.continuous[0])
    usable, rpm = float(r.usable_a[0]), float(r.max_rpm[0])
    power, watts = float(r.motor_w[0]), row["motor_voltage_v"] * row["motor_current_a"]
    amps, drawn, ampere_hours = row["motor_current_a"], row["pack_current_a"], train.pack.capacity_mah / 1000
    speed = (
        "propeller speed", f"{row['rpm']:.0f} rpm", "not known" if math.isnan(rpm) else f"{rpm:.0f} rpm",
        row["rpm"] / rpm, "by family, unverified" if r.propeller_rpm.estimated[0] else "",
    )  # fmt: skip
    of_motor, of_controller, of_power, of_pack = (
        ("motor current", "the same, for the controller", "motor power", "pack current") if train.count == 1
        else (f"current of each of {train.count} motors", "the same, for each controller", "power of each motor",
              "pack current, all together")
    )  # fmt: skip
    lines = [
        (of_motor, f"{amps:.1f} A", f"{motor:.1f} A continuous", amps / motor,
         "estimated rating" if r.motor.estimated[0] else ""),
        (of_controller, f"{amps:.1f} A", f"{controller:.1f} A continuous", amps / controller,
         "estimated rating" if r.controller.estimated[0] else ""),
        (of_power, f"{watts:.0f} W", "not known" if math.isnan(power) else f"{power:.0f} W", watts / power,
         "estimated rating" if r.motor_power.estimated[0] else ""),
        (of_pack, f"{drawn:.1f} A, {drawn / ampere_hours:.0f} C",
         f"{usable:.1f} A, {usable / ampere_hours:.0f} C usable", drawn / usable,
         f"{'estimated rating' if r.pack.estimated[0] else 'label'} {train.pack.c_rating:.0f} C"),
    ]  # fmt: skip
    return [speed, *lines] if speed[3] > 1 else [*lines, speed]


def _loads(train: "PowerTrain", row: Row, shown: Shown) -> list[str]:
    """Each load beside the rating it must stay below."""
    cells = [
        {
            "load": f"  {label}", "value": value, "limit": limit,
            "share": "-" if math.isnan(share) else f"{100 * share:.0f} %",
            "note": "FAILS" + (f", {note}" if note else "") if share > 1 else note,
        }
        for label, value, limit, share, note in _ratings(train, row)
    ]  # fmt: skip
    text = table(cells, left=("load", "value", "limit", "note"))[1:]
    speed = f"Pitch speed {shown.speed_text(row['pitch_speed_m_s'])}, blade tips at Mach {row['tip_mach']:.2f}."
    throttle = []
    if row["throttle"] < 1:
        throttle = wrapped(
            "At part throttle a motor carries more than it draws from the pack, where a wattmeter sits.", first="  "
        )
    return ["Loads beside their ratings:", *text, *throttle, f"  {speed}"]


# ---------------------------------------------------------------- sweeps


POINT = (
    Column(name="airspeed_m_s", kind="speed", label="airspeed"),
    Column(name="charge", kind="%", label="charge of the pack at the point"),
    Column(name="asked_thrust_n", kind="thrust", label="thrust asked for"),
    Column(name="thrust_n", heading="thrust, {unit}", kind="thrust", digits=0, label="thrust at the point"),
    Column(name="throttle", heading="throttle, %", kind="%", digits=0, label="throttle at the point"),
    Column(name="pack_current_a", heading="pack current, A", kind="A", label="pack current at the point"),
    Column(name="motor_current_a", heading="motor current, A", kind="A", label="current of one motor at the point"),
    Column(name="motor_voltage_v", kind="V", label="voltage of one motor at the point"),
    Column(name="pack_power_w", heading="power from the pack, W", kind="W", digits=0,
           label="power from the pack at the point"),
    Column(name="pack_voltage_v", kind="V", label="voltage of the pack at the point"),
    Column(name="motor_heat_w", heading="heat in one motor, W", kind="W", label="heat in one motor at the point"),
    Column(name="heat_w", kind="W", label="heat in the whole power train at the point"),
    Column(name="rpm", heading="propeller rpm", kind="rpm", digits=0, label="propeller speed at the point"),
    Column(name="motor_rpm", kind="rpm", label="motor speed at the point"),
    Column(name="advance_ratio", label="advance ratio at the point"),
    Column(name="torque_nm", kind="N m", label="torque of one propeller at the point"),
    Column(name="shaft_power_w", kind="W", label="power into the propellers at the point"),
    Column(name="cell_voltage_v", heading="volts a cell under load", kind="V", digits=2,
           label="voltage of a cell at the point"),
    Column(name="motor_efficiency", kind="%", label="motor efficiency at the point"),
    Column(name="propeller_efficiency", kind="%", label="propeller efficiency at the point"),
    Column(name="system_efficiency", heading="pulling power from 100 W, W", kind="%", digits=0,
           label="pulling power over power from the pack at the point"),
    Column(name="tip_mach", label="helical Mach number of the tips at the point"),
    Column(name="pitch_speed_m_s", kind="speed", label="pitch speed at the point"),
)  # fmt: skip
"""The numbers of a row."""
_QUANTITIES = {column.name: column for column in POINT}


def _quantities(question: "Question") -> list[Column]:
    """The quantities that answer the question, each a line of the sweep."""
    if question.thrust_n is not None:
        names = ["throttle", "pack_current_a", "motor_current_a", "pack_power_w", "motor_heat_w"]
        names += ["system_efficiency"] if question.airspeed_m_s[-1] else []
    elif question.swept == "airspeed_m_s":
        names = ["thrust_n", "rpm", "motor_current_a", "pack_power_w", "system_efficiency"]
    elif question.swept == "charge":
        names = ["thrust_n", "rpm", "motor_current_a", "pack_current_a", "cell_voltage_v"]
    else:
        names = ["thrust_n", "motor_current_a", "pack_current_a", "pack_power_w", "motor_heat_w", "rpm"]
    return [_QUANTITIES[name] for name in names]


def _value_text(question: "Question", row: Row, shown: Shown) -> str:
    if question.swept == "airspeed_m_s":
        return shown.number(row["airspeed_m_s"], "speed", 0)
    if question.swept == "thrust_n":
        return signed(shown.thrust_of(row["asked_thrust_n"]), 0 if shown.thrust == "gf" else 1)
    if question.swept == "throttle":
        at = 100 * row["throttle"]
        return signed(at, 0 if abs(at - round(at)) < 1e-9 else 1)
    return signed(100 * row["charge"], 0)


def _swept_word(question: "Question", shown: Shown) -> str:
    return {
        "throttle": "at throttle, %",
        "thrust_n": f"for thrust, {shown.thrust_unit}",
        "airspeed_m_s": f"at airspeed, {shown.speed_unit}",
        "charge": "at charge, %",
    }[question.swept]


def _sweep(question: "Question", rows: Sequence[Row], shown: Shown) -> list[list[str]]:
    """Quantities below each other, the swept value running to the right, in strips that fit a line."""
    quantities = _quantities(question)
    _restore_throttle(question, rows)
    lines = [
        {_swept_word(question, shown): _value_text(question, row, shown), **shown.cells(quantities, row)}
        for row in rows
    ]
    names, columns = list(lines[0]), [list(line.values()) for line in lines]
    label = max(map(len, names))
    wide = max(len(text) for column in columns for text in column) + 2
    per_strip = max(1, (WIDTH - label) // wide)
    strips = []
    for start in range(0, len(columns), per_strip):
        part = columns[start : start + per_strip]
        strips.append(
            [name.ljust(label) + "".join(column[at].rjust(wide) for column in part) for at, name in enumerate(names)]
        )
    return strips


def _restore_throttle(question: "Question", rows: Sequence[Row]) -> None:
    """A lane without an answer has no throttle of its own: put back the one that was asked for."""
    if question.swept == "throttle" and question.throttle is not None:
        for row, asked in zip(rows, question.throttle, strict=True):
            row["throttle"] = asked  # type: ignore[index]


def _gaps(question: "Question", rows: Sequence[Row], shown: Shown) -> list[str]:
    """Why some values have no answer."""
    lines = []
    for status in sorted({row["status"] for row in rows} - {Status.OK}):
        at = ", ".join(_value_text(question, row, shown) for row in rows if row["status"] == status)
        lines += wrapped(f"{_swept_word(question, shown)} {at}: {status.meaning}.")
    return lines


def _no_thrust_m_s(rows: Sequence[Row]) -> float | None:
    """Airspeed at which thrust goes through zero, between the points."""
    for low, high in pairwise(rows):
        if low["thrust_n"] > 0 >= high["thrust_n"]:
            part = low["thrust_n"] / (low["thrust_n"] - high["thrust_n"])
            return float(low["airspeed_m_s"] + part * (high["airspeed_m_s"] - low["airspeed_m_s"]))
    return None


def _trend(question: "Question", rows: Sequence[Row], shown: Shown) -> str:
    """What the sweep shows, in a sentence."""
    good = [row for row in rows if row["status"] == Status.OK]
    if not good:
        return "no point has an answer."
    first, last = good[0], good[-1]
    if question.swept == "airspeed_m_s":
        best = max(good, key=lambda row: row["system_efficiency"] if row["airspeed_m_s"] else 0.0)
        text = (
            f"thrust goes from {shown.thrust_text(first['thrust_n'])} at {shown.speed_text(first['airspeed_m_s'])} to "
            f"{shown.thrust_text(last['thrust_n'])} at {shown.speed_text(last['airspeed_m_s'])}"
        )
        text += f"; it pulls most for its power near {shown.speed_text(best['airspeed_m_s'])}"
        none = _no_thrust_m_s(good)
        return text + ("." if none is None else f", and not at all above {shown.speed_text(none)}.")
    if question.thrust_n is not None:
        return (
            f"throttle goes from {100 * first['throttle']:.0f} % to {100 * last['throttle']:.0f} % (duty, not stick "
            f"position), and what the pack gives from {_draw(first)} to {_draw(last)}."
        )
    if question.swept == "charge":
        return (
            f"thrust goes from {shown.thrust_text(first['thrust_n'])} at {100 * first['charge']:.0f} % charge to "
            f"{shown.thrust_text(last['thrust_n'])} at {100 * last['charge']:.0f} %, and what the pack gives from "
            f"{_draw(first)} to {_draw(last)}."
        )
    text = (
        f"thrust goes from {shown.thrust_text(first['thrust_n'])} at {100 * first['throttle']:.0f} % throttle (duty) "
        f"to {shown.thrust_text(last['thrust_n'])} at {100 * last['throttle']:.0f} %, and what the pack gives from "
        f"{_draw(first)} to {_draw(last)}"
    )
    best = max(good, key=lambda row: _per_watt(row, shown) or 0.0)
    ratio = _per_watt(best, shown)
    if ratio is None or first["airspeed_m_s"]:
        return text + "."
    return f"{text}; most thrust per watt, {_ratio_text(ratio, shown)}, at {100 * best['throttle']:.0f} %."


@attrs.frozen(kw_only=True)
class Question:
    """What was asked for: lists of values, of which at most one has several.

    ``thrust_n`` is None where the throttle is given, and ``throttle`` where the thrust is. ``train_numbers`` are those
    that follow for the power train: cells as warm as the air.
    """

    throttle: list[float] | None
    thrust_n: list[float] | None
    airspeed_m_s: list[float]
    charge: list[float]
    air: Any
    train_numbers: "TrainNumbers"

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
        chosen = choose_train(stock, options, question.train_numbers if question else None)
    except InputFaults as error:
        raise InputFaults([*faults, *error.faults]) from None
    if faults or question is None:
        raise InputFaults(faults)

    from propmatch.commands.point import blocks_of, headline_of, speed_first
    from propmatch.status import Status
    from propmatch.train.coupling import POINT_FIELDS

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
    wrong = misfits(chosen.train)
    show(
        Reply(
            command="point",
            headline=[
                *speed_first(chosen.train, rows),
                *headline_of(chosen.train, question, rows, shown),
                *(f"Mind: {over_text(check, shown)}." for check in wrong),
                *speed_question(chosen.train),
                *drawn,
            ],
            blocks=[*blocks_of(chosen.train, question, rows, shown), sources_block(chosen.train)],
            rows=rows,
            assumptions=[each for each in (*chosen.assumptions, *_assumed(chosen.train)) if "mass_g" not in each.field],
            faults=(*chosen.doubts, *stock.broken),
            remarks=[text for flag in dict.fromkeys(flags) for text in flag.remarks],
            extra={"train": train_data(chosen.train), "misfits": wrong},
            caution=True,
        ),
        form=form_of(options),
    )
    if all(row["status"] > Status.OFF for row in rows):
        ctx.exit(1)


def _question(options: dict[str, Any], faults: list[Any]) -> Question | None:
    from propmatch.commands.ranges import AIRSPEED, CHARGE, THROTTLE, THRUST, read_values
    from propmatch.faults import Fault
    from propmatch.models.air import Air
    from propmatch.models.pack import COLDEST_C
    from propmatch.records.packuse import TOO_COLD
    from propmatch.records.sections import Site
    from propmatch.records.typed import read_number

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
    if options["pack_temperature"] is None and site.get("temperature_c", COLDEST_C) < COLDEST_C:
        faults.append(Fault("--temperature", value=site["temperature_c"], rule=TOO_COLD))
    several = [name for name, values in (("--hold", hold), ("--throttle", throttle), ("--airspeed", airspeed),
                                         ("--charge", charge)) if len(values or ()) > 1]  # fmt: skip
    if len(several) > 1:
        faults.append(Fault(several[0], rule=f"only one option may have several values; {several[1]} has too"))
    if faults:
        return None
    warm = site.get("temperature_c")
    air = Air.at_site(site.get("altitude_m", 0.0), warm)
    numbers: TrainNumbers = {} if warm is None or options["pack_temperature"] else {"pack_temperature_c": warm}
    return Question(throttle=throttle, thrust_n=hold, airspeed_m_s=airspeed, charge=charge, air=air,
                    train_numbers=numbers)  # fmt: skip


def _along(question: Question, *names: str) -> list[list[float]]:
    """The values of these quantities at each point."""
    given = [getattr(question, name) for name in names]
    return [values if len(values) > 1 else values * question.size for values in given]


def _points(train: "PowerTrain", question: Question) -> Any:
    from propmatch.train.coupling import hold_thrust, solve

    airspeed, charge = _along(question, "airspeed_m_s", "charge")
    if question.thrust_n is not None:
        (thrust,) = _along(question, "thrust_n")
        return hold_thrust(train, thrust, airspeed_m_s=airspeed, charge=charge, air=question.air)
    (throttle,) = _along(question, "throttle")
    return solve(train, airspeed_m_s=airspeed, throttle=throttle, charge=charge, air=question.air)


def _assumed(train: "PowerTrain") -> tuple[Any, ...]:
    """Estimates for the train's unknown numbers, and what its pack temperature rests on."""
    from propmatch.records.estimates import completed
    from propmatch.train.lanes import train_lanes

    return tuple(dict.fromkeys((*completed(train)[1], *train_lanes([train])[1])))
