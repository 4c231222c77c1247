"""A brief resolved once, at the door: what is the same for every power train, variant by variant.

Whoever is asked about a brief makes a ``ResolvedBrief`` of it, which costs nothing where it is one already, and passes
its settings on: nothing below completes the brief, lays out a variant or adds up a mass again.
"""

from collections.abc import Sequence
from functools import cached_property
from typing import Any

import attrs
import numpy as np

from propmatch.aircraft.balance import MassBuildUp, MassLanes, PackPlaces, place_masses
from propmatch.aircraft.clearance import Clearance
from propmatch.aircraft.endurance import FlightTime, flight_time
from propmatch.aircraft.geometry import Geometry
from propmatch.aircraft.motorheat import MotorHeat, motor_heat
from propmatch.aircraft.polar import (
    AirframeLanes,
    PolarFactors,
    completed_lanes,
    default_airspeed_m_s,
    phase_airspeed_m_s,
)
from propmatch.aircraft.speeds import AircraftSpeeds, aircraft_speeds
from propmatch.aircraft.wind import Journey, WindTrip, drawn_before_mah, wind_trips
from propmatch.faults import Fault, InputFaults
from propmatch.models.air import Air
from propmatch.models.arrays import Flags, Floats, Pick
from propmatch.records.brief import Brief, ResolvedVariant, laid_out, variant_launch
from propmatch.records.estimates import Assumption, completed
from propmatch.records.fields import replace
from propmatch.records.launch import Launch
from propmatch.records.motoroff import motor_off_notes
from propmatch.records.packflight import flight_notes
from propmatch.records.parts import Controller, Mass, Motor, Pack, PowerTrain, Propeller, TrainNumbers
from propmatch.records.sections import Phase
from propmatch.units import GRAM_KG

__all__ = ["ResolvedBrief", "Setting", "balance_miss_mm", "packs_placed", "settings"]


@attrs.frozen(kw_only=True, eq=False)
class Setting:
    """What is the same for every power train: one variant of the brief at its site.

    Attributes
    ----------
    brief : Brief, completed; stated : Brief as it came
    brief_assumptions : tuple of Assumption, what completed it
    variant : ResolvedVariant
    designed : ResolvedVariant, the aircraft itself
    air : Air
    build : MassBuildUp of the bare aircraft
    lanes : MassLanes, in its place where the bare aircraft differs from lane to lane
    polar : PolarFactors, where wing and drag differ from lane to lane
    cells_c : (N,) temperature of the cells, where it differs from lane to lane [degC]
    geometry : Geometry or None, for the balance
    """

    brief: Brief
    stated: Brief
    brief_assumptions: tuple[Assumption, ...]
    variant: ResolvedVariant
    designed: ResolvedVariant
    air: Air
    build: MassBuildUp
    geometry: Geometry | None
    lanes: MassLanes | None = None
    polar: PolarFactors | None = None
    cells_c: Floats | None = None

    @classmethod
    def of(
        cls,
        stated: Brief,
        brief: Brief,
        made: tuple[Assumption, ...],
        air: Air,
        variant: ResolvedVariant,
        designed: ResolvedVariant,
    ) -> "Setting":
        """A variant of a brief that is completed, in the air of its site."""
        return cls(
            brief=brief,
            stated=stated,
            brief_assumptions=made,
            variant=variant,
            designed=designed,
            air=air,
            build=MassBuildUp(variant.lines).scaled_to(variant.airframe.bare_mass_g),
            geometry=Geometry.of_brief(brief, variant.airframe),
        )

    def with_variant(self, variant: ResolvedVariant) -> "Setting":
        """The same brief and site with another build of the aircraft."""
        return Setting.of(self.stated, self.brief, self.brief_assumptions, self.air, variant, self.designed)

    def take(self, index: Pick) -> "Setting":
        """That of some lanes, where aircraft and air differ from lane to lane."""
        lanes, polar, air, cells_c = self.lanes, self.polar, self.air, self.cells_c
        by_lane = {a.name: x[index] for a in attrs.fields(Air) if np.size(x := np.asarray(getattr(air, a.name))) > 1}
        if lanes is None and polar is None and cells_c is None and not by_lane:
            return self
        return attrs.evolve(
            self,
            lanes=None if lanes is None else lanes.take(index),
            polar=None if polar is None else polar.take(index),
            cells_c=None if cells_c is None else cells_c[index],
            air=attrs.evolve(air, **by_lane),
        )

    @property
    def assumptions(self) -> tuple[Assumption, ...]:
        """What was assumed about the brief and this variant, each once."""
        return tuple(dict.fromkeys(self.brief_assumptions + self.variant.assumptions + self._launch[1]))

    @property
    def launch(self) -> Launch | None:
        """The launch of this variant; None where the brief has none."""
        return self._launch[0]

    @property
    def _launch(self) -> tuple[Launch | None, tuple[Assumption, ...]]:
        return variant_launch(self.brief, self.stated.launch, self.variant, self.designed)

    @property
    def clearance(self) -> Clearance | None:
        """Room around the propellers; None where the brief names nothing near them."""
        return Clearance.of_brief(self.brief, self.variant.body, self.variant.motor_count)

    @property
    def widest_in(self) -> float | None:
        """Largest propeller that the brief lets in, by its limit and by the room there is; None for any."""
        room = self.clearance
        widest = (self.brief.limits.max_propeller_diameter_in, None if room is None else room.largest_in)
        return min((each for each in widest if each is not None), default=None)

    @property
    def phases(self) -> tuple[Phase, ...]:
        """The phases of the brief."""
        return self.brief.phase

    @property
    def reserve_charge(self) -> float:
        """Charge at which the flight ends, 0..1."""
        assert self.brief.limits.reserve_charge is not None
        return self.brief.limits.reserve_charge

    @property
    def cutoff_cell_v(self) -> float | None:
        """Cell voltage under load at which the flight ends; None for the usual one of the pack's chemistry."""
        return self.brief.limits.cutoff_cell_v

    @property
    def full_throttle_seconds(self) -> float | None:
        """Longest time on end above throttle 0.95; None when it has no end, or no phase says how long."""
        loud = [[p.throttle is not None and p.throttle > 0.95] for p in self.phases]
        longest = float(np.max(self.seconds_on_end(np.array(loud))))
        return longest if 0 < longest < np.inf else None

    @property
    def burst_load_seconds(self) -> float | None:
        """How long full throttle lasts where the brief lets burst ratings serve; else None."""
        return self.full_throttle_seconds if self.brief.limits.allow_burst else None

    def seconds_on_end(self, loud: Flags) -> Floats:
        """How long the stretch lasts that each loud phase (P, N) belongs to [s]; 0 for the others.

        Phases that follow each other add up, a share of the time has no end, and without shares the list repeats.
        """
        own = np.array([[np.inf if p.seconds is None else p.seconds] for p in self.phases])
        lasts = np.where(loud, own, 0.0)
        if all(p.share is None for p in self.phases):
            lasts = np.where(np.all(loud, axis=0), np.inf, lasts)

        def summed(order: list[int]) -> Floats:
            """Each phase and those before it on end."""
            out, so_far = np.zeros(lasts.shape), np.zeros(lasts.shape[1])
            rounds = 2 if all(p.share is None for p in self.phases) else 1
            for i in order * rounds:
                so_far = np.where(loud[i], so_far + lasts[i], 0.0)
                out[i] = so_far
            return out

        forth = list(range(len(lasts)))
        before, after = summed(forth), summed(forth[::-1])
        endless = np.isinf(before) | np.isinf(after)
        with np.errstate(invalid="ignore"):
            return np.where(endless, np.inf, before + after - lasts)

    # ------------------------------------------------------------ masses and airspeeds

    @property
    def bare(self) -> MassBuildUp | MassLanes:
        """The bare aircraft, or that of each lane."""
        return self.build if self.lanes is None else self.lanes

    def all_up_mass_g(self, train_mass_g: Mass) -> Mass:
        """Mass of everything that flies, with a power train of this mass [g]."""
        mass = self.variant.airframe.all_up_mass_g(train_mass_g)
        return mass if self.lanes is None else mass + (self.lanes.mass_g - self.build.mass_g)  # type: ignore[return-value]

    def all_up_mass_kg(self, train_mass_g: Mass) -> Mass:
        """The same [kg]."""
        return self.all_up_mass_g(train_mass_g) * GRAM_KG

    def train_mass_g(self, all_up_mass_g: Mass) -> Mass:
        """What an all-up mass leaves for the power train [g]."""
        return self.variant.airframe.train_mass_g(all_up_mass_g)

    def airframes(self, train_mass_g: Floats) -> AirframeLanes:
        """The airframe carrying each train."""
        frames = completed_lanes([self.variant.airframe], self.all_up_mass_kg(train_mass_g))
        return frames if self.polar is None else self.polar.of(frames)

    def airspeed_m_s(self, phase: Phase, airframes: AirframeLanes) -> Floats:
        """Airspeed of a phase (N,) [m/s], 1.3 times the stall speed where it names none."""
        return phase_airspeed_m_s(phase, airframes, self.air.density_kg_m3)

    def default_airspeed_m_s(self, airframes: AirframeLanes) -> Floats:
        """1.3 times the stall speed (N,) [m/s]."""
        return default_airspeed_m_s(airframes, self.air.density_kg_m3)

    # ------------------------------------------------------------ power trains

    @property
    def train_numbers(self) -> TrainNumbers:
        """What is the same for every power train: motor count, radio current, supply, how the cells are, and what is
        asked of the propellers with the motor off.
        """
        return self._numbers_of(self.variant)

    def _numbers_of(self, variant: ResolvedVariant) -> TrainNumbers:
        return TrainNumbers(
            count=variant.motor_count,
            radio_current_a=variant.radio_current_a,
            receiver_supply_mass_g=variant.receiver_supply_mass_g,
            pack_temperature_c=self.brief.site.pack_temperature_c,
            motor_off=variant.motor_off,
            pack_cycles=self.brief.pack.cycles or 0,
            pack_rest_h=self.brief.pack.rest_h or 0.0,
        )

    @cached_property
    def _renumbered(self) -> dict[str, tuple[Any, Any]]:
        """Numbers of power trains that are not those of the aircraft as designed: those, and these."""
        designed, own = self._numbers_of(self.designed), self.train_numbers
        return {
            name: (designed[name], value)  # type: ignore[literal-required]
            for name, value in own.items() if value != designed[name]  # type: ignore[literal-required]
        }  # fmt: skip

    def flown(self, train: PowerTrain) -> PowerTrain:
        """A power train as this variant flies it: what the aircraft itself says of it gives way to the variant's."""
        changed = {name: value for name, (was, value) in self._renumbered.items() if getattr(train, name) == was}
        return replace(train, **changed) if changed else train

    def assumptions_of(self, train: PowerTrain) -> tuple[Assumption, ...]:
        """What stands in for missing numbers of a power train, and what its cells and propeller mean for the flight."""
        of_flight = flight_notes(self.cutoff_cell_v, [train.pack])
        return (*completed(train)[1], *of_flight, *motor_off_notes(self.flown(train), self.phases))

    def flight_time(self, train: PowerTrain, held_factor: float = 1.0) -> FlightTime:
        """How long a power train flies the phases as this variant flies it, and what ends the flight.

        ``held_factor`` multiplies the pack current of held airspeeds: manoeuvres and gusts beside steady flight.
        """
        train = self.flown(train)
        return flight_time(
            train, self.variant.airframe, self.all_up_mass_kg(train.mass_g), self.phases,
            reserve_charge=self.reserve_charge, cutoff_cell_v=self.cutoff_cell_v, air=self.air,
            held_factor=held_factor,
        )  # fmt: skip

    def speeds(self, train: PowerTrain) -> AircraftSpeeds:
        """Stall, glide, cruise, climb and turns of this variant with a power train."""
        train = self.flown(train)
        mass_kg = self.all_up_mass_kg(train.mass_g)
        return aircraft_speeds(train, self.variant.airframe, mass_kg, self.phases, air=self.air)

    def wind_trips(self, train: PowerTrain, used_mah: Sequence[float]) -> tuple[WindTrip, ...]:
        """Out and back in the wind of the site, for the charge that each phase of the flight takes [mAh].

        Empty where the brief names neither wind nor distance.
        """
        site = self.brief.site
        if site.wind_m_s is None:
            return ()
        train = self.flown(train)
        journey = Journey(
            wind_m_s=site.wind_m_s,
            distance_m=site.distance_m,
            drawn_mah=drawn_before_mah(self.phases, used_mah),
            reserve_charge=self.reserve_charge,
            cutoff_cell_v=self.cutoff_cell_v,
        )
        mass_kg = self.all_up_mass_kg(train.mass_g)
        return wind_trips(train, self.variant.airframe, mass_kg, self.phases, journey, air=self.air)

    def motor_heat(self, train: PowerTrain, flight: FlightTime) -> MotorHeat:
        """Heat of one motor in each phase of that flight."""
        return motor_heat(self.flown(train), flight, self.air)

    def train(self, motor: Motor, controller: Controller, pack: Pack, propeller: Propeller) -> PowerTrain:
        """Four parts as this aircraft flies them."""
        return PowerTrain(motor=motor, controller=controller, pack=pack, propeller=propeller, **self.train_numbers)


@attrs.frozen(eq=False)
class ResolvedBrief:
    """A brief with everything filled in and every variant laid out.

    Attributes
    ----------
    settings : tuple of Setting
        One for each variant, the aircraft as designed first.
    """

    settings: tuple[Setting, ...]

    @classmethod
    def of(cls, brief: "Brief | ResolvedBrief") -> "ResolvedBrief":
        """Resolve a brief; one that is resolved already stays as it is."""
        if isinstance(brief, ResolvedBrief):
            return brief
        filled, made = completed(brief)
        assert filled.site.altitude_m is not None
        air = Air.at_site(filled.site.altitude_m, filled.site.temperature_c)
        variants = laid_out(filled, made)
        return cls(tuple(Setting.of(brief, filled, made, air, each, variants[0]) for each in variants))

    @property
    def stated(self) -> Brief:
        """The brief as it came."""
        return self.settings[0].stated

    @property
    def as_designed(self) -> Setting:
        """The setting of the aircraft without any variant."""
        return self.settings[0]

    def named(self, variant: str | None) -> Setting:
        """The setting of a variant, by default of the aircraft as designed.

        Raises
        ------
        InputFaults
            No variant of this name.
        """
        for each in self.settings:
            if variant is None or each.variant.name == variant:
                return each
        known = ", ".join(repr(each.variant.name) for each in self.settings)
        raise InputFaults([Fault(where="variant", key="name", value=variant, rule=f"the variants are {known}")])

    def with_cells(self, cells: tuple[int, ...]) -> "ResolvedBrief":
        """The same with other cell counts asked for, on which nothing else rests."""

        def asking(brief: Brief) -> Brief:
            return replace(brief, limits=replace(brief.limits, cells=cells))

        brief, stated = asking(self.as_designed.brief), asking(self.stated)
        return ResolvedBrief(tuple(attrs.evolve(each, brief=brief, stated=stated) for each in self.settings))


def settings(brief: Brief) -> tuple[Setting, ...]:
    """The setting of each variant, the aircraft as designed first."""
    return ResolvedBrief.of(brief).settings


def packs_placed(
    setting: Setting, *, motors_g: Floats, propellers_g: Floats, controllers_g: Floats, supply_g: Floats, pack_g: Floats
) -> PackPlaces | None:
    """Each pack (N,) at its best place, beside these masses; None where the brief does not say enough."""
    if setting.geometry is None:
        return None
    return place_masses(
        setting.geometry, setting.bare, motors_g=motors_g, propellers_g=propellers_g, controllers_g=controllers_g,
        supply_g=supply_g, pack_g=pack_g,
    )  # fmt: skip


def balance_miss_mm(
    setting: Setting, *, motors_g: Floats, propellers_g: Floats, controllers_g: Floats, supply_g: Floats, pack_g: Floats
) -> tuple[Floats, Floats]:
    """How far from its target the centre of gravity stays with the pack at its best place, and the tolerance; (N,).

    NaN where the brief does not say enough.
    """
    packs = packs_placed(
        setting, motors_g=motors_g, propellers_g=propellers_g, controllers_g=controllers_g, supply_g=supply_g,
        pack_g=pack_g,
    )  # fmt: skip
    if packs is None:
        return np.full(pack_g.shape, np.nan), np.full(pack_g.shape, np.nan)
    miss = np.abs(packs.miss_mm)
    return miss, np.where(np.isnan(miss), np.nan, packs.geometry.cg_tolerance_mm)
