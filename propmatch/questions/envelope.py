"""The parts envelope: what others may fit to an aircraft, wherever its publisher says it may be flown.

The field is held from its lowest to its highest and from its coldest to its warmest air, in every variant that passes
by itself (:mod:`propmatch.questions.publishing`). Around the design, or around the least change of it that holds there
(:mod:`propmatch.questions.everywhere`), what builders choose is widened as far as random builds keep the brief's own
chances in each of these conditions (:mod:`propmatch.questions.grown`). Fresh random builds give what is shown.
"""

from collections.abc import Callable, Sequence
from typing import Any

import attrs
import numpy as np

from propmatch.catalogue.catalogue import Catalogue
from propmatch.checks.chances import Drawn, as_stated, drawn, interval
from propmatch.checks.judged import failing as failing_lanes
from propmatch.checks.judged import judged_trains
from propmatch.checks.placing import balance_assumptions
from propmatch.checks.ratings import Rating, rating_lanes
from propmatch.checks.setting import ResolvedBrief, Setting
from propmatch.checks.throttlelimit import ThrottleLimit, throttle_limits
from propmatch.columns import STATIC, number
from propmatch.models.arrays import Floats
from propmatch.questions.asflown import flown_factors, timer_minutes
from propmatch.questions.bought import AXES, Offer, bought_train
from propmatch.questions.cells import checked_cells, usual_cells
from propmatch.questions.costing import Costs
from propmatch.questions.everywhere import centre_of, critical, failing_in
from propmatch.questions.fits import Fit, may_fit
from propmatch.questions.grown import Builds, Grown, grown, grown_on_paper
from propmatch.questions.publishing import Condition, conditions, publish_assumptions
from propmatch.questions.worstcorner import Corner, worst_corner
from propmatch.records.brief import Brief
from propmatch.records.estimates import Assumption, completed
from propmatch.records.fields import replace
from propmatch.records.parts import Pack, PowerTrain, Propeller
from propmatch.search.matching import best_train
from propmatch.units import GRAM_KG

__all__ = ["CellEnvelope", "Choice", "Envelope", "Fit", "VariantCovered", "may_fit", "parts_envelope"]

Range = tuple[float, float]
NOWHERE: Range = (float("nan"), float("nan"))
_PACK_SIZES = (0.5, 2.0)
_PROPELLERS = 24
"""Packs of these sizes over the centre's, and so many propellers nearest to the centre's in size, are tried."""
_SURE = 0.99
"""Share of builds in each condition whose load a rating asked for bears, where the design's own is higher."""


@attrs.frozen(kw_only=True, eq=False)
class Choice:
    """A part that a builder may, or may not, fit.

    Attributes
    ----------
    part : Propeller or Pack
    fits : bool
    failed : tuple of str
        Checks that speak against it, worst first; empty where it fits.
    chance_brief, chance_ratings : float
        Least share, among the conditions, of random builds with it that keep the brief's limits, and the ratings; NaN
        where it does not fit.
    own : bool
        Whether it is the part of the envelope's centre.
    """

    part: Any
    fits: bool
    failed: tuple[str, ...]
    chance_brief: float
    chance_ratings: float
    own: bool

    @property
    def data(self) -> dict[str, Any]:
        """As JSON has it."""
        size = {name: getattr(self.part, name) for name in _SIZE_OF[type(self.part)]}
        of_choice = ("fits", "failed", "chance_brief", "chance_ratings", "own")
        return {"name": self.part.name, "id": self.part.id, **size, **{n: getattr(self, n) for n in of_choice}}


_SIZE_OF = {
    Propeller: ("diameter_in", "pitch_in", "blades", "family"), Pack: ("cells_series", "capacity_mah", "c_rating"),
}  # fmt: skip


@attrs.frozen(kw_only=True, eq=False)
class CellEnvelope:
    """What may be fitted with one cell count. Ranges are (from, to); of what follows they hold 80 of 100 builds.

    Attributes
    ----------
    cells : int
    train : PowerTrain
        What the envelope is grown around.
    changes : dict
        Kind to the part that had to change against the design for this count; the pack of another count always does.
    holds : bool
        Whether anything holds in every condition: else only ``train``, ``failing``, the currents of the design,
        ``limited`` and ``costs`` say something.
    failing : tuple of str
        Of a count that does not hold, or that the brief does not name, the checks that ``train`` fails on paper at the
        brief's own site.
    kv_label_rpm_per_v, motor_mass_g : Range
    propellers, packs : tuple of Choice
        Sizes as sold, nearest first; smallest first.
    pack_mass_g, pack_position_mm, all_up_mass_g : Range
        Position NaN without ``[balance]``.
    altitude_m, temperature_c : Range
        As published.
    thrust_static_n, thrust_to_weight, motor_current_static_a, pack_current_static_a, pack_power_static_w : Range
        ``design_*`` are the centre's own at the brief's site.
    controller_a, motor_a, motor_w : float
        Ratings asked for: what the loads of nearly all builds need, up to a whole step, and never above those of
        ``train``, so that its own parts may be fitted.
    controller_burst_a, motor_burst_a : float
        Where the brief allows bursts and the largest load needs one; else NaN.
    flight_minutes : Range
    timer_worst_minutes : float
        Of all that is allowed, as really flown, in the condition that flies shortest; not the timer of the design.
    chance_brief, chance_ratings : float
        Least share, among the conditions, of random builds that keep the brief's limits, and the ratings.
    corner : Corner or None
        The worst of all choices together.
    costs : Costs or None
        What costs most, of a count that fails nothing on paper and yet does not hold, and of a design that had to
        change.
    limited : ThrottleLimit
        The throttle limit of ``train`` at the brief's site, and every check made again with it.
    servo_supply_w : float
        Heat in a linear BEC, 0 without one.
    """

    cells: int
    train: PowerTrain
    changes: dict[str, Any]
    holds: bool
    failing: tuple[str, ...]
    propellers: tuple[Choice, ...]
    packs: tuple[Choice, ...]
    corner: Corner | None
    costs: Costs | None
    limited: ThrottleLimit
    kv_label_rpm_per_v: tuple[float, float] = number(kind="rpm/V", label="kV on the label")
    motor_mass_g: tuple[float, float] = number(kind="mass", label="mass of one motor")
    pack_mass_g: tuple[float, float] = number(kind="mass", label="mass of the pack")
    pack_position_mm: tuple[float, float] = number(kind="mm", label="centre of the pack, aft of the datum")
    all_up_mass_g: tuple[float, float] = number(kind="mass", label="all-up mass")
    altitude_m: tuple[float, float] = number(kind="m", label="field height")
    temperature_c: tuple[float, float] = number(kind="degC", label="air temperature")
    thrust_static_n: tuple[float, float] = number(kind="thrust", label=f"thrust, {STATIC}")
    design_thrust_static_n: float = number(kind="thrust", label=f"thrust of the design, {STATIC}")
    thrust_to_weight: tuple[float, float] = number(label="thrust to weight, half charge")
    motor_current_static_a: tuple[float, float] = number(kind="A", label=f"current of one motor, {STATIC}")
    design_motor_current_static_a: float = number(kind="A", label=f"current of one motor of the design, {STATIC}")
    pack_current_static_a: tuple[float, float] = number(kind="A", label=f"pack current, {STATIC}")
    design_pack_current_static_a: float = number(kind="A", label=f"pack current of the design, {STATIC}")
    pack_power_static_w: tuple[float, float] = number(kind="W", label=f"power from the pack, {STATIC}")
    controller_a: float = number(kind="A", label="continuous rating that an ESC needs")
    controller_burst_a: float = number(kind="A", label="burst rating that an ESC needs, as the brief allows")
    motor_a: float = number(kind="A", label="continuous rating that a motor needs")
    motor_burst_a: float = number(kind="A", label="burst rating that a motor needs, as the brief allows")
    motor_w: float = number(kind="W", label="power rating that a motor needs")
    flight_minutes: tuple[float, float] = number(kind="min", label="flight time")
    timer_worst_minutes: float = number(kind="min", label="timer setting, as really flown, worst allowed parts")
    servo_supply_w: float = number(kind="W", label="most heat in the BEC of nearly all allowed builds")
    chance_brief: float = number(kind="%", label="chance to keep the limits of the brief")
    chance_ratings: float = number(kind="%", label="chance to keep every rating")


@attrs.frozen(kw_only=True)
class VariantCovered:
    """Whether a variant of the brief is covered.

    Attributes
    ----------
    variant : str
    covered : bool
        Whether the design passes in it at the brief's own site with the chances asked for.
    failed : tuple of str
        Checks it misses on paper; where it misses none, the least certain one.
    chance_brief, chance_ratings : float
        Of the design in it, at the brief's own site.
    all_up_mass_by_cells_g : dict
        Cell count to mass with that count's parts.
    """

    variant: str
    covered: bool
    failed: tuple[str, ...]
    chance_brief: float
    chance_ratings: float
    all_up_mass_by_cells_g: dict[int, float]


@attrs.frozen(kw_only=True, eq=False)
class Envelope:
    """What other builders may fit.

    Attributes
    ----------
    brief : Brief
    train : PowerTrain
        The design.
    target_cg_mm, cg_tolerance_mm : float
        NaN without ``[balance]``.
    altitude_m, temperature_c : Range
        Where it may be flown, as published.
    asked : tuple of float
        The brief's chances: of its limits, and of the ratings.
    on_paper : bool
        Whether it is of every number as it is stated: parts that hold each beside the design's own, no chances, the
        ratings those of the design, nothing of what builds do.
    cells : dict
        Cell count to ``CellEnvelope``; ``missing`` : counts of which there is no pack in the catalogue.
    variants : tuple of VariantCovered
    setting : Setting
        Of the aircraft as designed.
    assumptions : tuple of Assumption
    """

    brief: Brief
    train: PowerTrain
    target_cg_mm: float
    cg_tolerance_mm: float
    altitude_m: Range
    temperature_c: Range
    asked: tuple[float, float]
    on_paper: bool
    cells: dict[int, CellEnvelope]
    missing: tuple[int, ...]
    variants: tuple[VariantCovered, ...]
    setting: Setting
    assumptions: tuple[Assumption, ...]


BOUGHT = Assumption(
    "parts envelope", "kv_rpm_per_v", float("nan"), "rpm/V",
    "other builders know a motor by label kV, mass and ratings, a pack by capacity and C label, a propeller by size, "
    "blades and family; all else varies as is usual for such parts",
)  # fmt: skip


def parts_envelope(
    brief: Brief | ResolvedBrief,
    catalogue: Catalogue,
    train: PowerTrain | None = None,
    *,
    cells: Sequence[int] | None = None,
    on_paper: bool = False,
    progress: Callable[[int, int], None] | None = None,
) -> Envelope:
    """The envelope of a design for each cell count, over the field that the brief's ``[publish]`` names.

    Parameters
    ----------
    brief : Brief, resolved already or not
    catalogue : Catalogue
        Its packs and propellers are the sizes that are judged, its parts are tried where a cell count or the field
        needs a change.
    train : PowerTrain, optional
        The design; default the best that matches the brief.
    cells : sequence of int, optional
        Default: the brief's and the design's own; of one, 2 and 3 too.
    on_paper : bool
        Every number as it is stated: no draws.
    progress : callable, optional
        Called with cell counts done and in all.

    Raises
    ------
    InputFaults
        Cell counts out of range.
    Unmet
        No train named and none that meets the brief.
    """
    resolved = ResolvedBrief.of(brief)
    design = resolved.as_designed
    asked = checked_cells(cells) if cells is not None else ()
    if train is None:
        train = best_train(resolved, catalogue)
    counts = asked or usual_cells(resolved, train)
    world = _World.of(resolved, catalogue, train, on_paper)
    found: dict[int, CellEnvelope] = {}
    for done, count in enumerate(counts):
        if progress is not None:
            progress(done, len(counts))
        if (each := world.of_count(count)) is not None:
            found[count] = each
    made = dict.fromkeys((*design.assumptions, *completed(train)[1]))
    for each in found.values():
        made |= dict.fromkeys(completed(bought_train(each.train))[1])
    made |= dict.fromkeys((*publish_assumptions(design.brief.publish), BOUGHT, *balance_assumptions(design, train)))
    geometry = design.geometry
    return Envelope(
        brief=resolved.stated,
        train=train,
        target_cg_mm=float("nan") if geometry is None else geometry.balance.target_cg_mm,
        cg_tolerance_mm=float("nan") if geometry is None else geometry.cg_tolerance_mm,
        altitude_m=design.brief.publish.altitude_m,
        temperature_c=design.brief.publish.temperature_c,
        asked=world.asked,
        on_paper=on_paper,
        cells=found,
        missing=tuple(count for count in counts if count not in found),
        variants=tuple(_weighed(each, setting, found) for setting, each in world.variants.items()),
        setting=design,
        assumptions=tuple(made),
    )


def _weighed(variant: VariantCovered, setting: Setting, found: dict[int, CellEnvelope]) -> VariantCovered:
    mass = {
        count: float(judged_trains(setting, [each.train])[0].frames.mass_kg[0] / GRAM_KG)
        for count, each in found.items()
    }
    return attrs.evolve(variant, all_up_mass_by_cells_g=mass)


def _covered(setting: Setting, train: PowerTrain, on_paper: bool) -> VariantCovered:
    sure = (as_stated if on_paper else drawn)(setting, [train]).each[0]
    wrong = failing_on_paper(setting, train)
    near = float(not wrong) if on_paper else float(sure.drawn.near[0])
    least = () if sure.least_certain is None else (sure.least_certain,)
    return VariantCovered(
        variant=setting.variant.name, covered=near >= 1.0, failed=() if near >= 1.0 else wrong or least,
        chance_brief=sure.chance_wishes, chance_ratings=sure.chance_ratings, all_up_mass_by_cells_g={},
    )  # fmt: skip


def failing_on_paper(setting: Setting, train: PowerTrain) -> tuple[str, ...]:
    """Checks that a train fails in a setting, every number as it is stated."""
    return failing_lanes(judged_trains(setting, [train])[0])[0]


@attrs.frozen(kw_only=True, eq=False)
class _World:
    """What is the same for every cell count.

    Attributes
    ----------
    design : Setting; train : PowerTrain, the design
    variants : setting of each variant to whether it is covered
    where : every condition that is held
    stock : kind to the parts that the brief lets in
    asked : chances of the brief's limits, and of the ratings
    on_paper : whether every number is as it is stated
    """

    design: Setting
    train: PowerTrain
    variants: dict[Setting, VariantCovered]
    where: tuple[Condition, ...]
    stock: dict[str, list[Any]]
    asked: tuple[float, float]
    on_paper: bool

    @classmethod
    def of(cls, resolved: ResolvedBrief, catalogue: Catalogue, train: PowerTrain, on_paper: bool) -> "_World":
        design, publish = resolved.as_designed, resolved.as_designed.brief.publish
        variants = {setting: _covered(setting, train, on_paper) for setting in resolved.settings}
        held = [setting for setting, each in variants.items() if each.covered or setting is design]
        stock = catalogue.let_in(design.brief.parts, design.variant.motor_count)
        widest = np.inf if design.widest_in is None else design.widest_in
        limits = design.brief.limits
        assert limits.chance is not None
        assert limits.rating_chance is not None
        return cls(
            design=design,
            train=train,
            variants=variants,
            where=conditions(held, publish.altitude_m, publish.temperature_c),
            stock={
                "motor": list(stock.motors.values()), "controller": list(stock.controllers.values()),
                "pack": [each for each in stock.packs.values() if each.chemistry == train.pack.chemistry],
                "propeller": [p for p in stock.propellers.values() if p.table is not None and p.diameter_in <= widest],
            },
            asked=(limits.chance, limits.rating_chance),
            on_paper=on_paper,
        )  # fmt: skip

    def of_count(self, count: int) -> CellEnvelope | None:
        """The envelope of one cell count; None where the catalogue has no pack of it."""
        own = self.train.pack
        packs = [each for each in self.stock["pack"] if each.cells_series == count]
        if count == own.cells_series:
            base = self.train
        elif packs:
            energy = own.capacity_mah * own.cells_series
            near = min(packs, key=lambda p: (abs(np.log(p.capacity_mah * count / energy)), -p.c_rating))
            base = replace(self.train, pack=near)
        else:
            return None
        wrong, named = failing_on_paper(self.design, base), self.design.brief.limits.cells
        if named and count not in named:
            return _result(self, base, costs=None, failing=wrong)
        if self.on_paper:
            return self._as_stated(base, packs)
        hard = critical(bought_train(base), self.where)
        centre = centre_of(base, self.stock | {"pack": packs}, hard)
        costs = None
        if (not centre.holds and not wrong) or (centre.changes and base is self.train):
            costs = Costs.of(self.design, [c for c, each in self.variants.items() if each.covered], bought_train(base))
        if not centre.holds:
            return _result(self, base, costs=costs, failing=wrong)
        if centre.changes:
            hard = critical(bought_train(centre.train), self.where)
        offer = _offer(centre.train, packs, self.stock["propeller"])
        may = grown(offer, hard[:2], self.where, self.asked)
        return _result(self, centre.train, costs=costs, changes=centre.changes, offer=offer, may=may)

    def _as_stated(self, base: PowerTrain, packs: Sequence[Pack]) -> CellEnvelope:
        """The same on paper, in every condition."""
        changes: dict[str, Any] = {}
        missed = failing_in(bought_train(base), self.where)
        if any(missed):
            *others, last = range(len(missed))
            where = [self.where[at] for at in (*sorted(others, key=lambda at: -len(missed[at])), last)]
            centre = centre_of(base, self.stock | {"pack": packs}, where, on_paper=True)
            if not centre.holds:
                wrong = tuple(dict.fromkeys(name for each in missed for name in each))
                return _result(self, base, costs=None, failing=wrong)
            base, changes = centre.train, centre.changes
        offer = _offer(base, packs, self.stock["propeller"])
        return _result(self, base, costs=None, changes=changes, offer=offer, may=grown_on_paper(offer, self.where))


def _offer(train: PowerTrain, packs: Sequence[Pack], propellers: Sequence[Propeller]) -> Offer:
    """Sizes as sold around a centre: its packs by capacity, its propellers by nearness."""
    own, disc = train.pack, train.propeller
    low, high = (size * own.capacity_mah for size in _PACK_SIZES)
    sold = {(p.capacity_mah, p.c_rating): p for p in reversed(packs) if low <= p.capacity_mah <= high}
    sold |= {(own.capacity_mah, own.c_rating): own}
    sizes = {_size(p): p for p in reversed(propellers)} | {_size(disc): disc}
    near = sorted(sizes.values(), key=lambda p: _off(p, disc))[:_PROPELLERS]
    return Offer(train, [sold[key] for key in sorted(sold)], near)


def _size(propeller: Propeller) -> tuple[Any, ...]:
    """What a propeller is known by; one of no known family by its name."""
    family = propeller.family or propeller.name
    return propeller.diameter_in, propeller.pitch_in, propeller.blades, family


def _off(propeller: Propeller, own: Propeller) -> tuple[float, bool]:
    """How far a size is from another; pitch counts half."""
    across = abs(np.log(propeller.diameter_in / own.diameter_in))
    return float(across + 0.5 * abs(np.log(propeller.pitch_in / own.pitch_in))), propeller is not own


# ---------------------------------------------------------------- what is shown


def _result(
    world: _World, train: PowerTrain, *, costs: Costs | None, failing: tuple[str, ...] = (),
    changes: dict[str, Any] | None = None, offer: Offer | None = None, may: Grown | None = None,
) -> CellEnvelope:  # fmt: skip
    site, publish = judged_trains(world.design, [train])[0], world.design.brief.publish
    fresh = site.full(1.0)
    shown: dict[str, Any] = dict.fromkeys(_SHOWN, NOWHERE) | dict.fromkeys(_ASKED, float("nan"))
    if offer is not None and may is not None:
        shown |= _shown(world, offer, may)
    return CellEnvelope(
        cells=train.pack.cells_series,
        train=train,
        changes=changes or {},
        holds=may is not None,
        failing=failing,
        propellers=() if offer is None or may is None else _choices(offer, may, "propeller"),
        packs=() if offer is None or may is None else _choices(offer, may, "pack"),
        corner=None if offer is None or may is None else _corner_of(offer, may),
        costs=costs,
        limited=throttle_limits(site)[0],
        altitude_m=publish.altitude_m,
        temperature_c=publish.temperature_c,
        design_thrust_static_n=float(fresh.thrust_n[0]),
        design_motor_current_static_a=float(fresh.motor_current_a[0]),
        design_pack_current_static_a=float(fresh.pack_current_a[0]),
        **shown,
    )


_SHOWN = (
    "kv_label_rpm_per_v", "motor_mass_g", "pack_mass_g", "pack_position_mm", "all_up_mass_g", "thrust_static_n",
    "thrust_to_weight", "motor_current_static_a", "pack_current_static_a", "pack_power_static_w", "flight_minutes",
)  # fmt: skip
_ASKED = (
    "controller_a", "controller_burst_a", "motor_a", "motor_burst_a", "motor_w", "timer_worst_minutes",
    "servo_supply_w", "chance_brief", "chance_ratings",
)  # fmt: skip


def _corner_of(offer: Offer, may: Grown) -> Corner:
    return worst_corner(offer, may.allowed, may.hard, on_paper=may.builds is None)


def _choices(offer: Offer, may: Grown, kind: str) -> tuple[Choice, ...]:
    axis = AXES.index(kind)
    out = []
    for at, part in enumerate(offer.axes[axis]):
        fits = bool(may.allowed[axis][at])
        brief, ratings = may.chance.get((axis, at), NOWHERE)
        out.append(
            Choice(part=part, fits=fits, failed=() if fits else may.why[axis, at], chance_brief=brief,
                   chance_ratings=ratings, own=at == offer.own[axis])
        )  # fmt: skip
    return tuple(out)


def _shown(world: _World, offer: Offer, may: Grown) -> dict[str, Any]:
    """What builders buy, and the numbers of the random builds in every condition; on paper the design's ratings."""
    kv, mass = (np.array(offer.axes[at])[may.allowed[at]] for at in (0, 1))
    masses = [offer.axes[2][at].mass_g for at in np.flatnonzero(may.allowed[2])]
    bought = {
        "kv_label_rpm_per_v": (float(kv[0]), float(kv[-1])),
        "motor_mass_g": (float(mass[0]), float(mass[-1])),
        "pack_mass_g": (min(masses), max(masses)),
    }
    if may.builds is not None:
        return bought | _built(world, offer, may.builds)
    own = rating_lanes([offer.train])
    motor_a, controller_a, motor_w = (each.continuous for each in (own.motor, own.controller, own.motor_power))
    ratings = {"motor_a": motor_a, "controller_a": controller_a, "motor_w": motor_w}
    return bought | {name: float(value[0]) for name, value in ratings.items()}


def _built(world: _World, offer: Offer, found: Builds) -> dict[str, Any]:
    """The numbers of the random builds in every condition."""
    builds = found.draws
    brief, ratings = (float(each) for each in found.chance)

    def spread(of: Callable[[Any], Any]) -> Range:
        values = np.concatenate([np.asarray(of(each.measured), dtype=np.float64) for each in builds])
        found = interval(values)
        return found.low, found.high

    def most(name: str) -> float:
        """What nearly all builds of each condition stay below."""
        return max(float(np.nanquantile(each.measured[name].value, _SURE)) for each in builds)

    own = rating_lanes([offer.train])
    loads = [most(n) for n in ("motor_current_static", "motor_current_flight", "motor_current_phase")]
    motor_a, motor_burst_a = _asked(max(loads), 0.1, own.motor, world.design)
    controller_a, controller_burst_a = _asked(most("controller_current"), 1.0, own.controller, world.design)
    placed = builds[0].measured.packs is not None
    return {
        "pack_position_mm": spread(lambda m: m.packs.pack_mm) if placed else NOWHERE,
        "all_up_mass_g": spread(lambda m: m.frames.mass_kg / GRAM_KG),
        "thrust_static_n": spread(lambda m: m.full(1.0).thrust_n),
        "thrust_to_weight": spread(lambda m: m["thrust_to_weight"].value),
        "motor_current_static_a": spread(lambda m: m.full(1.0).motor_current_a),
        "pack_current_static_a": spread(lambda m: m.full(1.0).pack_current_a),
        "pack_power_static_w": spread(lambda m: m.full(1.0).pack_power_w),
        "flight_minutes": spread(lambda m: m.flight.minutes),
        "controller_a": controller_a, "controller_burst_a": controller_burst_a,
        "motor_a": motor_a, "motor_burst_a": motor_burst_a,
        "motor_w": _asked(most("motor_power"), 1.0, own.motor_power, world.design)[0],
        "timer_worst_minutes": _timer_minutes(world.where, offer, builds),
        "servo_supply_w": most("servo_supply_heat"),
        "chance_brief": brief, "chance_ratings": ratings,
    }  # fmt: skip


def _timer_minutes(where: Sequence[Condition], offer: Offer, builds: Sequence[Drawn]) -> float:
    """What nine builds of ten reach as really flown in the condition that flies shortest."""
    minutes: Floats = np.array([np.median(np.nan_to_num(each.measured.flight.minutes)) for each in builds])
    at = int(np.argmin(minutes))
    flying = where[at].setting.brief.flying
    centre = offer.on_paper([where[at]], np.array([offer.own], dtype=np.intp))
    stated = centre.flight_at(np.array([flying.taken[0].factor])).minutes[0]
    flown = builds[at].measured.flight_at(flown_factors(flying, len(builds[at].trains))).minutes
    return timer_minutes(float(stated), flown)


def _asked(most: float, step: float, own: Rating, setting: Setting) -> tuple[float, float]:
    """The continuous rating to ask for, and the burst where the largest load needs one that the brief allows, else NaN.

    The largest load up to a whole step, but never above the design's own part.
    """
    asked = float(np.ceil(most / step - 1e-9) * step)
    continuous, burst = float(own.continuous[0]), float(own.limit(setting.burst_load_seconds)[0])
    return float(np.fmin(asked, continuous)), min(asked, burst) if most > continuous and burst > continuous else np.nan
