"""What a search knows of the propellers before it looks at any drive: torque and thrust at nodes of speed and mass.

Torque rises with speed at rest, thrust needed rises with mass, and so does the speed that gives it: between two nodes
the true value lies between the values at the nodes. The search uses that to decide without solving; what it cannot
decide is solved exactly.
"""

from collections.abc import Callable
from copy import copy
from typing import Any, TypeVar

import attrs
import numpy as np
from numpy.typing import NDArray

from propmatch.aircraft.flight import LEAST_THRUST
from propmatch.aircraft.flightlanes import paying_climb_m_s, pays
from propmatch.aircraft.polar import climb_m_s, drag_n, stall_speed_m_s, thrust_needed_n
from propmatch.checks.setting import Setting
from propmatch.models.arrays import Flags, Floats, Floats32, Index
from propmatch.records.sections import Phase
from propmatch.search.bounds.curves import curves_of
from propmatch.search.shelf import Shelf
from propmatch.status import Status
from propmatch.train.kernel import chunks
from propmatch.train.thrust import ThrustProblem, speed_for_thrust
from propmatch.train.torque import loads
from propmatch.units import RPM_RAD_S

__all__ = ["HELD", "IMPOSSIBLE", "OFF", "UNKNOWN", "HeldTable", "PropellerTables", "Want"]


_MASSES = 96
"""Most nodes of mass; half as many at least: about 1 % of the range of the drives' masses apart."""
T = TypeVar("T")
_SLACK = 1e-9
"""Share by which rounding may move the climb that pays."""
HELD, OFF, IMPOSSIBLE, UNKNOWN = 0, 1, 2, 3
"""What a held airspeed asks of the propeller at a mass: torque, nothing, more lift than there is, or ask exactly."""


@attrs.frozen(kw_only=True, eq=False)
class HeldTable:
    """Speed [rad/s] and torque [N m] of one propeller at nodes of mass, (P, nodes), NaN where there is none."""

    speed: Floats
    torque: Floats
    kind: NDArray[np.int8]


@attrs.frozen(kw_only=True, eq=False)
class Want:
    """What full throttle at half charge must give: speed and torque of at least one alternative.

    (alternatives, P nodes) each, NaN where an alternative says nothing.
    """

    speed: Floats | Floats32
    torque: Floats | Floats32


class PropellerTables:
    """The propellers of a shelf, or of several that differ in their packs, in one setting.

    Attributes
    ----------
    curves : PropellerCurves, what depends on propellers and density alone
    mass_start_g, mass_step_g : nodes of the mass of motors, controllers and pack
    held : for each phase of the brief that holds an airspeed with the motor on, its tables with the least and the most
        climb that pays for height lost elsewhere; else None
    thrust_to_weight : speed and torque that give the least thrust to weight; None without that limit
    """

    def __init__(self, setting: Setting, shelf: Shelf, *more: Shelf, keep: bool = True) -> None:
        self.setting, self._keep = setting, keep
        self.curves = curves_of(setting.air.density_kg_m3, shelf, *more)
        self.regular, self.density = self.curves.regular, self.curves.density
        self.mass_g = shelf.column("propellers_g")
        self.count, self.radio_a = shelf.count, shelf.radio_current_a
        with np.errstate(all="ignore"):
            self._masses((shelf, *more))
            paying = self._paying_m_s()
            self.held = tuple(self._both(p, paying) if p.throttle is None else None for p in setting.phases)
            self.thrust_to_weight = self._thrust_to_weight()

    def asking(self, setting: Setting) -> "PropellerTables":
        """The same tables in a setting that asks for another reserve or thrust to weight."""
        new = copy(self)
        new.setting = setting
        with np.errstate(all="ignore"):
            new.thrust_to_weight = new._thrust_to_weight()
        return new

    # ------------------------------------------------------------ what a mass asks for

    def _masses(self, shelves: tuple[Shelf, ...]) -> None:
        """Nodes a power of two apart and on its multiples, so that they stay where a limit moves a little."""
        names = ("motors_g", "controllers_g", "supply_g", "pack_g")
        parts = [np.concatenate([s.column(name) for s in shelves]) for name in names]
        least, most = sum(float(np.min(x)) for x in parts), sum(float(np.max(x)) for x in parts)
        limit = self.mass_limit_g
        if np.isfinite(limit):
            most = min(most, self.setting.train_mass_g(limit) - float(np.min(self.mass_g)))
        self.mass_step_g = float(2.0 ** np.ceil(np.log2(max((most - least) / (_MASSES - 3), 1e-3))))
        self.mass_start_g = float(np.floor(least / self.mass_step_g) - 1.0) * self.mass_step_g
        self.nodes = int(np.ceil((most - self.mass_start_g) / self.mass_step_g)) + 2 if most > least else 4
        nodes = np.maximum(self.mass_start_g + self.mass_step_g * np.arange(self.nodes), 0.0)
        self.node_mass_g = (nodes + self.mass_g[:, None]).ravel()
        self.node_frames = self.setting.airframes(self.node_mass_g)
        self.node_rows = np.repeat(np.arange(self.mass_g.size), self.nodes)

    def kept(self, what: tuple[Any, ...], make: Callable[[], T]) -> T:
        """What was made before for this airframe at these nodes; not kept where limits move while a search goes on."""
        here = self.setting
        if here.lanes is not None or here.polar is not None:
            return make()
        key = (*what, here.variant.airframe, self.mass_start_g, self.mass_step_g, self.nodes, self.mass_g.tobytes())
        made: T = self.curves.kept.get(key, make, keep=self._keep)
        return made

    @property
    def mass_limit_g(self) -> float:
        """Heaviest all-up mass the brief allows, infinity without a limit."""
        variant, loading = self.setting.variant, self.setting.brief.limits.max_wing_loading_g_dm2
        each = [variant.target_mass_g, None if loading is None else loading * variant.airframe.wing_area_dm2]
        return min((x for x in each if x is not None), default=np.inf)

    def node_of(self, mass_g: Floats) -> Index:
        """Node at or below each mass of motors, controllers and pack."""
        place = np.floor((mass_g - self.mass_start_g) / self.mass_step_g * (1.0 - 1e-12) - 1e-9)
        return np.clip(place, 0, self.nodes - 2).astype(np.intp)

    def lowest_speed(
        self, propeller: Index, thrust_n: Floats, airspeed: Any
    ) -> tuple[Floats, Floats, NDArray[np.int8]]:
        """Lowest speed of one propeller (N,) [rad/s] that gives a thrust [N], its torque, and status."""
        problem = ThrustProblem(
            thrust_n=thrust_n,
            which=self.curves.which[propeller],
            diameter_m=self.curves.diameter_m[propeller],
            density_kg_m3=np.full(1, self.density),
            airspeed_m_s=np.zeros(1) + airspeed,
            surfaces=self.curves.stack,
        )
        u, status = speed_for_thrust(problem)
        return u, np.concatenate([loads(problem.take(part), u[part])[0] for part in chunks(u.size)] or [u]), status

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
            off = self.curves.off_drag_n(self.node_rows, speed) if phase.throttle == 0 else (np.nan, np.nan)
            for side, drag in zip(climbs, off, strict=True):
                sink = climb_m_s(frames, 0.0, drag_n(frames, rho, speed) + drag, speed)
                side.append(sink if phase.throttle is not None else np.full(speed.size, phase.climb_m_s))
        least, most = (paying_climb_m_s(shares, side) for side in climbs)
        return least * (1 - _SLACK), most * (1 + _SLACK)

    def _both(self, phase: Phase, paying: tuple[Any, Any]) -> tuple[HeldTable, HeldTable]:
        """The tables of a phase with the least and with the most climb that pays."""
        if pays(phase) and phase.share is not None and np.any(np.asarray(paying) != 0.0):
            least, most = (self._held(phase, extra) for extra in paying)
            return least, most
        asked = ("held", phase.airspeed_m_s, phase.climb_m_s, phase.load_factor)
        one = self.kept(asked, lambda: self._held(phase, 0.0))
        return one, one

    def _held(self, phase: Phase, extra: Any) -> HeldTable:
        """Flight of one propeller at every node, at the climb of a phase and some more."""
        speed = phase.airspeed_m_s or 0.0
        frames, rho = self.node_frames, self.density
        need = np.asarray(thrust_needed_n(frames, rho, speed, phase.climb_m_s + extra, phase.load_factor))
        stalled = speed < np.asarray(stall_speed_m_s(frames, rho, phase.load_factor)) * (1.0 - 1e-9)
        sure = np.asarray(speed < np.asarray(stall_speed_m_s(frames, rho, phase.load_factor)) * (1.0 - 1e-8))
        possible = speed > 0 and abs(phase.climb_m_s) <= speed
        off_low = off_high = np.zeros(1)
        if not np.all(need > 0):  # drag is never negative: only a descent may need no motor
            off_low, off_high = self.curves.off_drag_n(self.node_rows, np.full(need.size, speed))
        idle, runs = (need * frames.installed_thrust <= -off_high), (need * frames.installed_thrust > -off_low)
        running = np.where(need > 0, need, LEAST_THRUST * frames.weight_n)
        u, torque, status = self.lowest_speed(self.node_rows, running / self.count, speed)
        kind = np.where((status == Status.OK) & (torque > 0) & runs & self._rises(need), HELD, UNKNOWN)
        kind = np.where(idle, OFF, np.where(phase.climb_m_s + extra <= speed, kind, UNKNOWN))
        kind = np.where(stalled | (not possible), np.where(sure, IMPOSSIBLE, UNKNOWN), kind)
        kind = np.where(self.regular[self.node_rows], kind, UNKNOWN)
        shape = (self.mass_g.size, self.nodes)
        held = kind == HELD
        u, torque = np.where(held, u, np.nan), np.where(held, torque, np.nan)
        return HeldTable(
            speed=u.reshape(shape), torque=torque.reshape(shape), kind=kind.astype(np.int8).reshape(shape)
        )  # fmt: skip

    def _rises(self, need: Floats) -> Flags:
        """Where what a node needs (P nodes,) rises with the mass, so that nodes bound what lies between them.

        N = q S CD0 + k (n W)^2/(q S) + W w/V is convex in W, so it rises from a node on where it rose up to it. In a
        descent, or where another share climbs faster, it may fall. Before the first node goes the parabola of three.
        """
        rows = need.reshape(-1, self.nodes)
        before = 3.0 * (rows[:, :1] - rows[:, 1:2]) + rows[:, 2:3]
        return np.asarray(np.diff(rows, axis=1, prepend=before) >= -1e-12 * np.abs(rows)).ravel()

    def _thrust_to_weight(self) -> HeldTable | None:
        least = self.setting.brief.limits.min_thrust_to_weight
        if least is None:
            return None
        frames = self.node_frames

        def make() -> HeldTable:
            thrust_n = least * frames.weight_n / frames.installed_thrust
            u, torque, status = self.lowest_speed(self.node_rows, thrust_n / self.count, 0.0)
            return self.table(u, torque, (status == Status.OK) & self.regular[self.node_rows])

        return self.kept(("thrust to weight", least), make)

    def table(self, speed: Floats, torque: Floats, good: Flags) -> HeldTable:
        """Speed and torque (P nodes,) as a table, unknown where they are not good."""
        shape = (self.mass_g.size, self.nodes)
        return HeldTable(
            speed=np.where(good, speed, np.nan).reshape(shape),
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
