"""The sections of a brief: the classes are the file format.

The attribute of the object is the key of the file; ``[[phase]]`` of the file is the tuple ``brief.phase``. Only
``[aircraft]`` with a name and a mass (or lists of ``[[item]]`` and ``[[structure]]``) is required.
"""

from typing import Any

from propmatch.models.pack import COLDEST_C
from propmatch.records.aircraftkinds import AIRCRAFT_KINDS
from propmatch.records.body import BODY_RULES, Body, Control, MotorPlace
from propmatch.records.fields import (
    Rule,
    choice,
    declared,
    flag,
    integer,
    many,
    number,
    one,
    record,
    text,
    words_or_number,
)
from propmatch.records.launch import Launch
from propmatch.records.layout import Balance, Item, Structure, Tail, ThrustLine
from propmatch.records.masses import FILAMENTS, ItemChange, StructureChange, listed_mass_g
from propmatch.records.packuse import TOO_COLD, WARMEST_C, Flying, PackUse
from propmatch.records.parts import CD0_WORDS, MOTOR_OFF, aspect_ratio
from propmatch.records.radio import Radio
from propmatch.records.sureness import Practice, Uncertainty

__all__ = [
    "DEFAULT_SPEED_OVER_STALL",
    "Aircraft",
    "Brief",
    "Flying",
    "Launch",
    "Limits",
    "PackUse",
    "PartsFilter",
    "Phase",
    "Prefer",
    "Publish",
    "Radio",
    "Site",
    "Units",
    "Variant",
    "Wing",
]

DEFAULT_SPEED_OVER_STALL = 1.3
"""Airspeed of a phase that names only a throttle, over the stall speed; common practice."""

PUBLISHED_ALTITUDE_M, PUBLISHED_C = (0.0, 1000.0), (0.0, 35.0)
"""Fields and air that an envelope holds over where nobody states them; common practice, no published source."""


def _ends(stated: tuple[float | None, float | None], usual: tuple[float, float]) -> tuple[float, float]:
    """From and to, an end left out as usual."""
    low, high = (usual[at] if end is None else end for at, end in enumerate(stated))
    return low, high


def _receiver_supply() -> Any:
    return number(
        "g", ge=0, le=500, default=None,
        doc="separate supply (BEC) for receiver and servos, flown with a controller that brings none; 0 where it is in "
        "the bare mass or they have a pack of their own",
    )  # fmt: skip


def _motor_off() -> Any:
    return choice(
        tuple(MOTOR_OFF), default=None,
        doc="what the propellers do while the motor is off; left out: folding ones fold, others windmill; "
        "blades that do not fold stand still where 'folded' is asked for",
    )  # fmt: skip


@record()
class Aircraft:
    """Masses and what does not depend on the power train chosen; bare mass is everything but the power train."""

    name: str = text(doc="name of the aircraft")
    like: str | None = choice(
        tuple(AIRCRAFT_KINDS),
        default=None,
        doc="kind of aircraft: what is usual for it stands in for a wing not stated",
    )
    bare_mass_g: float | None = number(
        "g", ge=1, le=25000, default=None, doc="everything but the power train; or list [[item]] and [[structure]]"
    )
    target_mass_g: float | None = number("g", ge=1, le=50000, default=None, doc="limit of the all-up mass")
    motor_count: int = integer(ge=1, le=12, default=1, doc="number of motors, all alike")
    radio_current_a: float | None = number(
        "A", ge=0, le=50, default=None, doc="receiver, servos and payload, drawn from the pack; or list them in [radio]"
    )
    receiver_supply_mass_g: float | None = _receiver_supply()
    motor_off: str | None = _motor_off()


@record(
    rules=(
        Rule(
            ("span_mm", "area_dm2"),
            lambda span, area: span is not None and area is not None and not 0.5 <= aspect_ratio(span, area) <= 40,
            "and area_dm2 must give an aspect ratio span^2/area between 0.5 and 40",
        ),
    )
)
class Wing:
    """Wing and drag; anything left out is assumed and said so."""

    area_dm2: float | None = number("dm2", ge=0.2, le=1000, default=None, doc="wing area")
    span_mm: float | None = number("mm", ge=50, le=8000, default=None, doc="wing span")
    cl_max: float | None = number(ge=0.3, le=4, default=None, doc="highest lift coefficient")
    cd0: float | str | None = words_or_number(
        tuple(CD0_WORDS), ge=0.005, le=0.5, default=None, doc="zero-lift drag coefficient of the whole model"
    )
    oswald: float | None = number(ge=0.3, le=1.1, default=None, doc="span efficiency of the induced drag")
    installed_thrust: float | None = number(
        ge=0.5, le=1, default=None, doc="share of thrust left in front of or behind the airframe"
    )


@record()
class Variant(Wing):
    """Another build of the same aircraft: only what differs from ``[aircraft]`` and ``[wing]``."""

    name: str = text(doc="what is different, in a few words")
    bare_mass_g: float | None = number("g", ge=1, le=25000, default=None, doc="everything but the power train")
    filament: float | str | None = words_or_number(
        tuple(FILAMENTS),
        ge=0.1,
        le=3,
        default=None,
        doc="of all printed parts that are not named below; a number: filament in them over that as designed",
    )
    target_mass_g: float | None = number("g", ge=1, le=50000, default=None, doc="limit of the all-up mass")
    motor_count: int | None = integer(ge=1, le=12, default=None, doc="number of motors, all alike")
    radio_current_a: float | None = number(
        "A", ge=0, le=50, default=None, doc="receiver, servos and payload, drawn from the pack"
    )
    receiver_supply_mass_g: float | None = _receiver_supply()
    motor_off: str | None = _motor_off()
    must_hold: bool = flag(
        default=False, doc="a pick must keep the limits in this build too, not only in the aircraft as designed"
    )
    structure: tuple[StructureChange, ...] = many(StructureChange, default=(), doc="printed parts in another filament")
    item: tuple[ItemChange, ...] = many(ItemChange, default=(), doc="items changed, added or removed")
    body: Body | None = one(
        Body, default=None, doc="what differs from the aircraft's [body]; any wheel stated stands for all of them"
    )


@record(rules=(Rule(("cells",), lambda cells: len(set(cells)) < len(cells), "must not name a cell count twice"),))
class Limits:
    """What a power train must keep to; a limit left out is not judged."""

    min_thrust_to_weight: float | None = number(gt=0, le=10, default=None, doc="static, at half charge")
    min_flight_minutes: float | None = number("min", gt=0, le=1440, default=None, doc="flight time to the reserve")
    min_climb_m_s: float | None = number("m/s", gt=0, le=100, default=None, doc="best climb at half charge")
    min_launch_thrust_to_weight: float | None = number(
        gt=0, le=10, default=None, doc="at half stall speed, for a launch by hand"
    )
    max_propeller_diameter_in: float | None = number("in", ge=1, le=40, default=None, doc="room for the propeller")
    max_wing_loading_g_dm2: float | None = number("g/dm2", gt=0, le=1000, default=None, doc="all-up mass over area")
    mass_threshold_g: float | None = number(
        "g", gt=0, le=50000, default=None, doc="a legal mass class; rules differ by country and change: check yours"
    )
    cells: tuple[int, ...] = many(
        integer(ge=1, le=6, doc="cells in series"), default=(), doc="cell counts to consider; empty means any"
    )
    reserve_charge: float | None = number(ge=0, le=0.9, default=None, doc="charge left at the end of the flight")
    cutoff_cell_v: float | None = number(
        "V", ge=0.8, le=4.0, default=None,
        doc="lowest cell voltage under load; at least 3.0 LiPo, 2.5 Li-ion, 2.0 LiFePO4, 0.8 NiMH",
    )  # fmt: skip
    allow_burst: bool = flag(
        default=False, doc="let burst ratings serve for phases no longer than the part's burst_seconds"
    )
    estimated_ratings: str = choice(
        ("exclude", "warn"), default="exclude", doc="what a rating that is an estimate does when it is missed"
    )
    chance: float | None = number(
        ge=0.5, le=0.99, default=None, doc="with which the limits of the brief must be kept, all together"
    )
    rating_chance: float | None = number(
        ge=0.5, le=0.99, default=None, doc="with which every rating of a part must be kept, all together"
    )


def _given(value: object) -> bool:
    return value is not None


@record(
    rules=(
        Rule(
            ("throttle", "airspeed_m_s"),
            lambda throttle, airspeed: not _given(throttle) and not _given(airspeed),
            "missing; a phase needs throttle or airspeed_m_s",
        ),
        Rule(
            ("airspeed_m_s", "throttle"),
            lambda airspeed, throttle: airspeed == 0 and not _given(throttle),
            "must be above 0 m/s where the airspeed is held",
        ),
        Rule(
            ("climb_m_s", "throttle"),
            lambda climb, throttle: climb != 0 and _given(throttle),
            "goes with airspeed_m_s alone; with throttle the climb follows",
        ),
        Rule(
            ("load_factor", "throttle"),
            lambda load, throttle: load != 1 and _given(throttle),
            "goes with airspeed_m_s alone; with throttle the thrust is given",
        ),
        Rule(
            ("seconds", "share", "to_height_m"),
            lambda *ends: sum(_given(end) for end in ends) != 1,
            "a phase needs seconds, share or to_height_m, one of the three",
        ),
        Rule(
            ("to_height_m", "throttle", "climb_m_s"),
            lambda height, throttle, climb: _given(height) and not _given(throttle) and climb == 0,
            "needs a way up or down: throttle, or climb_m_s beside airspeed_m_s",
        ),
    ),
    positional=("name",),
)
class Phase:
    """A stretch of flight: an airspeed or a throttle held for a time, to a height, or for a share of the time."""

    name: str = text(doc="name of the phase")
    airspeed_m_s: float | None = number(
        "m/s", ge=0, le=150, default=None, doc="airspeed held; beside throttle, where that throttle is flown"
    )
    climb_m_s: float = number(
        "m/s", ge=-50, le=50, default=0.0, doc="rate of climb of a held airspeed; below 0: descent"
    )
    load_factor: float = number(ge=0.1, le=10, default=1.0, doc="lift over weight of a held airspeed: turns, gusts")
    throttle: float | None = number(ge=0, le=1, default=None, doc="duty, not stick position; 0 is motor off")
    seconds: float | None = number("s", gt=0, le=86400, default=None, doc="how long")
    share: float | None = number(gt=0, le=1000, default=None, doc="weight of this phase in the time that shares divide")
    to_height_m: float | None = number(
        "m", ge=0, le=3000, default=None, doc="height above the field at which it ends, climbing or gliding"
    )


@record(
    rules=(
        Rule(
            ("temperature_c", "pack_temperature_c"),
            lambda air, cells: air is not None and air < COLDEST_C and cells is None,
            TOO_COLD,
        ),
    )
)
class Site:
    """Where it flies."""

    altitude_m: float | None = number("m", ge=-500, le=6000, default=None, doc="height of the field above sea level")
    temperature_c: float | None = number("degC", ge=-40, le=60, default=None, doc="air temperature at the field")
    pack_temperature_c: float | None = number(
        "degC", ge=COLDEST_C, le=WARMEST_C, default=None, doc="temperature of the cells; left out: that of the air"
    )
    wind_m_s: float | None = number("m/s", ge=0, le=60, default=None, doc="wind along the way out and back")
    distance_m: float | None = number("m", gt=0, le=100000, default=None, doc="how far out and back again")


@record(
    rules=(
        Rule(
            ("altitude_to_m", "altitude_from_m"),
            lambda high, low: _ends((low, high), PUBLISHED_ALTITUDE_M)[0] > _ends((low, high), PUBLISHED_ALTITUDE_M)[1],
            f"must be at least altitude_from_m (left out: {PUBLISHED_ALTITUDE_M[0]:g} to {PUBLISHED_ALTITUDE_M[1]:g})",
        ),
        Rule(
            ("temperature_to_c", "temperature_from_c"),
            lambda high, low: _ends((low, high), PUBLISHED_C)[0] > _ends((low, high), PUBLISHED_C)[1],
            f"must be at least temperature_from_c (left out: {PUBLISHED_C[0]:g} to {PUBLISHED_C[1]:g})",
        ),
    )
)
class Publish:
    """What a publisher of plans fixes: the fields that other people fly from, over which the envelope must hold."""

    altitude_from_m: float | None = number("m", ge=-500, le=6000, default=None, doc="lowest field")
    altitude_to_m: float | None = number("m", ge=-500, le=6000, default=None, doc="highest field")
    temperature_from_c: float | None = number("degC", ge=COLDEST_C, le=WARMEST_C, default=None, doc="coldest air")
    temperature_to_c: float | None = number("degC", ge=COLDEST_C, le=WARMEST_C, default=None, doc="warmest air")

    @property
    def altitude_m(self) -> tuple[float, float]:
        """Lowest and highest field, what is left out as usual."""
        return _ends((self.altitude_from_m, self.altitude_to_m), PUBLISHED_ALTITUDE_M)

    @property
    def temperature_c(self) -> tuple[float, float]:
        """Coldest and warmest air, what is left out as usual."""
        return _ends((self.temperature_from_c, self.temperature_to_c), PUBLISHED_C)


@record()
class Prefer:
    """Weights of the ranking; only their ratios matter."""

    flight_time: float = number(ge=0, le=1e6, default=0.0, doc="longer flight")
    thrust_to_weight: float = number(ge=0, le=1e6, default=0.0, doc="more static thrust for its weight")
    mass: float = number(ge=0, le=1e6, default=0.0, doc="lighter all-up")
    top_speed: float = number(ge=0, le=1e6, default=0.0, doc="faster level flight")
    climb: float = number(ge=0, le=1e6, default=0.0, doc="faster climb")
    margin: float = number(ge=0, le=1e6, default=0.0, doc="further from the nearest limit")

    @property
    def weights(self) -> dict[str, float]:
        """The weights above 0 by name."""
        return {rule.name: getattr(self, rule.name) for rule in declared(Prefer) if getattr(self, rule.name) > 0}


@record()
class PartsFilter:
    """Which parts to consider: those of some boxes, and of them some by id; ``*`` stands for anything.

    Empty means all. Of a box only what it holds enough of counts: as many motors, controllers and propellers as the
    aircraft has motors; a part that does not say how many there are counts as enough.
    """

    only: tuple[str, ...] = many(
        text(), default=(), doc="boxes (or plugins) whose parts alone are considered, such as ['mine']"
    )
    motor: tuple[str, ...] = many(text(), default=(), doc="of those, motors with one of these ids, such as mine/22*")
    controller: tuple[str, ...] = many(text(), default=(), doc="controllers with one of these ids")
    pack: tuple[str, ...] = many(text(), default=(), doc="packs with one of these ids")
    propeller: tuple[str, ...] = many(text(), default=(), doc="propellers with one of these ids")


@record()
class Units:
    """Units of the text that is shown; data files and JSON keep theirs."""

    thrust: str = choice(("gf", "oz", "n"), default="gf", doc="thrust")
    speed: str = choice(("km_h", "mph", "m_s"), default="km_h", doc="speed")
    wing_loading: str = choice(("g_dm2", "oz_ft2"), default="g_dm2", doc="wing loading")


def _foremost(balance: Balance) -> float:
    """Where a tail cannot be any more [mm]."""
    edge, chord = balance.leading_edge_mm, balance.chord_mm
    return balance.target_cg_mm if edge is None else max(balance.target_cg_mm, edge + (chord or 0.0) / 4)


def _timed_between_shares(phases: tuple[Phase, ...]) -> dict[str, object]:
    shared = [at for at, phase in enumerate(phases) if phase.share is not None]
    between = [at for at in range(shared[0], shared[-1]) if at not in shared] if shared else []
    return {f"[{at + 1}].seconds": phases[at].seconds for at in between}


def _no_power(phases: tuple[Phase, ...]) -> bool:
    return bool(phases) and all(phase.throttle == 0 for phase in phases)


def _held_against(phases: tuple[Phase, ...], site: Site) -> dict[str, object]:
    wind = site.wind_m_s or 0.0
    held = {at: each.airspeed_m_s or 0.0 for at, each in enumerate(phases, 1) if each.throttle is None}
    return {f"[{at}].airspeed_m_s": speed for at, speed in held.items() if wind and speed <= wind}


def _same_name(variants: tuple[Variant, ...]) -> dict[str, object]:
    names = [each.name for each in variants]
    return {f"[{at + 1}].name": name for at, name in enumerate(names) if name in names[:at]}


@record(
    rules=(
        Rule(
            ("aircraft", "item", "structure"),
            lambda aircraft, item, structure: aircraft.bare_mass_g is None and not item and not structure,
            "missing; needs a number in g, or [[item]] and [[structure]] lists instead",
            at="aircraft.bare_mass_g",
        ),
        Rule(
            ("aircraft", "item", "structure"),
            lambda aircraft, item, structure: aircraft.bare_mass_g is not None and bool(item or structure),
            "must be left out where [[item]] or [[structure]] lists say what it is made of",
            at="aircraft.bare_mass_g",
        ),
        Rule(
            ("item", "structure"),
            lambda item, structure: bool(item or structure) and not 1 <= listed_mass_g(item, structure) <= 25000,
            "and structure must add up to between 1 and 25000 g",
        ),
        Rule(
            ("aircraft", "radio"),
            lambda aircraft, radio: aircraft.radio_current_a is not None and radio is not None,
            "must be left out where [radio] says what draws it",
            at="aircraft.radio_current_a",
        ),
        Rule(
            ("balance", "tail", "thrust_line"),
            lambda balance, tail, thrust_line: balance is None and not (tail is None and thrust_line is None),
            "missing; [tail] and [thrust_line] need its target_cg_mm (0 where lengths start from there)",
        ),
        Rule(
            ("thrust_line", "aircraft", "variant"),
            lambda line, aircraft, variant: (
                line is not None and line.side_mm > 0 and 1 in (aircraft.motor_count, *(v.motor_count for v in variant))
            ),
            "must be 0 with one motor; a motor beside the centre line needs a second one",
            at="thrust_line.side_mm",
        ),
        Rule(
            ("tail", "balance"),
            lambda tail, balance: tail is not None and balance is not None and tail.position_mm <= _foremost(balance),
            "must be aft of the centre of gravity and of the wing's quarter chord; a tail in front is not modelled",
            at="tail.position_mm",
        ),
        Rule(("phase",), _timed_between_shares, "a timed phase must stand before or after the shares, not between"),
        Rule(("phase",), _no_power, "must have one with the motor on: nothing else gives the height for a glide"),
        Rule(
            ("phase", "site"),
            _held_against,
            lambda _, site: (
                f"must be above [site] wind_m_s = {site.wind_m_s:g}, or the phase makes no headway: fly it faster, or "
                "in less wind"
            ),
        ),
        Rule(("variant",), _same_name, "must differ from the names of the other variants"),
        *BODY_RULES,
    )
)
class Brief:
    """What the aircraft needs; see the module for how it maps to a file."""

    aircraft: Aircraft = one(Aircraft, doc="masses")
    variant: tuple[Variant, ...] = many(Variant, default=(), doc="other builds of the same aircraft")
    radio: Radio | None = one(Radio, default=None, doc="what receiver, servos and payload draw")
    wing: Wing = one(Wing, default=Wing(), doc="wing and drag")
    limits: Limits = one(Limits, default=Limits(), doc="what a power train must keep to")
    phase: tuple[Phase, ...] = many(Phase, default=(), doc="how it is flown")
    site: Site = one(Site, default=Site(), doc="where it flies")
    pack: PackUse = one(PackUse, default=PackUse(), doc="how the pack is: its age, and its rest since charging")
    flying: Flying = one(Flying, default=Flying(), doc="manoeuvres and gusts beside the steady phases")
    launch: Launch | None = one(Launch, default=None, doc="how it gets into the air")
    prefer: Prefer = one(Prefer, default=Prefer(), doc="weights of the ranking")
    publish: Publish = one(
        Publish, default=Publish(), doc="the fields over which what others may fit must hold (envelope)"
    )
    practice: Practice = one(Practice, default=Practice(), doc="what an odd choice costs in the ranking")
    uncertainty: Uncertainty = one(Uncertainty, default=Uncertainty(), doc="how sure the numbers of the brief are")
    parts: PartsFilter = one(PartsFilter, default=PartsFilter(), doc="parts to consider")
    units: Units = one(Units, default=Units(), doc="units of the text shown")
    item: tuple[Item, ...] = many(Item, default=(), doc="what the bare mass is made of")
    structure: tuple[Structure, ...] = many(Structure, default=(), doc="printed parts")
    balance: Balance | None = one(Balance, default=None, doc="centre of gravity and where things sit")
    tail: Tail | None = one(Tail, default=None, doc="horizontal tail")
    thrust_line: ThrustLine | None = one(ThrustLine, default=None, doc="where the propeller pulls")
    motor_place: tuple[MotorPlace, ...] = many(MotorPlace, default=(), doc="where each of several motors is")
    body: Body | None = one(Body, default=None, doc="what is near the propeller's disc")
    control: Control | None = one(Control, default=None, doc="ailerons, fin and rudder")
