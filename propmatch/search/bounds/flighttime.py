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

from functools import cached_property
from itertools import pairwise, permutations
from typing import Any

import attrs
import numpy as np

from propmatch.aircraft.flightlanes import pays
from propmatch.aircraft.polar import climb_m_s, drag_n
from propmatch.checks.setting import Setting
from propmatch.models.arrays import Flags, Floats, Index
from propmatch.models.pack import resistance_factor
from propmatch.search.bounds.drives import Drives, Threshold
from propmatch.search.bounds.packs import mean_ocv_v
from propmatch.search.bounds.tables import IMPOSSIBLE, OFF, UNKNOWN, HeldTable, PropellerTables
from propmatch.status import Status
from propmatch.train import line
from propmatch.train.kernel import solve_speed
from propmatch.train.line import Source, Supply
from propmatch.train.torque import SpeedProblem

__all__ = ["FlightBounds", "Held", "Packs", "flight_bounds"]


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
        self.mean_v = self.cells * float(mean_ocv_v(drives.chemistry, self.reserve))

    def open_v(self, charge: Any) -> Floats:
        return np.asarray(self._drives.open_v(charge, self._d))

    def ohm(self, charge: Any) -> Floats:
        return np.asarray(self._drives.sustained_ohm(charge, self._d))


class Held:
    """Pack current of a held airspeed at the node below or above each combination's mass."""

    def __init__(self, table: HeldTable, drives: Drives, p: Index, d: Index, node: Index, supply: Supply) -> None:
        at = p * table.kind.shape[1] + node
        u, torque = table.speed.take(at), table.torque.take(at)
        self.off, self.supply = table.kind.take(at) == OFF, supply
        self._any_off = bool(self.off.any())
        self.current = drives.current_a(d, u, torque)
        self.behind = line.behind_v(
            drives.motors, drives.motors.gear_ratio[d] * u, self.current, line.fixed_ohm(drives.motors, d), d
        )

    def at_end(self, cutoff_v: Floats) -> tuple[Floats, Floats]:
        """Voltage of the pack below which it cannot be held or the cells are below the cut-off; pack current there."""
        volts = np.maximum(np.where(self.off, 0.0, self.behind), cutoff_v)
        current = line.pack_current_a(self.supply, self.current, self.behind / volts)
        return volts, np.where(self.off, self.supply.radio_a, current)

    def at(self, open_v: Floats, ohm: Floats) -> tuple[Floats, Floats]:
        """Pack current and throttle; NaN where it cannot be held."""
        d = line.held_throttle(self.supply, self.behind, self.current, open_v, ohm)
        current = line.pack_current_a(self.supply, self.current, d)
        if not self._any_off:
            return current, d
        return np.where(self.off, self.supply.radio_a, current), np.where(self.off, 0.0, d)


_SLACK = 1e-3
"""Share of the charge of a timed phase by which straight lines between Gauss nodes may differ from the curve."""
_ROUNDING = 1e-6
"""Widening of every bound: far above rounding and the accuracy of roots (1e-10)."""
_INTERVALS = 4
"""Parts of the charge in which currents and rates of climb are bounded."""
_FOREVER_S = 1e9
"""Stands for no end."""
_STEPS = tuple(2**k for k in range(9, -1, -1))
_NODES = sum(_STEPS)
"""Steps to the charge at which shares end, and nodes of the charge between which they find it."""


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


def flight_bounds(
    tables: PropellerTables, drives: Drives, p: Index, d: Index, *, rough: bool = False, most_a: Floats | None = None
) -> FlightBounds:
    """Bounds for combinations of a block.

    ``rough`` takes a held throttle to draw anything up to the limits of the current, which a combination that passed
    the checks before this one keeps, or up to ``most_a`` (N,), which full throttle of one motor on a full pack does not
    exceed; otherwise its current is solved.
    """
    with np.errstate(all="ignore"):
        return _Bounds(tables, drives, p, d, rough=rough, most_a=most_a).result()


class _Bounds:
    def __init__(
        self, tables: PropellerTables, drives: Drives, p: Index, d: Index, *, rough: bool = False,
        most_a: Floats | None = None,
    ) -> None:  # fmt: skip
        self.tables, self.drives, self.p, self.d, self.rough = tables, drives, p, d, rough
        self._most_a = drives.most_a[d] if most_a is None else np.minimum(drives.most_a[d], most_a)
        self.setting: Setting = tables.setting
        self.pack = Packs(self.setting, drives, d)
        self.node = drives.node[d]
        phases = self.setting.phases
        shares = [i for i, phase in enumerate(phases) if phase.share is not None]
        self.repeats = not shares
        self.shares = shares or list(range(len(phases)))
        self.before = list(range(shares[0])) if shares else []
        self.after = list(range(shares[-1] + 1, len(phases))) if shares else []
        self._kept: dict[tuple[int, float], tuple[Floats, Floats]] = {}
        self._climbing: dict[int, Floats] = {}
        self._helds: dict[tuple[int, int], Held] = {}
        self._roughs: dict[float, Floats] = {}
        n = p.size
        self.unknown, self.impossible = ~tables.regular[p] | drives.odd[d], np.zeros(n, dtype=bool)
        for held in tables.held:
            if held is not None:
                at = p * tables.nodes + self.node
                below, above = held[0].kind.take(at), held[1].kind.take(at + 1)
                self.impossible |= below == IMPOSSIBLE
                self.unknown |= (below != above) | (below == UNKNOWN)

    # ------------------------------------------------------------ phases

    def _held(self, i: int, above: int) -> Held:
        if (i, above) not in self._helds:
            tables = self.tables.held[i]
            assert tables is not None
            held = Held(tables[above], self.drives, self.p, self.d, self.node + above, self.pack.supply)
            self._helds[i, above] = held
        return self._helds[i, above]

    def _weight(self, i: int) -> float:
        return float((self.setting.phases[i].seconds if self.repeats else self.setting.phases[i].share) or 0.0)

    def _source(self, throttle: float, charge: Any) -> Source:
        """What pack and controller put before the motors."""
        return line.source(self.drives.motors, throttle, self.pack.open_v(charge), self.pack.ohm(charge), self.d)

    def _drawn(self, current: Floats, throttle: float) -> Floats:
        """Pack current for a motor current."""
        return line.pack_current_a(self.pack.supply, np.maximum(current, 0.0), throttle)

    def _solved(self, i: int, charge: float = 1.0) -> tuple[Floats, Floats]:
        """Motor current and propeller speed of a held throttle at a charge, solved."""
        if (i, charge) not in self._kept:
            drives, d, p, tables, phase = self.drives, self.d, self.p, self.tables, self.setting.phases[i]
            source = self._source(float(phase.throttle or 0.0), charge)
            problem = SpeedProblem(
                **drives.motors.columns(d),
                source_v=source.volts,
                resistance_ohm=source.ohm,
                resistance_back_ohm=source.ohm_back,
                which=tables.curves.which[p],
                diameter_m=tables.curves.diameter_m[p],
                density_kg_m3=np.full(1, tables.density),
                airspeed_m_s=tables.airspeed(phase, drives.mass_g[d] + tables.mass_g[p]),
                surfaces=tables.curves.stack,
            )
            found = solve_speed(problem, p.size)
            good = found.status == Status.OK
            self._kept[i, charge] = np.where(good, found.motor_current_a, np.nan), found.speed_rad_s
        return self._kept[i, charge]

    def _slowest(self, i: int, charge: Floats) -> Floats:
        """A propeller speed below that of a held throttle from full down to a charge.

        Speed and current fall with the charge, so it is at least that at which the line of the lower charge gives the
        current of the full pack.
        """
        source = self._source(float(self.setting.phases[i].throttle or 0.0), charge)
        return np.asarray(
            line.speed_at(self.drives.motors, source.volts, source.ohm, self._solved(i)[0], self.d)
        )  # fmt: skip

    def _keeps_time(self, i: int) -> Flags:
        """Where a phase is surely flown for all of its time or share: one that surely loses no height."""
        phase = self.setting.phases[i]
        if phase.to_height_m is not None:
            return np.zeros(self.p.size, dtype=bool)
        return self._rises(i) if phase.throttle is not None else np.full(self.p.size, phase.climb_m_s >= 0)

    def _rises(self, i: int) -> Flags:
        """Where a phase surely climbs, down to the reserve."""
        return np.asarray(self._slowest_climb(i) > _ROUNDING)

    def _slowest_climb(self, i: int) -> Floats:
        """Least rate of climb (N,) of a phase from full down to the reserve.

        A held throttle gives at least the thrust of a speed below its own, thrust rising with speed.
        """
        phase, tables, n = self.setting.phases[i], self.tables, self.p.size
        if phase.throttle is None:
            return np.full(n, phase.climb_m_s)
        if phase.throttle > 0.0 and self.rough:
            return np.full(n, -np.inf)
        if i not in self._climbing:
            frames = self.setting.airframes(self.drives.mass_g[self.d] + tables.mass_g[self.p])
            airspeed = self.setting.airspeed_m_s(phase, frames)
            if phase.throttle == 0.0:
                thrust = -tables.curves.off_drag_n(self.p, airspeed)[1] / frames.installed_thrust
            else:
                slow = self._slowest(i, np.full(n, self.pack.reserve))
                thrust = tables.count * tables.curves.thrust(self.p, np.maximum(slow, 1.0), airspeed)
                thrust = np.where(slow > 1.0, thrust, np.nan)
            rate = climb_m_s(frames, thrust, drag_n(frames, tables.density, airspeed), airspeed)
            rate = np.where(np.isnan(rate), -np.inf, rate)
            self._climbing[i] = np.where(np.isinf(rate), rate, rate - _SLACK * np.abs(rate))
        return self._climbing[i]

    def _goes_on(self) -> Flags:
        """Where a list without shares surely takes time in every round, and reaches its heights.

        A phase of it keeps its time, or one that climbs to a height comes with one that glides below that.
        """
        phases, n = self.setting.phases, self.p.size
        takes, reaches = np.zeros(n, dtype=bool), np.ones(n, dtype=bool)
        for i, phase in enumerate(phases):
            takes |= self._keeps_time(i)
            if phase.to_height_m is not None and phase.throttle != 0.0 and phase.climb_m_s >= 0:
                reaches &= self._rises(i)
                below = [p for p in phases if p.throttle == 0.0 and p.to_height_m is not None]
                takes |= any(p.to_height_m < phase.to_height_m for p in below)  # type: ignore[operator]
        return takes & reaches

    def _throttled(self, i: int, charge: Floats) -> tuple[Floats, Floats]:
        """Least and greatest pack current of a held throttle from full down to a charge.

        The torque at the slowest speed bounds the current from below.
        """
        phase, drives, d, p = self.setting.phases[i], self.drives, self.d, self.p
        throttle = float(phase.throttle or 0.0)
        if throttle == 0.0:
            nothing = self._drawn(np.zeros(p.size), throttle)
            return nothing, nothing
        if self.rough:
            return self._drawn(np.zeros(p.size), throttle), self._roughly(throttle) * (1 + _SLACK)
        most, _ = self._solved(i)
        u = self._slowest(i, charge)
        airspeed = self.tables.airspeed(phase, drives.mass_g[d] + self.tables.mass_g[p])
        torque = self.tables.curves.torque(p, np.maximum(u, 1.0), airspeed)
        least = np.where((u > 1.0) & (torque > 0), drives.current_a(d, u, torque), 0.0)
        return self._drawn(least, throttle) * (1 - _SLACK), self._drawn(most, throttle) * (1 + _SLACK)

    def _most(self, i: int, charge: Floats) -> Floats:
        """Greatest current of a phase from full down to a charge."""
        throttle = self.setting.phases[i].throttle
        if throttle is None:
            return self._held(i, 1).at(self.pack.open_v(charge), self.pack.ohm(charge))[0]
        if throttle == 0.0:
            return self._drawn(np.zeros(self.p.size), throttle)
        return self._roughly(throttle) if self.rough else self._drawn(self._solved(i)[0], throttle)

    def _roughly(self, throttle: float) -> Floats:
        """Greatest pack current at a throttle by the limits, or what the pack bears for long where it keeps to that."""
        if throttle not in self._roughs:
            drives, d = self.drives, self.d
            most = self._drawn(self._motor_roughly, throttle)
            sustained = np.where(self._keeps(drives.sustained), drives.sustained_a.take(d), np.inf)
            self._roughs[throttle] = np.minimum(most, sustained)
        return self._roughs[throttle]

    @cached_property
    def _motor_roughly(self) -> Floats:
        """The same for the motor current."""
        drives, d = self.drives, self.d
        return np.minimum(self._most_a, np.where(self._keeps(drives.steady), drives.steady_a.take(d), np.inf))

    def _keeps(self, threshold: Threshold) -> Flags:
        """Whether full throttle surely keeps a threshold, at rest and in flight."""
        tables, p, d = self.tables, self.p, self.d
        torque = tables.curves.of_cells(tables.curves.torque_worst, p, threshold.cell.take(d))
        return np.asarray(torque * (1 + _ROUNDING) <= threshold.torque_nm.take(d))

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
        return least, np.minimum(most, self._motor_roughly * (1 + _SLACK)) if self.rough else most

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

    def _longest(self) -> Floats:
        """Seconds that no flight exceeds, whatever its phases take of the time.

        In interval k of the charge phase i draws at least I_ik and climbs at most r_ik. The times t_ik take the charge
        Q_k of each interval at most, sum_i I_ik t_ik <= Q_k, and height is lost only as it was gained before,
        sum_ik r_ik t_ik >= 0. So for every price p >= 0 of height sum t <= sum (1 + p r) t
        <= sum_k Q_k max(0, max_i (1 + p r_ik)/I_ik). The prices tried are 0 and those at which, in one interval, a
        phase that sinks is worth one that climbs: there the bound of that interval is least.
        """
        edges = np.linspace(1.0, self.pack.reserve, _INTERVALS + 1)
        phases = range(len(self.setting.phases))
        each = [[self._least_and_rate(i, *ends) for i in phases] for ends in pairwise(edges.tolist())]
        prices = [np.zeros(self.p.size)]
        for interval in each:
            for (sinking, sink), (climbing, climb) in permutations(interval, 2):
                price = (climbing - sinking) / (sinking * climb - climbing * sink)
                prices.append(np.where((sink < 0) & (climb > 0) & (price > 0), price * (1 + _ROUNDING), 0.0))
            prices += [np.where(rate < 0, -(1 + _ROUNDING) / rate, 0.0) for _, rate in interval]
        seconds = [self._priced(price, edges, each) for price in prices]
        return np.asarray(np.fmin.reduce(seconds) * (1 + _SLACK))

    def _priced(self, price: Floats, edges: Floats, each: list[list[tuple[Floats, Floats]]]) -> Floats:
        """The bound of :meth:`_longest` at a price of height [s/m] (N,); infinite where it has none."""
        seconds = np.zeros(self.p.size)
        for (full, empty), interval in zip(pairwise(edges.tolist()), each, strict=True):
            worth = [(1.0 + np.where(price > 0, price * rate, 0.0)) / current for current, rate in interval]
            best = np.maximum(np.max(worth, axis=0), 0.0)
            seconds = seconds + (full - empty) * self.pack.coulombs * best
        return np.where(np.isnan(seconds), np.inf, seconds)

    def _shortest(self, mix: "_Mixture", coulombs: Floats) -> Floats:
        """Seconds that a list without shares surely lasts where height may change its rounds.

        Height gained beyond the highest that a phase goes for is lost again: the mean current is at most that of a
        level phase, or of one that climbs slowest with one that sinks fastest. Where a phase climbs for a time, each
        that sinks after it takes at least the time in which it loses that height. A round begun and not ended takes at
        most the charge of one ended at once, the timed phases that are left longer.
        """
        phases, most = self.setting.phases, mix.greatest
        rates = [self._slowest_climb(i) for i in range(len(phases))]
        may_climb = [p.throttle != 0.0 and p.climb_m_s >= 0 and not (p.throttle is None and p.climb_m_s == 0)
                     for p in phases]  # fmt: skip
        heights = [p.to_height_m for p, may in zip(phases, may_climb, strict=True) if may]
        if heights and None not in heights:
            return self._up_and_down(rates, may_climb, most, coulombs, max(h for h in heights if h is not None))
        height, least = np.zeros(self.p.size), []
        for i, (phase, rate) in enumerate(zip(phases, rates, strict=True)):
            known = np.isfinite(rate) & (phase.to_height_m is None)
            with np.errstate(invalid="ignore", divide="ignore"):
                lasts = np.where(rate >= 0, np.inf, np.where(height > 0, height / -rate, 0.0))
                spent = np.where(known, np.minimum(self._seconds(i), lasts), 0.0)
                height = np.where(known, np.maximum(height + spent * rate, 0.0), 0.0)
            least.append(spent)
        longest = np.array([[min(self._seconds(i), _FOREVER_S)] for i in range(len(phases))])
        fewest, current = np.array(least), np.array(most)
        total = np.sum(fewest, axis=0)
        mean = np.sum(current * fewest, axis=0) / total
        for _ in range(len(phases) + 1):
            weights = np.where(current > mean, longest, fewest)
            mean = np.sum(weights * current, axis=0) / np.sum(weights, axis=0)
        hungriest = np.max(current, axis=0)
        mean = np.where(total > 0, np.minimum(mean * (1 + _ROUNDING), hungriest), hungriest)
        return np.asarray(coulombs / mean - sum(phase.seconds or 0.0 for phase in phases))

    def _up_and_down(
        self, rates: list[Floats], may_climb: list[bool], most: list[Floats], coulombs: Floats, highest_m: float
    ) -> Floats:
        """The same where every phase that climbs does so to a height."""
        mean, spare = np.zeros(self.p.size), np.zeros(self.p.size)
        for rate, up, current in zip(rates, may_climb, most, strict=True):
            if not up:
                mean = np.maximum(mean, current)
                continue
            climb = np.maximum(rate, 0.0)
            spare = np.maximum(spare, current * highest_m / climb)
            paired = np.zeros(self.p.size)
            for other, rises, drawn in zip(rates, may_climb, most, strict=True):
                if not rises:
                    sink = np.maximum(-other, 0.0)
                    both = (current * sink + drawn * climb) / (sink + climb)
                    paired = np.maximum(paired, np.where(np.isfinite(sink), both, current))
            mean = np.maximum(mean, paired if not all(may_climb) else current)
        return np.asarray((coulombs - spare) / mean)

    def _least_and_rate(self, i: int, full: float, empty: float) -> tuple[Floats, Floats]:
        """Least pack current of a phase and greatest rate of climb between two charges (N,)."""
        phase, pack, n = self.setting.phases[i], self.pack, self.p.size
        if phase.throttle is None:
            paying = phase.share is not None and pays(phase)
            current = self._held(i, 0).at(pack.open_v(full), pack.ohm(full))[0]
            return current, np.full(n, np.inf if paying else phase.climb_m_s)
        current = np.broadcast_to(self._drawn(np.zeros(n), phase.throttle), n)
        if phase.throttle > 0 and self.rough:
            return current, np.full(n, np.inf)
        frames = self.setting.airframes(self.drives.mass_g[self.d] + self.tables.mass_g[self.p])
        airspeed = self.setting.airspeed_m_s(phase, frames)
        thrust = -self.tables.curves.off_drag_n(self.p, airspeed)[0] / frames.installed_thrust
        if phase.throttle > 0:
            amps, u = self._solved(i, full)[0], self._solved(i, full)[1]
            least = self._solved(i, empty)[0]
            current = np.where(np.isnan(least), current, self._drawn(least, phase.throttle) * (1 - _SLACK))
            thrust = self.tables.count * self.tables.curves.thrust(self.p, np.maximum(u, 1.0), airspeed)
            thrust = np.where(np.isnan(amps), np.inf, thrust)
        rate = climb_m_s(frames, thrust, drag_n(frames, self.tables.density, airspeed), airspeed)
        return current, rate + _SLACK * np.abs(rate)

    def _repeated(self) -> tuple[Floats, Floats, Floats, Floats]:
        """Seconds and currents (2, N) of pack and motor of a list flown again and again.

        They lie between the currents at the ends, within a round.
        """
        mix, coulombs = self._mixture(), self.pack.coulombs * (1.0 - self.pack.reserve)
        round_s = sum(self._seconds(i) for i in self.shares)
        within = np.where(mix.keeps, round_s, 0.0)
        low = np.maximum(np.where(mix.keeps, coulombs * mix.least - within, self._shortest(mix, coulombs)), 0.0)
        low = np.where(mix.holds & (mix.keeps | self._goes_on()), low, 0.0)
        sure = low > within
        low_a, high_a = np.where(sure, mix.current_low, 0.0), np.where(sure, mix.current_high, np.inf)
        return low, np.fmin(coulombs * mix.most + round_s, self._longest()), low_a, high_a

    def _seconds(self, i: int) -> float:
        """How long a phase lasts at most."""
        phase = self.setting.phases[i]
        return np.inf if phase.to_height_m is not None else float(phase.seconds or 0.0)

    def _taken(self, i: int, least: Floats, most: Floats, mix: "_Mixture") -> tuple[Floats, Floats, Floats, Floats]:
        """Seconds that a timed phase surely adds, and may add at most; charge that it takes at least and at most.

        One that may be cut short, or ends by height, need not add any; what it adds costs the mixture at least the
        charge it takes times the least 1/I.
        """
        seconds, keeps, coulombs = self._seconds(i), self._keeps_time(i), self.pack.coulombs
        drawn = (1 - _SLACK) * least / coulombs
        with np.errstate(invalid="ignore"):
            gain = np.maximum(1.0 - drawn * coulombs * mix.least, 0.0)
            may = np.where(gain > 0, seconds * gain, 0.0)
            taken = np.where(most > 0, (1 + _SLACK) * seconds * most / coulombs, 0.0)
            used = np.where(keeps, seconds * drawn, 0.0) if np.isfinite(seconds) else np.zeros(keeps.size)
        return np.where(keeps, seconds, 0.0), np.where(keeps, seconds, may), used, np.minimum(taken, 1.0)

    def _mixed(self) -> tuple[Floats, Floats, Floats, Floats]:
        """Seconds and currents (2, N) of pack and motor: timed phases, then shares, then timed phases.

        Shares that use up their height end the flight, and nothing after them is flown. They cannot where they keep
        their weights: none loses height then, or one pays for what the others lose. Only there are the seconds after
        them certain; those before them are flown whatever follows.
        """
        n, pack = self.p.size, self.pack
        zero = np.zeros(n)
        mix = self._mixture()
        surely, at_most, landing = zero, zero, zero
        end, used_least, fits = np.ones(n), zero, np.ones(n, dtype=bool)
        nothing = np.zeros((2, n))
        lows, highs = [nothing], [nothing]
        for i in self.before:
            seconds = self._seconds(i)
            most = self._most(i, end)
            with np.errstate(invalid="ignore"):
                wanted = np.where(most > 0, self._more(i) * seconds * most / pack.coulombs, 0.0)
            guess = np.maximum(end - wanted, pack.reserve)
            if self.rough:  # one charge for all: what flies down to it flies down to each one's own
                guess = np.fmin.reduce(guess, initial=1.0)
            least, most = self._ends(i, guess)
            sure, may, used, taken = self._taken(i, least, most, mix)
            end, surely, at_most, used_least = end - taken, surely + sure, at_most + may, used_least + used
            fits &= (end >= guess) & (end > pack.reserve) & self._flies(i, guess, most)
            self._note(i, np.where(self._keeps_time(i), least, 0.0), most, lows, highs)
        begins, started = fits & (surely > 0), surely
        # timed phases after the shares are reserved whether they can be flown or not
        lands, after_least, after_most = np.ones(n, dtype=bool), zero, zero
        reserve = np.full(n, pack.reserve)
        for i in self.after:
            least, most = self._ends(i, reserve)
            sure, may, used, taken = self._taken(i, least, most, mix)
            surely, landing = surely + np.where(mix.keeps, sure, 0.0), landing + np.maximum(may, sure)
            after_least, after_most = after_least + used, after_most + taken
            lands &= self._flies(i, reserve, most)
            self._note(i, least, np.where(np.isnan(most), np.inf, most), [], highs)
        lands &= end - after_most > pack.reserve
        full = (1.0 - pack.reserve) * mix.best
        timed = at_most + landing
        spent = used_least * mix.early + after_least * mix.least
        high = timed + pack.coulombs * np.maximum(full - spent, 0.0)
        taken = (1.0 - end + after_most) * mix.most * (1 + _SLACK)
        low = surely + pack.coulombs * np.maximum((1.0 - pack.reserve) * mix.worst - taken, 0.0)
        flown, never = mix.holds.copy(), np.zeros(n, dtype=bool)
        rest = np.flatnonzero(~mix.holds)
        if rest.size:
            coulombs = pack.coulombs[rest]
            first, last, best, worst, least = self._ends_of(mix, rest)
            whole = sum(self._seconds(i) for i in (*self.before, *self.after))
            spent = used_least[rest] * least
            high[rest] = np.minimum(high[rest], whole + coulombs * np.maximum((1.0 - first) * best - spent, 0.0))
            low[rest] = started[rest] + coulombs * np.maximum((1.0 - last) * worst - taken[rest], 0.0)
            never[rest] = first >= 1.0 - used_least[rest]
            low[rest] = np.where(never[rest], 0.0, low[rest])
            high[rest] = np.where(never[rest], whole, high[rest])
            flown[rest] = last < end[rest] - after_most[rest]
        flown &= mix.keeps & lands
        low = np.where(fits & lands, low, 0.0)
        low_a = np.max([*lows, np.where(flown, mix.current_low, 0.0)], axis=0)
        high_a = np.max([*highs, np.where(never, 0.0, mix.current_high)], axis=0)
        # without any phase flown there is no mean current, which does not pass: charge must be left for the shares
        some = begins | (fits & flown) if self.before else flown
        low_a = np.where(fits, low_a, 0.0)
        if not self.before:
            low_a = np.where(never & (not self.after), np.inf, low_a)
        if not mix.keeps.all() or not np.isfinite(high).all():
            high = np.fmin(high, self._longest())
        return low, high, low_a, np.where(some, high_a, np.inf)

    def _more(self, i: int) -> float:
        """How many times what a phase draws at most at its begin it may take until its end, by a first guess.

        A held throttle draws ever less, a held airspeed ever more.
        """
        return 1.2 if self.setting.phases[i].throttle is None else (1.0 + _SLACK) ** 3

    def _ends_of(self, mix: "_Mixture", some: Index) -> list[Floats]:
        """:meth:`ends` of some combinations; what is known of any where shares hold a throttle or lose weight."""
        none = np.zeros(some.size)
        known = [np.where(mix.starts[some], self.pack.reserve, 1.0), none + 1.0, mix.most[some], none, none]
        if self.rough or any(self.setting.phases[i].throttle is not None for i in self.shares):
            return known
        ends = _Bounds(self.tables, self.drives, self.p[some], self.d[some]).ends()
        return [ends[0], *(np.where(mix.keeps[some], *each) for each in zip(ends[1:], known[1:], strict=True))]

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

    def ends(self) -> tuple[Floats, Floats, Floats, Floats, Floats]:
        """Charges at which shares that hold airspeeds end at the earliest and at the latest that bounds tell.

        And 1/I: at most its mean from full to the earliest, at least its mean from full to the latest, and less than
        any of it down to the earliest. A share ends where the throttle is 1 or the cells are at the cut-off: at a
        voltage V of the pack, the greater of V_c and the cut-off, and the current J that it takes there. So it ends at
        the charge at which E - R_b J = V, which nodes bound. The means are bounded as for the whole discharge.
        """
        pack, drives, d = self.pack, self.drives, self.d
        q = np.linspace(pack.reserve, 1.0, _NODES)
        ocv, mean = np.asarray(drives.chemistry.cell_ocv_v(q)), mean_ocv_v(drives.chemistry, q)
        factor, leads_ohm = np.asarray(resistance_factor(q)), drives.of_pack["leads_ohm"][d]
        cells_ohm = drives.chemistry.sustained_ratio * drives.of_pack["cells_ohm"][d]
        weights = [self._weight(i) for i in self.shares]
        weights = [weight / sum(weights) for weight in weights]
        ends, drawn = [], np.zeros(self.p.size)
        for above in (0, 1):
            at = np.zeros(self.p.size, dtype=np.intp)
            for i, weight in zip(self.shares, weights, strict=True):
                volts, current = self._held(i, above).at_end(pack.cells * pack.cutoff)
                drawn = drawn if above else drawn + weight * current
                least = volts * (1.0 + (_ROUNDING if above else -_ROUNDING)) + leads_ohm * current
                below, drop = np.full(at.size, -1), cells_ohm * current
                for step in _STEPS:
                    middle = below + step
                    short = pack.cells * ocv.take(middle) - drop * factor.take(middle) < least
                    below = np.where(short, middle, below)
                at = np.maximum(at, np.minimum(below + above, _NODES - 1))
            ends.append(at)
        first, last = ends

        def mixed(above: int, open_v: Floats, ohm: Floats) -> Floats:
            each = (self._held(i, above).at(open_v, ohm)[0] for i in self.shares)
            return 1.0 / np.asarray(sum(weight * x for weight, x in zip(weights, each, strict=True)))

        best = mixed(0, pack.cells * mean.take(first), pack.ohm(1.0))
        e_full, e_last, ohm = pack.open_v(1.0), pack.cells * ocv.take(last), pack.ohm(q.take(last))
        at_full, at_last = mixed(1, e_full, ohm), mixed(1, e_last, ohm)
        worst = at_last + (at_full - at_last) * (pack.cells * mean.take(last) - e_last) / (e_full - e_last)
        none = last == _NODES - 1
        return q.take(first), q.take(last), best, np.where(none, 0.0, worst), 1.0 / drawn

    def _mixture(self) -> "_Mixture":
        """1/I of the shares: bounds of its mean over the discharge and of its ends."""
        pack, phases = self.pack, self.setting.phases
        total = sum(self._weight(i) for i in self.shares) or 1.0
        e_full, e_low = pack.open_v(1.0), pack.open_v(pack.reserve)
        r_full, r_low = pack.ohm(1.0), pack.ohm(pack.reserve)
        n = self.p.size
        sums = {name: np.zeros(n) for name in ("mean", "full", "low", "best full")}
        lows, highs = [np.zeros((2, n))], [np.zeros((2, n))]
        least: list[Floats] = []
        greatest: list[Floats] = []
        holds, starts = np.ones(n, dtype=bool), np.ones(n, dtype=bool)
        for i in self.shares:
            weight = self._weight(i) / total
            if phases[i].throttle is not None:
                low_a, high_a = self._throttled(i, np.full(n, pack.reserve))
                light = dict.fromkeys(("mean", "best full"), low_a)
                heavy = dict.fromkeys(("full", "low"), high_a)
                volts = (e_low - r_low * high_a) / pack.cells
                holds &= volts > pack.cutoff * (1.0 + _ROUNDING)
                ends = light | heavy
            else:
                lighter, heavier = self._held(i, 0), self._held(i, 1)
                at_full, duty = lighter.at(e_full, r_full)
                starts &= duty < 1.0 + _ROUNDING
                starts &= (e_full - r_full * at_full) / pack.cells > pack.cutoff * (1.0 - _ROUNDING)
                at_low, throttle = heavier.at(e_low, r_low)
                ends = {
                    "mean": lighter.at(pack.mean_v, r_full)[0],
                    "best full": at_full,
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
            least.append(ends["best full"])
            greatest.append(np.where(np.isnan(ends["low"]), np.inf, np.fmax(ends["low"], ends["full"])))
            self._note(i, low_a, high_a, lows, highs)
        share = (pack.mean_v - e_low) / (e_full - e_low)
        # where the thrust cannot be held with the open voltage of the reserve, 1/I there is bounded by 0
        at_low = np.where(np.isnan(sums["low"]), 0.0, 1.0 / sums["low"])
        worst = at_low + (1.0 / sums["full"] - at_low) * share
        lost = np.isnan(sums["mean"]) | np.isnan(sums["low"])
        best = np.where(lost, 1.0 / sums["best full"], 1.0 / sums["mean"])
        most = 1.0 / sums["best full"]
        # weights that height may change mean 1/I between those of the phases alone
        keeps = np.logical_and.reduce([self._keeps_time(i) for i in self.shares])
        keeps |= not self.repeats and any(pays(phases[i]) for i in self.shares)
        alone = 1.0 / np.min(least, axis=0)
        self.unknown |= ~(np.max(greatest, axis=0) > 0)  # a mixture that takes nothing has no end
        low = np.where(keeps, at_low, 1.0 / np.max(greatest, axis=0))
        throttled = any(phases[i].throttle is not None for i in self.shares)
        return _Mixture(
            best=np.where(keeps, best, alone),
            worst=np.where(keeps, worst, 0.0),
            least=low,
            early=low if throttled else np.where(keeps & holds, np.maximum(worst, low), low),
            most=np.where(keeps, most, alone),
            starts=starts | throttled,
            holds=holds,
            keeps=keeps,
            greatest=greatest,
            current_low=np.where(keeps, np.max(lows, axis=0), 0.0),
            current_high=np.max(highs, axis=0),
        )


@attrs.frozen(kw_only=True, eq=False)
class _Mixture:
    """Mean of 1/I at best and at worst, least and greatest 1/I, all (N,) [1/A]; currents of pack and motor (2, N).

    ``early``: at least the mean of 1/I over the charge that is drawn first. Held airspeeds draw ever more, so over any
    charge from full on the mean of 1/I is at least that over the whole discharge, and what was drawn before them cost
    that much of their time;
    ``starts``: it may be flown on a full pack; ``holds``: it can be flown down to the reserve;
    ``keeps``: its weights are those of the brief;
    ``greatest``: pack current of each phase at most.
    """

    best: Floats
    worst: Floats
    least: Floats
    early: Floats
    most: Floats
    starts: Flags
    holds: Flags
    keeps: Flags
    greatest: list[Floats]
    current_low: Floats
    current_high: Floats
