"""Thrust line and trim: what thrust does to pitch, how much tail it takes, with the tail in or out of the jet.

Signs: moments nose-up positive; tilt positive when the thrust points below the flight direction; elevator positive
trailing edge down, so 'up elevator' is minus the elevator angle. One steady moment balance about the centre of gravity
(small angles, lift = load factor x weight, quasi-steady: the throttle has moved, speed and path have not yet):

    M_T = -T (z cos tilt + a sin tilt)           z above, a ahead of the centre of gravity
    L_w = n W + T sin tilt - L_t
    0 = q S c Cm (1 - f_w + f_w r_w) + L_w (x_cg - x_ac) + M_T - L_t l_t
    L_w = q S a_w [(1 - f_w) alpha + f_w r_w alpha_jet,w],  r_w = ((V + w)/V)^2
    L_t = q S_t a_t [(1 - f) alpha_t + f r alpha_jet + (1 - f + f r) tau delta_e],  r = ((V + 2 v)/V)^2

Strip theory: f_w and f are the shares of wing and tail span inside the contracted jet, every strip with the dynamic
pressure and the direction of the air it meets and the lift slope of the whole surface. The jet has gained w where it
passes the wing and 2 v at the tail (`slipstream`); its direction is the mean of free stream and thrust line weighted
with V and with what it has gained. The downwash at the tail is that of the wing's whole lift. The wing counts only
behind the disk, and where the jet passes its height.

Sources: moment balance and tail lift as in Etkin and Reid, Dynamics of Flight, ch. 2; thrust term -T z/(q S c) in the
form of J. Roskam; jet by momentum theory, Glauert 1926; wing partly in a jet, by strips, as in B. W. McCormick,
Aerodynamics, Aeronautics and Flight Mechanics, and for small r_w between the bounds of R. Smelt and H. Davies, ARC R&M
1788, 1937 (formulas from memory, standard).
"""

from typing import Any

import attrs
import numpy as np

from propmatch.aircraft.geometry import Geometry
from propmatch.models.liftingsurface import lift_slope_per_rad
from propmatch.models.slipstream import contraction_radius_m, induced_velocity_m_s, jet_growth
from propmatch.records.estimates import Assumption
from propmatch.records.layout import ThrustLine
from propmatch.status import Status
from propmatch.units import DM2_M2, GRAVITY_M_S2, MM_M

__all__ = [
    "TRIM_NOTES",
    "Flown",
    "Trim",
    "immersed_share",
    "jet_angle_rad",
    "thrust_arm_m",
    "thrust_moment_nm",
    "trim",
]

TRIM_NOTES = (
    "An estimate for small angles and unchanged speed and path, as felt just after the throttle has moved.",
    "The wing in the jet is taken strip by strip, an upper estimate of what the jet adds where it is not much wider "
    "than the chord: about half of it is common there (value from memory).",
    "Left out: swirl, mixing of the jet with the air around it, how the wing turns the jet, the jet over the fuselage, "
    "drag above or below the centre of gravity, the normal force of an inclined propeller, ground effect, and trim in "
    "yaw and roll.",
)


def thrust_arm_m(height_m: Any, ahead_m: Any, tilt_rad: Any) -> Any:
    """Distance of the thrust line above the centre of gravity, square to it: z cos tilt + a sin tilt [m].

    Parameters
    ----------
    height_m : array_like [m]
        Propeller centre above the centre of gravity.
    ahead_m : array_like [m]
        Propeller disk ahead of the centre of gravity (negative behind).
    tilt_rad : array_like [rad]
        Positive: the thrust points down.
    """
    return height_m * np.cos(tilt_rad) + ahead_m * np.sin(tilt_rad)


def thrust_moment_nm(thrust_n: Any, height_m: Any, *, ahead_m: Any = 0.0, tilt_rad: Any = 0.0) -> Any:
    """Moment of the thrust about the centre of gravity, nose-up positive [N m]: M = -T z without tilt.

    T cos(tilt) works on the height z, T sin(tilt) on the arm a: M = -T (z cos tilt + a sin tilt).
    """
    return -np.asarray(thrust_n, dtype=np.float64)[()] * thrust_arm_m(height_m, ahead_m, tilt_rad)


def jet_angle_rad(flow_rad: Any, tilt_rad: Any, *, airspeed_m_s: Any, gained_m_s: Any) -> Any:
    """Rise of the jet against the level line, (V flow + w tilt)/(V + w) [rad]; w is 2 v far behind the disk.

    The free stream keeps its own direction, the speed w gained from the disk has that of the thrust line: downwash by
    an up-tilted thrust line, upwash by a down-tilted one. NaN where the jet does not flow backwards.
    """
    jet = np.asarray(airspeed_m_s + gained_m_s, dtype=np.float64)
    mixed = airspeed_m_s * flow_rad + gained_m_s * tilt_rad
    return np.where(jet > 0, mixed / np.where(jet > 0, jet, 1.0), np.nan)[()]


def immersed_share(jet_radius_m: Any, offset_m: Any, span_m: Any, *, side_m: Any = 0.0) -> Any:
    """Share of a straight span, wing or tail, inside one central or two side jets of circular section [-], 0 to 1.

    Parameters
    ----------
    jet_radius_m : array_like [m]
    offset_m : array_like [m]
        Wing or tail above (or below) the centre of the jet.
    span_m : array_like [m]
    side_m : array_like [m]
        Jet centre from the middle of the span, one jet each side; 0 for one central jet.
    """
    radius = np.asarray(jet_radius_m, dtype=np.float64)
    half_chord = np.sqrt(np.maximum(radius**2 - np.asarray(offset_m, dtype=np.float64) ** 2, 0.0))
    outer = np.minimum(side_m + half_chord, np.asarray(span_m, dtype=np.float64) / 2.0)
    inner = np.maximum(side_m - half_chord, 0.0)
    return (2.0 * np.maximum(outer - inner, 0.0) / span_m)[()]


@attrs.frozen(kw_only=True, eq=False)
class Trim:
    """The moment balance of every lane; all fields share one shape (floats for one lane).

    Attributes
    ----------
    airspeed_m_s, thrust_n, tilt_deg : float or ndarray
        As given (thrust of the whole train).
    thrust_arm_mm : float or ndarray [mm]
        Thrust line above the centre of gravity, square to it.
    thrust_moment_nm : float or ndarray [N m]
        Direct moment of the thrust, nose-up positive.
    thrust_moment_coefficient : float or ndarray [-]
        The same over q S c.
    jet_moment_nm : float or ndarray [N m]
        What the jet on the tail with the elevator neutral adds, nose-up positive.
    wing_immersed_share : float or ndarray [-]
        f_w, share of the wing span inside the jet.
    wing_pressure_ratio : float or ndarray [-]
        Mean dynamic pressure at the wing over the free stream's, 1 - f_w + f_w r_w.
    wing_jet_lift_n : float or ndarray [N]
        What the jet adds to the lift of the wing at this body angle.
    wing_jet_moment_nm : float or ndarray [N m]
        The moment of that about the centre of gravity and of the section's own, nose-up positive.
    wing_lift_coefficient : float or ndarray [-]
    body_angle_deg : float or ndarray [deg]
        Level line against the flight direction.
    tail_lift_n : float or ndarray [N]
        Tail lift needed for balance, up positive.
    tail_lift_coefficient : float or ndarray [-]
        The same over free-stream q S_t.
    tail_local_lift_coefficient : float or ndarray [-]
        The same over the mean dynamic pressure at the tail, what its section must carry.
    tail_pressure_ratio : float or ndarray [-]
        Mean dynamic pressure at the tail over the free stream's, 1 - f + f r.
    immersed_share : float or ndarray [-]
        f, share of the tail span inside the jet.
    jet_speed_m_s, jet_radius_mm, jet_angle_deg : float or ndarray
        Fully developed speed and radius of one jet; rise against the level line.
    jet_height_mm : float or ndarray [mm]
        Centre of the jet at the tail, above the level line.
    tail_clearance_mm : float or ndarray [mm]
        From the edge of the jet to the tail; negative: the tail is inside the jet's height.
    elevator_deg : float or ndarray [deg]
        Elevator for balance, trailing edge down positive.
    status : Status or ndarray
    geometry : Geometry
    cg_mm, cg_height_mm : float or ndarray [mm]
    diameter_mm : float or ndarray [mm]
        Propeller diameter, for drawing.
    """

    airspeed_m_s: Any
    thrust_n: Any
    tilt_deg: Any
    thrust_arm_mm: Any
    thrust_moment_nm: Any
    thrust_moment_coefficient: Any
    jet_moment_nm: Any
    wing_immersed_share: Any
    wing_pressure_ratio: Any
    wing_jet_lift_n: Any
    wing_jet_moment_nm: Any
    wing_lift_coefficient: Any
    body_angle_deg: Any
    tail_lift_n: Any
    tail_lift_coefficient: Any
    tail_local_lift_coefficient: Any
    tail_pressure_ratio: Any
    immersed_share: Any
    jet_speed_m_s: Any
    jet_radius_mm: Any
    jet_angle_deg: Any
    jet_height_mm: Any
    tail_clearance_mm: Any
    elevator_deg: Any
    status: Any
    cg_mm: Any
    cg_height_mm: Any
    diameter_mm: Any
    geometry: Geometry

    @property
    def assumptions(self) -> tuple[Assumption, ...]:
        """Stated geometry that the result rests on."""
        return self.geometry.assumptions

    @property
    def notes(self) -> tuple[str, ...]:
        """What the estimate leaves out."""
        return TRIM_NOTES


@attrs.frozen(kw_only=True, eq=False)
class Flown:
    """What is flown: fields broadcast against each other.

    Attributes
    ----------
    thrust_n : array_like [N]
        Thrust of the whole train; 0 for a stopped or folded propeller, negative when it windmills.
    airspeed_m_s : array_like [m/s]
        Above 0.
    mass_kg : array_like [kg]
    diameter_m : array_like [m]
        Propeller diameter.
    count : int
        Propellers that share the thrust; more than two count as two equal jets, one each side.
    cg_mm : array_like [mm], optional
        Default the target.
    cg_height_mm : array_like [mm], optional
        Above the level line; default that of the geometry.
    tilt_deg : array_like [deg], optional
        Default the thrust line's own.
    line_height_mm : array_like [mm], optional
        Propeller centre above the level line; default the thrust line's own.
    load_factor : array_like
    density_kg_m3 : array_like [kg/m3]
    """

    thrust_n: Any
    airspeed_m_s: Any
    mass_kg: Any
    diameter_m: Any
    count: int = 1
    cg_mm: Any = None
    cg_height_mm: Any = None
    tilt_deg: Any = None
    line_height_mm: Any = None
    load_factor: Any = 1.0
    density_kg_m3: Any = 1.225


@attrs.frozen(eq=False)
class _Jet:
    """The jet of one propeller; lanes."""

    thrust_n: Any
    diameter_m: Any
    airspeed_m_s: Any
    density_kg_m3: Any
    tilt_rad: Any

    def gained_m_s(self, behind_m: Any) -> Any:
        """Speed gained at a distance behind the disk."""
        induced = induced_velocity_m_s(
            self.thrust_n, self.diameter_m, airspeed_m_s=self.airspeed_m_s, density_kg_m3=self.density_kg_m3
        )
        return jet_growth(behind_m, self.diameter_m) * induced

    def radius_m(self, behind_m: Any) -> Any:
        return contraction_radius_m(
            self.thrust_n, self.diameter_m, airspeed_m_s=self.airspeed_m_s, density_kg_m3=self.density_kg_m3,
            behind_m=behind_m,
        )  # fmt: skip

    def rise(self, flow_rad: Any, gained_m_s: Any) -> Any:
        return jet_angle_rad(flow_rad, self.tilt_rad, airspeed_m_s=self.airspeed_m_s, gained_m_s=gained_m_s)


def _inside(behind_m: Any, radius_m: Any, offset_m: Any, span_m: float, side_m: float) -> Any:
    """`immersed_share` behind the disk, 0 ahead of it."""
    share = immersed_share(radius_m, offset_m, span_m, side_m=side_m)
    return np.where(behind_m > 0, share, 0.0 * behind_m)


def _lanes(geometry: Geometry, line: ThrustLine, flown: Flown) -> tuple[Any, list[Any]]:
    """Which lanes can be worked out, and all that varies between them, NaN in the others."""
    given = (
        flown.thrust_n, flown.airspeed_m_s, flown.mass_kg, flown.diameter_m, flown.load_factor, flown.density_kg_m3,
        geometry.balance.target_cg_mm if flown.cg_mm is None else flown.cg_mm,
        geometry.cg_height_mm if flown.cg_height_mm is None else flown.cg_height_mm,
        line.tilt_deg if flown.tilt_deg is None else flown.tilt_deg,
        line.height_mm if flown.line_height_mm is None else flown.line_height_mm,
    )  # fmt: skip
    lanes = np.broadcast_arrays(*(np.asarray(value, dtype=np.float64) for value in given))
    sound = np.all(np.isfinite(lanes), axis=0)
    for positive in (lanes[1], lanes[2], lanes[3], lanes[5]):
        sound = sound & (positive > 0)
    return sound, [np.where(sound, lane, np.nan) for lane in lanes]


def trim(geometry: Geometry, flown: Flown) -> Trim:
    """Solve the moment balance of the module text for tail lift and elevator; closed form, every lane for itself.

    ``geometry`` needs tail and thrust line.

    Returns
    -------
    Trim
        Lanes with an input out of range or not finite hold NaN and BAD_INPUT; lanes whose windmilling lets no jet flow
        backwards NaN and NO_SOLUTION.

    Raises
    ------
    ValueError
        Without tail or thrust line, with a tail that is not behind the wing, or with one propeller beside the centre.
    """
    tail, line = geometry.tail, geometry.thrust_line
    if tail is None or line is None:
        raise ValueError("trim needs the tail and the thrust line")
    if not tail.position_mm > geometry.aerodynamic_centre_mm:
        raise ValueError("trim needs a tail behind the wing's quarter chord")
    count = flown.count
    if count == 1 and line.side_mm > 0:
        raise ValueError("a propeller beside the centre line (side_mm) needs a second one")
    sound, lanes = _lanes(geometry, line, flown)
    thrust, speed, mass, diameter, load, density, cg, level, tilt_angle, above = lanes
    tilt, side = np.radians(tilt_angle), line.side_mm * MM_M

    # Where things are, from the centre of gravity [m].
    height, wing_height, tail_height = (
        (each - level) * MM_M for each in (above, geometry.wing_height_mm, geometry.tail_height_mm)
    )
    ahead = (cg - line.position_mm) * MM_M
    wing_arm = (cg - geometry.aerodynamic_centre_mm) * MM_M
    tail_arm = (tail.position_mm - cg) * MM_M
    area, chord = geometry.wing_area_dm2 * DM2_M2, geometry.chord_mm * MM_M
    tail_area = tail.area_dm2 * DM2_M2

    # Forces and moments.
    pressure = 0.5 * density * speed**2
    moment = thrust_moment_nm(thrust, height, ahead_m=ahead, tilt_rad=tilt)
    carried = load * mass * GRAVITY_M_S2 + thrust * np.sin(tilt)
    section = pressure * area * chord * geometry.wing_moment_coefficient
    wing_slope = lift_slope_per_rad(geometry.aspect_ratio)
    setting = np.radians(geometry.wing_incidence_deg - geometry.wing_zero_lift_angle_deg)

    def balance(wing_ratio: Any) -> tuple[Any, Any]:
        """Tail lift, and the wing's mean angle of attack, where the wing's section moment is so many times its own."""
        lift = (section * wing_ratio + carried * wing_arm + moment) / (tail_arm + wing_arm)
        return lift, (carried - lift) / (pressure * area) / wing_slope

    # The jet on the wing; its height there from the body angle without it.
    jet = _Jet(thrust / count, diameter, speed, density, tilt)
    past = ahead - wing_arm
    gained = jet.gained_m_s(past)
    offset = wing_height - height - past * jet.rise(balance(1.0)[1] - setting, gained)
    wing_share = _inside(past, jet.radius_m(past), offset, geometry.wing_span_mm * MM_M, side)
    blown = wing_share * ((speed + gained) / speed) ** 2
    wing_ratio = 1.0 - wing_share + blown
    tail_lift, wing_alpha = balance(wing_ratio)
    own = speed / (speed + gained)  # the free stream's part in the jet's direction
    body = (wing_alpha - wing_ratio * setting - blown * (1.0 - own) * tilt) / (1.0 - wing_share + blown * own)
    in_jet = own * body + (1.0 - own) * tilt + setting
    jet_lift = pressure * area * wing_slope * (blown * in_jet - wing_share * (body + setting))

    # The flow at the tail, in and out of the jet.
    flow = body - geometry.downwash_gradient * wing_alpha
    tail_setting = np.radians(geometry.tail_incidence_deg - geometry.tail_zero_lift_angle_deg)
    behind = ahead + tail_arm
    gained = jet.gained_m_s(np.inf)
    rise, radius = jet.rise(flow, gained), jet.radius_m(np.inf)
    jet_height = height + behind * rise
    offset = tail_height - jet_height
    share = _inside(behind, radius, offset, tail.span_mm * MM_M, side)
    gain = ((speed + gained) / speed) ** 2
    ratio = 1.0 - share + share * gain

    # Tail lift of the neutral elevator and what the elevator must add, as free-stream coefficients.
    tail_slope = geometry.tail_lift_slope_per_rad
    neutral = tail_slope * ((1.0 - share) * (flow + tail_setting) + share * gain * (rise + tail_setting))
    coefficient = tail_lift / (pressure * tail_area)
    elevator = (coefficient - neutral) / (tail_slope * geometry.elevator_effectiveness * ratio)

    solved = sound & np.isfinite(elevator)
    fields = {
        "airspeed_m_s": speed,
        "thrust_n": thrust,
        "tilt_deg": tilt_angle,
        "thrust_arm_mm": thrust_arm_m(height, ahead, tilt) / MM_M,
        "thrust_moment_nm": moment,
        "thrust_moment_coefficient": moment / (pressure * area * chord),
        "jet_moment_nm": -(neutral - tail_slope * (flow + tail_setting)) * pressure * tail_area * tail_arm,
        "wing_immersed_share": wing_share,
        "wing_pressure_ratio": wing_ratio,
        "wing_jet_lift_n": jet_lift,
        "wing_jet_moment_nm": jet_lift * wing_arm + section * (wing_ratio - 1.0),
        "wing_lift_coefficient": wing_alpha * wing_slope,
        "body_angle_deg": np.degrees(body),
        "tail_lift_n": tail_lift,
        "tail_lift_coefficient": coefficient,
        "tail_local_lift_coefficient": coefficient / ratio,
        "tail_pressure_ratio": ratio,
        "immersed_share": share,
        "jet_speed_m_s": speed + gained,
        "jet_radius_mm": radius / MM_M,
        "jet_angle_deg": np.degrees(rise),
        "jet_height_mm": jet_height / MM_M + level,
        "tail_clearance_mm": (np.abs(offset) - radius) / MM_M,
        "elevator_deg": np.degrees(elevator),
        "cg_mm": cg,
        "cg_height_mm": level,
        "diameter_mm": diameter / MM_M,
    }
    values: dict[str, Any] = {name: np.where(solved, value, np.nan) for name, value in fields.items()}
    status: Any = np.where(solved, int(Status.OK), np.where(sound, int(Status.NO_SOLUTION), int(Status.BAD_INPUT)))
    if status.ndim == 0:
        values = {name: float(value) for name, value in values.items()}
        status = Status(int(status))
    return Trim(status=status, geometry=geometry, **values)
