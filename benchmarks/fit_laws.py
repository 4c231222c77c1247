"""Constants of the motor law fitted to the measurements, and the law judged on bench motors left out of the fit.

Run ``python benchmarks/fit_laws.py FOLDER [--volts V]``, FOLDER as for ``benchmarks/laws.py``, or ``--smoke`` for the
typed rows. Nothing is written: the constants stand in :mod:`propmatch.records.estimates`.

    R(w) = c (K/Km)^2 + beta (30/m)^q K^2 w     K = 60/(2 pi f kV)
    I0(w) = d 1.4e-4 m (w/1571)^0.3/K_t         K_t = K/g

Rows at full throttle up to V volts (12.6). Misses of a row, in ln: volts, (K w + R(w) I)/V; torque, K_t (I - I0)/Q,
against the measured torque on a stand, against the propeller's common CP, fitted too, on the bench. Motors scatter
about the constants; to first order that is a covariance of the misses of one motor's rows, S = D + sum of s^2 j j',
j the slope of the misses by a constant (a mixed model, N. M. Laird, J. H. Ware, Biometrics 38 (1982) 963). Least
squares of the misses whitened by S and of weak priors, soft above two standard deviations.
"""

from typing import Any

import numpy as np
import pandas as pd
from scipy.linalg import solve_triangular
from scipy.optimize import least_squares

from laws import (
    DOMAIN_V,
    IDLE_A,
    LEVEL,
    MASS_SD,
    Columns,
    Law,
    after,
    asked,
    coefficient,
    judged,
    line,
    measured_propellers,
    on_propellers,
)
from propmatch.models import controller
from propmatch.models.arrays import Floats
from propmatch.models.motor import no_load_current_a, resistance_at_speed
from propmatch.records.estimates import motor_constant_nm_per_sqrt_w
from propmatch.units import KV_TO_K, RPM_RAD_S

NAMES = ("f", "c", "beta", "q", "g", "d")
PRIOR = {"f": (0.95, 0.10), "c": (1.0, 0.5), "beta": (3.4, 0.6), "q": (1.0, 0.6), "g": (1.0, 0.10), "d": (0.66, 0.4)}
"""Middle and sd of ln: labels about 5 % high, the winding law, the bench's median b/K^2, makers' no-load currents."""
SCATTER = {"f": 0.05, "c": float(np.hypot(0.40, 5 / 3 * MASS_SD)), "beta": 0.35, "g": 0.03, "d": 0.45}
LOSS = 0.25
VOLTS_SD, DUTY_SD, UNSURE_DUTY_SD, TORQUE_SD = 0.005, 0.01, 0.03, 0.02


def columns(z: Floats, label: Floats, mass_g: Floats) -> Columns:
    """Columns of motors from ln of the constants (q plain)."""
    f, c, beta, g, d = np.exp(z[[0, 1, 2, 4, 5]])
    k, km = KV_TO_K / (f * label), np.array([motor_constant_nm_per_sqrt_w(m) for m in mass_g])
    one = np.ones(k.size)
    return {
        "k": k, "k_torque": k / g, "resistance_ohm": c * (k / km) ** 2, "alone": 0 * one, "usual_loss": LOSS * one,
        "slope_ohm_s": beta * (30 / mass_g) ** z[3] * k * k,
        "no_load_a": d * 1.4e-4 * mass_g * g / k, "reference_rad_s": 1571.0 * one, "exponent": 0.3 * one,
    }  # fmt: skip


def rows_of(bench_rows: pd.DataFrame, stand_rows: pd.DataFrame | None, volts: float) -> pd.DataFrame:
    """Full-throttle rows of both with motor current, terminal volts and their sd."""
    one = bench_rows[bench_rows.full]
    parts = [one.assign(current=one.amps - IDLE_A, sd=VOLTS_SD, torque_nm=np.nan, motor="bench " + one.motor)]
    if stand_rows is not None:
        two = stand_rows[stand_rows.full & (stand_rows.volts <= volts)]
        sd = np.where(two.d_sure, DUTY_SD, UNSURE_DUTY_SD)
        current = two.amps * controller.eta(two.d_full, LOSS) / two.d_full
        parts.append(two.assign(current=current, volts=two.volts * two.d_full, sd=sd))
    return pd.concat(parts, ignore_index=True)


class Misses:
    """Misses of rows under constants, their covariance between motors' rows, and the fit."""

    def __init__(self, rows: pd.DataFrame) -> None:
        self.rows, self.w = rows, rows.rpm.to_numpy() * RPM_RAD_S
        self.torque = rows.torque_nm.to_numpy(float)
        self.per_cp = 1.0 / (2.0 * np.pi * coefficient(1.0, rows.rpm.to_numpy(), 5))
        kinds = rows.propeller if "propeller" in rows else pd.Series(np.nan, rows.index)
        self.on, self.stand = kinds.notna().to_numpy(), self.torque > 0
        self.names, self.which = np.unique(kinds[self.on], return_inverse=True)
        motor = rows.motor.to_numpy(str)
        self.owner = np.concatenate([motor, motor[self.stand], motor[self.on]])
        self.noise = np.concatenate([rows.sd, np.full(self.owner.size - len(rows), TORQUE_SD)])

    def __call__(self, x: Floats) -> Floats:
        """Misses in ln for x = the constants and ln CP of each propeller."""
        m = columns(x[:6], self.rows.label.to_numpy(float), self.rows.mass.to_numpy(float))
        current, w = self.rows.current.to_numpy(), self.w
        volts = m["k"] * w + resistance_at_speed(m["resistance_ohm"], m["slope_ohm_s"], w) * current
        no_load = no_load_current_a(w, m["no_load_a"], m["reference_rad_s"], m["exponent"])
        torque = np.log(m["k_torque"] * np.maximum(current - no_load, 1e-3))
        of_stand = torque[self.stand] - np.log(self.torque[self.stand])
        of_bench = (torque - np.log(self.per_cp))[self.on] - x[6:][self.which]
        return np.concatenate([np.log(volts / self.rows.volts.to_numpy()), of_stand, of_bench])

    def whitener(self, x: Floats) -> Floats:
        """Cholesky factor of S at x."""
        cov, same, here = np.diag(self.noise**2), self.owner[:, None] == self.owner, self(x)
        for name, sd in SCATTER.items():
            step = np.zeros(x.size)
            step[NAMES.index(name)] = 1e-4
            j = (self(x + step) - here) / 1e-4
            cov += sd**2 * np.outer(j, j) * same
        return np.linalg.cholesky(cov)

    def fit(self) -> tuple[Floats, Floats]:
        """The constants (ln, q plain) and their covariance."""
        middle = np.array([v if n == "q" else np.log(v) for n, (v, _) in PRIOR.items()])
        sd = np.array([s for _, s in PRIOR.values()])
        x = np.append(middle, np.full(self.names.size, np.log(0.08)))
        found: Any = None
        for _ in range(3):
            white = self.whitener(x)
            found = least_squares(
                lambda x, white=white: np.append(solve_triangular(white, self(x), lower=True), (x[:6] - middle) / sd),
                x, loss="soft_l1", f_scale=2.0,
            )  # fmt: skip
            x = found.x
        return x[:6], np.linalg.inv(found.jac.T @ found.jac)[:6, :6]


def law_of(z: Floats) -> Law:
    """A law of fitted constants with the ranges that the estimates state."""
    return lambda label, mass_g: (columns(z, label, mass_g), after(label, mass_g)[1])


def left_out(
    bench_rows: pd.DataFrame, stand_rows: pd.DataFrame | None, volts: float
) -> tuple[pd.DataFrame, list[Floats]]:
    """Bench rows at full throttle by label, each motor by constants fitted without it; and those constants."""
    parts, constants = [], []
    for name, mine in bench_rows.groupby("motor"):
        others = bench_rows[bench_rows.motor != name]
        z, _ = Misses(rows_of(others, stand_rows, volts)).fit()
        constants.append(z)
        parts.append(judged(on_propellers(mine[mine.full], measured_propellers(others, law_of(z))), law_of(z)))
    return pd.concat(parts), constants


def plain(z: Floats) -> Floats:
    """The constants themselves."""
    return np.where(np.array(NAMES) == "q", z, np.exp(z))


def main() -> None:
    """Entry point."""
    volts, one, two = asked(__doc__, "--volts", type=float, default=DOMAIN_V, help="stands up to this voltage")
    z, cov = Misses(rows_of(one, two, volts)).fit()
    sd = np.sqrt(np.diag(cov))
    found, others = left_out(one, two, volts)
    low, high = np.min([plain(z) for z in others], axis=0), np.max([plain(z) for z in others], axis=0)
    table = pd.DataFrame(
        {"fitted": plain(z), "sd of ln (q: plain)": sd, "left out: least": low, "most": high}, index=NAMES
    )
    print(table.round(3).to_string())
    print("correlations:", pd.DataFrame(cov / np.outer(sd, sd), NAMES, NAMES).round(1).to_string(), sep="\n")
    print("Bench motors left out one at a time, 7.4 V:")
    print(
        pd.DataFrame(line("bench, 7.4 V", "left out", found[found.nominal == 7.4], LEVEL))
        .round(1)
        .to_string(index=False)
    )


if __name__ == "__main__":
    main()
