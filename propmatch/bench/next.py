"""What to measure next: what each measurement a builder can make at home would settle, before it is made.

Of N draws of a power train in its aircraft let y be ln of what a check judges over its limit and h ln of what the
instruments would show. With C the covariance of h, c that of h and y, and S the squared errors of the instruments, a
measurement leaves of the variance of y the share

    v = 1 - c' (C + S)^-1 c/var(y)

(linear and normal). A verdict of either sign is wrong with
E[min(P, 1 - P)], P the chance that the check is kept: the expected P after the measurement is that of a normal y whose
mean is known to sqrt(v) of its spread.

A reading that was taken moves every draw by K (ln reading + e - h), e drawn from the instrument's error and K the
regression of the draws on h + e: an ensemble with perturbed observations. The draws so moved run through the engine
again. As the engine is no straight line the way is gone in two steps, each with the reading's error times the root of
two, which is the same for straight lines. Weights on the draws that are left as they are would cover 51 to 76 % for 80.

What the models themselves miss a bench by, once
its motor is known, counts as error too: 0.7 % of rpm, 2 % of current and thrust (seven motors, 7.4 V told from 11.1 V).

Sources: what a reading leaves open: K. Chaloner, I. Verdinelli, Stat. Sci. 10, 1995, 273; perturbed observations:
G. Burgers, P. J. van Leeuwen, G. Evensen, Mon. Weather Rev. 126, 1998, 1719; in two steps: A. A. Emerick, A. C.
Reynolds, Comput. Geosci. 55, 2013, 3; errors, minutes and cautions: common practice, no published source.
"""

import math
import re
from collections.abc import Callable, Mapping, Sequence
from functools import cached_property

import attrs
import numpy as np

from propmatch.aircraft.motoroff import motor_off_drag
from propmatch.aircraft.polar import drag_n, least_power_speed_m_s, least_speed_m_s
from propmatch.checks.chances import SEED, Drawn, Interval, Sureness, interval
from propmatch.checks.checkrules import CHECKS
from propmatch.checks.measures import TrainMeasures
from propmatch.columns import UNIT_OF, number
from propmatch.faults import Fault, InputFaults, did_you_mean
from propmatch.models.arrays import Floats
from propmatch.train.coupling import solve_lanes
from propmatch.units import GRAM_KG, KV_TO_K, MILLIOHM_OHM, conversion

__all__ = [
    "MEASUREMENTS",
    "HowSure",
    "Measurement",
    "NextMeasurements",
    "Reading",
    "Worth",
    "changed",
    "read_readings",
    "uncertain_check",
    "updated",
    "what_to_measure",
]

_BARE = 1e-6
"""Of a propeller's torque: what a bare shaft has."""
_DRIFT_V = 0.028
"""sd of the difference of two voltages of a pack that falls 20 mV from reading to reading."""
_DC_PER_AC = math.sqrt(2.0) * 3.0 / math.pi
"""Mean over the sixth of a turn for which a winding is connected, of a sine of 1 V effective."""
_OFTEN_ENOUGH = 0.5
"""A measurement that fewer draws have an answer to is not proposed."""
_MAD_SD = 1.4826
"""Standard deviation of a normal number over its median distance from the median."""
_MOSTLY = 0.95
_LEAST_SD, _FEWEST = 1e-9, 32
_STEPS = 2
_FAR, _TOO_FAR = 3.0, 6.0
"""Standard deviations from what was expected at which a reading is doubted, and refused."""


@attrs.frozen(kw_only=True, eq=False)
class Measurement:
    """One that can be made at home.

    Attributes
    ----------
    name : str
        As a reading names it.
    what : str
        What is read, of which instrument.
    kind : str
        Of the reading, as :mod:`propmatch.columns` names kinds of numbers.
    value : callable
        What it shows for every draw (N,); NaN where it cannot be made.
    sd, zero, step : float
        Relative error, error in the unit of the reading, and the step of the instrument; ``zero`` may depend on the
        draws.
    minutes : float
        Of work.
    tools, how, caution : str
    full_throttle : bool
        Whether it needs full throttle, which may be more than a part bears.
    """

    name: str
    what: str
    kind: str
    value: Callable[[TrainMeasures], Floats]
    sd: float
    zero: float | Callable[[TrainMeasures], float] = 0.0
    step: float = 0.0
    digits: int = 1
    minutes: float
    tools: str
    how: str
    caution: str = ""
    full_throttle: bool = False

    @property
    def unit(self) -> str:
        """In which a reading is held."""
        return UNIT_OF.get(self.kind, self.kind)

    def sd_ln(self, measured: TrainMeasures, reading: float) -> float:
        """Standard deviation of ln of a reading of about this size."""
        zero = self.zero(measured) if callable(self.zero) else self.zero
        return math.hypot(self.sd, zero / reading, self.step / math.sqrt(12.0) / reading)


# ---------------------------------------------------------------- what the instruments would show


def _thrust_n(m: TrainMeasures) -> Floats:
    return np.asarray(m.frames.installed_thrust * m.full(1.0).thrust_n)


def _bare_a(m: TrainMeasures) -> Floats:
    lanes = attrs.evolve(
        m.lanes, ct_scale=_BARE * m.lanes.ct_scale, cp_scale=_BARE * m.lanes.cp_scale, radio_a=0.0 * m.lanes.radio_a
    )
    ones = np.ones(lanes.size)
    density, sound = (ones * x for x in (m.setting.air.density_kg_m3, m.setting.air.speed_of_sound_m_s))
    return np.asarray(solve_lanes(lanes, 0.0 * ones, lanes.throttle_limit, ones, density, sound).pack_current_a)


def _winding_mohm(m: TrainMeasures) -> Floats:
    """A resistance that was found with the controller in it is the winding's without."""
    ohm = m.lanes.resistance_ohm - (1.0 - m.lanes.alone) * m.lanes.switch_ohm
    return np.where(ohm > 0, ohm / MILLIOHM_OHM, np.nan)


def _pack_mohm(m: TrainMeasures) -> Floats:
    return m.lanes.pack_ohm(np.ones(m.lanes.size)) / MILLIOHM_OHM


def _pack_error_mohm(m: TrainMeasures) -> float:
    """Of two loads, full throttle and 0.4 of its current."""
    return _DRIFT_V / (0.6 * float(np.nanmedian(m.full(1.0).pack_current_a))) / MILLIOHM_OHM


def _sink_m_s(m: TrainMeasures) -> Floats:
    """Steady glide at the speed of least power, no slower than 1.2 stall, propeller as it is with the motor off."""
    density = np.asarray(m.setting.air.density_kg_m3) * np.ones(m.lanes.size)
    speed = np.maximum(least_power_speed_m_s(m.frames, density), least_speed_m_s(m.frames, density))
    drag = drag_n(m.frames, density, speed) + motor_off_drag(m.lanes, speed, density).drag_n
    return np.asarray(speed * drag / m.frames.weight_n)


def _longest_a(m: TrainMeasures) -> Floats:
    """Mean pack current of the phase that most of the flight is flown in."""
    minutes = np.nan_to_num(m.flight.phase_minutes).mean(axis=1)
    return np.asarray(m.flight.phase_current_a[int(np.argmax(minutes))])


_STILL_AIR = "calm morning or evening, mean of four"
MEASUREMENTS = {
    each.name: each
    for each in (
        Measurement(
            name="scale", what="static thrust on a kitchen scale", kind="thrust", value=_thrust_n, sd=0.025,
            step=0.0098, digits=0, minutes=15, full_throttle=True,
            tools="kitchen or luggage scale, a board, clamps",
            how="full battery, full throttle for 3 s, model pulling or pushing the scale in free air",
            caution="model tied down, everybody behind the propeller's disc",
        ),
        Measurement(
            name="wattmeter", what="pack current at full throttle", kind="A",
            value=lambda m: m.full(1.0).pack_current_a, sd=0.025, zero=0.03, step=0.1, minutes=10, full_throttle=True,
            tools="wattmeter between pack and ESC", how="full battery, full throttle for 3 s, model at rest",
            caution="model tied down, everybody behind the propeller's disc",
        ),
        Measurement(
            name="tachometer", what="propeller speed at full throttle", kind="rpm", value=lambda m: m.full(1.0).rpm,
            sd=0.007, step=10.0, digits=0, minutes=10, full_throttle=True, tools="optical tachometer",
            how="full battery, full throttle for 3 s, daylight or a torch; no lamp on the mains",
            caution="model tied down; hold it from behind, never in line with the blades",
        ),
        Measurement(
            name="bare", what="pack current, motor without propeller", kind="A", value=_bare_a, sd=0.03, zero=0.03,
            step=0.1, digits=2, minutes=10, tools="wattmeter",
            how="propeller off, servos unplugged, full battery, full throttle for 5 s",
            caution="propeller and spinner off; no longer than 5 s",
        ),
        Measurement(
            name="winding", what="resistance between two motor wires", kind="mohm", value=_winding_mohm, sd=0.04,
            step=0.1, minutes=20, tools="supply or cell with a known current of 1 to 2 A, millivolt meter",
            how="cold motor off the ESC, millivolts at its wires over amperes; mean of the three pairs",
            caution="no longer than 10 s at a time: a warm winding reads high",
        ),
        Measurement(
            name="pack", what="resistance of the pack", kind="mohm", value=_pack_mohm, sd=0.02, zero=_pack_error_mohm,
            step=0.1, minutes=15, full_throttle=True, tools="wattmeter",
            how="full battery, part and full throttle: difference of the volts over that of the amperes",
            caution="model tied down, everybody behind the propeller's disc",
        ),
        Measurement(
            name="drill", what="kV turned by a drill", kind="rpm/V", value=lambda m: 1.0 / m.lanes.k * KV_TO_K,
            sd=0.02, digits=0, minutes=20, tools="drill, tachometer, AC voltmeter",
            how=f"shaft in the drill, no ESC: rpm over {_DC_PER_AC:.2f} times the AC volts between two wires",
            caution="wires apart from each other, sleeves rolled up",
        ),
        Measurement(
            name="weigh", what="all-up mass, ready to fly", kind="mass", value=lambda m: m.frames.mass_kg / GRAM_KG,
            sd=0.003, step=1.0, digits=0, minutes=5, tools="kitchen scale", how="with pack and everything that flies",
        ),
        Measurement(
            name="glide", what="rate of sink, motor off", kind="m/s", value=_sink_m_s, sd=0.10, digits=2, minutes=45,
            tools="stopwatch and a known height, or a height logger",
            how=f"cut the motor at 50 m, slow steady glide, height over time; {_STILL_AIR}",
            caution="a model that has flown and is trimmed",
        ),
        Measurement(
            name="laps", what="level speed at full throttle", kind="speed", value=lambda m: m.top_speed_m_s,
            sd=0.03, minutes=30, full_throttle=True, tools="stopwatch, two marks 100 m apart",
            how=f"half-full battery, level at full throttle both ways past the marks; {_STILL_AIR}",
            caution="a model that has flown and is trimmed; a helper with the watch",
        ),
        Measurement(
            name="recharge", what="mean pack current of the longest phase", kind="A", value=_longest_a, sd=0.05,
            digits=2, minutes=60, tools="charger that shows mAh, stopwatch",
            how="fly that phase alone for some minutes: mAh put back x 0.06 over the minutes flown",
            caution="a model that has flown; land with a third of the charge left",
        ),
    )
}  # fmt: skip
"""By name."""


# ---------------------------------------------------------------- what each is worth


@attrs.frozen(kw_only=True)
class HowSure:
    """What a check judges, as stated or as readings moved it, its 80 % interval and the chance that it is kept."""

    check: str
    value: float
    value_low: float
    value_high: float
    chance: float

    @classmethod
    def of(cls, sure: Sureness, check: str) -> "HowSure":
        """Of one check."""
        middle, ends = float(sure.drawn.middle[check].value[sure.at]), sure.value(check)
        return cls(
            check=check, value=middle, value_low=ends.low, value_high=ends.high, chance=sure.chance(check)
        )  # fmt: skip


@attrs.frozen(kw_only=True, eq=False)
class Worth:
    """What a measurement buys.

    Attributes
    ----------
    measurement : Measurement
    reading, reading_low, reading_high : float
        Expected where it can be made, with the instrument's error: median and 80 % interval, in the unit of its kind.
    remaining_sd : float
        Share of the standard deviation of what the check judges that is left.
    wrong_verdict : float
        Expected chance of a wrong verdict afterwards.
    """

    measurement: Measurement
    reading: float = number(label="expected reading")
    reading_low: float = number(label="expected reading, low end of 80 %")
    reading_high: float = number(label="expected reading, high end of 80 %")
    remaining_sd: float = number(kind="%", label="share of the uncertainty of the check that is left")
    wrong_verdict: float = number(label="expected chance of a wrong verdict afterwards")

    @property
    def minutes(self) -> float:
        """Of work."""
        return self.measurement.minutes


@attrs.frozen(kw_only=True, eq=False)
class NextMeasurements:
    """The measurements for one check, what buys most first.

    Attributes
    ----------
    judged : HowSure or None
        The check they are for; None where every check holds, or misses, in every draw.
    wrong_verdict : float
        Chance that a verdict given now is wrong.
    rows : tuple of Worth
    best_two : tuple of Worth
        The two that leave least together; empty where there are not two.
    best_two_remaining_sd, best_two_wrong_verdict : float
    impossible : tuple of Measurement
        Those that have no reading here.
    """

    judged: HowSure | None = None
    wrong_verdict: float = 0.0
    rows: tuple[Worth, ...] = ()
    best_two: tuple[Worth, ...] = ()
    best_two_remaining_sd: float = math.nan
    best_two_wrong_verdict: float = math.nan
    impossible: tuple[Measurement, ...] = ()


def uncertain_check(sure: Sureness) -> str | None:
    """The least certain of the checks that some draws keep and some do not."""
    short = {name: (1.0 - p) / (1.0 - sure.wanted(name)) for name, p in sure.chance_by_check.items() if 0.0 < p < 1.0}
    return max(short, key=lambda name: short[name], default=None)


def what_to_measure(sure: Sureness, check: str | None = None) -> NextMeasurements:
    """What each measurement would settle of a check, by default the least certain.

    Parameters
    ----------
    sure : Sureness
        Of a power train alone in its setting.
    check : str, optional

    Raises
    ------
    InputFaults
        No such check, or the brief gives it no limit.
    """
    if check is not None and check not in sure.drawn.judged:
        known = sorted(sure.drawn.judged)
        rule = "is no check with a limit here" if check in CHECKS else "is no check"
        raise InputFaults(
            [Fault("--check", value=check, rule=rule, hint=did_you_mean(check, known) or ", ".join(known))]
        )
    check = uncertain_check(sure) if check is None else check
    if check is None:
        return NextMeasurements()
    judged = HowSure.of(sure, check)
    chance = judged.chance
    shows, count = _Shows.of(sure), sure.drawn.draws.count
    y, h = _pulled_in(_over_limit(sure, check)), _pulled_in(shows.ln)

    def left(*which: int) -> float:
        both = np.vstack([y, h[list(which)]])
        both = both[:, np.isfinite(both).all(axis=0)]
        if both.shape[1] < _FEWEST or not np.std(both[0]) > _LEAST_SD:
            return 1.0
        spread = np.cov(both)
        c, inner = spread[0, 1:], spread[1:, 1:] + np.diag(shows.sd[list(which)] ** 2)
        return float(np.clip(1.0 - c @ np.linalg.solve(inner, c) / spread[0, 0], 0.0, 1.0))

    every = range(len(shows.measurements))
    rows = [
        Worth(
            measurement=each, reading=shows.median[at], reading_low=shows.expected[at].low,
            reading_high=shows.expected[at].high, remaining_sd=math.sqrt(v), wrong_verdict=_wrong(chance, v, count),
        )
        for at, each in enumerate(shows.measurements) for v in [left(at)]
    ]  # fmt: skip
    pairs = {(a, b): left(a, b) for a in every for b in every if a < b}
    best = min(pairs, key=lambda pair: pairs[pair], default=())
    return NextMeasurements(
        judged=judged,
        wrong_verdict=min(chance, 1.0 - chance),
        rows=tuple(sorted(rows, key=lambda row: row.remaining_sd)),
        best_two=tuple(sorted((rows[at] for at in best), key=lambda row: row.remaining_sd)),
        best_two_remaining_sd=math.sqrt(pairs[best]) if best else math.nan,
        best_two_wrong_verdict=_wrong(chance, pairs[best], count) if best else math.nan,
        impossible=shows.impossible,
    )


def _wrong(chance: float, left: float, draws: int) -> float:
    """E[min(P, 1 - P)] where a normal number, above 0 with this chance, has its mean known but for ``left``."""
    from scipy.special import ndtr, ndtri

    if left <= 0.0:
        return 0.0
    middle = ndtri(np.clip(chance, 0.5 / draws, 1.0 - 0.5 / draws))
    z = np.linspace(-8.0, 8.0, 1601)
    p = ndtr((middle + math.sqrt(1.0 - left) * z) / math.sqrt(left))
    return float(np.average(np.minimum(p, 1.0 - p), weights=np.exp(-0.5 * z * z)))


def _over_limit(sure: Sureness, check: str) -> Floats:
    """ln of value over limit for every draw, NaN where one is not above 0; the difference where many are not."""
    measure = sure.drawn.measured[check]
    value, limit = sure.of(measure.value), sure.of(measure.limit)
    both = (value > 0) & (limit > 0)
    if both.mean() >= _MOSTLY:
        return np.log(np.where(both, value, np.nan) / limit)
    return np.asarray(value - limit)


def _pulled_in(values: Floats) -> Floats:
    """Values (..., N) of which those far out count as four robust standard deviations from the median.

    A few flights that end as soon as they begin would else make most of a variance.
    """
    if not np.isfinite(values).any():
        return values
    middle = np.nanmedian(values, axis=-1, keepdims=True)
    far = 4.0 * _MAD_SD * np.nanmedian(np.abs(values - middle), axis=-1, keepdims=True)
    return np.clip(values, middle - far, middle + far)


@attrs.frozen(kw_only=True, eq=False)
class _Shows:
    """What instruments would show: ln of the reading of each draw (M, N), sd of the error of ln (M,)."""

    measurements: tuple[Measurement, ...]
    ln: Floats
    sd: Floats
    median: tuple[float, ...]
    expected: tuple[Interval, ...]
    impossible: tuple[Measurement, ...]

    @classmethod
    def of(cls, sure: Sureness, names: Sequence[str] = tuple(MEASUREMENTS)) -> "_Shows":
        measured, rng = sure.measured, np.random.default_rng(SEED)
        kept, ln, sds, medians, expected, impossible = [], [], [], [], [], []
        for name in names:
            each = MEASUREMENTS[name]
            value = each.value(measured)
            value = np.where(value > 0, value, np.nan)
            if not np.isfinite(value).mean() >= _OFTEN_ENOUGH:
                impossible.append(each)
                continue
            medians.append(float(np.nanmedian(value)))
            sd = each.sd_ln(measured, medians[-1])
            seen = value * np.exp(sd * rng.standard_normal(value.size))
            expected.append(interval(seen[np.isfinite(seen)]))
            kept.append(each)
            ln.append(np.log(value))
            sds.append(sd)
        shape = (len(kept), measured.lanes.size)
        return cls(
            measurements=tuple(kept), ln=np.reshape(ln, shape), sd=np.array(sds), median=tuple(medians),
            expected=tuple(expected), impossible=tuple(impossible),
        )  # fmt: skip


# ---------------------------------------------------------------- a reading that was taken


@attrs.frozen(kw_only=True)
class Reading:
    """A reading of one of ``MEASUREMENTS``, held in the unit of its kind.

    Attributes
    ----------
    name : str; value : float
    sd : float or None
        Its relative error where that was stated.
    typed_unit : str
        In which it was typed; empty for that of its kind.
    """

    name: str
    value: float
    sd: float | None = None
    typed_unit: str = ""


_READING = re.compile(
    r"\s*([\w ]+?)\s*=\s*([+-]?[\d.]+(?:e[+-]?\d+)?)\s*([^\s\d%][^\s%]*)?(?:\s+([\d.]+)\s*%)?\s*", re.I
)
_TYPE = "type it like wattmeter=9.1A, or 'wattmeter=9.1A 2%' with its error"


def read_readings(texts: Sequence[str], units: Mapping[str, str], where: str = "--reading") -> tuple[Reading, ...]:
    """Readings typed as NAME=VALUE, each perhaps with a unit and the error of its instrument in per cent.

    Parameters
    ----------
    texts : sequence of str
    units : mapping
        Name of a measurement to the unit of a number without one.
    where : str

    Raises
    ------
    InputFaults
        Every one that cannot be read, is named twice, or lies out of range.
    """
    faults: list[Fault] = []
    found: dict[str, Reading] = {}
    for text in texts:
        read = _read(text, units)
        if isinstance(read, Reading) and read.name in found:
            read = Fault("", value=text, rule=f"{read.name} is named twice; give one reading, the mean of several")
        if isinstance(read, Fault):
            faults.append(attrs.evolve(read, where=where))
        else:
            found[read.name] = read
    if faults:
        raise InputFaults(faults)
    return tuple(found.values())


def _read(text: str, units: Mapping[str, str]) -> Reading | Fault:
    match = _READING.fullmatch(text)
    if match is None:
        return Fault("", value=text, rule="must be NAME=NUMBER", hint=_TYPE)
    name, digits, unit, error = match.groups()
    if name not in MEASUREMENTS:
        known = ", ".join(MEASUREMENTS)
        return Fault(
            "", value=name, rule="is no measurement", hint=did_you_mean(name, MEASUREMENTS) or f"known: {known}"
        )
    each = MEASUREMENTS[name]
    convert = conversion(unit or units[name], each.unit)
    if convert is None:
        return Fault("", value=text, rule=f"must be in {units[name]}", hint=_TYPE)
    try:
        value, sd = convert(float(digits)), None if error is None else float(error) / 100.0
    except ValueError:
        return Fault("", value=text, rule="is no number", hint=_TYPE)
    if not (math.isfinite(value) and value > 0):
        return Fault("", value=text, rule="must be above 0")
    if sd is not None and not 0.0 < sd <= 1.0:
        return Fault("", value=text, rule="the error must be above 0 and at most 100 %")
    return Reading(name=name, value=value, sd=sd, typed_unit=unit or units[name])


def updated(sure: Sureness, readings: Sequence[Reading], *, seed: int = SEED) -> tuple[Sureness, tuple[Fault, ...]]:
    """The draws after readings were taken, and what is hard to believe about these.

    Parameters
    ----------
    sure : Sureness
        Of a power train alone.
    readings : sequence of Reading
    seed : int

    Raises
    ------
    InputFaults
        Readings that cannot be taken of this train, or that none of its parts can give.
    """
    shows = _Shows.of(sure, [each.name for each in readings])
    faults = [
        Fault("--reading", value=each.name, rule="has no answer with this power train, so that it says nothing")
        for each in shows.impossible
    ]
    doubts: list[Fault] = []
    stated = {each.name: each for each in readings}
    sd, seen = shows.sd.copy(), np.empty(len(shows.measurements))
    for at, each in enumerate(shows.measurements):
        reading = stated[each.name]
        sd[at] = sd[at] if reading.sd is None else reading.sd
        seen[at] = math.log(reading.value)
        apart = abs(seen[at] - np.nanmedian(shows.ln[at])) / math.hypot(np.nanstd(shows.ln[at]), sd[at])
        if apart > _FAR:
            unit = reading.typed_unit or each.unit
            convert, ends = conversion(unit, each.unit), shows.expected[at]
            told_in = 1.0 if convert is None else convert.factor
            told = Fault(
                "--reading", key=each.name, value=f"{reading.value / told_in:.4g} {unit}",
                rule=f"{ends.low / told_in:.4g} to {ends.high / told_in:.4g} {unit} was expected",
                kind="fault" if apart > _TOO_FAR else "warning",
                hint="another part, another throttle, a flat battery, or a wrong unit?",
            )  # fmt: skip
            (faults if apart > _TOO_FAR else doubts).append(told)
    if faults:
        raise InputFaults(faults)
    rng = np.random.default_rng(seed)
    for _ in range(_STEPS):
        sure = _moved(sure, shows, seen, math.sqrt(_STEPS) * sd, rng)
        shows = _Shows.of(sure, [*stated])
        if shows.impossible:
            break
    return sure, tuple(doubts)


def _moved(sure: Sureness, shows: _Shows, seen: Floats, sd: Floats, rng: np.random.Generator) -> Sureness:
    """The draws moved towards readings ``seen`` (M,) of ln, known to ``sd``."""
    sound = np.isfinite(shows.ln).all(axis=0)
    h, raw = _pulled_in(shows.ln[:, sound]), sure.drawn.draws.raw[sound]
    noise = rng.standard_normal(h.shape)
    noise -= noise.mean(axis=1, keepdims=True)
    cross = (raw - raw.mean(axis=0)).T @ (h - h.mean(axis=1, keepdims=True)).T / (h.shape[1] - 1)
    gain = np.linalg.solve(np.atleast_2d(np.cov(h)) + np.diag(sd**2), cross.T)
    moved = raw + (seen[:, None] + sd[:, None] * noise - h).T @ gain
    return Sureness(_Moved(sure.drawn.setting, sure.drawn.trains, moved))


class _Moved(Drawn):
    """Draws that readings moved: in their middle every number is the mean of its own."""

    @cached_property
    def middle(self) -> TrainMeasures:
        return self._with(self.draws.raw.mean(axis=0, keepdims=True))


def changed(before: Sureness, after: Sureness) -> tuple[tuple[HowSure, HowSure], ...]:
    """Before and after: thrust to weight, flight time, and every check that some draws keep and some do not."""
    pairs = [(HowSure.of(before, name), HowSure.of(after, name)) for name in before.drawn.judged]
    always = ("thrust_to_weight", "flight_time")
    return tuple(pair for pair in pairs if pair[0].check in always or any(0.0 < each.chance < 1.0 for each in pair))
