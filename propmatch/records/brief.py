"""Read a brief, write it, fill its gaps with stated assumptions, and lay out its variants."""

import math
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

import attrs

from propmatch.faults import InputFaults
from propmatch.models.pack import USUAL_C
from propmatch.records.aircraftkinds import AIRCRAFT_KINDS, PLAIN_KIND
from propmatch.records.body import Body, body_laid_over, body_problems, gaps_assumed
from propmatch.records.estimates import PRACTICE, Assumption, completed
from propmatch.records.fields import Problem, declared, placed, readable, replace, walk
from propmatch.records.launch import Launch, launch_usual
from propmatch.records.masses import (
    BuildLine,
    Item,
    build_lines,
    listed_mass_g,
    stays_g,
)
from propmatch.records.massfaults import mass_problems
from propmatch.records.parts import CD0_WORDS, Airframe
from propmatch.records.radio import RECEIVER_CURRENT_A, SERVO_CURRENT_A, SERVOS
from propmatch.records.sections import (
    DEFAULT_SPEED_OVER_STALL,
    Aircraft,
    Brief,
    Flying,
    Limits,
    PackUse,
    PartsFilter,
    Phase,
    Prefer,
    Publish,
    Radio,
    Site,
    Units,
    Variant,
    Wing,
)
from propmatch.records.tomltext import TomlText, dump_record, parse_toml, read_toml
from propmatch.units import percent

__all__ = [
    "AS_DESIGNED",
    "Aircraft",
    "Brief",
    "Flying",
    "Limits",
    "PackUse",
    "PartsFilter",
    "Phase",
    "Prefer",
    "Publish",
    "Radio",
    "ResolvedVariant",
    "Site",
    "Units",
    "Variant",
    "Wing",
    "brief_of",
    "dump_brief",
    "laid_out",
    "load_brief",
    "loads_brief",
    "resolve_variants",
    "usual_all_up_mass_g",
    "variant_launch",
]

AS_DESIGNED = "as designed"
"""Name of the aircraft without any variant."""

POWER_TRAIN_SHARE = 0.35
CD0 = 0.05
OSWALD = 0.8
INSTALLED_THRUST = 1.0
RESERVE_CHARGE = 0.2
CHANCE, RATING_CHANCE = 0.8, 0.9
ALTITUDE_M = 0.0
THROTTLE = 0.6
MIN_THRUST_TO_WEIGHT = 0.4


# ---------------------------------------------------------------- files


def load_brief(path: str | Path) -> Brief:
    """Read a brief from a TOML file.

    Raises
    ------
    InputFaults
        With every fault of the file: file and line, key path, value, what would be right, and a guess at what a
        misspelt key was meant to be.
    """
    return _brief(read_toml(path))


def loads_brief(text: str, where: str = "brief") -> Brief:
    """The same from TOML text; ``where`` stands for the file name in faults."""
    return _brief(parse_toml(text, where))


def dump_brief(brief: Brief) -> str:
    """TOML text that reads back as an equal brief; fields at their default are left out."""
    return dump_record(brief)


def brief_of(data: Mapping[str, Any], where: str = "brief") -> Brief:
    """The same from tables of keys, as a TOML or JSON text holds them."""
    return _brief(TomlText(where, dict(data), {}))


def _brief(source: TomlText) -> Brief:
    if source.faults:
        raise InputFaults(source.faults)
    brief, problems = walk(Brief, source.data, "")
    if brief is None:
        problems += [*mass_problems(readable(Brief, source.data)), *_masses_apart(source.data)]
    else:
        problems += [*mass_problems(brief), *_target_problems(brief), *_variant_problems(brief)]
    if brief is None or problems:
        raise InputFaults(placed(problems, source.where, source.lines))
    return brief  # type: ignore[no-any-return]


def _masses_apart(data: Mapping[str, Any]) -> Iterator[Problem]:
    """Problems of target masses and of each variant that can be read with the aircraft, whatever else is wrong."""
    lists = {key: data[key] for key in ("aircraft", "wing", "item", "structure") if key in data}
    places = ("balance", "tail", "thrust_line", "motor_place", "body", "control")
    base = lists | {key: data[key] for key in places if key in data}
    variants = data.get("variant")
    alone = walk(Brief, lists, "")[0]
    if alone is not None and not mass_problems(alone):
        yield from _target_problems(alone)
    for at, variant in enumerate(variants if isinstance(variants, list) else (), start=1):
        brief = walk(Brief, {**base, "variant": [variant]}, "")[0]
        if brief is None and isinstance(variant, Mapping):
            without = {key: value for key, value in variant.items() if key != "body"}
            brief = walk(Brief, {**lists, "variant": [without]}, "")[0]
        if brief is not None and not mass_problems(brief):
            yield from _variant_problems(brief, at)


def _target_problems(brief: Brief) -> list[Problem]:
    """A target mass of the aircraft as designed that its bare mass alone exceeds."""
    bare = _bare_mass_g(_listed(completed(brief)[0], None)[0], None)
    return _below_bare("aircraft.target_mass_g", brief.aircraft.target_mass_g, bare)


def _below_bare(path: str, target: float | None, bare: float) -> list[Problem]:
    low = target is not None and target < bare
    return [Problem(path, target, f"is below the bare mass of {bare:g} g")] if low else []


def _variant_problems(brief: Brief, first: int = 1) -> list[Problem]:
    """What shows only when a variant is laid over the aircraft; the variants are counted from ``first``."""
    filled, _ = completed(brief)
    found: list[Problem] = []
    for at, variant in enumerate(filled.variant, start=first):
        path = f"variant[{at}]"
        found += walk(Wing, {rule.name: _either(variant, filled.wing, rule.name) for rule in declared(Wing)}, path)[1]
        found += [] if variant.body is None else body_problems(filled, variant.body, path)
        lines, _ = _listed(filled, variant)
        bare, least = _bare_mass_g(lines, variant), stays_g(lines)
        found += _below_bare(f"{path}.target_mass_g", variant.target_mass_g, bare)
        found += walk(Aircraft, {"name": variant.name, "bare_mass_g": bare}, path)[1]
        if variant.bare_mass_g is not None and not sum(line.mass_g for line in lines):
            right = "needs a line that weighs something and is not removed, to be spread over"
            found.append(Problem(f"{path}.bare_mass_g", bare, right))
        elif variant.bare_mass_g is not None and bare <= least:
            right = f"must be above {least:g} g, what items and additions to the print weigh without any filament"
            found.append(Problem(f"{path}.bare_mass_g", bare, right))
    return found


# ---------------------------------------------------------------- variants


@attrs.frozen(kw_only=True)
class ResolvedVariant:
    """One build of the aircraft with nothing left open.

    Attributes
    ----------
    name : str
        ``as designed`` for the aircraft itself, else the variant's name.
    airframe : Airframe
        Wing, drag as a number, and ``bare_mass_g`` of this build.
    target_mass_g : float or None
        Limit of the all-up mass; None when the brief has none.
    motor_count : int
    radio_current_a : float
    receiver_supply_mass_g : float or None
        Separate supply that the brief names, flown where the controller brings none; None leaves it to an estimate.
    motor_off : str or None
        What the propellers do while the motor is off; None leaves it to their family.
    must_hold : bool
        Whether a pick must keep the limits in this build too.
    body : Body or None
        What is near the propellers; None where nothing is stated.
    lines : tuple of Item
        What the bare aircraft is made of, before any bare mass that the variant states.
    assumptions : tuple of Assumption
        Everything assumed about this build.
    """

    name: str
    airframe: Airframe
    target_mass_g: float | None
    motor_count: int
    radio_current_a: float
    receiver_supply_mass_g: float | None
    motor_off: str | None = None
    must_hold: bool = False
    body: Body | None = None
    lines: tuple[Item, ...] = ()
    assumptions: tuple[Assumption, ...] = ()


def resolve_variants(brief: Brief) -> tuple[ResolvedVariant, ...]:
    """The aircraft as designed, then each variant laid over it.

    Raises
    ------
    InputFaults, ValueError
        When a variant makes an impossible airframe; a brief that came from a file has been checked for that.
    """
    return laid_out(*completed(brief))


def laid_out(brief: Brief, made: Sequence[Assumption]) -> tuple[ResolvedVariant, ...]:
    """The same of a completed brief and the assumptions made for it."""
    if problems := mass_problems(brief):
        raise InputFaults(placed(problems, "brief", {}))
    about = {"wing", "aircraft", "radio", "body"}
    common = tuple(each for each in made if each.subject in about)
    return tuple(_resolved(brief, variant, common) for variant in (None, *brief.variant))


def _resolved(brief: Brief, variant: Variant | None, common: tuple[Assumption, ...]) -> ResolvedVariant:
    lines, of_filament = _listed(brief, variant)
    bare = _bare_mass_g(lines, variant)
    listed = sum(line.mass_g for line in lines)
    spread = () if bare == listed else _spread(brief, variant, bare - listed)
    airframe, made = completed(
        Airframe(
            wing_area_dm2=_either(variant, brief.wing, "area_dm2"),
            wing_span_mm=_either(variant, brief.wing, "span_mm"),
            cd0=_either(variant, brief.wing, "cd0"),
            cl_max=_either(variant, brief.wing, "cl_max"),
            oswald=_either(variant, brief.wing, "oswald"),
            installed_thrust=_either(variant, brief.wing, "installed_thrust"),
            bare_mass_g=bare,
        )
    )
    overridden = {rule.name for rule in declared(Variant) if variant and getattr(variant, rule.name) is not None}
    if "radio_current_a" in overridden:
        overridden |= {rule.name for rule in declared(Radio)}
    current = _either(variant, brief.aircraft, "radio_current_a")
    body, of_body = _body(brief, variant)
    return ResolvedVariant(
        name=AS_DESIGNED if variant is None else variant.name,
        airframe=airframe,
        target_mass_g=_either(variant, brief.aircraft, "target_mass_g"),
        motor_count=_either(variant, brief.aircraft, "motor_count"),
        radio_current_a=brief.radio.current_a if current is None and brief.radio is not None else current,
        receiver_supply_mass_g=_either(variant, brief.aircraft, "receiver_supply_mass_g"),
        motor_off=_either(variant, brief.aircraft, "motor_off"),
        must_hold=variant is not None and variant.must_hold,
        body=body,
        lines=lines,
        assumptions=tuple(each for each in common if each.field not in overridden)
        + made
        + of_filament
        + spread
        + of_body,
    )


def _body(brief: Brief, variant: Variant | None) -> tuple[Body | None, tuple[Assumption, ...]]:
    """What is near the propellers of a variant."""
    if variant is None or variant.body is None:
        stands = None if brief.body is None else brief.body.main_wheel_height_mm
        if variant is None or stands is None or not variant.item:
            return brief.body, ()
        text = f"'{variant.name}' changes items and has no [variant.body]: its wheels stand as in [body]"
        return brief.body, (Assumption("body", "main_wheel_height_mm", stands, "mm", text),)
    made: list[Assumption] = []
    body = body_laid_over(brief.body, variant.body)
    assert body is not None
    several = _either(variant, brief.aircraft, "motor_count") > 1 and brief.thrust_line is not None
    return _completed_section(body, "body", made, **gaps_assumed(body, several)), tuple(made)


def _either(variant: Variant | None, base: Aircraft | Wing, name: str) -> Any:
    own = None if variant is None else getattr(variant, name)
    return getattr(base, name) if own is None else own


def _listed(brief: Brief, variant: Variant | None) -> tuple[tuple[Item, ...], tuple[Assumption, ...]]:
    """The mass lines of a variant before any mass that it states; a brief with one bare mass has one."""
    lines, made = build_lines(brief.item, brief.structure, variant)
    mass, balance = brief.aircraft.bare_mass_g, brief.balance
    if mass is None:
        return lines, made
    place, height = (None, None) if balance is None else (balance.bare_cg_mm, balance.bare_height_mm)
    bare = BuildLine(name="bare aircraft", mass_g=mass, varies_g=mass, position_mm=place, height_mm=height)
    return (bare, *lines), made


def _bare_mass_g(lines: Sequence[Item], variant: Variant | None) -> float:
    if variant is not None and variant.bare_mass_g is not None:
        return variant.bare_mass_g
    return sum(line.mass_g for line in lines)


def _spread(brief: Brief, variant: Variant | None, more: float) -> tuple[Assumption, ...]:
    """Where the bare mass that a variant states differs from the lists of the brief, and nobody says where."""
    if variant is None or variant.bare_mass_g is None or not (brief.item or brief.structure or variant.item):
        return ()
    way = f"{abs(more):.0f} g {'more' if more > 0 else 'less'} than the lists"
    printed = "in the filament of the printed parts in proportion, everything else as it is"
    where = printed if brief.structure else "in every line in proportion" if brief.item else "in the bare aircraft"
    return (Assumption("aircraft", "bare_mass_g", variant.bare_mass_g, "g", f"'{variant.name}' is {way}: {where}"),)


# ---------------------------------------------------------------- assumptions


@completed.register
def _completed_brief(brief: Brief) -> tuple[Brief, tuple[Assumption, ...]]:
    """Fill wing, drag, site, reserve, radio, phases and preference where the brief is silent.

    Limits stay open where the brief has none: what nobody asked for is not judged; only a least static thrust stands in
    where neither thrust nor climb is asked for. ``cd0`` in words stays words.
    """
    made: list[Assumption] = []
    wing = _completed_wing(brief, made)
    radio = brief.radio
    if brief.aircraft.radio_current_a is None:
        radio = _completed_radio(radio or Radio(), made)
    limits = _completed_section(brief.limits, "limits", made, reserve_charge=_RESERVE)
    limits = _completed_section(limits, "limits", made, chance=_CHANCE, rating_chance=_RATING_CHANCE)
    if limits.min_climb_m_s is None:
        limits = _completed_section(limits, "limits", made, min_thrust_to_weight=_THRUST)
    warmth = _cells_c(brief.site.temperature_c)
    site = _completed_section(brief.site, "site", made, altitude_m=_ALTITUDE, pack_temperature_c=warmth)
    if site.distance_m is not None:
        site = _completed_section(site, "site", made, wind_m_s=_WIND)
    body, several = brief.body, brief.aircraft.motor_count > 1 and brief.thrust_line is not None
    if body is not None or several:
        body = _completed_section(body or Body(), "body", made, **gaps_assumed(body or Body(), several))
    pack = _completed_section(brief.pack, "pack", made, cycles=_NEW, rest_h=_FRESH)
    launch = None if brief.launch is None else _completed_launch(brief, brief.launch, made)
    phase, prefer = brief.phase, brief.prefer
    if not phase:
        phase = (Phase(name="assumed flight", throttle=THROTTLE, share=1.0),)
        speed = f"{DEFAULT_SPEED_OVER_STALL:g} times stall speed"
        text = f"no phases stated: flown at throttle {THROTTLE:g} all the time, at {speed}; {PRACTICE}"
        made.append(Assumption("phase", "throttle", THROTTLE, "", text))
    if not prefer.weights:
        prefer = Prefer(flight_time=1.0)
        made.append(Assumption("prefer", "flight_time", 1.0, "", "nothing preferred: ranked by flight time"))
    if not made:
        return brief, ()
    filled = replace(
        brief, wing=wing, radio=radio, limits=limits, site=site, pack=pack, phase=phase, launch=launch, prefer=prefer,
        body=body,
    )  # fmt: skip
    return filled, tuple(made)


_RESERVE = (RESERVE_CHARGE, f"the flight ends with {percent(RESERVE_CHARGE)} of the charge left; {PRACTICE}")
_THRUST = (
    MIN_THRUST_TO_WEIGHT,
    f"at least {MIN_THRUST_TO_WEIGHT:g} of the weight as static thrust, the low end of gentle flying, as the brief "
    f"asks for neither thrust nor climb; {PRACTICE}",
)
_CHANCE = (CHANCE, f"a pick keeps the brief's limits in at least {100 * CHANCE:.0f} of 100 builds; {PRACTICE}")
_RATING_CHANCE = (
    RATING_CHANCE,
    f"and every rating of its parts in at least {100 * RATING_CHANCE:.0f} of 100; {PRACTICE}",
)
_ALTITUDE = (ALTITUDE_M, "the field lies at sea level")
_WIND = (0.0, "calm air on the way out and back, no wind being stated")
_NEW = (0, "the pack is new; an older one flies shorter")
_FRESH = (0.0, "the pack comes fresh from the charger; one that has rested starts lower")


def _cells_c(air_c: float | None) -> tuple[float, str]:
    """Temperature of the cells where nobody states it: that of the air, if it is stated."""
    if air_c is None:
        return USUAL_C, f"the cells are near {USUAL_C:g} degC, no temperature being stated"
    return air_c, f"the cells are as warm as the air at the field, {air_c:g} degC, at the start"


def _completed_section(section: Any, subject: str, made: list[Assumption], **values: tuple[Any, ...]) -> Any:
    """The section with each of these where it is None: the value, the text, and the range where one is known."""
    units = {rule.name: rule.unit for rule in declared(type(section))}
    changes = {}
    for name, (value, text, *spread) in values.items():
        if getattr(section, name) is None:
            changes[name] = value
            made.append(Assumption(subject, name, value, units[name], text, *spread))
    return replace(section, **changes) if changes else section


def _completed_radio(stated: Radio, made: list[Assumption]) -> Radio:
    receiver, *spread = RECEIVER_CURRENT_A
    values: dict[str, tuple[Any, ...]] = {
        "receiver_current_a": (receiver, f"the receiver draws {receiver:g} A; {PRACTICE}", *spread),
        "servos": (SERVOS, f"{SERVOS} servos, no number being stated; {PRACTICE}"),
        "payload_current_a": (0.0, "nothing beside receiver and servos draws from the pack, none being stated"),
    }
    if stated.servos != 0:
        size = stated.servo_size or next(iter(SERVO_CURRENT_A))
        each, *spread = SERVO_CURRENT_A[size]
        kind = f"a {size} servo" if stated.servo_size else f"a servo, taken as {size},"
        values["servo_current_a"] = (each, f"{kind} draws {each:g} A as the mean of a flight; {PRACTICE}", *spread)
    radio: Radio = _completed_section(stated, "radio", made, **values)
    return radio


def variant_launch(
    brief: Brief, stated: Launch | None, variant: ResolvedVariant, designed: ResolvedVariant
) -> tuple[Launch | None, tuple[Assumption, ...]]:
    """The launch of a build: the completed brief's, but thrown by hand as its own mass goes where nobody says how."""
    launch, bare = brief.launch, variant.airframe.bare_mass_g - designed.airframe.bare_mass_g
    aimed = variant.target_mass_g if variant.target_mass_g != designed.target_mass_g else None
    assumed = launch is not None and launch.kind == "hand" and stated is not None and stated.throw_speed_m_s is None
    if launch is None or not assumed or (bare == 0 and aimed is None):
        return launch, ()
    mass = usual_all_up_mass_g(brief)[0] + bare if aimed is None else aimed
    own = launch_usual(replace(launch, throw_speed_m_s=None), mass, f"the {mass:.0f} g of '{variant.name}'")
    throw, text, *spread = own["throw_speed_m_s"]
    made = Assumption("launch", "throw_speed_m_s", throw, "m/s", text, *spread)
    return replace(launch, throw_speed_m_s=throw), (made,)


def _completed_launch(brief: Brief, stated: Launch, made: list[Assumption]) -> Launch:
    usual = launch_usual(stated, *usual_all_up_mass_g(brief))
    launch: Launch = _completed_section(replace(stated, surface=None), "launch", made, **usual)
    return launch


def _completed_wing(brief: Brief, made: list[Assumption]) -> Wing:
    area, span = brief.wing.area_dm2, brief.wing.span_mm
    kind = AIRCRAFT_KINDS.get(brief.aircraft.like or "", PLAIN_KIND)
    usual = f", usual for a {brief.aircraft.like}" if brief.aircraft.like else ""
    values: dict[str, tuple[float, str]] = {}
    ratio = f"an aspect ratio of {kind.aspect_ratio:g}{usual}; {PRACTICE}"
    if area is None:
        if span is None:
            mass, basis = usual_all_up_mass_g(brief)
            area = _within(mass / kind.wing_loading_g_dm2, 0.2, 1000.0)
            loading = f"{kind.wing_loading_g_dm2:g} g/dm2{usual}"
            text = f"wing area {area:.3g} dm2 from {basis} at {loading}; {PRACTICE}"
        else:
            area = _within((span / 100) ** 2 / kind.aspect_ratio, 0.2, 1000.0)
            text = f"wing area {area:.3g} dm2 from the span and {ratio}"
        values["area_dm2"] = (area, text)
    if span is None:
        span = _within(100 * math.sqrt(kind.aspect_ratio * area), 50.0, 8000.0)
        values["span_mm"] = (span, f"wing span {span:.0f} mm from the area and {ratio}")
    lift = usual or ", a plain wing without flaps"
    values["cl_max"] = (kind.cl_max, f"highest lift coefficient {kind.cl_max:g}{lift}; {PRACTICE}")
    drag = CD0_WORDS[kind.drag] if kind.drag else CD0
    between = f", that of a {kind.drag}" if kind.drag else ", between a clean model and a trainer"
    values["cd0"] = (drag, f"zero-lift drag coefficient {drag:g}{between}; {PRACTICE}")
    values["oswald"] = (OSWALD, f"span efficiency {OSWALD:g} of the induced drag; {PRACTICE}")
    values["installed_thrust"] = (INSTALLED_THRUST, "no thrust lost to the airframe around the propeller")
    wing: Wing = _completed_section(brief.wing, "wing", made, **values)
    return wing


def usual_all_up_mass_g(brief: Brief) -> tuple[float, str]:
    """All-up mass aimed at, or usual for the bare mass [g], and in words what it is from."""
    target = brief.aircraft.target_mass_g
    if target is not None:
        return target, "the target mass"
    bare = brief.aircraft.bare_mass_g
    if bare is None:
        bare = listed_mass_g(brief.item, brief.structure)
    share = f"the bare mass and a power train of {percent(POWER_TRAIN_SHARE)} of the whole"
    return bare / (1 - POWER_TRAIN_SHARE), share


def _within(value: float, low: float, high: float) -> float:
    return min(max(value, low), high)
