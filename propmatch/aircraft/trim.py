"""Thrust line and trim: what thrust does to pitch, how much tail it takes, with the tail in or out of the jet.

Signs: moments nose-up positive; tilt positive when the thrust points below the flight direction; elevator positive
trailing edge down, so 'up elevator' is minus the elevator angle. One steady moment balance about the centre of gravity
(small angles, lift = load factor x weight, quasi-steady: the throttle has moved, speed and path have not yet):

    M_T = -T (z cos tilt + a sin tilt)           z above, a ahead of the centre of gravity
    L_w = n W + T sin tilt - L_t
    0 = q S c Cm + L_w (x_cg - x_ac) + M_T - L_t l_t
    L_t = q S_t a_t [(1 - f) alpha_t + f r alpha_jet + (1 - f + f r) tau delta_e],  r = ((V + 2 v)/V)^2

f is the share of the tail span inside the fully developed, contracted jet (`slipstream`), whose direction is the mean
of free stream and thrust line weighted with V and 2 v. Sources: moment balance and tail lift as in Etkin and Reid,
Dynamics of Flight, ch. 2; thrust term -T z/(q S c) in the form of J. Roskam; jet by momentum theory, Glauert 1926;
elevator effectiveness tau of a thin section with a hinged flap, Glauert, ARC R&M 1095 (formulas from memory, standard).
"""

from typing import Any

import attrs
import numpy as np

from propmatch.aircraft.geometry import Geometry
from propmatch.aircraft.stability import downwash_gradient, lift_slope_per_rad
from propmatch.models.slipstream import contraction_radius_m, induced_velocity_m_s
from propmatch.records.estimates import Assumption
from propmatch.status import Status
from propmatch.units import DM2_M2, GRAVITY_M_S2, MM_M

__all__ = [
    "TRIM_NOTES",
    "Flown",
    "Trim",
    "elevator_effectiveness",
    "immersed_share",
    "jet_angle_rad",
    "thrust_arm_m",
    "thrust_moment_nm",
    "trim",
]

TRIM_NOTES = (
    "An estimate for small angles and unchanged speed and path, as felt just after the throttle has moved.",
    "Left out: swirl, mixing of the jet with the air around it, the jet over wing and fuselage, drag above or below "
    "the centre of gravity, the normal force of an inclined propeller, ground effect, and trim in yaw and roll.",
    "The elevator effectiveness is that of a thin section with a sealed gap; real hinges reach 80 to 90 % of it (value "
    "from memory), so real elevator angles are somewhat larger.",
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


def elevator_effectiveness(chord_fraction: Any) -> Any:
    """tau = (pi - theta + sin theta)/pi with cos theta = 2 E - 1 [-]: tail angle per elevator angle.

    E is elevator chord over tail chord, 0 to 1: tau rises from 0 to 1 (all-moving). Glauert, ARC R&M 1095, 1927.
    """
    theta = np.arccos(2.0 * np.asarray(chord_fraction, dtype=np.float64) - 1.0)
    return ((np.pi - theta + np.sin(theta)) / np.pi)[()]


def jet_angle_rad(flow_rad: Any, tilt_rad: Any, *, airspeed_m_s: Any, induced_m_s: Any) -> Any:
    """Rise of the jet against the level line, (V flow + 2 v tilt)/(V + 2 v) [rad].

    The free stream keeps its own direction, the speed 2 v gained in the disk has that of the thrust line: downwash by
    an up-tilted thrust line, upwash by a down-tilted one. NaN where the jet does not flow backwards.
    """
    jet = np.asarray(airspeed_m_s + 2.0 * induced_m_s, dtype=np.float64)
    mixed = airspeed_m_s * flow_rad + 2.0 * induced_m_s * tilt_rad
    return np.where(jet > 0, mixed / np.where(jet > 0, jet, 1.0), np.nan)[()]


def immersed_share(jet_radius_m: Any, offset_m: Any, span_m: Any, *, side_m: Any = 0.0) -> Any:
    """Share of a straight tail span inside one central or two side jets of circular section [-], 0 to 1.

    Parameters
    ----------
    jet_radius_m : array_like [m]
    offset_m : array_like [m]
        Tail above (or below) the centre of the jet.
    span_m : array_like [m]
    side_m : array_like [m]
        Jet centre from the middle of the tail, one jet each side; 0 for one central jet.
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
    cg_mm, cg_height_mm : array_like [mm], optional
        Default the target, and the brief's height.
    tilt_deg : array_like [deg], optional
        Default the thrust line's own.
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
    load_factor: Any = 1.0
    density_kg_m3: Any = 1.225


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
    given = (
        flown.thrust_n, flown.airspeed_m_s, flown.mass_kg, flown.diameter_m, flown.load_factor, flown.density_kg_m3,
        geometry.balance.target_cg_mm if flown.cg_mm is None else flown.cg_mm,
        line.tilt_deg if flown.tilt_deg is None else flown.tilt_deg,
        geometry.cg_height_mm if flown.cg_height_mm is None else flown.cg_height_mm,
    )  # fmt: skip
    lanes = np.broadcast_arrays(*(np.asarray(value, dtype=np.float64) for value in given))
    sound = np.all(np.isfinite(lanes), axis=0)
    for positive in (lanes[1], lanes[2], lanes[3], lanes[5]):
        sound = sound & (positive > 0)
    thrust, speed, mass, diameter, load, density, cg, tilt_angle, level = (
        np.where(sound, lane, np.nan) for lane in lanes
    )
    tilt = np.radians(tilt_angle)

    # Where things are, from the centre of gravity [m].
    height = (line.height_mm - level) * MM_M
    tail_height = (geometry.tail_height_mm - level) * MM_M
    ahead = (cg - line.position_mm) * MM_M
    wing_arm = (cg - geometry.aerodynamic_centre_mm) * MM_M
    tail_arm = (tail.position_mm - cg) * MM_M
    area, chord = geometry.wing_area_dm2 * DM2_M2, geometry.chord_mm * MM_M
    tail_area, span = tail.area_dm2 * DM2_M2, tail.span_mm * MM_M

    # Forces and moments.
    pressure = 0.5 * density * speed**2
    moment = thrust_moment_nm(thrust, height, ahead_m=ahead, tilt_rad=tilt)
    carried = load * mass * GRAVITY_M_S2 + thrust * np.sin(tilt)
    wing_moment = pressure * area * chord * geometry.wing_moment_coefficient
    tail_lift = (wing_moment + carried * wing_arm + moment) / (tail_arm + wing_arm)
    wing_lift_coefficient = (carried - tail_lift) / (pressure * area)

    # The flow at the tail, in and out of the jet.
    wing_slope = lift_slope_per_rad(geometry.aspect_ratio)
    wing_alpha = wing_lift_coefficient / wing_slope
    body = wing_alpha + np.radians(geometry.wing_zero_lift_angle_deg - geometry.wing_incidence_deg)
    flow = body - downwash_gradient(wing_slope, geometry.aspect_ratio) * wing_alpha
    setting = np.radians(geometry.tail_incidence_deg - geometry.tail_zero_lift_angle_deg)
    induced = induced_velocity_m_s(thrust / count, diameter, airspeed_m_s=speed, density_kg_m3=density)
    jet_speed = speed + 2.0 * induced
    radius = contraction_radius_m(thrust / count, diameter, airspeed_m_s=speed, density_kg_m3=density)
    rise = jet_angle_rad(flow, tilt, airspeed_m_s=speed, induced_m_s=induced)
    behind = ahead + tail_arm
    jet_height = height + behind * rise
    offset = tail_height - jet_height
    reaches = behind > 0
    share = np.where(reaches, immersed_share(radius, offset, span, side_m=line.side_mm * MM_M), 0.0 * behind)
    gain = (jet_speed / speed) ** 2
    ratio = 1.0 - share + share * gain

    # Tail lift of the neutral elevator and what the elevator must add, as free-stream coefficients.
    tail_slope = lift_slope_per_rad(tail.aspect_ratio)
    neutral = tail_slope * ((1.0 - share) * (flow + setting) + share * gain * (rise + setting))
    plain = tail_slope * (flow + setting)
    coefficient = tail_lift / (pressure * tail_area)
    effect = tail_slope * elevator_effectiveness(geometry.elevator_chord_fraction) * ratio
    elevator = (coefficient - neutral) / effect

    solved = sound & np.isfinite(elevator)
    fields = {
        "airspeed_m_s": speed,
        "thrust_n": thrust,
        "tilt_deg": tilt_angle,
        "thrust_arm_mm": thrust_arm_m(height, ahead, tilt) / MM_M,
        "thrust_moment_nm": moment,
        "thrust_moment_coefficient": moment / (pressure * area * chord),
        "jet_moment_nm": -(neutral - plain) * pressure * tail_area * tail_arm,
        "wing_lift_coefficient": wing_lift_coefficient,
        "body_angle_deg": np.degrees(body),
        "tail_lift_n": tail_lift,
        "tail_lift_coefficient": coefficient,
        "tail_local_lift_coefficient": coefficient / ratio,
        "tail_pressure_ratio": ratio,
        "immersed_share": share,
        "jet_speed_m_s": jet_speed,
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
