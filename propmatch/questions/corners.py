"""A box of specifications around a design, and the corners of that box judged by the solver.

Each axis runs from a low to a high end; an end is a share 0..1 of the way from the design to the widest value tried.
All 2^n corners are checked together. The box first shrinks with one share for all ends until every corner passes, then
all ends grow in turns, each as far as the corners on its face pass.
"""

from collections.abc import Callable, Mapping
from itertools import product
from typing import Any

import attrs
import numpy as np

from propmatch.checks.chances import SEED
from propmatch.checks.checkrules import costly
from propmatch.checks.judged import failing, judged, passing
from propmatch.checks.measures import Setting, TrainMeasures
from propmatch.checks.ratings import rating_lanes
from propmatch.models.air import Air
from propmatch.models.arrays import Floats
from propmatch.models.motor import torque_constant
from propmatch.records.estimates import completed
from propmatch.records.fields import replace
from propmatch.records.packfit import PackFit
from propmatch.records.parts import PowerTrain
from propmatch.tolerances.draws import Draws, normal_draws
from propmatch.train.lanes import train_lanes
from propmatch.train.scaling import PitchFit, rewound_lanes, scaled_propeller
from propmatch.units import CELSIUS_K, INCH_M

__all__ = ["AXES", "Box", "Corners", "Values", "air_between"]

Values = dict[str, Floats]

AXES = {
    "kv_rpm_per_v": (0.90, 1.10, 10.0),
    "resistance_ohm": (0.60, 1.40, 0.001),
    "motor_mass_g": (0.80, 1.30, 1.0),
    "diameter_in": (0.92, 1.08, 0.1),
    "pitch_in": (0.85, 1.15, 0.1),
    "capacity_mah": (0.75, 1.40, 10.0),
    "all_up_mass_g": (0.88, 1.20, 1.0),
    "air": (-1.0, 1.0, 0.05),
}
"""Axis to the widest low and high end, over the design's value, and the step its ends are rounded to. ``air`` runs from
a cold day at sea level (-1) over the site (0) to a hot day 1500 m higher (1)."""
COLD_C, HOT_C, RISE_M = -10.0, 35.0, 1500.0
_SHARES = np.linspace(1.0, 0.0, 17)
_STAGES = (0.0625, 0.125, 0.1875, 0.25, 0.3125, 0.375, 0.5, 0.625, 0.75, 0.875, 1.0)
_ORDER = ("kv_rpm_per_v", "all_up_mass_g", "diameter_in", "pitch_in", "resistance_ohm", "air", "capacity_mah",
          "motor_mass_g")  # fmt: skip
_SAMPLES = 128
_FIRST_DRAWS, _WORST, _WORST_DRAWS = 64, 16, 256
"""Draws of every corner, how many of the worst are drawn again, and how often."""
_STATED = ("motor_stated_a", "motor_w", "motor_w_stated", "max_rpm_stated")
"""What a filled-in part would pass off as stated."""


def air_between(setting: Setting, share: Any) -> tuple[Floats, Floats]:
    """Altitude [m] and temperature [degC] on the way to a cold day at sea level (-1) or a hot high one (1)."""
    t = np.asarray(share, dtype=np.float64)
    site = float(setting.brief.site.altitude_m or 0.0)
    warm = float(setting.air.temperature_k - CELSIUS_K)
    up, down = np.clip(t, 0.0, 1.0), np.clip(-t, 0.0, 1.0)
    altitude = site + up * RISE_M - down * max(site, 0.0)
    temperature = warm + up * max(HOT_C - warm, 0.0) - down * max(warm - COLD_C, 0.0)
    return altitude, temperature


@attrs.frozen(kw_only=True, eq=False)
class Box:
    """Ends of every axis.

    Attributes
    ----------
    ranges : dict
        Axis to (low, high).
    corners, samples : int
        How many corners, and how many points inside, were checked and pass.
    stopped_by : dict
        (axis, 0 for low or 1 for high) to the checks that fail at the corners just beyond; absent for an end that
        reached the widest value tried.
    least_chance : float
        Share of the draws of all other numbers that pass every check at the corner where fewest do.
    """

    ranges: dict[str, tuple[float, float]]
    corners: int
    samples: int
    stopped_by: dict[tuple[str, int], tuple[str, ...]]
    least_chance: float


class Corners:
    """The specifications around one design, judged in lanes.

    Parameters
    ----------
    setting : Setting
    train : PowerTrain
        The design, in the middle.
    packs : PackFit, pitch : PitchFit
        How pack mass and blades change with size.
    """

    def __init__(self, setting: Setting, train: PowerTrain, *, packs: PackFit, pitch: PitchFit) -> None:
        self.setting, self.packs, self.pitch, self.stated = setting, packs, pitch, train
        self.train: PowerTrain = completed(train)[0]
        motor, propeller, pack = self.train.motor, self.train.propeller, self.train.pack
        mass = setting.all_up_mass_g(train.mass_g)
        self.middle = {
            "kv_rpm_per_v": motor.kv_rpm_per_v, "resistance_ohm": float(motor.resistance_ohm or 0.0),
            "motor_mass_g": motor.mass_g, "diameter_in": propeller.diameter_in, "pitch_in": propeller.pitch_in,
            "capacity_mah": pack.capacity_mah, "all_up_mass_g": mass, "air": 0.0,
        }  # fmt: skip
        self._rated = rating_lanes([train])
        self._propellers: dict[tuple[float, float], PowerTrain] = {}
        self._widest = {axis: self._ends(axis) for axis in AXES}

    def _ends(self, axis: str) -> tuple[float, float]:
        low, high, _ = AXES[axis]
        middle = self.middle[axis]
        if axis == "air":
            return low, high
        ends = low * middle, high * middle
        caps = {"diameter_in": self.setting.widest_in, "all_up_mass_g": self.setting.variant.target_mass_g}
        cap = caps.get(axis)
        return ends if cap is None else (ends[0], max(min(ends[1], cap), middle))

    # ------------------------------------------------------------ judging

    def measures(self, values: Mapping[str, Floats]) -> TrainMeasures:
        """The measures of N specifications, (N,) for each axis."""
        base = self.train
        pairs, which = np.unique(np.column_stack([values["diameter_in"], values["pitch_in"]]), axis=0,
                                 return_inverse=True)  # fmt: skip
        trains = [self._with_propeller(float(d), float(p)) for d, p in pairs]
        index = np.ravel(which)
        lanes = train_lanes(trains)[0].take(index)
        ratings = rating_lanes(trains).take(index)
        kv, capacity = values["kv_rpm_per_v"], values["capacity_mah"]
        over = capacity / base.pack.capacity_mah
        turns = kv / base.motor.kv_rpm_per_v
        lanes = attrs.evolve(
            rewound_lanes(lanes, turns),
            k=np.asarray(torque_constant(kv)),
            k_torque=torque_constant(kv) * (lanes.k_torque / lanes.k),
            resistance_ohm=values["resistance_ohm"],
            capacity_ah=lanes.capacity_ah * over,
            cells_ohm=lanes.cells_ohm / over,
            diameter_m=values["diameter_in"] * INCH_M,
        )
        ratings = attrs.evolve(
            ratings,
            motors_g=base.count * values["motor_mass_g"],
            pack_g=self.pack_mass_g(capacity),
            usable_a=ratings.usable_a * over,
            burst_a=ratings.burst_a * over,
            **{name: np.full(index.size, getattr(self._rated, name)[0]) for name in _STATED},
        )
        altitude, temperature = air_between(self.setting, values["air"])
        standard = np.asarray(Air.standard(altitude).temperature_k)
        air = Air.standard(altitude, temperature + CELSIUS_K - standard)
        return judged(self.setting, lanes, ratings, all_up_mass_g=values["all_up_mass_g"], air=air)

    def _with_propeller(self, diameter_in: float, pitch_in: float) -> PowerTrain:
        key = (diameter_in, pitch_in)
        if key not in self._propellers:
            made = scaled_propeller(self.train.propeller, diameter_in=diameter_in, pitch_in=pitch_in, fit=self.pitch)
            self._propellers[key] = replace(self.train, propeller=made)
        return self._propellers[key]

    def pack_mass_g(self, capacity_mah: Any) -> Floats:
        """Mass of a pack built like the design's."""
        pack = self.train.pack
        return np.asarray(self.packs.mass_like_g(pack, pack.cells_series, capacity_mah))

    def at(self, values: Mapping[str, float]) -> TrainMeasures:
        """The measures of one specification."""
        return self.measures({axis: np.array([value]) for axis, value in values.items()})

    def corners(self, ranges: Mapping[str, tuple[float, float]], fixed: Mapping[str, float] | None = None) -> Values:
        """All corners of a box, or of the face on which some axes are ``fixed``."""
        held = {} if fixed is None else dict(fixed)
        ends = [(held[axis],) if axis in held else tuple(dict.fromkeys(ranges[axis])) for axis in AXES]
        grid = np.array(list(product(*ends)), dtype=np.float64)
        return {axis: grid[:, column] for column, axis in enumerate(AXES)}

    # ------------------------------------------------------------ the box

    def _ranges(self, shares: Mapping[tuple[str, int], float]) -> dict[str, tuple[float, float]]:
        return {axis: (self._end(axis, 0, shares[axis, 0]), self._end(axis, 1, shares[axis, 1])) for axis in AXES}

    def _end(self, axis: str, side: int, share: float) -> float:
        middle = self.middle[axis]
        return float(middle + share * (self._widest[axis][side] - middle))

    def _all_pass(self, boxes: list[Values]) -> list[bool]:
        """Whether every point of each set passes, all judged at once; costly checks only where the cheap ones pass."""
        cheap = self._judge(boxes, costly())
        left = [each for each, good in zip(boxes, cheap, strict=True) if good]
        rest = iter(self._judge(left, ()))
        return [good and next(rest) for good in cheap]

    def _judge(self, boxes: list[Values], without: tuple[str, ...]) -> list[bool]:
        if not boxes:
            return []
        sizes = [each["air"].size for each in boxes]
        together = {axis: np.concatenate([each[axis] for each in boxes]) for axis in AXES}
        good = passing(self.measures(together), without=without)
        return [bool(part.all()) for part in np.split(good, np.cumsum(sizes)[:-1])]

    def box(self, progress: Callable[[int, int], None] | None = None) -> Box | None:
        """The box whose corners all pass; None when the design itself does not."""
        tell = progress or (lambda done, total: None)
        if not bool(passing(self.at(self.middle))[0]):
            return None
        ends = [(axis, side) for axis in _ORDER for side in (1, 0)]
        sets = [self.corners(self._ranges(dict.fromkeys(ends, float(s)))) for s in _SHARES]
        good = self._all_pass(sets)
        shares = dict.fromkeys(ends, float(_SHARES[good.index(True)]))
        free = list(ends)
        for done, stage in enumerate(_STAGES):
            tell(done, len(_STAGES))
            if stage <= min(shares.values()):
                continue
            faces = [self._face(shares, end, stage) for end in free]
            alone = self._all_pass(faces)
            free = [end for end, good in zip(free, alone, strict=True) if good]
            together = shares | dict.fromkeys(free, stage)
            if free and self._all_pass([self.corners(self._ranges(together))])[0]:
                shares = together
                continue
            for end in list(free):
                if self._all_pass([self._face(shares, end, stage)])[0]:
                    shares[end] = stage
                else:
                    free.remove(end)
        ranges = self._settled(shares)
        return Box(
            ranges=ranges,
            corners=self.corners(ranges)["air"].size,
            samples=_SAMPLES,
            stopped_by=self._stoppers(ranges, shares),
            least_chance=self._least_chance(ranges),
        )

    def _least_chance(self, ranges: dict[str, tuple[float, float]]) -> float:
        """Of all corners; those that fewest of some draws pass are drawn again."""
        corners = self.corners(ranges)
        worst = np.argsort(self._chances(corners, _FIRST_DRAWS), kind="stable")[:_WORST]
        return float(self._chances({axis: values[worst] for axis, values in corners.items()}, _WORST_DRAWS).min())

    def _chances(self, values: Values, draws: int) -> Floats:
        """Share of the draws of each of N specifications that pass every check (N,)."""
        good: Floats = passing(self.drawn(values, draws)).reshape(-1, draws).mean(axis=1)
        return good

    def drawn(self, values: Values, draws_each: int) -> TrainMeasures:
        """N specifications in draws of the design's uncertainties, the draws of each together, at their own all-up
        mass.
        """
        some, count = self.measures(values), values["air"].size
        raw = normal_draws(draws_each, SEED)
        draws = Draws.of([self.stated] * count, self.setting.brief.uncertainty, raw)
        ratings, air = some.ratings.take(draws.index), some.setting.air
        density, kelvin, pascal = (
            np.broadcast_to(x, count)[draws.index] for x in (air.density_kg_m3, air.temperature_k, air.pressure_pa)
        )
        there = Air(density_kg_m3=density * draws.factor("air_density"), temperature_k=kelvin, pressure_pa=pascal)
        mass = values["all_up_mass_g"][draws.index]
        varied = attrs.evolve(self.setting, polar=draws.polar())
        return judged(varied, draws.of_lanes(some.lanes), ratings, all_up_mass_g=mass, air=there)

    def _face(self, shares: Mapping[tuple[str, int], float], end: tuple[str, int], share: float) -> Values:
        """The corners on the face of one end, were it moved to a share."""
        return self.corners(self._ranges(shares), {end[0]: self._end(*end, share)})

    def _settled(self, shares: dict[tuple[str, int], float]) -> dict[str, tuple[float, float]]:
        """Ends rounded inward; corners and points inside checked again, shrinking while any fails."""
        rng = np.random.default_rng(20)
        part = rng.uniform(size=(_SAMPLES, len(AXES)))
        for shrink in (*np.linspace(1.0, 0.1, 10), 0.0):
            ranges = {
                axis: _rounded(ends, self.middle[axis], AXES[axis][2])
                for axis, ends in self._ranges({end: shrink * share for end, share in shares.items()}).items()
            }
            inside = {
                axis: low + part[:, column] * (high - low) for column, (axis, (low, high)) in enumerate(ranges.items())
            }
            if all(self._all_pass([self.corners(ranges), inside])):
                break
        return ranges

    def _stoppers(
        self, ranges: dict[str, tuple[float, float]], shares: Mapping[tuple[str, int], float]
    ) -> dict[tuple[str, int], tuple[str, ...]]:
        """What fails on the face a little beyond each end that could not reach its widest value."""
        out = {}
        for (axis, side), share in shares.items():
            if share >= 1.0:
                continue
            step = (self._widest[axis][side] - self.middle[axis]) * 0.1
            beyond = ranges[axis][side] + step
            names = failing(self.measures(self.corners(ranges, {axis: beyond})))
            found = tuple(dict.fromkeys(name for each in names for name in each))
            if found:
                out[axis, side] = found
        return out


def _rounded(ends: tuple[float, float], middle: float, step: float) -> tuple[float, float]:
    """Ends moved inward to whole steps, never past the design's own value."""
    low = np.ceil(ends[0] / step - 1e-9) * step
    high = np.floor(ends[1] / step + 1e-9) * step
    return round(float(min(low, middle)), 6), round(float(max(high, middle)), 6)
