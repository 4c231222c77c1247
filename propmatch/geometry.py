"""The side view with every gap filled: what the brief states, and stated assumptions for what it does not."""

from typing import Any

import attrs

from propmatch.estimates import MEMORY, PRACTICE, Assumption
from propmatch.layout import Balance, Tail, ThrustLine
from propmatch.parts import aspect_ratio

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
        cls, airframe: Any, balance: Balance, *, tail: Tail | None = None, thrust_line: ThrustLine | None = None
    ) -> "Geometry":
        """Take wing area and span from an `Airframe`."""
        return cls(
            wing_area_dm2=airframe.wing_area_dm2, wing_span_mm=airframe.wing_span_mm,
            balance=balance, tail=tail, thrust_line=thrust_line,
        )  # fmt: skip

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
    def assumptions(self) -> tuple[Assumption, ...]:
        """Every number above that the brief does not state."""
        balance, tail, thrust_line = self.balance, self.tail, self.thrust_line
        found: list[Assumption] = []

        def note(subject: str, field: str, stated: Any, unit: str, text: str) -> None:
            if stated is None:
                found.append(Assumption(subject, field, float(getattr(self, field)), unit, text))

        note(
            "balance",
            "cg_tolerance_mm",
            balance.cg_tolerance_mm,
            "mm",
            f"the centre of gravity may miss its target by {CG_TOLERANCE_MM:g} mm ({PRACTICE})",
        )
        if tail is not None or thrust_line is not None:
            note("balance", "chord_mm", balance.chord_mm, "mm", "mean chord taken as wing area over span")
            note(
                "balance",
                "leading_edge_mm",
                balance.leading_edge_mm,
                "mm",
                f"leading edge placed so that the target centre of gravity is at {CG_SHARE_OF_CHORD:.0%} of the "
                f"mean chord ({PRACTICE})",
            )
        if thrust_line is not None:
            note(
                "balance",
                "cg_height_mm",
                balance.cg_height_mm,
                "mm",
                "heights are taken to start from the centre of gravity",
            )
        if tail is not None and thrust_line is not None:
            note(
                "balance",
                "wing_incidence_deg",
                balance.wing_incidence_deg,
                "deg",
                "wing chord taken as level with the fuselage",
            )
            note(
                "balance",
                "wing_zero_lift_angle_deg",
                balance.wing_zero_lift_angle_deg,
                "deg",
                f"wing section without lift at {ZERO_LIFT_ANGLE_DEG:g} degrees, moderate camber ({MEMORY})",
            )
            note(
                "balance",
                "wing_moment_coefficient",
                balance.wing_moment_coefficient,
                "",
                f"pitching moment coefficient {WING_MOMENT_COEFFICIENT:g}, moderate camber ({MEMORY}); it does not "
                "change with throttle",
            )
            note("tail", "tail_height_mm", tail.height_mm, "mm", "tail taken to sit on the level line")
            note("tail", "tail_incidence_deg", tail.incidence_deg, "deg", "tail taken as level with the fuselage")
            note(
                "tail",
                "tail_zero_lift_angle_deg",
                tail.zero_lift_angle_deg,
                "deg",
                "tail section taken as flat or symmetrical",
            )
            note(
                "tail",
                "elevator_chord_fraction",
                tail.elevator_chord_fraction,
                "",
                f"elevator taken as {ELEVATOR_CHORD_FRACTION:.0%} of the tail chord ({PRACTICE})",
            )
        return tuple(found)  # fmt: skip


def _or(stated: float | None, assumed: float) -> float:
    return assumed if stated is None else stated
