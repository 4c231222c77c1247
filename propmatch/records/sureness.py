"""How sure the numbers of a brief are, and what an odd choice costs in the ranking."""

from propmatch.records.fields import number, record

__all__ = ["Practice", "Uncertainty"]


@record(hints={"accessor": "did you mean radio?"})
class Uncertainty:
    """Relative standard uncertainty of what the brief says about the aircraft; left out: that of a usual estimate."""

    bare_mass: float | None = number(ge=0, le=1, default=None, doc="of the bare mass")
    drag: float | None = number(ge=0, le=1, default=None, doc="of the zero-lift drag, in all phases alike")
    induced_drag: float | None = number(ge=0, le=1, default=None, doc="of the span efficiency")
    lift: float | None = number(ge=0, le=1, default=None, doc="of the highest lift coefficient")
    installed_thrust: float | None = number(ge=0, le=1, default=None, doc="of the share of thrust left")
    radio: float | None = number(ge=0, le=1, default=None, doc="of what receiver, servos and payload draw")
    air_density: float | None = number(ge=0, le=1, default=None, doc="of the density of the air at the field")


@record()
class Practice:
    """What choices cost that are usual nowhere: share of the score that each takes away at most, 0 for nothing."""

    large_controller: float = number(
        ge=0, le=1, default=0.05, doc="a controller rated for more than twice the current it carries"
    )
    slow_pitch_speed: float = number(
        ge=0, le=1, default=0.05, doc="a pitch speed at rest below 2.5 times the stall speed"
    )
    motor_load: float = number(ge=0, le=1, default=0.05, doc="a motor loaded below 30 % or above 90 % of its rating")
