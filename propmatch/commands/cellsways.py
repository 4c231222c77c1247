"""What ``propmatch cells`` offers where a count exceeds a limit, and what it says of balance and trim."""

import math
from typing import Any

from propmatch.commands.saying import check_names
from propmatch.shown import Shown, signed, wrapped

__all__ = ["cap_text", "placing_block", "ways_block"]


def cap_text(case: Any, shown: Shown) -> str:
    """The throttle cap of a case, with what a wattmeter shows there."""
    if not math.isfinite(case.cap_throttle):
        return "No throttle keeps the ratings."
    if case.cap_throttle >= 1:
        return "Full throttle keeps the motor, controller and pack ratings; no throttle cap is needed."
    return (
        f"A throttle cap at {100 * case.cap_throttle:.0f} % duty keeps the motor current below "
        f"{signed(case.cap_motor_limit_a)} A and the motor's power, the pack and the propeller within their ratings: "
        f"the motor then carries up to {signed(case.cap_motor_current_a)} A, a wattmeter at the pack shows "
        f"{signed(case.cap_pack_current_a)} A and {signed(case.cap_pack_power_w, 0)} W at rest, thrust is "
        f"{shown.thrust_text(case.cap_thrust_n)}, thrust to weight {signed(case.cap_thrust_to_weight, 2)}, all fresh "
        "from the charger."
    )


def _remedy(remedy: Any, shown: Shown) -> str:
    parts = " with ".join(f"{part.name} ({part.id})" if part.id else part.name for part in remedy.changes.values())
    return (
        f"{parts}: motor {signed(remedy.motor_current_a)} A, thrust to weight {signed(remedy.thrust_to_weight, 2)}, "
        f"{signed(remedy.minutes)} minutes, {shown.mass_text(remedy.all_up_mass_g)} all-up"
    )


def ways_block(comparison: Any, count: int, shown: Shown) -> list[str]:
    """What brings one count inside the limits; nothing for a count that keeps them."""
    from propmatch.throttlecap import CAP_NOTE

    found = comparison.remedies.get(count)
    if found is None:
        return []
    lines = wrapped(f"What brings {count}S inside the limits (packs of the same energy, as designed):")

    def say(text: str) -> None:
        lines.extend(wrapped(text, first="  - ", rest="    "))

    kinds = (
        ("smaller propeller", "propellers"), ("motor of lower kV", "motors"), ("other controller", "controllers"),
        ("two parts together", "pairs"),
    )  # fmt: skip
    for word, kind in kinds:
        options = getattr(found, kind)
        for remedy in options:
            say(f"{word}: {_remedy(remedy, shown)}.")
    if found.first is None:
        say("no single part of the catalogue does it, nor do two together.")
    else:
        none = [word for word, kind in kinds[:3] if not getattr(found, kind)]
        if none:
            say(f"none of the catalogue's parts alone does it as {' or '.join(none)}.")
    kv, size = found.kv, found.diameter
    if math.isfinite(kv.kv_rpm_per_v) and math.isfinite(size.diameter_in):
        say(
            f"by the number: with this propeller an effective kV of about {kv.kv_rpm_per_v:.0f} rpm/V, or with this "
            f"motor a propeller of about {size.diameter_in:.1f} x {size.pitch_in:.1f} in, draws "
            f"{signed(found.current_limit_a)} A at rest, the lower rating of motor and controller."
        )
    case = comparison.case(count)
    say(cap_text(case, shown))
    if math.isfinite(case.cap_throttle) and case.cap_throttle < 1:
        say(CAP_NOTE)
        left = [c.name for c in case.failing if c.name not in _CURED]
        if left:
            say(f"A cap does nothing about: {check_names(left)}.")
    return lines


_CURED = ("motor_current_static", "motor_current_flight", "motor_power", "controller_current", "pack_burst",
          "propeller_rpm")  # fmt: skip


def placing_block(comparison: Any, shown: Shown) -> list[str]:
    """Balance and trim: at the same energy, and what is different in the other comparisons."""
    from propmatch.cells import BASES

    lines = ["Balance and trim, packs of the same energy:"]
    said: set[str] = set()
    for basis in BASES:
        readings = comparison.placing[basis].readings(show=shown.speed_text)
        new = [text for text in readings if text not in said]
        said.update(readings)
        if not new:
            continue
        if basis != BASES[0]:
            new = [text for text in new if "makes the change of trim" not in text and "Static margin" not in text]
            if not new:
                continue
            lines.append(f"With packs of the {basis}:")
        for text in new:
            lines += wrapped(text, first="  - ", rest="    ")
    trim = comparison.placing[BASES[0]].trim
    if trim is not None:
        lines += wrapped("Left out: " + " ".join(trim.notes), first="  ", rest="  ")
    return lines
