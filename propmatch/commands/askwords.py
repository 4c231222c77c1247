"""How ``propmatch ask`` answers: a sentence, then what the catalogue has near it."""

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import attrs
import numpy as np

from propmatch.columns import numbers_of
from propmatch.commands.output import Reply
from propmatch.commands.saying import mass_block, masses_data, misfits, speed_words, unplaced_words
from propmatch.commands.trains import LazyCatalogue, train_data
from propmatch.faults import Fault, InputFaults
from propmatch.words.assumedwords import mattering
from propmatch.words.checkwords import (
    check_names,
    fewer_amps,
    joined,
    kv_word,
    over_text,
    parts_text,
    percent,
    percent_down,
    speed_question,
)
from propmatch.words.measurewords import of_100
from propmatch.words.shown import Shown, signed, table, wrapped

if TYPE_CHECKING:
    from propmatch.checks.chances import Sureness
    from propmatch.checks.setting import ResolvedBrief, Setting
    from propmatch.models.air import Air
    from propmatch.questions.chance import WithChance
    from propmatch.records.brief import Brief
    from propmatch.records.parts import PowerTrain

__all__ = ["Asked", "field", "kv", "mass", "pack", "propeller", "throttle"]


@attrs.frozen(kw_only=True, eq=False)
class Asked:
    """What a question is about: the brief in its variants, the train, and the options typed."""

    resolved: "ResolvedBrief"
    settings: Sequence["Setting"]
    train: "PowerTrain"
    stock: LazyCatalogue
    options: dict[str, Any]
    shown: Shown
    said: tuple[str, ...]
    chosen: Any

    @property
    def brief(self) -> "Brief":
        """As it came."""
        return self.resolved.stated

    @property
    def air(self) -> "Air":
        """Of the site."""
        return self.settings[0].air

    @property
    def place(self) -> str:
        """The train in words."""
        return parts_text(self.train)

    def sure(self, *, rating: bool = False) -> "WithChance | None":
        """How sure the answer must be, a rating as ratings must; None on paper.

        Raises
        ------
        InputFaults
            A chance out of range, or one beside ``--on-paper``.
        """
        from propmatch.questions.chance import WithChance
        from propmatch.records.sections import Limits
        from propmatch.records.typed import read_number

        typed = self.options["chance"]
        own = None if typed is None else read_number(Limits, "chance", typed, "--chance")
        if isinstance(own, Fault):
            raise InputFaults([own])
        if self.options["on_paper"]:
            if own is not None:
                raise InputFaults([Fault("--chance", value=typed, rule="and --on-paper exclude each other")])
            return None
        brief = self.settings[0].brief
        found = WithChance.of(brief.limits, brief.uncertainty, own)
        return attrs.evolve(found, chance=found.rating_chance) if rating else found

    @property
    def _drawn(self) -> "list[Sureness]":
        """How sure the first variant is, where a brief is asked about."""
        from propmatch.checks.chances import sureness

        return [] if self.options["brief"] is None else [sureness(self.settings[0], self.train)]

    def reply(self, **parts: Any) -> Reply:
        """A reply with what every answer carries; ``of`` are the parts it was reckoned for, default all."""
        danger, wrong = speed_words(self.settings[0], self.train, self.shown), misfits(self.train, self.settings[0])
        mind = (f"Mind: {over_text(check, self.shown)}." for check in wrong)
        parts_named = f"Reckoned for {parts.pop('of', self.place)}."
        headline = [*danger, *parts.pop("headline"), *mind, *speed_question(self.train)]
        headline.append(" ".join((parts_named, *self.said)))
        made = dict.fromkeys((*self.chosen.assumptions, *parts.pop("assumptions", ())))
        extra = {"train": train_data(self.train), "misfits": wrong, **parts.pop("extra", {})}
        return Reply(
            command="ask", headline=headline, assumptions=list(made), extra=extra, caution=True,
            matter=mattering(list(made), self._drawn, self.options),
            faults=(*self.chosen.doubts, *self.stock.broken), **parts,
        )  # fmt: skip


def _amps(asked: Asked, option: str) -> tuple[list[float], list[str]]:
    """Currents typed, or the lower rating of motor and controller and what to say of it."""
    from propmatch.checks.ratings import rating_lanes
    from propmatch.records.parts import Motor
    from propmatch.records.typed import read_number

    text = asked.options[option]
    if text is None:
        ratings, seconds = rating_lanes([asked.train]), asked.settings[0].burst_load_seconds
        each = {"motor": ratings.motor, "controller": ratings.controller}
        name, own = min(each.items(), key=lambda item: item[1].limit(seconds)[0])
        limit, kind = float(own.limit(seconds)[0]), "burst" if own.bursts(seconds)[0] else "continuous"
        printed = " estimated" if own.estimated[0] and kind != "burst" else ""
        said = f"No current was named: {limit:.4g} A is the{printed} {kind} rating of the {name}, the lower of two."
        return [limit], [said]
    found = [read_number(Motor, "max_current_a", piece.strip(), f"--{option}") for piece in text.split(",")]
    faults = [each for each in found if isinstance(each, Fault)]
    if faults:
        raise InputFaults(faults)
    return [float(each) for each in found], []


def _surely(chance: float) -> str:
    """`` in 80 of 100 builds``; nothing on paper."""
    return f" in {of_100(chance)} builds" if math.isfinite(chance) else ""


def _paper(chance: float, text: str) -> str:
    """`` (.. on paper)`` beside an answer that holds with a chance."""
    return f" ({text} on paper)" if math.isfinite(chance) else ""


def _ask_catalogue(asked: Asked) -> Any:
    return asked.stock.catalogue


def _at_hand(parts: Sequence[Any], heading: str, shown: Shown, describe: Any) -> list[str]:
    if not parts:
        return [f"{heading}: none."]
    rows = [
        {
            "id": f"  {each.part.id or each.part.name}",
            **describe(each.part),
            "motor A": signed(each.motor_current_static_a),
            "pack A": signed(each.pack_current_static_a),
            f"thrust {shown.thrust_unit}": shown.number(each.thrust_static_n, "thrust", 0),
        }
        for each in parts
    ]
    return [*wrapped(f"{heading}:"), *table(rows, left=("id",))]


def _rows_of(answer: Any) -> list[dict[str, Any]]:
    """A row for each lane of an answer whose columns are floats or arrays."""
    columns = {name: np.atleast_1d(value) for name, value in numbers_of(answer).items()}
    return [dict(zip(columns, map(float, lane), strict=True)) for lane in zip(*columns.values(), strict=True)]


def _row_of(answer: Any, *others: str) -> dict[str, Any]:
    """The row of an answer about one variant, with what else it says."""
    return {"variant": answer.variant, **numbers_of(answer), **{name: getattr(answer, name) for name in others}}


# ---------------------------------------------------------------- the power train alone


def propeller(asked: Asked) -> tuple[Reply, bool]:
    """The largest propeller under a current."""
    from propmatch.questions.ask import DIAMETER_IN, largest_propeller
    from propmatch.records.fields import replace
    from propmatch.records.parts import Propeller
    from propmatch.records.typed import read_number
    from propmatch.train.scaling import scaled_propeller

    limits, said = _amps(asked, "limit")
    ratio = None
    if asked.options["pitch_ratio"] is not None:
        ratio = read_number(Propeller, "pitch_in", asked.options["pitch_ratio"], "--pitch-ratio")
        if isinstance(ratio, Fault):
            raise InputFaults([ratio])
        if not 0.2 <= ratio <= 2.0:
            raise InputFaults([Fault("--pitch-ratio", value=ratio, rule="must be pitch over diameter, from 0.2 to 2")])
    sure = asked.sure(rating=asked.options["limit"] is None)
    found = largest_propeller(
        asked.train, limits, pitch_ratio=ratio, air=asked.air, catalogue=_ask_catalogue(asked), sure=sure
    )
    rows = _rows_of(found)
    sentences = []
    for row in rows:
        limit = f"{row['motor_current_limit_a']:.4g} A{_surely(row['chance'])}"
        if not math.isfinite(row["diameter_in"]):
            sentences.append(f"No propeller keeps the motor current below {limit}.")
        elif row["diameter_in"] >= DIAMETER_IN[1]:
            sentences.append(f"No propeller up to {DIAMETER_IN[1]:g} in reaches {row['motor_current_limit_a']:.4g} A.")
        else:
            paper = row["diameter_on_paper_in"]
            sized = f"{paper:.1f} x {paper * row['pitch_in'] / row['diameter_in']:.1f}"
            sentences.append(
                f"The largest propeller that keeps the motor current below {limit} is "
                f"about {row['diameter_in']:.1f} x {row['pitch_in']:.1f} in{_paper(row['chance'], sized)}: static on a "
                f"full battery the pack then gives about {signed(row['pack_current_static_a'])} A, thrust is "
                f"{asked.shown.thrust_text(row['thrust_static_n'])}."
            )
            size = scaled_propeller(asked.train.propeller, diameter_in=row["diameter_in"], pitch_in=row["pitch_in"])
            sentences += speed_words(asked.settings[0], replace(asked.train, propeller=size), asked.shown)
    sentences += [*said, f"Reckoned with the coefficient table of {found.like.name}, kept while the diameter scales."]
    block = _at_hand(
        found.nearest_parts, f"Propellers of the catalogue below {limits[0]:.4g} A, pitch over diameter alike",
        asked.shown,
        lambda part: {"in": f"{part.diameter_in:g} x {part.pitch_in:g}"},
    )  # fmt: skip
    extra = {"like": found.like.id, "nearest_parts": [_data(each) for each in found.nearest_parts]}
    reply = asked.reply(headline=sentences, blocks=[block], rows=rows, assumptions=found.assumptions, extra=extra)
    return reply, all(math.isfinite(row["diameter_on_paper_in"]) for row in rows)


def _data(each: Any) -> dict[str, Any]:
    return {"id": each.part.id, "name": each.part.name, **_rows_of(each)[0]}


def kv(asked: Asked) -> tuple[Reply, bool]:
    """The kV for a current."""
    from propmatch.questions.ask import kv_for_current
    from propmatch.records.estimates import KV_LABEL_FACTOR as share
    from propmatch.records.fields import replace
    from propmatch.train.scaling import rewound

    currents, said = _amps(asked, "current")
    sure = asked.sure(rating=asked.options["current"] is None)
    found = kv_for_current(asked.train, currents, air=asked.air, catalogue=_ask_catalogue(asked), sure=sure)
    rows = _rows_of(found)
    train = asked.train
    sentences = []
    for row in rows:
        if math.isfinite(row["kv_rpm_per_v"]):
            paper, wanted = f"{row['kv_on_paper_rpm_per_v']:.0f}", f"{row['motor_current_wanted_a']:.4g} A"
            draws = f") draws {wanted} through the motor"
            if sure is not None:
                draws = f"; {paper} on paper) stays below {wanted} through the motor{_surely(row['chance'])}: it draws "
                draws += f"about {signed(row['motor_current_static_a'])} A"
            sentences.append(
                f"A measured kV of about {row['kv_rpm_per_v']:.0f} rpm/V (about {row['kv_rpm_per_v'] / share:.0f} on a "
                f"label{draws} "
                f"({signed(row['pack_current_static_a'])} A from the pack), turns {row['rpm_static']:.0f} rpm "
                f"and gives {asked.shown.thrust_text(row['thrust_static_n'])}."
            )
            wound = rewound(train.motor, row["kv_rpm_per_v"])
            sentences += speed_words(asked.settings[0], replace(train, motor=wound), asked.shown)
        else:
            wanted = f"{row['motor_current_wanted_a']:.4g} A{_surely(row['chance'])}"
            draws = "keeps this propeller below" if sure is not None else "makes this propeller draw"
            sentences.append(f"No kV {draws} {wanted} on this pack.")
    sentences += said
    sentences.append(
        f"Motors are {found.like.name} (measured kV {found.like.kv_rpm_per_v:.0f} rpm/V) wound for another kV; a "
        f"label is taken as {share:g} of what it says."
    )
    block = _at_hand(
        found.nearest_parts, f"Motors of the catalogue nearest to {currents[0]:.4g} A with this propeller and pack",
        asked.shown, lambda part: {"kV": f"{part.kv_rpm_per_v:.0f} {kv_word(part)}", "g": signed(part.mass_g)},
    )  # fmt: skip
    reply = asked.reply(headline=sentences, blocks=[block], rows=rows, assumptions=found.assumptions,
                        extra={"nearest_parts": [_data(each) for each in found.nearest_parts]})  # fmt: skip
    return reply, all(math.isfinite(row["kv_on_paper_rpm_per_v"]) for row in rows)


def throttle(asked: Asked) -> tuple[Reply, bool]:
    """The throttle limit for a current."""
    from propmatch.questions.ask import throttle_for_current

    limits, said = _amps(asked, "limit")
    found = throttle_for_current(
        asked.train, limits, air=asked.air, sure=asked.sure(rating=asked.options["limit"] is None)
    )
    rows = [row | {"by_speed": bool(row["by_speed"])} for row in _rows_of(found)]
    sentences = []
    for row in rows:
        limit = f"{row['motor_current_limit_a']:.4g} A{_surely(row['chance'])}"
        if not math.isfinite(row["throttle_at_limit"]):
            sentences.append(f"No throttle keeps the motor current below {limit}.")
        elif row["throttle_at_limit"] >= 1:
            sentences.append(
                f"Full throttle draws {signed(row['motor_current_static_a'])} A, already below "
                f"{limit}; no throttle limit is needed."
            )
        else:
            fewer = fewer_amps(asked.train.count, row["motor_current_at_limit_a"], row["pack_current_at_limit_a"])
            kept = f"the motor current below {limit}"
            paper = _paper(row["chance"], percent_down(row["throttle_at_limit_on_paper"]))
            if row["by_speed"]:
                kept = f"the propeller below its highest speed, and so {kept}"
            sentences.append(
                f"A throttle limit of {percent_down(row['throttle_at_limit'])} duty{paper} keeps {kept} (full throttle "
                f"draws {signed(row['motor_current_static_a'])} A): static on a full battery the pack then gives about "
                f"{signed(row['pack_current_at_limit_a'])} A and {signed(row['pack_power_at_limit_w'], 0)} W{fewer}; "
                f"thrust is {asked.shown.thrust_text(row['thrust_at_limit_n'])} of "
                f"{asked.shown.thrust_text(row['thrust_static_n'])}."
            )
    headline = [*sentences, *said]
    reply = asked.reply(headline=headline, rows=rows, assumptions=found.assumptions, notes=[found.note])
    return reply, all(math.isfinite(row["throttle_at_limit_on_paper"]) for row in rows)


# ---------------------------------------------------------------- the whole aircraft


def mass(asked: Asked) -> tuple[Reply, bool]:
    """The range of all-up mass, for each variant."""
    from propmatch.questions.ask import mass_range

    sure = asked.sure()
    found = [
        mass_range(asked.resolved, asked.train, variant=setting.variant.name, sure=sure) for setting in asked.settings
    ]
    sentences = []
    for each in found:
        sentences.append(_mass_sentence(each, asked.shown))
    sentences += unplaced_words(asked.settings, asked.train)
    reply = asked.reply(
        headline=sentences,
        of=f"{asked.brief.aircraft.name} with {asked.place}",
        details={"mass build-up": mass_block(asked.settings, asked.train, asked.shown)},
        rows=[
            {**_row_of(each, "lightest_by", "heaviest_by", "surest_by", "without_target_by"), "failed": each.failing}
            for each in found
        ],
        assumptions=[a for each in found for a in each.assumptions],
        extra={"masses": masses_data(asked.settings, asked.train)},
        notes=[
            *_asked_words(sure),
            "The printed parts take up the difference with their filament in proportion, items stay as they are; "
            "without printed parts every line is in proportion. Wing and drag stay."
        ],
    )  # fmt: skip
    return reply, math.isfinite(found[0].lightest_on_paper_g)


def _asked_words(sure: Any) -> list[str]:
    """What is asked of wishes and ratings."""
    if sure is None:
        return []
    return [
        f"What the brief asks for must hold in {of_100(sure.chance)} builds, every rating in "
        f"{of_100(sure.rating_chance)}; --on-paper takes the numbers as they are stated."
    ]


def _mass_sentence(each: Any, shown: Shown) -> str:
    name = f"{each.variant} ({shown.mass_text(each.all_up_mass_g)} all-up)"
    free = ""
    if math.isfinite(each.without_target_g) and (each.failing or each.without_target_g > each.heaviest_g * 1.001):
        by = f" (heavier: {check_names(each.without_target_by)})" if each.without_target_by else ""
        paper = " on paper" if math.isfinite(each.chance) else ""
        free = f" Were it not for the target mass it could weigh{paper} {shown.mass_text(each.without_target_g)}{by}."
    if each.failing:
        return f"{name} as it is misses {check_names(each.failing)}.{free}"
    light, heavy = (shown.mass_text(mass) for mass in (each.lightest_on_paper_g, each.heaviest_on_paper_g))
    held = tuple(shown.mass_text(mass) for mass in (each.lightest_g, each.heaviest_g))
    paper = f" On paper it does from {light} to {heavy}." if (light, heavy) != held else ""
    if not math.isfinite(each.lightest_g):
        return (
            f"{name} meets the brief on paper from {light} to {heavy}, but at no mass as surely as is asked: at "
            f"{shown.mass_text(each.surest_g)}, the surest, every limit holds in {of_100(each.surest_chance)} builds, "
            f"{check_names(each.surest_by)} the least certain.{free}"
        )
    light = (
        f"from {shown.mass_text(each.lightest_g)} (lighter: {check_names(each.lightest_by)})"
        if each.lightest_by
        else f"from {shown.mass_text(each.lightest_g)} (power train, items and next to no filament)"
    )
    heavy = f"to {shown.mass_text(each.heaviest_g)}"
    heavy += f" (heavier: {check_names(each.heaviest_by)})" if each.heaviest_by else ", as far as was searched"
    surely = " as surely as is asked" if math.isfinite(each.chance) else ""
    return f"{name} meets the brief{surely} {light} {heavy}.{paper}{free}"


def pack(asked: Asked) -> tuple[Reply, bool]:
    """The pack for a flight time, for each variant."""
    from propmatch.questions.ask import capacity_for_minutes
    from propmatch.records.sections import Limits
    from propmatch.records.typed import read_number

    minutes: Any = asked.brief.limits.min_flight_minutes
    if asked.options["minutes"] is not None:
        minutes = read_number(Limits, "min_flight_minutes", asked.options["minutes"], "--minutes")
    if isinstance(minutes, Fault):
        raise InputFaults([minutes])
    if minutes is None:
        raise InputFaults([Fault("--minutes", rule="missing; the brief asks for no flight time")])
    sure = asked.sure()
    found = [
        capacity_for_minutes(
            asked.resolved, asked.train, float(minutes), catalogue=asked.stock.catalogue, variant=setting.variant.name,
            sure=sure,
        )
        for setting in asked.settings
    ]  # fmt: skip
    sentences = []
    for each in found:
        sentences.append(_pack_sentence(each, asked.train, asked.shown))
    sentences.append(f"{found[0].fit.text[0].upper()}{found[0].fit.text[1:]}.")
    rows = [
        {
            **_row_of(each),
            "failed_otherwise": each.failing_otherwise,
            "pack_mass_g": each.pack.mass_g if each.pack else None,
        }
        for each in found
    ]
    reply = asked.reply(
        headline=sentences,
        of=f"{asked.brief.aircraft.name} with {parts_text(asked.train, pack=False)}",
        blocks=[_pack_block(found[0], asked.shown)],
        details={"mass build-up": mass_block(asked.settings, asked.train, asked.shown)},
        rows=rows,
        assumptions=[a for each in found for a in each.assumptions],
        extra={"nearest_parts": [
            {"id": p.pack.id, **_rows_of(p)[0], "failed_otherwise": p.failing_otherwise}
            for p in found[0].nearest_parts
        ]},
    )  # fmt: skip
    return reply, math.isfinite(found[0].capacity_on_paper_mah)


def _pack_sentence(each: Any, train: "PowerTrain", shown: Shown) -> str:
    cells = train.pack.cells_series
    surely, paper = _surely(each.chance), _paper(each.chance, f"{each.capacity_on_paper_mah:.0f} mAh")
    if each.pack is None:
        paper = paper if math.isfinite(each.capacity_on_paper_mah) else ""
        return (
            f"{each.variant}: no {cells}S pack of this kind flies {each.wanted_minutes:g} minutes{surely}{paper}; the "
            f"longest is {each.longest_minutes:.1f} minutes with {each.longest_mah:.0f} mAh."
        )
    about = "" if each.fit.round_cells else "about "
    kind = f"{cells}S{each.pack.cells_parallel}P" if each.fit.round_cells else f"{cells}S"
    text = (
        f"{each.variant}: {each.wanted_minutes:g} minutes{surely} need a {kind} pack of {about}"
        f"{each.capacity_mah:.0f} mAh{paper}, {shown.mass_text(each.pack.mass_g)}, "
        f"{shown.mass_text(each.all_up_mass_g)} all-up"
    )
    misses = f"; but then it misses {check_names(each.failing_otherwise)}" if each.failing_otherwise else ""
    return f"{text}{misses}."


def _pack_block(each: Any, shown: Shown) -> list[str]:
    rows = [
        {
            "id": f"  {near.pack.id or near.pack.name}",
            "mAh": signed(near.pack.capacity_mah, 0),
            f"pack {shown.mass_unit}": shown.number(near.pack.mass_g, "mass"),
            f"all-up {shown.mass_unit}": shown.number(near.all_up_mass_g, "mass", 0),
            "min": signed(near.flight_minutes),
            **({"surely": signed(near.flight_minutes_held)} if math.isfinite(each.chance) else {}),
            "misses": check_names(near.failing_otherwise) or "nothing",
        }
        for near in each.nearest_parts
    ]
    if not rows:
        return ["The catalogue has no pack of this cell count."]
    return [*wrapped(f"Packs of the catalogue ({each.variant}), lightest that do it first:"),
            *table(rows, left=("id", "misses"))]  # fmt: skip


def field(asked: Asked) -> tuple[Reply, bool]:
    """Altitude and temperature for take-off thrust, for each variant."""
    from propmatch.questions.ask import site_range
    from propmatch.records.sections import Limits
    from propmatch.records.typed import read_number

    ratio: Any = None
    if asked.options["ratio"] is not None:
        ratio = read_number(Limits, "min_thrust_to_weight", asked.options["ratio"], "--thrust-to-weight")
        if isinstance(ratio, Fault):
            raise InputFaults([ratio])
    if ratio is None and asked.settings[0].brief.limits.min_thrust_to_weight is None:
        raise InputFaults([Fault("--thrust-to-weight", rule="missing; the brief asks for no thrust to weight")])
    sure = asked.sure()
    found = [
        site_range(asked.resolved, asked.train, min_thrust_to_weight=ratio, variant=setting.variant.name, sure=sure)
        for setting in asked.settings
    ]
    sentences = [_field_sentence(each) for each in found]
    rows = [_row_of(each) for each in found]
    first = found[0]
    block = [
        *wrapped(f"Highest field by air temperature there ({first.variant}):"),
        *table([{"degC": f"{t:.0f}", "field": _height(h)} for t, h in first.by_temperature]),
    ]
    reply = asked.reply(
        headline=sentences,
        of=f"{asked.brief.aircraft.name} with {asked.place}",
        blocks=[block],
        details={"mass build-up": mass_block(asked.settings, asked.train, asked.shown)},
        rows=rows,
        assumptions=[a for each in found for a in each.assumptions],
        notes=["Thin air also raises stall and take-off speed; a cold pack sags more than this reckons."],
        extra={"by_temperature": [{"variant": e.variant, "highest": e.by_temperature} for e in found]},
    )
    return reply, first.thrust_to_weight >= first.wanted_thrust_to_weight


def _height(metres: float) -> str:
    if not math.isfinite(metres):
        return "nowhere"
    return "6000 m and more" if metres >= 6000 else f"{metres:.0f} m"


def _field_sentence(each: Any) -> str:
    where = f"{each.altitude_m:.0f} m and {each.temperature_c:.0f} degC"
    here = f"static thrust to weight {each.thrust_to_weight:.2f} at half charge, {where}"
    others = {percent(charge): value for charge, value in each.by_charge.items() if charge != 0.5}
    fresh = joined([f"{value:.2f} at {charge}" for charge, value in others.items()])
    surely = _surely(each.chance)
    if surely:
        here += f", at least {each.thrust_to_weight_held:.2f}{surely}"
    paper = _paper(each.chance, _height(each.highest_on_paper_m))
    if not math.isfinite(each.highest_m):
        wanted = f"{each.wanted_thrust_to_weight:g}"
        return f"{each.variant}: {here} ({fresh}); {wanted}{surely} is reached at no field on such a day{paper}."
    hot = _height(each.highest_hot_m)
    warm = "60 degC and more" if each.warmest_c >= 60 else f"{each.warmest_c:.0f} degC"
    warm_text = (
        f"up to {warm} at {each.altitude_m:.0f} m" if math.isfinite(each.warmest_c) else "at no temperature there"
    )
    return (
        f"{each.variant}: {here} ({fresh}). It stays at {each.wanted_thrust_to_weight:g} or more{surely} up to "
        f"{_height(each.highest_m)}{paper} at the standard temperature drop, {hot} at 35 degC, and {warm_text}."
    )
