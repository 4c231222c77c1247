"""A log of readings: from a file, a table or mappings to rows that can be fitted, every fault at once with its place.

Rows are read one at a time and no more than ``MOST_ROWS`` are kept: of a longer log, such as a logger's of many
megabytes, steady stretches are averaged while it is read, each becomes a row, and the log says so.
"""

import csv
import heapq
import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import chain, islice
from pathlib import Path
from typing import Any

import attrs

from propmatch.faults import Fault, InputFaults, did_you_mean
from propmatch.files import cell_meant
from propmatch.records.fields import Declared, check, declared, integer, number, record, text
from propmatch.records.headings import reading_meant
from propmatch.records.jsontext import parse_json
from propmatch.records.tomltext import read_keys, read_toml
from propmatch.records.workbook import WORKBOOKS, read_sheets
from propmatch.records.written import marks_shown, no_value, quantity
from propmatch.units import conversion, units_for

__all__ = ["BARE", "COLUMNS", "MOST_ROWS", "Log", "Reading", "read_log"]

BARE = "none"
"""The propeller of a bare shaft."""
MOST_ROWS = 60
STEADY = {"volts": 0.02, "amps": 0.06, "rpm": 0.02, "thrust_gf": 0.06, "torque_nm": 0.06}
"""How far readings may stray from the mean of a steady stretch; common practice, no published source."""
STEADY_THROTTLE, STEADY_AMPS, LEAST_SAMPLES = 0.02, 0.2, 5
_MOST_FAULTS, _MOST_FAULTY = 50, 2000
_LONGEST_LINE, _LOOKED_AT = 100_000, 500
_EXAMPLE = "{volts = 11.1, amps = 8.2}"
_EMPTY = ("", "-", "n/a", "nan")


@record()
class Reading:
    """One row of a log: what the instruments showed at one setting."""

    motor: str | None = text(default=None, doc="name of the motor")
    label_kv: float | None = number("rpm/V", ge=20, le=30000, default=None, doc="kV printed on the motor")
    mass_g: float | None = number("g", ge=0.5, le=5000, default=None, doc="mass of the motor")
    cells: int | None = integer(ge=1, le=14, default=None, doc="cells in series of the pack")
    propeller: str | None = text(default=None, doc="size as in 6x4, or id; none for a bare shaft")
    throttle: float | None = number(ge=0, le=1, default=None, doc="share of full throttle; 1 where it is not said")
    volts: float | None = number("V", gt=0, le=100, default=None, doc="at the ESC's input, under load")
    amps: float | None = number("A", ge=0, le=1000, default=None, doc="from the pack, all motors together")
    rpm: float | None = number("rpm", gt=0, le=300_000, default=None, doc="speed of the propeller")
    thrust_gf: float | None = number("gf", ge=0, le=100_000, default=None, doc="static thrust of all propellers")
    torque_nm: float | None = number("N m", ge=0, le=100, default=None, doc="torque of one propeller")
    charge_mah: float | None = number("mAh", ge=0, le=1e6, default=None, doc="charge drawn from the pack so far")
    seconds: float | None = number("s", ge=0, le=1e7, default=None, doc="time since the log began")
    temperature_c: float | None = number("degC", ge=-60, le=250, default=None, doc="of the motor's winding or case")
    line: int = integer(ge=0, default=0, doc="where it stands in the log")
    samples: int = integer(ge=1, default=1, doc="how many rows of the log it is the mean of")


COLUMNS: tuple[Declared, ...] = tuple(each for each in declared(Reading) if each.name not in ("line", "samples"))
"""What a log may hold."""
_AVERAGED = tuple(each.name for each in COLUMNS if each.kind == "number")
_SAME = tuple(each.name for each in COLUMNS if each.kind != "number")
Values = dict[str, Any]
_READ = ("volts", "amps", "rpm", "thrust_gf", "torque_nm")


@attrs.frozen(kw_only=True)
class Log:
    """Rows that were read.

    Attributes
    ----------
    where : str
        File, or what else it is.
    readings : tuple of Reading
    aside : tuple of Reading
        Rows set aside, with what could be read of them.
    faults : tuple of Fault
        Why they are, and what is hard to believe.
    rows : int
        How many rows the log has, good or not.
    """

    where: str
    readings: tuple[Reading, ...]
    aside: tuple[Reading, ...] = ()
    faults: tuple[Fault, ...] = ()
    rows: int = 0


def read_log(log: Any, where: str | None = None) -> Log:
    """Read a log.

    Parameters
    ----------
    log : path, mapping, sequence of mappings, or pandas.DataFrame
        A text file with a head of columns (CSV, semicolons or tabs), a workbook (its first sheet), TOML or JSON with
        ``rows``; a mapping of columns, or of one row. Keys are those of :class:`Reading`, units may stand in brackets.
    where : str, optional
        What faults name as their place.

    Raises
    ------
    InputFaults
        Nothing can be read; every fault at once.
    """
    named = where or (str(log) if isinstance(log, str | Path) else "log")
    keeper = _Keeper(named)
    try:
        heads, rows, delimiter = _table(log, named)
        readings = keeper.readings(heads, rows, delimiter)
        few = tuple(islice(readings, MOST_ROWS + 1))
        long = len(few) > MOST_ROWS
        kept = keeper.steady(chain(few, readings)) if long else tuple(Reading(**each) for each in few)
    except (UnicodeDecodeError, csv.Error) as error:
        raise InputFaults([Fault(named, rule=f"cannot be read as a table: {error}")]) from None
    if not kept:
        faults = keeper.all_faults()
        raise InputFaults(faults or [Fault(named, rule="holds no row of readings", hint=_heads_hint())])
    return Log(where=named, readings=kept, aside=tuple(keeper.aside), faults=keeper.all_faults(), rows=keeper.count)


def _heads_hint() -> str:
    return "columns: " + ", ".join(each.name for each in COLUMNS)


# ---------------------------------------------------------------- where rows come from

Rows = Iterator[tuple[int, Sequence[object]]]


def _table(log: Any, where: str) -> tuple[list[str], Rows, str]:
    """Heads and numbered rows of anything that can be a log, and what parts its fields, if anything does."""
    if isinstance(log, str | Path):
        return _file(Path(log), where)
    if hasattr(log, "columns") and hasattr(log, "itertuples"):
        rows = ((at, row) for at, row in enumerate(log.itertuples(index=False, name=None), start=1))
        return [str(each) for each in log.columns], rows, ""
    if isinstance(log, Mapping):
        return *_mappings(_spread(log, where)), ""
    if isinstance(log, Iterable):
        rows_of = list(log)
        if all(isinstance(each, Mapping) for each in rows_of):
            return *_mappings(rows_of), ""
    raise TypeError("a log is a path, a mapping, a list of mappings or a DataFrame")


def _rows_of(rows: Any, where: str, key: str = "") -> list[Mapping[str, Any]]:
    """Rows as a file has them."""
    rule = f"must be a table of columns, or a list of rows such as {_EXAMPLE}"
    if isinstance(rows, Mapping):
        return _spread(rows, where)
    if not isinstance(rows, list | tuple):
        raise InputFaults([Fault(where, key, rows, rule)])
    faults = [
        Fault(where, f"{key}[{at}]", row, f"must be a row such as {_EXAMPLE}")
        for at, row in enumerate(rows) if not isinstance(row, Mapping)
    ]  # fmt: skip
    if faults:
        raise InputFaults(faults[:_MOST_FAULTS])
    return list(rows)


def _spread(log: Mapping[str, Any], where: str) -> list[Mapping[str, Any]]:
    """Rows of a mapping: its ``rows``, its columns, or itself; what stands beside them holds for every row."""

    def several(value: object) -> bool:
        return hasattr(value, "__len__") and not isinstance(value, str | bytes | Mapping)

    if "rows" in log:
        beside = {key: value for key, value in log.items() if key != "rows"}
        return [{**beside, **row} for row in _rows_of(log["rows"], where, "rows")]
    columns = {key: value for key, value in log.items() if several(value)}
    beside = {key: value for key, value in log.items() if key not in columns}
    if not columns:
        return [beside]
    longest = max(len(value) for value in columns.values())
    return [
        {**beside, **{key: value[at] for key, value in columns.items() if at < len(value)}} for at in range(longest)
    ]


def _mappings(rows: Sequence[Mapping[str, Any]]) -> tuple[list[str], Rows]:
    heads = list(dict.fromkeys(str(key) for row in rows for key in row))
    return heads, ((at, [row.get(head) for head in heads]) for at, row in enumerate(rows, start=1))


def _file(path: Path, where: str) -> tuple[list[str], Rows, str]:
    kind = path.suffix.lower()
    if kind in (".json", ".toml"):
        return *_mappings(_rows_of(_keys(path, where), where)), ""
    if kind in WORKBOOKS:
        return *_workbook(path, where), ""
    lines = _lines(path, where)
    first = next(((at, line) for at, line in lines if line.strip() and not line.startswith("#")), None)
    if first is None:
        raise InputFaults([Fault(where, rule="is empty", hint=_heads_hint())])
    delimiter = max(",;\t", key=first[1].count)
    return next(csv.reader([first[1]], delimiter=delimiter)), _records(lines, delimiter, where), delimiter


def _records(lines: Iterator[tuple[int, str]], delimiter: str, where: str) -> Rows:
    """Cells of every row that is not blank and no note, with the line it begins in."""
    begun: list[int] = []

    def texts() -> Iterator[str]:
        for at, line in lines:
            if begun or (line.strip() and not line.startswith("#")):
                begun.append(at)
                yield line + "\n"

    reader = csv.reader(texts(), delimiter=delimiter, strict=True)
    try:
        for cells in reader:
            yield begun[0], cells
            begun.clear()
    except csv.Error as error:
        reason = "a quotation mark is not closed" if "unexpected end" in str(error) else str(error)
        place = f"{where}:{begun[0]}" if begun else where
        raise InputFaults([Fault(place, rule=f"cannot be split into columns: {reason}")]) from None


def _keys(path: Path, where: str) -> Any:
    """What a JSON or TOML file holds."""
    if path.suffix.lower() == ".json":
        raw, wrong = read_keys(path)
        found, faults = (None, wrong) if wrong else parse_json(raw.decode("utf-8-sig"), where)
    else:
        path.open("rb").close()
        read = read_toml(path)
        found, faults = read.data, read.faults
    if faults:
        raise InputFaults(faults)
    return found


def _lines(path: Path, where: str) -> Iterator[tuple[int, str]]:
    """Numbered lines, never one of more than ``_LONGEST_LINE`` characters."""
    with path.open(encoding="utf-8-sig", newline="") as file:
        at = 0
        while line := file.readline(_LONGEST_LINE):
            at += 1
            if len(line) == _LONGEST_LINE or "\0" in line:
                raise InputFaults([Fault(f"{where}:{at}", rule="is no line of a table; give a text file or workbook")])
            yield at, line.rstrip("\r\n")


def _workbook(path: Path, where: str) -> tuple[list[str], Rows]:
    sheets = read_sheets(path)
    if not sheets or not sheets[0][1]:
        raise InputFaults([Fault(where, rule="is empty", hint=_heads_hint())])
    (_, head), *rows = sheets[0][1]
    return [str(each) for each in head], iter(rows)


# ---------------------------------------------------------------- from cells to readings


class _Column:
    """A head that is understood: how its texts become the field's number.

    ``mark`` is the decimal mark that the log shows, else empty; ``points``: a point marks decimals all the same.
    """

    def __init__(self, at: int, head: str, rule: Declared, unit: str = "") -> None:
        self.at, self.head, self.rule, self.unit, self.mark, self.points = at, head, rule, unit, "", True
        self._convert = conversion(unit, rule.unit) if unit else None
        self._low = -math.inf if rule.ge is None else rule.ge
        self._above = -math.inf if rule.gt is None else rule.gt
        self._high = math.inf if rule.le is None else rule.le

    def value(self, cell: Any) -> Any:
        """The number or text; a ``Fault`` without a place where it is wrong."""
        if isinstance(cell, str) and (wrong := no_value(cell)):
            return Fault("", self.rule.name, cell, *wrong)
        if self.rule.name == "cells" and isinstance(cell, str):
            cell = cell.strip().removesuffix("s").removesuffix("S")
        if self.rule.kind == "text":
            return self._checked(cell_meant(str(cell).strip()))
        if isinstance(cell, str):
            if "," in cell or "_" in cell or ("." in cell and not self.points):
                return self._in_words(cell)
        elif isinstance(cell, bool) or str(getattr(cell, "dtype", "")) == "bool":
            return self._checked(bool(cell))
        try:
            found = float(cell)
        except (TypeError, ValueError):
            return self._in_words(cell)
        if self._convert is not None:
            found = self._convert(found)
        if self._low <= found <= self._high and found > self._above and self.rule.kind == "number":
            return found
        return self._checked(found)

    def _in_words(self, cell: Any) -> Any:
        """A number with its unit beside it, or with a comma."""
        if not isinstance(cell, str):
            return self._checked(cell)
        found = quantity(self.rule, cell, self.mark, self.unit, stated=bool(self.unit))
        return found if isinstance(found, Fault) else self._checked(found)

    def _checked(self, found: Any) -> Any:
        kept, problems = check(self.rule, found, self.rule.name, reading=True)
        return _said(self.rule, found, problems[0]) if problems else kept


def _said(rule: Declared, value: Any, problem: Any) -> Fault:
    """What is wrong with a number, in its own words where it is a usual mistake."""
    below = isinstance(value, float) and value < 0
    if rule.name == "rpm" and value == 0:
        text, hint = "is no reading: a motor that runs turns", "leave the cell empty where the speed was not read"
    elif rule.name == "amps" and below:
        text, hint = "current flows back into the pack", "turn the wattmeter round, or set its zero"
    elif rule.name == "throttle" and isinstance(value, float) and 1 < value <= 100:
        text, hint = "must be a share from 0 to 1", f"write {value / 100:g}, or {value:g}%"
    else:
        text, hint = problem.rule, problem.hint
    return Fault("", rule.name, value, text, hint)


def _settle_marks(columns: Sequence[_Column], rows: Sequence[tuple[int, Sequence[Any]]], delimiter: str) -> None:
    """Tell the columns the decimal mark that the first rows show; commas that part the fields settle nothing."""
    numbers = [column for column in columns if column.rule.kind != "text"]
    shown = marks_shown(
        cell
        for _, cells in rows
        for each in numbers
        if each.at < len(cells) and isinstance(cell := cells[each.at], str)
    )
    mark = next(iter(shown)) if len(shown) == 1 and not (shown == {","} and delimiter == ",") else ""
    for column in columns:
        column.mark, column.points = mark, mark == "." or not (shown or delimiter == ";")


class _Keeper:
    """Turns rows into readings and keeps what is wrong with them, within bounds."""

    def __init__(self, where: str) -> None:
        self.where, self.count, self._more, self._bad, self._last = where, 0, 0, 0, -math.inf
        self._faults: list[Fault] = []
        self.aside: list[Reading] = []
        self.notes: list[Fault] = []

    def all_faults(self) -> tuple[Fault, ...]:
        """Notes, faults, and how many more there were."""
        more = [Fault(self.where, rule=f"has {self._more} more faults like these")] if self._more else []
        return (*self._faults, *more, *self.notes)

    def _fault(self, fault: Fault) -> None:
        if len(self._faults) < _MOST_FAULTS:
            self._faults.append(fault)
        else:
            self._more += 1

    def readings(self, heads: Sequence[str], rows: Rows, delimiter: str) -> Iterator[Values]:
        """The numbers of every sound row; faulty ones are set aside."""
        columns = self._columns(heads)
        if not any(column.rule.name in _READ for column in columns):
            rule = "no column says what an instrument read"
            raise InputFaults([*self._faults, *self.notes, Fault(self.where, rule=rule, hint=_heads_hint())])
        few = list(islice(rows, _LOOKED_AT))
        _settle_marks(columns, few, delimiter)
        for at, cells in chain(few, rows):
            self.count += 1
            if self._bad > max(_MOST_FAULTY, self.count // 2):
                rule = (
                    f"{self._bad:,} of {self.count:,} rows above have faults; this one and all below it were not read"
                )
                self.notes.append(Fault(f"{self.where}:{at}", rule=rule, hint="mend the first of them"))
                return
            values = self._values(columns, at, cells) if self._is_whole(heads, at, cells) else None
            if values is not None and not values.keys().isdisjoint(_READ):
                values["line"] = at
                yield values

    def _is_whole(self, heads: Sequence[str], at: int, cells: Sequence[Any]) -> bool:
        """Whether a row has as many fields as there are heads; of more or fewer nobody knows whose they are."""
        more = any(cell not in (None, "") for cell in cells[len(heads) :])
        if not more and len(cells) >= len(heads):
            return True
        self._bad += 1
        rule = f"has {len(cells)} fields, the first row names {len(heads)}"
        hint = (
            "a decimal comma? write a point, or quote the field"
            if more
            else "write an empty field for what is not known"
        )
        self._fault(Fault(f"{self.where}:{at}", rule=rule, hint=hint))
        return False

    def _values(self, columns: Sequence[_Column], at: int, cells: Sequence[Any]) -> Values | None:
        values: Values = {}
        wrong: list[Fault] = []
        for column in columns:
            cell = cells[column.at] if column.at < len(cells) else None
            if cell is None or cell != cell or (isinstance(cell, str) and cell.strip().lower() in _EMPTY):
                continue
            found = column.value(cell)
            if isinstance(found, Fault):
                wrong.append(attrs.evolve(found, where=f"{self.where}:{at}", key=column.head))
            else:
                values[column.rule.name] = found
        if wrong:
            self._bad += 1
            unread = [each for each in wrong if each.value == 0]
            if len(unread) < len(wrong) or values.get("throttle") != 0:
                for each in wrong:
                    self._fault(each)
            if len(unread) < len(wrong):
                self._aside(values, at)
                return None
        return self._in_time(values, at)

    def _aside(self, values: Values, at: int) -> None:
        """Keep a row that is not fitted, unless there are too many."""
        if len(self.aside) < _MOST_FAULTS:
            self.aside.append(Reading(**{**values, "line": at}))

    def _in_time(self, values: Values, at: int) -> Values | None:
        if (seconds := values.get("seconds")) is not None:
            if seconds < self._last:
                rule = f"time runs backwards: {seconds:g} s after {self._last:g} s"
                self._fault(Fault(f"{self.where}:{at}", "seconds", seconds, rule, "sort the rows, or split two logs"))
                self._aside(values, at)
                return None
            self._last = seconds
        return values

    def _columns(self, heads: Sequence[str]) -> list[_Column]:
        known = {each.name: each for each in COLUMNS}
        found: dict[str, _Column] = {}
        for at, head in enumerate(heads):
            word = str(head).strip()
            name, unit = reading_meant(word)
            rule = known.get(name)
            if rule is None:
                if word:
                    hint = did_you_mean(word, known)
                    self.notes.append(
                        Fault(self.where, str(head), rule="is not a column that a fit uses", hint=hint, kind="warning")
                    )
            elif unit and rule.kind == "number" and conversion(unit, rule.unit) is None:
                units = " or ".join(each or "left out" for each in units_for(rule.unit))
                self._fault(Fault(self.where, str(head), unit, f"the unit must be {units}"))
            elif rule.name in found:
                self._fault(
                    Fault(self.where, str(head), rule=f"says {rule.name} again, as {found[rule.name].head} does")
                )
            else:
                found[rule.name] = _Column(at, str(head), rule, "" if rule.kind != "number" else unit)
        return list(found.values())

    # ------------------------------------------------------------ long logs

    def steady(self, readings: Iterable[Values]) -> tuple[Reading, ...]:
        """The longest steady stretches of a long log, each as its mean, in the order of the log."""
        longest: list[tuple[int, int, Reading]] = []
        stretch: _Stretch | None = None
        for reading in chain(readings, (None,)):
            if stretch is not None and reading is not None and stretch.takes(reading):
                continue
            if stretch is not None and stretch.samples >= LEAST_SAMPLES:
                item = (stretch.samples, -stretch.first["line"], stretch.mean())
                (heapq.heappush if len(longest) < MOST_ROWS else heapq.heappushpop)(longest, item)
            stretch = None if reading is None else _Stretch(reading)
        kept = tuple(each for _, _, each in sorted(longest, key=lambda item: -item[1]))
        share = sum(each.samples for each in kept)
        rule = (
            f"has {self.count:,} rows: {len(kept)} steady stretches, {share:,} rows, are averaged to a row each; the "
            "rest, where something changed, is left out"
        )
        self.notes.append(Fault(self.where, rule=rule, kind="warning" if kept else "fault"))
        return kept


class _Stretch:
    """Rows in a row that read the same."""

    def __init__(self, first: Values) -> None:
        self.first, self.samples = first, 1
        self._labels = tuple(first.get(name) for name in _SAME)
        self._numbers = {name: first[name] for name in _AVERAGED if name in first}
        self._within = [
            (name, STEADY[name], STEADY_AMPS if name == "amps" else 0.0) for name in STEADY if name in first
        ]

    def takes(self, reading: Values) -> bool:
        """Take a row in, unless it is beyond what a steady stretch may stray."""
        n, sums = self.samples, self._numbers
        if len(reading) != len(self.first) or tuple(map(reading.get, _SAME)) != self._labels:
            return False
        if abs(reading.get("throttle", 1.0) - self.first.get("throttle", 1.0)) > STEADY_THROTTLE:
            return False
        for name, within, least in self._within:
            value, mean = reading.get(name), sums[name] / n
            if value is None or abs(value - mean) > max(within * mean, least):
                return False
        for name in sums:
            sums[name] += reading[name]
        self.samples += 1
        return True

    def mean(self) -> Reading:
        """The stretch as one row."""
        means = {name: total / self.samples for name, total in self._numbers.items()}
        return Reading(**{**self.first, **means}, samples=self.samples)
