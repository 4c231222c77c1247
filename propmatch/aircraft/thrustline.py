"""Change of trim with throttle at the speeds of a brief, the tilt that makes it smallest, both in plain words."""

from collections.abc import Callable, Mapping, Sequence
from typing import Any

import attrs
import numpy as np
from numpy.typing import ArrayLike

from propmatch.aircraft.geometry import Geometry
from propmatch.aircraft.trim import Flown, Trim, trim
from propmatch.models.arrays import Floats

__all__ = ["STATES", "ThrottleCases", "ThrottleTrim", "TiltAdvice", "best_tilt", "throttle_trim", "tilt_through_cg_deg"]

STATES = ("glide", "level flight", "full throttle")
TILT_STEP_DEG = 0.05
TILT_RANGE_DEG = 15.0
USUAL_ELEVATOR_DEG = 20.0
USUAL_TAIL_LIFT = 0.8
_NOTICEABLE_DEG = 0.25


def _m_s(airspeed_m_s: float) -> str:
    return f"{airspeed_m_s:.1f} m/s"


def tilt_through_cg_deg(height_mm: Any, ahead_mm: Any) -> Any:
    """Tilt that turns the thrust line through the centre of gravity, atan(-z/a) [deg]; NaN without an arm.

    Parameters
    ----------
    height_mm, ahead_mm : array_like [mm]
        Propeller centre above and ahead of the centre of gravity.
    """
    ahead = np.asarray(ahead_mm, dtype=np.float64)
    return np.where(ahead != 0, np.degrees(np.arctan(-height_mm / np.where(ahead != 0, ahead, 1.0))), np.nan)[()]


@attrs.frozen(kw_only=True, eq=False)
class ThrottleCases:
    """What is flown: cases (2S, 3S, ...) by speeds; build with `of`.

    Attributes
    ----------
    names : tuple of str, length C
    airspeed_m_s : (V,) [m/s]
    thrust_n : (C, 3, V) [N]
        Thrust of the whole train in the states of `STATES`; NaN where the train has no answer.
    mass_kg, diameter_m, cg_mm : (C, 1, 1)
    count : int
        Propellers that share the thrust.
    density_kg_m3 : float
    cg_height_mm : (C, 1, 1) or None
        None: the brief's.
    """

    names: tuple[str, ...]
    airspeed_m_s: Floats
    thrust_n: Floats
    mass_kg: Floats
    diameter_m: Floats
    cg_mm: Floats
    count: int
    density_kg_m3: float
    cg_height_mm: Floats | None = None

    @classmethod
    def of(
        cls,
        names: Sequence[str],
        *,
        airspeed_m_s: ArrayLike,
        thrust_n: Mapping[str, ArrayLike],
        mass_kg: ArrayLike,
        diameter_m: ArrayLike,
        cg_mm: ArrayLike,
        count: int = 1,
        density_kg_m3: float = 1.225,
    ) -> "ThrottleCases":
        """Arrange the numbers.

        Parameters
        ----------
        names : sequence of str, length C
        airspeed_m_s : (V,) [m/s]
        thrust_n : state of `STATES` to thrust, each broadcast to (C, V) [N]
            Without a glide: 0, a folded propeller; negative where it windmills.
        mass_kg, diameter_m, cg_mm : one for all, or (C,)
        count : int
        density_kg_m3 : float

        Raises
        ------
        ValueError
            Shapes that do not fit, a state that is none of `STATES`, no thrust in level flight or at full throttle.
        """
        speeds = np.atleast_1d(np.asarray(airspeed_m_s, dtype=np.float64))
        shape = (len(names), speeds.size)
        stated = {STATES[0]: 0.0, **thrust_n}
        if set(stated) != set(STATES):
            raise ValueError(f"thrust_n must name {', '.join(STATES)}, not {', '.join(thrust_n)}")
        thrusts = [np.broadcast_to(np.asarray(stated[state], dtype=np.float64), shape) for state in STATES]

        def by_case(value: ArrayLike) -> Floats:
            return np.broadcast_to(np.asarray(value, dtype=np.float64), (len(names),)).reshape(-1, 1, 1)

        return cls(
            names=tuple(names), airspeed_m_s=speeds, thrust_n=np.stack(thrusts, axis=1), mass_kg=by_case(mass_kg),
            diameter_m=by_case(diameter_m), cg_mm=by_case(cg_mm),
            count=count, density_kg_m3=density_kg_m3,
        )  # fmt: skip

    def at_height(self, cg_height_mm: ArrayLike) -> "ThrottleCases":
        """The same with the centre of gravity at this height, one for all or (C,) [mm]."""
        height = np.broadcast_to(np.asarray(cg_height_mm, dtype=np.float64), (len(self.names),)).reshape(-1, 1, 1)
        return attrs.evolve(self, cg_height_mm=height)


@attrs.frozen(kw_only=True, eq=False)
class ThrottleTrim:
    """Trim in glide, level flight and at full throttle.

    Attributes
    ----------
    names : tuple of str, length C
    states : tuple of str
        `STATES`.
    airspeed_m_s : (V,) [m/s]
    trim : Trim
        Every field (C, 3, V).
    """

    names: tuple[str, ...]
    airspeed_m_s: Floats
    trim: Trim
    states: tuple[str, ...] = STATES

    @property
    def more_up_deg(self) -> Floats:
        """Up elevator needed beyond that of the glide at the same speed, (C, 3, V) [deg]."""
        elevator: Floats = self.trim.elevator_deg
        # Zero is kept free of a sign.
        return elevator[:, :1, :] - elevator + 0.0

    @property
    def worst_deg(self) -> float:
        """Largest trim change with throttle of all cases and speeds [deg]; NaN without an answer."""
        changes = np.abs(self.more_up_deg[:, 1:, :])
        return float(np.nanmax(changes)) if np.any(np.isfinite(changes)) else float("nan")

    @property
    def notes(self) -> tuple[str, ...]:
        """What the estimate leaves out."""
        return self.trim.notes

    def reading(self, case: int, speed: int, *, state: int = 2, show: Callable[[float], str] = _m_s) -> str:
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
        text = f"{where} needs {_more(change)}"
        arm = float(self.trim.thrust_arm_mm[at])
        text += f"; the thrust line passes {_side(arm)} the centre of gravity, {self._jet(at)}."
        if abs(float(self.trim.elevator_deg[at])) > USUAL_ELEVATOR_DEG:
            text += f" That is beyond the usual {USUAL_ELEVATOR_DEG:.0f} degrees of travel (common practice)."
        if abs(float(self.trim.tail_local_lift_coefficient[at])) > USUAL_TAIL_LIFT:
            text += f" The tail would have to carry a lift coefficient beyond {USUAL_TAIL_LIFT:g} (value from memory)."
        return text

    def _jet(self, at: tuple[int, int, int]) -> str:
        share, clearance = float(self.trim.immersed_share[at]), float(self.trim.tail_clearance_mm[at])
        tail = self.trim.geometry.tail
        line = self.trim.geometry.thrust_line
        if tail is not None and line is not None and tail.position_mm <= line.position_mm:
            return "and the tail is ahead of the jet"
        if share > 0:
            return f"and the jet covers {share:.0%} of the tail span"
        if clearance <= 0:
            return "and the jet passes beside the tail"
        above = self.trim.geometry.tail_height_mm > float(self.trim.jet_height_mm[at])
        return f"and the jet passes {clearance:.0f} mm {'below' if above else 'above'} the tail"

    def readings(self, *, show: Callable[[float], str] = _m_s) -> tuple[str, ...]:
        """Full throttle of each case at the speed where it changes the trim most."""
        full = np.abs(self.more_up_deg[:, 2, :])
        worst = np.where(np.isnan(full), -1.0, full).argmax(axis=1)
        return tuple(self.reading(case, int(speed), show=show) for case, speed in enumerate(worst))


def _more(change: float) -> str:
    if abs(change) < _NOTICEABLE_DEG:
        return f"practically the same elevator as the glide ({change:+.1f} degrees up)"
    return f"{abs(change):.1f} degrees more {'up' if change > 0 else 'down'} elevator than the glide"


def _side(arm_mm: float) -> str:
    return "through" if abs(arm_mm) < 0.5 else f"{abs(arm_mm):.0f} mm {'above' if arm_mm > 0 else 'below'}"


def throttle_trim(geometry: Geometry, cases: ThrottleCases, *, tilt_deg: Any = None) -> ThrottleTrim:
    """Trim of every case, state and speed at one tilt (default: the thrust line's own); model and errors as `trim`."""
    found = _lanes(
        geometry, cases, geometry.thrust_line and geometry.thrust_line.tilt_deg if tilt_deg is None else tilt_deg
    )
    return ThrottleTrim(names=cases.names, airspeed_m_s=cases.airspeed_m_s, trim=found)


def _lanes(geometry: Geometry, cases: ThrottleCases, tilt_deg: Any) -> Trim:
    flown = Flown(
        thrust_n=cases.thrust_n, airspeed_m_s=cases.airspeed_m_s, mass_kg=cases.mass_kg,
        diameter_m=cases.diameter_m, count=cases.count, cg_mm=cases.cg_mm, cg_height_mm=cases.cg_height_mm,
        tilt_deg=tilt_deg, density_kg_m3=cases.density_kg_m3,
    )  # fmt: skip
    return trim(geometry, flown)


@attrs.frozen(kw_only=True, eq=False)
class TiltAdvice:
    """The tilt with the smallest change of trim with throttle.

    Attributes
    ----------
    tilt_deg : float [deg]
        Positive: thrust points down. NaN when no lane has an answer, and when the search ends at its bound.
    residual_deg : float [deg]
        Largest change of elevator from the glide that is left, over all cases, speeds and states.
    tilt_from_deg, tilt_to_deg : float [deg]
        Tilts around it for which the largest change stays within `tolerance_deg` of the residual.
    tolerance_deg : float [deg]
        Elevator.
    tilt_now_deg, worst_now_deg : float [deg]
        Tilt of the brief and the largest change with it.
    through_cg_deg : float [deg]
        For comparison: tilt that takes the thrust line through the centre of gravity of the first case.
    at_limit : bool
        The smallest change lies at the end of the searched range, +-15 degrees, so no tilt is advised.
    lanes_without_answer : int
        Cases times speeds of which a state is left out because the train or the trim has no answer there.
    now, best : ThrottleTrim
        With the tilt of the brief, and with ``tilt_deg`` where there is one.
    """

    tilt_deg: float
    residual_deg: float
    tilt_from_deg: float
    tilt_to_deg: float
    tolerance_deg: float
    tilt_now_deg: float
    worst_now_deg: float
    through_cg_deg: float
    at_limit: bool
    lanes_without_answer: int
    now: ThrottleTrim
    best: ThrottleTrim

    def reading(self, *, show: Callable[[float], str] = _m_s) -> str:
        """The advice in plain language, with the cases and speeds it is for; ``show`` writes an airspeed in m/s."""
        speeds = _listed([show(float(airspeed)) for airspeed in self.now.airspeed_m_s])
        text = f"Tilt of the thrust line, for {_listed(self.now.names)} at {speeds}: "
        if np.isnan(self.residual_deg):
            return f"{text}no tilt can be advised, because no case has an answer at these speeds."
        if self.at_limit:
            text += (
                f"no tilt within the bounds of the search does it. The change of trim with throttle stays at "
                f"{self.residual_deg:.1f} degrees of elevator or more ({self.worst_now_deg:.1f} now): move the motor "
                "rather than tilt it."
            )
        else:
            text += (
                f"{_tilted(self.tilt_deg)} makes the change of trim with throttle smallest: at most "
                f"{self.residual_deg:.1f} degrees of elevator are left, against {self.worst_now_deg:.1f} degrees now "
                f"({_tilted(self.tilt_now_deg)}). {self._around()}"
            )
        if self.lanes_without_answer:
            text += f" Speeds with a state left out for want of an answer: {self.lanes_without_answer}."
        return text

    def _around(self) -> str:
        """Between which tilts it does nearly as well; an end that only the search set is not named."""
        low, high = (
            "" if abs(end) > TILT_RANGE_DEG - TILT_STEP_DEG / 2 else _tilted(end)
            for end in (self.tilt_from_deg, self.tilt_to_deg)
        )
        within = f"within {self.tolerance_deg:g} degree{'' if self.tolerance_deg == 1 else 's'} of that"
        if low and high:
            return f"From {low} to {high} it stays {within}."
        if low or high:
            return f"{f'From {low} downwards' if low else f'From {high} upwards'} it stays {within}."
        return f"Any tilt of the search stays {within}."


def _listed(words: Sequence[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def _tilted(tilt_deg: float) -> str:
    if abs(tilt_deg) < TILT_STEP_DEG / 2:
        return "0 degrees of tilt"
    return f"{abs(tilt_deg):.1f} degrees of {'down' if tilt_deg > 0 else 'up'} thrust"


def best_tilt(geometry: Geometry, cases: ThrottleCases, *, tolerance_deg: float = 1.0) -> TiltAdvice:
    """Find the tilt whose largest change of elevator with throttle, over all cases and speeds, is smallest.

    All tilts from -15 to 15 degrees in steps of 0.05 are tried at once, finer than a mount can be built; among equals
    the smallest tilt is taken. Speeds without an answer are left out and counted.

    Parameters
    ----------
    geometry : Geometry
        With tail and thrust line.
    cases : ThrottleCases
    tolerance_deg : float [deg]
        Elevator by which the tilt may miss the best one.

    Raises
    ------
    ValueError
        As `trim`.
    """
    now = throttle_trim(geometry, cases)
    steps = round(TILT_RANGE_DEG / TILT_STEP_DEG)
    tilts = np.arange(-steps, steps + 1) * TILT_STEP_DEG
    elevator = np.asarray(_lanes(geometry, cases, tilts[:, None, None, None]).elevator_deg)
    changes = np.abs(elevator[:, :, 1:, :] - elevator[:, :, :1, :])
    answered = np.all(np.any(np.isfinite(changes), axis=0), axis=1)
    worst = np.where(np.isfinite(changes), changes, -np.inf).max(axis=(1, 2, 3))
    line = geometry.thrust_line
    assert line is not None
    level = geometry.cg_height_mm if cases.cg_height_mm is None else float(cases.cg_height_mm[0, 0, 0])
    best = low = high = residual = float("nan")
    bound = False
    if np.any(np.isfinite(changes)):
        equal = np.flatnonzero(worst <= worst.min() + 1e-9)
        at = int(equal[np.abs(tilts[equal]).argmin()])
        residual, bound = float(worst[at]), at in (0, tilts.size - 1)
        if not bound:
            best = float(tilts[at])
            near = worst <= residual + tolerance_deg
            below, above = np.flatnonzero(~near[:at]), np.flatnonzero(~near[at:])
            low = float(tilts[below[-1] + 1] if below.size else tilts[0])
            high = float(tilts[at + above[0] - 1] if above.size else tilts[-1])
    return TiltAdvice(
        tilt_deg=best,
        residual_deg=residual,
        tilt_from_deg=low,
        tilt_to_deg=high,
        tolerance_deg=tolerance_deg,
        tilt_now_deg=line.tilt_deg,
        worst_now_deg=now.worst_deg,
        through_cg_deg=float(
            tilt_through_cg_deg(line.height_mm - level, float(cases.cg_mm[0, 0, 0]) - line.position_mm)
        ),
        at_limit=bound,
        lanes_without_answer=int(np.size(answered) - np.count_nonzero(answered)),
        now=now,
        best=now if np.isnan(best) else throttle_trim(geometry, cases, tilt_deg=best),
    )
