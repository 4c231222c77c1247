"""What others may fit, as text for the plans: one table, or Markdown with a table for each cell count."""

import math
from collections.abc import Sequence
from typing import Any

import attrs

from propmatch.checks.checkrules import CHECKS
from propmatch.questions.bought import label_kv
from propmatch.questions.costing import Cost, Costs
from propmatch.questions.envelope import CellEnvelope, Choice, Envelope, Range, VariantCovered
from propmatch.questions.publishing import site_c
from propmatch.questions.worstcorner import Corner
from propmatch.words.chancewords import UNSURE, of_hundred
from propmatch.words.checkwords import check_name, check_names, joined, limit_sentences, parts_text, speed_question
from propmatch.words.shown import Shown, clock, signed, table, wrapped

__all__ = [
    "CAUTIONS", "Part", "corner_block", "envelope_answer", "envelope_markdown", "envelope_parts", "envelope_text",
    "further_block", "sizes_block", "throttle_block",
]  # fmt: skip

CAUTIONS = (
    "A spinning propeller hurts: leave it off while setting up, stand behind its disc, tie the model down on the "
    "bench.",
    "Lithium packs burn: never leave one charging alone, store at half charge, retire a pack that is puffed or "
    "damaged.",
    "The lowest rating of motor, ESC, pack and propeller is the limit. At part throttle a motor carries more "
    "than it draws from the pack, where a wattmeter sits.",
    "A throttle limit is duty, not stick position, and can be lost when an ESC is recalibrated.",
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
    """Which cell counts others may fit and where, how sure that is, and for which parts it was reckoned."""
    held = [each for each in envelope.cells.values() if each.holds]
    where, name = _field(envelope), envelope.brief.aircraft.name
    own = envelope.cells.get(envelope.train.pack.cells_series)
    lead = "" if own is None or own.costs is None else (
        f"the design itself does not hold {where}, {_least(envelope, own.costs.least)}."
    )  # fmt: skip
    reckoned = " ".join((f"Reckoned for {parts_text(envelope.train)}.", *said))
    if not held:
        nothing = "Nothing that others may fit does." if lead else f"nothing that others may fit holds {where}."
        mark = [UNSURE] if envelope.on_paper else []
        return [*mark, f"{name}: {lead} {nothing}" if lead else f"{name}: {nothing}", reckoned]
    counts = joined([f"{each.cells}S" + (f" with {_changed(each)}" if each.changes else "") for each in held])
    refused = joined([f"{count}S" for count, each in envelope.cells.items() if not each.holds])
    fitted = (
        f"{name}: {f'{lead} Others' if lead else f'{where} others'} may fit {counts}"
        f"{f', not {refused}' if refused else ''}"
    )
    if envelope.on_paper:
        return [UNSURE, f"{fitted}{_warned(envelope)}. {_together(held)}", reckoned]
    wish, rate = (of_hundred(chance) for chance in envelope.asked)
    several = len(held) > 1
    sure = "; ".join(
        (f"{each.cells}S " if several else "") + f"{of_hundred(each.chance_brief)} of 100 random builds keep the "
        f"brief's limits and {of_hundred(each.chance_ratings)} every rating, the worst corner both in "
        f"{of_hundred(each.corner.chance if each.corner else math.nan)}"
        for each in held
    )  # fmt: skip
    return [
        f"{fitted}. Where it is hardest, {sure} ({wish} and {rate} asked){_warned(envelope)}.",
        reckoned,
    ]


def envelope_text(envelope: Envelope, shown: Shown) -> list[list[str]]:
    """Blocks of lines: sizes, one table with a column for each cell count that holds, then what is refused."""
    held = [each for each in envelope.cells.values() if each.holds]
    blocks = [
        [line for label, text in _sizes(each, _NAMED) for line in wrapped(text, first=f"  {label}".ljust(_WIDE))]
        for each in held
    ]  # fmt: skip
    blocks += [_columns(held, shown, short=True)] if held else []
    said = [sentence for each in envelope.cells.values() for sentence in _said_of(envelope, each, lead=True)]
    said += [*_missing(envelope), *_supply_heat(held), *_balance(envelope).sentences]
    blocks.append([line for sentence in said for line in wrapped(sentence)])
    variants = _variants(envelope, shown, short=True).lines[1:]
    if variants:
        wide = max(len(label) for label, _ in variants) + 4
        blocks.append([line for label, text in variants for line in wrapped(text, first=f"  {label}".ljust(wide))])
    return blocks


def _columns(held: Sequence[CellEnvelope], shown: Shown, *, short: bool) -> list[str]:
    """The ranges with a column for each cell count; ``short`` those that a builder buys and flies by, else the rest."""
    columns = {
        f"{each.cells}S": {
            label: text for label, text in _lines(each, shown, True) if short != label.startswith(_FURTHER)
        } for each in held
    }  # fmt: skip
    names = dict.fromkeys(label for lines in columns.values() for label in lines)
    return table(
        [{"": f"  {label}", **{count: lines.get(label, "") for count, lines in columns.items()}} for label in names],
        left=("", *columns),
    )  # fmt: skip


def further_block(envelope: Envelope, shown: Shown) -> list[str]:
    """What else 80 of 100 builds do."""
    held = [each for each in envelope.cells.values() if each.holds]
    return _columns(held, shown, short=False) if held else []


def throttle_block(envelope: Envelope, shown: Shown) -> list[str]:
    """What a throttle limit would do with the cell counts that may not be fitted."""
    refused = [each for each in envelope.cells.values() if not each.holds and not _forbidden(envelope, each)]
    said = {each.cells: " ".join(limit_sentences(each.limited, shown)) for each in refused}
    return [line for count, text in said.items() if text for line in wrapped(text, first=f"{count}S  ")]


def sizes_block(envelope: Envelope) -> list[str]:
    """Every size that was tried, and what speaks against those that do not fit."""
    sizes = [size for each in envelope.cells.values() for size in _sizes(each)]
    lines = [line for label, text in sizes for line in wrapped(text, first=f"  {label}".ljust(_WIDE))]
    return ["Every size tried:", *lines] if lines else []


def corner_block(envelope: Envelope) -> list[str]:
    """The worst of everything allowed together, by cell count."""
    out = []
    for each in envelope.cells.values():
        if each.corner is not None:
            corner, parts = each.corner, each.corner.train
            kept = (
                f"every limit and rating in {of_hundred(corner.chance)} of 100 builds, {check_name(corner.check)} least"
            )
            if envelope.on_paper:
                kept = f"on paper {_on_paper(corner)}"
            text = f"{parts.motor.name}, {parts.propeller.name}, {parts.pack.name} {_place(corner, envelope)}: {kept}"
            out += wrapped(text, first=f"  {each.cells}S  ")
    return ["Worst corner:", *out] if out else []


def _on_paper(corner: Corner) -> str:
    return f"misses {check_name(corner.check)}" if corner.check else "keeps every limit and rating"


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


def _field(envelope: Envelope) -> str:
    return f"from {_span(envelope.altitude_m, 0, 'm')} and {_span(envelope.temperature_c, 0, 'degC')}"


def _place(where: Any, envelope: Envelope) -> str:
    """``at 1000 m and 35 degC``, with the cells where they are not as warm as the air, and the variant."""
    cells = (
        f" with cells at {where.pack_temperature_c:g} degC" if where.pack_temperature_c != where.temperature_c else ""
    )
    variant = "" if where.variant == envelope.setting.variant.name else f" in '{where.variant}'"
    return f"at {where.altitude_m:g} m and {where.temperature_c:g} degC{cells}{variant}"


def _opening(envelope: Envelope, shown: Shown) -> Part:
    name, asked = envelope.brief.aircraft.name, envelope.asked
    if envelope.on_paper:
        sure = f". {_together([each for each in envelope.cells.values() if each.holds])} {UNSURE}"
    else:
        sure = (
            f": of builds with any of them at least {of_hundred(asked[0])} of 100 keep the brief's limits and "
            f"{of_hundred(asked[1])} every rating{_warned(envelope)}."
        )
    text = (
        f"{name} was reckoned for {parts_text(envelope.train)}. Other parts may be fitted, for fields "
        f"{_field(envelope)}{sure}"
    )
    return Part(title="What this covers", sentences=(text, *_missing(envelope), *speed_question(envelope.train)))


def _together(held: Sequence[CellEnvelope]) -> str:
    """Whether what is listed passes together too, on paper."""
    wrong = [
        f"{check_name(each.corner.check)} with {each.cells}S" for each in held if each.corner and each.corner.check
    ]
    said = f"but the worst of them together miss {joined(wrong)}" if wrong else "and so do the worst of them together"
    return f"Each part listed holds beside the other parts named here, {said}."


def _missing(envelope: Envelope) -> list[str]:
    counts = joined([f"{count}S" for count in envelope.missing])
    return [f"Nothing is said of {counts}: the catalogue has no such pack."] if counts else []


def _of_count(envelope: Envelope, each: CellEnvelope, shown: Shown, timer: bool) -> Part:
    title = f"With {each.cells}S"
    said = _said_of(envelope, each)
    if not each.holds:
        limited = () if _forbidden(envelope, each) else limit_sentences(each.limited, shown)
        return Part(title=title, sentences=(*said, *limited))
    changed = (f"{each.cells}S needs another part than the design's: {_changed(each)}.",) if each.changes else ()
    lines = [*_sizes(each, _NAMED), *_lines(each, shown, timer)]
    return Part(title=title, sentences=(*changed, *said, *_supply_heat([each])), lines=tuple(lines))


def _changed(each: CellEnvelope) -> str:
    return joined([f"the {kind} {part.name}" for kind, part in each.changes.items()])


def _forbidden(envelope: Envelope, each: CellEnvelope) -> bool:
    """Whether the brief names other cell counts alone."""
    named = envelope.brief.limits.cells
    return bool(named) and each.cells not in named


def _said_of(envelope: Envelope, each: CellEnvelope, *, lead: bool = False) -> list[str]:
    """What speaks against a cell count, or against the design itself where it had to change.

    ``lead`` : where the design falls short has been said of its own count.
    """
    least = most = ""
    if each.costs is not None:
        said = lead and each.cells == envelope.train.pack.cells_series
        least, most = "" if said else f"; {_least(envelope, each.costs.least)}", _most(envelope, each.costs)
    if each.holds:
        itself = f"The design itself does not hold everywhere{least}." if least else ""
        return [" ".join(filter(None, (itself, most)))] if itself or most else []
    if _forbidden(envelope, each):
        named = joined([f"{count}S" for count in envelope.brief.limits.cells])
        return [f"Do not fit {each.cells}S: the brief allows {named} alone."]
    if each.failing:
        return [
            f"Do not fit {each.cells}S to this design as it is: with {each.train.pack.name} it misses "
            f"{check_names(each.failing)}, and no change of one or two parts holds everywhere."
        ]
    return [f"Do not fit {each.cells}S: no change of one or two parts holds everywhere{least}. {most}".rstrip()]


def _least(envelope: Envelope, least: Cost) -> str:
    """Where it keeps the chances least."""
    chance, wanted = of_hundred(least.chance, least.wanted), of_hundred(least.wanted)
    return f"{_place(least, envelope)} in {chance} of 100 builds ({wanted} asked), {check_name(least.check)} least"


def _most(envelope: Envelope, costs: Costs) -> str:
    """What costs most, of the field and of the limits."""
    least = costs.least
    places = [cost for cost in costs.without if cost.without != "limit" and cost.near > least.near]
    limits = [cost for cost in costs.without if cost.without == "limit" and cost.near > least.near]
    said = [
        f"{_without(cost, envelope)} ({of_hundred(cost.chance, cost.wanted)} of 100 without"
        f"{'' if cost.wanted == least.wanted else f', {of_hundred(cost.wanted)} asked'})"
        for cost in (*places[:1], *limits[:1])
    ]
    return f"What costs the design most: {joined(said)}." if said else ""


def _without(cost: Cost, envelope: Envelope) -> str:
    setting = envelope.setting
    site, warm = setting.brief.site.altitude_m or 0.0, site_c(setting)
    return {
        "height": f"fields above {site:g} m", "low fields": f"fields below {site:g} m",
        "cold": f"air below {warm:.0f} degC", "heat": f"air above {warm:.0f} degC",
        "variant": f"'{cost.name}'", "limit": f"the limit on {check_name(cost.name)}",
    }[cost.without]  # fmt: skip


def _supply_heat(held: Sequence[CellEnvelope]) -> list[str]:
    """What the BEC turns into heat, where it is a linear one."""
    rule = CHECKS["servo_supply_heat"]
    heats = [f"{each.servo_supply_w:.1f} W with {each.cells}S" for each in held if each.servo_supply_w > 0]
    return [
        f"Heat in the linear BEC: up to {joined(heats)} ({rule.usual:g} {rule.unit} usual, {rule.basis})."
    ] if heats else []  # fmt: skip


def _burst(rating_a: float) -> str:
    return f", {rating_a:.4g} A in bursts" if math.isfinite(rating_a) else ""


# ---------------------------------------------------------------- sizes


_NAMED, _WIDE = 3, 20
"""So many sizes that do not fit are named in the short answer, the nearest; the columns of a label."""


def _sizes(each: CellEnvelope, most: int | None = None) -> list[tuple[str, str]]:
    """What propellers and packs fit, and why others do not: those nearest to the design first, ``most`` of them."""
    if not each.holds:
        return []
    packs = sorted(each.packs, key=lambda c: abs(math.log(c.part.capacity_mah / each.train.pack.capacity_mah)))
    shelf = f"{each.cells}S" + ("" if each.train.pack.cells_parallel == 1 else f"{each.train.pack.cells_parallel}P")
    out = []
    for label, choices, said in (
        (f"{each.cells}S propeller", each.propellers, _propeller_names),
        (f"{shelf} pack", tuple(packs), _pack_names),
    ):
        good = [choice for choice in choices if choice.fits]
        bad = [choice for choice in choices if not choice.fits][:most]
        out.append((label, f"yes: {_pack_runs(choices) if said is _pack_names else said(good)}"))
        if bad:
            reasons: dict[str, list[Choice]] = {}
            for choice in bad:
                reasons.setdefault(check_name(choice.failed[0]), []).append(choice)
            out.append((f"{label}, no", "; ".join(f"{said(some)}: {reason}" for reason, some in reasons.items())))
    return out


def _propeller_names(choices: Sequence[Choice]) -> str:
    """``6x4 thin and folding, 7x4 thin 3-blade``: sizes, with the families that each comes in."""
    sizes: dict[str, list[str]] = {}
    for choice in choices:
        part = choice.part
        size = f"{part.diameter_in:g}x{part.pitch_in:g}"
        blades = "" if part.blades == 2 else f"{part.blades}-blade"
        kind = part.family or ("" if part.name.startswith(size) else f"({part.name})")
        sizes.setdefault(size, []).append(f"{kind} {blades}".strip())
    return ", ".join(f"{size} {joined(list(filter(None, kinds)))}".strip() for size, kinds in sizes.items())


def _pack_names(choices: Sequence[Choice]) -> str:
    """``950 mAh 22C and 48C``: capacities, with the C labels that each comes in."""
    sizes: dict[float, list[str]] = {}
    for choice in sorted(choices, key=lambda c: (c.part.capacity_mah, c.part.c_rating)):
        sizes.setdefault(choice.part.capacity_mah, []).append(f"{choice.part.c_rating:g}C")
    return ", ".join(f"{capacity:g} mAh {joined(labels)}" for capacity, labels in sizes.items())


def _pack_runs(choices: Sequence[Choice]) -> str:
    """``480 mAh and up to 820 of 28C or more``: capacities together where every size between fits."""
    left = sorted((c for c in choices if c.fits), key=lambda c: (c.part.capacity_mah, c.part.c_rating))
    runs: list[list[Choice]] = []
    for choice in left:
        if runs and _is_run([*runs[-1], choice], choices):
            runs[-1].append(choice)
        else:
            runs.append([choice])
    said: list[str] = []
    single: list[Choice] = []
    for run in runs:
        low, high = run[0].part.capacity_mah, run[-1].part.capacity_mah
        if low == high:
            single += run
            continue
        least = min(choice.part.c_rating for choice in run)
        said.append(f"{low:g} mAh and up to {high:g} of {least:g}C or more")
    return "; ".join((*said, *([_pack_names(single)] if single else [])))


def _is_run(run: Sequence[Choice], choices: Sequence[Choice]) -> bool:
    """Whether each pack that was tried between the ends of a run, of its least C or more, fits."""
    low, high = run[0].part.capacity_mah, run[-1].part.capacity_mah
    least = min(choice.part.c_rating for choice in run)
    return all(c.fits for c in choices if low <= c.part.capacity_mah <= high and c.part.c_rating >= least)


def _lines(each: CellEnvelope, shown: Shown, timer: bool) -> list[tuple[str, str]]:
    """What else a builder may fit, and what 80 of 100 builds then do, as short lines."""
    train, motor = each.train, each.train.motor
    own = f" ({'own' if 'motor' in each.changes else 'design'} {label_kv(motor):.0f})"
    geared = "" if motor.gear_ratio == 1 else f", geared {motor.gear_ratio:g}:1"
    position = [] if math.isnan(each.pack_position_mm[0]) else [
        ("pack centre", f"{_span(each.pack_position_mm, 0, 'mm')} aft of datum")
    ]  # fmt: skip
    each_motor = " each" if train.count > 1 else ""
    lines = [
        ("label kV", f"{_span(each.kv_label_rpm_per_v)}{own}{geared}"),
        ("motor mass", f"{_mass_span(each.motor_mass_g, shown)}{each_motor}"),
        ("motor rating", _rated(f"{each.motor_a:.4g} A{_burst(each.motor_burst_a)}", f"{each.motor_w:.4g} W")),
        ("ESC rating", _rated(f"{each.controller_a:.4g} A{_burst(each.controller_burst_a)}")),
        ("radio and payload", f"{train.radio_current_a:.2g} A"),
        ("pack mass", _mass_span(each.pack_mass_g, shown)),
        *position,
        *(_as_designed(each, shown) if math.isnan(each.chance_brief) else _of_builds(each, shown, timer)),
    ]  # fmt: skip
    return lines


def _rated(*texts: str) -> str:
    return f"at least {joined_text}" if (joined_text := ", ".join(t for t in texts if "nan" not in t)) else "not known"


def _as_designed(each: CellEnvelope, shown: Shown) -> list[tuple[str, str]]:
    """What the design itself does on paper, where nothing is known of other builds."""
    each_motor = " each" if each.train.count > 1 else ""
    return [
        ("static thrust", f"{shown.thrust_text(each.design_thrust_static_n)} (own)"),
        (f"static motor current{each_motor}", f"{signed(each.design_motor_current_static_a)} A (own)"),
        ("static battery lead", f"{signed(each.design_pack_current_static_a)} A (own)"),
    ]


def _of_builds(each: CellEnvelope, shown: Shown, timer: bool) -> list[tuple[str, str]]:
    """What 80 of 100 builds do."""
    each_motor = " each" if each.train.count > 1 else ""
    return [
        ("all-up mass (AUW)", _mass_span(each.all_up_mass_g, shown)),
        ("static thrust", _thrust_span(each.thrust_static_n, shown)),
        ("T/W at half charge", _span(each.thrust_to_weight, 2)),
        (f"static motor current{each_motor}", _span(each.motor_current_static_a, 1, "A")),
        ("static battery lead", _span(each.pack_current_static_a, 1, "A")),
        ("static pack power", _span(each.pack_power_static_w, 0, "W")),
        ("flight time", _span(each.flight_minutes, 0, "min")),
        *([("timer for any of these", f"{clock(each.timer_worst_minutes)} min:s")] if timer else []),
    ]


_FURTHER = ("radio and payload", "pack mass", "static motor current", "static thrust", "static pack power")
"""How the lines begin that the short answer leaves out."""


def _balance(envelope: Envelope) -> Part:
    if math.isnan(envelope.target_cg_mm):
        return Part(
            title="Balance", sentences=("The brief gives no centre of gravity: balance as the plans say.",)
        )  # fmt: skip
    text = (
        f"CG {envelope.target_cg_mm:g} mm aft of the datum, within {envelope.cg_tolerance_mm:g} mm: move the pack to "
        "meet it."
    )
    return Part(title="Balance", sentences=(text,))


def _variants(envelope: Envelope, shown: Shown, *, short: bool = False) -> Part:
    lines = []
    for each in envelope.variants:
        masses = joined(
            [
                f"{shown.mass_text(mass)} ({count}S)" for count, mass in each.all_up_mass_by_cells_g.items()
                if envelope.cells[count].holds
            ]
        )  # fmt: skip
        lines.append((each.variant, ": ".join(filter(None, (masses, _covered(envelope, each, short))))))
    return Part(title="Variants", lines=tuple(lines))


def _covered(envelope: Envelope, each: VariantCovered, short: bool) -> str:
    """Whether a variant is covered, and why not; ``short`` without how sure that is."""
    if each.covered:
        return "covered"
    if short:
        return f"not covered: {check_names(each.failed)}"
    if envelope.on_paper:
        return f"not covered: {check_names(each.failed)}"
    wish, rate = envelope.asked
    brief = each.chance_brief / wish <= each.chance_ratings / rate
    chance, wanted = (each.chance_brief, wish) if brief else (each.chance_ratings, rate)
    return (
        f"not covered: {check_names(each.failed)}; the design holds in {of_hundred(chance, wanted)} of 100 "
        f"({of_hundred(wanted)} asked)"
    )
