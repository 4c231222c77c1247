"""What flights say about the power of level flight, in sentences and rows."""

import math
from collections.abc import Sequence

from propmatch.bench.flightlog import Z90, LevelPower, Minutes, Reading
from propmatch.bench.loggertable import LoggedPhase
from propmatch.faults import Fault
from propmatch.words.shown import Shown, clock, signed

__all__ = ["brief_lines", "logged_rows", "power_doubts", "power_sentences", "reading_rows"]

_FAR = 3.0
"""Standard uncertainties from which on a reading is doubted."""


def power_sentences(power: LevelPower, minutes: Minutes, airspeed_sd: float, shown: Shown) -> list[str]:
    """The factor, the minutes before and after, what stays unknown, and which flight would tell."""
    usual = power.usual
    said = [
        f"As flown, held airspeeds draw {power.level_power_factor:.2f} times the current of steady flight (90 %: "
        f"{power.level_power_factor_low:.2f} to {power.level_power_factor_high:.2f}). Before, {usual.factor:g} was "
        f"usual (80 %: {usual.low:g} to {usual.high:g})."
    ]
    if minutes.flight_minutes > 0:
        said.append(
            f"The brief's flight: {minutes.flight_minutes:.1f} minutes in steady flight, before this "
            f"{minutes.usual_minutes:.1f} as usually flown (80 %: {minutes.usual_minutes_low:.1f} "
            f"to {minutes.usual_minutes_high:.1f}), now {minutes.measured_minutes:.1f} as measured (80 %: "
            f"{minutes.measured_minutes_low:.1f} to {minutes.measured_minutes_high:.1f}); timer "
            f"{clock(minutes.measured_timer_minutes)}."
        )
    return [*said, *_apart(power), *_next(power, airspeed_sd, shown)]


def _apart(power: LevelPower) -> list[str]:
    """Whether drag and propulsion are told apart."""
    if power.told_apart:
        return [
            f"These speeds tell drag from propulsion: the drag coefficient is {power.drag_factor:.2f} times the one "
            f"used (90 %: {power.drag_factor_low:.2f} to {power.drag_factor_high:.2f}), CD0 {power.cd0:.3g}; beside it "
            f"the factor is {power.cd0_power_factor:.2f}."
        ]
    speeds = [each.held_airspeed_m_s for each in power.readings]
    one = max(speeds) < 1.1 * min(speeds)
    return [
        f"{'One speed' if one else 'These flights'} cannot separate drag from propulsion: a dirtier airframe, a weaker "
        f"power train and livelier flying cost the same current. CD0 stays uncertain by {_spread(power.drag_sd)} % "
        f"(90 %), before by {_spread(power.prior_drag_sd)} %."
    ]


def _next(power: LevelPower, airspeed_sd: float, shown: Shown) -> list[str]:
    """The flight that would tell most."""
    second = power.second
    if second is None:
        return []
    what = (
        f"at {shown.speed_text(second.second_airspeed_m_s)} for about {second.second_minutes:.0f} minutes "
        f"({second.second_mah:.0f} mAh, to 30 % left)"
    )
    more = "A second flight" if len(power.readings) == 1 else "One more flight"
    left = f"CD0 would then be uncertain by {_spread(second.second_drag_sd)} %"
    if not second.tells_apart:
        return [f"No single further flight would separate them; the most useful is one {what}: {left}."]
    if second.second_airspeed_sd == airspeed_sd:
        return [f"{more} would, held {what}: {left}."]
    known = f"{100 * second.second_airspeed_sd:g} %"
    return [
        f"{more} would, held {what}, if the airspeeds of all flights are known to {known} (laps timed both ways, "
        f"an airspeed sensor; then say --airspeed-error {100 * second.second_airspeed_sd:g}): {left}."
    ]


def _spread(sd_ln: float) -> str:
    """Half of a 90 % interval in per cent."""
    return f"{100 * (math.exp(Z90 * sd_ln) - 1):.0f}"


def power_doubts(power: LevelPower) -> tuple[Fault, ...]:
    """Readings that lie far from all together."""
    made = []
    for each in power.readings:
        if abs(each.sigmas) > _FAR:
            rule = (
                f"draws {each.ratio:.2f} times the prediction, {abs(each.sigmas):.1f} standard uncertainties from what "
                "all flights, parts and drag together let expect"
            )
            hint = "check pack, propeller, variant, airspeed and the charger's mAh"
            made.append(Fault(each.name, rule=rule, hint=hint, kind="warning"))
    return tuple(made)


def reading_rows(readings: Sequence[Reading], shown: Shown) -> list[dict[str, str]]:
    """A row for each reading."""
    return [
        {
            "flight": f"  {each.name}",
            shown.speed_unit: shown.number(each.held_airspeed_m_s, "speed", 0),
            "min": f"{each.reading_minutes:.1f}",
            "mAh drawn": f"{each.drawn_mah:.0f}",
            "A": f"{each.measured_a:.2f}",
            "steady A": f"{each.steady_a:.2f}",
            "times": f"{each.ratio:.2f}",
            "90 %": f"{each.ratio_low:.2f} to {each.ratio_high:.2f}",
        }
        for each in readings
    ]


def logged_rows(phases: Sequence[LoggedPhase], shown: Shown) -> list[dict[str, str]]:
    """A row for each phase of a log."""
    return [
        {
            "phase": f"  {each.phase}",
            "min:s": clock(each.logged_minutes),
            shown.speed_unit: shown.number(each.logged_airspeed_m_s, "speed", 0),
            "m/s up": signed(each.logged_climb_m_s),
            "mAh": f"{each.logged_mah:.0f}",
            "A": signed(each.logged_a, 2),
            "predicted A": signed(each.predicted_a, 2),
            "times": signed(each.logged_ratio, 2),
            "V": signed(each.logged_v, 2),
            "predicted V": signed(each.predicted_v, 2),
        }
        for each in phases
    ]


def brief_lines(power: LevelPower) -> list[str]:
    """Lines for the brief."""
    count = len(power.readings)
    lines = []
    for table, keys in power.keys.items():
        lines += [f"[{table}]", *(f"{key} = {value:g}" for key, value in keys.items())]
    low, high = power.level_power_factor_low, power.level_power_factor_high
    lines.append(f"# measured: {count} reading{'s' if count > 1 else ''}; 90 % of level power: {low:.3g} to {high:.3g}")
    return lines
