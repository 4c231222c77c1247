"""Parts typed in a line, and numbers typed for options."""

import shlex
from functools import lru_cache
from typing import Any

from propmatch.bench.next import MEASUREMENTS, read_readings
from propmatch.commands import ranges
from propmatch.commands.new import QUESTIONS
from propmatch.commands.new import _read as read_answer
from propmatch.commands.partsfilter import condition
from propmatch.faults import Fault, InputFaults
from propmatch.records import sections
from propmatch.records.fields import declared
from propmatch.records.listing import ListingRow
from propmatch.records.parts import Controller, Motor, Pack, PowerTrain, Propeller
from propmatch.records.typed import from_name, kind_of_name, looks_typed, read_number, read_part
from propmatch.records.written import short_form

from .harness import Misread, Trial
from .oracle import Judge, same, scan, units_of
from .tables import USUAL
from .writing import ODD, Style, number, odd_cell, with_unit, written

__all__ = ["options", "typed"]

BARE = {
    Motor: {"kv_rpm_per_v": "kV", "mass_g": "g", "resistance_ohm": "ohm", "max_power_w": "W"},
    Controller: {"max_current_a": "A", "mass_g": "g", "resistance_mohm": "mohm"},
    Pack: {"capacity_mah": "mAh", "c_rating": "C", "mass_g": "g"},
    Propeller: {"mass_g": "g"},
    ListingRow: {"kv_rpm_per_v": "kV", "mass_g": "g", "volts": "V", "amps": "A", "thrust_gf": "gf"},
}
"""What a number with this unit means on a line of a class, as the help has it."""
NEEDED = {Motor: ("kv_rpm_per_v", "mass_g"), Controller: ("max_current_a",), Pack: ("capacity_mah",), Propeller: (),
          ListingRow: ("kv_rpm_per_v", "mass_g", "volts", "amps")}  # fmt: skip
POINT = Style()


@lru_cache
def _rules(cls: type) -> dict[str, Any]:
    return {rule.name: rule for rule in declared(cls)}


def _typed_number(trial: Trial, rule: Any, style: Style) -> str:
    low, high = USUAL.get(rule.name, (rule.ge or rule.gt or 0.01, rule.le or rule.lt or 1000.0))
    return written(trial.rng, number(trial.rng, float(low), float(high)), style._replace(group="")).lstrip("+")


def typed(trial: Trial) -> None:
    """A line made of numbers with their units, keys, and words; or anything at all."""
    rng = trial.rng
    cls = rng.choice(list(BARE))
    if rng.random() < 0.2:
        _anything(trial, cls)
        return
    rules, style = _rules(cls), Style(mark=rng.choice("..,"))
    words: list[str] = []
    meant: dict[str, str] = {}
    fields = [*NEEDED[cls], *(name for name in BARE[cls] if name not in NEEDED[cls] and rng.random() < 0.4)]
    for name in fields:
        text = _typed_number(trial, rules[name], style)
        cell = odd_cell(rng, text) if rng.random() < 0.04 else f"{text}{rng.choice(['', ' '])}{BARE[cls][name]}"
        if any(sign in cell for sign in "\"'\\") or "=" in cell:
            continue
        if rng.random() < 0.25:
            words.append(f"{name}={shlex.quote(cell) if ' ' in cell else cell}")
        else:
            words.append(cell)
        meant[name] = cell
    if cls is Pack:
        words.append("3S")
    if cls is Propeller:
        size = [written(rng, number(rng, 3, 20), style._replace(group="")).lstrip("+0") for _ in range(2)]
        words.append("x".join(size))
        meant |= dict(zip(("diameter_in", "pitch_in"), size, strict=True))
    rng.shuffle(words)
    line = " ".join(words)
    trial.show(line)
    looks_typed(line)
    part = read_part(cls, line, "--part").part
    if part is None:
        return
    for name, cell in meant.items():
        if name in ("diameter_in", "pitch_in"):
            _judge_size(trial, name, cell, getattr(part, name))
        elif scan(cell) is not None and scan(cell).unit.lower() in units_of(rules[name].unit):
            _judge(trial, f"typed {cls.__name__}", cell, getattr(part, name), Judge(rules[name], "", False))
    for name in BARE[cls]:
        value = getattr(part, name)
        if name not in meant and value is not None and not getattr(part, f"{name.rpartition('_')[0]}_estimated", False):
            if cls in (Pack, Controller) and name in ("mass_g", "c_rating"):
                continue  # assumed and said
            raise Misread(f"typed {cls.__name__}, {name}: nobody typed it, {value!r} was taken from {line!r}")


def _judge_size(trial: Trial, name: str, text: str, taken: float) -> None:
    trial.judged += 1
    wanted = float(text.replace(",", "."))
    if not same(taken, wanted):
        raise Misread(f"typed Propeller, {name}: {text!r} was taken as {taken!r}")


def _judge(trial: Trial, what: str, cell: str, taken: Any, judge: Judge) -> None:
    trial.judged += 1
    allowed = judge.allowed(cell)
    if taken is None or not any(same(float(taken), each) for each in allowed):
        raise Misread(f"{what}, {judge.rule.name}: {cell!r} was taken as {taken!r}, should be {allowed or 'asked for'}")


def _anything(trial: Trial, cls: type) -> None:
    rng = trial.rng
    stuff = (
        *ODD, "kv=", "i0=", "r=", "3S", "3S2P", "6x4", "6x4x3", "thin", "measured", "11.1V", "lipo", "=", "x", '"',
        "'", "ESC", "BEC 5V/2A", "30C/60C", "40A/10s", "2-3S", "no", "w/o BEC", "3-blade", "9800rpm", "62W", "mass=",
    )  # fmt: skip
    line = "".join(rng.choice(stuff) + rng.choice(["", " ", " ", ","]) for _ in range(rng.randint(1, 7)))
    trial.show(line)
    looks_typed(line)
    str(read_part(cls, line, "--part"))
    kind_of_name(line)
    if cls is not ListingRow:
        from_name(cls, line)
        for field in (
            "cells",
            "voltage",
            "size",
            "servo_supply",
            "c_rating",
            "max_current_a",
            "burst_current_a",
            "count",
        ):
            short_form(cls, field, line)


# ---------------------------------------------------------------- options

_NUMBERS = [
    *((PowerTrain, name) for name in ("count", "radio_current_a", "pack_temperature_c", "pack_cycles", "pack_rest_h")),
    (sections.Site, "altitude_m"), (sections.Site, "temperature_c"), (sections.Limits, "min_flight_minutes"),
    (sections.Limits, "min_thrust_to_weight"), (Motor, "max_current_a"), (Propeller, "pitch_in"),
]  # fmt: skip
_LISTS = (ranges.AIRSPEED, ranges.THROTTLE, ranges.CHARGE, ranges.ALTITUDE, ranges.TEMPERATURE,
          ranges.PUBLISHED_ALTITUDE, ranges.PUBLISHED_TEMPERATURE, ranges.THRUST, ranges.THRUSTS)  # fmt: skip


def options(trial: Trial) -> None:
    """A number, a list or a range typed for an option."""
    what = trial.rng.randrange(5)
    (_one_number, _number_list, _where, _reading, _answer)[what](trial)


def _text(trial: Trial, rule: Any) -> str:
    rng = trial.rng
    low = rule.ge if rule.ge is not None else rule.gt
    high = rule.le if rule.le is not None else rule.lt
    text = written(rng, number(rng, max(float(low or 0), 0.01), float(high or 1000)), Style(mark=rng.choice("...,")))
    if rng.random() < 0.15:
        return odd_cell(rng, text)
    return with_unit(rng, text, rule.unit) if rng.random() < 0.6 else text


def _one_number(trial: Trial) -> None:
    cls, field = trial.rng.choice(_NUMBERS)
    rule = _rules(cls)[field]
    text = _text(trial, rule)
    trial.show(f"{cls.__name__}.{field} {text!r}")
    value = read_number(cls, field, text, "--option")
    if not isinstance(value, Fault) and value is not None:
        _judge(trial, "option", text, value, Judge(rule, "", False))


def _number_list(trial: Trial) -> None:
    rng = trial.rng
    quantity = rng.choice(_LISTS)
    pieces = [_text(trial, quantity.rule) for _ in range(rng.choice([1, 1, 2, 3]))]
    text = (
        ",".join(pieces) if rng.random() < 0.7 else "..".join(pieces[:2]) + rng.choice(["", "/3", "/1", "/" + "9" * 20])
    )
    if rng.random() < 0.02:
        text = f"0..1/{'9' * 5000}"
    trial.show(f"{quantity.option} {text!r}")
    faults: list[Fault] = []
    values = ranges.read_values(quantity, text, faults)
    if faults or ".." in text:
        return
    _judge_list(trial, quantity, text, values)


def _judge_list(trial: Trial, quantity: Any, text: str, values: list[float]) -> None:
    """The option's help says that commas part a list, so decimals have points; a unit holds for its number alone."""
    trial.judged += 1
    cells = [scan(piece) for piece in text.split(",")]
    known, own = units_of(quantity.rule.unit), quantity.rule.unit.lower()
    units = [] if None in cells else [each.unit.lower() or own for each in cells]
    bare = any(each is not None and not each.unit for each in cells)
    if len(units) != len(values) or not {*units} <= known.keys() or (bare and any(known[unit] != 1 for unit in units)):
        raise Misread(f"option {quantity.option}, list: {text!r} was taken as {values!r}, should be asked for")
    for cell, unit, value in zip(cells, units, values, strict=True):
        number_read = cell.numbers.get(".", cell.numbers.get(""))
        if number_read is None or not same(value, float(number_read * known[unit])):
            raise Misread(f"option {quantity.option}, number: {text!r} was taken as {values!r}")


def _where(trial: Trial) -> None:
    rng = trial.rng
    cls = rng.choice([Motor, Controller, Pack, Propeller])
    rule = rng.choice([rule for rule in declared(cls) if rule.kind in ("number", "integer")])
    text = f"{rule.name}{rng.choice(['<', '<=', '>', '>=', '=', '!=', '=='])}{_text(trial, rule)}"
    trial.show(text)
    faults: list[Fault] = []
    condition(cls, [text], faults)(type("Part", (), dict.fromkeys((each.name for each in declared(cls)), 1.0)))


def _reading(trial: Trial) -> None:
    rng = trial.rng
    each = MEASUREMENTS[rng.choice(list(MEASUREMENTS))]
    text = written(rng, number(rng, 0.01, 10000), Style(mark=rng.choice("...,")))
    cell = (
        odd_cell(rng, text) if rng.random() < 0.2 else with_unit(rng, text, each.unit) if rng.random() < 0.5 else text
    )
    line = f"{each.name}={cell}{rng.choice(['', '', ' 2%', ' 2 %', ' x'])}"
    trial.show(line)
    try:
        (read,) = read_readings([line], {name: m.unit for name, m in MEASUREMENTS.items()})
    except InputFaults:
        return
    trial.judged += 1
    seen = scan(cell)
    factor = None if seen is None else units_of(each.unit).get((seen.unit or each.unit).lower())
    numbers = () if seen is None else [v for mark, v in seen.numbers.items() if mark in ("", ".")]
    if factor is None or not any(same(read.value, float(value * factor)) for value in numbers):
        raise Misread(f"reading, {each.name}: {line!r} was taken as {read.value!r} {each.unit}")


def _answer(trial: Trial) -> None:
    rng = trial.rng
    question = rng.choice(QUESTIONS)
    rule = _rules(getattr(sections, question.section))[question.key] if question.key else None
    text = rng.choice(ODD) if rule is None or rng.random() < 0.1 else _text(trial, rule)
    if question.name == "cells" and rng.random() < 0.8:
        text = rng.choice(
            ["2,3", "2-3", "3S", "2;3", "9" * 5000, "2-99999999", "3-2", "0", "٣", "2 3", ",", "1-14", "2-3,5"]
        )
    if question.name == "min_flight_minutes" and rng.random() < 0.3:
        text = rng.choice(["8:30", "8:61", ":30", "9" * 5000 + ":30", "8:3", "٨:30", "8:30:10", "-8:30"])
    trial.show(f"{question.option} {text!r}")
    value = read_answer(question, text, question.option)
    if rule is not None and ":" not in text and isinstance(value, float):
        _judge(trial, "answer", text, value, Judge(rule, "", False))
