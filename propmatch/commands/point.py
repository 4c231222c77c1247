"""``propmatch point``: one operating point, or a sweep over throttle, thrust, airspeed or charge."""

import math
from collections.abc import Mapping, Sequence
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import attrs
import click

from propmatch.columns import Column, with_ranges
from propmatch.commands.options import (
    Command,
    answer_options,
    catalogue_options,
    form_of,
    on_paper_option,
    short_answer_options,
    shown_units,
)
from propmatch.commands.plotting import check_plot, plot_option, point_picture, save_plot
from propmatch.commands.saying import misfits
from propmatch.commands.trains import (
    LazyCatalogue,
    choose_train,
    train_data,
    train_options,
)
from propmatch.status import Status
from propmatch.words.chancewords import chance_words, ranged
from propmatch.words.checkwords import over_text, percent, several_words, speed_question
from propmatch.words.shown import Shown, page_width, signed, table, wrapped

if TYPE_CHECKING:
    from propmatch.commands.pointdraws import PointDraws, Question
    from propmatch.records.parts import PowerTrain, TrainNumbers

__all__ = ["POINT", "blocks_of", "command", "details_of", "headline_of"]

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
        words.append(shown.speed_text(row["airspeed_m_s"]) if row["airspeed_m_s"] else "static")
    if question.swept != "charge":
        words.append("full battery" if row["charge"] == 1 else f"{100 * row['charge']:.0f} % charge")
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
    thrust, rpm = _with_range(row, "thrust_n", shown), _with_range(row, "rpm", shown)
    answer = f"{thrust} of thrust at {rpm}, for {_draw_ranged(row, shown)} from the pack"
    per_watt = _per_watt(row, shown)
    if per_watt is not None and row["airspeed_m_s"] == 0:
        answer += f" ({_ratio_text(per_watt, shown)})"
    if question.thrust_n is not None:
        answer = f"throttle {_with_range(row, 'throttle', shown)} (duty, not stick position) gives {answer}"
    return [f"{first} {answer}."]


def sure_sentences(
    train: "PowerTrain", question: "Question", rows: Sequence[Row], draws: "PointDraws"
) -> list[str]:  # fmt: skip
    """What works hardest, what the ranges are, and how many builds hold a thrust."""
    from propmatch.words.chancewords import ON_PAPER, RANGES, of_hundred, predicted_words

    said = []
    if not question.swept and rows[0]["status"] == Status.OK:
        loads = [load for load in _ratings(train, rows[0]) if math.isfinite(load.share)]
        if loads and rows[0]["motor_current_a"] >= 0:
            most = max(loads, key=lambda load: load.share)
            chance = draws.chance(most.name, most.limit)
            sure = f", {chance_words(chance)}" if chance < _SURE else ""
            said.append(f"Hottest: {most.label}, {percent(most.share)} of its rating{sure}.")
    if draws.on_paper:
        return [*said, ON_PAPER]
    if question.thrust_n is not None:
        which = "All of these thrusts" if question.swept == "thrust_n" else "That thrust"
        said.append(f"{which} can be held in {of_hundred(float(draws.answered.min()))} of 100 builds.")
    predicted = predicted_words(_shares(question, draws), draws.sure)
    return [*said, RANGES, *([predicted] if predicted else [])]


def _hangs_block(question: "Question", draws: "PointDraws") -> list[str]:
    """What the range of the first point hangs on."""
    from propmatch.words.chancewords import hangs_words

    if draws.on_paper:
        return []
    why = hangs_words(_shares(question, draws), draws.sure)
    return wrapped(f"The range of the {'thrust' if question.thrust_n is None else 'current'}: {why}.") if why else []


def _shares(question: "Question", draws: "PointDraws") -> Mapping[str, float]:
    """What part of the range of the first point is from which part."""
    name = "thrust_n" if question.thrust_n is None else "pack_current_a"
    return draws.sure.shares(draws.of_each(name)[-1])


def speed_first(train: "PowerTrain", rows: Sequence[Row]) -> list[str]:
    """A propeller over its speed at any of the points, said before anything else."""
    fastest = max(rows, key=lambda row: row["rpm"] if row["status"] == Status.OK else -math.inf)
    first = _ratings(train, fastest)[0]
    over = first.name == "rpm" and first.share > 1
    note = f" ({first.note}, unverified)" if first.note else ""
    return [f"Danger: {first.label} {first.says}, limit {first.limit_says}{note}."] if over else []


def _with_range(row: Row, name: str, shown: Shown) -> str:
    """A number of a point with its unit and its range."""
    column = _QUANTITIES[name]
    text = shown.text(row[name], column.kind, column.digits)
    if f"{name}_low" not in row:
        return text
    return ranged(text, row[f"{name}_low"], row[f"{name}_high"], column.kind, shown)


def _draw(row: Row) -> str:
    return f"{row['pack_current_a']:.1f} A and {row['pack_power_w']:.0f} W"


def _draw_ranged(row: Row, shown: Shown) -> str:
    return f"{_with_range(row, 'pack_current_a', shown)} and {_with_range(row, 'pack_power_w', shown)}"


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


def blocks_of(
    train: "PowerTrain", question: "Question", rows: Sequence[Row], shown: Shown, draws: "PointDraws"
) -> list[list[str]]:
    """The blocks below the sentence."""
    if question.swept:
        several = [line for text in several_words(train.count) for line in wrapped(text)]
        return [*_sweep(question, rows, shown), _gaps(question, rows, shown), several]
    if rows[0]["status"] != Status.OK:
        return []
    if rows[0]["motor_current_a"] < 0:
        return []
    return [_loads(train, rows[0], shown, draws)]


def details_of(
    train: "PowerTrain", question: "Question", rows: Sequence[Row], shown: Shown, draws: "PointDraws"
) -> dict[str, list[str]]:
    """Further blocks by what they are called: where the power of one point goes, and what its range hangs on."""
    solved = any(row["status"] == Status.OK for row in rows)
    works = not question.swept and rows[0]["status"] == Status.OK and rows[0]["motor_current_a"] >= 0
    return {
        "losses": _power_way(train, rows[0], shown) if works else [],
        "what the range hangs on": _hangs_block(question, draws) if solved else [],
    }


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
    motor = ("motors" if train.count > 1 else "motor") + (", ESC and leads" if inside else "")
    open_v = cells / current
    pieces = [
        ("heat in cells and leads", pack_heat,
         f"sags {open_v - volts:.2f} V to {volts:.2f} V, {row['cell_voltage_v']:.2f} V a cell"),
        ("radio and payload", radio_w - supply_w, f"{train.radio_current_a:.2f} A"),
        *([("heat in the linear BEC", supply_w, f"{volts:.2f} V down to {supply_v:g} V")] if supply_w else []),
        (("part-throttle loss" if inside else "heat in the ESC")
         + (" and gear" if train.motor.gear_ratio != 1 else ""), between, ""),
        (f"heat in {motor}", motor_heat,
         f"{'with the ESC, ' if inside else ''}motor efficiency {100 * row['motor_efficiency']:.0f} %"),
        ("to the propeller" + ("s" if train.count > 1 else ""), row["shaft_power_w"],
         f"{1e3 * row['torque_nm']:.1f} mN m" + (" each" if train.count > 1 else "")),
    ]  # fmt: skip
    rows = [
        {"way": f"  {label}", "watts": f"{signed(watts)} W", "share": percent(watts / cells), "note": note}
        for label, watts, note in pieces
    ]
    if row["airspeed_m_s"] > 0:
        pulls = row["thrust_n"] * row["airspeed_m_s"]
        note = f"propeller efficiency {percent(row['propeller_efficiency'])}"
        rows.append({"way": "    of which pulls the aircraft", "watts": f"{signed(pulls)} W",
                     "share": percent(pulls / cells), "note": note})  # fmt: skip
    speed = f"  Pitch speed {shown.speed_text(row['pitch_speed_m_s'])}, blade tips at Mach {row['tip_mach']:.2f}."
    return [f"Where the {cells:.1f} W of the cells go:", *table(rows, left=("way", "note"), headed=False), speed]


_SURE = 0.995
"""Chance from which it is not spoken of."""


@attrs.frozen(kw_only=True)
class _Load:
    """A load beside the rating it must stay below, NaN where nobody knows that; ``name`` as in ``PointDraws.loads``."""

    label: str
    name: str
    value: float
    limit: float
    says: str
    limit_says: str
    note: str = ""

    @property
    def share(self) -> float:
        return self.value / self.limit


def _ratings(train: "PowerTrain", row: Row) -> list[_Load]:
    """Each load; propeller speed over its limit stands first."""
    from propmatch.checks.ratings import rating_lanes

    r = rating_lanes([train])
    watts, amps, drawn = row["motor_voltage_v"] * row["motor_current_a"], row["motor_current_a"], row["pack_current_a"]
    power, rpm, usable = float(r.motor_w[0]), float(r.max_rpm[0]), float(r.usable_a[0])
    ampere_hours = train.pack.capacity_mah / 1000
    of_motor, of_controller, of_power, of_pack = (
        ("motor current", "same, for the ESC", "motor power", "pack current") if train.count == 1
        else (f"each of {train.count} motors", "same, for each ESC", "power of each motor", "pack current, all")
    )  # fmt: skip

    def current(label: str, rating: Any) -> _Load:
        limit = float(rating.continuous[0])
        note = "estimated" if rating.estimated[0] else ""
        return _Load(label=label, name="motor_current_a", value=amps, limit=limit, says=f"{amps:.1f} A",
                     limit_says=f"{limit:.1f} A", note=note)  # fmt: skip

    loads = [
        current(of_motor, r.motor),
        current(of_controller, r.controller),
        _Load(
            label=of_power, name="motor_power_w", value=watts, limit=power, says=f"{watts:.0f} W",
            limit_says="not known" if math.isnan(power) else f"{power:.0f} W",
            note="estimated" if r.motor_power.estimated[0] else "",
        ),
        _Load(
            label=of_pack, name="pack_current_a", value=drawn, limit=usable,
            says=f"{drawn:.1f} A, {drawn / ampere_hours:.0f} C",
            limit_says=f"{usable:.1f} A, {usable / ampere_hours:.0f} C",
            note=f"{'estimated' if r.pack.estimated[0] else 'label'} {train.pack.c_rating:.0f}C",
        ),
    ]  # fmt: skip
    speed = _Load(
        label="propeller", name="rpm", value=row["rpm"], limit=rpm, says=f"{row['rpm']:.0f} rpm",
        limit_says="not known" if math.isnan(rpm) else f"{rpm:.0f} rpm",
        note="by family" if r.propeller_rpm.estimated[0] else "",
    )  # fmt: skip
    return [speed, *loads] if speed.share > 1 else [*loads, speed]


def _loads(train: "PowerTrain", row: Row, shown: Shown, draws: "PointDraws") -> list[str]:
    """Each load beside the rating it must stay below."""
    cells, chances = [], []
    loads = _ratings(train, row)
    most = max((load.share for load in loads if math.isfinite(load.share)), default=math.nan)
    for load in loads:
        ends, chance = draws.load_range(load.name), draws.chance(load.name, load.limit)
        said = load.says if draws.on_paper else ranged(load.says, ends.low, ends.high)
        cells.append({
            "load": f"  {load.label}", "value": said, "limit": load.limit_says,
            "share": percent(load.share),
            "note": ", ".join(["FAILS"] * (load.share > 1) + [load.note] * bool(load.note)),
        })  # fmt: skip
        if math.isfinite(load.share) and load.share < most and chance < _SURE:
            chances.append(f"{load.label} {chance_words(chance)}")
    notes = [f"Ratings: {'; '.join(chances)}."] if chances else []
    if row["throttle"] < 1:
        notes.append("At part throttle a motor carries more current than it draws from the pack.")
    return [
        *wrapped("Loads beside their ratings (continuous; of the pack what is usable):"),
        *table(cells, left=("load", "value", "limit", "note"), headed=False),
        *(wrapped(" ".join(notes), first="  ") if notes else ()),
    ]


# ---------------------------------------------------------------- sweeps


POINT = (
    Column(name="airspeed_m_s", kind="speed", label="airspeed"),
    Column(name="charge", kind="%", label="charge of the pack at the point"),
    Column(name="asked_thrust_n", kind="thrust", label="thrust asked for"),
    Column(name="answered_share", kind="%", label="share of builds in which the point exists"),
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
    _restore_throttle(question, rows)
    lines = [(_swept_word(question, shown), [_value_text(question, row, shown) for row in rows])]
    for column in _quantities(question):
        ends = (column.name, f"{column.name}_low", f"{column.name}_high")
        heads = (column.heading.format(unit=shown.unit(column.kind)), "  from", "  to")
        for name, head in list(zip(ends, heads, strict=True))[: 3 if column.name in _WITH_ENDS else 1]:
            if name in rows[0]:
                lines.append((head, [shown.number(row[name], column.kind, column.digits) for row in rows]))
    label = max(len(head) for head, _ in lines)
    wide = max(len(text) for _, texts in lines for text in texts) + 2
    per_strip = max(1, (page_width() - label) // wide)
    return [
        [head.ljust(label) + "".join(text.rjust(wide) for text in texts[start : start + per_strip])
         for head, texts in lines]
        for start in range(0, len(rows), per_strip)
    ]  # fmt: skip


_WITH_ENDS = ("thrust_n", "throttle", "motor_current_a")
"""Quantities whose range a sweep shows in text."""


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
            f"position), and what the pack gives from {_draw(first)} to {_draw_ranged(last, shown)}."
        )
    if question.swept == "charge":
        return (
            f"thrust goes from {shown.thrust_text(first['thrust_n'])} at {100 * first['charge']:.0f} % charge to "
            f"{_with_range(last, 'thrust_n', shown)} at {100 * last['charge']:.0f} %, and what the pack gives from "
            f"{_draw(first)} to {_draw_ranged(last, shown)}."
        )
    text = (
        f"thrust goes from {shown.thrust_text(first['thrust_n'])} at {100 * first['throttle']:.0f} % throttle (duty) "
        f"to {_with_range(last, 'thrust_n', shown)} at {100 * last['throttle']:.0f} %, and what the pack gives from "
        f"{_draw(first)} to {_draw_ranged(last, shown)}"
    )
    best = max(good, key=lambda row: _per_watt(row, shown) or 0.0)
    ratio = _per_watt(best, shown)
    if ratio is None or first["airspeed_m_s"]:
        return text + "."
    return f"{text}; most thrust per watt, {_ratio_text(ratio, shown)}, at {100 * best['throttle']:.0f} %."


@click.command("point", cls=Command)
@train_options
@click.option("--throttle", metavar="VALUES", help="Duty 0 to 1, not stick position.  [default: 1]")
@click.option("--hold", metavar="VALUES", help="Find the throttle for a thrust, such as 120gf, 4oz or 1.2N.")
@click.option("--airspeed", metavar="VALUES", help="In m/s, or with km/h or mph.  [default: 0]")
@click.option("--charge", metavar="VALUES", help="State of charge, 0 to 1.  [default: 1]")
@click.option("--aircraft", metavar="BRIEF", help="What it is to fly: the checks that plugins add are made in it.")
@click.option("--altitude", metavar="M", help="Height of the field.  [default: 0]")
@click.option("--temperature", metavar="DEGC", help="Air temperature.  [default: standard for the height]")
@on_paper_option
@plot_option
@catalogue_options
@short_answer_options
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
    from propmatch.words.assumedwords import mattering

    check_plot(options)
    faults: list[Any] = []
    question = _question(options, faults)
    stock = LazyCatalogue(options["parts_folder"], options["strict"])
    try:
        chosen = choose_train(stock, options, question.train_numbers if question else None)
    except InputFaults as error:
        raise InputFaults([*faults, *error.faults]) from None
    if faults or question is None:
        raise InputFaults(faults)

    from propmatch.commands.point import blocks_of, details_of, headline_of, speed_first
    from propmatch.commands.pointdraws import PointDraws
    from propmatch.status import Status
    from propmatch.train.coupling import POINT_FIELDS

    points = _points(chosen.train, question)
    rows = as_rows(points, POINT_FIELDS)
    draws = PointDraws.of(chosen.train, question, on_paper=options["on_paper"])
    rows = _with_ranges(rows, question, draws)
    shown = shown_units(options["units"])
    drawn = save_plot(options, lambda: point_picture(chosen.train, question, points, shown, draws))
    flags = [flag for row in rows for flag in row["flags"]]
    assumptions = [each for each in (*chosen.assumptions, *_assumed(chosen.train)) if "mass_g" not in each.field]
    wrong = misfits(chosen.train)
    solved = any(row["status"] == Status.OK for row in rows)
    sure = sure_sentences(chosen.train, question, rows, draws) if solved else []
    added, unasked = _added(stock, chosen.train, options["aircraft"])
    show(
        Reply(
            command="point",
            headline=[
                *speed_first(chosen.train, rows),
                " ".join([*headline_of(chosen.train, question, rows, shown), *sure]),
                *(f"Mind: {over_text(check, shown)}." for check in wrong),
                *speed_question(chosen.train),
                *drawn,
            ],
            blocks=[*blocks_of(chosen.train, question, rows, shown, draws), _added_block(added, shown)],
            details=details_of(chosen.train, question, rows, shown, draws),
            rows=rows,
            assumptions=assumptions,
            matter=mattering(assumptions, [] if draws.on_paper else [draws.sure], options, draws.said()),
            faults=(*chosen.doubts, *stock.broken),
            notes=[*(text for flag in dict.fromkeys(flags) for text in flag.remarks), *unasked],
            extra={"train": train_data(chosen.train), "misfits": wrong, "extra_checks": added},
            caution=True,
        ),
        form=form_of(options),
    )
    if all(row["status"] > Status.OFF for row in rows):
        ctx.exit(1)


def _added(stock: LazyCatalogue, train: "PowerTrain", aircraft: str | None) -> tuple[list[Any], list[str]]:
    """The checks that plugins add, in an aircraft; without one, that there are some."""
    if aircraft is None:
        some = "catalogue" in vars(stock) and stock.catalogue.adds_checks
        return [], ["Plugins add checks of a model: --aircraft BRIEF makes them."] if some else []
    from propmatch.checks.limits import Design
    from propmatch.checks.setting import ResolvedBrief
    from propmatch.commands.briefs import open_brief

    here = ResolvedBrief.of(open_brief(aircraft)[0]).as_designed
    return stock.catalogue.extra_checks(Design.of(train, here.variant), here.stated), []


def _added_block(added: list[Any], shown: Shown) -> list[str]:
    if not added:
        return []
    from propmatch.commands.whywords import checks_block

    return ["Checks that plugins add:", *checks_block(added, shown)]


def _question(options: dict[str, Any], faults: list[Any]) -> "Question | None":
    from propmatch.commands.pointdraws import Question
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


def _with_ranges(rows: list[dict[str, Any]], question: "Question", draws: "PointDraws") -> list[dict[str, Any]]:
    """The points with their ranges, with what was asked, and how many builds have each point."""
    given = {"airspeed_m_s": "airspeed_m_s", "charge": "charge"}
    given |= {} if question.thrust_n is None else {"asked_thrust_n": "thrust_n"}
    fixed = {"throttle"} if question.thrust_n is None else {"thrust_n"}
    names = [column.name for column in POINT if column.name in rows[0] and column.name not in fixed]
    out = []
    for at, (row, ranges) in enumerate(zip(rows, draws.ranges(names), strict=True)):
        asked = {name: question.along(source)[at] for name, source in given.items()}
        answered = math.nan if draws.on_paper else float(draws.answered[at])
        out.append({**with_ranges(row, ranges), **asked, "answered_share": answered})
    return out


def _points(train: "PowerTrain", question: "Question") -> Any:
    from propmatch.train.coupling import hold_thrust, solve

    airspeed, charge = question.along("airspeed_m_s"), question.along("charge")
    if question.thrust_n is not None:
        return hold_thrust(train, question.along("thrust_n"), airspeed_m_s=airspeed, charge=charge, air=question.air)
    return solve(train, airspeed_m_s=airspeed, throttle=question.along("throttle"), charge=charge, air=question.air)


def _assumed(train: "PowerTrain") -> tuple[Any, ...]:
    """Estimates for the train's unknown numbers, and what its pack temperature rests on."""
    from propmatch.records.estimates import completed
    from propmatch.train.lanes import train_lanes

    return tuple(dict.fromkeys((*completed(train)[1], *train_lanes([train])[1])))
