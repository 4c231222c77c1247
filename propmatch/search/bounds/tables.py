"""What a search knows of the propellers before it looks at any drive: torque and thrust at nodes of speed and mass.

Torque rises with speed at rest, thrust needed rises with mass, and so does the speed that gives it: between two nodes
the true value lies between the values at the nodes. The search uses that to decide without solving; what it cannot
decide is solved exactly.
"""

from functools import cached_property
from typing import Any

import attrs
import numpy as np
from numpy.typing import NDArray

from propmatch.aircraft.flight import LEAST_THRUST
from propmatch.aircraft.flightlanes import paying_climb_m_s, pays
from propmatch.aircraft.motoroff import motor_off_drag_bounds
from propmatch.aircraft.polar import climb_m_s, drag_n, stall_speed_m_s, thrust_needed_n
from propmatch.checks.setting import Setting
from propmatch.models.arrays import Floats, Index
from propmatch.models.lookup import Workspace
from propmatch.models.surface import Surfaces
from propmatch.records.sections import Phase
from propmatch.search.bounds.fallingthrust import falling_from
from propmatch.search.shelf import Shelf
from propmatch.status import Status
from propmatch.train.kernel import chunks
from propmatch.train.line import lanes_of
from propmatch.train.thrust import ThrustProblem, speed_for_thrust
from propmatch.train.torque import ONE, TORQUE_PER_CP, loads, reader_of
from propmatch.units import RPM_RAD_S

__all__ = ["HELD", "IMPOSSIBLE", "OFF", "UNKNOWN", "HeldTable", "PropellerTables", "Readable"]


_SPEEDS = 1024
"""Nodes of speed over a range of about 200 to 1: cells of 0.5 % in speed, 1 % in torque, 8 kB for each propeller."""
_MASSES = 128
"""Nodes of mass: under 1 % of the range of the drives' masses apart."""
_SAMPLES = 4
"""Readings along each side of a bicubic cell."""
_RATIO_MARGIN = 0.005
"""Share added for what lies between the readings. Against 65 readings along a side the greatest ratio of torques rose
by 0.04 % and the greatest efficiency, which gets twice this margin, by 0.35 % (bundled and 60 random catalogues)."""
_SLACK = 1e-9
"""Share by which rounding may move the climb that pays."""
HELD, OFF, IMPOSSIBLE, UNKNOWN = 0, 1, 2, 3
"""What a held airspeed asks of the propeller at a mass: torque, nothing, more lift than there is, or ask exactly."""


@attrs.frozen(kw_only=True, eq=False)
class Readable:
    """The fields of a problem that :func:`propmatch.train.torque.loads` reads."""

    which: Index
    diameter_m: Floats
    density_kg_m3: Floats
    airspeed_m_s: Floats
    surfaces: Surfaces
    ct_scale: Floats = ONE
    cp_scale: Floats = ONE


@attrs.frozen(kw_only=True, eq=False)
class HeldTable:
    """Speed [rad/s] and torque [N m] of one propeller at nodes of mass, (P, nodes), NaN where there is none."""

    speed: Floats
    torque: Floats
    kind: NDArray[np.int8]


class PropellerTables:
    """The propellers of a shelf, or of several that differ in their packs, in one setting.

    Attributes
    ----------
    regular : (P,), False where torque or thrust may fall with speed: nothing is decided without solving
    torque_low, torque_high : (P, cells), static torque at the ends of each cell of speed
    flight_ratio : (P,), no torque in flight exceeds this multiple of the torque at rest and the same speed
    mass_start_g, mass_step_g : nodes of the mass of motors, controllers and pack
    held : for each phase of the brief that holds an airspeed with the motor on, its tables with the least and the most
        climb that pays for height lost elsewhere; else None
    thrust_to_weight : speed and torque that give the least thrust to weight; None without that limit
    """

    def __init__(self, setting: Setting, shelf: Shelf, *more: Shelf) -> None:
        self.setting = setting
        self.stack = shelf.lanes.stack
        self.which = shelf.column("propeller")
        self.diameter_m = shelf.column("diameter_m")
        self.mass_g = shelf.column("propellers_g")
        self.density = setting.air.density_kg_m3
        self.count = shelf.count
        first = np.zeros(self.which.size, dtype=np.intp)
        self._propellers = shelf.combine(first, first, first, np.arange(first.size))[0]
        shelves = (shelf, *more)
        self._speeds(shelves)
        with np.errstate(all="ignore"):
            self._torques()
            self._ratios()
            self._masses(shelves)
            paying = self._paying_m_s()
            self.held = tuple(
                tuple(self._held(p, extra) for extra in (paying if pays(p) and p.share is not None else (0.0, 0.0)))
                if p.throttle is None
                else None
                for p in setting.phases
            )
            self.thrust_to_weight = self._thrust_to_weight()

    # ------------------------------------------------------------ torque over speed

    def _speeds(self, shelves: tuple[Shelf, ...]) -> None:
        free = 0.0
        for shelf in shelves:
            volts = max(float(p.cell_ocv_v(1.0)) for p in shelf.lanes.chemistries) * np.max(shelf.column("cells"))
            free = max(free, float(volts / np.min(shelf.column("k") * shelf.column("gear_ratio"))))
        self._first = min(free / 200.0, 50.0)
        self._per_log = (_SPEEDS - 1) / np.log(1.01 * free / self._first)
        self._nodes = self._first * np.exp(np.arange(_SPEEDS) / self._per_log)
        self.cells = _SPEEDS + 1

    def torque(self, propeller: Index, u: Floats, airspeed: Any = 0.0) -> Floats:
        """Torque of one propeller [N m] at speeds u [rad/s]; a chunk at a time, so that it stays in the cache."""
        out, room = np.empty(u.size), Workspace()
        speed = np.zeros(1) + airspeed
        moving = bool(np.any(speed > 0))
        with np.errstate(all="ignore"):
            for part in chunks(u.size):
                some, v, here = propeller[part], lanes_of(speed, part), u[part]
                p = Readable(
                    which=self.which[some],
                    diameter_m=self.diameter_m[some],
                    density_kg_m3=np.full(1, self.density),
                    airspeed_m_s=v,
                    surfaces=self.stack,
                )
                reader = reader_of("cp", p, here.size, room, moving=moving)
                reader.go(here, 2.0 * np.pi * v / (p.diameter_m * here) if moving else v)
                out[part] = TORQUE_PER_CP * self.density * p.diameter_m**5 * here * here * reader.value()
        return out

    def thrust(self, propeller: Index, u: Floats, airspeed: Floats) -> Floats:
        """Thrust of one propeller [N] at speeds u [rad/s] and airspeeds (N,)."""
        p = Readable(
            which=self.which[propeller],
            diameter_m=self.diameter_m[propeller],
            density_kg_m3=np.full(1, self.density),
            airspeed_m_s=airspeed,
            surfaces=self.stack,
        )
        return np.asarray(loads(p, u)[1])

    @cached_property
    def _off_n(self) -> tuple[Floats, Floats]:
        """Least and greatest drag of each propeller (P,) with the motor off, at 1 m/s."""
        return motor_off_drag_bounds(self._propellers, 1.0, self.density)

    def off_drag_n(self, propeller: Index, airspeed: Floats) -> tuple[Floats, Floats]:
        """Least and greatest drag of a train's propellers with the motor off, whatever the motor [N]."""
        least, most = self._off_n
        return least[propeller] * airspeed**2, most[propeller] * airspeed**2

    @cached_property
    def falling_from(self) -> Floats:
        """Advance ratio (P,) from which on thrust falls with airspeed for every drive."""
        return np.asarray(falling_from(self.stack)[self.which])

    @cached_property
    def thrust_of_power(self) -> tuple[Floats, Floats]:
        """Static shaft power [W] and thrust [N] of one propeller at the nodes of speed, (P, nodes) each."""
        count = self.which.size
        rows = np.repeat(np.arange(count), _SPEEDS)
        p = Readable(
            which=self.which[rows],
            diameter_m=self.diameter_m[rows],
            density_kg_m3=np.full(1, self.density),
            airspeed_m_s=np.zeros(1),
            surfaces=self.stack,
        )
        torque, thrust = (x.reshape(count, _SPEEDS) for x in loads(p, np.tile(self._nodes, count)))
        return torque * self._nodes, thrust

    def _torques(self) -> None:
        count = self.which.size
        rows = np.repeat(np.arange(count), _SPEEDS)
        torque = self.torque(rows, np.tile(self._nodes, count)).reshape(count, _SPEEDS)
        rising = np.all(np.diff(torque, axis=1) > 0, axis=1) & (torque[:, 0] > 0)
        s = self.stack
        self.regular = rising & ~s.torque_falls[self.which] & ~s.thrust_falls[self.which]
        self.torque_low = np.concatenate([np.zeros((count, 1)), torque], axis=1)
        self.torque_high = np.concatenate([torque, np.full((count, 1), np.inf)], axis=1)
        self.torque_low[~self.regular], self.torque_high[~self.regular] = 0.0, np.inf

    def cell_of(self, u: Floats) -> Index:
        """Cell of speed of each u."""
        with np.errstate(all="ignore"):
            place = np.ceil(np.log(np.maximum(u, 0.5 * self._first) / self._first) * self._per_log)
        return np.asarray(np.clip(np.nan_to_num(place, nan=0.0, posinf=_SPEEDS), 0, _SPEEDS), dtype=np.intp)

    def _ratios(self) -> None:
        """Greatest CP(J)/CP(0) at one rpm and greatest efficiency J CT/CP, over samples of every cell.

        The samples are far finer than a cubic cell can bend; a margin covers what lies between them.
        """
        s, powers = self.stack, np.linspace(0.0, 1.0, _SAMPLES)[:, None] ** np.arange(4)
        columns = s.columns.astype(np.intp)[self._table_of_rows()]
        rows = np.repeat(np.arange(columns.size), columns)
        starts = s.first_cell.astype(np.intp)

        def sampled(cells: Floats) -> Floats:
            return np.asarray(np.tensordot(powers, cells.reshape(-1, 4, 4), axes=(1, 2)))  # (s, cells, b)

        cp = sampled(s.cp_cells) @ powers.T
        rest = (powers @ s.cp_rest)[:, rows]
        ratio = np.max(np.where(rest > 0, np.max(cp, axis=2) / rest, np.inf), axis=0)
        self.flight_ratio = np.maximum(np.maximum.reduceat(ratio, starts), 1.0)[self.which] * (1.0 + _RATIO_MARGIN)
        self._starts, self._columns, self._cp, self._powers = starts, columns, cp, powers
        self._sampled = sampled

    @cached_property
    def efficiency(self) -> Floats:
        """Greatest J CT/CP of each propeller (P,), infinity where the table allows thrust for no torque."""
        s, columns = self.stack, self._columns
        ct = self._sampled(s.ct_cells) @ self._powers.T
        ends = np.cumsum(columns)
        column = np.arange(ends[-1]) - np.repeat(ends - columns, columns)
        per_cell = np.repeat(s.j_scale[self._table_of_rows()], columns)
        j = (column[:, None] + self._powers[:, 1]) / per_cell[:, None]
        with np.errstate(all="ignore"):
            efficiency = np.where(self._cp > 0, j * ct / self._cp, np.inf)
        greatest = np.max(np.where(ct > 0, efficiency, 0.0), axis=(0, 2))
        # past the table both go on straight: thrust that outlives torque there has no bound
        last = column == np.repeat(columns, columns) - 1
        greatest[last & (np.max(ct[:, :, -1], axis=0) > 0)] = np.inf
        return np.asarray(np.maximum.reduceat(greatest, self._starts)[self.which] * (1.0 + 2.0 * _RATIO_MARGIN))

    def _table_of_rows(self) -> Index:
        rows = self.stack.rows.astype(np.intp)
        return np.repeat(np.arange(rows.size), rows)

    # ------------------------------------------------------------ what a mass asks for

    def _masses(self, shelves: tuple[Shelf, ...]) -> None:
        names = ("motors_g", "controllers_g", "supply_g", "pack_g")
        parts = [np.concatenate([s.column(name) for s in shelves]) for name in names]
        least, most = sum(float(np.min(x)) for x in parts), sum(float(np.max(x)) for x in parts)
        limit = self.mass_limit_g
        if np.isfinite(limit):
            most = min(most, self.setting.train_mass_g(limit) - float(np.min(self.mass_g)))
        self.mass_start_g = least
        self.mass_step_g = max((most - least) / (_MASSES - 1), 1e-3) * (1.0 + 1e-9)
        nodes = least + self.mass_step_g * np.arange(_MASSES + 1)
        self.nodes = nodes.size
        self._node_mass_g = nodes + self.mass_g[:, None]
        self.node_frames = self.setting.airframes(self._node_mass_g.ravel())
        self.node_rows = np.repeat(np.arange(self.mass_g.size), self.nodes)

    @property
    def mass_limit_g(self) -> float:
        """Heaviest all-up mass the brief allows, infinity without a limit."""
        variant, loading = self.setting.variant, self.setting.brief.limits.max_wing_loading_g_dm2
        each = [variant.target_mass_g, None if loading is None else loading * variant.airframe.wing_area_dm2]
        return min((x for x in each if x is not None), default=np.inf)

    def node_of(self, mass_g: Floats) -> Index:
        """Node at or below each mass of motors, controllers and pack."""
        place = np.floor((mass_g - self.mass_start_g) / self.mass_step_g * (1.0 - 1e-12) - 1e-9)
        return np.clip(place, 0, _MASSES - 1).astype(np.intp)

    def _lowest_speed(self, thrust_n: Floats, airspeed: float) -> tuple[Floats, Floats, NDArray[np.int8]]:
        n = thrust_n.size
        problem = ThrustProblem(
            thrust_n=thrust_n,
            which=self.which[self.node_rows],
            diameter_m=self.diameter_m[self.node_rows],
            density_kg_m3=np.full(n, self.density),
            airspeed_m_s=np.full(n, airspeed),
            surfaces=self.stack,
        )
        u, status = speed_for_thrust(problem)
        return u, loads(problem, u)[0], status

    def _paying_m_s(self) -> tuple[Any, Any]:
        """Least and most climb at every node by which the shares that pay do so; NaN where that is not known.

        What a share with a throttle gains depends on the drive. With the motor off it sinks at V (D + D_off)/W, and the
        drag of the propeller is bounded for any motor.
        """
        shares = [phase for phase in self.setting.phases if phase.share is not None]
        if not any(map(pays, shares)) or all(map(pays, shares)):
            return 0.0, 0.0
        frames, rho = self.node_frames, self.density
        climbs: tuple[list[Floats], list[Floats]] = [], []
        for phase in shares:
            speed = self.setting.airspeed_m_s(phase, frames)
            off = self.off_drag_n(self.node_rows, speed) if phase.throttle == 0 else (np.nan, np.nan)
            for side, drag in zip(climbs, off, strict=True):
                sink = climb_m_s(frames, 0.0, drag_n(frames, rho, speed) + drag, speed)
                side.append(sink if phase.throttle is not None else np.full(speed.size, phase.climb_m_s))
        least, most = (paying_climb_m_s(shares, side) for side in climbs)
        return least * (1 - _SLACK), most * (1 + _SLACK)

    def _held(self, phase: Phase, extra: Any) -> HeldTable:
        """Flight of one propeller at every node, at the climb of a phase and some more."""
        speed = phase.airspeed_m_s or 0.0
        frames, rho = self.node_frames, self.density
        need = np.asarray(thrust_needed_n(frames, rho, speed, phase.climb_m_s + extra, phase.load_factor))
        stalled = speed < np.asarray(stall_speed_m_s(frames, rho, phase.load_factor)) * (1.0 - 1e-9)
        sure = np.asarray(speed < np.asarray(stall_speed_m_s(frames, rho, phase.load_factor)) * (1.0 - 1e-8))
        possible = speed > 0 and abs(phase.climb_m_s) <= speed
        off_low, off_high = self.off_drag_n(self.node_rows, np.full(need.size, speed))
        idle, runs = (need * frames.installed_thrust <= -off_high), (need * frames.installed_thrust > -off_low)
        running = np.where(need > 0, need, LEAST_THRUST * frames.weight_n)
        u, torque, status = self._lowest_speed(running / self.count, speed)
        kind = np.where((status == Status.OK) & (torque > 0) & runs, HELD, UNKNOWN)
        kind = np.where(idle, OFF, np.where(phase.climb_m_s + extra <= speed, kind, UNKNOWN))
        kind = np.where(stalled | (not possible), np.where(sure, IMPOSSIBLE, UNKNOWN), kind)
        kind = np.where(self.regular[self.node_rows], kind, UNKNOWN)
        shape = (self.mass_g.size, self.nodes)
        held = kind == HELD
        u, torque = np.where(held, u, np.where(kind == OFF, 0.0, np.nan)), np.where(held, torque, np.nan)
        return HeldTable(
            speed=u.reshape(shape), torque=torque.reshape(shape), kind=kind.astype(np.int8).reshape(shape)
        )  # fmt: skip

    def _thrust_to_weight(self) -> HeldTable | None:
        least = self.setting.brief.limits.min_thrust_to_weight
        if least is None:
            return None
        frames = self.node_frames
        thrust_n = least * frames.weight_n / frames.installed_thrust
        u, torque, status = self._lowest_speed(thrust_n / self.count, 0.0)
        good = (status == Status.OK) & self.regular[self.node_rows]
        shape = (self.mass_g.size, self.nodes)
        return HeldTable(
            speed=np.where(good, u, np.nan).reshape(shape),
            torque=np.where(good, torque, np.nan).reshape(shape),
            kind=np.where(good, HELD, UNKNOWN).astype(np.int8).reshape(shape),
        )

    # ------------------------------------------------------------ airspeeds of the phases

    def airspeeds(self, train_mass_g: Floats) -> list[tuple[Phase, Floats]]:
        """The airspeeds (N,) at which full throttle is judged in flight, once each."""
        seen: dict[Any, tuple[Phase, Floats]] = {}
        for phase in self.setting.phases:
            if phase.throttle == 0 or phase.airspeed_m_s in seen:
                continue
            seen[phase.airspeed_m_s] = phase, self.airspeed(phase, train_mass_g)
        return list(seen.values())

    def airspeed(self, phase: Phase, train_mass_g: Floats) -> Floats:
        """The airspeed (N,) of a phase."""
        return self.setting.airspeed_m_s(phase, self.setting.airframes(train_mass_g))

    @staticmethod
    def speed_of_rpm(rpm: Floats) -> Floats:
        """rad/s of rpm."""
        return rpm * RPM_RAD_S
