"""Checks: one value against one limit, with margin, verdict and basis, for one design."""

from collections.abc import Iterable, Sequence
from typing import Any

import attrs
import numpy as np

from propmatch.aircraft.flightlanes import ENDED_BY
from propmatch.checks.judged import judged_trains
from propmatch.checks.measures import CHECKS, TrainMeasures
from propmatch.checks.setting import ResolvedBrief
from propmatch.records.brief import Brief, ResolvedVariant
from propmatch.records.estimates import Assumption, completed
from propmatch.records.parts import Airframe, PowerTrain
from propmatch.status import Status

__all__ = ["CLOSE", "Check", "Design", "checks_of", "excludes", "run_checks", "verdict_of"]

CLOSE = 0.10
"""Margin below which a check is ``close``."""


@attrs.frozen(kw_only=True)
class Check:
    """One value against one limit.

    Attributes
    ----------
    name : str
    value, limit : float
        NaN where there is no answer, or no limit to judge against.
    unit : str
    margin : float
        (limit - value)/limit, for minima (value - limit)/limit; NaN without a limit.
    verdict : str
        ``ok``, ``close`` (margin up to 0.10), ``over`` or ``unknown``.
    basis : str
        ``brief``, ``part rating`` or ``common practice``. Only ``over`` against the first two excludes.
    note : str
        What the value is, and what it rests on.
    least : bool
        True when the limit is a minimum.
    """

    name: str
    value: float
    limit: float
    unit: str
    margin: float
    verdict: str
    basis: str
    note: str = ""
    least: bool = False


def verdict_of(value: float, limit: float, *, least: bool = False) -> tuple[float, str]:
    """Margin and verdict of a value against a limit; no answer (NaN value) against a limit is ``over``."""
    if np.isnan(limit):
        return float("nan"), "unknown"
    if np.isnan(value):
        return float("nan"), "over"
    if np.isinf(limit):
        return float("inf"), "ok"
    if limit == 0:
        return (0.0 if value == 0 else float("-inf")), ("close" if value == 0 else "over")
    margin = (value - limit) / abs(limit) if least else (limit - value) / abs(limit)
    if margin < 0:
        return margin, "over"
    return margin, "close" if margin <= CLOSE else "ok"


def excludes(check: Check) -> bool:
    """True when this check alone rules a design out."""
    return check.verdict == "over" and check.basis in ("brief", "part rating")


@attrs.frozen(kw_only=True, eq=False)
class Design:
    """A power train in an airframe, as one variant of a brief.

    Attributes
    ----------
    train : PowerTrain
    airframe : Airframe
    variant : str
        Name of the variant, ``as designed`` for the aircraft itself.
    target_mass_g : float or None
        Limit of the all-up mass of this variant.
    """

    train: PowerTrain
    airframe: Airframe
    variant: str = "as designed"
    target_mass_g: float | None = None

    @classmethod
    def of(cls, train: PowerTrain, variant: ResolvedVariant) -> "Design":
        """The train in a resolved variant of a brief."""
        return cls(train=train, airframe=variant.airframe, variant=variant.name, target_mass_g=variant.target_mass_g)

    @property
    def all_up_mass_g(self) -> float:
        """Bare mass and power train."""
        return self.airframe.all_up_mass_g(self.train.mass_g)


def run_checks(design: Design, brief: Brief | ResolvedBrief, *, extra: Iterable[Any] = ()) -> list[Check]:
    """Every check of one design.

    Parameters
    ----------
    design : Design
    brief : Brief, resolved already or not
    extra : iterable of ExtraCheck
        Checks that plugins add; their results follow the built-in ones.

    Returns
    -------
    list of Check
        In the order of ``measures.CHECKS``. Currents fresh from the charger, thrust and climb at half charge.

    Raises
    ------
    ValueError
        A propeller without a coefficient table.
    """
    resolved = ResolvedBrief.of(brief)
    measured, _ = measures_of(design, resolved)
    checks = checks_of(measured)[0]
    for each in extra:
        checks += list(each.run(design, resolved.stated))
    return checks


def measures_of(design: Design, resolved: ResolvedBrief) -> tuple[TrainMeasures, tuple[Assumption, ...]]:
    """The measures of one design (one lane) and the estimates they rest on."""
    named = {each.variant.name: each for each in resolved.settings}
    base = named.get(design.variant, resolved.as_designed)
    target = design.target_mass_g or base.variant.target_mass_g
    airframe, _ = completed(design.airframe)
    variant = attrs.evolve(base.variant, name=design.variant, airframe=airframe, target_mass_g=target)
    measured, made = judged_trains(base.with_variant(variant), [design.train])
    return measured, made + variant.assumptions


def checks_of(measured: TrainMeasures) -> list[list[Check]]:
    """Checks of every lane."""
    out: list[list[Check]] = [[] for _ in range(measured.lanes.size)]
    for name, rule in CHECKS.items():
        measure = measured[name]
        judged = np.broadcast_to(measure.judged, measure.value.shape)
        for lane, checks in enumerate(out):
            value, limit = float(measure.value[lane]), float(measure.limit[lane])
            margin, verdict = verdict_of(value, limit, least=rule.least)
            basis = rule.basis if judged[lane] else "common practice"
            checks.append(
                Check(
                    name=name,
                    value=value,
                    limit=limit,
                    unit=rule.unit,
                    margin=margin,
                    verdict=verdict,
                    basis=basis,
                    note=_note(name, measured, lane, value),
                    least=rule.least,
                )
            )
    return out


def _note(name: str, measured: TrainMeasures, lane: int, value: float) -> str:
    """What the value is, what stands beside it, and why it may be missing."""
    parts = [CHECKS[name].what]
    if name == "thrust_to_weight":
        weight = measured.frames.weight_n[lane]
        reserve = measured.setting.brief.limits.reserve_charge or 0.0
        fresh, low = (measured.full(q).thrust_n[lane] / weight for q in (1.0, reserve))
        parts.append(_beside(fresh, low, digits=2))
    elif name == "climb":
        reserve = measured.setting.brief.limits.reserve_charge or 0.0
        fresh, low = (measured.top_at(q).climb_m_s[lane] for q in (1.0, reserve))
        parts.append(_beside(fresh, low, digits=1))
    elif name in ("motor_current_static", "motor_current_flight", "controller_current"):
        seconds = measured.setting.full_throttle_seconds
        limit = "continuous limit" if seconds is None else f"limit for {seconds:g} s of full throttle"
        parts.append(
            f"{limit}; at part throttle a motor carries more than it draws from the pack, where a wattmeter sits"
        )
    elif name == "propeller_rpm" and not measured.ratings.max_rpm_stated[lane]:
        parts.append("limit of the blade family, unverified: the maker's comes first")
    elif name == "pack_sustained":
        parts.append("against half the C label, or what the cell resistance supports if that is lower")
    elif name == "tip_mach" and value > TIP_REMARK:
        parts.append("noisy from about 0.6")
    elif name == "mass_threshold":
        parts.append("rules differ by country and change: check yours")
    elif name == "flight_time":
        parts.append(f"ends by {ENDED_BY.get(int(measured.flight.ended_by[lane]), 'no answer')}")
    elif name == "level_throttle":
        parts.append("duty, not stick position")
    if np.isnan(value) and name not in ("balance", "speed_over_stall", "level_throttle", "motor_current_flight"):
        status = int(measured.full(1.0).status[lane])
        parts.append(Status(status).meaning if status else "no answer here")
    elif np.isnan(value) and name == "level_throttle" and measured.flown:
        parts.append("cannot hold this speed at reserve charge, or no phase holds one")
    return "; ".join(parts)


def _beside(fresh: float, low: float, *, digits: int) -> str:
    """The same value with a fresh pack and at the reserve."""
    first, last = ("no answer" if np.isnan(x) else f"{x:.{digits}f}" for x in (fresh, low))
    return f"fresh {first}, at reserve {last}"


TIP_REMARK = 0.6


def smallest_margin(checks: Sequence[Check]) -> Check | None:
    """The check nearest to its limit among those that can exclude; None when there is none."""
    judged = [c for c in checks if c.basis in ("brief", "part rating") and not np.isnan(c.margin)]
    return min(judged, key=lambda c: c.margin, default=None)
