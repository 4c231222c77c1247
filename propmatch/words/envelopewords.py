"""The parts envelope as text for the plans: plain, or Markdown."""

import math
from typing import Any

import attrs

from propmatch.checks.checkrules import CHECKS
from propmatch.questions.envelope import CellEnvelope, Envelope, Range
from propmatch.records.estimates import completed
from propmatch.records.fields import replace
from propmatch.words.checkwords import check_names, limit_sentences, parts_text, speed_question, supply_text
from propmatch.words.measurewords import of_100
from propmatch.words.shown import Shown, clock, signed, wrapped

__all__ = ["CAUTIONS", "Part", "envelope_markdown", "envelope_parts", "envelope_text"]

CAUTIONS = (
    "A spinning propeller hurts: leave it off while setting up, stand behind its disc, tie the model down on the "
    "bench.",
    "Lithium packs burn: never leave one charging alone, store at half charge, retire a pack that is puffed or "
    "damaged.",
    "The lowest rating of motor, controller, pack and propeller is the limit. At part throttle a motor carries more "
    "than it draws from the pack, where a wattmeter sits.",
    "A throttle limit is duty, not stick position, and can be lost when a controller is recalibrated.",
    "These figures are estimates: test on the bench with a wattmeter before flight. Local rules, the makers' limits "
    "and a club's safety officer come first.",
)


@attrs.frozen(kw_only=True)
class Part:
    """A section of the text: a title, sentences, then lines of (what, from-to).

    Attributes
    ----------
    title : str
    sentences : tuple of str
    lines : tuple of (str, str)
    """

    title: str
    sentences: tuple[str, ...] = ()
    lines: tuple[tuple[str, str], ...] = ()


def envelope_parts(envelope: Envelope, shown: Shown, *, timer: bool = True) -> list[Part]:
    """The text in sections, for either form; without a timer where it stands beside the design's own."""
    parts = [_opening(envelope, shown)]
    parts += [_of_count(envelope, each, shown, timer) for each in envelope.cells.values()]
    parts.append(_balance(envelope))
    parts.append(_variants(envelope, shown))
    parts.append(Part(title="Cautions", sentences=CAUTIONS))
    return [part for part in parts if part.sentences or part.lines]


def envelope_text(envelope: Envelope, shown: Shown) -> list[list[str]]:
    """Blocks of lines of at most 100 columns."""
    blocks = []
    for part in envelope_parts(envelope, shown):
        lines = [part.title]
        for sentence in part.sentences:
            lines += wrapped(sentence, first="  ", rest="  ")
        for label, text in part.lines:
            lines += wrapped(text, first=f"    {label:<21} ", rest=" " * 26)
        blocks.append(lines)
    return blocks


def envelope_markdown(envelope: Envelope, shown: Shown) -> str:
    """Markdown with headings, a table for each cell count and what was assumed."""
    out = [f"# Parts envelope: {_cell(envelope.brief.aircraft.name)}", ""]
    for part in envelope_parts(envelope, shown):
        out += [f"## {_cell(part.title)}", ""]
        if part.title == "Cautions":
            out += [f"- {_cell(sentence)}" for sentence in part.sentences] + [""]
            continue
        for sentence in part.sentences:
            out += [_cell(sentence), ""]
        if part.lines:
            out += ["| what | may be |", "| --- | --- |"]
            out += [f"| {_cell(label)} | {_cell(text)} |" for label, text in part.lines] + [""]
    if envelope.assumptions:
        out += ["## Assumed", ""]
        out += [f"- {_cell(str(each))}" for each in envelope.assumptions]
    return "\n".join(out).rstrip() + "\n"


def _cell(text: str) -> str:
    """Names come from files: nothing of them may act as markup."""
    clean = "".join(sign if sign.isprintable() else " " for sign in text)
    for sign in ("\\", "|", "<", "`", "*", "_", "[", "]", "#"):
        clean = clean.replace(sign, f"\\{sign}")
    return clean


# ---------------------------------------------------------------- pieces


def _span(ends: Range, digits: int = 0, unit: str = "") -> str:
    low, high = (signed(end, digits) for end in ends)
    text = low if low == high else f"{low} to {high}"
    return f"{text} {unit}".strip()


def _shown_span(ends: Range, of: Any, unit: str, digits: int = 0) -> str:
    return _span((of(ends[0]), of(ends[1])), digits, unit)


def _mass_span(ends: Range, shown: Shown) -> str:
    return _shown_span(ends, shown.mass_of, shown.mass_unit, 0 if shown.mass_unit == "g" else 1)


def _thrust_span(ends: Range, shown: Shown) -> str:
    return _shown_span(ends, shown.thrust_of, shown.thrust_unit, 0 if shown.thrust == "gf" else 2)


def _opening(envelope: Envelope, shown: Shown) -> Part:
    train = envelope.train
    warns = envelope.brief.limits.estimated_ratings == "warn"
    text = (
        f"{envelope.brief.aircraft.name} was worked out for {parts_text(train, pack=False)} and the pack "
        f"{train.pack.name}. Other parts may be fitted inside these ranges. The "
        "ranges go together: every corner of all of them at once, and points inside, was reckoned and keeps every "
        f"limit of the brief and every rating{' but estimated ones, as the brief says' if warns else ''}."
    )
    return Part(title="What this covers", sentences=(text, *speed_question(train)))


def _of_count(envelope: Envelope, each: CellEnvelope, shown: Shown, timer: bool) -> Part:
    title = f"With {each.cells}S"
    named = envelope.brief.limits.cells
    aside = () if not named or each.cells in named else (f"The brief itself does not name {each.cells}S.",)
    if not each.holds or each.box is None:
        return Part(title=title, sentences=(*aside, *_refusal(envelope, each, shown)))
    lines = _lines(each, shown, timer)
    return Part(title=title, sentences=(*aside, *_paragraph(each, shown, timer)), lines=tuple(lines))


def _refusal(envelope: Envelope, each: CellEnvelope, shown: Shown) -> list[str]:
    sentences = [
        f"Do not fit {each.cells}S to this design as it is: with {each.train.pack.name} it fails "
        f"{check_names(each.failing)}. No change of one or two parts with {each.cells}S fixes it."
    ]
    sentences.append(
        f"Full throttle at rest would draw {signed(each.design_motor_current_static_a)} A through the motor and lift "
        f"{shown.thrust_text(each.design_thrust_static_n)}."
    )
    return [*sentences, *limit_sentences(each.limited, shown)]


def _paragraph(each: CellEnvelope, shown: Shown, timer: bool) -> list[str]:
    train = each.train
    if each.changes:
        what = " and ".join(f"the {kind} {part.name}" for kind, part in each.changes.items())
        start = f"{each.cells}S needs another part than the design's: {what}. With it and a pack like {train.pack.name}"
    else:
        start = f"With a pack like {train.pack.name}"
    sentences = [
        f"{start} full throttle at rest gives {shown.thrust_text(each.design_thrust_static_n)} and draws "
        f"{signed(each.design_motor_current_static_a)} A through {'the' if train.count == 1 else 'each'} motor, "
        f"{signed(each.design_pack_current_static_a)} A on a wattmeter at the pack, fresh from the charger. Over the "
        f"whole range it flies {_span(each.flight_minutes, 0)} minutes as the brief flies."
    ]
    if timer:
        sentences.append(
            f"Set the timer to {clock(each.timer_worst_minutes)} (minutes:seconds), which 90 of 100 builds with the "
            "worst allowed parts reach as really flown. A flight to the end puts "
            f"{_span(each.recharge_mah, 0)} mAh back on charging."
        )
    if each.servo_supply_w > 0:
        rule = CHECKS["servo_supply_heat"]
        sentences.append(
            f"The controller's linear servo supply turns up to {each.servo_supply_w:.1f} W into heat with this pack "
            f"({rule.usual:g} {rule.unit} is the usual limit, {rule.basis})."
        )
    return sentences


def _burst(rating_a: float) -> str:
    return f" and {rating_a:.4g} A in bursts, as the brief allows" if math.isfinite(rating_a) else ""


def _kv(each: CellEnvelope) -> str:
    """The range on a label and effective; the design's own motor lies in it as its own number is given."""
    assert each.box is not None
    motor, effective = each.train.motor, each.box.ranges["kv_rpm_per_v"]
    share = completed(replace(motor, kv_kind="label"))[0].kv_rpm_per_v / motor.kv_rpm_per_v
    label = _span((effective[0] / share, effective[1] / share))
    geared = "" if motor.gear_ratio == 1 else f", geared {motor.gear_ratio:g}:1"
    own = f"{motor.name if 'motor' in each.changes else 'the design'}: {motor.kv_rpm_per_v:.0f}"
    if motor.kv_kind == "label":
        return f"label kV {label} rpm/V ({own}){geared}; measured kV {_span(effective)}"
    return f"measured kV {_span(effective)} rpm/V ({own}){geared}; label kV, which usually runs higher, about {label}"


def _lines(each: CellEnvelope, shown: Shown, timer: bool) -> list[tuple[str, str]]:
    assert each.box is not None
    box, train = each.box.ranges, each.train
    family = f", {train.propeller.family} blades" if train.propeller.family else ""
    position = (
        "" if math.isnan(each.pack_position_mm[0]) else f", centre {_span(each.pack_position_mm)} mm aft of the datum"
    )
    parallel = "" if train.pack.cells_parallel == 1 else f"{train.pack.cells_parallel}P"
    milliohm = (1e3 * box["resistance_ohm"][0], 1e3 * box["resistance_ohm"][1])
    return [
        ("motor kV", _kv(each)),
        ("motor mass", f"{_mass_span(box['motor_mass_g'], shown)}{' each' if train.count > 1 else ''}"),
        ("winding resistance", f"{_span(milliohm)} mohm"),
        ("motor rating", f"at least {each.motor_a:.4g} A{_burst(each.motor_burst_a)}, {each.motor_w:.4g} W"),
        ("controller", f"at least {each.controller_a:.4g} A of motor current{_burst(each.controller_burst_a)}, "
                       f"for {each.cells}S"),
        ("receiver and servos", f"{train.radio_current_a:.2g} A, {supply_text(train)}"),
        ("propeller", f"{_span(box['diameter_in'], 1)} in diameter, {_span(box['pitch_in'], 1)} in pitch, "
                      f"{train.propeller.blades} blades{family}"),
        ("pack", f"{each.cells}S{parallel}, {_span(box['capacity_mah'])} mAh, label {train.pack.c_rating:g}C or more, "
                 f"{_mass_span(each.pack_mass_g, shown)}{position}"),
        ("all-up mass", _mass_span(box["all_up_mass_g"], shown)),
        ("static thrust", f"{_thrust_span(each.thrust_static_n, shown)} fresh; thrust to weight "
                          f"{_span(each.thrust_to_weight, 2)} at half charge"),
        ("motor current", f"{_span(each.motor_current_static_a, 1)} A at full throttle at rest"),
        ("wattmeter at the pack", f"{_span(each.pack_current_static_a, 1)} A, {_span(each.pack_power_static_w)} W, "
                                  "same moment"),
        ("flight time", f"{_span(each.flight_minutes)} minutes as the brief flies"),
        *([("timer", f"{clock(each.timer_worst_minutes)} minutes:seconds")] if timer else []),
        ("back on charging", f"{_span(each.recharge_mah)} mAh"),
        ("field", f"{_span(each.altitude_m)} m above the sea, {_span(each.temperature_c)} degC"),
        ("checked", f"all {each.box.corners} corners of these ranges and {each.box.samples} points inside"),
        ("how sure", f"every limit holds in {of_100(each.box.least_chance)} builds at the worst corner"),
        *_stops(each),
    ]  # fmt: skip


_AXIS_WORDS = {
    "kv_rpm_per_v": "kV", "resistance_ohm": "winding resistance", "motor_mass_g": "motor mass",
    "diameter_in": "diameter", "pitch_in": "pitch", "capacity_mah": "capacity", "all_up_mass_g": "all-up mass",
    "air": "air",
}  # fmt: skip


def _stops(each: CellEnvelope) -> list[tuple[str, str]]:
    """Which limits end the ranges."""
    assert each.box is not None
    texts = []
    for (axis, side), names in each.box.stopped_by.items():
        word = {0: "colder and denser air", 1: "hotter and thinner air"}[side] if axis == "air" else (
            f"{'more' if side else 'less'} {_AXIS_WORDS[axis]}"
        )  # fmt: skip
        texts.append(f"{word}: {check_names(names)}")
    return [("what ends the ranges", "; ".join(texts))] if texts else []


def _balance(envelope: Envelope) -> Part:
    if math.isnan(envelope.target_cg_mm):
        return Part(
            title="Balance", sentences=("The brief gives no centre of gravity: balance as the plans say.",)
        )  # fmt: skip
    text = (
        f"Centre of gravity {envelope.target_cg_mm:g} mm aft of the datum, within {envelope.cg_tolerance_mm:g} mm "
        "either way: the designer's figure. Move the pack to meet it."
    )
    return Part(title="Balance", sentences=(text,))


def _variants(envelope: Envelope, shown: Shown) -> Part:
    lines = []
    for each in envelope.variants:
        texts = []
        for count, mass in each.all_up_mass_by_cells_g.items():
            if envelope.cells[count].box is None:
                continue
            text = (
                f"{count}S {shown.mass_text(mass)}, {'inside' if each.inside_by_cells[count] else 'outside'} the range"
            )
            if each.failing_by_cells[count]:
                text += f", fails {check_names(each.failing_by_cells[count])}"
            elif not each.inside_by_cells[count]:
                text += ", though by itself it passes"
            texts.append(text)
        if texts:
            lines.append((each.variant, "; ".join(texts)))
    return Part(title="Builds", lines=tuple(lines))
