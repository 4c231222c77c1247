"""The brief in sentences."""

from propmatch.checks.measures import Setting
from propmatch.records.brief import ResolvedVariant
from propmatch.records.sections import Phase
from propmatch.words.shown import Shown

__all__ = ["brief_sentences"]

_PREFERENCE = {
    "flight_time": "long flight", "thrust_to_weight": "thrust", "mass": "low mass", "top_speed": "top speed",
    "climb": "climb", "margin": "margin",
}  # fmt: skip


def brief_sentences(setting: Setting, shown: Shown) -> list[str]:
    """What the aircraft is and what it asks for."""
    brief, variant = setting.brief, setting.variant
    frame, limits, site = variant.airframe, brief.limits, brief.site
    first = f"Without its power train it weighs {shown.mass_text(frame.bare_mass_g)}; {_wing(variant, shown)}"
    if variant.target_mass_g is not None:
        first += f"; at most {shown.mass_text(variant.target_mass_g)} in all"
    asked = []
    if limits.min_flight_minutes is not None:
        asked.append(f"{limits.min_flight_minutes:g} minutes of flight")
    if limits.min_thrust_to_weight is not None:
        asked.append(f"static thrust of {limits.min_thrust_to_weight:g} of the weight")
    if limits.min_climb_m_s is not None:
        asked.append(f"a climb of {_stated(limits.min_climb_m_s, 'm/s', shown)}")
    if limits.min_launch_thrust_to_weight is not None:
        asked.append(f"thrust of {limits.min_launch_thrust_to_weight:g} of the weight when it leaves the hand")
    wants = f"Asked: at least {_joined(asked)}" if asked else "Asked: no thrust, climb or time"
    if limits.max_propeller_diameter_in is not None:
        wants += f", propeller at most {limits.max_propeller_diameter_in:g} in"
    if limits.cells:
        wants += f", on {' or '.join(f'{c}S' for c in limits.cells)}"
    flown = "; ".join(_phase_words(phase, shown) for phase in brief.phase)
    warm = "" if site.temperature_c is None else f" at {site.temperature_c:g} °C"
    cutoff = "the usual cutoff of its cells"
    if limits.cutoff_cell_v is not None:
        cutoff = f"{limits.cutoff_cell_v:g} V a cell"
    where = (
        f"Flown as: {flown}. Field at {_stated(site.altitude_m or 0.0, 'm', shown)}{warm}; "
        f"it ends with {100 * (limits.reserve_charge or 0):.0f} % charge left or at {cutoff}."
    )
    weights = brief.prefer.weights
    total = sum(weights.values())
    liked = _joined([f"{_PREFERENCE[n]} ({100 * w / total:.0f} %)" if len(weights) > 1 else _PREFERENCE[n]
                     for n, w in weights.items()])  # fmt: skip
    return [f"{first}. {wants}.", where, f"Among what meets this, preferred: {liked}."]


def _stated(value: float, kind: str, shown: Shown) -> str:
    """A number as the brief gives it, in the reader's unit."""
    return f"{shown.of(value, kind):.4g} {shown.unit(kind)}"


def _wing(variant: ResolvedVariant, shown: Shown) -> str:
    """The wing, and what of it is assumed."""
    frame, assumed = variant.airframe, {each.field for each in variant.assumptions if each.subject == "wing"}
    said = [
        ("area_dm2", f"{shown.area_text(frame.wing_area_dm2)} of wing"),
        ("span_mm", f"{_stated(frame.wing_span_mm, 'mm', shown)} of span"),
    ]
    has = [words for field, words in said if field not in assumed]
    made = [words for field, words in said if field in assumed]
    return ", ".join([*has, *([f"{' on '.join(made)} assumed"] if made else [])])


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
        how += f", {'climbing' if phase.climb_m_s > 0 else 'sinking'} {_stated(abs(phase.climb_m_s), 'm/s', shown)}"
    if phase.load_factor != 1:
        how += f", load factor {phase.load_factor:g}"
    long = "the rest, shared"
    if phase.seconds is not None:
        long = f"{phase.seconds:g} s"
    elif phase.to_height_m is not None:
        long = f"to {_stated(phase.to_height_m, 'm', shown)} above the field"
    return f"{phase.name} ({how}; {long})"


def _joined(words: list[str]) -> str:
    return " and ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)
