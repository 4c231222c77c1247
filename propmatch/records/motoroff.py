"""The propeller while the motor is off: what it does by its family, and the drag areas of blades that do not turn.

Blade area of one blade is a family's share of the radius squared. Blades that stand across the stream have

    C_D = 0.1 + cos^2 beta    on their area, beta the blade angle at 0.7 of the radius

(S. F. Hoerner, Fluid-Dynamic Drag, 1965, stopped propellers; value from memory), folded ones a flat 0.04.
"""

import math

from propmatch.records.estimates import MEMORY, PRACTICE, Assumption
from propmatch.records.parts import MOTOR_OFF, PowerTrain, Propeller
from propmatch.units import INCH_M

__all__ = ["CODES", "FOLDED_CD", "blade_area_m2", "motor_off_notes", "motor_off_numbers", "stopped_cd", "taken"]

CODES = {word: code for code, word in enumerate(MOTOR_OFF, start=1)}
"""The words as numbers from 1; 0 is no answer."""

BLADE_AREA = {
    "thin": (0.127, 0.10, 0.145),
    "thick": (0.120, 0.105, 0.145),
    "broad": (0.151, 0.13, 0.16),
    "folding": (0.115, 0.09, 0.14),
    "wide": (0.225, 0.16, 0.28),
}
"""Area of one blade over the radius squared by family, with its range.

From the chords in J. B. Brandt, R. W. Deters, G. K. Ananda, O. D. Dantsker, M. S. Selig, UIUC Propeller Database, vols
1 and 2, 0.15 of the radius to the tip; which of them belong to a family is our own reading. Folding: of narrow blades.
"""
_ANY_AREA = (0.13, 0.09, 0.28)
_CHARACTERISTIC = 0.7
FOLDED_CD = 0.04
"""Drag of folded blades on their area: both sides at the 0.0094 of a laminar plate at a Reynolds number of 20 000 (H.
Blasius, 1908), doubled for hinges, roots and what does not lie flat: common practice, no published source."""


def taken(train: PowerTrain) -> str:
    """What the propeller of a train does while the motor is off, one of the words.

    Nothing said: folding blades fold, others windmill. Blades of a family that does not fold stand still where
    'folded' is asked for; those of no stated family fold.
    """
    family, asked = train.propeller.family, train.motor_off
    if asked is None:
        return "folded" if family == "folding" else "windmilling"
    return "stopped" if asked == "folded" and family not in ("folding", None) else asked


def blade_area_m2(propeller: Propeller, share: float | None = None) -> float:
    """Area of all blades of one propeller [m2], by its family or with a blade area over radius squared."""
    if share is None:
        share = BLADE_AREA.get(propeller.family or "", _ANY_AREA)[0]
    return propeller.blades * share * (0.5 * propeller.diameter_in * INCH_M) ** 2


def stopped_cd(pitch_to_diameter: float) -> float:
    """C_D = 0.1 + cos^2 beta on the blade area, tan beta = pitch/(0.7 pi diameter)."""
    return 0.1 + 1.0 / (1.0 + (pitch_to_diameter / (_CHARACTERISTIC * math.pi)) ** 2)


def motor_off_numbers(train: PowerTrain) -> dict[str, float]:
    """The columns that a propeller fills for flight with the motor off: code, drag area stopped or folded [m2]."""
    propeller, word = train.propeller, taken(train)
    cd = FOLDED_CD if word == "folded" else stopped_cd(propeller.pitch_in / propeller.diameter_in)
    return {"motor_off": CODES[word], "still_drag_m2": cd * blade_area_m2(propeller)}


def motor_off_notes(train: PowerTrain) -> tuple[Assumption, ...]:
    """What is to be said about a train that flies with the motor off."""
    propeller, word = train.propeller, taken(train)
    _, low, high = BLADE_AREA.get(propeller.family or "", _ANY_AREA)
    area, low, high = (1e4 * x for x in (blade_area_m2(propeller), *(blade_area_m2(propeller, x) for x in (low, high))))
    why = ""
    if train.motor_off is None:
        why = f", nothing being said of it; {PRACTICE}"
    elif train.motor_off != word:
        why = f": '{train.motor_off}' needs folding blades, these are {propeller.family}"
    basis = (
        f"folded blades have {FOLDED_CD:g} of drag on it; {PRACTICE}" if word == "folded"
        else f"blades that stand have 0.1 + cos^2 of the blade angle on it; {MEMORY}"
    )  # fmt: skip
    text = f"motor off: {MOTOR_OFF[word]}{why}. Blade area {area:.3g} cm2 by family; {basis}"
    return (Assumption(propeller.name, "blade_area_cm2", area, "cm2", text, low, high),)
