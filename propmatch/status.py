"""The one vocabulary of failure: a status for each lane, and flags for answers that need a remark."""

from enum import IntEnum, IntFlag

__all__ = ["Flag", "Status", "StatusError"]


class Status(IntEnum):
    """What became of one lane. Only ``OK`` and ``OFF`` carry numbers; every other status comes with NaN."""

    OK = 0
    OFF = 1
    BAD_INPUT = 2
    CANNOT_TURN = 3
    NO_SOLUTION = 4
    NOT_CONVERGED = 5
    CANNOT_HOLD = 6
    BELOW_IDLE = 7
    BELOW_STALL = 8

    @property
    def meaning(self) -> str:
        """One sentence for the reader."""
        return _MEANING[self]


_MEANING = {
    Status.OK: "solved",
    Status.OFF: "motor off: only radio and payload draw current",
    Status.BAD_INPUT: "an input of this lane is out of range or not finite",
    Status.CANNOT_TURN: "the voltage does not even cover the no-load current: the motor cannot turn",
    Status.NO_SOLUTION: "no steady speed balances motor and propeller torque here",
    Status.NOT_CONVERGED: "the search for the operating point did not settle",
    Status.CANNOT_HOLD: "the power train cannot hold this thrust, even at full throttle",
    Status.BELOW_IDLE: "less than no power is needed: the airstream drives the propeller",
    Status.BELOW_STALL: "slower than the stall speed: the wing cannot carry this load",
}


class Flag(IntFlag):
    """Remarks on a solved lane: where the answer rests on a held or continued table, or on a reversed flow."""

    NONE = 0
    RPM_BELOW_TABLE = 1
    RPM_ABOVE_TABLE = 2
    ADVANCE_RATIO_BEYOND_TABLE = 4
    REGENERATING = 8
    TIP_MACH_HIGH = 16

    @property
    def remarks(self) -> tuple[str, ...]:
        """One sentence for each flag set."""
        return tuple(text for flag, text in _REMARK.items() if self & flag)


_REMARK = {
    Flag.RPM_BELOW_TABLE: "rpm below the coefficient table: its lowest curve is held",
    Flag.RPM_ABOVE_TABLE: "rpm above the coefficient table: its highest curve is held",
    Flag.ADVANCE_RATIO_BEYOND_TABLE: "advance ratio beyond the coefficient table: continued with its last slope",
    Flag.REGENERATING: "the airstream drives the motor: current flows back, outside the motor model's range",
    Flag.TIP_MACH_HIGH: "blade tips above Mach 0.8: the coefficients do not know compressibility",
}


class StatusError(RuntimeError):
    """Raised by ``raise_for_status`` when a lane has no answer."""
