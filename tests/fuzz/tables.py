"""Tables of parts, propeller tables and measured logs: as text, and as workbooks."""

import contextlib
import datetime
import itertools
import math
import os
import pickle
import re
from collections import Counter
from functools import lru_cache
from pathlib import Path
from typing import Any

from propmatch.bench.loggertable import COLUMNS as FLIGHT_COLUMNS
from propmatch.bench.loggertable import read_flight_table
from propmatch.bench.readings import COLUMNS as LOG_COLUMNS
from propmatch.bench.readings import read_log
from propmatch.catalogue.pasted import read_pasted
from propmatch.faults import Fault, InputFaults
from propmatch.records import workbookchild
from propmatch.records.fields import Declared, declared
from propmatch.records.headings import SEVERAL, WORDS, same_words
from propmatch.records.parts import KINDS, Source
from propmatch_plugins.measured_tables import read_tables
from propmatch_plugins.reading.delimited import grid_of
from propmatch_plugins.reading.grid import Grid
from propmatch_plugins.reading.rows import read_rows
from propmatch_plugins.reading.runs import collect

from . import books
from .harness import Misread, Trial
from .oracle import UNITS, Judge, is_nothing, same, scan, units_of
from .writing import Style, damaged, number, odd_cell, table_bytes, with_unit, written

__all__ = ["bench_log", "coefficients", "flight_log", "parts_damaged", "parts_table", "parts_workbook", "pasted"]

USUAL = {
    "kv_rpm_per_v": (100, 9000), "mass_g": (1, 900), "resistance_ohm": (0.005, 1.0), "no_load_current_a": (0.1, 5),
    "max_current_a": (3, 200), "capacity_mah": (100, 9000), "c_rating": (5, 120), "diameter_in": (3, 20),
    "pitch_in": (2, 12), "cell_resistance_mohm": (1, 60), "resistance_mohm": (0.5, 40), "throttle": (0.05, 1.0),
    "volts": (3, 60), "amps": (0.2, 120), "rpm": (400, 40000), "thrust_gf": (5, 9000), "seconds": (0, 9000),
}  # fmt: skip
WHAT = Source(text="fuzz", kind="label")


class Column:
    """A column as somebody heads it: its field, unit, and whether a cell may say another unit."""

    def __init__(self, trial: Trial, cls: type, rule: Declared, own: bool) -> None:
        rng = trial.rng
        self.rule, self.head, self.unit, self.stated = rule, rule.name, "", True
        phrases = [] if own else _only_here(cls, rule.name)
        if phrases:
            self.head, self.stated = rng.choice(phrases), not rule.unit
            known = [word for word in units_of(rule.unit) if word]
            if rule.unit and rng.random() < 0.6 and known:
                self.unit, self.stated = rng.choice([rule.unit, *known]), True
                self.head += rng.choice([" ({})", " [{}]", ", {}", " in {}"]).format(self.unit)

    def cell(self, trial: Trial, style: Style) -> str:
        """A number of the field, written somehow."""
        rng, rule = trial.rng, self.rule
        if rng.random() < 0.06:
            return rng.choice(["", "", "-", "n/a", "?"])
        low, high = USUAL.get(rule.name, (rule.ge or rule.gt or 0.01, rule.le or rule.lt or 1000.0))
        value = number(rng, float(low), float(high))
        if rule.kind == "integer":
            value = float(max(1, round(min(value, 12))))
        unit = self.unit or rule.unit
        factor = units_of(rule.unit).get(unit.lower(), 1)
        text = written(rng, float(f"{value / float(factor):.5g}"), style)
        if rng.random() < 0.12:
            return odd_cell(rng, text)
        return with_unit(rng, text, unit) if rng.random() < 0.15 else text


@lru_cache
def _only_here(cls: type, name: str) -> list[str]:
    """The headings that mean one field of a class alone."""
    words = {field: {same_words(each) for each in text.split(";")} for field, text in WORDS[cls].items()}
    for field in (*(rule.name for rule in declared(cls)), *SEVERAL.get(cls, {})):
        words.setdefault(field, set()).add(same_words(field))
    units = {same_words(each) for table in UNITS.values() for each in table}
    return [
        phrase.strip() for phrase in WORDS[cls].get(name, "").split(";")
        if phrase.strip() and len(phrase.strip()) > 2 and same_words(phrase) not in units
        and sum(same_words(phrase) in some for some in words.values()) == 1
    ]  # fmt: skip


def _columns(trial: Trial, cls: type, own: bool) -> list[Column]:
    rules = [rule for rule in declared(cls) if rule.kind in ("number", "integer") and rule.name != "count"]
    needed = [rule for rule in rules if rule.required]
    more = trial.rng.sample([rule for rule in rules if not rule.required], trial.rng.randint(0, 4))
    found = [Column(trial, cls, rule, own) for rule in (*needed, *more)]
    trial.rng.shuffle(found)
    return found


def shown_marks(cells: list[str], delimiter: str = "") -> frozenset[str]:
    """The decimal marks that the numbers of a table settle by themselves; commas alone between commas do not.

    What stands behind a number is a unit or nothing: a cell that must be mended anyway settles no mark for the others.
    """
    unit = re.compile(r"(?!.*[\d=])([^\W\d]|[%°\"]).*|")
    found = [each for each in map(scan, (cell for cell in cells if not is_nothing(cell))) if each is not None]
    shown = frozenset(each.shows for each in found if each.shows and unit.fullmatch(each.unit))
    return frozenset(".,") if shown == {","} and delimiter == "," else shown


def _line(where: str) -> int:
    tail = where.rpartition(":")[2]
    return int(tail) if tail.isdigit() else 0


def _judge(trial: Trial, what: str, cell: str, taken: Any, judge: Judge) -> None:
    """Raise where a value is none of those a person may take from the cell."""
    if re.search(r"\d *[-−–/] *\d", cell):
        return  # a pair: continuous and burst
    trial.judged += 1
    if taken is None:
        if not is_nothing(cell):
            raise Misread(f"{what}, lost: {judge.rule.name} of {cell!r} is None")
        return
    allowed = judge.allowed(cell)
    if not any(same(float(taken), each) for each in allowed):
        how = "asked for" if not allowed else f"one of {allowed}"
        raise Misread(
            f"{what}, {judge.rule.name}: {cell!r} was taken as {taken!r}, should be {how} "
            f"(unit {judge.unit or judge.rule.unit!r}, stated {judge.stated}, marks {sorted(judge.marks)})"
        )


# ---------------------------------------------------------------- parts


def _parts(trial: Trial) -> tuple[str, list[Column], list[list[str]], Style, bool]:
    """Kind, columns, and rows of text with the heading first."""
    rng = trial.rng
    kind = rng.choice(list(KINDS))
    style, own = Style.any(rng), rng.random() < 0.5
    columns = _columns(trial, KINDS[kind], own)
    rows = [["name", *(each.head for each in columns)]]
    for at in range(rng.randint(1, 6)):
        rows.append([f"part {chr(97 + at)}", *(each.cell(trial, style) for each in columns)])
    return kind, columns, rows, style, own


def _check_parts(
    trial: Trial, what: str, kind: str, columns: list[Column], rows: list[list[Any]], items: list[Any], own: bool,
    delimiter: str = "",
) -> None:  # fmt: skip
    """Every part that was made has the numbers of its row."""
    said = [fault for item in items for fault in ((item,) if isinstance(item, Fault) else item.faults)]
    faulty, kept = {_line(each.where) for each in said if each.kind == "fault"}, " ".join(each.rule for each in said)
    texts = [cell for row in rows[1:] for cell in row[1:] if isinstance(cell, str)]
    marks, names = shown_marks(texts, delimiter), {row[0]: row for row in rows[1:]}
    for item in items:
        if isinstance(item, Fault):
            if "failed to read it" in item.rule:
                raise Misread(f"{what}, hidden exception: {item}")
            continue
        if item.part is None or _line(item.where) in faulty:
            continue
        row = names.get(item.part.name)
        if row is None:
            raise Misread(f"{what}, name: no row has the name {item.part.name!r}")
        for column, cell in zip(columns, row[1:], strict=True):
            taken = getattr(item.part, column.rule.name)
            if f"{column.head}" in kept.partition("kept as notes")[2] or (
                is_nothing(str(cell)) and isinstance(cell, str)
            ):
                continue
            if isinstance(cell, str):
                _judge(trial, what, cell, taken, Judge(column.rule, column.unit, column.stated, marks, own))
            elif taken is None or not same(
                taken, cell * float(units_of(column.rule.unit).get((column.unit or column.rule.unit).lower(), 1))
            ):
                raise Misread(f"{what}, {column.rule.name}: the number {cell!r} was taken as {taken!r}")


def parts_table(trial: Trial) -> None:
    """A text table of parts."""
    kind, columns, rows, style, own = _parts(trial)
    raw = table_bytes(trial.rng, rows, style)
    trial.show(raw)
    grid = grid_of(raw, "f.csv", trial.folder)
    known = kind if trial.rng.random() < 0.8 else None
    items = list(read_rows(grid, known, plugin="f", source=WHAT))
    if known and style.encoding != "cp1252":
        _check_parts(trial, "table", kind, columns, rows, items, own, style.delimiter)


def parts_damaged(trial: Trial) -> None:
    """A text table with damaged bytes."""
    kind, _, rows, style, _ = _parts(trial)
    raw = damaged(trial.rng, table_bytes(trial.rng, rows, style))
    trial.show(raw)
    grid = grid_of(raw, "f.csv", trial.folder)
    for item in read_rows(grid, trial.rng.choice([kind, None]), plugin="f", source=WHAT):
        str(item)


def pasted(trial: Trial) -> None:
    """A table, or typed lines, as they come from the clipboard."""
    kind, columns, rows, style, own = _parts(trial)
    raw = table_bytes(trial.rng, rows, style._replace(encoding="utf-8"))
    broken = trial.rng.random() < 0.5
    raw = damaged(trial.rng, raw) if broken else raw
    trial.show(raw)
    try:
        found = read_pasted(raw, trial.rng.choice([kind, kind, None]))
    except InputFaults as error:
        str(error)
        return
    if found.sentence and not broken and found.columns:
        items = [
            type("Row", (), {"part": part, "where": "", "faults": tuple(found.faults)})()
            for each, part in found.parts
            if each == kind
        ]
        marks = shown_marks([cell for row in rows[1:] for cell in row[1:]], style.delimiter)
        names = {row[0]: row for row in rows[1:]}
        noted = " ".join(fault.rule for fault in found.faults).partition("kept as notes")[2] + " ".join(
            each for each in found.columns if each.endswith("notes")
        )
        for item in items:
            for column, cell in zip(columns, names.get(item.part.name, [""] * (len(columns) + 1))[1:], strict=True):
                if column.head not in noted and not is_nothing(cell):
                    _judge(
                        trial,
                        "pasted",
                        cell,
                        getattr(item.part, column.rule.name),
                        Judge(column.rule, column.unit, column.stated, marks, own),
                    )


# ---------------------------------------------------------------- workbooks


def _book_cell(trial: Trial, text: str) -> Any:
    """A cell of a workbook: mostly a number where the text is one."""
    rng = trial.rng
    if rng.random() < 0.75 and re.fullmatch(r"\d{1,6}(\.\d{1,6})?", text):
        return float(text)
    if rng.random() < 0.03:
        return rng.choice([True, False, datetime.datetime(2024, 5, 1), datetime.time(3, 30), 1e300, -5.0])
    return text if all(ord(sign) >= 32 or sign in "\t\n" for sign in text) and len(text) < 400 else "x"


def _sheets(path: Path) -> list[Any]:
    """The cells that a process of its own reads, as the project has it do; none where that ends without an answer."""
    receive, send = os.pipe()
    child = os.fork()
    if not child:
        os.close(receive)
        with contextlib.suppress(BaseException), open(send, "wb") as pipe:
            pickle.dump(workbookchild.sheets(str(path)), pipe)
        os._exit(0)
    os.close(send)
    with open(receive, "rb") as pipe:
        raw = pipe.read()
    os.waitpid(child, 0)
    return pickle.loads(raw) if raw else []


def parts_workbook(trial: Trial) -> None:
    """A workbook of parts, sound or damaged: .xlsx, .ods or .xls."""
    kind, columns, rows, _, own = _parts(trial)
    cells = [rows[0], *([row[0], *(_book_cell(trial, cell) for cell in row[1:])] for row in rows[1:])]
    trial.show(cells)
    ending, write = trial.rng.choice([(".xlsx", books.xlsx), (".ods", books.ods), (".xls", books.xls)])
    raw = write(kind, cells)
    broken = trial.rng.random() < 0.5
    if broken:
        raw = damaged(trial.rng, raw) if trial.rng.random() < 0.5 else books.damaged_inside(trial.rng, raw)
    path = trial.folder / f"book{ending}"
    path.write_bytes(raw)
    found = _sheets(path)
    if not broken and not found:
        raise Misread(f"workbook {ending}, lost: a sound one is not read")
    for name, numbered in found:
        if not numbered:
            continue
        (line, head), *below = numbered
        grid = Grid(f"f:{name}", Path(), header=tuple(map(str, head)), header_line=line, rows=iter(below)).look()
        items = list(read_rows(grid, kind, plugin="f", source=WHAT))
        if not broken:
            sound = [row for row in cells if all(isinstance(each, str | float) for each in row)]
            odd = {row[0] for row in cells} - {row[0] for row in sound}
            for item in items:
                if not isinstance(item, Fault) and item.part is not None and item.part.name in odd:
                    row = next(row for row in cells if row[0] == item.part.name)
                    for column, cell in zip(columns, row[1:], strict=True):
                        if isinstance(cell, bool | datetime.date | datetime.time) and column.head not in str(items):
                            taken = getattr(item.part, column.rule.name)
                            raise Misread(f"workbook, {column.rule.name}: {cell!r} was taken as {taken!r}")
            items = [
                each for each in items if isinstance(each, Fault) or each.part is None or each.part.name not in odd
            ]
            _check_parts(trial, f"workbook {ending}", kind, columns, cells, items, own)


# ---------------------------------------------------------------- propeller tables


def coefficients(trial: Trial) -> None:
    """A long table, a run file, or a table lent beside it."""
    rng = trial.rng
    if rng.random() < 0.15:
        _lent(trial)
        return
    style = Style.any(rng)
    rules = {"rpm": Declared(kind="number", name="rpm", unit="rpm", gt=0, le=300000),
             "J": Declared(kind="number", name="J", ge=0, le=10), "CT": Declared(kind="number", name="CT", ge=-2, le=2),
             "CP": Declared(kind="number", name="CP", ge=-2, le=2)}  # fmt: skip
    usual = {"rpm": (1000, 9000), "J": (0.05, 0.9), "CT": (0.001, 0.2), "CP": (0.001, 0.1)}
    rows = [["propeller", *rules]]
    for _ in range(rng.randint(2, 8)):
        cells = [written(rng, number(rng, *usual[name]), style) for name in rules]
        rows.append(["invented 9x4.5", *(odd_cell(rng, cell) if rng.random() < 0.06 else cell for cell in cells)])
    raw, broken = table_bytes(rng, rows, style), rng.random() < 0.3
    path = trial.file("long.csv", damaged(rng, raw) if broken else raw)
    found, faults, others = collect([path])
    if rng.random() < 0.03:
        read_tables([path], cache=False)
    if broken or style.encoding == "cp1252" or others:
        return
    faulty = {_line(fault.where) for fault in faults if fault.kind == "fault"}
    lines = _line_numbers(rows, style)
    sound = [row for row, line in zip(rows[1:], lines, strict=True) if line not in faulty]
    taken = [row for each in found.values() for row in each.rows]
    if len(taken) != len(sound):
        if not any(fault.where.count(":") == 0 or "not read" in fault.rule for fault in faults):
            raise Misread(f"propeller table, rows: {len(taken)} were taken of {len(sound)} without a fault")
        return
    marks = shown_marks([cell for row in rows[1:] for cell in row[1:]], style.delimiter)
    for row, values in zip(sound, taken, strict=True):
        for (_, rule), cell, value in zip(rules.items(), row[1:], values, strict=False):
            _judge(trial, "propeller table", cell, value, Judge(rule, "", True, marks, points=True))


def _line_numbers(rows: list[list[str]], style: Style) -> list[int]:
    """Line of each row below the heading, where cells may hold line breaks."""
    lines, at = [], 2
    for row in rows[1:]:
        lines.append(at)
        at += 1 + sum(cell.count("\n") for cell in row)
    return lines


def _lent(trial: Trial) -> None:
    """Blade angles, or true diameters."""
    rng, style = trial.rng, Style.any(trial.rng)
    head = rng.choice([["propeller", "r_over_R", "beta_deg"], ["propeller", "true_diameter_in"]])
    rows = [head]
    for _ in range(4):
        cells = [written(rng, number(rng, 0.1, 1.0), style) for _ in head[1:]]
        rows.append(["invented 9x4.5", *(odd_cell(rng, cell) if rng.random() < 0.1 else cell for cell in cells)])
    lent = trial.file("geometry.csv", table_bytes(rng, rows, style))
    read_tables([lent], cache=False)


# ---------------------------------------------------------------- logs


def bench_log(trial: Trial) -> None:
    """A log of bench readings: text, JSON or a workbook's cells."""
    rng, style = trial.rng, Style.any(trial.rng)._replace(encoding="utf-8")
    style = style._replace(delimiter=rng.choice(",;\t"))
    rules = {rule.name: rule for rule in LOG_COLUMNS if rule.kind == "number"}
    names = rng.sample(
        ["volts", "amps", "rpm", "thrust_gf", "throttle", "temperature_c", "torque_nm"], rng.randint(2, 5)
    )
    names += [] if {"volts", "amps", "rpm", "thrust_gf", "torque_nm"} & {*names} else ["volts"]
    units = {name: rng.choice(["", "", *filter(None, units_of(rules[name].unit))]) for name in names}
    heads = [f"{name} [{unit}]" if (unit := units[name]) else name for name in names]
    rows = [[*heads, "propeller"]]
    for _ in range(rng.randint(1, 8) if rng.random() < 0.97 else 90):
        cells = []
        for name in names:
            low, high = USUAL.get(name, (0.1, 60.0))
            factor = float(units_of(rules[name].unit).get(units[name].lower() or rules[name].unit.lower(), 1))
            text = written(rng, float(f"{number(rng, low, high) / factor:.5g}"), style)
            cells.append(odd_cell(rng, text) if rng.random() < 0.08 else text)
        rows.append([*cells, rng.choice(["6x4", "6x4", "none", ""])])
    if rng.random() < 0.1:
        _log_of_mappings(trial, names, rules)
        return
    raw, broken = table_bytes(rng, rows, style), rng.random() < 0.3
    path = trial.file("log.csv", damaged(rng, raw) if broken else raw)
    try:
        log = read_log(path)
    except InputFaults as error:
        str(error)
        return
    if broken or len(rows) > 60:
        return
    lines = _line_numbers(rows, style)
    if any(fault.key.partition(" [")[0] in names for fault in log.faults if not _line(fault.where)):
        return
    marks = shown_marks([cell for row in rows[1:] for cell in row[:-1]], style.delimiter)
    for reading in log.readings:
        if reading.line not in lines:
            continue
        row = rows[1 + lines.index(reading.line)]
        for name, cell in zip(names, row, strict=False):
            taken = getattr(reading, name)
            if taken is None and cell.strip().lower() == "nan":
                continue
            if taken is None and any(_line(fault.where) == reading.line for fault in log.faults):
                continue
            _judge(
                trial, "bench log", cell, taken, Judge(rules[name], units[name], bool(units[name]), marks, points=True)
            )


def _log_of_mappings(trial: Trial, names: list[str], rules: dict[str, Declared]) -> None:
    rng = trial.rng
    odd: list[Any] = [True, False, None, [], {}, "x", "5 V", 1e400, -1, 10**30, float("nan"), "1,100", "12,5", b"5"]
    rows = [
        {name: rng.choice(odd) if rng.random() < 0.1 else number(rng, *USUAL.get(name, (0.1, 60.0))) for name in names}
        for _ in range(3)
    ]
    trial.show(rows)
    try:
        log = read_log(rows)
    except InputFaults as error:
        str(error)
        return
    for reading in log.readings:
        for name, value in rows[reading.line - 1].items():
            taken = getattr(reading, name)
            if isinstance(value, bool) and taken is not None:
                raise Misread(f"log of mappings, {name}: {value!r} was taken as {taken!r}")
            trial.judged += 1
            if isinstance(value, float) and taken is not None and not same(taken, value):
                raise Misread(f"log of mappings, {name}: {value!r} was taken as {taken!r}")


def flight_log(trial: Trial) -> None:
    """A logger's table of a flight: the charge must be that of its rows, each second's mean that of its neighbours."""
    rng = trial.rng
    style = Style(rng.choice(",;\t"), rng.choice("..,"), line=rng.choice(["\n", "\r\n"]))
    names = [
        "seconds",
        "amps",
        *rng.sample(["volts", "airspeed_m_s", "height_m", "throttle", "note"], rng.randint(0, 3)),
    ]
    rows, clock = [names], 0.0
    for _ in range(rng.randint(2, 30)):
        clock = round(clock + rng.choice([0.2, 0.5, 1.0, 1.25]), 3)
        cells = [written(rng, clock, style) if clock else "0"]
        usual = {"amps": (0.1, 60), "volts": (6, 25), "throttle": (0.05, 1)}
        cells += [written(rng, number(rng, *usual.get(name, (1, 30))), style) for name in names[1:]]
        rows.append([odd_cell(rng, cell) if rng.random() < 0.01 else cell for cell in cells])
    raw, broken = table_bytes(rng, rows, style), rng.random() < 0.3
    path = trial.file("flight.csv", damaged(rng, raw) if broken else raw)
    try:
        table = read_flight_table(str(path))
    except InputFaults as error:
        str(error)
        return
    if broken:
        return
    _check_flight(trial, names, rows, style, table)


def _check_flight(trial: Trial, names: list[str], rows: list[list[str]], style: Style, table: Any) -> None:
    """Seconds and charge against a plain sum over the rows."""
    judges = {name: Judge(Declared(kind="number", name=name, unit=FLIGHT_COLUMNS[name].partition(" ")[0].rstrip(",")),
                          marks=frozenset("."), points=True) for name in ("seconds", "amps")}  # fmt: skip
    whole = []
    for row in rows[1:]:
        read = []
        for name, cell in zip(names[:2], row[:2], strict=True):
            if is_nothing(cell) or cell.strip().lower() == "nan":
                read.append(math.nan)
                continue
            unit_less = scan(cell)
            allowed = judges[name].allowed(cell) if unit_less and not unit_less.unit else []
            if len(allowed) != 1:
                raise Misread(f"flight log, {name}: {cell!r} was taken, should be asked for")
            read.append(allowed[0])
        if not any(map(math.isnan, read)):
            whole.append(read)
    trial.judged += len(whole)
    charge = sum(0.5 * (a[1] + b[1]) * (b[0] - a[0]) for a, b in itertools.pairwise(whole))
    taken = float((table.amps * table.seconds).sum())
    if not math.isclose(charge, taken, rel_tol=1e-9, abs_tol=1e-9):
        raise Misread(f"flight log, charge: {taken!r} A s were taken, the rows say {charge!r}")
    counted = Counter(type(each) for each in whole)
    if table.rows != sum(counted.values()):
        raise Misread(f"flight log, rows: {table.rows} were taken of {len(whole)}")
