"""May this substitute part be fitted? Yes or no, and why, for every variant of the brief."""

from typing import Any

import attrs

from propmatch.catalogue.catalogue import Catalogue
from propmatch.checks.chances import Sureness, drawn
from propmatch.checks.judged import judged_trains
from propmatch.checks.limits import Check, checks_html, checks_of, missed, warnings_of
from propmatch.checks.placing import Placing, placing
from propmatch.checks.setting import ResolvedBrief
from propmatch.checks.throttlelimit import ThrottleLimit, throttle_limits
from propmatch.columns import CUBIC_LOADING, POWER_LOADING, STATIC, Column, beside, lanes_of
from propmatch.faults import Fault, InputFaults
from propmatch.records.brief import Brief
from propmatch.records.estimates import Assumption
from propmatch.records.fields import replace
from propmatch.records.parts import PARTS, PowerTrain
from propmatch.tablehtml import table_html
from propmatch.units import GRAM_KG

__all__ = ["NUMBERS", "Fit", "FitInVariant", "may_fit"]

NUMBERS = (
    Column(name="all_up_mass_g", heading="all-up {unit}", kind="mass", digits=0, label="all-up mass",
           getter=lambda measured: measured.frames.mass_kg / GRAM_KG),
    Column(name="thrust_static_n", heading="static thrust {unit}", kind="thrust", digits=0,
           label=f"thrust, {STATIC}", getter=lambda measured: measured.full(1.0).thrust_n),
    Column(name="thrust_to_weight", heading="thrust to weight, half charge", digits=2,
           label="thrust to weight, half charge", getter=lambda measured: measured["thrust_to_weight"].value),
    Column(name="motor_current_static_a", heading="static motor A", kind="A",
           label=f"current of one motor, {STATIC}", getter=lambda measured: measured.full(1.0).motor_current_a),
    Column(name="pack_current_static_a", heading="battery lead A", kind="A", label=f"pack current, {STATIC}",
           getter=lambda measured: measured.full(1.0).pack_current_a),
    Column(name="pack_power_per_mass_w_kg", heading="{unit}", kind="W/kg", digits=0, label=POWER_LOADING),
    Column(name="cubic_loading_kg_m3", heading="mass/area^1.5 {unit}", kind="kg/m3", label=CUBIC_LOADING),
    Column(name="flight_minutes", heading="minutes, brief's flying", kind="min", label="flight time",
           getter=lambda measured: measured["flight_time"].value),
)  # fmt: skip
"""What changes with a substitute."""


@attrs.frozen(kw_only=True, eq=False)
class FitInVariant:
    """The substitute in one variant.

    Attributes
    ----------
    variant : str
    fits : bool
        Every check of the brief and of part ratings passes on paper.
    checks, before : tuple of Check
        With the substitute, and with the design.
    numbers, numbers_before : dict
        Those of ``NUMBERS``.
    limited : ThrottleLimit
        The throttle limit of the substitute, and every check made again with it.
    ends, ends_before : dict
        Both ends of the interval of each of ``NUMBERS``, ``NAME_low`` and ``NAME_high``.
    sure, sure_before : Sureness
        With the substitute, and with the design.
    """

    variant: str
    fits: bool
    checks: tuple[Check, ...]
    before: tuple[Check, ...]
    numbers: dict[str, float]
    numbers_before: dict[str, float]
    limited: ThrottleLimit
    ends: dict[str, float]
    ends_before: dict[str, float]
    sure: Sureness
    sure_before: Sureness

    @property
    def row(self) -> dict[str, Any]:
        """As JSON and CSV have it."""
        before = beside(self.numbers_before, self.ends_before)
        return {
            "variant": self.variant, "fits": self.fits, "holds": self.holds,
            "failed": [check.name for check in self.failing],
            "outside_practice": [check.name for check in self.outside_practice], **beside(self.numbers, self.ends),
            **{f"{name}_before": value for name, value in before.items()},
            "chance_all_limits": self.sure.chance_all_limits,
            "chance_all_limits_before": self.sure_before.chance_all_limits,
            "chance_by_check": self.sure.chance_by_check, **self.limited.row,
        }  # fmt: skip

    @property
    def holds(self) -> bool:
        """Whether it fits with the chances that the brief asks for, not on paper alone."""
        return self.fits and self.sure.holds

    @property
    def failing(self) -> tuple[Check, ...]:
        """Checks that rule it out, a danger first."""
        return missed(self.checks)

    @property
    def new_failing(self) -> tuple[Check, ...]:
        """Those of them that the design itself passes."""
        already = {check.name for check in missed(self.before)}
        return tuple(check for check in self.failing if check.name not in already)

    @property
    def outside_practice(self) -> tuple[Check, ...]:
        """The same of what is no reason to refuse it: common practice, and estimated ratings that only warn."""
        return warnings_of(self.checks)


@attrs.frozen(kw_only=True, eq=False)
class Fit:
    """The answer.

    Attributes
    ----------
    brief : Brief
    train, design : PowerTrain
        With the substitute, and without.
    changes : dict
        Kind to the substitute.
    variants : tuple of FitInVariant
        The aircraft as designed first.
    placing : Placing
        Balance and trim of the design and the substitute, as designed.
    assumptions : tuple of Assumption
    """

    brief: Brief
    train: PowerTrain
    design: PowerTrain
    changes: dict[str, Any]
    variants: tuple[FitInVariant, ...]
    placing: Placing
    assumptions: tuple[Assumption, ...]

    @property
    def fits(self) -> bool:
        """Whether it may be fitted to the aircraft as designed, on paper."""
        return self.variants[0].fits

    def __repr__(self) -> str:
        """A line for each variant."""
        parts = ", ".join(f"{kind} {part.name}" for kind, part in self.changes.items())
        lines = [
            f"{each.variant}: {'fits' if each.fits else 'does not fit: ' + ', '.join(c.name for c in each.failing)}"
            for each in self.variants
        ]
        return "\n".join([f"{parts} in {self.brief.aircraft.name}", *lines])

    def _repr_html_(self) -> str:
        heads = ("variant", "fits", "limits missed", *(column.name for column in NUMBERS))
        rows = [
            [each.variant, "yes" if each.fits else "no", ", ".join(check.name for check in each.failing) or "none",
             *(each.numbers[column.name] for column in NUMBERS)]
            for each in self.variants
        ]  # fmt: skip
        return table_html(heads, rows) + checks_html(self.variants[0].checks)


def may_fit(brief: Brief | ResolvedBrief, catalogue: Catalogue, train: PowerTrain, **substitutes: Any) -> Fit:
    """Judge substitute parts in a design.

    Parameters
    ----------
    brief : Brief, resolved already or not
    catalogue : Catalogue
        Looked up when a substitute is an id.
    train : PowerTrain
        The design.
    motor, controller, pack, propeller : part or id
        One or more substitutes.

    Raises
    ------
    InputFaults
        No substitute, a kind nobody knows, an id the catalogue does not have.
    """
    faults = [
        Fault(where="substitute", key=kind, value="", rule=f"no such kind; the kinds are {', '.join(PARTS)}")
        for kind in substitutes
        if kind not in PARTS
    ]
    given = {kind: part for kind, part in substitutes.items() if part is not None}
    if not given:
        faults.append(Fault(where="substitute", rule="name at least one of " + ", ".join(PARTS)))
    if faults:
        raise InputFaults(faults)
    parts = {kind: catalogue.find(f"{kind}s", part) if isinstance(part, str) else part for kind, part in given.items()}
    changed = replace(train, **parts)
    resolved = ResolvedBrief.of(brief)
    made: dict[Assumption, None] = {}
    variants = []
    for setting in resolved.settings:
        measured, assumed = judged_trains(setting, [train, changed])
        made |= dict.fromkeys((*setting.variant.assumptions, *assumed))
        draws = drawn(setting, [train, changed])
        checks = checks_of(measured, sure=draws.each)
        ends_before, ends = draws.ends(NUMBERS, draws.measured)
        numbers_before, numbers = lanes_of(NUMBERS, measured)
        variants.append(
            FitInVariant(
                variant=setting.variant.name,
                fits=not missed(checks[1]),
                checks=tuple(checks[1]),
                before=tuple(checks[0]),
                numbers=numbers,
                numbers_before=numbers_before,
                limited=throttle_limits(measured)[1],
                ends=ends,
                ends_before=ends_before,
                sure=draws.each[1],
                sure_before=draws.each[0],
            )
        )
    placed = placing(resolved.as_designed, [train, changed], ("the design", "the substitute"))
    made |= dict.fromkeys(placed.steering.assumptions)
    return Fit(
        brief=resolved.stated,
        train=changed,
        design=train,
        changes=parts,
        variants=tuple(variants),
        placing=placed,
        assumptions=tuple(made),
    )
