"""The brief in sentences, and why a power train was chosen."""

import math
from typing import TYPE_CHECKING

from propmatch.checks.measures import Setting
from propmatch.records.sections import Phase
from propmatch.words.checkwords import check_name, limit_text, value_text
from propmatch.words.shown import Shown

if TYPE_CHECKING:
    from propmatch.search.candidate import Candidate

__all__ = ["brief_sentences", "train_reasons"]

_PREFERENCE = {
    "flight_time": "long flight", "thrust_to_weight": "thrust", "mass": "low mass", "top_speed": "top speed",
    "climb": "climb", "margin": "distance from the limits",
}  # fmt: skip


def brief_sentences(setting: Setting, shown: Shown) -> list[str]:
    """What the aircraft is and what it asks for."""
    brief, variant = setting.brief, setting.variant
    frame, limits, site = variant.airframe, brief.limits, brief.site
    first = (
        f"{brief.aircraft.name} weighs {shown.mass_text(frame.bare_mass_g)} without its power train, has "
        f"{frame.wing_area_dm2:g} dm² of wing on {frame.wing_span_mm:g} mm of span"
    )
    if variant.target_mass_g is not None:
        first += f", and may weigh {shown.mass_text(variant.target_mass_g)} in all"
    asked = []
    if limits.min_flight_minutes is not None:
        asked.append(f"{limits.min_flight_minutes:g} minutes of flight")
    if limits.min_thrust_to_weight is not None:
        asked.append(f"a static thrust of {limits.min_thrust_to_weight:g} of the weight")
    if limits.min_climb_m_s is not None:
        asked.append(f"a climb of {limits.min_climb_m_s:g} m/s")
    if limits.min_launch_thrust_to_weight is not None:
        asked.append(f"thrust of {limits.min_launch_thrust_to_weight:g} of the weight when it leaves the hand")
    wants = f"It asks for at least {_joined(asked)}" if asked else "It asks for no thrust, climb or time"
    if limits.max_propeller_diameter_in is not None:
        wants += f", with a propeller of at most {limits.max_propeller_diameter_in:g} inches"
    if limits.cells:
        wants += f", on {' or '.join(f'{c}S' for c in limits.cells)}"
    flown = "; ".join(_phase_words(phase, shown) for phase in brief.phase)
    warm = "" if site.temperature_c is None else f" at {site.temperature_c:g} °C"
    cutoff = "the usual cutoff of its cells"
    if limits.cutoff_cell_v is not None:
        cutoff = f"{limits.cutoff_cell_v:g} V a cell"
    where = (
        f"Flown as: {flown}. The field lies at {site.altitude_m:g} m{warm}; "
        f"the flight ends with {100 * (limits.reserve_charge or 0):.0f} % of the charge left or at {cutoff}."
    )
    weights = brief.prefer.weights
    total = sum(weights.values())
    liked = _joined([f"{_PREFERENCE[n]} ({100 * w / total:.0f} %)" if len(weights) > 1 else _PREFERENCE[n]
                     for n, w in weights.items()])  # fmt: skip
    return [f"{first}. {wants}.", where, f"Among what meets this, preferred: {liked}."]


def _phase_words(phase: Phase, shown: Shown) -> str:
    if phase.throttle == 0:
        how = "motor off"
    elif phase.throttle is not None:
        how = f"{100 * phase.throttle:.0f} % throttle"
    else:
        how = ""
    if phase.airspeed_m_s:
        how += (" at " if how else "") + shown.speed_text(phase.airspeed_m_s)
    if phase.climb_m_s:
        how += f", {'climbing' if phase.climb_m_s > 0 else 'sinking'} {abs(phase.climb_m_s):g} m/s"
    if phase.load_factor != 1:
        how += f", load factor {phase.load_factor:g}"
    long = "the rest of the time, shared"
    if phase.seconds is not None:
        long = f"{phase.seconds:g} s"
    elif phase.to_height_m is not None:
        long = f"to {phase.to_height_m:g} m above the field"
    return f"{phase.name} ({how}; {long})"


def _joined(words: list[str]) -> str:
    return " and ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)


def train_reasons(candidate: "Candidate", shown: Shown) -> str:
    """Why a candidate is good, which limit binds it, and how it does in the other builds."""
    reasons = []
    for name, word in (("flight_time", "flies"), ("thrust_to_weight", "has a thrust to weight of"),
                       ("climb", "climbs")):  # fmt: skip
        check = candidate.check(name)
        if math.isfinite(check.limit):
            reasons.append(f"{word} {value_text(check.value, check.unit)} ({limit_text(check)} asked)")
    mass = candidate.check("all_up_mass")
    if math.isfinite(mass.limit):
        reasons.append(f"stays {shown.mass_text(mass.limit - mass.value)} below the target mass")
    text = f"{candidate.train.motor.name} with {candidate.train.propeller.name}"
    text += f" {_joined(reasons)}." if reasons else "."
    near = candidate.closest
    if near is not None:
        text += (
            f" Nearest to its limit is the {check_name(near.name)}: {value_text(near.value, near.unit)}, "
            f"{limit_text(near)}."
        )
    for variant, failing in candidate.failing_in.items():
        words = _joined([check_name(name) for name in failing])
        text += f" Build '{variant}': " + (f"misses {words}." if failing else "meets the brief on paper too.")
    return text
