"""A motor from readings at full throttle, standing still: the motor law moved to what the instruments say.

Unknown are kV, R, b, K_t/K and I0 of the motor, a factor each on CT and CP of every propeller, and the speed w of every
row; all but w are lognormal about what law and table say. A row says, as far as it was read,

    V = K w + (R + b w + R_c) I,   I = Q(w)/K_t + I0(w),   w,   T(w)

R and b go with K^2, and I0 with 1/K_t, where K or K_t move. All residuals, priors among them, are fitted with Student's
t of 4 degrees of freedom, from the plain least squares answer (:mod:`propmatch.models.leastsquares`); how far a number
contradicts is judged at the plain one.
"""

import math
from collections.abc import Mapping, Sequence

import attrs
import numpy as np

from propmatch.models import motor as law
from propmatch.models import propeller as blades
from propmatch.models.arrays import Floats
from propmatch.models.leastsquares import GAUSS, STUDENT, contradictions, information, least, linearised
from propmatch.records.estimates import Z80, completed
from propmatch.records.fields import declared, replace
from propmatch.records.parts import Motor, Propeller, Source
from propmatch.units import INCH_M, KV_TO_K, RPM_RAD_S

__all__ = ["AIR_DENSITY_KG_M3", "CONSTANTS", "INSTRUMENT_SD", "BenchRow", "Misfit", "MotorFit", "expected",
           "fit_motor", "no_load_speed_rad_s", "propeller_sd", "scaled_table", "with_constants"]  # fmt: skip

AIR_DENSITY_KG_M3 = 1.225
INSTRUMENT_SD = {"volts": 0.01, "amps": 0.02, "rpm": 0.01, "thrust_n": 0.03}
"""Relative standard uncertainty of what a row says, its rounding in it: common practice, no published source."""
PROPELLER_SD, PROPELLER_CORRELATION = (0.17, 0.20), 0.8
"""sd of ln CT and ln CP of a propeller known by its label: held-out propellers of the UIUC Propeller Database."""
KNOWN_SD = 0.02
"""sd of ln of a constant that somebody measured: common practice, no published source."""
CONSTANTS = (
    "kv_rpm_per_v", "resistance_ohm", "resistance_slope_ohm_s", "torque_constant_ratio", "no_load_current_a",
)  # fmt: skip
_SPEEDS_RAD_S = np.geomspace(300.0, 150_000.0, 200) * RPM_RAD_S


@attrs.frozen(kw_only=True, eq=False)
class BenchRow:
    """One reading: volts [V] at the controller and amps [A]; where read, rpm and thrust [N].

    ``controller_ohm`` is the controller's resistance where the motor's is to be found without it.
    """

    propeller: Propeller
    volts: float
    amps: float
    rpm: float | None = None
    thrust_n: float | None = None
    controller_ohm: float = 0.0


@attrs.frozen
class Misfit:
    """A number as it was given, what all the others make of it, and how far apart in their joint uncertainty."""

    row: int
    name: str
    given: float
    expected: float
    sigmas: float


@attrs.frozen(kw_only=True, eq=False)
class MotorFit:
    """What fits the rows best.

    Attributes
    ----------
    motor : Motor
        With every constant that was sought, ``CONSTANTS``.
    propellers : tuple of Propeller
        Those of the rows, each once, with the tables that fit.
    value, sd_ln : mapping of arrays
        Numbers and their standard uncertainties (of ln): (1,) the ``CONSTANTS``; (propellers,) the factors ``ct`` and
        ``cp``; (rows,) ``rpm``, ``volts``, ``amps``, ``thrust_n``, ``torque_nm`` and ``ohm``, R + b w.
    misfits : tuple of Misfit
        Every number of the rows and the kV that was expected, the most contradicted first.
    """

    motor: Motor
    propellers: tuple[Propeller, ...]
    value: Mapping[str, Floats]
    sd_ln: Mapping[str, Floats]
    misfits: tuple[Misfit, ...]

    def range80(self, name: str) -> tuple[float, float]:
        """The middle 80 % of the first number of this name."""
        value, factor = self.value[name][0], np.exp(Z80 * self.sd_ln[name][0])
        return float(value / factor), float(value * factor)


def propeller_sd(propeller: Propeller) -> tuple[float, float]:
    """sd of ln CT and ln CP: the source's own, else that of a propeller known by its label."""
    sure = propeller.source.uncertainty
    return PROPELLER_SD if sure is None else (max(sure, 1e-3), max(sure, 1e-3))


def expected(motor: Motor, stated: Mapping[str, float]) -> tuple[Motor, list[float]]:
    """The motor with the law's numbers where it is silent, its ratings left alone, and sd of ln of the ``CONSTANTS``.

    ``stated`` is that of constants that the motor states; ``KNOWN_SD`` where it is silent.
    """
    full, made = completed(motor)
    spread = {each.field: math.log(each.value / each.low) / Z80 for each in made if each.low}
    sd = [spread.get(name, stated.get(name, KNOWN_SD)) for name in CONSTANTS]
    return replace(full, max_current_a=motor.max_current_a, max_power_w=motor.max_power_w), sd


def no_load_speed_rad_s(full: Motor) -> float:
    """Speed that a motor's no-load current goes with [rad/s]; 1 where it states no voltage."""
    k, slope = KV_TO_K / full.kv_rpm_per_v, full.resistance_slope_ohm_s or 0.0
    r, i0, v0 = full.resistance_ohm, full.no_load_current_a, full.no_load_voltage_v
    if r is None or i0 is None or v0 is None:
        return 1.0
    return float(law.reference_speed_rad_s(k, r, i0, v0, slope))


def with_constants(motor: Motor, constants: Mapping[str, float], reference_rad_s: float) -> Motor:
    """The motor with the ``CONSTANTS`` that were found, its no-load current at a speed; each in its field's range."""
    kept = dict(constants)
    if motor.no_load_exponent > 0:
        kv, r, slope, _, i0 = (kept[name] for name in CONSTANTS)
        ohm = law.resistance_at_speed(r, slope, reference_rad_s)
        kept["no_load_voltage_v"] = float(law.terminal_voltage_v(reference_rad_s, i0, KV_TO_K / kv, ohm))
    for rule in declared(Motor):
        if rule.name in kept:
            kept[rule.name] = float(np.clip(kept[rule.name], rule.ge, rule.le))
    if (v0 := kept.get("no_load_voltage_v")) and kept["resistance_ohm"] > 0:
        kept["no_load_current_a"] = min(kept["no_load_current_a"], 0.5 * v0 / kept["resistance_ohm"])
    return replace(motor, **kept)


def fit_motor(motor: Motor, rows: Sequence[BenchRow], *, sd_ln: Mapping[str, float] | None = None) -> MotorFit:
    """Fit a motor's constants to rows at full throttle.

    Parameters
    ----------
    motor : Motor
        What is known of it; the motor law fills the rest, with its spreads.
    rows : sequence of BenchRow
        Every propeller with a table.
    sd_ln : mapping, optional
        sd of ln of constants that the motor states, by field; ``KNOWN_SD`` where it is silent.

    Returns
    -------
    MotorFit
    """
    problem = _Problem(motor, rows, sd_ln or {})
    x, residual, jacobian = least(problem.linear, problem.start(), GAUSS)
    misfits = problem.misfits(residual, jacobian)
    x, residual, jacobian = least(problem.linear, x, STUDENT)
    covariance = np.linalg.inv(information(residual, jacobian, STUDENT))
    at_x = problem.answers(x[:, None])
    _, slopes = linearised(lambda y: np.log(np.maximum(np.concatenate([*problem.answers(y).values()]), 1e-12)), x)
    sd = np.sqrt(np.einsum("ij,jk,ik->i", slopes, covariance, slopes))
    ends = np.cumsum([len(each) for each in at_x.values()])
    return problem.fit(
        {name: each[:, 0] for name, each in at_x.items()},
        dict(zip(at_x, np.split(sd, ends[:-1]), strict=True)),
        misfits,
    )


class _Problem:
    """Unknowns x: a standard normal number for each constant and propeller factor, then ln w of each row."""

    def __init__(self, motor: Motor, rows: Sequence[BenchRow], stated: Mapping[str, float]) -> None:
        self.motor, sd = expected(motor, stated)
        self.rows = tuple(rows)
        self.propellers = tuple({id(row.propeller): row.propeller for row in rows}.values())
        self.which = [[each is row.propeller for each in self.propellers].index(True) for row in rows]
        self.scale = np.diag([*sd, *(each for propeller in self.propellers for each in propeller_sd(propeller))])
        for cp in range(len(CONSTANTS) + 1, len(self.scale), 2):
            self.scale[cp, cp - 1] = self.scale[cp, cp] * PROPELLER_CORRELATION
            self.scale[cp, cp] *= math.sqrt(1.0 - PROPELLER_CORRELATION**2)
        given = [[getattr(row, name) or math.nan for row in rows] for name in INSTRUMENT_SD]
        self.given, self.sd = np.log(given), np.array([*INSTRUMENT_SD.values()])[:, None]
        self.read = np.isfinite(self.given)
        self.reference = no_load_speed_rad_s(self.motor)

    def answers(self, x: Floats) -> dict[str, Floats]:
        """All that is sought and all that follows, for each column of x (unknowns, N)."""
        n, m = len(self.scale), self.motor
        f, c, b, g, d, *factors = np.exp(self.scale @ x[:n])
        ct, cp, w = np.array(factors[0::2]), np.array(factors[1::2]), np.exp(x[n:])
        kv, ratio = m.kv_rpm_per_v * f, (m.torque_constant_ratio or 1.0) * g
        r, slope = m.resistance_ohm * c / f**2, (m.resistance_slope_ohm_s or 0.0) * b / f**2
        i0 = m.no_load_current_a * d * f / g
        thrust, torque = np.empty_like(w), np.empty_like(w)
        for at, (row, which) in enumerate(zip(self.rows, self.which, strict=True)):
            rev_s, size = w[at] / (2.0 * math.pi), row.propeller.diameter_in * INCH_M
            assert row.propeller.table is not None
            found = row.propeller.table.lookup(w[at] / RPM_RAD_S, 0.0)
            thrust[at] = blades.thrust_n(ct[which] * np.maximum(found.ct, 1e-9), AIR_DENSITY_KG_M3, rev_s, size)
            torque[at] = blades.torque_nm(cp[which] * found.cp, AIR_DENSITY_KG_M3, rev_s, size)
        k, ohm = KV_TO_K / kv, law.resistance_at_speed(r, slope, w)
        amps = law.current_a(torque, law.no_load_current_a(w, i0, self.reference, m.no_load_exponent), k * ratio)
        whole = ohm + np.array([[row.controller_ohm] for row in self.rows])
        return {
            **{name: each[None] for name, each in zip(CONSTANTS, (kv, r, slope, ratio, i0), strict=True)},
            "ct": ct, "cp": cp, "volts": law.terminal_voltage_v(w, amps, k, whole), "amps": amps,
            "rpm": w / RPM_RAD_S, "thrust_n": thrust, "torque_nm": torque, "ohm": ohm,
        }  # fmt: skip

    def residuals(self, x: Floats) -> Floats:
        """Priors, then what was read, each in its own uncertainty: (residuals, N)."""
        found = self.answers(x)
        off = (np.log([found[name] for name in INSTRUMENT_SD]) - self.given[..., None]) / self.sd[..., None]
        return np.concatenate([x[: len(self.scale)], off[self.read]])

    def linear(self, x: Floats) -> tuple[Floats, Floats]:
        """Residuals and their Jacobian."""
        return linearised(self.residuals, x)

    def start(self) -> Floats:
        """The law itself, at the speeds that its volts give."""
        speeds = np.log(_SPEEDS_RAD_S)
        x = np.zeros((len(self.scale) + len(self.rows), speeds.size))
        x[len(self.scale) :] = speeds
        volts = self.answers(x)["volts"]
        at = [np.interp(row.volts, np.maximum.accumulate(v), speeds) for row, v in zip(self.rows, volts, strict=True)]
        return np.concatenate([np.zeros(len(self.scale)), at])

    def misfits(self, residual: Floats, jacobian: Floats) -> tuple[Misfit, ...]:
        """Each number against all others."""
        off, sigmas = contradictions(residual, jacobian)
        priors, names = len(self.scale), [*INSTRUMENT_SD]
        places = [(0, 0, "kv_rpm_per_v", math.log(self.motor.kv_rpm_per_v), self.scale[0, 0])] + [
            (priors + i, int(row), names[name], self.given[name, row], self.sd[name, 0])
            for i, (name, row) in enumerate(np.argwhere(self.read))
        ]
        found = [Misfit(row, name, math.exp(ln), math.exp(ln + np.clip(off[at] * sd, -9, 9)), float(-sigmas[at]))
                 for at, row, name, ln, sd in places]  # fmt: skip
        return tuple(sorted(found, key=lambda each: -abs(each.sigmas)))

    def fit(self, value: Mapping[str, Floats], sd: Mapping[str, Floats], misfits: tuple[Misfit, ...]) -> MotorFit:
        """The answer as parts."""
        motor = with_constants(self.motor, {name: float(value[name][0]) for name in CONSTANTS}, self.reference)
        propellers = tuple(
            scaled_table(each, float(ct), float(cp), "to fit rows", round(min(float(left), 1.0), 3))
            for each, ct, cp, left in zip(self.propellers, value["ct"], value["cp"], sd["cp"], strict=True)
        )
        return MotorFit(motor=motor, propellers=propellers, value=value, sd_ln=sd, misfits=misfits)


def scaled_table(propeller: Propeller, ct: float, cp: float, why: str, uncertainty: float | None) -> Propeller:
    """The propeller with its coefficients times factors, and ``why`` in its source."""
    table, old = propeller.table, propeller.source
    assert table is not None
    text = f"{old.text}; thrust coefficient times {ct:.3f} and power coefficient times {cp:.3f} {why}"
    scaled = table.times(ct=ct, cp=cp)
    return replace(propeller, table=scaled, source=Source(text=text, kind=old.kind, uncertainty=uncertainty), id=None)
