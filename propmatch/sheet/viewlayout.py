"""What side and top view show of an aircraft: every mass line with its place and number, the balance, the jet.

x runs aft of the datum, y to the right wing and z up from the level line, all in mm as in the brief.
"""

import attrs
import numpy as np

from propmatch.aircraft.balance import place_trains
from propmatch.aircraft.geometry import Geometry
from propmatch.aircraft.polar import polar_speeds
from propmatch.aircraft.stability import stability
from propmatch.aircraft.trim import Flown, trim
from propmatch.aircraft.yawroll import Controls
from propmatch.checks.placing import mass_lines
from propmatch.checks.setting import Setting
from propmatch.models.arrays import Floats
from propmatch.models.clearance import ground_line
from propmatch.models.slipstream import contraction_radius_m
from propmatch.records.body import Body, DiscPlace, disc_places, disc_rooms, ground_contacts
from propmatch.records.parts import PowerTrain
from propmatch.records.sections import DEFAULT_SPEED_OVER_STALL
from propmatch.train.coupling import solve
from propmatch.units import INCH_M, MM_M

__all__ = ["Layout", "Mass", "Spot"]


Spot = tuple[float, float, float | None]


@attrs.frozen(kw_only=True)
class Mass:
    """A line of the mass list, or a place for ballast, with its number in the drawing.

    Attributes
    ----------
    number : int
    name : str
    mass_g : float
        NaN for a place without a mass.
    position_mm, height_mm : float or None
        As stated, or of the middle of several motors.
    spots_mm : tuple of (x, y, z or None)
        Where it is drawn: one place, that of every motor or propeller, or none.
    flown : bool
        Part of the power train.
    """

    number: int
    name: str
    mass_g: float
    position_mm: float | None
    height_mm: float | None
    spots_mm: tuple[Spot, ...] = ()
    flown: bool = False


@attrs.frozen(kw_only=True, eq=False)
class Layout:
    """Where everything of one aircraft sits, and its jet.

    Attributes
    ----------
    geometry : Geometry
    train : PowerTrain
    body : Body or None
    controls : Controls
        Of which the fin is drawn.
    discs_mm : tuple of (x, y, z or None)
        Centres of the propellers; empty where nothing says where they are.
    masses : tuple of Mass
    cg_mm, cg_height_mm : float
        Centre of gravity with the pack at its place; NaN where something has none. Its height as the trim takes it.
    thrust_n, airspeed_m_s : float
        Of one propeller, full throttle and a full pack; what the jet is drawn for. NaN thrust: no jet.
    jet_slope : float
        Rise of the jet's centre line over its length.
    density_kg_m3 : float
    """

    geometry: Geometry
    train: PowerTrain
    body: Body | None
    controls: Controls
    discs_mm: tuple[Spot, ...]
    masses: tuple[Mass, ...]
    cg_mm: float
    cg_height_mm: float
    thrust_n: float
    airspeed_m_s: float
    jet_slope: float
    density_kg_m3: float

    @classmethod
    def of(cls, setting: Setting, train: PowerTrain) -> "Layout | None":
        """Of a power train in one variant of a brief; None without a ``[balance]``."""
        geometry, train = setting.geometry, setting.flown(train)
        if geometry is None:
            return None
        places = place_trains(geometry, setting.build, [train])
        cg, level = (float(np.ravel(each)[0]) for each in (places.cg_mm, places.cg_height_mm))
        density = float(setting.air.density_kg_m3)
        mass_kg = setting.all_up_mass_kg(train.mass_g)
        held = [phase.airspeed_m_s for phase in setting.phases if phase.airspeed_m_s]
        stall = polar_speeds(setting.variant.airframe, mass_kg, air=setting.air).stall_speed_m_s
        speed = min(held) if held else DEFAULT_SPEED_OVER_STALL * float(np.max(stall))
        thrust = float(solve(train, airspeed_m_s=speed, air=setting.air).thrust_n)
        flown = Flown(
            thrust_n=thrust, airspeed_m_s=speed, mass_kg=mass_kg, cg_mm=cg if np.isfinite(cg) else None,
            cg_height_mm=level, diameter_m=train.propeller.diameter_in * INCH_M, count=train.count,
            density_kg_m3=density,
        )  # fmt: skip
        return cls(
            geometry=geometry, train=train, body=setting.variant.body,
            controls=Controls.of(setting.brief.control, yaw=True), discs_mm=_discs(geometry, setting),
            masses=_masses(geometry, setting, train),
            cg_mm=cg, cg_height_mm=level, thrust_n=thrust / train.count, airspeed_m_s=speed,
            jet_slope=_jet_slope(geometry, flown), density_kg_m3=density,
        )  # fmt: skip

    @property
    def radius_mm(self) -> float:
        """Of the propeller."""
        return self.train.propeller.diameter_in * INCH_M / MM_M / 2

    def ground_mm(self, along_mm: Floats) -> dict[str, Floats]:
        """Height of the ground at places (N,) for each way it stands there, wheels shrunk; empty without wheels."""
        return {what: ground_line(along_mm, **wheels)[0] for what, wheels in ground_contacts(self.body).items()}

    @property
    def ground_gap_mm(self) -> tuple[str, float]:
        """Which way of standing leaves the least gap between disc and ground, and the gap; NaN without thrust line."""
        line = self.geometry.thrust_line
        places = [DiscPlace(position_mm=x, height_mm=z, side_mm=y) for x, y, z in self.discs_mm if z is not None]
        rooms = () if line is None else disc_rooms(self.body, places, line.tilt_deg)
        gaps = [(float(room.gap_mm(self.radius_mm)), room.what) for room in rooms if room.what.startswith("ground")]
        gap, what = min(gaps, default=(float("nan"), next(iter(ground_contacts(self.body)), "")))
        return what, gap

    @property
    def missing(self) -> tuple[str, ...]:
        """What is not drawn, or in the top view alone, in sentences."""
        no_place = [mass.name for mass in self.masses if mass.position_mm is None]
        flat = [mass for mass in self.masses if mass.height_mm is None and mass.position_mm is not None]
        no_height = [mass.name for mass in flat if np.isfinite(mass.mass_g)]
        pairs = {
            "Not drawn, as no place is known": no_place,
            "In the top view alone, as no height is stated": no_height,
        }
        return tuple(f"{text}: {', '.join(names)}." for text, names in pairs.items() if names)

    @property
    def neutral_mm(self) -> float:
        """Neutral point; NaN without a tail or without the leading edge of the wing."""
        return float("nan") if self.geometry.tail is None else float(stability(self.geometry).neutral_point_mm)

    @property
    def tail_chord_mm(self) -> float:
        """Area over span."""
        tail = self.geometry.tail
        return 0.0 if tail is None else tail.area_dm2 * 1e4 / tail.span_mm

    @property
    def fin_mm(self) -> tuple[float, float, float, float] | None:
        """Leading and trailing edge at its mean chord, root at the height of the tail, tip; None without a fin."""
        own = self.controls
        if own.fin_area_dm2 is None or own.fin_position_mm is None:
            return None
        chord, root = own.fin_area_dm2 * 1e4 / own.fin_height_mm, 0.0
        if self.geometry.tail is not None:
            root = self.geometry.tail_height_mm
        return own.fin_position_mm - 0.25 * chord, own.fin_position_mm + 0.75 * chord, root, root + own.fin_height_mm

    def jet_mm(self, behind_mm: Floats) -> Floats:
        """Radius of the jet (N,) so far behind the disc."""
        metres = contraction_radius_m(
            self.thrust_n, 2 * self.radius_mm * MM_M, airspeed_m_s=self.airspeed_m_s,
            density_kg_m3=self.density_kg_m3, behind_m=behind_mm * MM_M,
        )  # fmt: skip
        return np.asarray(metres / MM_M)


def _discs(geometry: Geometry, setting: Setting) -> tuple[Spot, ...]:
    """Every propeller; one place stated in [balance] moves all of them."""
    at, brief = geometry.propeller_mm, setting.brief
    places = disc_places(brief.thrust_line, brief.motor_place, setting.variant.motor_count)
    if at is None or not places:
        return () if at is None else ((at, 0.0, None),)
    middle = sum(each.position_mm for each in places) / len(places)
    moved = 0.0 if geometry.balance.propeller_mm is None else geometry.balance.propeller_mm - middle
    return tuple((each.position_mm + moved, each.side_mm, each.height_mm) for each in places)


def _masses(geometry: Geometry, setting: Setting, train: PowerTrain) -> tuple[Mass, ...]:
    """Every mass line, then the places for ballast."""
    bare, discs = len(setting.build.lines), _discs(geometry, setting)
    middle = sum(x for x, _, _ in discs) / max(len(discs), 1)

    def spots(at: int, x: float | None, height: float | None) -> tuple[Spot, ...]:
        """Motors and propellers, the first two lines of the power train, sit at every disc."""
        if x is None:
            return ()
        several = at in (bare, bare + 1) and len(discs) > 1
        return tuple((place + x - middle, y, z) for place, y, z in discs) if several else ((x, 0.0, height),)

    found = [
        Mass(number=at + 1, name=line.name, mass_g=line.mass_g, position_mm=line.position_mm,
             height_mm=line.height_mm, spots_mm=spots(at, line.position_mm, line.height_mm), flown=at >= bare)
        for at, line in enumerate(mass_lines(setting, train))
    ]  # fmt: skip
    balance = geometry.balance
    for name, place in (("nose", balance.nose_ballast_mm), ("tail", balance.tail_ballast_mm)):
        if place is not None:
            found.append(Mass(number=len(found) + 1, name=f"place for {name} ballast", mass_g=float("nan"),
                              position_mm=place, height_mm=None, spots_mm=((place, 0.0, None),)))  # fmt: skip
    return tuple(found)


def _jet_slope(geometry: Geometry, flown: Flown) -> float:
    """As the trim has it; along the thrust line where nothing can be trimmed."""
    line, tail = geometry.thrust_line, geometry.tail
    if line is None:
        return 0.0
    along = float(np.tan(np.radians(line.tilt_deg)))
    if tail is None or tail.position_mm <= geometry.aerodynamic_centre_mm or (flown.count == 1 and line.side_mm > 0):
        return along
    rise = float(np.radians(trim(geometry, flown).jet_angle_deg))
    return rise if np.isfinite(rise) else along
