"""The line: what motor, controller and pack together offer at a speed.

    S - K w - (r + b w) I = 0            volts; S = d E' behind the chopper, E' = E - R_b I_acc
    Q = g K_t e (I - I0(w)), w = g u     torque at the propeller; K_t/e in place of K_t e where it drives the motor
    r = R + R_c + count d^2 R_b/eta      what the motor current sees; eta in place of 1/eta where it flows back

Solver, held thrust, discharge, bounds of the search and what follows from a point all ask here; the motor's own law
stands in :mod:`propmatch.models.motor`. Every array is (N,), or (1,) where one number serves every lane; ``at`` picks
lanes of the motors, all by default.

Source: none needed, sums of voltages and torques.
"""

from functools import cached_property
from typing import Any, Protocol, TypeVar

import attrs
import numpy as np
from numpy.typing import NDArray

from propmatch.models import controller, motor
from propmatch.models.arrays import Flags, Floats, Number, Pick
from propmatch.models.lookup import Workspace

__all__ = [
    "MOTOR_FIELDS",
    "Motors",
    "Source",
    "Supplies",
    "Supply",
    "TorqueLine",
    "Trains",
    "behind_v",
    "can_hold",
    "current_a",
    "fixed_ohm",
    "held_throttle",
    "lanes_of",
    "left_over_v",
    "motor_current_from_pack_a",
    "no_load_a",
    "ohm_at",
    "pack_current_a",
    "shaft_torque_nm",
    "source",
    "speed_at",
]

EVERY: Pick = slice(None)
_ROUNDING = 1e-9
"""Of a duty that follows from a solved speed: that is known to 1e-12, which a line near its end multiplies."""
S = TypeVar("S", bound=np.generic)


def lanes_of(array: NDArray[S], index: Pick) -> NDArray[S]:
    """The lanes of an index, slice or mask; an array of one element serves every lane."""
    if array.size == 1:
        return array
    if isinstance(index, np.ndarray) and index.dtype == np.intp:
        return array.take(index)  # half again as quick as array[index]
    return array[index]


@attrs.frozen(kw_only=True, eq=False)
class Motors:
    """Numbers of N motors on their gears, in columns.

    Attributes
    ----------
    k, k_torque : speed constant K [V s/rad] and torque constant K_t [N m/A]
    slope_ohm_s : rise of the resistance with motor speed, b [ohm s/rad]
    no_load_a, reference_rad_s, exponent : I0(w) = no_load_a (w/reference)^exponent
    gear_ratio, gear_efficiency : g, e
    """

    k: Floats
    k_torque: Floats
    slope_ohm_s: Floats
    no_load_a: Floats
    reference_rad_s: Floats
    exponent: Floats
    gear_ratio: Floats
    gear_efficiency: Floats

    @cached_property
    def torque_per_a(self) -> Floats:
        """g K_t e: torque at the propeller for each ampere above the no-load current [N m/A]."""
        return self.gear_ratio * self.k_torque * self.gear_efficiency

    @cached_property
    def constant_a(self) -> Floats:
        """I0 of motors whose no-load current does not depend on speed [A]."""
        return np.asarray(motor.no_load_current_a(1.0, self.no_load_a, 1.0, 0.0))

    @cached_property
    def curved(self) -> bool:
        """Whether the no-load current of some motor depends on speed."""
        return bool(self.exponent.any())

    @cached_property
    def sloped(self) -> bool:
        """Whether the resistance of some motor depends on speed."""
        return bool(self.slope_ohm_s.any())

    def columns(self, at: Pick = EVERY) -> dict[str, Floats]:
        """The columns of some motors by name."""
        return {name: lanes_of(getattr(self, name), at) for name in MOTOR_FIELDS}


MOTOR_FIELDS = tuple(a.name for a in attrs.fields(Motors))


@attrs.frozen(kw_only=True, eq=False)
class Trains(Motors):
    """The same with what stands between motor and pack.

    Attributes
    ----------
    resistance_ohm : of the motor; alone : 0 where it was found or estimated with the controller in it, else 1
    usual_loss : part_throttle_loss of a controller for such a motor that states none
    switch_ohm : series resistance of the controller by itself; stated_loss : its part_throttle_loss, NaN if not stated
    count : motors on the pack; radio_a : receiver, servos and payload
    """

    resistance_ohm: Floats
    alone: Floats
    usual_loss: Floats
    switch_ohm: Floats
    stated_loss: Floats
    count: Floats
    radio_a: Floats

    @cached_property
    def controller_ohm(self) -> Floats:
        """R_c that comes on top of the motor's resistance [ohm]."""
        return self.alone * self.switch_ohm

    @cached_property
    def loss(self) -> Floats:
        """part_throttle_loss: stated, or usual for such a motor."""
        return np.where(np.isnan(self.stated_loss), self.usual_loss, self.stated_loss)


class Supplies(Protocol):
    """What a pack current needs of :class:`Trains`."""

    @property
    def loss(self) -> Floats: ...
    @property
    def count(self) -> Floats: ...
    @property
    def radio_a(self) -> Floats: ...


@attrs.frozen(kw_only=True, eq=False)
class Supply:
    """Some lanes of ``Supplies``."""

    loss: Floats
    count: Floats
    radio_a: Floats

    @classmethod
    def of(cls, p: Supplies, at: Pick) -> "Supply":
        """The lanes of an index."""
        return cls(loss=lanes_of(p.loss, at), count=lanes_of(p.count, at), radio_a=lanes_of(p.radio_a, at))


# ---------------------------------------------------------------- motors


def no_load_a(m: Motors, w: Floats, at: Pick = EVERY) -> Floats:
    """I0 [A] at motor speeds w [rad/s]."""
    if not m.curved:
        return lanes_of(m.constant_a, at)
    reference, exponent = lanes_of(m.no_load_a, at), lanes_of(m.exponent, at)
    bent = np.flatnonzero(exponent)
    if bent.size == exponent.size:
        return np.asarray(motor.no_load_current_a(w, reference, lanes_of(m.reference_rad_s, at), exponent))
    current = lanes_of(m.constant_a, at)
    if bent.size:
        here, amps, speed = (
            np.broadcast_to(x, exponent.shape)[bent] for x in (w, reference, lanes_of(m.reference_rad_s, at))
        )
        current = np.broadcast_to(current, exponent.shape).copy()
        current[bent] = motor.no_load_current_a(here, amps, speed, exponent[bent])
    return current


def current_a(m: Motors, torque_nm: Floats, no_load: Floats, at: Pick = EVERY) -> Floats:
    """Motor current [A] for a torque of one propeller."""
    if not np.fmin.reduce(torque_nm, axis=None, initial=0.0) < 0:
        return np.asarray(torque_nm / lanes_of(m.torque_per_a, at) + no_load)
    k, gear, efficiency = (lanes_of(x, at) for x in (m.k_torque, m.gear_ratio, m.gear_efficiency))
    return np.asarray(motor.current_a(torque_nm, no_load, k, gear, efficiency))


def shaft_torque_nm(m: Motors, current: Floats, no_load: Floats, at: Pick = EVERY) -> Floats:
    """Torque at the propeller [N m] that a motor current gives, g K_t e (I - I0), the motor driving."""
    return np.asarray(lanes_of(m.torque_per_a, at) * (current - no_load))


def ohm_at(m: Motors, ohm: Floats, w: Floats, at: Pick = EVERY) -> Floats:
    """A resistance that contains the winding's, at motor speeds: r + b w [ohm]."""
    return np.asarray(motor.resistance_at_speed(ohm, lanes_of(m.slope_ohm_s, at), w)) if m.sloped else ohm


def behind_v(m: Motors, w: Floats, current: Floats, ohm: Floats, at: Pick = EVERY) -> Floats:
    """Voltage in front of a resistance that contains the winding's: K w + (r + b w) I [V]."""
    return np.asarray(motor.terminal_voltage_v(w, current, lanes_of(m.k, at), ohm_at(m, ohm, w, at)))


def left_over_v(m: Motors, volts: Floats, ohm: Floats, w: Floats, current: Floats, at: Pick = EVERY) -> Floats:
    """S - K w - (r + b w) I [V]: not negative where the line gives a current at a speed, or more."""
    return np.asarray(volts - lanes_of(m.k, at) * w - ohm_at(m, ohm, w, at) * current)


def speed_at(m: Motors, volts: Floats, ohm: Floats, current: Floats, at: Pick = EVERY) -> Floats:
    """Propeller speed [rad/s] at which a line gives a motor current: (S - r I)/(g (K + b I))."""
    gear = lanes_of(m.gear_ratio, at)
    per_speed = lanes_of(m.k, at) * gear
    if m.sloped:
        per_speed = per_speed + lanes_of(m.slope_ohm_s, at) * gear * current
    return np.asarray((volts - ohm * current) / per_speed)


# ---------------------------------------------------------------- controller and pack


@attrs.frozen(kw_only=True, eq=False)
class Source:
    """S [V] behind the chopper, and r [ohm] that a motor current sees forwards and back, without b w."""

    volts: Floats
    ohm: Floats
    ohm_back: Floats


def fixed_ohm(p: Trains, at: Pick = EVERY) -> Floats:
    """R + R_c [ohm]."""
    return np.asarray(lanes_of(p.resistance_ohm, at) + lanes_of(p.controller_ohm, at))


def source(p: Trains, throttle: Number, open_v: Floats, pack_ohm: Floats, at: Pick = EVERY) -> Source:
    """What pack and controller put before the motors at a throttle, from E [V] and R_b [ohm]."""
    loss, count, radio = (lanes_of(x, at) for x in (p.loss, p.count, p.radio_a))
    eta = controller.eta(throttle, loss)
    fixed, shared = fixed_ohm(p, at), count * throttle * throttle * pack_ohm
    return Source(volts=throttle * (open_v - pack_ohm * radio), ohm=fixed + shared / eta, ohm_back=fixed + shared * eta)


def held_throttle(p: Supplies, behind: Floats, current: Floats, open_v: Floats, pack_ohm: Floats) -> Floats:
    """Throttle that puts a voltage behind the controller (:func:`propmatch.models.controller.throttle_for`)."""
    available = open_v - pack_ohm * p.radio_a
    return np.asarray(controller.throttle_for(behind, current, available, pack_ohm, p.loss, p.count))


def can_hold(throttle: Floats, limit: Floats) -> Flags:
    """Whether a duty can be set; one within rounding of the largest is the largest."""
    return np.asarray((throttle > 0) & (throttle <= limit + _ROUNDING))


def pack_current_a(p: Supplies, current: Floats, throttle: Number) -> Floats:
    """Pack current of all motors and the radio and payload [A] for the current of each motor."""
    per_motor = controller.pack_current_per_motor_a(current, throttle, p.loss)
    return np.asarray(p.count * per_motor + p.radio_a)


def motor_current_from_pack_a(p: Supplies, pack_current: Floats, throttle: Number) -> Floats:
    """Current of each motor at a throttle above 0 [A] for the pack current."""
    per_motor = (pack_current - p.radio_a) / p.count
    return np.asarray(controller.motor_current_from_pack_a(per_motor, throttle, p.loss))


# ---------------------------------------------------------------- the same as torque over propeller speed, in place


class TorqueLine:
    """The line times g K_t e/r: stall - drag u - friction(u) (1 + rise u) is the torque offered at propeller speed u.

    stall = g K_t e S/r, drag = g^2 K K_t e/r, friction = g K_t e I0(g u), rise = g b/r; where r rises with speed the
    propeller's torque counts (1 + rise u) times as well. Arrays are kept in a workspace; ``go`` moves to a speed.

    Attributes
    ----------
    stall, drag, torque_per_a : Floats
    sloped, curved : whether some lane's resistance or no-load current depends on speed
    rise, exponent : of the lanes
    """

    def __init__(self, motors: Motors, volts: Floats, ohm: Floats, ohm_back: Floats, lanes: int, room: Workspace):
        self._motors, self._volts, self._ohm, self._back, self._room = motors, volts, ohm, ohm_back, room
        self._gear = self._product("gear", motors.gear_ratio, motors.k)
        self._gear_torque = self._product("gear torque", motors.gear_ratio, motors.k_torque)
        self.curved, self.sloped = motors.curved, motors.sloped
        self.exponent, self.rise = motors.exponent, np.zeros(1)
        self._driven: Any = np.zeros(1, dtype=bool)
        self._feeding: Any = self._driven
        self._constant = motor.no_load_ratio(1.0, 0.0)
        # no-load current over that at its reference, for lanes where it depends on speed
        if self.curved:
            self._bent: Any = slice(None) if motors.exponent.size == 1 else np.flatnonzero(motors.exponent)
            self._bent_exponent = lanes_of(motors.exponent, self._bent)
            self._per_reference = lanes_of(motors.gear_ratio / motors.reference_rad_s, self._bent)
            self._ratio = room.array("no-load ratio", lanes)
            self._ratio[...] = self._constant
            self._friction_here: Floats = room.array("friction here", lanes)
        self._lay(motors.gear_efficiency, ohm)

    def _product(self, name: str, one: Floats, other: Floats) -> Floats:
        """The product of two arrays, in memory that is kept."""
        out = self._room.array(name, max(one.size, other.size))
        np.multiply(one, other, out=out)
        return out

    def _lay(self, efficiency: Floats, ohm: Floats) -> None:
        """Lay the line for a gear efficiency and a resistance."""
        self.torque_per_a = self._product("torque per A", self._gear_torque, efficiency)
        pull = self.torque_per_a / ohm
        self.stall = self._product("stall", pull, self._volts)
        self.drag = self._product("drag", pull, self._gear)
        self._friction: Floats = self._product("friction", self.torque_per_a, self._motors.no_load_a)
        if not self.curved:
            np.multiply(self._friction, self._constant, out=self._friction)
        if self.sloped:
            self.rise = self._motors.gear_ratio * self._motors.slope_ohm_s / ohm

    def go(self, u: Floats) -> None:
        """Move to propeller speeds u."""
        if self.curved:
            self._ratio[self._bent] = motor.no_load_ratio(self._per_reference * u[self._bent], self._bent_exponent)

    def go_roughly(self, u: Floats) -> None:
        """Move to propeller speeds with r^x as (1 + (1 + x)/2 (r - 1))/(1 + (1 - x)/2 (r - 1)): for a first guess."""
        if self.curved:
            above, x = self._per_reference * u[self._bent] - 1.0, 0.5 * self._bent_exponent
            self._ratio[self._bent] = (1.0 + (0.5 + x) * above) / (1.0 + (0.5 - x) * above)

    @property
    def friction(self) -> Floats:
        """g K_t e I0 at the speed reached."""
        if not self.curved:
            return self._friction
        np.multiply(self._friction, self._ratio, out=self._friction_here)
        return self._friction_here

    def current_a(self, torque: Floats, out: Floats) -> None:
        """Motor current at the speed reached, (Q + friction)/(g K_t e)."""
        np.add(torque, self.friction, out=out)
        np.divide(out, self.torque_per_a, out=out)

    def take_roles(self, torque: Floats) -> None:
        """Reverse e where the propeller drives the gear, eta where it feeds current back."""
        m = self._motors
        driven = torque < 0
        if not driven.any() and not self._driven.any():
            return
        reverse = np.where(driven, 1.0 / m.gear_efficiency, m.gear_efficiency)
        no_load = m.no_load_a * self._ratio if self.curved else m.no_load_a * self._constant
        self._driven, self._feeding = driven, torque / (self._gear_torque * reverse) + no_load < 0
        self._lay(reverse, np.where(self._feeding, self._back, self._ohm))

    def roles_hold(self, torque: Floats, current: Floats) -> Flags:
        """Lanes whose torque and current have the signs that were assumed."""
        return np.asarray(((torque < 0) == self._driven) & ((current < 0) == self._feeding))
