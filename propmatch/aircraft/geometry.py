"""The side view with every gap filled: what the brief states, and stated assumptions for what it does not.

Source: none needed, definitions.
"""

import attrs

from propmatch.models.liftingsurface import downwash_gradient, elevator_effectiveness, lift_slope_per_rad
from propmatch.records.body import common_line
from propmatch.records.estimates import MEMORY, PRACTICE, Assumption
from propmatch.records.layout import Balance, Tail, ThrustLine
from propmatch.records.parts import Airframe, aspect_ratio
from propmatch.records.sections import Brief
from propmatch.units import percent

__all__ = ["Geometry"]

CG_TOLERANCE_MM = 3.0
CG_SHARE_OF_CHORD = 0.30
ZERO_LIFT_ANGLE_DEG = -3.0
WING_MOMENT_COEFFICIENT = -0.05
ELEVATOR_CHORD_FRACTION = 0.3


@attrs.frozen(kw_only=True)
class Geometry:
    """Wing, balance, tail and thrust line of one aircraft; lengths in mm as in the brief.

    Attributes
    ----------
    wing_area_dm2, wing_span_mm : float
    balance : Balance
    tail : Tail or None
    thrust_line : ThrustLine or None

    The other attributes are numbers ready for use: the stated one, or an assumption listed in `assumptions`.
    """

    wing_area_dm2: float
    wing_span_mm: float
    balance: Balance
    tail: Tail | None = None
    thrust_line: ThrustLine | None = None

    @classmethod
    def of(
        cls, airframe: Airframe, balance: Balance, *, tail: Tail | None = None, thrust_line: ThrustLine | None = None
    ) -> "Geometry":
        """Take wing area and span from an `Airframe`."""
        return cls(
            wing_area_dm2=airframe.wing_area_dm2, wing_span_mm=airframe.wing_span_mm,
            balance=balance, tail=tail, thrust_line=thrust_line,
        )  # fmt: skip

    @classmethod
    def of_brief(cls, brief: Brief, airframe: Airframe) -> "Geometry | None":
        """The geometry of a brief in one of its variants; None when it has no ``[balance]``."""
        if brief.balance is None:
            return None
        line = common_line(brief.thrust_line, brief.motor_place)
        return cls.of(airframe, brief.balance, tail=brief.tail, thrust_line=line)

    @property
    def aspect_ratio(self) -> float:
        """Wing span^2/area [-]."""
        return aspect_ratio(self.wing_span_mm, self.wing_area_dm2)

    @property
    def chord_mm(self) -> float:
        """Mean chord."""
        stated = self.balance.chord_mm
        return self.wing_area_dm2 * 1e4 / self.wing_span_mm if stated is None else stated

    @property
    def leading_edge_mm(self) -> float:
        """Leading edge of the mean chord, aft of the datum."""
        stated = self.balance.leading_edge_mm
        return self.balance.target_cg_mm - CG_SHARE_OF_CHORD * self.chord_mm if stated is None else stated

    @property
    def aerodynamic_centre_mm(self) -> float:
        """Quarter chord of the mean chord, aft of the datum."""
        return self.leading_edge_mm + 0.25 * self.chord_mm

    @property
    def propeller_mm(self) -> float | None:
        """Place of the propeller; None when neither it nor the thrust line nor the motor has one."""
        line = None if self.thrust_line is None else self.thrust_line.position_mm
        stated = self.balance.propeller_mm
        return next((each for each in (stated, line, self.balance.motor_mm) if each is not None), None)

    @property
    def motor_mm(self) -> float | None:
        """Place of the motor."""
        return self.propeller_mm if self.balance.motor_mm is None else self.balance.motor_mm

    @property
    def controller_mm(self) -> float | None:
        """Place of the controller."""
        if self.balance.controller_mm is not None or self.motor_mm is None:
            return self.balance.controller_mm
        return (self.motor_mm + self.balance.target_cg_mm) / 2

    @property
    def thrust_height_mm(self) -> float | None:
        """Height of motor and propeller; None without a thrust line."""
        return None if self.thrust_line is None else self.thrust_line.height_mm

    @property
    def controller_height_mm(self) -> float | None:
        """Height of the controller, by default that of the pack."""
        stated = self.balance.controller_height_mm
        return self.balance.pack_height_mm if stated is None else stated

    @property
    def cg_tolerance_mm(self) -> float:
        """Allowed miss of the target."""
        return _or(self.balance.cg_tolerance_mm, CG_TOLERANCE_MM)

    @property
    def cg_height_mm(self) -> float:
        """Height of the centre of gravity above the level line."""
        return _or(self.balance.cg_height_mm, 0.0)

    @property
    def wing_incidence_deg(self) -> float:
        """Wing chord against the level line."""
        return _or(self.balance.wing_incidence_deg, 0.0)

    @property
    def wing_zero_lift_angle_deg(self) -> float:
        """Angle of attack of the wing section without lift."""
        return _or(self.balance.wing_zero_lift_angle_deg, ZERO_LIFT_ANGLE_DEG)

    @property
    def wing_moment_coefficient(self) -> float:
        """Pitching moment coefficient of wing and body about the quarter chord."""
        return _or(self.balance.wing_moment_coefficient, WING_MOMENT_COEFFICIENT)

    @property
    def tail_height_mm(self) -> float:
        """Tail above the level line."""
        return 0.0 if self.tail is None else _or(self.tail.height_mm, 0.0)

    @property
    def tail_incidence_deg(self) -> float:
        """Tail chord against the level line."""
        return 0.0 if self.tail is None else _or(self.tail.incidence_deg, 0.0)

    @property
    def tail_zero_lift_angle_deg(self) -> float:
        """Angle of attack of the tail section without lift."""
        return 0.0 if self.tail is None else _or(self.tail.zero_lift_angle_deg, 0.0)

    @property
    def elevator_chord_fraction(self) -> float:
        """Elevator chord over tail chord."""
        return (
            ELEVATOR_CHORD_FRACTION
            if self.tail is None
            else _or(self.tail.elevator_chord_fraction, ELEVATOR_CHORD_FRACTION)
        )

    @property
    def wing_height_mm(self) -> float:
        """Wing above the level line, where the jet passes it."""
        return _or(self.balance.wing_height_mm, 0.0)

    @property
    def tail_lift_slope_per_rad(self) -> float:
        """Lift of the tail per angle; NaN without a tail."""
        if self.tail is None:
            return float("nan")
        return _or(self.tail.lift_slope_per_rad, float(lift_slope_per_rad(self.tail.aspect_ratio)))

    @property
    def elevator_effectiveness(self) -> float:
        """Tail angle per elevator angle."""
        stated = None if self.tail is None else self.tail.elevator_effectiveness
        return _or(stated, float(elevator_effectiveness(self.elevator_chord_fraction)))

    @property
    def downwash_gradient(self) -> float:
        """Turn of the air at the tail per angle of attack of the wing."""
        stated = None if self.tail is None else self.tail.downwash_gradient
        return _or(stated, float(downwash_gradient(lift_slope_per_rad(self.aspect_ratio), self.aspect_ratio)))

    @property
    def assumptions(self) -> tuple[Assumption, ...]:
        """Every number above that the brief does not state and that balance, margin or trim may rest on."""
        tail, line = self.tail is not None, self.thrust_line is not None
        wanted = (
            _PLACES + (_CHORD if tail or line else ()) + (_SLOPES if tail else ()) + (_HEIGHT if line else ())
            + (_TRIM if tail and line else ())
        )  # fmt: skip
        found = []
        for subject, field, name, unit, text in wanted:
            value = getattr(self, name)
            given = getattr(self, subject)
            if getattr(given, field) is None and value is not None and not _given_otherwise(given, field):
                found.append(Assumption(subject, field, float(value), unit, text))
        return tuple(found)


_PLACES = (
    ("balance", "cg_tolerance_mm", "cg_tolerance_mm", "mm",
     f"the centre of gravity may miss its target by {CG_TOLERANCE_MM:g} mm; {PRACTICE}"),
    ("balance", "motor_mm", "motor_mm", "mm", "the motor sits with the propeller"),
    ("balance", "controller_mm", "controller_mm", "mm",
     f"the controller sits midway between motor and target centre of gravity; {PRACTICE}"),
)  # fmt: skip
_CHORD = (
    ("balance", "chord_mm", "chord_mm", "mm", "mean chord is wing area over span"),
    ("balance", "leading_edge_mm", "leading_edge_mm", "mm",
     f"the target centre of gravity lies at {percent(CG_SHARE_OF_CHORD)} of the mean chord; {PRACTICE}"),
)  # fmt: skip
_SLOPES = (
    ("tail", "lift_slope_per_rad", "tail_lift_slope_per_rad", "1/rad",
     "the lift slope of the tail follows from its aspect ratio (Helmbold 1942)"),
    ("tail", "downwash_gradient", "downwash_gradient", "",
     "the downwash at the tail is that far behind an elliptically loaded wing, an upper estimate"),
)  # fmt: skip
_HEIGHT = (
    ("balance", "controller_height_mm", "controller_height_mm", "mm", "the controller sits as high as the pack"),
    ("balance", "cg_height_mm", "cg_height_mm", "mm", "heights start from the centre of gravity"),
)
_TRIM = (
    ("balance", "wing_incidence_deg", "wing_incidence_deg", "deg", "the wing chord is level with the fuselage"),
    ("balance", "wing_zero_lift_angle_deg", "wing_zero_lift_angle_deg", "deg",
     f"the wing section has no lift at {ZERO_LIFT_ANGLE_DEG:g} degrees, moderate camber; {MEMORY}"),
    ("balance", "wing_moment_coefficient", "wing_moment_coefficient", "",
     f"pitching moment coefficient {WING_MOMENT_COEFFICIENT:g}, moderate camber; {MEMORY}; same at every throttle"),
    ("balance", "wing_height_mm", "wing_height_mm", "mm", "the wing sits on the level line"),
    ("tail", "height_mm", "tail_height_mm", "mm", "the tail sits on the level line"),
    ("tail", "incidence_deg", "tail_incidence_deg", "deg", "the tail is level with the fuselage"),
    ("tail", "zero_lift_angle_deg", "tail_zero_lift_angle_deg", "deg", "the tail section is flat or symmetrical"),
    ("tail", "elevator_chord_fraction", "elevator_chord_fraction", "",
     f"the elevator has {percent(ELEVATOR_CHORD_FRACTION)} of the tail chord; {PRACTICE}"),
    ("tail", "elevator_effectiveness", "elevator_effectiveness", "",
     "an elevator angle turns the tail as on a thin section with a sealed gap (Glauert, R&M 1095); real hinges reach "
     f"80 to 90 % of it ({MEMORY})"),
)  # fmt: skip


def _given_otherwise(given: Balance | Tail, field: str) -> bool:
    """Whether a stated effectiveness makes the elevator's chord needless."""
    return field == "elevator_chord_fraction" and isinstance(given, Tail) and given.elevator_effectiveness is not None


def _or(stated: float | None, assumed: float) -> float:
    return assumed if stated is None else stated
