"""The propeller while the motor is off: what it does by its family, and the drag areas of blades that do not turn.

Blade area of one blade is a family's share of the radius squared. Blades that stand across the stream have

    C_D = 0.1 + cos^2 beta    on their area, beta the blade angle at 0.7 of the radius

folded ones 0.04.

Source: stopped propellers: S. F. Hoerner, Fluid-Dynamic Drag, 1965 (value from memory).
"""

import math
from collections.abc import Sequence

from propmatch.faults import Fault
from propmatch.records.estimates import MEMORY, PRACTICE, Assumption
from propmatch.records.parts import MOTOR_OFF, PowerTrain, Propeller
from propmatch.records.sections import Phase
from propmatch.units import INCH_M

__all__ = [
    "BLADE_AREA",
    "CODES",
    "FOLDED_CD",
    "blade_area_m2",
    "folding_faults",
    "motor_off_notes",
    "motor_off_numbers",
    "stopped_cd",
    "taken",
]

CODES = {word: code for code, word in enumerate(MOTOR_OFF, start=1)}
"""The words as numbers from 1; 0 is no answer."""

BLADE_AREA = {
    "thin": (0.127, 0.10, 0.145),
    "thick": (0.120, 0.105, 0.145),
    "broad": (0.151, 0.13, 0.16),
    "folding": (0.115, 0.09, 0.14),
    "wide": (0.21, 0.16, 0.28),
    "racing": (0.115, 0.09, 0.15),
}
"""Area of one blade over the radius squared by family, with its range.

From the chords, 0.15 of the radius to the tip, of J. B. Brandt, R. W. Deters, G. K. Ananda, O. D. Dantsker, M. S.
Selig, UIUC Propeller Database, vols 1 and 2; which propellers belong to a family is our own reading, and folding blades
are taken as the narrow ones among them; racing blades are not among them: common practice, no published source.
"""
_ANY_AREA = (0.13, 0.09, 0.28)
_CHARACTERISTIC = 0.7
FOLDED_CD = 0.04
"""Drag of folded blades on their area: both sides at the 0.0094 of a laminar plate at a Reynolds number of 20 000 (H.
Blasius, 1908), doubled for hinges, roots and what does not lie flat: common practice, no published source."""
_FOLDED_RANGE = (0.02, 0.1)


def taken(train: PowerTrain) -> str:
    """What the propeller of a train does while the motor is off, a word of ``MOTOR_OFF``.

    Nothing said: folding blades fold, others windmill. Blades of a family that does not fold stand still where
    'folded' is asked for; those of no stated family are taken at the word.
    """
    asked = train.motor_off
    if asked is None:
        return "folded" if train.propeller.family == "folding" else "windmilling"
    return "stopped" if folding_faults(asked, train.propeller) else asked


def folding_faults(asked: str | None, propeller: Propeller) -> list[Fault]:
    """'folded' asked of a propeller of a family that does not fold."""
    if asked != "folded" or propeller.family in ("folding", None):
        return []
    others = ", ".join(word for word in MOTOR_OFF if word != "folded")
    rule = f"must be one of {others} with {propeller.name}, whose {propeller.family} blades do not fold, or left out"
    return [Fault("brief", "aircraft.motor_off", asked, rule)]


def blade_area_m2(propeller: Propeller) -> tuple[float, float, float]:
    """Area of all blades of one propeller by its family, and its range [m2]."""
    square = propeller.blades * (0.5 * propeller.diameter_in * INCH_M) ** 2
    middle, low, high = (square * share for share in BLADE_AREA.get(propeller.family or "", _ANY_AREA))
    return middle, low, high


def stopped_cd(pitch_to_diameter: float) -> float:
    """C_D = 0.1 + cos^2 beta on the blade area, tan beta = pitch/(0.7 pi diameter)."""
    return 0.1 + 1.0 / (1.0 + (pitch_to_diameter / (_CHARACTERISTIC * math.pi)) ** 2)


def motor_off_numbers(train: PowerTrain) -> dict[str, float]:
    """The columns that a propeller fills for flight with the motor off: code, drag area where it does not turn [m2]."""
    propeller, word = train.propeller, taken(train)
    cd = FOLDED_CD if word == "folded" else stopped_cd(propeller.pitch_in / propeller.diameter_in)
    return {"motor_off": CODES[word], "still_drag_m2": cd * blade_area_m2(propeller)[0]}


def motor_off_notes(train: PowerTrain, phases: Sequence[Phase]) -> tuple[Assumption, ...]:
    """What is to be said about a train that flies a phase with the motor off."""
    if all(phase.throttle != 0 for phase in phases):
        return ()
    propeller, word = train.propeller, taken(train)
    why = ""
    if train.motor_off is None:
        why = f", nothing else being said and the blades {'' if word == 'folded' else 'not '}folding; {PRACTICE}"
    elif train.motor_off != word:
        why = f": '{train.motor_off}' is asked for, but {propeller.family} blades do not fold"
    area, low, high = (1e4 * area for area in blade_area_m2(propeller))
    text = f"motor off: {MOTOR_OFF[word]}{why}; blade area {area:.3g} cm2 by family"
    made = [Assumption(propeller.name, "blade_area_cm2", area, "cm2", text, low, high)]
    if word == "folded":
        text = f"folded blades have a drag coefficient of {FOLDED_CD:g} on their area; {PRACTICE}"
        made.append(Assumption("motor off", "folded_cd", FOLDED_CD, "", text, *_FOLDED_RANGE))
        return tuple(made)
    cd = stopped_cd(propeller.pitch_in / propeller.diameter_in)
    text = f"blades that stand have a drag coefficient of {cd:.2f} on their area, 0.1 + cos^2 of their angle; {MEMORY}"
    made.append(Assumption("motor off", "stopped_cd", cd, "", text, 0.8 * cd, 1.3 * cd))
    if word == "windmilling":
        text = (
            "drag of a windmilling propeller is read past the end of its table, on straight lines: of 250 measured "
            f"sweeps cut at zero thrust 80 % came within a fifth; none was measured below zero torque: {PRACTICE}"
        )
        made.append(Assumption("motor off", "windmilling_drag_ratio", 1.0, "", text, 0.7, 1.5))
    return tuple(made)
