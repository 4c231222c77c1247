"""Change of trim with throttle at the speeds of a brief, in numbers and in plain words.

Source: none needed, differences of :mod:`propmatch.aircraft.trim`.
"""

from collections.abc import Callable, Mapping, Sequence
from typing import Any

import attrs
import numpy as np
from numpy.typing import ArrayLike

from propmatch.aircraft.geometry import Geometry
from propmatch.aircraft.trim import Flown, Trim, trim
from propmatch.models.arrays import Floats
from propmatch.units import percent

__all__ = ["STATES", "ThrottleCases", "ThrottleTrim", "speed_m_s", "throttle_trim"]

STATES = ("glide", "level flight", "full throttle")
USUAL_ELEVATOR_DEG = 20.0
USUAL_TAIL_LIFT = 0.8
NOTICEABLE_DEG = 0.25


def speed_m_s(airspeed_m_s: float) -> str:
    """An airspeed with its unit, where nobody chose another."""
    return f"{airspeed_m_s:.1f} m/s"


def _floats(values: ArrayLike) -> Floats:
    return np.atleast_1d(np.asarray(values, dtype=np.float64))


def _texts(names: Sequence[str]) -> tuple[str, ...]:
    return tuple(names)


@attrs.frozen(kw_only=True, eq=False)
class ThrottleCases:
    """What is flown: cases (2S, 3S, ...) by states of thrust by speeds.

    Attributes
    ----------
    names : tuple of str, length C
    airspeed_m_s : (V,) [m/s]
    thrust_n : state to thrust, each broadcast to (C, V) [N]
        Thrust of the whole train, the state that the others are compared with first; the usual ones are `STATES`. 0
        for a folded propeller, negative where it windmills, NaN where the train has no answer.
    throttle : state to throttle, each broadcast to (C, V) [-]
        Empty where nobody knows it.
    mass_kg, diameter_m, cg_mm : one for all, or (C,)
    cg_height_mm : one for all, (C,), or None for that of the geometry
    on_line_kg : one for all, or (C,)
        Motors and propellers: what moves with the thrust line, and the centre of gravity with it.
    count : int
        Propellers that share the thrust.
    density_kg_m3 : float

    Raises
    ------
    ValueError
        Shapes that do not fit, fewer than two states, throttles of other states.
    """

    names: tuple[str, ...] = attrs.field(converter=_texts)
    airspeed_m_s: Floats = attrs.field(converter=_floats)
    thrust_n: Mapping[str, ArrayLike]
    throttle: Mapping[str, ArrayLike] = attrs.field(factory=dict)
    mass_kg: ArrayLike
    diameter_m: ArrayLike
    cg_mm: ArrayLike
    cg_height_mm: ArrayLike | None = None
    on_line_kg: ArrayLike = 0.0
    count: int = 1
    density_kg_m3: float = 1.225

    def __attrs_post_init__(self) -> None:
        if len(self.thrust_n) < 2:
            raise ValueError(f"thrust_n must name two states or more, such as {', '.join(STATES)}")
        if self.throttle and set(self.throttle) != set(self.thrust_n):
            raise ValueError(f"throttle must name {', '.join(self.thrust_n)}, not {', '.join(self.throttle)}")
        self.flown()
        self.throttles()
        self.by_case(self.on_line_kg)

    @property
    def states(self) -> tuple[str, ...]:
        """The states of thrust in order, S of them."""
        return tuple(self.thrust_n)

    def _by_state(self, values: Mapping[str, ArrayLike]) -> Floats:
        shape = (len(self.names), self.airspeed_m_s.size)
        return np.stack([np.broadcast_to(np.asarray(values[each], dtype=np.float64), shape) for each in self.states], 1)

    def throttles(self) -> Floats:
        """Throttle of every lane, (C, S, V); NaN where nobody knows it."""
        return self._by_state(self.throttle or dict.fromkeys(self.states, np.nan))

    def by_case(self, value: ArrayLike) -> Floats:
        """One number for all cases, or one for each, (C, 1, 1)."""
        return np.broadcast_to(np.asarray(value, dtype=np.float64), (len(self.names),)).reshape(-1, 1, 1)

    def flown(self, **changed: Any) -> Flown:
        """Every case, state and speed, (C, S, V); ``changed`` are fields of `Flown`."""
        level = None if self.cg_height_mm is None else self.by_case(self.cg_height_mm)
        return attrs.evolve(
            Flown(
                thrust_n=self._by_state(self.thrust_n), airspeed_m_s=self.airspeed_m_s,
                mass_kg=self.by_case(self.mass_kg), diameter_m=self.by_case(self.diameter_m),
                cg_mm=self.by_case(self.cg_mm), cg_height_mm=level, count=self.count,
                density_kg_m3=self.density_kg_m3,
            ),
            **changed,
        )  # fmt: skip


@attrs.frozen(kw_only=True, eq=False)
class ThrottleTrim:
    """Trim in every state of thrust, the usual ones glide, level flight and full throttle.

    Attributes
    ----------
    names : tuple of str, length C
    states : tuple of str, length S
    airspeed_m_s : (V,) [m/s]
    trim : Trim
        Every field (C, S, V).
    """

    names: tuple[str, ...]
    airspeed_m_s: Floats
    trim: Trim
    states: tuple[str, ...]

    @property
    def more_up_deg(self) -> Floats:
        """Up elevator needed beyond that of the first state, the glide, at the same speed, (C, S, V) [deg]."""
        elevator: Floats = self.trim.elevator_deg
        # Zero is kept free of a sign.
        return elevator[:, :1, :] - elevator + 0.0

    @property
    def worst_deg(self) -> float:
        """Largest trim change with throttle of all cases and speeds [deg]; NaN without an answer."""
        return _largest(self.more_up_deg[:, 1:, :])

    @property
    def most_deg(self) -> float:
        """Largest elevator angle from neutral of all cases, states and speeds [deg]; NaN without an answer."""
        return _largest(self.trim.elevator_deg)

    @property
    def rows(self) -> list[dict[str, str | float]]:
        """Every case, state and speed as JSON has it."""
        return [
            {
                "name": name, "state": state, "airspeed_m_s": float(self.airspeed_m_s[v]),
                "thrust_n": float(self.trim.thrust_n[c, s, v]),
                "elevator_deg": float(self.trim.elevator_deg[c, s, v]),
                "more_up_deg": float(self.more_up_deg[c, s, v]),
            }
            for c, name in enumerate(self.names)
            for s, state in enumerate(self.states)
            for v in range(self.airspeed_m_s.size)
        ]  # fmt: skip

    @property
    def notes(self) -> tuple[str, ...]:
        """What the estimate leaves out."""
        return self.trim.notes

    def reading(self, case: int, speed: int, *, state: int = -1, show: Callable[[float], str] = speed_m_s) -> str:
        """One case at one speed in a sentence.

        Parameters
        ----------
        case, speed, state : int
            Places in `names`, `airspeed_m_s` and `states`.
        show : callable
            Writes an airspeed in m/s in the reader's unit.
        """
        at = (case, state, speed)
        change = float(self.more_up_deg[at])
        where = f"With {self.names[case]} {self.states[state]} at {show(float(self.airspeed_m_s[speed]))}"
        if np.isnan(change):
            return f"{where} has no answer: the power train or the glide has none there."
        text = f"{where} needs {_more(change, self.states[0])}"
        arm = float(self.trim.thrust_arm_mm[at])
        text += f"; the thrust line passes {_side(arm)} the centre of gravity, {self._jet(at)}."
        if abs(float(self.trim.elevator_deg[at])) > USUAL_ELEVATOR_DEG:
            text += f" That is beyond the usual {USUAL_ELEVATOR_DEG:.0f} degrees of travel (common practice)."
        if abs(float(self.trim.tail_local_lift_coefficient[at])) > USUAL_TAIL_LIFT:
            text += f" The tail would have to carry a lift coefficient beyond {USUAL_TAIL_LIFT:g} (value from memory)."
        return text

    def _jet(self, at: tuple[int, int, int]) -> str:
        share, clearance = float(self.trim.immersed_share[at]), float(self.trim.tail_clearance_mm[at])
        on_wing = float(self.trim.wing_immersed_share[at])
        wing = f" and {'' if share > 0 else 'covers '}{percent(on_wing)} of the wing's span" if on_wing > 0 else ""
        tail = self.trim.geometry.tail
        line = self.trim.geometry.thrust_line
        if tail is not None and line is not None and tail.position_mm <= line.position_mm:
            return "and the tail is ahead of the jet"
        if share > 0:
            return f"and the jet covers {percent(share)} of the tail span{wing}"
        if clearance <= 0:
            return f"and the jet passes beside the tail{wing}"
        above = self.trim.geometry.tail_height_mm > float(self.trim.jet_height_mm[at])
        return f"and the jet passes {clearance:.0f} mm {'below' if above else 'above'} the tail{wing}"

    def readings(self, *, show: Callable[[float], str] = speed_m_s) -> tuple[str, ...]:
        """The last state, full throttle, of each case at the speed where it changes the trim most."""
        full = np.abs(self.more_up_deg[:, -1, :])
        worst = np.where(np.isnan(full), -1.0, full).argmax(axis=1)
        return tuple(self.reading(case, int(speed), show=show) for case, speed in enumerate(worst))


def _largest(angles_deg: Any) -> float:
    sizes = np.abs(angles_deg)
    return float(np.nanmax(sizes)) if np.any(np.isfinite(sizes)) else float("nan")


def _more(change: float, first: str) -> str:
    than = "the glide" if first == STATES[0] else first
    if abs(change) < NOTICEABLE_DEG:
        return f"practically the same elevator as {than} ({change:+.1f} degrees up)"
    return f"{abs(change):.1f} degrees more {'up' if change > 0 else 'down'} elevator than {than}"


def _side(arm_mm: float) -> str:
    return "through" if abs(arm_mm) < 0.5 else f"{abs(arm_mm):.0f} mm {'above' if arm_mm > 0 else 'below'}"


def throttle_trim(geometry: Geometry, cases: ThrottleCases, **changed: Any) -> ThrottleTrim:
    """Trim of every case, state and speed; model and errors as `trim`.

    ``changed`` are fields of `Flown` to fly with instead of the geometry's, such as ``tilt_deg``.
    """
    return ThrottleTrim(
        names=cases.names, airspeed_m_s=cases.airspeed_m_s, states=cases.states,
        trim=trim(geometry, cases.flown(**changed)),
    )  # fmt: skip
