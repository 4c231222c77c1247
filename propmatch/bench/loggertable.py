"""A logger's table of one flight, read in pieces and kept as seconds; its phases, beside what is predicted for them.

Of any number of rows only sums over whole seconds are kept, so that memory is bounded by the length of the flight.
Between two rows a value is the mean of both.

The phases: the motor is off up to ``OFF_THROTTLE``, full throttle is from ``FULL_THROTTLE`` on; without a throttle
column the motor is off where hardly more than receiver and servos draw, and full throttle is within a tenth of the
highest current, if that is half as much again as the usual one. What lies between is cut into stretches of ten seconds;
a stretch holds its speed where that varies by less than ``STEADY_SPEED`` (standard deviation) and, where heights are
logged, the height of its energy, h + V^2/(2 g), changes by less than ``STEADY_CLIMB_M_S``. Stretches within a tenth of
one speed make a band.
"""

import itertools
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import attrs
import numpy as np

from propmatch.aircraft.flight import level_lanes
from propmatch.bench.flightlog import AIRSPEED_SD, CAPACITY_OVER, Band, held_airspeed_m_s
from propmatch.bench.flightworld import Aircraft
from propmatch.checks.setting import Setting
from propmatch.columns import number
from propmatch.faults import Fault, InputFaults, did_you_mean
from propmatch.models.arrays import Flags, Floats
from propmatch.records.parts import PowerTrain
from propmatch.status import Status
from propmatch.train.coupling import solve_lanes
from propmatch.units import GRAVITY_M_S2, KMH_M_S, MAH_AH

__all__ = ["COLUMNS", "FlightTable", "LoggedFlight", "LoggedPhase", "Stretch", "logged_flight", "phases_said",
           "read_flight_table", "stretches_of"]  # fmt: skip

COLUMNS = {
    "seconds": "s, rising", "amps": "A of the pack", "volts": "V of the pack", "airspeed_m_s": "m/s",
    "ground_speed_m_s": "m/s", "height_m": "m", "throttle": "0 to 1",
}  # fmt: skip
"""What is read of a table, ``seconds`` and ``amps`` at least; any other column is left alone."""
_OTHER_UNITS = {
    "airspeed_km_h": ("airspeed_m_s", KMH_M_S), "ground_speed_km_h": ("ground_speed_m_s", KMH_M_S),
    "throttle_percent": ("throttle", 0.01), "minutes": ("seconds", 60.0), "milliseconds": ("seconds", 1e-3),
}  # fmt: skip
_NEEDED = ("seconds", "amps")
_RANGE = {"amps": (-1.0, 1000.0), "volts": (0.0, 100.0), "airspeed_m_s": (-5.0, 200.0),
          "ground_speed_m_s": (-1.0, 200.0), "height_m": (-1000.0, 9000.0), "throttle": (-0.05, 1.2)}  # fmt: skip
LONGEST_S, GAP_S = 6 * 3600, 10.0
OFF_THROTTLE, FULL_THROTTLE = 0.03, 0.95
STRETCH_S, STEADY_SPEED, STEADY_CLIMB_M_S, BAND_LN = 10.0, 0.15, 1.0, 0.1
_LEAST_BAND_S, _LEAST_SPEED_M_S = 20.0, 2.0
_FULL_OVER = 1.03
_ROWS, _MOST_FAULTS, _LONGEST_LINE = 50_000, 5, 100_000
_NOT_LOGGED = ("", "-", "--", "n/a", "N/A", "NA", "nan", "NaN", "null", "None")
_KINDS = ("motor off", "held", "full throttle", "other")
AMPS_SD, AIRSPEED_SENSOR_SD, GROUND_SPEED_SD = 0.03, 0.03, 0.08
"""sd of ln of a logger's amps, of an airspeed sensor, and of the speed over ground where it stands for the airspeed:
common practice, no published source."""


@attrs.frozen(kw_only=True, eq=False)
class FlightTable:
    """A flight second by second.

    Attributes
    ----------
    name : str
    seconds : (B,), how much of each second was logged
    amps, volts, speed_m_s, height_m, throttle : (B,), means; NaN where nothing was logged
    speed_kind : ``airspeed``, ``ground speed``, or empty where there is none
    rows : int
    longest_gap_s : float
    """

    name: str
    seconds: Floats
    amps: Floats
    volts: Floats
    speed_m_s: Floats
    height_m: Floats
    throttle: Floats
    speed_kind: str
    rows: int
    longest_gap_s: float

    @property
    def used_mah(self) -> Floats:
        """Charge drawn up to the middle of each second (B,) [mAh]."""
        each = np.nan_to_num(self.amps) * self.seconds / 3.6
        return np.asarray(np.cumsum(each) - 0.5 * each)


# ---------------------------------------------------------------- reading


def read_flight_table(path: str) -> FlightTable:
    """Read a table with a head, separated by comma, semicolon or tab.

    Raises
    ------
    InputFaults
        Nothing in it, a column missing, text among the numbers, numbers out of range, time that runs backwards, more
        than six hours.
    """
    name = Path(path).name
    _of_lines(path)
    with Path(path).open(encoding="utf-8-sig", errors="replace") as file:
        head = file.readline()
    if not head.strip():
        raise InputFaults([Fault(name, rule="is empty: it needs a head and rows, seconds and amps at least")])
    separator = max(",;\t", key=head.count)
    heads = [each.strip().strip('"').lower() for each in head.rstrip("\n").split(separator)]
    known = {each: at for at, each in enumerate(heads) if each in COLUMNS or each in _OTHER_UNITS}
    given = {_OTHER_UNITS.get(each, (each, 1.0))[0] for each in known}
    missing = [each for each in _NEEDED if each not in given]
    if missing:
        hint = next(filter(None, (did_you_mean(each, heads) for each in missing)), "")
        rule = f"has no column {' and none '.join(missing)}; its head needs seconds and amps, and may have "
        rule += ", ".join(each for each in COLUMNS if each not in _NEEDED)
        raise InputFaults([Fault(f"{name}:1", rule=rule, hint=hint)])
    sums = _Sums(name)
    for first_line, values in _pieces(path, separator, len(heads), known):
        sums.add(first_line, values)
        if sums.faults:
            raise InputFaults(sums.faults[:_MOST_FAULTS])
    return sums.table("airspeed" if "airspeed_m_s" in given else "ground speed" if "ground_speed_m_s" in given else "")


def _of_lines(path: str) -> None:
    """A fault where so much of a file is one line that it is none of a table."""
    with Path(path).open("rb") as file:
        while piece := file.read(_LONGEST_LINE):
            if len(piece) == _LONGEST_LINE and b"\n" not in piece and b"\r" not in piece:
                raise InputFaults([Fault(Path(path).name, rule=f"has a line of more than {_LONGEST_LINE:,} bytes")])


def _pieces(
    path: str, separator: str, columns: int, known: dict[str, int]
) -> Iterator[tuple[int, dict[str, Any]]]:  # fmt: skip
    """Line of the first row, and columns as they stand, of some rows at a time."""
    import pandas as pd

    try:
        with pd.read_csv(
            path, sep=separator, header=None, skiprows=1, names=range(columns + 1), index_col=False, chunksize=_ROWS,
            skip_blank_lines=False, encoding_errors="replace", keep_default_na=False, na_values=_NOT_LOGGED,
        ) as reader:  # fmt: skip
            for piece in filter(len, reader):
                first_line = int(piece.index[0]) + 2
                for row in np.flatnonzero(piece[columns].notna())[:1]:
                    raise InputFaults([_too_many(path, first_line + row, columns)])
                yield first_line, {head: piece[at] for head, at in known.items()}
    except pd.errors.EmptyDataError:
        return
    except pd.errors.ParserError as error:
        if longer := re.search(r"Expected \d+ fields in line (\d+), saw", str(error)):
            raise InputFaults([_too_many(path, int(longer[1]), columns)]) from None
        raise InputFaults(
            [Fault(Path(path).name, rule="cannot be read as a table of numbers", hint=str(error))]
        ) from None


def _too_many(path: str, line: int, columns: int) -> Fault:
    """Of a row with more fields than the head nobody knows which number is whose."""
    rule = f"has more fields than the {columns} of the first row"
    return Fault(
        f"{Path(path).name}:{line}", rule=rule, hint="a decimal comma? write a point, or part the fields with ;"
    )


class _Sums:
    """Sums over whole seconds of the rows so far."""

    def __init__(self, name: str) -> None:
        self.name, self.rows, self.gap = name, 0, 0.0
        self.faults: list[Fault] = []
        self.last: Floats | None = None
        self.start = 0.0
        self.time = np.zeros(LONGEST_S + 1)
        self.sums = np.zeros((len(COLUMNS), LONGEST_S + 1))
        self.times = np.zeros((len(COLUMNS), LONGEST_S + 1))

    def add(self, first_line: int, columns: dict[str, Any]) -> None:
        """Take in some rows."""
        rows = len(next(iter(columns.values())))
        values = np.full((rows, len(COLUMNS)), np.nan)
        for head, column in columns.items():
            name, factor = _OTHER_UNITS.get(head, (head, 1.0))
            values[:, list(COLUMNS).index(name)] = factor * self.numbers(head, column, first_line)
        lines = first_line + np.arange(rows)
        for at, name in enumerate(COLUMNS):
            low, high = _RANGE.get(name, (-np.inf, np.inf))
            for row in np.flatnonzero((values[:, at] < low) | (values[:, at] > high))[:_MOST_FAULTS]:
                rule = f"must lie in {low:g} to {high:g} ({COLUMNS[name]})"
                self.faults.append(Fault(f"{self.name}:{lines[row]}", name, float(values[row, at]), rule))
        whole = np.isfinite(values[:, :2]).all(axis=1)
        self.pairs(values[whole], lines[whole])

    def numbers(self, head: str, column: Any, first_line: int) -> Floats:
        """A column as numbers; text in it is a fault, an empty cell is not."""
        import pandas as pd

        if pd.api.types.is_bool_dtype(column):
            column = column.astype(str)
        found = np.array(pd.to_numeric(column, errors="coerce"), dtype=np.float64)
        found[np.isinf(found)] = np.nan
        for row in np.flatnonzero(np.isnan(found) & np.asarray(column.notna()))[:_MOST_FAULTS]:
            hint = "write a decimal point" if "," in str(column.iloc[row]) else ""
            self.faults.append(
                Fault(f"{self.name}:{first_line + row}", head, str(column.iloc[row]), "is no number", hint)
            )
        return found

    def pairs(self, values: Floats, lines: Any) -> None:
        """Each row and the one before it."""
        if not len(values):
            return
        if self.last is None:
            self.start = values[0, 0]
        else:
            values, lines = np.vstack([self.last, values]), np.concatenate([[lines[0]], lines])
        self.rows += len(values) - (self.last is not None)
        self.last = values[-1]
        step = np.diff(values[:, 0])
        for row in np.flatnonzero(step < 0)[:1]:
            rule = f"time runs backwards, after {values[row, 0]:g} s; is this more than one flight?"
            self.faults.append(Fault(f"{self.name}:{lines[row + 1]}", "seconds", float(values[row + 1, 0]), rule))
        if values[-1, 0] - self.start > LONGEST_S:
            rule = f"is more than {LONGEST_S / 3600:g} hours from the first row: are these milliseconds?"
            self.faults.append(Fault(f"{self.name}:{lines[-1]}", "seconds", float(values[-1, 0]), rule))
        if self.faults or not step.size:
            return
        self.gap = max(self.gap, float(step.max()))
        middle = 0.5 * (values[1:] + values[:-1])
        second = (middle[:, 0] - self.start).astype(np.intp)
        np.add.at(self.time, second, step)
        for at in range(1, len(COLUMNS)):
            good = np.isfinite(middle[:, at])
            np.add.at(self.sums[at], second[good], step[good] * middle[good, at])
            np.add.at(self.times[at], second[good], step[good])

    def table(self, speed_kind: str) -> FlightTable:
        """Means of each second."""
        if self.rows < 2 or not self.time.any():
            rule = "has no two rows with numbers: a flight needs seconds that go by"
            raise InputFaults([Fault(self.name, rule=rule)])
        some = np.flatnonzero(self.time)
        with np.errstate(invalid="ignore", divide="ignore"):
            mean = dict(zip(COLUMNS, self.sums[:, some] / self.times[:, some], strict=True))
        speed = "ground_speed_m_s" if speed_kind == "ground speed" else "airspeed_m_s"
        return FlightTable(
            name=self.name, seconds=self.time[some], amps=mean["amps"], volts=mean["volts"], speed_m_s=mean[speed],
            height_m=mean["height_m"], throttle=mean["throttle"], speed_kind=speed_kind, rows=self.rows,
            longest_gap_s=self.gap,
        )  # fmt: skip


# ---------------------------------------------------------------- phases


@attrs.frozen(kw_only=True)
class Stretch:
    """A part of a table: ``kind`` is ``full throttle``, ``motor off``, ``held`` or ``other``; numbers are means.

    Attributes
    ----------
    seconds : float
    amps, volts, airspeed_m_s, climb_m_s : float
        NaN where not logged.
    used_mah : float
        Charge drawn from the pack up to its middle.
    drawn_mah : float
        Charge drawn in it.
    """

    kind: str
    seconds: float
    amps: float
    volts: float
    airspeed_m_s: float
    climb_m_s: float
    used_mah: float
    drawn_mah: float


def stretches_of(table: FlightTable, radio_a: float) -> list[Stretch]:
    """The flight, from the first to the last moment of a running motor, by phases; ``radio_a`` is drawn beside it."""
    full, off = _kinds(table, radio_a)
    running = np.flatnonzero(~off)
    if not running.size:
        return []
    kind = np.where(full, 2, np.where(off, 0, 1))[running[0] : running[-1] + 1]
    change = np.diff(kind) != 0
    turning = np.append(change, False) | np.insert(change, 0, False)
    kind = np.where((kind == 1) & turning, 3, kind)
    first, clock = running[0], np.cumsum(table.seconds)
    edges = [0, *(np.flatnonzero(np.diff(kind)) + 1), kind.size]
    made = []
    for start, end in itertools.pairwise(edges):
        rows = np.arange(first + start, first + end)
        if kind[start] != 1:
            made.append(_stretch(table, rows, _KINDS[kind[start]]))
            continue
        inside = (clock[rows] - clock[rows[0]]) // STRETCH_S
        made += [_stretch(table, rows[inside == each], "held") for each in np.unique(inside)]
    return made


def _kinds(table: FlightTable, radio_a: float) -> tuple[Flags, Flags]:
    """Where full throttle is flown, and where the motor is off."""
    amps = np.nan_to_num(table.amps)
    if np.isfinite(table.throttle).any():
        return np.nan_to_num(table.throttle) >= FULL_THROTTLE, np.nan_to_num(table.throttle) <= OFF_THROTTLE
    highest = float(np.percentile(amps, 99.5))
    off = amps <= max(1.5 * radio_a, radio_a + 0.03 * highest)
    usual = float(np.median(amps[~off])) if (~off).any() else highest
    return (amps >= 0.9 * highest) & (highest >= 1.5 * usual), off


def _stretch(table: FlightTable, rows: Any, kind: str) -> Stretch:
    """Means of some seconds; ``held`` becomes ``other`` where speed or energy are not steady, or it is short."""
    weight = table.seconds[rows]
    total = float(weight.sum())

    def mean(column: Floats) -> float:
        good = np.isfinite(column[rows])
        return float(np.average(column[rows][good], weights=weight[good])) if good.any() else np.nan

    speed, height = table.speed_m_s[rows], table.height_m[rows]
    energy_m = height + np.nan_to_num(speed) ** 2 / (2.0 * GRAVITY_M_S2)
    good = np.isfinite(energy_m)
    clock = np.cumsum(weight)
    climb = float(np.polyfit(clock[good], energy_m[good], 1)[0]) if good.sum() > 2 else np.nan
    if kind == "held":
        wavers = np.nanstd(speed) > STEADY_SPEED * np.nanmean(speed) if np.isfinite(speed).any() else False
        if wavers or abs(np.nan_to_num(climb)) > STEADY_CLIMB_M_S or total < 0.8 * STRETCH_S:
            kind = "other"
    return Stretch(
        kind=kind, seconds=total, amps=mean(table.amps), volts=mean(table.volts), airspeed_m_s=mean(table.speed_m_s),
        climb_m_s=climb, used_mah=float(np.average(table.used_mah[rows], weights=weight)),
        drawn_mah=float(np.nansum(table.amps[rows] * weight)) / 3.6,
    )  # fmt: skip


def _joined(stretches: list[Stretch]) -> Stretch:
    """Several stretches of one kind as one."""
    weights = np.array([each.seconds for each in stretches])

    def mean(name: str) -> float:
        values = np.array([getattr(each, name) for each in stretches])
        good = np.isfinite(values)
        return float(np.average(values[good], weights=weights[good])) if good.any() else np.nan

    names = ("amps", "volts", "airspeed_m_s", "climb_m_s", "used_mah")
    return Stretch(
        kind=stretches[0].kind, seconds=float(weights.sum()), drawn_mah=sum(each.drawn_mah for each in stretches),
        **{name: mean(name) for name in names},
    )  # fmt: skip


# ---------------------------------------------------------------- beside the prediction


@attrs.frozen(kw_only=True)
class LoggedPhase:
    """A phase of a table beside its prediction for steady flight; NaN where a column is missing."""

    log: str
    phase: str
    logged_minutes: float = number(kind="min", label="time in the phase as logged")
    logged_mah: float = number(kind="mAh", label="charge drawn in the phase as logged")
    logged_airspeed_m_s: float = number(kind="speed", label="mean airspeed of the phase as logged")
    logged_climb_m_s: float = number(kind="m/s", label="mean climb of the phase as logged, height of energy")
    logged_a: float = number(kind="A", label="mean pack current of the phase as logged")
    predicted_a: float = number(kind="A", label="pack current predicted for the logged phase in steady flight")
    logged_v: float = number(kind="V", label="mean pack voltage of the phase as logged")
    predicted_v: float = number(kind="V", label="pack voltage predicted for the logged phase in steady flight")
    logged_ratio: float = number(label="logged over predicted current of the phase")


@attrs.frozen(kw_only=True)
class LoggedFlight:
    """What a table says: bands of held speed for the estimate, its phases, and what to doubt."""

    bands: tuple[Band, ...]
    names: tuple[str, ...]
    phases: tuple[LoggedPhase, ...]
    doubts: tuple[Fault, ...]


def logged_flight(train: PowerTrain, setting: Setting, table: FlightTable, *, log: int = 0) -> LoggedFlight:
    """Hold a table against the aircraft that is said to have flown it.

    Parameters
    ----------
    train : PowerTrain
    setting : Setting
    table : FlightTable
    log : int
        Its number among the logs: readings of one log share their ammeter's error.

    Raises
    ------
    InputFaults
        A log of another aircraft (the cells do not fit the volts, more charge than the pack holds), a motor that never
        runs, no stretch of held speed.
    """
    aircraft = Aircraft(train, setting, AIRSPEED_SD)
    capacity_mah = float(aircraft.lanes.capacity_ah[0]) / MAH_AH
    found = stretches_of(table, train.radio_current_a)
    faults = _another_aircraft(table, aircraft, capacity_mah)
    if not found:
        read = np.nan_to_num(table.amps).max(initial=0.0) > 0
        rule = "the motor never runs: is this the current of the pack?" if read else "no current was read"
        faults.append(Fault(table.name, "amps", rule=rule))
    bands = _bands(table, found, capacity_mah, setting, log)
    if found and not bands:
        rule = (
            f"holds no speed for {STRETCH_S:g} s at part throttle: fly a straight line or a wide circle of some "
            "minutes at one throttle"
        )
        faults.append(Fault(table.name, rule=rule))
    if faults:
        raise InputFaults(faults)
    doubts: tuple[Fault, ...] = ()
    if table.longest_gap_s > GAP_S:
        rule = f"has a gap of {table.longest_gap_s:.0f} s, over which the mean of both ends is taken"
        doubts = (Fault(table.name, rule=rule, kind="warning"),)
    groups = [("full throttle", "full throttle"), ("motor off", "motor off"), ("other", "not steady")]
    rows = [_held_row(table, band, aircraft) for band in bands] + [
        _row(table, name, _joined(parts), aircraft, capacity_mah)
        for kind, name in groups
        if (parts := [each for each in found if each.kind == kind])
    ]
    names = tuple(f"{table.name}, {each.phase}" for each in rows[: len(bands)])
    return LoggedFlight(bands=bands, names=names, phases=tuple(rows), doubts=doubts)


def _another_aircraft(table: FlightTable, aircraft: Aircraft, capacity_mah: float) -> list[Fault]:
    """Cells that do not fit the volts, and charge that the pack does not hold."""
    faults, cells = [], int(aircraft.lanes.cells[0])
    chemistry = aircraft.lanes.chemistries[0]
    if np.isfinite(table.volts).any():
        highest = float(np.nanmax(table.volts))
        least, most = chemistry.nominal_v, chemistry.full_v * _FULL_OVER
        if not cells * least <= highest <= cells * most:
            fits = [f"{count}S" for count in range(1, 15) if least <= highest / count <= most]
            rule = (
                f"reaches {highest:.1f} V, which no {cells}S pack does that starts full at "
                f"{cells * chemistry.full_v:.1f} V: a log of another aircraft, or another pack"
            )
            faults.append(Fault(table.name, "volts", rule=rule, hint=f"it reads like {fits[0]}" if fits else ""))
    drawn = float(np.nansum(table.amps * table.seconds)) / 3.6
    if drawn > capacity_mah * CAPACITY_OVER:
        rule = f"draws {drawn:.0f} mAh in all, more than the {capacity_mah:.0f} mAh that the pack holds"
        faults.append(Fault(table.name, "amps", None, rule))
    return faults


def _row(table: FlightTable, name: str, part: Stretch, aircraft: Aircraft, capacity_mah: float) -> LoggedPhase:
    """A phase that holds no speed."""
    amps = volts = np.nan
    lanes, one = aircraft.lanes.sustained(), np.ones(1)
    charge = float(np.clip(1.0 - part.used_mah / capacity_mah, 0.0, 1.0)) * one
    if part.kind != "other":
        speed = aircraft.setting.default_airspeed_m_s(aircraft.frames)
        speed = speed if np.isnan(part.airspeed_m_s) else part.airspeed_m_s * one
        duty = one if part.kind == "full throttle" else 0.0 * one
        point = solve_lanes(lanes, speed, duty, charge, aircraft.density * one, aircraft.sound * one)
        amps, volts = float(point.pack_current_a[0]), float(point.pack_voltage_v[0])
    return LoggedPhase(
        log=table.name, phase=name, logged_minutes=part.seconds / 60.0, logged_mah=part.drawn_mah,
        logged_airspeed_m_s=part.airspeed_m_s, logged_climb_m_s=part.climb_m_s, logged_a=part.amps, predicted_a=amps,
        logged_v=part.volts, predicted_v=volts, logged_ratio=part.amps / amps if amps > 0 else np.nan,
    )  # fmt: skip


def _held_row(table: FlightTable, band: Band, aircraft: Aircraft) -> LoggedPhase:
    """A band of held speed."""
    one = np.ones(1)
    point = level_lanes(
        aircraft.lanes.sustained(), aircraft.frames, band.airspeed_m_s * one, band.charge * one,
        aircraft.density * one, aircraft.sound * one, band.climb_m_s * one,
    )  # fmt: skip
    holds = point.status[0] == Status.OK
    amps, volts = (float(x[0]) if holds else np.nan for x in (point.pack_current_a, point.pack_voltage_v))
    said = f"{band.airspeed_m_s:.1f} m/s" if band.speed_sd else "speed"
    return LoggedPhase(
        log=table.name, phase=f"held {said}", logged_minutes=band.seconds / 60.0,
        logged_mah=band.amps * band.seconds / 3.6, logged_airspeed_m_s=band.airspeed_m_s if band.speed_sd else np.nan,
        logged_climb_m_s=band.climb_m_s, logged_a=band.amps, predicted_a=amps, logged_v=band.volts, predicted_v=volts,
        logged_ratio=band.amps / amps,
    )  # fmt: skip


def _bands(
    table: FlightTable, stretches: list[Stretch], capacity_mah: float, setting: Setting, log: int
) -> tuple[Band, ...]:
    """Held stretches by speed; those without a speed are flown as the brief says, at its mean airspeed."""
    held = [each for each in stretches if each.kind == "held"]
    if not held:
        return ()
    speed_sd = {"airspeed": AIRSPEED_SENSOR_SD, "ground speed": GROUND_SPEED_SD, "": 0.0}[table.speed_kind]
    if not speed_sd and not any(each.throttle is None for each in setting.phases):
        rule = "has no airspeed_m_s or ground_speed_m_s, and no phase of the brief holds an airspeed"
        raise InputFaults([Fault(table.name, rule=rule)])
    brief_m_s = np.nan if speed_sd else held_airspeed_m_s(setting.phases)
    held = [each for each in held if not speed_sd or each.airspeed_m_s > _LEAST_SPEED_M_S]
    groups: dict[int, list[Stretch]] = {}
    slowest = min((each.airspeed_m_s for each in held), default=1.0)
    for each in held:
        place = int(np.log(each.airspeed_m_s / slowest) / BAND_LN) if speed_sd else 0
        groups.setdefault(place, []).append(each)
    long = {at: each for at, each in groups.items() if sum(part.seconds for part in each) >= _LEAST_BAND_S}
    made = []
    for _, parts in sorted((long or groups).items()):
        whole = _joined(parts)
        made.append(
            Band(
                seconds=whole.seconds, amps=whole.amps, volts=whole.volts, parts=len(parts), log=log, amps_sd=AMPS_SD,
                airspeed_m_s=whole.airspeed_m_s if speed_sd else brief_m_s, speed_sd=speed_sd,
                climb_m_s=float(np.nan_to_num(whole.climb_m_s)),
                charge=float(np.clip(1.0 - whole.used_mah / capacity_mah, 0.0, 1.0)),
            )
        )  # fmt: skip
    return tuple(made)


def phases_said() -> str:
    """How a table is split, in one sentence."""
    return (
        f"Split by throttle (full from {100 * FULL_THROTTLE:.0f} %, off up to {100 * OFF_THROTTLE:.0f} %) or, without "
        f"it, by amps; held are stretches of {STRETCH_S:g} s whose speed varies by less than "
        f"{100 * STEADY_SPEED:.0f} % and whose height of energy by less than {STEADY_CLIMB_M_S:g} m/s. Only held "
        "speeds move the factor."
    )
