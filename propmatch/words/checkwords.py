"""Numbers of checks, and parts, as people write them: one wording for the command line, the sheet and the page."""

import math
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from propmatch.words.shown import Form, Shown, signed

if TYPE_CHECKING:
    from propmatch.checks.limits import Check
    from propmatch.checks.throttlelimit import ThrottleLimit
    from propmatch.records.parts import Motor, PowerTrain

__all__ = [
    "DANGER",
    "NO_CHANGE",
    "added_words",
    "bound_text",
    "burst_words",
    "check_name",
    "check_names",
    "danger_words",
    "fewer_amps",
    "joined",
    "kv_word",
    "limit_number",
    "limit_sentences",
    "limit_text",
    "over_text",
    "parts_text",
    "percent",
    "percent_down",
    "several_words",
    "speed_question",
    "supply_text",
    "value_form",
    "value_text",
    "warned_words",
]

_TENTHS = ("g/dm2", "oz/ft2")
DANGER = "Danger: {}."
NO_CHANGE = "No change of one or two parts fixes it."
"""Said where every part of the catalogue that the brief lets in was tried, alone and in pairs."""


def check_name(name: str) -> str:
    """The name of a check as people write it."""
    return (
        name.replace("_", " ")
        .replace("all up", "all-up")
        .replace("propeller rpm", "propeller max rpm")
        .replace("controller", "ESC")
        .replace("servo supply", "BEC")
        .replace("receiver supply", "receiver voltage")
        .replace("mach", "Mach")
        .replace("takeoff", "take-off")
    )


def check_names(names: Sequence[str]) -> str:
    """``motor power and climb``: the names of several."""
    return joined([check_name(name) for name in names])


def value_text(value: float, unit: str, shown: Shown | None = None, *, missing: str = "-") -> str:
    """A number of a check with its unit, in the reader's units where ``shown`` is given."""
    return value_form(unit, shown).text(value) if math.isfinite(value) else missing


def value_form(unit: str, shown: Shown | None = None) -> Form:
    """How a number of a check is written."""
    if shown is not None and unit == "g":
        return shown.form("mass")
    per, unit = (1.0, unit) if shown is None else (shown.per(unit), shown.unit(unit))
    whole = ((0.0, 0),) if unit in ("g", "rpm", "S") else ((0.0, 1),) if unit in _TENTHS else ((0.0, 2), (10.0, 1))
    return Form(per, unit, whole)


def limit_number(check: "Check", shown: Shown | None = None) -> str:
    """``14 A``: a limit without trailing zeros; ``-`` without one."""
    number, space, unit = value_text(check.limit, check.unit, shown).partition(" ")
    return (number.rstrip("0").rstrip(".") if "." in number else number) + space + unit


def limit_text(check: "Check", shown: Shown | None = None) -> str:
    """``at most 14 A``, ``at least 0.55``; ``-`` without a limit."""
    if not math.isfinite(check.limit):
        return "-"
    if check.name == "cell_count" and check.limit == 0:
        return "more cells are asked"
    return f"at {'least' if check.least else 'most'} {limit_number(check, shown)}"


def speed_question(train: "PowerTrain") -> list[str]:
    """What to ask where nobody knows the propeller's highest speed: which family it is of, or its max_rpm."""
    if train.propeller.max_rpm is not None or train.propeller.family is not None:
        return []
    from propmatch.records.parts import FAMILIES

    return [
        f"The max rpm of {train.propeller.name} is not known. Which family is it: {', '.join(FAMILIES)} "
        "('propmatch parts --which-family SIZE' asks three questions)? Or give its max_rpm."
    ]


def burst_words(checks: "Iterable[Check]") -> list[str]:
    """Which limits are burst ratings, where the brief allows them."""
    names = [check_name(check.name) for check in checks if check.burst]
    return [f"Burst ratings serve here, as the brief allows for short phases: {joined(names)}."] if names else []


def percent(share: float, digits: int = 0) -> str:
    """A share as a percentage; ``-`` when there is none."""
    return "-" if not math.isfinite(share) else f"{signed(100 * share, digits)} %"


def percent_down(share: float) -> str:
    """A share as whole percent, rounded down: a throttle limit is not to be passed."""
    return f"{math.floor(100 * share + 1e-9)} %"


def joined(words: Sequence[str]) -> str:
    """``a, b and c``."""
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} and {words[-1]}"


def kv_word(motor: "Motor") -> str:
    """Whether a motor's kV is a label's or a measured one."""
    return "label" if motor.kv_kind == "label" else "measured"


def parts_text(train: "PowerTrain", *, pack: bool = True) -> str:
    """The parts of a train by name; several sets, a gear and cells in parallel are said."""
    sets = "" if train.count == 1 else f"{train.count} sets of "
    geared = "" if train.motor.gear_ratio == 1 else f" geared {train.motor.gear_ratio:g}:1"
    supply = f", {supply_text(train)}" if train.supply_g else ""
    names = f"{sets}{train.motor.name}{geared}, {train.propeller.name}, {train.controller.name}{supply}"
    if not pack:
        return names
    parallel = "" if train.pack.cells_parallel == 1 else f" ({train.pack.cells_series}S{train.pack.cells_parallel}P)"
    return f"{names}, {train.pack.name}{parallel}"


def supply_text(train: "PowerTrain") -> str:
    """What feeds receiver and servos, as a line of a parts list."""
    if not train.separate_supply:
        return "BEC in the ESC" if train.controller.servo_supply != "none" else "no BEC needed"
    return f"separate BEC of {signed(train.supply_g)} g" if train.supply_g else "BEC aboard already"


def several_words(motors: int) -> list[str]:
    """Whose the amps are, where a pack feeds several motors."""
    if motors == 1:
        return []
    return [
        f"Motor amps are those of each of {motors} motors, each on its own ESC; pack amps are of all together, radio "
        "and payload with them."
    ]


def fewer_amps(motors: int, motor_current_a: float, pack_current_a: float) -> str:
    """``, fewer amps than the motor carries``, where the pack gives fewer: radio and payload come on top."""
    if pack_current_a >= motors * motor_current_a:
        return ""
    return f", fewer amps than the {'motor carries' if motors == 1 else f'{motors} motors carry together'}"


def limit_sentences(limit: "ThrottleLimit", shown: Shown) -> tuple[str, ...]:
    """What a throttle limit does, and which checks it cures, leaves and costs; nothing where none is needed."""
    if limit.throttle >= 1:
        return ()
    if not math.isfinite(limit.throttle):
        return ("No throttle limit can be given: full throttle has no answer.",)
    first = (
        f"A throttle limit of {percent_down(limit.throttle)} (duty, not stick position) keeps the motor current below "
        f"{signed(limit.motor_limit_a)} A ({signed(limit.motor_current_a)} A at most), and power, pack current and "
        "propeller speed below what the parts are rated for. Static on a full battery the pack then gives "
        f"{signed(limit.pack_current_a)} A, {signed(limit.pack_power_w, 0)} W, and thrust is "
        f"{shown.thrust_text(limit.thrust_n)}; at half charge thrust to weight is {signed(limit.thrust_to_weight, 2)} "
        f"and the best climb {shown.text(limit.climb_m_s, 'm/s')}; the brief's flying lasts "
        f"{signed(limit.flight_minutes, 0)} minutes."
    )
    said = (("it meets", limit.cures), ("it still misses", limit.leaves), ("it misses for that", limit.costs))
    effects = "; ".join(f"{words} {check_names(names)}" for words, names in said if names)
    return (first, f"So limited {effects}.") if effects else (first,)


def over_text(check: "Check", shown: Shown) -> str:
    """``motor current static 17.2 A (at most 11.5 A by the part rating)``."""
    if check.name == "cell_count" and check.limit == 0:
        return f"{check.value:.0f}S is fewer cells than parts and brief allow"
    if check.name == "cell_count":
        return f"{check.value:.0f}S is more cells than parts and brief allow ({check.limit:.0f}S)"
    value = value_text(check.value, check.unit, shown, missing="no answer")
    return f"{check_name(check.name)} {value} ({bound_text(check, shown)})"


def bound_text(check: "Check", shown: Shown) -> str:
    """``at most 11.5 A by the part's rating``."""
    return f"{limit_text(check, shown)} {_BY[check.limit_source]}"


_BY = {
    "brief": "by the brief", "assumed": "assumed, as the brief gives none", "part rating": "by the part's rating",
    "estimated rating": "by an estimated rating", "common practice": "by common practice",
}  # fmt: skip


def warned_words(checks: "Iterable[Check]") -> list[str]:
    """Estimated ratings that are missed and only warn."""
    names = [
        check_name(check.name)
        for check in checks
        if check.verdict == "fails" and not check.excluding and check.basis == "estimated rating"
    ]
    return [f"Beyond an estimated rating, which the brief takes as a warning: {', '.join(names)}."] if names else []


def added_words(checks: "Iterable[Check]", shown: Shown) -> list[str]:
    """What the checks that plugins add come to."""
    from propmatch.checks.checkrules import CHECKS

    said = [
        f"{check_name(check.name)} {value_text(check.value, check.unit, shown)}, {limit_text(check, shown)}: "
        f"{check.verdict}"
        for check in checks
        if check.name not in CHECKS
    ]
    return [f"Checks that plugins add: {'; '.join(said)}."] if said else []


def danger_words(checks: "Sequence[Check]", shown: Shown) -> list[str]:
    """A danger that only warns, said before anything else; one that rules a design out is the first of its reasons."""
    return [DANGER.format(over_text(check, shown)) for check in checks if check.danger and not check.excluding]
