"""What is the same for every power train of a match: one variant of a brief at its site."""

import attrs
import numpy as np
from numpy.typing import NDArray

from propmatch.aircraft.balance import MassBuildUp, PackPlaces, bare_build_up, place_packs
from propmatch.aircraft.geometry import Geometry
from propmatch.aircraft.polar import AirframeLanes, airframe_lanes
from propmatch.faults import Fault, InputFaults
from propmatch.models.air import Air
from propmatch.records.brief import Brief, ResolvedVariant, resolve_variants
from propmatch.records.estimates import completed
from propmatch.records.sections import Phase
from propmatch.units import GRAM_KG

__all__ = ["Setting", "balance_miss_mm", "packs_placed", "setting", "setting_named", "settings"]

Floats = NDArray[np.float64]


@attrs.frozen(kw_only=True, eq=False)
class Setting:
    """What is the same for every power train: one variant of the brief at its site.

    Attributes
    ----------
    brief : Brief, completed; stated : Brief as it came
    variant : ResolvedVariant
    air : Air
    build : MassBuildUp or None, geometry : Geometry or None, for the balance
    """

    brief: Brief
    stated: Brief
    variant: ResolvedVariant
    air: Air
    build: MassBuildUp | None
    geometry: Geometry | None

    @property
    def phases(self) -> tuple[Phase, ...]:
        """The phases of the brief."""
        return self.brief.phase

    @property
    def full_throttle_seconds(self) -> float | None:
        """Longest time on end above throttle 0.95; None when it has no end, or no phase says how long.

        Timed phases that follow each other add up; without shares the list repeats, so the last meets the first.
        """
        phases = list(self.phases)
        quiet = [at for at, p in enumerate(phases) if p.throttle is None or p.throttle <= 0.95]
        if not quiet:
            return None
        if all(p.share is None for p in phases):
            phases = phases[quiet[0] :] + phases[: quiet[0]]
        longest = stretch = 0.0
        for phase in phases:
            loud = phase.throttle is not None and phase.throttle > 0.95
            if loud and phase.seconds is None:
                return None
            stretch = stretch + (phase.seconds or 0.0) if loud else 0.0
            longest = max(longest, stretch)
        return longest or None

    def airframes(self, train_mass_g: Floats) -> AirframeLanes:
        """The airframe carrying each train."""
        mass = (self.variant.airframe.bare_mass_g + train_mass_g) * GRAM_KG
        return airframe_lanes(self.variant.airframe, mass)[0]


def setting(brief: Brief, variant: ResolvedVariant | None = None) -> Setting:
    """The setting of one variant, the aircraft as designed by default."""
    filled, _ = completed(brief)
    chosen = resolve_variants(brief)[0] if variant is None else variant
    site = filled.site
    assert site.altitude_m is not None
    geometry = Geometry.of_brief(filled, chosen.airframe)
    return Setting(
        brief=filled,
        stated=brief,
        variant=chosen,
        air=Air.at_site(site.altitude_m, site.temperature_c),
        build=None if geometry is None else bare_build_up(filled, chosen),
        geometry=geometry,
    )


def settings(brief: Brief) -> tuple[Setting, ...]:
    """The setting of each variant, the aircraft as designed first."""
    return tuple(setting(brief, variant) for variant in resolve_variants(brief))


def setting_named(brief: Brief, variant: str | None) -> Setting:
    """The setting of a variant, by default of the aircraft as designed.

    Raises
    ------
    InputFaults
        No variant of this name.
    """
    every = settings(brief)
    for each in every:
        if variant is None or each.variant.name == variant:
            return each
    known = ", ".join(repr(each.variant.name) for each in every)
    raise InputFaults([Fault(where="variant", key="name", value=variant, rule=f"the variants are {known}")])


def packs_placed(
    setting: Setting, *, motors_g: Floats, propellers_g: Floats, controllers_g: Floats, pack_g: Floats
) -> PackPlaces | None:
    """Each pack (N,) at its best place, beside these masses; None where the brief does not say enough."""
    geometry, build = setting.geometry, setting.build
    if geometry is None or build is None:
        return None
    places = (
        (motors_g, geometry.motor_mm),
        (propellers_g, geometry.propeller_mm),
        (controllers_g, geometry.controller_mm),
    )
    base = build.mass_g + np.sum([mass for mass, _ in places], axis=0)
    moment = build.mass_g * build.position_mm + sum(
        mass * (np.nan if place is None else place) for mass, place in places
    )
    return place_packs(geometry, base_mass_g=base, base_cg_mm=moment / base, pack_mass_g=pack_g)


def balance_miss_mm(
    setting: Setting, *, motors_g: Floats, propellers_g: Floats, controllers_g: Floats, pack_g: Floats
) -> tuple[Floats, Floats]:
    """How far from its target the centre of gravity stays with the pack at its best place, and the tolerance; (N,).

    NaN where the brief does not say enough.
    """
    packs = packs_placed(
        setting, motors_g=motors_g, propellers_g=propellers_g, controllers_g=controllers_g, pack_g=pack_g
    )
    if packs is None:
        return np.full(pack_g.shape, np.nan), np.full(pack_g.shape, np.nan)
    miss = np.abs(packs.miss_mm)
    return miss, np.where(np.isnan(miss), np.nan, packs.geometry.cg_tolerance_mm)
