"""May this substitute part be fitted? Yes or no, and why, for every variant of the brief."""

from typing import Any

import attrs
import numpy as np

from propmatch.catalogue.catalogue import Catalogue
from propmatch.checks.judged import judged_trains
from propmatch.checks.limits import Check, checks_of, excludes
from propmatch.checks.measures import settings
from propmatch.checks.placing import Placing, placing
from propmatch.checks.throttlecap import ratings_cap
from propmatch.faults import Fault, InputFaults
from propmatch.records.brief import Brief
from propmatch.records.estimates import Assumption
from propmatch.records.fields import replace
from propmatch.records.parts import PARTS, PowerTrain
from propmatch.units import GRAM_KG

__all__ = ["Fit", "FitInVariant", "may_fit"]

_NUMBERS = ("all_up_mass_g", "thrust_n", "thrust_to_weight", "motor_current_a", "pack_current_a", "minutes")


@attrs.frozen(kw_only=True, eq=False)
class FitInVariant:
    """The substitute in one variant.

    Attributes
    ----------
    variant : str
    fits : bool
        Every check of the brief and of part ratings passes.
    checks, before : tuple of Check
        With the substitute, and with the design.
    numbers, numbers_before : dict
        all_up_mass_g, thrust_n (static, fresh), thrust_to_weight (half charge), motor_current_a and pack_current_a
        (static, fresh), minutes.
    cap_throttle, cap_motor_limit_a, cap_pack_current_a : float
        Throttle cap that keeps the ratings, 1 when none is needed; the limit, and what a wattmeter shows there.
    """

    variant: str
    fits: bool
    checks: tuple[Check, ...]
    before: tuple[Check, ...]
    numbers: dict[str, float]
    numbers_before: dict[str, float]
    cap_throttle: float
    cap_motor_limit_a: float
    cap_pack_current_a: float

    @property
    def failing(self) -> tuple[Check, ...]:
        """Checks that rule it out."""
        return tuple(check for check in self.checks if excludes(check))

    @property
    def new_failing(self) -> tuple[Check, ...]:
        """Those of them that the design itself passes."""
        already = {check.name for check in self.before if excludes(check)}
        return tuple(check for check in self.failing if check.name not in already)

    @property
    def outside_practice(self) -> tuple[Check, ...]:
        """Checks of common practice that it exceeds: no reason to refuse it, but worth knowing."""
        return tuple(check for check in self.checks if check.verdict == "over" and not excludes(check))


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
        """Whether it may be fitted to the aircraft as designed."""
        return self.variants[0].fits


def may_fit(brief: Brief, catalogue: Catalogue, train: PowerTrain, **substitutes: Any) -> Fit:
    """Judge substitute parts in a design.

    Parameters
    ----------
    brief : Brief
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
    every = settings(brief)
    made: dict[Assumption, None] = {}
    variants = []
    for setting in every:
        measured, assumed = judged_trains(setting, [train, changed])
        made |= dict.fromkeys((*setting.variant.assumptions, *assumed))
        checks = checks_of(measured)
        fresh = measured.full(1.0)
        columns: dict[str, Any] = {
            "all_up_mass_g": measured.frames.mass_kg / GRAM_KG,
            "thrust_n": fresh.thrust_n,
            "thrust_to_weight": measured["thrust_to_weight"].value,
            "motor_current_a": fresh.motor_current_a,
            "pack_current_a": fresh.pack_current_a,
            "minutes": measured["flight_time"].value,
        }
        numbers = [{name: float(np.asarray(columns[name])[at]) for name in _NUMBERS} for at in (0, 1)]
        cap = ratings_cap(measured)
        variants.append(
            FitInVariant(
                variant=setting.variant.name,
                fits=not any(excludes(check) for check in checks[1]),
                checks=tuple(checks[1]),
                before=tuple(checks[0]),
                numbers=numbers[1],
                numbers_before=numbers[0],
                cap_throttle=float(cap.throttle[1]),
                cap_motor_limit_a=float(cap.motor_limit_a[1]),
                cap_pack_current_a=float(cap.pack_current_a[1]),
            )
        )
    names = ("the design", "the substitute")
    return Fit(
        brief=brief,
        train=changed,
        design=train,
        changes=parts,
        variants=tuple(variants),
        placing=placing(every[0], [train, changed], names),
        assumptions=tuple(made),
    )
