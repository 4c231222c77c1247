"""What each row of a log should read, as a function of constants that all rows share and of the row's own speed.

    V_t d = K w + (R + b w) I,  I = Q(u)/(g e K_t) + I0(w),  w = g u      the motor behind a duty d
    I_pack = n d I/eta,  eta = 1 - k (1 - d)                               n motors
    V_t = E - R_p I_pack - s at                                            the pack, falling by s from row to row

Unknown are ln of kV, R, b, K_t/K and I0, of a factor each on CT and CP of every propeller, of E and R_p of every pack,
and of the gains of the instruments; the fall s, the zero of the ammeter and k as they are; ln u of every row; and ln d
of rows at part throttle, whose duty is hardly known. All but ln u are normal about what is known. Vectors x hold them
as standard normal numbers, so that a prior is a residual x. R and b go with K^2, and I0 with 1/K_t, where they are
estimates and K or K_t move. A row read warmer than the others has R + b w times the copper's factor.
"""

import math
from collections.abc import Mapping, Sequence
from copy import copy
from typing import Any

import attrs
import numpy as np

from propmatch.bench.instruments import Instrument
from propmatch.models import controller as chopper
from propmatch.models import motor as law
from propmatch.models import propeller as blades
from propmatch.models.arrays import Floats
from propmatch.models.lookup import RestReader, Workspace
from propmatch.models.surface import stack_surfaces
from propmatch.records.estimates import PART_THROTTLE_LOSS, Z80, usual_part_throttle_loss
from propmatch.records.motorfit import CONSTANTS, PROPELLER_CORRELATION, no_load_speed_rad_s, propeller_sd
from propmatch.records.parts import Motor, Propeller
from propmatch.units import GRAM_FORCE_N, INCH_M, KV_TO_K, RPM_RAD_S

__all__ = ["QUANTITIES", "MotorPrior", "PackPrior", "Row", "RowModel"]

QUANTITIES = ("volts", "amps", "rpm", "thrust_gf", "torque_nm")
"""What a row may say, in this order."""
PACK_LINE = "pack"
MODEL_SD = 0.0025
"""Of the volts of a motor at its speed and current: without it 90 % intervals cover 81 % of real rows, with it 93."""
RISE_SD = 0.1
"""sd of the power of speed by which thrust and torque rise otherwise than a predicted table says: common practice, no
published source."""
FALL_V, PACK_SD_V = 0.01, 0.015
"""sd of how far a pack falls from row to row, and of one row about that; common practice, no published source."""
DUTY_SD = 0.15
"""sd of ln of the duty where a throttle below full is stated: the stick is not the duty."""
AT_REST_RPM = 1.0
"""Stands for the speed of a row at rest, so that every row has a speed."""
_STEP, _U_SCALE = 1e-6, 0.1
_NEWTON = 20


@attrs.frozen(kw_only=True, eq=False)
class Row:
    """One row: what was read of ``QUANTITIES``; ``propeller`` None is a bare shaft, ``pack`` None a bench supply.

    ``kelvin`` is how much warmer the winding is than in the rows' mean, ``at`` the row's place on its pack. A row at
    throttle 0 says what the pack has at rest.
    """

    given: Mapping[str, float]
    propeller: Propeller | None
    throttle: float = 1.0
    pack: int | None = None
    at: int = 0
    kelvin: float = 0.0


@attrs.frozen(kw_only=True)
class PackPrior:
    """What is expected of a pack: open-circuit volts and resistance with sd of ln, resistance with its leads."""

    open_circuit_v: float
    resistance_ohm: float
    open_sd: float = 0.03
    resistance_sd: float = 0.45


@attrs.frozen(kw_only=True, eq=False)
class MotorPrior:
    """What is expected of a motor: every constant, sd of ln of each of ``CONSTANTS``, and which are estimates.

    ``usual`` are the sd that rows must better for a number to be worth giving: those of a label and of the motor law.
    """

    motor: Motor
    sd: tuple[float, ...]
    usual: tuple[float, ...]
    estimated: frozenset[str]


class RowModel:
    """Rows, and what is known of everything they share.

    Parameters
    ----------
    prior, rows, packs, instruments
    count : motors on the pack
    density_kg_m3 : of the air
    """

    def __init__(
        self,
        prior: MotorPrior,
        rows: Sequence[Row],
        packs: Sequence[PackPrior],
        instruments: Mapping[str, Instrument],
        *,
        count: int = 1,
        density_kg_m3: float = 1.225,
    ) -> None:
        self.motor, self.rows, self.packs, self.instruments = prior.motor, tuple(rows), packs, instruments
        self.usual, self.count, self.density = np.array(prior.usual), count, density_kg_m3
        self.propellers = tuple({id(r.propeller): r.propeller for r in rows if r.propeller is not None}.values())
        self.reference = no_load_speed_rad_s(self.motor)
        self.names, self.mean, self.scale = self._shared(prior)
        self.part = np.flatnonzero([0.0 < row.throttle < 1.0 for row in rows])
        self._lay_rows()

    def _shared(self, prior: MotorPrior) -> tuple[tuple[str, ...], Floats, Floats]:
        """Names, means and the scale (mean + scale @ x) of what all rows share."""
        m = self.motor
        names: list[str] = [*CONSTANTS]
        kv, r, b, kt, i0 = (float(getattr(m, name) or 1e-9) for name in CONSTANTS)
        mean = [math.log(kv), math.log(r), math.log(b), math.log(kt if m.torque_constant_ratio else 1.0), math.log(i0)]
        spread = [*prior.sd]
        for p in self.propellers:
            names += [f"ct of {p.name}", f"cp of {p.name}"]
            mean += [0.0, 0.0]
            spread += propeller_sd(p)
        for at, pack in enumerate(self.packs):
            names += [f"open_circuit_v {at}", f"pack_resistance_ohm {at}", f"fall_v {at}"]
            mean += [math.log(pack.open_circuit_v), math.log(pack.resistance_ohm), 0.0]
            spread += [pack.open_sd, pack.resistance_sd, FALL_V]
        for quantity in QUANTITIES:
            names.append(f"gain of {quantity}")
            mean.append(0.0)
            spread.append(self.instruments[quantity].gain)
        usual = usual_part_throttle_loss(m.mass_g).value
        low, high = PART_THROTTLE_LOSS["usual"][1:]
        names += ["zero of amps", "part_throttle_loss"]
        mean += [0.0, usual]
        spread += [self.instruments["amps"].zero, (high - low) / (2.0 * Z80)]
        scale = np.diag(spread)
        for at, source, power in ((1, 0, -2.0), (2, 0, -2.0), (4, 0, 1.0), (4, 3, -1.0)):
            if CONSTANTS[at] in prior.estimated:
                scale[at, source] = power * spread[source]
        for ct in range(len(CONSTANTS), len(CONSTANTS) + 2 * len(self.propellers), 2):
            scale[ct + 1, ct] = scale[ct + 1, ct + 1] * PROPELLER_CORRELATION
            scale[ct + 1, ct + 1] *= math.sqrt(1.0 - PROPELLER_CORRELATION**2)
        return tuple(names), np.array(mean), scale

    def _lay_rows(self) -> None:
        """What was read, and in which uncertainty, as arrays (quantities and pack line, rows)."""
        rows, n = self.rows, len(self.rows)
        given = [row.given if row.throttle else {"volts": row.given["volts"], "rpm": AT_REST_RPM} for row in rows]
        self.given = np.array([[each.get(q, math.nan) for each in given] for q in QUANTITIES], dtype=float)
        self.runs = np.array([row.throttle > 0.0 for row in rows])
        ids = {id(p): at for at, p in enumerate(self.propellers)}
        self.which = np.array([-1 if r.propeller is None else ids[id(r.propeller)] for r in rows], dtype=np.intp)
        self.turning = self.which >= 0
        size = [0.0 if r.propeller is None else r.propeller.diameter_in * INCH_M for r in rows]
        self.diameter = np.array(size)
        self.throttle = np.array([row.throttle or 1.0 for row in rows])
        self.warm = law.warm_resistance_ohm(1.0, np.array([[row.kelvin] for row in rows]))
        self.pack = np.array([-1 if row.pack is None else row.pack for row in rows], dtype=np.intp)
        self.at = np.array([row.at for row in rows], dtype=float)
        if self.propellers:
            surfaces = stack_surfaces([p.table.surfaces for p in self.propellers if p.table is not None])
            which = np.maximum(self.which, 0)
            self._readers = {c: RestReader(c, surfaces, which, n, Workspace()) for c in ("cp", "ct")}
        self._take()

    def _take(self) -> None:
        """In which uncertainty each row was read."""
        every = [self.instruments[q] for q in QUANTITIES]
        noise, step = (np.array([[getattr(each, k)] for each in every]) for k in ("noise", "resolution"))
        sd = np.hypot(noise * self.given, step / math.sqrt(12.0))
        sd[3:] = np.hypot(sd[3:], RISE_SD * self._over_usual() * self.given[3:])
        sd[0] = np.where(self.runs, np.hypot(sd[0], MODEL_SD * self.given[0]), np.nan)
        line = np.where(self.pack >= 0, PACK_SD_V, np.nan)
        read = np.isfinite(self.given[0])
        meter = np.hypot(noise[0] * self.given[0], step[0] / math.sqrt(12.0))
        line = np.where(read, np.hypot(line, meter), np.hypot(line, MODEL_SD * self._open_v()))
        self.sd = np.vstack([sd, line])
        self._volts_read = read
        self.read = np.isfinite(self.sd)

    def _over_usual(self) -> Floats:
        """ln of a row's speed over its propeller's mean, where that was read and the table is predicted; else 0."""
        ln_rpm, out = np.log(self.given[2]), np.zeros(len(self.rows))
        for at, propeller in enumerate(self.propellers):
            mine = np.flatnonzero((self.which == at) & np.isfinite(ln_rpm))
            if mine.size and propeller.source.kind == "predicted":
                out[mine] = ln_rpm[mine] - ln_rpm[mine].mean()
        return out

    def had_last(self, given: Mapping[str, float]) -> "RowModel":
        """The same, had the last row said this."""
        made = copy(self)
        made.given = self.given.copy()
        made.given[:, -1] = [given.get(q, math.nan) for q in QUANTITIES]
        made._take()
        return made

    # ---------------------------------------------------------------- vectors

    @property
    def size(self) -> int:
        """How many numbers all rows share."""
        return len(self.names)

    @property
    def of_packs(self) -> list[int]:
        """Which of them are the packs'."""
        first = len(CONSTANTS) + 2 * len(self.propellers)
        return [*range(first, first + 3 * len(self.packs))]

    @property
    def priors(self) -> int:
        """How many residuals are priors: they come first."""
        return self.size + len(self.part)

    @property
    def places(self) -> tuple[tuple[int, str], ...]:
        """Row and quantity of every residual that is no prior."""
        names = (*QUANTITIES, PACK_LINE)
        return tuple((int(row), names[q]) for q, row in np.argwhere(self.read))

    def start(self) -> Floats:
        """What is expected, at the speeds that were read, else those that the volts give."""
        rpm = self.given[2]
        u = rpm * RPM_RAD_S if np.isfinite(rpm).all() else np.where(np.isfinite(rpm), rpm * RPM_RAD_S, self.speeds())
        return np.concatenate([np.zeros(self.priors), np.log(u) / _U_SCALE])

    def speeds(self, x: Floats | None = None) -> Floats:
        """Speeds [rad/s] of the propellers at the volts of the rows, or of their packs: Newton's steps from above."""
        theta = self.mean[:, None] if x is None else self.shared(x)[:, None]
        volts = np.where(np.isfinite(self.given[0]), self.given[0], np.maximum(self._open_v(), 1.0))
        ln_d = np.log(self.throttle)[:, None]
        ln_u = np.log(volts * self.throttle * math.exp(theta[0, 0]) * RPM_RAD_S / self.motor.gear_ratio)
        for _ in range(_NEWTON):
            both = ln_u[:, None] + np.array([0.0, _STEP])
            now = {c: v[:, None] + s[:, None] * [0.0, _STEP] for c, (v, s) in self._coefficients(np.exp(ln_u)).items()}
            found = self.answers(np.repeat(theta, 2, axis=1), both, np.repeat(ln_d, 2, axis=1), now)["volts"]
            step = (found[:, 0] - volts) / np.maximum((found[:, 1] - found[:, 0]) / _STEP, 1e-9)
            ln_u = ln_u - np.minimum(step, 1.0)
            if np.abs(step).max() < 1e-4:
                break
        return np.asarray(np.exp(ln_u))

    def carried(self, x: Floats, model: "RowModel") -> Floats:
        """An answer of a model of the same rows but the last, which gets its speed from its volts."""
        values = dict(zip(model.names, x, strict=False))
        mine = np.concatenate([[values.get(name, 0.0) for name in self.names], x[model.size :], [0.0]])
        if self.runs[-1]:
            mine[-1] = math.log(self.speeds(mine)[-1]) / _U_SCALE
        return mine

    def _open_v(self) -> Floats:
        every = np.array([0.0, *(pack.open_circuit_v for pack in self.packs)])
        return np.asarray(every[self.pack + 1])

    def shared(self, x: Floats) -> Floats:
        """What all rows share, (names,)."""
        return np.asarray(self.mean + self.scale @ x[: self.size])

    def answers(self, theta: Floats, ln_u: Floats, ln_d: Floats, coefficients: Mapping[str, Floats]) -> dict[str, Any]:
        """All readings for columns of numbers: theta (names, C), ln_u and ln_d (rows, C); each (rows, C)."""
        m, kinds = self.motor, len(CONSTANTS)
        kv, r, b, ratio, i0 = np.asarray(np.exp(theta[:kinds]))
        u, d = np.exp(ln_u), np.exp(ln_d)
        factors = np.vstack([np.ones((2, theta.shape[1])), np.exp(theta[kinds : kinds + 2 * len(self.propellers)])])
        at = 2 * (self.which + 1)
        rev_s, size = u / (2.0 * math.pi), self.diameter[:, None]
        torque = blades.torque_nm(coefficients["cp"] * factors[at + 1], self.density, rev_s, size)
        thrust = blades.thrust_n(coefficients["ct"] * factors[at], self.density, rev_s, size)
        k, w = KV_TO_K / kv, u * m.gear_ratio
        friction = law.no_load_current_a(w, i0, self.reference, m.no_load_exponent)
        current = law.current_a(torque, friction, k * ratio, m.gear_ratio, m.gear_efficiency)
        ohm = law.resistance_at_speed(r, b, w) * self.warm
        names = dict(zip(self.names[kinds:], theta[kinds:], strict=True))
        drawn = self.count * chopper.pack_current_per_motor_a(current, d, names["part_throttle_loss"])
        volts = law.terminal_voltage_v(w, current, k, ohm) / d
        found = {"volts": volts, "amps": drawn, "rpm": u / RPM_RAD_S,
                 "thrust_gf": self.count * thrust / GRAM_FORCE_N, "torque_nm": torque}  # fmt: skip
        for q in found:
            found[q] = found[q] * np.exp(names[f"gain of {q}"])
        found["amps"] = found["amps"] + names["zero of amps"]
        drawn = drawn * self.runs[:, None]
        found["ohm"], found["w"], found["current"] = ohm, w, current
        if self.packs:
            here = np.maximum(self.pack, 0)
            open_v, pack_ohm, fall = (
                np.stack([names[f"{name} {at}"] for at in range(len(self.packs))])[here]
                for name in ("open_circuit_v", "pack_resistance_ohm", "fall_v")
            )
            line = np.exp(open_v) - np.exp(pack_ohm) * drawn - fall * self.at[:, None]
            found[PACK_LINE] = line * np.exp(names["gain of volts"])
        else:
            found[PACK_LINE] = np.full_like(volts, math.nan)
        return found

    def linear(self, x: Floats) -> tuple[Floats, Floats]:
        """Priors, then what was read, each in its own uncertainty, (M,), and their Jacobian (M, N)."""
        found, by_theta, by_u, by_d = self._moved(x)
        n, shared, priors = len(self.rows), self.size, self.priors
        read = np.nonzero(self.read)
        sd, row = self.sd[read], read[1]
        r = np.concatenate([x[:priors], self._off(found)[read] / sd])
        jacobian = np.zeros((r.size, x.size))
        jacobian[:priors, :priors] = np.eye(priors)
        jacobian[priors:, :shared] = (by_theta[read] / sd[:, None]) @ self.scale
        jacobian[priors + np.arange(row.size), priors + row] = by_u[read] / sd * _U_SCALE
        if self.part.size:
            slot = np.full(n, -1)
            slot[self.part] = np.arange(self.part.size)
            here = np.flatnonzero(slot[row] >= 0)
            jacobian[priors + here, shared + slot[row[here]]] = (by_d[read] / sd)[here] * DUTY_SD
        return r, jacobian

    def readings(self, x: Floats) -> dict[str, Floats]:
        """What every row should read, and its w [rad/s], current [A] and ohm: (rows,)."""
        theta, ln_u, ln_d = (each[:, None] for each in self._columns(x))
        now = {c: v[:, None] for c, (v, _) in self._coefficients(np.exp(ln_u[:, 0])).items()}
        return {k: v[:, 0] for k, v in self.answers(theta, ln_u, ln_d, now).items()}

    def _columns(self, x: Floats) -> tuple[Floats, Floats, Floats]:
        ln_u, ln_d = x[self.priors :] * _U_SCALE, np.log(self.throttle)
        ln_d[self.part] = np.minimum(ln_d[self.part] + DUTY_SD * x[self.size : self.priors], 0.0)
        return self.shared(x), ln_u, ln_d

    def _coefficients(self, u: Floats) -> dict[str, tuple[Floats, Floats]]:
        """CP and CT of each row's propeller with their change with ln u; a bare shaft has none."""
        out = {}
        for name in ("cp", "ct"):
            value, slope = np.zeros_like(u), np.zeros_like(u)
            if self.propellers:
                reader = self._readers[name]
                reader.go(u, np.zeros_like(u))
                found, by_u = reader.value_and_slope()
                value, slope = np.where(self.turning, found, 0.0), np.where(self.turning, by_u, 0.0)
            out[name] = (value, slope)
        return out

    def _off(self, found: Mapping[str, Floats]) -> Floats:
        """Model less reading, (quantities and pack line, rows, ...)."""
        every = np.stack([found[q] for q in (*QUANTITIES, PACK_LINE)])
        given = self.given.reshape(*self.given.shape, *[1] * (every.ndim - 2))
        line = np.where(np.isfinite(given[0]), given[0], every[0])
        return np.concatenate([every[:-1] - given, (every[-1] - line)[None]])

    def _moved(self, x: Floats) -> tuple[dict[str, Floats], Floats, Floats, Floats]:
        """Answers at x, and how model less reading moves with theta, ln u and ln d, by forward differences."""
        theta, ln_u, ln_d = self._columns(x)
        columns = self.size + 3
        many = np.repeat(theta[:, None], columns, axis=1)
        many[np.arange(self.size), np.arange(1, self.size + 1)] += _STEP
        us, ds = (np.repeat(each[:, None], columns, axis=1) for each in (ln_u, ln_d))
        us[:, -2] += _STEP
        ds[:, -1] -= _STEP
        coefficients = {}
        for name, (value, slope) in self._coefficients(np.exp(ln_u)).items():
            coefficients[name] = np.repeat(value[:, None], columns, axis=1)
            coefficients[name][:, -2] += slope * _STEP
        found = self.answers(many, us, ds, coefficients)
        off = self._off(found)
        slopes = (off[..., 1:] - off[..., :1]) / _STEP
        base = {name: each[:, 0] for name, each in found.items()}
        return base, slopes[..., : self.size], slopes[..., -2], -slopes[..., -1]
