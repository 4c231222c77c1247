"""Which combinations may keep the limits and reach what is asked, from groups of packs down to single ones.

A group is a motor with a controller, a propeller, and packs of one chemistry and cell count that lie near each other in
mass and resistance. It is judged by the best of each number among its packs, so that no pack of it does better:

- the voltage left over at half charge at a propeller speed and torque, E - R_b I_acc - K g u - (r + b g u) I, falls
  with R_b and, the speed and torque asked for rising with mass, with the mass of the pack;
- at full throttle, currents and motor power fall with R_b: what exceeds a limit with the greatest R_b does with any;
- the voltage of the pack at full throttle falls with R_b: where it is too low with the least R_b, it is with any;
- what a held airspeed draws, V_c I/E of each motor at least, rises with mass: minutes at most follow from the greatest
  charge and the least mass.

What is left of a group is divided, down to its packs. Groups come as lists, not as rectangles: of a few per cent that
are left nothing else is looked at.
"""

from collections.abc import Iterable, Iterator
from typing import Any

import attrs
import numpy as np

from propmatch.models.arrays import Flags, Floats, Index
from propmatch.search.bounds.curves import BAND
from propmatch.search.bounds.drives import NEARLY, Drives, held_to
from propmatch.search.bounds.fullthrottle import wanted
from propmatch.search.bounds.minutes import longest_minutes, margin_at_most
from propmatch.search.bounds.packs import PackNumbers
from propmatch.search.bounds.screen import Lanes, Screen
from propmatch.search.bounds.tables import PropellerTables, Want
from propmatch.search.ranking import Ranking
from propmatch.train import line
from propmatch.train.line import Trains

__all__ = ["LADDER", "LADDERS", "Groups", "Ladder", "Target"]

_ROOM = 65536
"""Groups in work at a time, at least where there are more."""
_ROWS = 16384
"""Pairs with propellers that are read together: what this needs stays in the cache."""
_EASED = 1e-6
"""Share of the voltage by which a test in single precision is eased."""
_TOGETHER = 16384
"""Alternatives of combinations that are tried at a time: few combinations take as long as many."""
_TAKEN = 32768
"""Combinations handed over together where there are more."""
_SHARING = 12
"""Parts of the packs of a kind for each of which the greatest power is looked up."""
_STEPS_OF_LADDER = 3
LADDER = 2**_STEPS_OF_LADDER - 1
"""Values of a ladder: so many steps find the one that is not reached."""
LADDERS = {"thrust_to_weight", "top_speed", "climb"}
"""Metrics that full throttle decides."""
_PARTS = 4
"""Groups that one is divided into."""


@attrs.frozen(kw_only=True, eq=False)
class _Tree:
    """Groups of the packs of one chemistry and cell count, level by level.

    Attributes
    ----------
    packs : near each other; bears : current and power that each pair bears, (2, pairs)
    levels : where the groups of each level begin; tops : the best of each number in them
    wants : (groups, propellers) of each level, where some pack of the group is wanted
    """

    packs: Index
    bears: Floats
    levels: list[Index]
    tops: list[PackNumbers]
    wants: list[Flags]


@attrs.frozen(kw_only=True, eq=False)
class Ladder:
    """Rising values of a metric, and what each takes: speeds and torques (values, alternatives, P nodes)."""

    values: Floats
    speed: Floats
    torque: Floats

    @classmethod
    def of(cls, tables: PropellerTables, metric: str, values: Floats) -> "Ladder":
        """Of a metric of :mod:`propmatch.search.bounds.fullthrottle`."""
        wants = [wanted(tables, metric, float(value)) for value in values]
        speed, torque = (np.array(each) for each in zip(*((want.speed, want.torque) for want in wants), strict=True))
        return cls(values=np.append(values, np.inf), speed=speed, torque=torque)


@attrs.frozen(kw_only=True, eq=False)
class Target:
    """A score of a mix of metrics that is to be reached, and the ladders of those that full throttle decides."""

    ranking: Ranking
    score: float
    ladders: dict[str, Ladder]


class Groups:
    """The groups of one screen.

    ``least_minutes`` is what a flight must last beside the brief's own limit, ``target`` what a mix of metrics must
    reach.
    """

    def __init__(self, screen: Screen, least_minutes: float = 0.0, target: "Target | None" = None) -> None:
        self.screen, self._target, setting = screen, target, screen.setting
        self._pairs, self._tables = screen.pairs, screen.tables
        self._m = self._pairs.motors
        asked = setting.brief.limits.min_flight_minutes or 0.0
        self._least_minutes = max(asked, least_minutes) * (1.0 - BAND)
        self._mass_limit_g = setting.train_mass_g(self._tables.mass_limit_g) * (1.0 + 1e-9)
        self._least_cells_v = setting.stated.limits.cutoff_cell_v
        # what asks less than any of the alternatives, where all are known
        self._at_least = [
            want
            if len(want.speed) == 1
            else Want(**{k: np.min(x, axis=0)[None] for k, x in attrs.asdict(want).items()})
            for want in screen.wants
        ]
        self._nominal_v: Floats = screen.shelf.column("pack_nominal_v")
        self._packs = screen.packs

    def _limits(self, pair: Index, pack: Index) -> Floats:
        """Greatest current and power that pairs bear (2, N); an estimate falls with the voltage of the pack."""
        limits, seconds = self.screen.setting.brief.limits, self.screen.setting.burst_load_seconds
        out = np.empty((2, pair.size))
        for start in range(0, pair.size, _ROOM):
            some = slice(start, start + _ROOM)
            ratings = self.screen.shelf.ratings_of(
                self._pairs.motor[pair[some]], self._pairs.controller[pair[some]], pack[some]
            )
            motor, controller = (
                held_to(each, each.limit(seconds), limits) for each in (ratings.motor, ratings.controller)
            )
            out[0, some] = np.minimum(motor, controller)
            out[1, some] = held_to(ratings.motor_power, ratings.motor_w, limits)
        return out

    # ------------------------------------------------------------ lists of combinations

    def combinations(self, wanted: Flags, pairs: Flags) -> Iterator[tuple[Drives, Lanes]]:
        """What may pass of wanted packs and propellers (packs, propellers) with wanted pairs, some at a time."""
        some = np.asarray(wanted.any(axis=1))
        for each in self.screen.classes:
            packs, fitting = each.packs[some[each.packs]], each.pairs[pairs[each.pairs]]
            if not packs.size or not fitting.size:
                continue
            taken: list[tuple[Index, Index, Index]] = []
            for found in self._of_class(packs, fitting, wanted):
                taken.append(found)
                if sum(x[0].size for x in taken) >= _TAKEN:
                    yield from self._drives(taken)
                    taken = []
            if taken:
                yield from self._drives(taken)

    def listed(self, parts: Iterable[Index]) -> Iterator[tuple[Drives, Lanes]]:
        """What may pass of combinations that are listed (N, 4) part by part."""
        left = [np.empty((0, 4), dtype=np.intp)]
        for part in parts:
            fitting = part[self.screen.shelf.cells_fit(*part.T[:3])]
            left.append(fitting[self.may(fitting)])
        rows = np.concatenate(left)
        pair = rows[:, 0] * self.screen.shelf.sizes[1] + rows[:, 1]
        kinds = self.screen.shelf.column("chemistry")[rows[:, 2]]
        for kind in np.flatnonzero(np.bincount(kinds.astype(np.intp))):
            some = kinds == kind
            yield from self._drives([(pair[some], rows[some, 2], rows[some, 3])])

    def greatest_power_w(self, packs: Index) -> Floats:
        """Greatest shaft power of one motor within the limits on each pack; 0 where none fits.

        max g K_t e (I - I0)(S - r I)/(g K) up to the limit: a resistance that rises with speed only lowers the speed,
        and I0 is least at rest. In flight the current may be larger by the tables' ``flight_ratio``. It rises with the
        limit and falls with r: some packs share the greatest limit and the least resistance among them.
        """
        out, m = np.zeros(self.screen.shelf.sizes[2]), self._m
        ratio = float(np.max(self._tables.curves.flight_ratio))
        asked = np.zeros(out.size, dtype=bool)
        asked[packs] = True
        for each in self.screen.classes:
            own, pairs = each.packs[asked[each.packs]], each.pairs
            if not own.size:
                continue
            bears = self._limits(pairs, np.full(pairs.size, own[np.argmin(self._nominal_v[own])]))
            idle = line.no_load_a(m, np.zeros(pairs.size), pairs)
            for some in np.array_split(own, min(own.size, _SHARING)):
                top = self._packs.grouped(some, np.zeros(1, dtype=np.intp))
                with np.errstate(all="ignore"):
                    source = line.source(m, 1.0, top.full_v, top.strong_ohm, pairs)
                    most = np.minimum(
                        self._most_a(pairs, top, *bears) * ratio, 0.5 * (source.volts / source.ohm + idle)
                    )
                    speed = (source.volts - source.ohm * most) / (m.k[pairs] * m.gear_ratio[pairs])
                    power = line.shaft_torque_nm(m, most, idle, pairs) * speed
                out[some] = np.max(np.where(np.isnan(power), np.inf, np.maximum(power, 0.0)))
        return out[packs]

    def _drives(self, taken: list[tuple[Index, Index, Index]]) -> Iterator[tuple[Drives, Lanes]]:
        """Lanes of pairs, packs and propellers, with their drives; of many, some at a time."""
        whole, packs = tuple(np.concatenate(each) for each in zip(*taken, strict=True)), self.screen.shelf.sizes[2]
        for start in range(0, whole[0].size, _TAKEN):
            pair, pack, propeller = (each[start : start + _TAKEN] for each in whole)
            key, drive = np.unique(pair * packs + pack, return_inverse=True)
            some, on = np.divmod(key, packs)
            yield Drives(self._pairs, self._tables, on, some), Lanes(propeller=propeller, drive=drive)

    def _of_class(self, packs: Index, pairs: Index, wanted: Flags) -> Iterator[tuple[Index, Index, Index]]:
        """Pairs, packs and propellers that may pass, of packs of one chemistry and cell count."""
        levels = _levels(packs.size)
        tops = [self._packs.grouped(packs, starts) for starts in levels]
        wants = [np.logical_or.reduceat(wanted[packs], starts, axis=0) for starts in levels]
        propellers = np.flatnonzero(wants[0][0])
        lowest = packs[np.argmin(self._nominal_v[packs])]
        bears = np.full((2, self._pairs.motor.size), np.nan)
        bears[:, pairs] = self._limits(pairs, np.full(pairs.size, lowest))
        tree = _Tree(packs=packs, bears=bears, levels=levels, tops=tops, wants=wants)
        at_root = self._thresholds(pairs, tops[0], *bears[:, pairs])
        for d, p in self._rough(pairs, propellers, tops[0], at_root):
            keep = self._may(pairs[d], p, tops[0], (at_root[0][d], at_root[1][d]))
            yield from self._below(0, pairs[d[keep]], np.zeros(keep.size, dtype=np.intp), p[keep], tree)

    def _rough(
        self, pairs: Index, propellers: Index, top: PackNumbers, threshold: tuple[Index, Floats]
    ) -> Iterator[tuple[Index, Index]]:
        """Of pairs (D,) with propellers (P,) those that :meth:`_may` may leave over, as places in both.

        What is wanted of full throttle asks for at least K g u + r (Q/(g K_t e) + I0) of u and Q of the alternative
        that asks least of each, I0 at rest being the least and b g u I not negative: a u + b Q <= c, read by whole rows
        of propellers, without a division. In single precision each of the five numbers and three steps is rounded by at
        most 6e-8 of what stands on its side, in all below the ``_EASED`` that is left to the voltage.
        """
        m, tables = self._m, self._tables
        drive_g = self._pairs.mass_g[pairs] + top.mass_g
        node, room_g = tables.node_of(drive_g), (self._mass_limit_g - drive_g)[:, None]
        mass_g = tables.mass_g[propellers]
        low, shape = tables.curves.torque_low, (tables.mass_g.size, tables.nodes)
        low = low if propellers.size == shape[0] else np.take(low, propellers, axis=1)
        asked = [
            [each[0].reshape(shape)[propellers].T.astype(np.float32, order="C") for each in (want.speed, want.torque)]
            for want in self._at_least
        ]
        with np.errstate(all="ignore"):
            limits = [threshold] if self._least_cells_v is None else [threshold, self._at_voltage(pairs, top)]
            source = line.source(m, 1.0, top.half_v, top.half_ohm, pairs)
            per_u, per_nm = m.k[pairs] * m.gear_ratio[pairs], source.ohm / m.torque_per_a[pairs]
            left_v = source.volts * (1.0 + _EASED) - source.ohm * line.no_load_a(m, np.zeros(pairs.size), pairs)
            by_u, by_nm, most_v = (
                np.broadcast_to(x, pairs.shape)[:, None].astype(np.float32) for x in (per_u, per_nm, left_v)
            )
            left, step = [], max(1, _ROWS // max(propellers.size, 1))
            for start in range(0, pairs.size, step):
                here = slice(start, start + step)
                good = mass_g <= room_g[here]
                for cell, torque in limits:
                    good &= np.take(low, cell[here], axis=0) <= torque[here, None]
                for speed, torque in asked:
                    asked_v = np.take(speed, node[here], axis=0) * by_u[here]
                    asked_v += np.take(torque, node[here], axis=0) * by_nm[here]
                    good &= ~(asked_v > most_v[here])
                left.append(np.flatnonzero(good) + start * propellers.size)
                if sum(at.size for at in left) >= _ROOM or start + step >= pairs.size:
                    d, p = np.divmod(np.concatenate(left), propellers.size)
                    left = []
                    yield d, propellers[p]

    def _below(
        self, level: int, pair: Index, node: Index, p: Index, tree: "_Tree"
    ) -> Iterator[tuple[Index, Index, Index]]:
        """What is left of groups of a level, divided down to single packs."""
        if level == len(tree.levels) - 1:
            if pair.size:
                yield pair, tree.packs[node], p
            return
        first = np.searchsorted(tree.levels[level + 1], np.append(tree.levels[level], tree.packs.size))
        parts = np.diff(first)
        room = max(1, _ROOM // int(parts.max()))
        for start in range(0, pair.size, room):
            here = slice(start, start + room)
            times = parts[node[here]]
            whole = np.repeat(np.arange(times.size), times)
            child = first[node[here]][whole] + np.arange(whole.size) - np.repeat(np.cumsum(times) - times, times)
            d, q = pair[here][whole], p[here][whole]
            keep = np.flatnonzero(tree.wants[level + 1][child, q])
            d, q, child = d[keep], q[keep], child[keep]
            top = tree.tops[level + 1].take(child)
            keep = self._may(d, q, top, self._thresholds(d, top, *tree.bears[:, d]))
            yield from self._below(level + 1, d[keep], child[keep], q[keep], tree)

    # ------------------------------------------------------------ a group

    def may(self, combination: Index) -> Flags:
        """The same of single combinations (N, 4)."""
        pair = combination[:, 0] * self.screen.shelf.sizes[1] + combination[:, 1]
        top = self._packs.take(combination[:, 2])
        limits = self._limits(pair, combination[:, 2])
        out = np.zeros(len(combination), dtype=bool)
        out[self._may(pair, combination[:, 3], top, self._thresholds(pair, top, *limits))] = True
        return out

    def _thresholds(self, pair: Index, top: PackNumbers, limit_a: Floats, power: Floats) -> tuple[Index, Floats]:
        """Cell of speed and torque that the limits of the current leave at full throttle; torque infinite for none."""
        m = self._m
        with np.errstate(all="ignore"):
            source, most = line.source(m, 1.0, top.full_v, top.full_ohm, pair), self._most_a(pair, top, limit_a, power)
            u = line.speed_at(m, source.volts, source.ohm, most, pair)
            torque = line.shaft_torque_nm(m, most, line.no_load_a(m, m.gear_ratio[pair] * u, pair), pair)
            idle = line.no_load_a(m, np.zeros(pair.size), pair)
            free = ~np.isfinite(most) | (source.volts <= NEARLY * source.ohm * idle)
        return self._tables.curves.cell_of(np.where(free, 0.0, u)), np.where(free, np.inf, torque)

    def _most_a(self, pair: Index, top: PackNumbers, limit_a: Floats, power: Floats) -> Floats:
        """Greatest motor current within the limits on a full pack, with the greatest resistance, which lets most by."""
        m = self._m
        source = line.source(m, 1.0, top.full_v, top.full_ohm, pair)
        e, drop = source.volts, source.ohm - m.resistance_ohm[pair]
        root = np.sqrt(e * e - 4.0 * drop * power)
        turns = (drop > 0) & ((e + root) / (2.0 * drop) < 1.01 * e / source.ohm)
        by_power = 2.0 * power / (e + root)
        by_power = np.where(np.isnan(by_power) | turns, np.inf, by_power)
        return np.minimum(np.minimum(limit_a, (top.burst_a - m.radio_a) / m.count), by_power)

    def _at_voltage(self, pair: Index, top: PackNumbers) -> tuple[Index, Floats]:
        """The same for the current at half charge that keeps the cell voltage which the brief asks for."""
        m = self._m
        source = line.source(m, 1.0, top.half_v, top.half_ohm, pair)
        most = ((top.half_v - top.least_v) / np.maximum(top.half_ohm, 1e-12) - m.radio_a) / m.count
        u = line.speed_at(m, source.volts, source.ohm, most, pair)
        torque = line.shaft_torque_nm(m, most, line.no_load_a(m, m.gear_ratio[pair] * u, pair), pair)
        odd = source.volts <= NEARLY * source.ohm * line.no_load_a(m, np.zeros(pair.size), pair)
        return self._tables.curves.cell_of(np.where(odd, 0.0, u)), np.where(odd, np.inf, torque)

    def _may(self, pair: Index, p: Index, top: PackNumbers, threshold: tuple[Index, Floats]) -> Index:
        """The groups in which some pack may keep the limits with a pair and a propeller and reach what is asked."""
        tables, curves = self._tables, self._tables.curves
        cell, torque = threshold
        drive_g = self._pairs.mass_g[pair] + top.mass_g
        good = drive_g + tables.mass_g[p] <= self._mass_limit_g
        good &= curves.of_cells(curves.torque_low, p, cell) <= torque
        left = np.flatnonzero(good)
        with np.errstate(all="ignore"):
            for test in (self._gives, self._keeps_voltage, self._lasts):
                if left.size:
                    left = left[test(pair[left], p[left], top.take(left), drive_g[left])]
        return left

    def _gives(self, pair: Index, p: Index, top: PackNumbers, drive_g: Floats) -> Flags:
        """Where full throttle at half charge gives what is wanted."""
        if not self.screen.wants:
            return np.ones(pair.size, dtype=bool)
        at = p * self._tables.nodes + self._tables.node_of(drive_g)
        source = line.source(self._m, 1.0, top.half_v, top.half_ohm, pair)
        band, left = source.volts * (1.0 + BAND), np.arange(pair.size)

        def gives(some: Index, want: Want, among: slice) -> Flags:
            """Whether one of some alternatives is given: (alternatives, lanes) end to end."""
            u, torque = want.speed[among, at[some]], want.torque[among, at[some]]
            lanes = np.tile(some, len(u))
            asked = _asked_v(self._m, u.ravel(), torque.ravel(), line.lanes_of(source.ohm, lanes), pair[lanes])
            return np.asarray(np.any(~(asked > line.lanes_of(band, lanes)).reshape(len(u), -1), axis=0))

        for want, least in zip(self.screen.wants, self._at_least, strict=True):
            if len(want.speed) > 1:
                left = left[gives(left, least, slice(None))]
            given, done = np.zeros(left.size, dtype=bool), 0
            while done < len(want.speed) and not given.all():
                rest = np.flatnonzero(~given)
                some = slice(done, done + max(1, _TOGETHER // rest.size))
                given[rest], done = gives(left[rest], want, some), some.stop
            left = left[given]
        out = np.zeros(pair.size, dtype=bool)
        out[left] = True
        return out

    def _keeps_voltage(self, pair: Index, p: Index, top: PackNumbers, _: Floats) -> Flags:
        """Where the cells keep the voltage that the brief asks for at full throttle and half charge."""
        if self._least_cells_v is None:
            return np.ones(pair.size, dtype=bool)
        cell, torque = self._at_voltage(pair, top)
        curves = self._tables.curves
        return np.asarray(curves.of_cells(curves.torque_low, p, cell) <= torque)

    def _lasts(self, pair: Index, p: Index, top: PackNumbers, drive_g: Floats) -> Flags:
        """Where the flight lasts long enough, and where the score of a mix is reached."""
        if self._least_minutes <= 0 and self._target is None:
            return np.ones(pair.size, dtype=bool)
        tables = self._tables
        node = tables.node_of(drive_g)
        minutes, flies = longest_minutes(
            tables, p, node, coulombs=top.coulombs, mean_v=top.mean_v, full_v=top.full_v, pair=(self._m, pair)
        )
        out = flies & (minutes >= self._least_minutes)
        if self._target is not None:
            mass = self.screen.setting.all_up_mass_g(drive_g + tables.mass_g[p])
            out &= ~(self._score(self._target, pair, p, node, top, mass, minutes) < self._target.score)
        return out

    def _score(
        self, target: Target, pair: Index, p: Index, node: Index, top: PackNumbers, mass_g: Floats, minutes: Floats
    ) -> Floats:
        """Score at most: each metric at its best, that of a ladder below the value that is not reached."""
        values: dict[str, Floats] = {"mass": mass_g * (1.0 - BAND), "flight_time": minutes}
        if "margin" in target.ranking.weights:
            values["margin"] = margin_at_most(self.screen.setting, mass_g, minutes)
        at, source = p * self._tables.nodes + node, line.source(self._m, 1.0, top.half_v, top.half_ohm, pair)
        for metric, ladder in target.ladders.items():
            low, high = np.zeros(pair.size, dtype=np.intp), np.full(pair.size, ladder.values.size - 1)
            for _ in range(_STEPS_OF_LADDER):
                middle = np.minimum((low + high) // 2, ladder.values.size - 2)
                short = np.ones(pair.size, dtype=bool)
                for speed, torque in zip(ladder.speed.swapaxes(0, 1), ladder.torque.swapaxes(0, 1), strict=True):
                    asked = _asked_v(self._m, speed[middle, at], torque[middle, at], source.ohm, pair)
                    short &= asked > source.volts * (1.0 + BAND)
                low, high = np.where(short, low, np.minimum(middle + 1, high)), np.where(short, middle, high)
            values[metric] = ladder.values[high]
        return np.asarray(target.ranking.score(values))


def _asked_v(m: Trains, u: Any, torque_nm: Any, ohm: Floats, pair: Index) -> Floats:
    """Voltage before a resistance that a propeller speed and torque ask for."""
    w = m.gear_ratio[pair] * u
    return line.behind_v(m, w, line.current_a(m, torque_nm, line.no_load_a(m, w, pair), pair), ohm, pair)


def _levels(count: int) -> list[Index]:
    """Where groups begin at each level: one of all, some, and so on down to single ones."""
    out, groups = [], 1
    while groups < count:
        out.append(np.arange(groups) * count // groups)
        groups *= _PARTS
    return [*out, np.arange(count)]
