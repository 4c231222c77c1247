"""Bounds of flight time and of the hungriest phase's mean current, for many combinations, without flying them.

At a held thrust the pack current of one motor is I_b with E' = R_b count I_b + V_c/d and 1/d = (y count I - k)/
((1 - k) count) for y = 1/I_b: E' is convex in y, so y is concave and rising in E'. Adding the accessories, or mixing
phases by share, keeps 1/I concave. Charge by charge E is linear within the segments of its curve, so the mean of 1/I
over the discharge lies below 1/I at the mean of E' (Jensen) and above the chord between the ends. R_b rises as charge
falls: the upper bound takes it at full, the lower one at the reserve. Current rises with mass: the nodes below and
above a combination's mass bound it.

Timed phases before the shares take a charge between their least and greatest current. What else may happen (a phase
after the shares, a cut-off, thrust lost, motor off for good) leaves the lower bound at 0: then the flight is flown.
"""

from typing import Any

import attrs
import numpy as np
from numpy.typing import NDArray

from propmatch import controller
from propmatch.battery import Chemistry
from propmatch.kernel import solve_speed
from propmatch.searchdrives import Drives
from propmatch.searchtables import IMPOSSIBLE, OFF, UNKNOWN, HeldTable, PropellerTables
from propmatch.sections import Phase
from propmatch.setting import Setting
from propmatch.status import Status
from propmatch.torque import SpeedProblem

__all__ = ["FlightBounds", "flight_bounds", "mean_ocv_v"]

Floats = NDArray[np.float64]
Index = NDArray[np.intp]
Flags = NDArray[np.bool_]
_SLACK = 1e-3
"""Share of the charge of a timed phase by which straight lines between Gauss nodes may differ from the curve."""
_ROUNDING = 1e-6


@attrs.frozen(kw_only=True, eq=False)
class FlightBounds:
    """Bounds (N,) of what flying would tell: minutes, and the mean current of the hungriest phase.

    A combination that has no flight time at all (below stall) has ``minutes_high`` 0 and ``current_low_a`` infinite.
    """

    minutes_low: Floats
    minutes_high: Floats
    current_low_a: Floats
    current_high_a: Floats

    def take(self, some: Any) -> "FlightBounds":
        """Some combinations."""
        return FlightBounds(**{a.name: getattr(self, a.name)[some] for a in attrs.fields(FlightBounds)})


def mean_ocv_v(chemistry: Chemistry, reserve: float) -> float:
    """Mean open-circuit voltage of a cell over the charge from full to the reserve [V]."""
    inside = chemistry.charge[(chemistry.charge > reserve) & (chemistry.charge < 1.0)]
    edges = np.concatenate([[1.0], inside[::-1], [reserve]])
    volts = np.asarray(chemistry.cell_ocv_v(edges))
    widths = edges[:-1] - edges[1:]
    return float(np.sum(widths * 0.5 * (volts[:-1] + volts[1:])) / np.sum(widths))


class _Packs:
    """What the packs of some combinations give over the charge used, (N,) each."""

    def __init__(self, setting: Setting, drives: Drives, d: Index) -> None:
        limits = setting.brief.limits
        self.reserve, self.cutoff = float(limits.reserve_charge or 0.0), float(limits.cutoff_cell_v or 0.0)
        self._drives, self._d = drives, d
        self.cells = drives.of_pack["cells"][d]
        self.coulombs = 3600.0 * drives.of_pack["capacity_ah"][d]
        self.accessory_a = drives.accessory_a
        self.mean_v = self.cells * mean_ocv_v(drives.chemistry, self.reserve)

    def open_v(self, charge: Any) -> Floats:
        return np.asarray(self._drives.open_v(charge, self._d))

    def ohm(self, charge: Any) -> Floats:
        return np.asarray(self._drives.pack_ohm(charge, self._d))


class _Held:
    """Pack current of a held airspeed at the node below or above each combination's mass."""

    def __init__(
        self, table: HeldTable, drives: Drives, p: Index, d: Index, node: Index, loss: Floats, pack: _Packs
    ) -> None:
        u, torque = table.speed[p, node], table.torque[p, node]
        self.off = table.kind[p, node] == OFF
        self.current = torque / drives.ke[d] + drives.friction_a(u, d)
        self.behind = drives.kg[d] * u + drives.ohm[d] * self.current
        self.loss, self.count, self.pack = loss, drives.count, pack

    def at(self, open_v: Floats, ohm: Floats) -> tuple[Floats, Floats]:
        """Pack current and throttle; NaN where it cannot be held."""
        available = open_v - ohm * self.pack.accessory_a
        d = controller.throttle_for(self.behind, self.current, available, ohm, self.loss, self.count)
        current = self.count * d * self.current / (1.0 - self.loss * (1.0 - d)) + self.pack.accessory_a
        return np.where(self.off, self.pack.accessory_a, current), np.where(self.off, 0.0, d)


def flight_bounds(tables: PropellerTables, drives: Drives, p: Index, d: Index) -> FlightBounds:
    """Bounds for combinations of a block."""
    with np.errstate(all="ignore"):
        return _Bounds(tables, drives, p, d).result()


class _Bounds:
    def __init__(self, tables: PropellerTables, drives: Drives, p: Index, d: Index) -> None:
        self.tables, self.drives, self.p, self.d = tables, drives, p, d
        self.setting: Setting = tables.setting
        shelf = drives.shelf
        self.pack = _Packs(self.setting, drives, d)
        self.loss = shelf.column("loss")[drives.controller[d]]
        self.node = drives.node[d]
        phases = self.setting.phases
        shares = [i for i, phase in enumerate(phases) if phase.share is not None]
        self.shares = shares
        self.before = list(range(shares[0])) if shares else []
        self.after = list(range(shares[-1] + 1, len(phases))) if shares else []
        self._kept: dict[int, Floats] = {}
        n = p.size
        self.unknown, self.impossible = ~tables.regular[p] | drives.odd[d], np.zeros(n, dtype=bool)
        for table in tables.held:
            if table is not None:
                kinds = np.array([table.kind[p, self.node], table.kind[p, self.node + 1]])
                self.impossible |= kinds[0] == IMPOSSIBLE
                self.unknown |= np.any((kinds == UNKNOWN) | (kinds == IMPOSSIBLE), axis=0) | (kinds[0] != kinds[1])

    # ------------------------------------------------------------ phases

    def _held(self, i: int, above: int) -> _Held:
        table = self.tables.held[i]
        assert table is not None
        return _Held(table, self.drives, self.p, self.d, self.node + above, self.loss, self.pack)

    def _throttled(self, phase: Phase, charge: Floats) -> Floats:
        """Pack current of a held throttle at a charge, solved."""
        pack, drives, d, p, tables = self.pack, self.drives, self.d, self.p, self.tables
        throttle = float(phase.throttle or 0.0)
        if throttle == 0.0:
            return np.full(p.size, pack.accessory_a)
        shelf = drives.shelf
        motor = drives.motor[d]
        ohm = pack.ohm(charge)
        eta = controller.eta(throttle, self.loss)
        shared = drives.count * throttle * throttle * ohm
        problem = SpeedProblem(
            source_v=throttle * (pack.open_v(charge) - ohm * pack.accessory_a),
            k=shelf.column("k")[motor],
            resistance_ohm=drives.ohm[d] + shared / eta,
            resistance_back_ohm=drives.ohm[d] + shared * eta,
            no_load_a=shelf.column("no_load_a")[motor],
            reference_rad_s=shelf.column("reference_rad_s")[motor],
            exponent=shelf.column("exponent")[motor],
            gear_ratio=shelf.column("gear_ratio")[motor],
            gear_efficiency=shelf.column("gear_efficiency")[motor],
            which=tables.which[p],
            diameter_m=tables.diameter_m[p],
            density_kg_m3=np.full(1, tables.density),
            airspeed_m_s=tables.airspeed(phase, drives.mass_g[d] + tables.mass_g[p]),
            surfaces=tables.stack,
        )
        found = solve_speed(problem, p.size)
        current = np.where(found.status == Status.OK, np.maximum(found.motor_current_a, 0.0), np.nan)
        return np.asarray(drives.count * throttle * current / eta + pack.accessory_a)

    def _fresh(self, i: int) -> Floats:
        """Pack current of a held throttle at full charge."""
        if i not in self._kept:
            self._kept[i] = self._throttled(self.setting.phases[i], np.ones(self.p.size))
        return self._kept[i]

    def _ends(self, phase: Phase, i: int, charge: Floats) -> tuple[Floats, Floats]:
        """Least and greatest current of a phase flown somewhere between full and a charge (N,)."""
        if phase.throttle is not None:
            ends = np.array([self._fresh(i), self._throttled(phase, charge)])
            return np.min(ends, axis=0) * (1 - _SLACK), np.max(ends, axis=0) * (1 + _SLACK)
        low, _ = self._held(i, 0).at(self.pack.open_v(1.0), self.pack.ohm(1.0))
        high, _ = self._held(i, 1).at(self.pack.open_v(charge), self.pack.ohm(charge))
        return low, high

    # ------------------------------------------------------------ the bounds

    def result(self) -> FlightBounds:
        n, pack = self.p.size, self.pack
        zero, phases = np.zeros(n), self.setting.phases
        low, high = zero, np.full(n, np.inf)
        current_low, current_high = zero, np.full(n, np.inf)
        if n and self.shares and not self.after:
            timed = sum(float(phases[i].seconds or 0.0) for i in self.before)
            end, used_least, fits = np.ones(n), zero, np.ones(n, dtype=bool)
            hungriest_low, hungriest_high = [zero], [zero]
            for i in self.before:
                seconds = float(phases[i].seconds or 0.0)
                held = phases[i].throttle is None
                most = self._ends(phases[i], i, end)[1] if held else self._fresh(i)
                guess = np.maximum(end - (1 + _SLACK) * 1.2 * seconds * most / pack.coulombs, pack.reserve)
                least, most = self._ends(phases[i], i, guess)
                end = end - (1 + _SLACK) * seconds * most / pack.coulombs
                used_least = used_least + (1 - _SLACK) * seconds * least / pack.coulombs
                fits &= (end >= guess) & (end > pack.reserve) & self._flies(phases[i], i, guess, most)
                hungriest_low.append(least)
                hungriest_high.append(most)
            mix = self._mixture()
            full = (1.0 - pack.reserve) * mix.best
            high = timed + pack.coulombs * np.maximum(full - used_least * mix.least, 0.0)
            before = (1.0 - end) * mix.most * (1 + _SLACK)
            low = timed + pack.coulombs * np.maximum((1.0 - pack.reserve) * mix.worst - before, 0.0)
            flown, never = mix.holds.copy(), np.zeros(n, dtype=bool)
            rest = np.flatnonzero(~mix.holds)
            if rest.size:
                first, last, worst = _Bounds(self.tables, self.drives, self.p[rest], self.d[rest]).ends()
                coulombs = pack.coulombs[rest]
                high[rest] = np.minimum(high[rest], timed + coulombs * (1.0 - first) * mix.most[rest])
                low[rest] = timed + coulombs * np.maximum((1.0 - last) * worst - before[rest], 0.0)
                never[rest] = first >= 1.0 - used_least[rest]
                for bound in (low, high):
                    bound[rest] = np.where(never[rest], timed, bound[rest])
                flown[rest] = last < end[rest]
            low = np.where(fits, low, 0.0)
            low, high = low * (1 - _ROUNDING) / 60.0, high * (1 + _ROUNDING) / 60.0
            lows = np.max([*hungriest_low, np.where(flown, mix.current_low, 0.0)], axis=0)
            current_low = np.where(fits, lows, 0.0) * (1 - _SLACK)
            highs = np.max([*hungriest_high, np.where(never, 0.0, mix.current_high)], axis=0)
            current_high = highs * (1 + _SLACK)
        unsure = self.unknown | ~np.isfinite(low + high)
        bounds = (
            np.where(self.impossible, 0.0, np.where(unsure, 0.0, low)),
            np.where(self.impossible, 0.0, np.where(unsure, np.inf, high)),
            np.where(self.impossible, np.inf, np.where(unsure, 0.0, current_low)),
            np.where(self.impossible, np.inf, np.where(unsure | np.isnan(current_high), np.inf, current_high)),
        )
        return FlightBounds(
            minutes_low=bounds[0], minutes_high=bounds[1], current_low_a=bounds[2], current_high_a=bounds[3]
        )

    def _flies(self, phase: Phase, i: int, charge: Floats, most: Floats) -> Flags:
        """Whether a phase can surely be flown down to a charge."""
        pack = self.pack
        volts = (pack.open_v(charge) - pack.ohm(charge) * most) / pack.cells
        holds = volts > pack.cutoff * (1.0 + _ROUNDING)
        if phase.throttle is None:
            _, d = self._held(i, 1).at(pack.open_v(charge), pack.ohm(charge))
            holds &= d < 1.0 - _ROUNDING
        return np.asarray(holds)

    def ends(self) -> tuple[Floats, Floats, Floats]:
        """Charges at which the shares end at the earliest and at the latest that bounds tell; 1/I at the latter.

        Halving finds them within 1/128 of the charge; a share with a held throttle tells nothing.
        """
        n, pack = self.p.size, self.pack
        shares = [i for i in self.shares if self.setting.phases[i].throttle is None]
        loads = [[self._held(i, above) for i in shares] for above in (0, 1)]
        weights = np.array([float(self.setting.phases[i].share or 0.0) for i in shares])
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
            for _ in range(7):
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
        total = sum(float(phases[i].share or 0.0) for i in self.shares)
        e_full, e_low = pack.open_v(1.0), pack.open_v(pack.reserve)
        r_full, r_low = pack.ohm(1.0), pack.ohm(pack.reserve)
        n = self.p.size
        sums = {name: np.zeros(n) for name in ("mean", "full", "low", "best full")}
        current_low, current_high = np.zeros(n), np.zeros(n)
        holds = np.ones(n, dtype=bool)
        for i in self.shares:
            weight = float(phases[i].share or 0.0) / total
            if phases[i].throttle is not None:
                least, most = self._ends(phases[i], i, np.full(n, pack.reserve))
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
                carried = np.where(heavier.off, 0.0, heavier.count * heavier.current) + pack.accessory_a
                low_a, high_a = ends["best full"], np.fmin(at_low, carried)
            for name, current in ends.items():
                sums[name] = sums[name] + weight * current
            current_low, current_high = np.maximum(current_low, low_a), np.maximum(current_high, high_a)
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
            current_low=current_low,
            current_high=current_high,
        )


@attrs.frozen(kw_only=True, eq=False)
class _Mixture:
    """Mean of 1/I at best and at worst, least and greatest 1/I, all (N,) [1/A]."""

    best: Floats
    worst: Floats
    least: Floats
    most: Floats
    holds: Flags
    current_low: Floats
    current_high: Floats
