"""What instruments are worth: the error that all rows share, resolution, and the scatter of one row.

Gains multiply what the model says, not what was read: else every gain below 1 pays.

Sources: gains: G. D'Agostini, NIM A 346, 1994, 306; all figures: common practice, no published source.
"""

from collections.abc import Iterable, Mapping

import attrs

from propmatch.faults import Fault, InputFaults, did_you_mean

__all__ = ["INSTRUMENTS", "USUAL", "Instrument", "instruments_of"]


@attrs.frozen(kw_only=True)
class Instrument:
    """How far one quantity can be trusted.

    Attributes
    ----------
    gain : float
        sd of ln of the factor that all rows share.
    zero : float
        sd of the offset that all rows share, in the quantity's unit.
    resolution : float
        Smallest step shown.
    noise : float
        Relative sd of one row.
    """

    gain: float
    zero: float = 0.0
    resolution: float = 0.0
    noise: float = 0.0


INSTRUMENTS: dict[str, dict[str, Instrument]] = {
    "wattmeter": {
        "volts": Instrument(gain=0.007, resolution=0.01, noise=0.0005),
        "amps": Instrument(gain=0.015, zero=0.03, resolution=0.1, noise=0.003),
    },
    "clamp": {
        "volts": Instrument(gain=0.005, resolution=0.01, noise=0.0005),
        "amps": Instrument(gain=0.025, zero=0.1, resolution=0.1, noise=0.005),
    },
    "bench supply": {
        "volts": Instrument(gain=0.003, resolution=0.01, noise=0.0005),
        "amps": Instrument(gain=0.005, zero=0.01, resolution=0.01, noise=0.003),
    },
    "optical tachometer": {"rpm": Instrument(gain=0.0005, resolution=10.0, noise=0.0005)},
    "kitchen scale": {"thrust_gf": Instrument(gain=0.01, resolution=1.0, noise=0.01)},
    "torque arm": {"torque_nm": Instrument(gain=0.02, resolution=0.0005, noise=0.01)},
}
"""Class of instrument to what it reads."""
USUAL = ("wattmeter", "optical tachometer", "kitchen scale", "torque arm")


def instruments_of(names: str | Iterable[str]) -> tuple[tuple[str, ...], Mapping[str, Instrument]]:
    """The classes named (a text has commas between), the usual ones for what they do not read, and each quantity's.

    Raises
    ------
    InputFaults
        Every class that nobody knows.
    """
    words = names.split(",") if isinstance(names, str) else names
    asked = [word.strip().lower() for word in words if word.strip()]
    faults = [
        Fault("instruments", value=word, rule="must be one of " + ", ".join(INSTRUMENTS),
              hint=did_you_mean(word, INSTRUMENTS))
        for word in asked if word not in INSTRUMENTS
    ]  # fmt: skip
    if faults:
        raise InputFaults(faults)
    by_quantity: dict[str, Instrument] = {}
    used = []
    for name in (*asked, *USUAL):
        new = {key: each for key, each in INSTRUMENTS[name].items() if key not in by_quantity}
        by_quantity |= new
        used += [name] if new else []
    return tuple(used), by_quantity
