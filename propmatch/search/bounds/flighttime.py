"""Bounds of flight time and of the greatest mean currents of a phase, for many combinations, without flying them.

At a held thrust the pack current of one motor is I_b with E' = R_b count I_b + V_c/d and 1/d = (y count I - k)/
((1 - k) count) for y = 1/I_b: E' is convex in y, so y is concave and rising in E'. Adding radio current, or mixing
phases by share, keeps 1/I concave. Charge by charge E is linear within the segments of its curve, so the mean of 1/I
over the discharge lies below 1/I at the mean of E' (Jensen) and above the chord between the ends. R_b rises as charge
falls: the upper bound takes it at full, the lower one at the reserve. Current rises with mass: the nodes below and
above a combination's mass bound it.

Timed phases take a charge between their least and greatest current. A list without shares is flown round after round
between the currents at the ends. The motor current of a held thrust is the same at any charge; at a held throttle it
follows from the pack's. Where bounds hold nothing the lower one is 0 and the upper one infinite.
"""

from typing import Any

import attrs
import numpy as np

from propmatch.checks.setting import Setting
from propmatch.models.arrays import Flags, Floats, Index
from propmatch.models.pack import Chemistry
from propmatch.search.bounds.drives import Drives, Threshold
from propmatch.search.bounds.tables import IMPOSSIBLE, OFF, UNKNOWN, HeldTable, PropellerTables
from propmatch.status import Status
from propmatch.train import line
from propmatch.train.kernel import solve_speed
from propmatch.train.line import Source, Supply
from propmatch.train.torque import SpeedProblem

__all__ = ["FlightBounds", "Held", "Packs", "flight_bounds", "mean_ocv_v"]


def mean_ocv_v(chemistry: Chemistry, reserve: float) -> float:
    """Mean open-circuit voltage of a cell over the charge from full to the reserve [V]."""
    inside = chemistry.charge[(chemistry.charge > reserve) & (chemistry.charge < 1.0)]
    edges = np.concatenate([[1.0], inside[::-1], [reserve]])
    volts = np.asarray(chemistry.cell_ocv_v(edges))
    widths = edges[:-1] - edges[1:]
    return float(np.sum(widths * 0.5 * (volts[:-1] + volts[1:])) / np.sum(widths))


class Packs:
    """What the packs of some combinations give over the charge used, (N,) each."""

    def __init__(self, setting: Setting, drives: Drives, d: Index) -> None:
        limits = setting.brief.limits
        self.reserve = float(limits.reserve_charge or 0.0)
        self.cutoff = drives.chemistry.flown_to_v(limits.cutoff_cell_v)
        self._drives, self._d = drives, d
        self.cells = drives.of_pack["cells"][d]
        self.coulombs = 3600.0 * drives.of_pack["capacity_ah"][d]
        self.supply = Supply.of(drives.motors, d)
        self.mean_v = self.cells * mean_ocv_v(drives.chemistry, self.reserve)

    def open_v(self, charge: Any) -> Floats:
        return np.asarray(self._drives.open_v(charge, self._d))

    def ohm(self, charge: Any) -> Floats:
        return np.asarray(self._drives.sustained_ohm(charge, self._d))


class Held:
    """Pack current of a held airspeed at the node below or above each combination's mass."""

    def __init__(self, table: HeldTable, drives: Drives, p: Index, d: Index, node: Index, supply: Supply) -> None:
        u, torque = table.speed[p, node], table.torque[p, node]
        self.off, self.supply = table.kind[p, node] == OFF, supply
        self.current = drives.current_a(d, u, torque)
        self.behind = line.behind_v(
            drives.motors, drives.motors.gear_ratio[d] * u, self.current, line.fixed_ohm(drives.motors, d), d
        )

    def at(self, open_v: Floats, ohm: Floats) -> tuple[Floats, Floats]:
        """Pack current and throttle; NaN where it cannot be held."""
        d = line.held_throttle(self.supply, self.behind, self.current, open_v, ohm)
        current = line.pack_current_a(self.supply, self.current, d)
        return np.where(self.off, self.supply.radio_a, current), np.where(self.off, 0.0, d)


_SLACK = 1e-3
"""Share of the charge of a timed phase by which straight lines between Gauss nodes may differ from the curve."""
_ROUNDING = 1e-6
"""Widening of every bound: far above rounding and the accuracy of roots (1e-10)."""
_END_HALVINGS = 7
"""Halvings of the charge at which shares end: within 1/128 of it, a bound need not be closer."""


@attrs.frozen(kw_only=True, eq=False)
class FlightBounds:
    """Bounds (N,) of what flying would tell: minutes, and the greatest mean current of pack and motor in a phase.

    A combination that has no flight time at all (below stall) has ``minutes_high`` 0 and the low currents infinite.
    """

    minutes_low: Floats
    minutes_high: Floats
    current_low_a: Floats
    current_high_a: Floats
    motor_low_a: Floats
    motor_high_a: Floats

    def take(self, some: Any) -> "FlightBounds":
        """Some combinations."""
        return FlightBounds(**{a.name: getattr(self, a.name)[some] for a in attrs.fields(FlightBounds)})

    @classmethod
    def joined(cls, each: "list[FlightBounds]") -> "FlightBounds":
        """One after the other."""
        return cls(**{a.name: np.concatenate([getattr(x, a.name) for x in each]) for a in attrs.fields(FlightBounds)})

    def put(self, some: Index, better: "FlightBounds") -> None:
        """Write other bounds of some combinations."""
        for a in attrs.fields(FlightBounds):
            getattr(self, a.name)[some] = getattr(better, a.name)


def flight_bounds(tables: PropellerTables, drives: Drives, p: Index, d: Index, *, rough: bool = False) -> FlightBounds:
    """Bounds for combinations of a block.

    ``rough`` takes a held throttle to draw anything up to the limits of the current, which a combination that passed
    the checks before this one keeps; otherwise its current is solved.
    """
    with np.errstate(all="ignore"):
        return _Bounds(tables, drives, p, d, rough=rough).result()


class _Bounds:
    def __init__(self, tables: PropellerTables, drives: Drives, p: Index, d: Index, *, rough: bool = False) -> None:
        self.tables, self.drives, self.p, self.d, self.rough = tables, drives, p, d, rough
        self.setting: Setting = tables.setting
        self.pack = Packs(self.setting, drives, d)
        self.node = drives.node[d]
        phases = self.setting.phases
        shares = [i for i, phase in enumerate(phases) if phase.share is not None]
        self.repeats = not shares
        self.shares = shares or list(range(len(phases)))
        self.before = list(range(shares[0])) if shares else []
        self.after = list(range(shares[-1] + 1, len(phases))) if shares else []
        self._kept: dict[int, tuple[Floats, Floats]] = {}
        n = p.size
        self.unknown, self.impossible = ~tables.regular[p] | drives.odd[d], np.zeros(n, dtype=bool)
        for table in tables.held:
            if table is not None:
                kinds = np.array([table.kind[p, self.node], table.kind[p, self.node + 1]])
                self.impossible |= kinds[0] == IMPOSSIBLE
                self.unknown |= np.any((kinds == UNKNOWN) | (kinds == IMPOSSIBLE), axis=0) | (kinds[0] != kinds[1])

    # ------------------------------------------------------------ phases

    def _held(self, i: int, above: int) -> Held:
        table = self.tables.held[i]
        assert table is not None
        return Held(table, self.drives, self.p, self.d, self.node + above, self.pack.supply)

    def _weight(self, i: int) -> float:
        return float((self.setting.phases[i].seconds if self.repeats else self.setting.phases[i].share) or 0.0)

    def _source(self, throttle: float, charge: Any) -> Source:
        """What pack and controller put before the motors."""
        return line.source(self.drives.motors, throttle, self.pack.open_v(charge), self.pack.ohm(charge), self.d)

    def _drawn(self, current: Floats, throttle: float) -> Floats:
        """Pack current for a motor current."""
        return line.pack_current_a(self.pack.supply, np.maximum(current, 0.0), throttle)

    def _fresh(self, i: int) -> tuple[Floats, Floats]:
        """Motor current and propeller speed of a held throttle at full charge, solved."""
        if i not in self._kept:
            drives, d, p, tables, phase = self.drives, self.d, self.p, self.tables, self.setting.phases[i]
            source = self._source(float(phase.throttle or 0.0), 1.0)
            problem = SpeedProblem(
                **drives.motors.columns(d),
                source_v=source.volts,
                resistance_ohm=source.ohm,
                resistance_back_ohm=source.ohm_back,
                which=tables.which[p],
                diameter_m=tables.diameter_m[p],
                density_kg_m3=np.full(1, tables.density),
                airspeed_m_s=tables.airspeed(phase, drives.mass_g[d] + tables.mass_g[p]),
                surfaces=tables.stack,
            )
            found = solve_speed(problem, p.size)
            good = found.status == Status.OK
            self._kept[i] = np.where(good, found.motor_current_a, np.nan), found.speed_rad_s
        return self._kept[i]

    def _throttled(self, i: int, charge: Floats) -> tuple[Floats, Floats]:
        """Least and greatest pack current of a held throttle from full down to a charge.

        Speed and current fall with the charge, so the speed is at least that at which the line of the lower charge
        gives the current of the full pack: the torque at that speed bounds the current.
        """
        phase, drives, d, p = self.setting.phases[i], self.drives, self.d, self.p
        throttle = float(phase.throttle or 0.0)
        if throttle == 0.0:
            nothing = self._drawn(np.zeros(p.size), throttle)
            return nothing, nothing
        if self.rough:
            return self._drawn(np.zeros(p.size), throttle), self._roughly(throttle) * (1 + _SLACK)
        most, _ = self._fresh(i)
        source = self._source(throttle, charge)
        u = line.speed_at(drives.motors, source.volts, source.ohm, most, d)
        airspeed = self.tables.airspeed(phase, drives.mass_g[d] + self.tables.mass_g[p])
        torque = self.tables.torque(p, np.maximum(u, 1.0), airspeed)
        least = np.where((u > 1.0) & (torque > 0), drives.current_a(d, u, torque), 0.0)
        return self._drawn(least, throttle) * (1 - _SLACK), self._drawn(most, throttle) * (1 + _SLACK)

    def _most(self, i: int, charge: Floats) -> Floats:
        """Greatest current of a phase from full down to a charge."""
        throttle = self.setting.phases[i].throttle
        if throttle is None:
            return self._held(i, 1).at(self.pack.open_v(charge), self.pack.ohm(charge))[0]
        if throttle == 0.0:
            return self._drawn(np.zeros(self.p.size), throttle)
        return self._roughly(throttle) if self.rough else self._drawn(self._fresh(i)[0], throttle)

    def _roughly(self, throttle: float) -> Floats:
        """Greatest pack current at a throttle by the limits, or what the pack bears for long where it keeps to that."""
        drives, d = self.drives, self.d
        most = self._drawn(self._motor_roughly(), throttle)
        return np.where(self._keeps(drives.sustained), np.minimum(most, drives.sustained_a[d]), most)

    def _motor_roughly(self) -> Floats:
        """The same for the motor current."""
        drives, d = self.drives, self.d
        return np.where(self._keeps(drives.steady), np.minimum(drives.most_a[d], drives.steady_a[d]), drives.most_a[d])

    def _keeps(self, threshold: Threshold) -> Flags:
        """Whether full throttle surely keeps a threshold, at rest and in flight."""
        tables, p, d = self.tables, self.p, self.d
        torque = tables.torque_high.reshape(-1)[p * tables.cells + threshold.cell[d]] * tables.flight_ratio[p]
        return np.asarray(torque * (1 + _ROUNDING) <= threshold.torque_nm[d])

    def _motor_ends(self, i: int, least: Floats, most: Floats) -> tuple[Floats, Floats]:
        """Least and greatest mean motor current of a phase between pack currents."""
        throttle = self.setting.phases[i].throttle
        if throttle is None:
            low, high = self._held(i, 0), self._held(i, 1)
            return np.where(low.off, 0.0, low.current), np.where(high.off, 0.0, high.current)
        if throttle == 0.0:
            nothing = np.zeros(self.p.size)
            return nothing, nothing
        least, most = (line.motor_current_from_pack_a(self.pack.supply, x, throttle) for x in (least, most))
        return least, np.minimum(most, self._motor_roughly() * (1 + _SLACK)) if self.rough else most

    def _ends(self, i: int, charge: Floats) -> tuple[Floats, Floats]:
        """Least and greatest current of a phase flown somewhere between full and a charge (N,)."""
        if self.setting.phases[i].throttle is not None:
            return self._throttled(i, charge)
        low, _ = self._held(i, 0).at(self.pack.open_v(1.0), self.pack.ohm(1.0))
        high, _ = self._held(i, 1).at(self.pack.open_v(charge), self.pack.ohm(charge))
        return low, high

    # ------------------------------------------------------------ the bounds

    def result(self) -> FlightBounds:
        n = self.p.size
        low, high = np.zeros(n), np.full(n, np.inf)
        current_low = motor_low = low
        current_high = motor_high = high
        if n:
            bounds = self._repeated() if self.repeats else self._mixed()
            low, high, (current_low, motor_low), (current_high, motor_high) = bounds
        unsure = self.unknown | ~np.isfinite(low + high)

        def bound(value: Floats, unknown: float, impossible: float) -> Floats:
            return np.where(self.impossible, impossible, np.where(unsure | np.isnan(value), unknown, value))

        return FlightBounds(
            minutes_low=bound(low / 60.0 * (1 - _ROUNDING), 0.0, 0.0),
            minutes_high=bound(high / 60.0 * (1 + _ROUNDING), np.inf, 0.0),
            current_low_a=bound(current_low * (1 - _SLACK), 0.0, np.inf),
            current_high_a=bound(current_high * (1 + _SLACK), np.inf, np.inf),
            motor_low_a=bound(motor_low * (1 - _SLACK), 0.0, np.inf),
            motor_high_a=bound(motor_high * (1 + _SLACK), np.inf, np.inf),
        )

    def _repeated(self) -> tuple[Floats, Floats, Floats, Floats]:
        """Seconds and currents (2, N) of pack and motor of a list flown again and again.

        They lie between the currents at the ends, within a round.
        """
        mix, coulombs = self._mixture(), self.pack.coulombs * (1.0 - self.pack.reserve)
        round_s = sum(self._weight(i) for i in self.shares)
        low = np.where(mix.holds, np.maximum(coulombs * mix.least - round_s, 0.0), 0.0)
        sure = low > round_s
        low_a, high_a = np.where(sure, mix.current_low, 0.0), np.where(sure, mix.current_high, np.inf)
        return low, coulombs * mix.most + round_s, low_a, high_a

    def _mixed(self) -> tuple[Floats, Floats, Floats, Floats]:
        """Seconds and currents (2, N) of pack and motor: timed phases, then shares, then timed phases."""
        n, pack, phases = self.p.size, self.pack, self.setting.phases
        zero = np.zeros(n)
        timed, landing = (sum(float(phases[i].seconds or 0.0) for i in some) for some in (self.before, self.after))
        end, used_least, fits = np.ones(n), zero, np.ones(n, dtype=bool)
        nothing = np.zeros((2, n))
        lows, highs = [nothing], [nothing]
        for i in self.before:
            seconds = float(phases[i].seconds or 0.0)
            most = self._most(i, end)
            guess = np.maximum(end - (1 + _SLACK) * 1.2 * seconds * most / pack.coulombs, pack.reserve)
            least, most = self._ends(i, guess)
            end = end - (1 + _SLACK) * seconds * most / pack.coulombs
            used_least = used_least + (1 - _SLACK) * seconds * least / pack.coulombs
            fits &= (end >= guess) & (end > pack.reserve) & self._flies(i, guess, most)
            self._note(i, least, most, lows, highs)
        mix = self._mixture()
        # timed phases after the shares are reserved whether they can be flown or not
        lands, after_least, after_most = np.ones(n, dtype=bool), zero, zero
        reserve = np.full(n, pack.reserve)
        for i in self.after:
            seconds = float(phases[i].seconds or 0.0)
            least, most = self._ends(i, reserve)
            after_least = after_least + (1 - _SLACK) * seconds * least / pack.coulombs
            after_most = after_most + (1 + _SLACK) * seconds * most / pack.coulombs
            lands &= self._flies(i, reserve, most)
            self._note(i, least, np.where(np.isnan(most), np.inf, most), [], highs)
        lands &= end - after_most > pack.reserve
        full = (1.0 - pack.reserve) * mix.best
        high = timed + landing + pack.coulombs * np.maximum(full - (used_least + after_least) * mix.least, 0.0)
        taken = (1.0 - end + after_most) * mix.most * (1 + _SLACK)
        low = timed + landing + pack.coulombs * np.maximum((1.0 - pack.reserve) * mix.worst - taken, 0.0)
        flown, never = mix.holds.copy(), np.zeros(n, dtype=bool)
        rest = np.flatnonzero(~mix.holds)
        if rest.size:
            early = _Bounds(self.tables, self.drives, self.p[rest], self.d[rest], rough=self.rough)
            first, last, worst = early.ends()
            coulombs = pack.coulombs[rest]
            high[rest] = np.minimum(high[rest], timed + landing + coulombs * (1.0 - first) * mix.most[rest])
            low[rest] = timed + coulombs * np.maximum((1.0 - last) * worst - taken[rest], 0.0)
            never[rest] = first >= 1.0 - used_least[rest]
            low[rest] = np.where(never[rest], timed, low[rest])
            high[rest] = np.where(never[rest], timed + landing, high[rest])
            flown[rest] = last < end[rest] - after_most[rest]
        low = np.where(fits & lands, low, 0.0)
        low_a = np.max([*lows, np.where(flown & lands, mix.current_low, 0.0)], axis=0)
        high_a = np.max([*highs, np.where(never, 0.0, mix.current_high)], axis=0)
        # without any phase flown there is no mean current, which does not pass
        some = flown if not self.before else fits
        low_a = np.where(fits, low_a, 0.0)
        if not self.before:
            low_a = np.where(never & (not self.after), np.inf, low_a)
        return low, high, low_a, np.where(some, high_a, np.inf)

    def _note(self, i: int, least: Floats, most: Floats, lows: list[Floats], highs: list[Floats]) -> None:
        """Put the currents of pack and motor in a phase, (2, N) each, to the others."""
        motor = self._motor_ends(i, least, most)
        lows.append(np.array([least, motor[0]]))
        highs.append(np.array([most, motor[1]]))

    def _flies(self, i: int, charge: Floats, most: Floats) -> Flags:
        """Whether a phase can surely be flown down to a charge."""
        pack, phase = self.pack, self.setting.phases[i]
        volts = (pack.open_v(charge) - pack.ohm(charge) * most) / pack.cells
        holds = volts > pack.cutoff * (1.0 + _ROUNDING)
        if phase.throttle is None:
            _, d = self._held(i, 1).at(pack.open_v(charge), pack.ohm(charge))
            holds &= d < 1.0 - _ROUNDING
        return np.asarray(holds)

    def ends(self) -> tuple[Floats, Floats, Floats]:
        """Charges at which the shares end at the earliest and at the latest that bounds tell; 1/I at the latter.

        Halving finds them within 1/128 of the charge, roughly only whether they fly at all; a share with a held
        throttle tells nothing.
        """
        n, pack = self.p.size, self.pack
        shares = [i for i in self.shares if self.setting.phases[i].throttle is None]
        loads = [[self._held(i, above) for i in shares] for above in (0, 1)]
        weights = np.array([self._weight(i) for i in shares])
        if len(shares) < len(self.shares):
            return np.full(n, pack.reserve), np.ones(n), np.zeros(n)

        def current(above: int, charge: Floats) -> tuple[Floats, Flags]:
            """Current of the mixture at a charge, and whether it can be flown there."""
            e, r = pack.open_v(charge), pack.ohm(charge)
            total, flies = np.zeros(n), np.ones(n, dtype=bool)
            margin = _ROUNDING if above else -_ROUNDING
            for weight, load in zip(weights / weights.sum(), loads[above], strict=True):
                each, throttle = load.at(e, r)
                total = total + weight * each
                flies &= (throttle < 1.0 - margin) & ((e - r * each) / pack.cells > pack.cutoff * (1.0 + margin))
            return total, flies

        found = []
        for above in (0, 1):
            good, bad = np.ones(n), np.full(n, pack.reserve)
            hopeless = ~current(above, good)[1]
            for _ in range(0 if self.rough else _END_HALVINGS):
                middle = 0.5 * (good + bad)
                flies = current(above, middle)[1]
                good, bad = np.where(flies, middle, good), np.where(flies, bad, middle)
            found.append(np.where(hopeless, 1.0, good if above else bad))
        first, last = found
        worst = current(1, last)[0]
        return first, last, np.where(last < 1.0, 1.0 / worst, 0.0)

    def _mixture(self) -> "_Mixture":
        """1/I of the shares: bounds of its mean over the discharge and of its ends."""
        pack, phases = self.pack, self.setting.phases
        total = sum(self._weight(i) for i in self.shares)
        e_full, e_low = pack.open_v(1.0), pack.open_v(pack.reserve)
        r_full, r_low = pack.ohm(1.0), pack.ohm(pack.reserve)
        n = self.p.size
        sums = {name: np.zeros(n) for name in ("mean", "full", "low", "best full")}
        lows, highs = [np.zeros((2, n))], [np.zeros((2, n))]
        holds = np.ones(n, dtype=bool)
        for i in self.shares:
            weight = self._weight(i) / total
            if phases[i].throttle is not None:
                least, most = self._throttled(i, np.full(n, pack.reserve))
                light = dict.fromkeys(("mean", "best full"), least)
                heavy = dict.fromkeys(("full", "low"), most)
                volts = (e_low - r_low * most) / pack.cells
                holds &= volts > pack.cutoff * (1.0 + _ROUNDING)
                ends = light | heavy
                low_a, high_a = least, most
            else:
                lighter, heavier = self._held(i, 0), self._held(i, 1)
                at_low, throttle = heavier.at(e_low, r_low)
                ends = {
                    "mean": lighter.at(pack.mean_v, r_full)[0],
                    "best full": lighter.at(e_full, r_full)[0],
                    "full": heavier.at(e_full, r_low)[0],
                    "low": at_low,
                }
                holds &= throttle < 1.0 - _ROUNDING
                holds &= (e_low - r_low * at_low) / pack.cells > pack.cutoff * (1.0 + _ROUNDING)
                # at full throttle the pack carries the motor's current, and no throttle exceeds 1
                carried = np.where(heavier.off, pack.supply.radio_a, self._drawn(heavier.current, 1.0))
                low_a, high_a = ends["best full"], np.fmin(at_low, carried)
            for name, current in ends.items():
                sums[name] = sums[name] + weight * current
            self._note(i, low_a, high_a, lows, highs)
        share = (pack.mean_v - e_low) / (e_full - e_low)
        # where the thrust cannot be held with the open voltage of the reserve, 1/I there is bounded by 0
        at_low = np.where(np.isnan(sums["low"]), 0.0, 1.0 / sums["low"])
        worst = at_low + (1.0 / sums["full"] - at_low) * share
        lost = np.isnan(sums["mean"]) | np.isnan(sums["low"])
        best = np.where(lost, 1.0 / sums["best full"], 1.0 / sums["mean"])
        return _Mixture(
            best=best,
            worst=worst,
            least=at_low,
            most=1.0 / sums["best full"],
            holds=holds,
            current_low=np.max(lows, axis=0),
            current_high=np.max(highs, axis=0),
        )


@attrs.frozen(kw_only=True, eq=False)
class _Mixture:
    """Mean of 1/I at best and at worst, least and greatest 1/I, all (N,) [1/A]; currents of pack and motor (2, N)."""

    best: Floats
    worst: Floats
    least: Floats
    most: Floats
    holds: Flags
    current_low: Floats
    current_high: Floats
