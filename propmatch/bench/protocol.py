"""What to run on the bench, in which order, so that a log of it says what motor, propeller and pack are.

A bare run gives the no-load current and ties kV; propellers of different load, each at full throttle, part kV from
resistance; a pack of other cells parts the pack's resistance from the motor's; a row run twice shows what the heat of
the winding did. No row asks for more than the parts' continuous ratings and the propeller's highest speed allow at the
high end of what it may read, the middle 80 % of draws of all that is unsure (:mod:`propmatch.checks.chances`), pack
full. A row that might is run at less throttle, or with a smaller propeller, and says why.
"""

import math
from collections.abc import Callable, Iterator, Sequence
from typing import Any

import attrs
import numpy as np

from propmatch.bench.readings import BARE, COLUMNS
from propmatch.checks.chances import Drawn, drawn, interval
from propmatch.checks.ratings import Rating, RatingLanes, rating_lanes
from propmatch.checks.setting import Setting
from propmatch.columns import number, numbers_of
from propmatch.files import csv_text
from propmatch.models.arrays import Floats
from propmatch.models.motor import resistance_at_speed
from propmatch.records.fields import replace
from propmatch.records.parts import Pack, PowerTrain, Propeller, Source
from propmatch.train.coupling import OperatingPoint, solve
from propmatch.train.lanes import TrainLanes, train_lanes
from propmatch.train.line import no_load_a
from propmatch.units import RPM_RAD_S

__all__ = ["REST_S", "BenchRow", "Protocol", "protocol", "template_text"]

RUN_S, BARE_S, REST_S = 5.0, 10.0, 90.0
"""How long a loaded and a bare run last, and the rest between: common practice, no published source."""
THROTTLES = tuple(round(0.05 * step, 2) for step in range(20, 5, -1))
"""Tried in turn until a row keeps every rating: from full down to 0.3."""
SHARES = {"small propeller": 0.4, "middle propeller": 0.7}
"""Current of a helping propeller over that of the heaviest row."""
_MOST_TRIED = 8


@attrs.frozen(kw_only=True)
class BenchRow:
    """One row of the protocol, with what it should read; ends hold 80 % of what it may.

    Attributes
    ----------
    row : int
        Its place, from 1.
    what : str
        Kind of row: ``bare shaft``, ``small propeller`` and so on.
    propeller : Propeller or None
        None for a bare shaft.
    pack : Pack
    why : str
        What the row tells.
    instead : str
        What was asked first, and why it is not; empty where nothing was changed.
    """

    row: int
    what: str
    propeller: Propeller | None
    pack: Pack
    throttle: float = number("throttle %", kind="%", digits=0, label="throttle (duty)")
    run_s: float = number("run s", kind="s", digits=0, label="how long it runs")
    volts: float = number("V", kind="V", label="pack voltage under load")
    volts_low: float = number(kind="V", label="pack voltage under load, low end of 80 %")
    volts_high: float = number(kind="V", label="pack voltage under load, high end of 80 %")
    amps: float = number("A", kind="A", label="pack current")
    amps_low: float = number(kind="A", label="pack current, low end of 80 %")
    amps_high: float = number(kind="A", label="pack current, high end of 80 %")
    rpm: float = number("rpm", kind="rpm", digits=0, label="speed")
    rpm_low: float = number(kind="rpm", digits=0, label="speed, low end of 80 %")
    rpm_high: float = number(kind="rpm", digits=0, label="speed, high end of 80 %")
    thrust_static_n: float = number("thrust {unit}", kind="thrust", digits=0, label="static thrust")
    stop_amps: float = number("stop at A", kind="A", label="pack current at the lowest continuous rating")
    stop_rpm: float = number("stop at rpm", kind="rpm", digits=0, label="highest speed of the propeller")
    why: str = ""
    instead: str = ""

    @property
    def propeller_name(self) -> str:
        """As the log names it."""
        return BARE if self.propeller is None else self.propeller.id or self.propeller.name

    @property
    def data(self) -> dict[str, Any]:
        """For JSON and CSV."""
        return {
            "row": self.row, "what": self.what, "propeller": self.propeller_name, "pack": self.pack.name,
            "cells": self.pack.cells_series, **numbers_of(self), "rest_s": REST_S, "why": self.why,
            "instead": self.instead,
        }  # fmt: skip


@attrs.frozen(kw_only=True)
class Protocol:
    """Rows in the order in which they are run.

    Attributes
    ----------
    train : PowerTrain
        One motor of the train asked about, on the pack that its ratings allow; no radio draws from it.
    rows : tuple of BenchRow
    left_out : tuple of str
        Rows that no setting allows, and why.
    """

    train: PowerTrain
    rows: tuple[BenchRow, ...]
    left_out: tuple[str, ...] = ()

    @property
    def loaded(self) -> bool:
        """Whether any row turns a propeller: without one the log says little."""
        return any(row.propeller is not None for row in self.rows)

    @property
    def minutes(self) -> float:
        """Running and resting, and 4 minutes to change a propeller or pack: common practice, no published source."""
        changes = sum(
            (a.propeller, a.pack) != (b.propeller, b.pack) for a, b in zip(self.rows, self.rows[1:], strict=False)
        )
        return sum(row.run_s + REST_S for row in self.rows) / 60 + 4 * (changes + 1)


# ---------------------------------------------------------------- what a row may load


@attrs.frozen
class _Load:
    """What a rating is held against: in words, of an operating point."""

    words: str
    unit: str
    field: Callable[[OperatingPoint], Floats]
    rating: Callable[[RatingLanes], Rating]


_LOADS = (
    _Load("motor current", "A", lambda p: p.motor_current_a, lambda r: r.motor),
    _Load("motor input", "W", lambda p: np.asarray(p.motor_voltage_v * p.motor_current_a), lambda r: r.motor_power),
    _Load("controller current", "A", lambda p: p.motor_current_a, lambda r: r.controller),
    _Load("pack current", "A", lambda p: p.pack_current_a, lambda r: r.pack),
    _Load("propeller speed", "rpm", lambda p: p.rpm, lambda r: r.propeller_rpm),
)


class _Trial:
    """A train on the bench in all its draws."""

    def __init__(self, setting: Setting, train: PowerTrain) -> None:
        self.setting, self.train = setting, train
        self.ratings = rating_lanes([train])
        self.drawn: Drawn = drawn(setting, [train])

    def point(self, throttle: float) -> OperatingPoint:
        """Every draw standing still, pack full."""
        return self.drawn.measured.limited(np.full(self.drawn.draws.count, throttle)).full(1.0)

    def stated(self, throttle: float) -> OperatingPoint:
        """The same of the numbers as they are stated."""
        return solve(self.train, throttle=throttle, air=self.setting.air)

    def stop_a(self, throttle: float) -> float:
        """Pack current at which the first rating may be reached: a motor carries 1/duty of it, losses apart."""
        r, radio = self.ratings, self.train.radio_current_a
        by_motor = min(float(each.continuous[0]) for each in (r.motor, r.controller))
        by_power = float(r.motor_power.continuous[0]) / float(self.stated(throttle).pack_voltage_v)
        limits = (throttle * by_motor + radio, by_power + radio, float(r.pack.continuous[0]))
        return min((each for each in limits if math.isfinite(each)), default=math.nan)

    def over(self, point: OperatingPoint, throttle: float) -> list[str]:
        """What the high end of a row would exceed, in words; a row without an answer there exceeds everything."""
        out = []
        for load in _LOADS:
            limit = float(load.rating(self.ratings).continuous[0])
            high = interval(np.asarray(load.field(point), dtype=np.float64)).high
            if math.isfinite(limit) and not high <= limit:
                could = f"could reach {high:.4g}" if math.isfinite(high) else "has no bound"
                out.append(f"{load.words} {could} {load.unit} where {limit:.4g} {load.unit} is allowed for long")
        stop, amps = self.stop_a(throttle), interval(np.asarray(point.pack_current_a)).high
        if not out and not amps <= stop:
            out.append(
                f"the wattmeter could show {amps:.4g} A where the motor may be at its limit from {stop:.4g} A on"
            )
        return out

    def highest_throttle(self) -> tuple[float, OperatingPoint, list[str]] | None:
        """The most throttle that keeps every rating, and what more of it would exceed."""
        first: list[str] | None = None
        for throttle in THROTTLES:
            point = self.point(throttle)
            over = self.over(point, throttle)
            first = over if first is None else first
            if not over:
                return throttle, point, first
        return None

    def row(self, throttle: float, point: OperatingPoint) -> dict[str, Any]:
        """What the instruments should read, and where to stop."""
        stated = self.stated(throttle)
        ends = {"volts": "pack_voltage_v", "amps": "pack_current_a", "rpm": "rpm"}
        found: dict[str, Any] = {"thrust_static_n": stated.thrust_n}
        for name, field in ends.items():
            found |= _with_ends(name, float(getattr(stated, field)), np.asarray(getattr(point, field)))
        found["stop_amps"] = self.stop_a(throttle)
        found["stop_rpm"] = float(self.ratings.propeller_rpm.continuous[0])
        return found


def _with_ends(name: str, value: float, draws: Floats) -> dict[str, float]:
    ends = interval(draws)
    return {name: value, f"{name}_low": ends.low, f"{name}_high": ends.high}


def _bare(trial: _Trial) -> dict[str, Any]:
    """A run without propeller: E = K w + (R(w) + R_c + R_b) I0(w), for as long as I0 bends with speed."""
    (volts, amps, rpm), draws = (
        _unloaded(lanes) for lanes in (train_lanes([trial.train])[0], trial.drawn.measured.lanes)
    )
    stop = min(float(each.continuous[0]) for each in (trial.ratings.motor, trial.ratings.controller))
    return {
        "thrust_static_n": math.nan, **_with_ends("volts", float(volts[0]), draws[0]),
        **_with_ends("amps", float(amps[0]), draws[1]), **_with_ends("rpm", float(rpm[0]), draws[2]),
        "stop_amps": stop, "stop_rpm": math.nan,
    }  # fmt: skip


def _unloaded(lanes: TrainLanes) -> tuple[Floats, Floats, Floats]:
    full = np.ones(lanes.size)
    open_v, pack_ohm = lanes.open_circuit_v(full), lanes.pack_ohm(full)
    w = open_v / lanes.k
    for _ in range(20):
        idle = no_load_a(lanes, w)
        ohm = resistance_at_speed(lanes.resistance_ohm, lanes.slope_ohm_s, w) + lanes.alone * lanes.switch_ohm
        w = (open_v - pack_ohm * lanes.radio_a - (ohm + pack_ohm) * idle) / lanes.k
    amps = no_load_a(lanes, w) + lanes.radio_a
    return open_v - pack_ohm * amps, amps, w / RPM_RAD_S


# ---------------------------------------------------------------- the rows


def protocol(
    train: PowerTrain, setting: Setting, propellers: Sequence[Propeller] = (), own: Sequence[Propeller] = ()
) -> Protocol:
    """The rows to run for a power train.

    Parameters
    ----------
    train : PowerTrain
        Of several sets one is run.
    setting : Setting
        Air, and how sure the numbers are that no part states.
    propellers : sequence of Propeller
        From which smaller ones are taken; those without a table are passed over.
    own : sequence of Propeller
        Those of them that one has: the others are asked for only where none of these serves.

    Returns
    -------
    Protocol
    """
    return _Planner(train, setting, propellers, own).plan()


class _Planner:
    """Puts the rows together."""

    def __init__(
        self, train: PowerTrain, setting: Setting, propellers: Sequence[Propeller], own: Sequence[Propeller]
    ) -> None:
        self.setting, self.said = setting, ""
        pack, self.said = _allowed_pack(train)
        self.train = replace(train, count=1, pack=pack, radio_current_a=0.0)
        self.propellers, self.own = propellers, own
        self.rows: list[BenchRow] = []
        self.left_out: list[str] = []

    def plan(self) -> Protocol:
        """Bare, light to heavy, another pack, and the first loaded row again."""
        trial = _Trial(self.setting, self.train)
        bare = {**_bare(trial), "throttle": 1.0, "instead": self.said}
        if bare["amps_high"] <= bare["stop_amps"]:
            self._add("bare shaft", self.train, None, BARE_S, "no-load current, and kV almost alone", bare)
        else:
            self.left_out.append(f"bare shaft: its current could reach {bare['amps_high']:.3g} A")
        heavy = self._loaded("the propeller", trial, "resistance under load, and the propeller's own power and thrust")
        top = None if heavy is None else heavy["amps"] / heavy["throttle"]
        for what, share in SHARES.items():
            self._helping(what, share, top)
        if heavy is not None:
            self._add("the propeller", self.train, self.train.propeller, RUN_S, heavy.pop("why"), heavy)
        self._other_pack()
        loaded = [row for row in self.rows if row.propeller is not None]
        if loaded:
            again = "what the heat of winding and pack did since: the same rpm within 1 % means that it is none"
            self.rows.append(attrs.evolve(loaded[0], row=len(self.rows) + 1, what="again", why=again))
        return Protocol(train=self.train, rows=tuple(self.rows), left_out=tuple(self.left_out))

    def _add(
        self, what: str, train: PowerTrain, propeller: Propeller | None, run_s: float, why: str, found: dict[str, Any]
    ) -> None:
        self.rows.append(
            BenchRow(
                row=len(self.rows) + 1,
                what=what,
                propeller=propeller,
                pack=train.pack,
                run_s=run_s,
                why=why,
                **found,
            )
        )

    def _loaded(self, what: str, trial: _Trial, why: str) -> dict[str, Any] | None:
        """A row at the most throttle that keeps every rating; None, and why, where none does."""
        best = trial.highest_throttle()
        if best is None:
            over = trial.over(trial.point(THROTTLES[-1]), THROTTLES[-1])
            name = trial.train.propeller.name
            self.left_out.append(f"{what}, {name}: even at {100 * THROTTLES[-1]:.0f} % throttle {'; '.join(over)}")
            return None
        throttle, point, over = best
        instead = "" if not over else f"{100 * throttle:.0f} % instead of full throttle: {'; '.join(over)}"
        return {**trial.row(throttle, point), "throttle": throttle, "why": why, "instead": instead}

    def _helping(self, what: str, share: float, top: float | None) -> None:
        """A smaller propeller at full throttle whose current is about this share of the heaviest row's."""
        used = {row.propeller for row in self.rows} | {self.train.propeller}
        limit = rating_lanes([self.train])
        most = min(float(each.continuous[0]) for each in (limit.motor, limit.controller, limit.pack))
        wanted_a = share * (most if top is None else min(top, most))
        for propeller in (*self._by_current(wanted_a, self.own), *self._by_current(wanted_a, self.propellers)):
            if propeller in used:
                continue
            train = replace(self.train, propeller=propeller)
            trial = _Trial(self.setting, train)
            point = trial.point(1.0)
            if not trial.over(point, 1.0):
                why = "kV apart from resistance: another load at the same volts"
                found = {**trial.row(1.0, point), "throttle": 1.0}
                if self.own and propeller not in self.own:
                    found["instead"] = "of the catalogue: your own have no other smaller one that keeps every rating"
                self._add(what, train, propeller, RUN_S, why, found)
                return
        self.left_out.append(
            f"{what}: the catalogue has none smaller that keeps every rating at full throttle on this pack"
        )

    def _by_current(self, wanted_a: float, propellers: Sequence[Propeller]) -> list[Propeller]:
        """Smaller ones of these propellers by how near their current at full throttle comes, lighter ones next."""
        own = self.train.propeller
        some = [
            each for each in propellers
            if each.table is not None and each.diameter_in < own.diameter_in and each.family != "folding"
        ]  # fmt: skip
        if not some:
            return []
        amps = solve([replace(self.train, propeller=each) for each in some], air=self.setting.air).pack_current_a
        runs = [at for at in range(len(some)) if amps[at] > 0]
        order = sorted(runs, key=lambda at: (abs(math.log(amps[at] / wanted_a)), some[at].id or ""))
        if not order:
            return []
        nearest = order[0]
        lighter = [at for at in order if amps[at] <= amps[nearest]]
        return [some[at] for at in lighter[:_MOST_TRIED]]

    def _other_pack(self) -> None:
        if not list(_other_packs(self.train)):
            cells = self.train.pack.cells_series
            self.left_out.append(f"another pack: as far as it is stated, motor and ESC take {cells}S alone")
        for pack in _other_packs(self.train):
            own = _Trial(self.setting, replace(self.train, pack=pack))
            over = own.over(own.point(1.0), 1.0)
            smaller = next((trial for trial in self._on(pack) if not trial.over(trial.point(1.0), 1.0)), None)
            trial = smaller if over and smaller is not None else own
            found = self._loaded("another pack", trial, "the pack's resistance apart from the motor's")
            if found is not None:
                if trial is smaller:
                    found["instead"] = f"{trial.train.propeller.name} instead of the propeller: {'; '.join(over)}"
                self._add("another pack", trial.train, trial.train.propeller, RUN_S, found.pop("why"), found)
                return

    def _on(self, pack: Pack) -> Iterator[_Trial]:
        """The helping propellers of the rows on another pack, the heaviest first."""
        for row in sorted(self.rows, key=lambda row: -row.amps):
            if row.propeller is not None and row.what in SHARES:
                yield _Trial(self.setting, replace(self.train, pack=pack, propeller=row.propeller))


def _allowed_pack(train: PowerTrain) -> tuple[Pack, str]:
    """The pack, with as many cells as motor and controller take."""
    ratings, pack = rating_lanes([train]), train.pack
    cells = int(min(max(pack.cells_series, float(ratings.cells_least[0])), float(ratings.cells_most[0])))
    if cells == pack.cells_series:
        return pack, ""
    said = f"{cells}S instead of {pack.cells_series}S: motor and ESC are for {cells}S at "
    return _of_cells(pack, cells), said + ("most" if cells < pack.cells_series else "least")


def _other_packs(train: PowerTrain) -> Iterator[Pack]:
    """The same cells, one fewer in series, else one more; one alone, or more, where motor and controller say so."""
    ratings, pack = rating_lanes([train]), train.pack
    least, most = float(ratings.cells_least[0]), float(ratings.cells_most[0])
    if pack.cells_series - 1 >= (least or 2.0):
        yield _of_cells(pack, pack.cells_series - 1)
    if pack.cells_series + 1 <= most < math.inf:
        yield _of_cells(pack, pack.cells_series + 1)


def _of_cells(pack: Pack, cells: int) -> Pack:
    return replace(
        pack, name=f"{cells}S {pack.capacity_mah:.0f} mAh", cells_series=cells, id=None,
        mass_g=pack.mass_g * cells / pack.cells_series,
        source=Source(text=f"{pack.name} with other cells in series", kind="assumed"),
    )  # fmt: skip


# ---------------------------------------------------------------- the log to fill in


def template_text(plan: Protocol) -> str:
    """An empty table as CSV: its rows named, notes above them; what was not read stays empty."""
    motor = plan.train.motor
    label = motor.kv_rpm_per_v if motor.kv_kind == "label" else None
    notes = [
        "Fill in what you read; leave empty what you did not. volts and amps at the ESC's input.",
        "Write the throttle and the propeller that you really ran; repeat a row for a second reading.",
    ]
    for row in plan.rows:
        stop = "" if math.isnan(row.stop_amps) else f"; stop at {row.stop_amps:.3g} A"
        stop += "" if math.isnan(row.stop_rpm) else f" or {row.stop_rpm:.0f} rpm"
        notes.append(f"{row.row}: {row.what}, {row.run_s:.0f} s{stop}")
    heads, lines = [column.name for column in COLUMNS], []
    for row in plan.rows:
        lines.append({
            "motor": motor.name, "label_kv": "" if label is None else f"{label:g}", "mass_g": f"{motor.mass_g:g}",
            "cells": row.pack.cells_series, "propeller": row.propeller_name, "throttle": f"{row.throttle:g}",
        })  # fmt: skip
    table = csv_text([heads, *([line.get(head, "") for head in heads] for line in lines)])
    return "".join(f"# {note}\n" for note in notes) + table
