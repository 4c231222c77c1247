"""What others may fit, as text for the plans: one table, or Markdown with a table for each cell count."""

import math
from collections.abc import Sequence
from typing import Any

import attrs

from propmatch.checks.checkrules import CHECKS
from propmatch.questions.envelope import CellEnvelope, Envelope, Range
from propmatch.records.estimates import completed
from propmatch.records.fields import replace
from propmatch.words.checkwords import check_names, joined, limit_sentences, parts_text, speed_question
from propmatch.words.measurewords import of_100
from propmatch.words.shown import Shown, clock, signed, table, wrapped

__all__ = [
    "CAUTIONS", "Part", "envelope_answer", "envelope_markdown", "envelope_parts", "envelope_text", "stops_block",
    "throttle_block",
]  # fmt: skip

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


def envelope_answer(envelope: Envelope, said: Sequence[str] = ()) -> list[str]:
    """Which cell counts others may fit, how sure that is, and for which parts it was reckoned, ``said`` how found."""
    held = [each for each in envelope.cells.values() if each.box is not None]
    counts = [f"{each.cells}S" + (f" with {_changed(each)}" if each.changes else "") for each in held]
    answer = f"others may fit {joined(counts)}" if held else "no cell count holds"
    refused = joined([f"{count}S" for count, each in envelope.cells.items() if each.box is None])
    name = f"{envelope.brief.aircraft.name}: {answer}"
    ranges = f"; not {refused}" if held and refused else ""
    if not held:
        return [f"{name}.", " ".join((f"Reckoned for {parts_text(envelope.train)}.", *said))]
    boxes = [each.box for each in held if each.box is not None]
    mixes = f"All extremes were tried together, and {boxes[0].samples} mixes between them"
    chances = joined([of_100(box.least_chance) for box in boxes])
    sure = f"each meets every limit and rating, the worst of them in {chances} builds{_warned(envelope)}"
    return [f"{name}{ranges}. {mixes}: {sure}.", " ".join((f"Reckoned for {parts_text(envelope.train)}.", *said))]


def envelope_text(envelope: Envelope, shown: Shown) -> list[list[str]]:
    """Blocks of lines: one table with a column for each cell count that holds, then what is refused, and balance."""
    held = [each for each in envelope.cells.values() if each.box is not None]
    columns = {f"{each.cells}S": dict(_lines(each, shown, True)) for each in held}
    names = dict.fromkeys(label for lines in columns.values() for label in lines)
    rows = [
        {"": f"  {label}", **{count: lines.get(label, "") for count, lines in columns.items()}} for label in names
    ]  # fmt: skip
    said = [_refusal(each, shown)[0] for each in envelope.cells.values() if each.box is None]
    said += _supply_heat(held)
    said += _balance(envelope).sentences
    blocks = [table(rows, left=("", *columns))] if rows else []
    blocks.append([line for sentence in said for line in wrapped(sentence)])
    variants = _variants(envelope, shown).lines
    if len(variants) > 1:
        wide = max(len(label) for label, _ in variants) + 4
        blocks.append([line for label, text in variants for line in wrapped(text, first=f"  {label}".ljust(wide))])
    return blocks


def throttle_block(envelope: Envelope, shown: Shown) -> list[str]:
    """What a throttle limit would do with the cell counts that may not be fitted."""
    refused = [each for each in envelope.cells.values() if each.box is None]
    said = {each.cells: " ".join(limit_sentences(each.limited, shown)) for each in refused}
    return [line for count, text in said.items() if text for line in wrapped(text, first=f"{count}S  ")]


def stops_block(envelope: Envelope) -> list[str]:
    """Which limits end the ranges of each cell count."""
    stops = {each.cells: _stops(each) for each in envelope.cells.values() if each.box is not None}
    lines = [line for count, text in stops.items() if text for line in wrapped(text, first=f"  {count}S  ")]
    return ["What ends the ranges:", *lines] if lines else []


def envelope_markdown(envelope: Envelope, shown: Shown) -> str:
    """Markdown with headings, a table for each cell count and what was assumed."""
    out = [f"# What others may fit: {_cell(envelope.brief.aircraft.name)}", ""]
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


def _warned(envelope: Envelope) -> str:
    return ", estimated ratings apart, as the brief says" if envelope.brief.limits.estimated_ratings == "warn" else ""


def _opening(envelope: Envelope, shown: Shown) -> Part:
    text = (
        f"{envelope.brief.aircraft.name} was reckoned for {parts_text(envelope.train)}. Other parts may be fitted "
        "inside these ranges. The ranges go together: all extremes were tried together, and mixes between them, and "
        f"each meets every limit and rating{_warned(envelope)}."
    )
    return Part(title="What this covers", sentences=(text, *speed_question(envelope.train)))


def _of_count(envelope: Envelope, each: CellEnvelope, shown: Shown, timer: bool) -> Part:
    title = f"With {each.cells}S"
    named = envelope.brief.limits.cells
    aside = () if not named or each.cells in named else (f"The brief itself does not name {each.cells}S.",)
    if not each.holds or each.box is None:
        return Part(title=title, sentences=(*aside, *_refusal(each, shown)))
    changed = (f"{each.cells}S needs another part than the design's: {_changed(each)}.",) if each.changes else ()
    lines = _lines(each, shown, timer)
    stops = _stops(each)
    lines += [("what ends the ranges", stops)] if stops else []
    return Part(title=title, sentences=(*aside, *changed, *_supply_heat([each])), lines=tuple(lines))


def _changed(each: CellEnvelope) -> str:
    return joined([f"the {kind} {part.name}" for kind, part in each.changes.items()])


def _refusal(each: CellEnvelope, shown: Shown) -> list[str]:
    return [
        f"Do not fit {each.cells}S to this design as it is: with {each.train.pack.name} it misses "
        f"{check_names(each.failing)}. No change of one or two parts with {each.cells}S fixes it. Static on a full "
        f"battery each motor would draw {signed(each.design_motor_current_static_a)} A for "
        f"{shown.thrust_text(each.design_thrust_static_n)}.",
        *limit_sentences(each.limited, shown),
    ]


def _supply_heat(held: Sequence[CellEnvelope]) -> list[str]:
    """What the BEC turns into heat, where it is a linear one."""
    rule = CHECKS["servo_supply_heat"]
    heats = [f"{each.servo_supply_w:.1f} W with {each.cells}S" for each in held if each.servo_supply_w > 0]
    return [
        f"The ESC's linear BEC turns up to {joined(heats)} into heat ({rule.usual:g} {rule.unit} is the usual limit, "
        f"{rule.basis})."
    ] if heats else []  # fmt: skip


def _burst(rating_a: float) -> str:
    return f", {rating_a:.4g} A in bursts" if math.isfinite(rating_a) else ""


def _kv(each: CellEnvelope) -> list[tuple[str, str]]:
    """The range as the design's own motor is named, label or measured, with its number; then the other."""
    assert each.box is not None
    motor, measured = each.train.motor, each.box.ranges["kv_rpm_per_v"]
    share = completed(replace(motor, kv_kind="label"))[0].kv_rpm_per_v / motor.kv_rpm_per_v
    geared = "" if motor.gear_ratio == 1 else f", geared {motor.gear_ratio:g}:1"
    own = f" ({'own' if 'motor' in each.changes else 'design'} {motor.kv_rpm_per_v:.0f}){geared}"
    spans = {"label": _span((measured[0] / share, measured[1] / share)), "measured": _span(measured)}
    first, other = ("label", "measured") if motor.kv_kind == "label" else ("measured", "label")
    return [(f"{first} kV", f"{spans[first]}{own}"), (f"{other} kV", spans[other])]


def _lines(each: CellEnvelope, shown: Shown, timer: bool) -> list[tuple[str, str]]:
    """What a builder may fit, and what the aircraft then does, as short lines."""
    assert each.box is not None
    box, train = each.box.ranges, each.train
    family = f", {train.propeller.family}" if train.propeller.family else ""
    position = [] if math.isnan(each.pack_position_mm[0]) else [
        ("pack centre", f"{_span(each.pack_position_mm, 0, 'mm')} aft of datum")
    ]  # fmt: skip
    parallel = "" if train.pack.cells_parallel == 1 else f"{train.pack.cells_parallel}P"
    milliohm = (1e3 * box["resistance_ohm"][0], 1e3 * box["resistance_ohm"][1])
    each_motor = " each" if train.count > 1 else ""
    return [
        *_kv(each),
        ("motor mass", f"{_mass_span(box['motor_mass_g'], shown)}{each_motor}"),
        ("winding resistance", _span(milliohm, 0, "mohm")),
        ("motor rating", f"at least {each.motor_a:.4g} A{_burst(each.motor_burst_a)}, {each.motor_w:.4g} W"),
        ("ESC rating", f"at least {each.controller_a:.4g} A{_burst(each.controller_burst_a)}"),
        ("radio and payload", f"{train.radio_current_a:.2g} A"),
        ("propeller diameter", _span(box["diameter_in"], 1, "in")),
        ("propeller pitch", _span(box["pitch_in"], 1, "in")),
        ("propeller blades", f"{train.propeller.blades}{family}"),
        ("pack", f"{each.cells}S{parallel} {_span(box['capacity_mah'], 0, 'mAh')}"),
        ("pack C rating", f"label {train.pack.c_rating:g}C or more"),
        ("pack mass", _mass_span(each.pack_mass_g, shown)),
        *position,
        ("all-up mass (AUW)", _mass_span(box["all_up_mass_g"], shown)),
        ("static thrust", _thrust_span(each.thrust_static_n, shown)),
        ("T/W at half charge", _span(each.thrust_to_weight, 2)),
        (f"static motor current{each_motor}", _span(each.motor_current_static_a, 1, "A")),
        ("static battery lead", _span(each.pack_current_static_a, 1, "A")),
        ("static pack power", _span(each.pack_power_static_w, 0, "W")),
        ("flight time", _span(each.flight_minutes, 0, "min")),
        *([("timer, worst parts", f"{clock(each.timer_worst_minutes)} min:s")] if timer else []),
        ("recharge", _span(each.recharge_mah, 0, "mAh")),
        ("field height", _span(each.altitude_m, 0, "m")),
        ("air temperature", _span(each.temperature_c, 0, "degC")),
        ("every limit met, worst", f"in {of_100(each.box.least_chance)} builds"),
    ]  # fmt: skip


_AXIS_WORDS = {
    "kv_rpm_per_v": "kV", "resistance_ohm": "winding resistance", "motor_mass_g": "motor mass",
    "diameter_in": "diameter", "pitch_in": "pitch", "capacity_mah": "capacity", "all_up_mass_g": "all-up mass",
    "air": "air",
}  # fmt: skip


def _stops(each: CellEnvelope) -> str:
    """Which limits end the ranges, those that the same limit ends together; empty where none does."""
    assert each.box is not None
    ended: dict[str, list[str]] = {}
    for (axis, side), names in each.box.stopped_by.items():
        word = {0: "colder and denser air", 1: "hotter and thinner air"}[side] if axis == "air" else (
            f"{'more' if side else 'less'} {_AXIS_WORDS[axis]}"
        )  # fmt: skip
        ended.setdefault(check_names(names), []).append(word)
    return "; ".join(f"{names}: {', '.join(words)}" for names, words in ended.items())


def _balance(envelope: Envelope) -> Part:
    if math.isnan(envelope.target_cg_mm):
        return Part(
            title="Balance", sentences=("The brief gives no centre of gravity: balance as the plans say.",)
        )  # fmt: skip
    text = (
        f"Centre of gravity (CG) {envelope.target_cg_mm:g} mm aft of the datum, within {envelope.cg_tolerance_mm:g} mm "
        "either way: the designer's figure; move the pack to meet it."
    )
    return Part(title="Balance", sentences=(text,))


def _variants(envelope: Envelope, shown: Shown) -> Part:
    lines = []
    for each in envelope.variants:
        said: dict[str, list[str]] = {}
        for count, mass in each.all_up_mass_by_cells_g.items():
            if text := _side(envelope.cells[count], mass, each.inside_by_cells[count], each.failing_by_cells[count]):
                said.setdefault(text, []).append(f"{shown.mass_text(mass)} ({count}S)")
        if said:
            lines.append((each.variant, "; ".join(f"{joined(masses)}: {text}" for text, masses in said.items())))
    return Part(title="Variants", lines=tuple(lines))


def _side(each: CellEnvelope, mass_g: float, inside: bool, failing: Sequence[str]) -> str:
    """Where a variant lies beside the ranges of a cell count, and what it misses; empty where nothing holds."""
    if each.box is None:
        return ""
    heavier = mass_g > each.box.ranges["all_up_mass_g"][1]
    where = "inside the ranges" if inside else f"{'heavier' if heavier else 'lighter'} than the ranges allow"
    if failing:
        return f"{where}, misses {check_names(failing)}"
    return where if inside else f"{where}; meets every limit with the parts above"
