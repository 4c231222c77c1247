"""What a flight says about the power that level flight takes: one factor, how sure it is, and what it cannot tell.

A flight of known minutes and charge has a mean current. Predicted, it depends on independent standard normal numbers u
(:mod:`propmatch.bench.flightworld`): drag, mass, the parts of the power train, and manoeuvres beside steady flight.
Sought is the most probable u of

    y = h(u) + e,   y = ln mean current,   e ~ N(0, R),   u ~ N(0, P), P = 1

by Gauss-Newton steps u = P H'(H P H' + R)^-1 (y - h(u) + H u), H the slopes of h; its covariance is that of the normal
distribution there (Laplace). The level-power factor is then exp(h(u)) over the current of steady flight at the stated
numbers, for the held airspeeds of the brief. R holds the charger's or ammeter's gain, the same for all readings of one
instrument, what differs from flight to flight, and a stated airspeed's error times the slope of h with it.

One speed gives one number: drag and propulsion move it alike. They are told apart where the drag coefficient keeps,
without any prior of its own and of the factor of flying, less than its prior's spread.
"""

import math
from collections.abc import Sequence

import attrs
import numpy as np

from propmatch.aircraft.flight import level_lanes
from propmatch.aircraft.polar import PHASE_SPEED_OVER_STALL, stall_speed_m_s
from propmatch.bench.flightworld import (
    AT,
    PROPULSION,
    UNKNOWNS,
    Aircraft,
    HeldAirspeed,
    HeldPhases,
    Predicted,
    Slope,
    World,
)
from propmatch.checks.setting import Setting
from propmatch.columns import number
from propmatch.faults import Fault, InputFaults
from propmatch.models.arrays import Flags, Floats
from propmatch.questions.asflown import timer_within
from propmatch.records.estimates import PRACTICE, Assumption
from propmatch.records.fields import number as noted
from propmatch.records.fields import record, replace
from propmatch.records.packuse import LEAST_FACTOR, MOST_FACTOR, Z80, Style
from propmatch.records.parts import PowerTrain
from propmatch.records.sections import Phase
from propmatch.status import Status
from propmatch.units import MAH_AH

__all__ = [
    "AIRSPEED_SD",
    "CAPACITY_OVER",
    "INTERVAL",
    "Z90",
    "Band",
    "Flown",
    "LevelPower",
    "Minutes",
    "Reading",
    "SecondFlight",
    "SpeedFactor",
    "held_airspeed_m_s",
    "level_power",
]  # fmt: skip

INTERVAL, Z90 = 0.9, 1.6449
"""Of what is printed, and its half width in standard deviations of a normal distribution."""
CHARGE_LOSS, CHARGER_SD, FLIGHT_SD, TIMER_SD_MIN, AIRSPEED_SD = 0.01, 0.02, 0.015, 0.1, 0.05
"""Of the charge put back what never comes out; sd of the charger's reading, of how alike two flights and two full packs
are, of the minutes noted, and of a stated airspeed."""
_FREE_VARIANCE = 1e4
_ROUNDS, _NEAR = 12, 1e-4
_SECOND_USES, _LOW_CHARGE, _MOST_THROTTLE, _SPEEDS, _FASTEST = 0.7, 0.3, 0.95, 12, 6.0
_BETTER_SD = (0.04, 0.03, 0.02, 0.01)
CAPACITY_OVER = 1.05
"""More than this times the capacity is believed of no flight: packs hold 4 % more or less than their label (sd)."""
BAND_SD, STRETCH_SD = 0.02, 0.05
"""sd of ln of a logged current at one airspeed: what all stretches share, and what each has of its own."""


@record()
class Flown:
    """One flight as it is noted beside the field and at the charger."""

    minutes: float = noted("min", gt=0, le=600, doc="from the start of the motor to its end")
    recharge_mah: float = noted("mAh", gt=0, le=200_000, doc="charge put back, from full before to full again")
    airspeed_m_s: float | None = noted(
        "m/s", ge=2, le=150, default=None, doc="airspeed held; left out: as the brief's phases say"
    )


@attrs.frozen(kw_only=True)
class Band:
    """Stretches of a logger's table at nearly one airspeed, as means.

    Attributes
    ----------
    seconds, amps, volts, airspeed_m_s, climb_m_s : of all of them together
    charge : left in the pack, 0..1
    parts : how many stretches
    log, amps_sd, speed_sd : number of the log, and standard uncertainty of ln of its ammeter and of its airspeed
    """

    seconds: float
    amps: float
    volts: float
    airspeed_m_s: float
    climb_m_s: float
    charge: float
    parts: int
    log: int
    amps_sd: float
    speed_sd: float


@attrs.frozen(kw_only=True)
class Reading:
    """A reading beside its prediction.

    Attributes
    ----------
    name : str
    held_airspeed_m_s, reading_minutes, drawn_mah : float
    measured_a, steady_a : float
        Mean pack current, and that predicted for steady flight.
    ratio, ratio_low, ratio_high : float
        Of the two, with the 90 % interval that the instruments leave.
    sigmas : float
        How far it lies from what all readings together say, in its standard uncertainties.
    """

    name: str
    held_airspeed_m_s: float = number(kind="speed", label="mean of the airspeeds held in the reading")
    reading_minutes: float = number(kind="min", label="time of the reading")
    drawn_mah: float = number(kind="mAh", label="charge drawn in the reading")
    measured_a: float = number(kind="A", label="mean pack current of the reading")
    steady_a: float = number(kind="A", label="mean pack current predicted for the reading in steady flight")
    ratio: float = number(label="measured over predicted current of the reading")
    ratio_low: float = number(label="measured over predicted current of the reading, low end of 90 %")
    ratio_high: float = number(label="measured over predicted current of the reading, high end of 90 %")
    sigmas: float = number(label="standard uncertainties between the reading and all together")


@attrs.frozen
class SpeedFactor:
    """The level-power factor at one held airspeed, 90 %."""

    airspeed_m_s: float
    factor: float
    factor_low: float
    factor_high: float


@attrs.frozen
class SecondFlight:
    """The flight that would tell most about the drag, to 30 % left in the pack, and what would then be known.

    ``tells_apart``: whether drag and propulsion could then be told apart, all airspeeds known as well as it says.
    """

    tells_apart: bool
    second_airspeed_m_s: float = number(kind="speed", label="airspeed of the flight to make next")
    second_minutes: float = number(kind="min", label="time of the flight to make next")
    second_mah: float = number(kind="mAh", label="charge that the flight to make next draws")
    second_drag_sd: float = number(label="standard deviation of ln of the drag coefficient after the next flight")
    second_airspeed_sd: float = number(label="standard deviation of ln of the airspeeds in the flights so far and next")


@attrs.frozen(kw_only=True, eq=False)
class LevelPower:
    """What flights say of the power of level flight.

    Attributes
    ----------
    level_power_factor, level_power_factor_low, level_power_factor_high, level_power_factor_sd : float
        Current of the brief's held airspeeds over that of steady flight, 90 %, and the sd of ln.
    usual : Style
        The usual factor of flying that the flights replace.
    drag_factor, drag_factor_low, drag_factor_high : float
        CD0 over the one used; NaN where it is not told apart from propulsion.
    drag_sd, prior_drag_sd : float
        sd of ln CD0 that remains, and before.
    propulsion_sd, prior_propulsion_sd : float
        The same of all that is not drag: power train, manoeuvres and gusts.
    told_apart : bool
    cd0 : float
        Drag coefficient told apart; NaN where it is not.
    cd0_power_factor : float
        The level-power factor beside that ``cd0``.
    readings : tuple of Reading
    second : SecondFlight or None
    assumptions : tuple of Assumption
    """

    level_power_factor: float = number(label="current of held airspeeds as flown over that of steady flight")
    level_power_factor_low: float = number(label="level-power factor, low end of 80 %")
    level_power_factor_high: float = number(label="level-power factor, high end of 80 %")
    level_power_factor_sd: float = number(label="standard deviation of ln of the level-power factor")
    usual: Style
    drag_factor: float = number(label="drag coefficient that the flights say over the one used")
    drag_factor_low: float = number(label="drag coefficient over the one used, low end of 90 %")
    drag_factor_high: float = number(label="drag coefficient over the one used, high end of 90 %")
    drag_sd: float = number(label="standard deviation of ln of the drag coefficient")
    prior_drag_sd: float = number(label="standard deviation of ln of the drag coefficient before any flight")
    propulsion_sd: float = number(label="standard deviation of ln of all that is not drag")
    prior_propulsion_sd: float = number(label="standard deviation of ln of all that is not drag before any flight")
    told_apart: bool
    cd0: float = number(label="drag coefficient that the flights say")
    cd0_power_factor: float = number(label="level-power factor beside that drag coefficient")
    readings: tuple[Reading, ...]
    second: SecondFlight | None
    assumptions: tuple[Assumption, ...]
    posterior: "_Posterior" = attrs.field(repr=False)

    def at(self, airspeed_m_s: float) -> SpeedFactor:
        """The level-power factor at another held airspeed; less sure the farther it is from those flown."""
        return self.posterior.factor_at(airspeed_m_s)

    @property
    def keys(self) -> dict[str, dict[str, float]]:
        """Tables, keys and values for the brief."""
        keys = {"flying": {"factor": self.level_power_factor, "factor_sd": self.level_power_factor_sd}}
        if self.told_apart:
            keys = {"wing": {"cd0": self.cd0}, "flying": {**keys["flying"], "factor": self.cd0_power_factor}}
        return {table: {key: float(f"{value:.3g}") for key, value in each.items()} for table, each in keys.items()}


@attrs.frozen(kw_only=True)
class Minutes:
    """The brief's flight in steady flight, as usually flown before anybody measured, and with the measured factor.

    The measured minutes are as unsure as factor and capacity of the pack are.
    """

    flight_minutes: float = number(kind="min", label="flight time")
    usual_minutes: float = number(kind="min", label="flight time with the usual factor of flying")
    usual_minutes_low: float = number(kind="min", label="flight time with the usual factor of flying, low end of 80 %")
    usual_minutes_high: float = number(
        kind="min", label="flight time with the usual factor of flying, high end of 80 %"
    )
    measured_minutes: float = number(kind="min", label="flight time with the level-power factor")
    measured_minutes_low: float = number(kind="min", label="flight time with the level-power factor, low end of 80 %")
    measured_minutes_high: float = number(kind="min", label="flight time with the level-power factor, high end of 80 %")
    measured_timer_minutes: float = number(kind="min", label="timer setting, with the level-power factor")

    @classmethod
    def of(cls, power: LevelPower, setting: Setting, train: PowerTrain) -> "Minutes":
        """Fly the brief with each factor."""
        usual = power.usual
        factor, spread = power.level_power_factor, math.exp(Z80 * power.level_power_factor_sd)
        factors = (1.0, usual.factor, usual.high, usual.low, factor, factor * spread, factor / spread)
        steady, usually, shortest, longest, middle, short, long = (
            setting.flight_time(train, each).minutes for each in factors
        )
        capacity = Z80 * power.posterior.aircraft.sd["capacity_mah"]
        if middle > 0:
            short = middle * math.exp(-math.hypot(math.log(middle / short), capacity))
            long = middle * math.exp(math.hypot(math.log(long / middle), capacity))
        return cls(
            flight_minutes=steady, usual_minutes=usually, usual_minutes_low=shortest, usual_minutes_high=longest,
            measured_minutes=middle, measured_minutes_low=short, measured_minutes_high=long,
            measured_timer_minutes=timer_within(middle, short),
        )  # fmt: skip


# ---------------------------------------------------------------- readings


@attrs.frozen(kw_only=True, eq=False)
class _Whole:
    """A whole flight, from a full pack until its charge was drawn."""

    flown: Flown
    name: str
    phases: tuple[Phase, ...]
    capacity_mah: float
    airspeed_sd: float
    instrument: int = -1
    gain_sd: float = CHARGER_SD

    @property
    def stated(self) -> bool:
        return self.flown.airspeed_m_s is not None

    @property
    def minutes(self) -> float:
        return self.flown.minutes

    @property
    def drawn_mah(self) -> float:
        return self.flown.recharge_mah * (1.0 - CHARGE_LOSS)

    @property
    def measured_a(self) -> float:
        return self.drawn_mah * MAH_AH * 60.0 / self.minutes

    @property
    def own_sd(self) -> float:
        return math.hypot(FLIGHT_SD, TIMER_SD_MIN / self.minutes)

    @property
    def speed_sd(self) -> float:
        return self.airspeed_sd if self.stated else 0.0

    @property
    def airspeed_m_s(self) -> float:
        return held_airspeed_m_s(self.phases)

    def current_a(self, world: World, faster: float) -> Floats:
        reserve = max(1.0 - self.drawn_mah / self.capacity_mah, 0.0)
        found = world.fly(self.phases, reserve, 0.0, faster)
        held = [at for at, each in enumerate(self.phases) if each.throttle is None]
        return np.where(np.nansum(found.phase_minutes[held], axis=0) > 0, found.average_current_a, np.nan)


class _Stretches:
    """A band of a log."""

    def __init__(self, band: Band, name: str) -> None:
        self.band, self.name, self.stated = band, name, band.speed_sd > 0
        self.minutes, self.measured_a, self.airspeed_m_s = band.seconds / 60.0, band.amps, band.airspeed_m_s
        self.drawn_mah = band.amps * self.minutes / 60.0 / MAH_AH
        self.instrument, self.gain_sd, self.speed_sd = band.log, band.amps_sd, band.speed_sd
        self.own_sd = math.hypot(BAND_SD, STRETCH_SD / math.sqrt(band.parts))

    def current_a(self, world: World, faster: float) -> Floats:
        return world.level_a(self.airspeed_m_s * faster, self.band.climb_m_s, self.band.charge)


_Read = _Whole | _Stretches


def held_airspeed_m_s(phases: Sequence[Phase]) -> float:
    """Mean of the held airspeeds, by share or time."""
    held = [each for each in phases if each.throttle is None]
    weights = [each.share or each.seconds or 1.0 for each in held]
    return float(np.average([each.airspeed_m_s or 0.0 for each in held], weights=weights))


def _at_airspeed(phases: Sequence[Phase], airspeed_m_s: float) -> tuple[Phase, ...]:
    """The phases with every held airspeed replaced; one alone where none is held."""
    if not any(each.throttle is None for each in phases):
        return (Phase(name="held", airspeed_m_s=airspeed_m_s, share=1.0),)
    return tuple(
        replace(each, airspeed_m_s=airspeed_m_s, climb_m_s=min(each.climb_m_s, airspeed_m_s))
        if each.throttle is None
        else each
        for each in phases
    )


def _read(aircraft: Aircraft, reading: Flown | Band, name: str, place: str, airspeed_sd: float) -> _Read:
    """A reading beside what it needs for its prediction, if it is to be believed."""
    if isinstance(reading, Band):
        made: _Read = _Stretches(reading, name)
    else:
        phases, capacity = aircraft.setting.phases, float(aircraft.lanes.capacity_ah[0]) / MAH_AH
        if reading.recharge_mah * (1.0 - CHARGE_LOSS) > CAPACITY_OVER * capacity:
            rule = f"is more than the {capacity:.0f} mAh that the pack holds: is this the pack that was flown?"
            raise InputFaults([Fault(place, "mah", reading.recharge_mah, rule)])
        if reading.airspeed_m_s is not None:
            phases = _at_airspeed(phases, reading.airspeed_m_s)
        elif not any(phase.throttle is None for phase in phases):
            raise InputFaults([Fault(place, "airspeed", None, "no phase of the brief holds one: say which was flown")])
        made = _Whole(flown=reading, name=name, phases=phases, capacity_mah=capacity, airspeed_sd=airspeed_sd)
    wrong = _not_believed(aircraft, made)
    if wrong:
        raise InputFaults([Fault(place, rule=wrong)])
    return made


def _not_believed(aircraft: Aircraft, reading: _Read) -> str:
    """What is wrong with a reading beside its prediction; empty where nothing is."""
    steady = long = aircraft.steady_a(reading)
    if math.isnan(steady) and isinstance(reading, _Whole):
        whole = replace(reading.flown, recharge_mah=reading.capacity_mah)
        steady = aircraft.steady_a(attrs.evolve(reading, flown=whole))
    said = f"at {reading.airspeed_m_s:.3g} m/s" if reading.stated else "as the brief's phases say"
    if not math.isfinite(steady):
        return f"this power train cannot fly the aircraft {said}: check airspeed, variant and parts"
    ratio = reading.measured_a / steady
    flown = f"{reading.minutes:.3g} minutes on {reading.drawn_mah:.4g} mAh are {reading.measured_a:.2g} A"
    if ratio < LEAST_FACTOR:
        return (
            f"{flown}, and flying {said} takes {steady:.2g} A, at the very least {LEAST_FACTOR:g} times that: this "
            f"charge cannot last longer than {reading.minutes * ratio / LEAST_FACTOR:.1f} minutes"
        )
    if ratio > MOST_FACTOR:
        return (
            f"{flown}, more than {MOST_FACTOR:g} times the {steady:.2g} A that steady flight {said} takes: another "
            "pack, propeller, variant or airspeed was flown"
        )
    return "" if math.isfinite(long) else f"{reading.drawn_mah:.4g} mAh are used up before any airspeed is held"


# ---------------------------------------------------------------- the estimate


def level_power(
    train: PowerTrain,
    setting: Setting,
    readings: Sequence[Flown | Band],
    *,
    airspeed_sd: float = AIRSPEED_SD,
    names: Sequence[str] | None = None,
) -> LevelPower:
    """Hold flights against their prediction.

    Parameters
    ----------
    train : PowerTrain
    setting : Setting
    readings : sequence of Flown or Band
    airspeed_sd : float
        Standard uncertainty of ln of each stated airspeed.
    names : sequence of str, optional
        What the readings are called; default ``flight 1`` and so on.

    Raises
    ------
    InputFaults
        A flight that cannot be: more charge than the pack holds, longer than the charge can carry the aircraft, a
        speed that the power train does not hold; every one of them.
    """
    aircraft = Aircraft(train, setting, airspeed_sd)
    made: list[_Read] = []
    faults: list[Fault] = []
    called = names or [f"flight {at}" for at in range(1, len(readings) + 1)]
    for name, reading in zip(called, readings, strict=True):
        try:
            made.append(_read(aircraft, reading, name, name, airspeed_sd))
        except InputFaults as error:
            faults += error.faults
    if not readings:
        faults.append(Fault("flight", rule="missing: the minutes flown and the mAh put back, or a logger's table"))
    if faults:
        raise InputFaults(faults)
    return _Posterior(aircraft, made).answer()


class _Posterior:
    """The unknowns u of an aircraft where readings move them."""

    def __init__(self, aircraft: Aircraft, readings: Sequence[_Read]) -> None:
        self.aircraft, self.readings, self.airspeed_sd = aircraft, tuple(readings), aircraft.sd["pace"]
        self.measured = np.log([each.measured_a for each in readings])
        self.u, self.prior = np.zeros(len(UNKNOWNS)), np.eye(len(UNKNOWNS))
        for _ in range(_ROUNDS):
            self.world = aircraft.around(self.u)
            self.slopes = [aircraft.slope(each, self.world) for each in readings]
            self.noise = _noise(self.readings, self.slopes)
            gain, self.covariance = _update(self.prior, self.slopes, self.noise)
            off = self.measured - [each.value - each.by @ self.u for each in self.slopes]
            moved = gain @ off - self.u
            if np.abs(moved).max() < _NEAR:
                break
            self.u = self.u + moved

    def factor_of(self, of: Predicted, cd0_factor: float = 1.0) -> tuple[float, float]:
        """A current as flown over that of steady flight, and the sd of its ln."""
        slope = self.aircraft.slope(of, self.world)
        steady = self.aircraft.steady_a(of, cd0_factor)
        return math.exp(slope.value) / steady, float(np.sqrt(slope.by @ self.covariance @ slope.by))

    def factor_at(self, airspeed_m_s: float) -> SpeedFactor:
        """The level-power factor at a held airspeed."""
        middle, sd = self.factor_of(HeldAirspeed(airspeed=airspeed_m_s))
        return SpeedFactor(airspeed_m_s, middle, middle * math.exp(-Z90 * sd), middle * math.exp(Z90 * sd))

    def target(self) -> Predicted:
        """What the factor is for: the held airspeeds of the brief, or of the first reading where it flies none."""
        setting, stated = self.aircraft.setting, all(each.stated for each in self.readings)
        wanted = HeldPhases(
            phases=setting.phases, reserve=setting.reserve_charge, cutoff=setting.cutoff_cell_v, stated=stated
        )
        known = [self.aircraft.steady_a(wanted), *wanted.current_a(self.world.first(), 1.0)]
        return wanted if np.all(np.isfinite(known)) else self.readings[0]

    def answer(self) -> LevelPower:
        """What the readings say."""
        aircraft, target, at = self.aircraft, self.target(), AT["drag"]
        factor, sd = self.factor_of(target)
        other = np.where(PROPULSION, aircraft.slope(target, self.world).by, 0.0)
        prior_drag = aircraft.sd["drag"]
        drag = prior_drag * float(np.sqrt(self.covariance[at, at]))
        told = self._tells_apart(self.prior, self.slopes, self.noise)
        of_drag = math.exp(prior_drag * self.u[at]) if told else math.nan
        return LevelPower(
            level_power_factor=factor, level_power_factor_low=factor * math.exp(-Z90 * sd),
            level_power_factor_high=factor * math.exp(Z90 * sd), level_power_factor_sd=sd, usual=aircraft.style,
            drag_factor=of_drag, drag_factor_low=of_drag * math.exp(-Z90 * drag),
            drag_factor_high=of_drag * math.exp(Z90 * drag), drag_sd=drag, prior_drag_sd=prior_drag,
            propulsion_sd=float(np.sqrt(other @ self.covariance @ other)),
            prior_propulsion_sd=float(np.sqrt(other @ other)),
            told_apart=told, cd0=float(aircraft.frames.cd0[0]) * of_drag,
            cd0_power_factor=self.factor_of(target, of_drag)[0] if told else math.nan,
            readings=self._beside(), second=None if told else self._second(),
            assumptions=_assumptions(self.readings, prior_drag), posterior=self,
        )  # fmt: skip

    def _beside(self) -> tuple[Reading, ...]:
        """Every reading beside its prediction."""
        h = np.array([each.by for each in self.slopes])
        off = self.measured - np.array([each.value for each in self.slopes])
        whole = np.linalg.inv(h @ h.T + self.noise)
        sigmas = off / np.sqrt(np.diag(self.noise @ whole @ self.noise))
        made = []
        for each, far in zip(self.readings, sigmas, strict=True):
            steady, sd = self.aircraft.steady_a(each), math.hypot(each.own_sd, each.gain_sd)
            ratio = each.measured_a / steady
            made.append(
                Reading(
                    name=each.name, held_airspeed_m_s=each.airspeed_m_s, reading_minutes=each.minutes,
                    drawn_mah=each.drawn_mah, measured_a=each.measured_a, steady_a=steady, ratio=ratio,
                    ratio_low=ratio * math.exp(-Z90 * sd), ratio_high=ratio * math.exp(Z90 * sd), sigmas=float(far),
                )
            )  # fmt: skip
        return tuple(made)

    def _second(self) -> SecondFlight | None:
        """The held airspeed at which one more flight leaves least doubt about the drag; None where none can be held.

        Airspeeds are known as well as they are, or as much better as it takes to tell drag and propulsion apart.
        """
        now, capacity = self.world.first(), float(self.aircraft.lanes.capacity_ah[0]) / MAH_AH
        least = PHASE_SPEED_OVER_STALL * float(stall_speed_m_s(now.frames, now.density)[0])
        fast = np.geomspace(least, _FASTEST * least, 100)
        held = fast[_holds(now, fast)]
        if not held.size:
            return None
        speeds = [float(each) for each in np.linspace(least, held.max(), _SPEEDS)]
        slopes = [self.aircraft.slope(HeldAirspeed(airspeed=each), self.world) for each in speeds]
        mah = _SECOND_USES * capacity
        found = []
        for sd in (self.airspeed_sd, *(each for each in _BETTER_SD if each < self.airspeed_sd)):
            options = []
            for speed, slope in zip(speeds, slopes, strict=True):
                minutes = mah * MAH_AH * 60.0 / math.exp(slope.value)
                if math.isfinite(minutes):
                    left, apart = self._after(Flown(minutes=minutes, recharge_mah=mah, airspeed_m_s=speed), slope, sd)
                    options.append(SecondFlight(apart, speed, minutes, mah, left, sd))
            found.append(min(options, key=lambda each: each.second_drag_sd))
            if found[-1].tells_apart:
                return found[-1]
        return found[0]

    def _after(self, flown: Flown, slope: Slope, airspeed_sd: float) -> tuple[float, bool]:
        """sd of ln CD0 after one more flight, airspeeds known to ``airspeed_sd``, and whether it is then told apart."""
        more = _Whole(flown=flown, name="", phases=(), capacity_mah=flown.recharge_mah, airspeed_sd=airspeed_sd)
        known = [
            attrs.evolve(each, airspeed_sd=airspeed_sd) if isinstance(each, _Whole) else each for each in self.readings
        ]
        slopes, prior, at = [*self.slopes, slope], self.prior.copy(), AT["drag"]
        if self.airspeed_sd > 0:
            prior[AT["pace"], AT["pace"]] = (airspeed_sd / self.airspeed_sd) ** 2
        noise = _noise([*known, more], slopes)
        left = self.aircraft.sd["drag"] * float(np.sqrt(_update(prior, slopes, noise)[1][at, at]))
        return left, self._tells_apart(prior, slopes, noise)

    def _tells_apart(self, prior: Floats, slopes: Sequence[Slope], noise: Floats) -> bool:
        """Whether readings alone know CD0 better than its prior does, with any factor of flying."""
        free, drag = prior.copy(), AT["drag"]
        for at in (drag, AT["flying"]):
            free[at, at] = _FREE_VARIANCE
        return bool(_update(free, slopes, noise)[1][drag, drag] < 1.0)


def _holds(world: World, speeds: Floats) -> Flags:
    """Whether each airspeed can be held until little charge is left, with some throttle to spare."""
    same, one = np.zeros(speeds.size, dtype=np.intp), np.ones(speeds.size)
    point = level_lanes(
        world.lanes.take(same), world.frames.take(same), speeds, _LOW_CHARGE * one, world.density * one,
        world.sound * one,
    )  # fmt: skip
    return np.asarray((point.status == Status.OK) & (point.throttle <= _MOST_THROTTLE))


def _noise(readings: Sequence[_Read], slopes: Sequence[Slope]) -> Floats:
    """Covariance of ln of the readings."""
    gains = np.array([each.gain_sd for each in readings])
    speeds = np.array([each.speed_sd * slope.by_speed for each, slope in zip(readings, slopes, strict=True)])
    by = np.array([each.instrument for each in readings])
    same = by[:, None] == by
    in_one_log = (same & (by >= 0)) | np.eye(len(readings), dtype=bool)
    own = np.diag([each.own_sd**2 for each in readings])
    return np.asarray(own + same * np.outer(gains, gains) + in_one_log * np.outer(speeds, speeds))


def _update(prior: Floats, slopes: Sequence[Slope], noise: Floats) -> tuple[Floats, Floats]:
    """Gain P H'(H P H' + R)^-1, and the covariance after readings of these slopes."""
    h = np.array([each.by for each in slopes])
    gain = np.linalg.solve(h @ prior @ h.T + noise, h @ prior).T
    return gain, prior - gain @ h @ prior


def _assumptions(readings: Sequence[_Read], drag: float) -> tuple[Assumption, ...]:
    """What nobody stated about the measuring."""
    sure = f"(standard uncertainty); {PRACTICE}"
    made = []
    if any(isinstance(each, _Whole) for each in readings):
        loss, charger, alike, seconds = 100 * CHARGE_LOSS, 100 * CHARGER_SD, 100 * FLIGHT_SD, 60 * TIMER_SD_MIN
        text = f"{loss:g} % of the charge put back never comes out; {PRACTICE}"
        made += [
            Assumption("charger", "charge_loss", CHARGE_LOSS, "", text, 0.0, 2.0 * CHARGE_LOSS),
            Assumption("charger", "charger_sd", CHARGER_SD, "", f"reads right to {charger:g} % {sure}"),
            Assumption("flights", "flight_sd", FLIGHT_SD, "", f"alike to {alike:g} %, from full to full {sure}"),
            Assumption("flights", "timer_sd", TIMER_SD_MIN, "min", f"timed to {seconds:g} s {sure}"),
        ]
    if logged := [each.gain_sd for each in readings if each.instrument >= 0]:
        text = f"amps right to {100 * max(logged):g} %, wrong the same way all the time {sure}"
        made.append(Assumption("logger", "amps_sd", max(logged), "", text))
    if speeds := [each.speed_sd for each in readings if each.stated]:
        text = f"right to {100 * max(speeds):g} % as stated {sure}"
        made.append(Assumption("airspeed", "airspeed_sd", max(speeds), "", text))
    text = f"known to {100 * drag:g} % before any flight, the parts as well as their sources say {sure}"
    return (*made, Assumption("drag coefficient", "cd0_sd", drag, "", text))
