"""Receiver, servos and payload: what they draw from the pack, and what feeds them."""

from propmatch.records.fields import choice, integer, number, record

__all__ = [
    "RECEIVER_CURRENT_A",
    "SERVOS",
    "SERVO_CURRENT_A",
    "SUPPLY_G",
    "SUPPLY_G_PER_A",
    "Radio",
    "separate_supply_g",
    "usual_radio_a",
]

RECEIVER_CURRENT_A = (0.05, 0.03, 0.10)
"""Mean current of a receiver, and the range it is expected in [A]: common practice, no published source."""
SERVOS = 3
SERVO_CURRENT_A = {"micro": (0.05, 0.02, 0.15), "mini": (0.10, 0.04, 0.30), "standard": (0.20, 0.08, 0.50)}
"""Mean current of one servo over a flight by size, up to about 10, 25 and 50 g, and its range [A]: the same."""

SUPPLY_G, SUPPLY_G_PER_A = 3.0, 4.0
"""Law of :func:`separate_supply_g`."""


@record()
class Radio:
    """What receiver, servos and payload draw from the pack, by item; what is None is estimated, and said so."""

    receiver_current_a: float | None = number("A", ge=0, le=5, default=None, doc="receiver, with its telemetry")
    servos: int | None = integer(ge=0, le=24, default=None, doc="number of servos")
    servo_size: str | None = choice(
        tuple(SERVO_CURRENT_A), default=None, doc="micro: up to about 10 g each, mini: 25 g, standard: 50 g"
    )
    servo_current_a: float | None = number(
        "A", ge=0, le=1, default=None, doc="mean current of one servo over a flight; by its size if left out"
    )
    payload_current_a: float | None = number(
        "A", ge=0, le=20, default=None, doc="camera, logger, lights: what else the pack feeds"
    )

    @property
    def current_a(self) -> float:
        """The sum of what is known [A]."""
        servos_a = (self.servos or 0) * (self.servo_current_a or 0.0)
        return (self.receiver_current_a or 0.0) + servos_a + (self.payload_current_a or 0.0)


def usual_radio_a() -> tuple[float, float, float]:
    """What a receiver and three micro servos draw, and its range [A]."""
    each = zip(RECEIVER_CURRENT_A, SERVO_CURRENT_A["micro"], strict=True)
    value, low, high = (round(receiver + SERVOS * servo, 9) for receiver, servo in each)
    return value, low, high


def separate_supply_g(radio_current_a: float) -> float:
    """Mass with leads of a separate supply (BEC) for this mean current: 3 g and 4 g per ampere.

    A small switching supply bears several times the mean, for servos that move at once: common practice, no published
    source.
    """
    return SUPPLY_G + SUPPLY_G_PER_A * radio_current_a
