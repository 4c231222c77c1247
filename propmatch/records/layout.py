"""Where things sit in the aircraft: the records a brief may give for balance and thrust line.

Positions run along the fuselage in mm from a datum the designer chooses (nose, firewall, wing leading edge), positive
aft. Heights are in mm from one level line through the side view, positive up; where a line has no height and
`Balance.cg_height_mm` is not stated, that line is taken to run through the centre of gravity. Angles are in degrees
against the same level line. Who has no datum measures from the centre of gravity and states ``target_cg_mm = 0``.
"""

from propmatch.records.fields import Rule, not_below, number, record
from propmatch.records.masses import Item, Structure

__all__ = ["Balance", "Item", "Structure", "Tail", "ThrustLine"]


@record(
    rules=(
        not_below("pack_tray_to_mm", "pack_tray_from_mm"),
        Rule(
            ("pack_tray_from_mm", "pack_tray_to_mm"),
            lambda start, end: (start is None) != (end is None),
            "give both ends of the pack tray, or neither",
        ),
    )
)
class Balance:
    """The designer's balance: the wanted centre of gravity, the places of the power train, the wing's place.

    Without places the propeller sits on the thrust line's disk, the motor with it, the controller midway between motor
    and target; what else is None is assumed, and said so.
    """

    target_cg_mm: float = number("mm", ge=-10_000, le=10_000, doc="wanted centre of gravity, aft of the datum")
    cg_tolerance_mm: float | None = number(
        "mm", gt=0, le=500, default=None, doc="allowed miss of the target, either way"
    )
    cg_height_mm: float | None = number(
        "mm",
        ge=-5_000,
        le=5_000,
        default=None,
        doc="height of the centre of gravity where not every line has a height; 0: heights start from it",
    )
    bare_cg_mm: float | None = number(
        "mm", ge=-10_000, le=10_000, default=None, doc="centre of gravity of everything but the power train"
    )
    pack_tray_from_mm: float | None = number(
        "mm", ge=-10_000, le=10_000, default=None, doc="foremost place of the pack's centre"
    )
    pack_tray_to_mm: float | None = number(
        "mm", ge=-10_000, le=10_000, default=None, doc="rearmost place of the pack's centre"
    )
    pack_height_mm: float | None = number("mm", ge=-5_000, le=5_000, default=None, doc="height of the pack's centre")
    motor_mm: float | None = number("mm", ge=-10_000, le=10_000, default=None, doc="place of the motor")
    propeller_mm: float | None = number("mm", ge=-10_000, le=10_000, default=None, doc="place of the propeller")
    controller_mm: float | None = number("mm", ge=-10_000, le=10_000, default=None, doc="place of the controller")
    controller_height_mm: float | None = number(
        "mm", ge=-5_000, le=5_000, default=None, doc="height of the controller; default that of the pack"
    )
    bare_height_mm: float | None = number(
        "mm", ge=-5_000, le=5_000, default=None, doc="height of the centre of gravity of everything but the power train"
    )
    nose_ballast_mm: float | None = number("mm", ge=-10_000, le=10_000, default=None, doc="place for nose ballast")
    tail_ballast_mm: float | None = number("mm", ge=-10_000, le=10_000, default=None, doc="place for tail ballast")
    leading_edge_mm: float | None = number(
        "mm", ge=-10_000, le=10_000, default=None, doc="leading edge of the mean chord"
    )
    chord_mm: float | None = number("mm", gt=0, le=5_000, default=None, doc="mean chord; default wing area over span")
    wing_incidence_deg: float | None = number(
        "deg", ge=-20, le=20, default=None, doc="wing chord against the level line"
    )
    wing_height_mm: float | None = number(
        "mm", ge=-5_000, le=5_000, default=None, doc="wing at its quarter chord, above the level line"
    )
    wing_zero_lift_angle_deg: float | None = number(
        "deg", ge=-15, le=5, default=None, doc="angle of attack of the wing section without lift"
    )
    wing_moment_coefficient: float | None = number(
        ge=-0.5,
        le=0.5,
        default=None,
        doc="pitching moment of wing and body about the quarter chord; cambered sections -0.03 to -0.1",
    )


@record()
class Tail:
    """The horizontal tail; a V-tail by its area and span seen from above. What is None is assumed, and said so."""

    area_dm2: float = number("dm2", gt=0, le=1_000, doc="area seen from above")
    span_mm: float = number("mm", gt=0, le=10_000, doc="span")
    position_mm: float = number("mm", ge=-10_000, le=10_000, doc="its quarter chord, aft of the datum")
    height_mm: float | None = number("mm", ge=-5_000, le=5_000, default=None, doc="above the level line")
    incidence_deg: float | None = number(
        "deg", ge=-20, le=20, default=None, doc="tail chord against the level line, leading edge up positive"
    )
    zero_lift_angle_deg: float | None = number(
        "deg",
        ge=-15,
        le=15,
        default=None,
        doc="angle of attack of the tail section without lift; 0: symmetrical or flat",
    )
    elevator_chord_fraction: float | None = number(
        gt=0, le=1, default=None, doc="elevator chord over tail chord; 1: all-moving"
    )
    lift_slope_per_rad: float | None = number(
        "1/rad", gt=0, le=6.3, default=None, doc="lift coefficient per angle of attack; default by its aspect ratio"
    )
    elevator_effectiveness: float | None = number(
        gt=0, le=1, default=None, doc="tail angle worth one elevator angle, measured; default by the elevator's chord"
    )
    downwash_gradient: float | None = number(
        ge=0, lt=1, default=None, doc="turn of the air at the tail per angle of attack of the wing"
    )

    @property
    def aspect_ratio(self) -> float:
        """span^2/area [-]."""
        return self.span_mm**2 / (self.area_dm2 * 1e4)


@record()
class ThrustLine:
    """Where the propeller pulls or pushes; positive tilt is a tractor's down thrust, and the jet rises behind it."""

    height_mm: float = number("mm", ge=-5_000, le=5_000, doc="propeller centre above the level line")
    position_mm: float = number("mm", ge=-10_000, le=10_000, doc="propeller disk, aft of the datum")
    tilt_deg: float = number("deg", ge=-30, le=30, default=0.0, doc="positive: thrust points down, nose-down shaft")
    side_mm: float = number("mm", ge=0, le=5_000, default=0.0, doc="each of two propellers from the centre line")
