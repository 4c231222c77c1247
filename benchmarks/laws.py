"""The estimates for motors and controllers held against measurements: bias, spread and coverage, before and after.

Run ``python benchmarks/laws.py FOLDER [--json]``, or ``--smoke`` to judge a few typed rows instead. FOLDER holds

* ``bench_five_inch/runs.csv``: P. Cao, J. Strawson, motor_propeller_testing, public repository, 2018, MIT licence:
  outrunners on eight five-inch propellers at 7.4 and 11.1 V, without torque;
* ``motors/sweeps.csv``: thrust stands with and without torque, from open repositories and public figures.

Before: kV = 0.93 of the label, R = (K/Km)^2, K_t = K, a constant no-load current, loss 0.10. After: what
:func:`propmatch.records.estimates.completed` gives for label and mass today.

Bench. Left out: rows in which the supply limits its current (marked, or 10.8 A and more), full throttle below 93 % of
the nominal voltage, and runs whose CT lies more than 10 % from the median of their propeller (another specimen differs
by 5 to 10 %, a repeat by 0.8 %: UIUC Propeller Database). Each motor is judged on propellers measured on the *other*
motors: CT, a power of rpm, from their rows of thrust and speed; CP, constant, from their full-throttle currents as the
law under test reads them, Q = K_t (I - I0), for the bench measures no torque. So a wrong K_t hardly shows here; it
shows on the stands. Volts are the measured ones, air 1.225 kg/m3. Level at 7.4 V; at 11.1 V only weak motors stay
below the limit of the supply, so there the change of the error from 7.4 V is judged, pair by pair. At part throttle the
pulse is no duty, so the speed is held and the current predicted.
The set names no masses: ``MASS_G`` is from memory, by size class.

Stands. CT and CP of each row from its own thrust and torque, duty as logged or stated; where there is no torque the
speed at the measured current is compared alone.

Intervals: the middle 80 % of ``LANES`` lanes in which the estimates move within their stated ranges (80 %, lognormal),
and the mass, CT and CP within theirs. Bias and coverage are means over motors of means over their rows.
"""

import argparse
import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import attrs
import numpy as np
import pandas as pd
from scipy.optimize import least_squares

from propmatch.coupling import hold_lanes, solve_lanes
from propmatch.models import controller
from propmatch.models.arrays import Floats
from propmatch.models.motor import no_load_current_a, resistance_at_speed
from propmatch.models.pack import Chemistry
from propmatch.models.tables import CoefficientTable
from propmatch.records.estimates import completed, motor_constant_nm_per_sqrt_w
from propmatch.records.parts import Controller, Motor, Pack, PowerTrain, Propeller
from propmatch.train.lanes import motor_numbers, train_lanes
from propmatch.units import GRAM_FORCE_N, INCH_M, KV_TO_K, RPM_RAD_S

DENSITY, DIAMETER_IN, MIDDLE_RPM = 1.225, 5.0, 14000.0
SUPPLY_LIMIT_A, LEAST_VOLTS, OTHER_PROPELLER = 10.8, 0.93, 0.10
IDLE_A = 0.075
"""What the bench's controller draws with the motor stopped, from its rows at the shortest pulse."""
MASS_G = {"d": 20.0, "f": 20.0, "h": 20.0}
OTHER_MASS_G, ONE_MASS_G, MASS_SD = 28.0, 26.0, 0.12
"""Masses from memory. Motors d, f, h draw a third less on the same propeller: the size below that of the others. As
the class is read off the current, ``ONE_MASS_G`` for all shows what it does."""
CT_POWER, CT_POWER_WEIGHT = 0.11, 0.01
"""CT0 ~ rpm^0.11, the median of 4 to 9 inch propellers in the UIUC Propeller Database; outweighed by a few speeds."""
CT_SD, CP_SD = 0.03, 0.05
"""sd of ln of a coefficient measured on other motors: what these scatter about their mean on the bench."""
VOLTS_SD = 0.005
"""Relative error of the voltage balance at a row: instruments and model."""
LEAST_SPEED = 0.5
"""Part throttle is judged from this share of a run's highest speed up: hardly an aircraft flies on less."""
DOMAIN_V = 12.6
LANES, Z80 = 512, 1.2816
TYPED = Path(__file__).parents[1] / "tests/reference/bench_rows.csv"

QUANTITIES = ("rpm", "amps", "gf")
LEVEL, CHANGE = {"rpm": 3.0, "amps": 8.0, "gf": 7.0}, {"rpm": 1.5, "amps": 3.0, "gf": 4.0}
KNOWN, HELD, COVERED = {"rpm": 0.8, "amps": 2.6, "gf": 2.5}, {"amps": 8.0}, (72.0, 95.0)
"""Limits of bias, of the median error with known constants, and of coverage [%]."""

Columns = dict[str, Any]
Law = Callable[[Floats, Floats], tuple[Columns, Columns]]
"""(labels [rpm/V], masses [g]) to the engine's columns of the motors, and sd of ln of f, c, beta, g and d."""


def before(label: Floats, mass_g: Floats) -> tuple[Columns, Columns]:
    """The law as it was: half to double in R and I0."""
    k = KV_TO_K / (0.93 * label)
    km = np.array([motor_constant_nm_per_sqrt_w(m) for m in mass_g])
    one = np.ones(k.size)
    double, labels = math.log(2.0) / Z80 * one, math.log(0.97 / 0.85) / 2.0 / Z80 * one
    columns = {
        "k": k, "k_torque": k, "resistance_ohm": (k / km) ** 2, "slope_ohm_s": 0 * one,
        "no_load_a": 1.4e-4 * mass_g / k, "reference_rad_s": one, "exponent": 0 * one,
        "switch_ohm": 0.003 * one, "alone": one, "usual_loss": 0.10 * one,
    }  # fmt: skip
    return columns, {"f": labels, "c": double, "beta": 0 * one, "g": 0 * one, "d": double}


def after(label: Floats, mass_g: Floats) -> tuple[Columns, Columns]:
    """What the estimates give today, with the ranges that they state."""
    fields = {"f": "kv_rpm_per_v", "c": "resistance_ohm", "beta": "resistance_slope_ohm_s",
              "g": "torque_constant_ratio", "d": "no_load_current_a"}  # fmt: skip
    columns, spread = [], []
    for kv, mass in zip(label, mass_g, strict=True):
        motor, made = completed(Motor(name="m", kv_rpm_per_v=kv, kv_kind="label", mass_g=mass))
        ranges = {each.field: each for each in made}
        columns.append(motor_numbers(motor))
        spread.append({n: math.log(ranges[f].high / ranges[f].low) / 2.0 / Z80 for n, f in fields.items()})
    one, two = ({n: np.array([row[n] for row in table]) for n in table[0]} for table in (columns, spread))
    return one, two


def varied(columns: Columns, f: Any, c: Any, beta: Any, g: Any = 1.0, d: Any = 1.0) -> Columns:
    """Columns of motors that differ from the law by factors on kV, R, b, K/K_t and the no-load torque."""
    factors = {"k": 1 / f, "k_torque": 1 / (f * g), "resistance_ohm": c / f**2, "slope_ohm_s": beta / f**2,
               "no_load_a": d * f * g}  # fmt: skip
    return columns | {name: columns[name] * factor for name, factor in factors.items()}


def drawn(columns: Columns, spread: Columns, motors: pd.Series, rng: np.random.Generator) -> Columns:
    """Columns (rows, LANES) of motors drawn within the law's ranges, rows of one motor alike."""
    _, first, index = np.unique(motors, return_index=True, return_inverse=True)
    ln = {n: sd[first][:, None] * rng.standard_normal((first.size, LANES)) for n, sd in spread.items()}
    mass = MASS_SD * rng.standard_normal((first.size, LANES))
    for name, power in (("c", -5.0 / 3.0), ("beta", -1.25), ("d", 1.0)):
        ln[name] = ln[name] + power * mass
    factors = {n: np.exp(x[index]) for n, x in ln.items()}
    return varied({n: np.reshape(x, (-1, 1)) for n, x in columns.items()}, **factors)


# ---------------------------------------------------------------- the measurements


def coefficient(load: Any, rpm: Any, power: int) -> Any:
    """load/(rho n^2 D^power) [-]; rows of the stands take the bench's diameter, for it cancels."""
    return load / (DENSITY * (rpm / 60.0) ** 2 * (DIAMETER_IN * INCH_M) ** power)


def bench(source: Path) -> pd.DataFrame:
    """Rows of the bench that can be used, with mass and CT; ``full`` and ``part`` throttle."""
    names = {"kv_label_rpm_per_V": "label", "propeller_no": "propeller", "supply_nominal_V": "nominal",
             "esc_us": "pulse", "voltage_V": "volts", "current_A": "amps", "rpm_electrical": "rpm",
             "thrust_gf": "gf"}  # fmt: skip
    rows = pd.read_csv(source, comment="#").rename(columns=names)
    limited = rows.get("supply_current_limited", pd.Series(0, rows.index)) == 1
    top = rows.groupby(["motor", "propeller", "nominal"]).rpm.transform("max")
    rows = rows.assign(
        mass=rows.motor.map(MASS_G).fillna(OTHER_MASS_G),
        ct=coefficient(rows.gf * GRAM_FORCE_N, rows.rpm, 4),
        full=(rows.pulse >= 2000) & (rows.volts >= LEAST_VOLTS * rows.nominal),
        part=(rows.pulse < 1990) & (rows.rpm >= LEAST_SPEED * top),
    )[~limited & (rows.amps < SUPPLY_LIMIT_A) & (rows.rpm > 1000) & (rows.gf > 0)]
    run = rows[rows.full].groupby(["motor", "propeller"]).ct.median()
    off = np.abs(run / run.groupby("propeller").transform("median") - 1.0)
    off = rows[["motor", "propeller"]].join(off, on=["motor", "propeller"]).ct.fillna(0.0)
    return rows[off <= OTHER_PROPELLER].reset_index(drop=True)


def stands(source: Path) -> pd.DataFrame:
    """Rows of the thrust stands, CT and CP of each its own."""
    rows = pd.read_csv(source).rename(columns={"kv_label": "label", "mass_g": "mass", "thrust_gf": "gf"})
    top = rows.groupby(["unit", "prop"]).rpm.transform("max")
    full = rows.full_throttle == 1
    return rows.assign(
        full=full,
        part=~full & (rows.rpm >= LEAST_SPEED * top) & (rows.rpm < top),
        duty=rows.d_full,
        power=0.0,
        ct=coefficient(rows.gf * GRAM_FORCE_N, rows.rpm, 4),
        cp=2.0 * np.pi * coefficient(rows.torque_nm, rows.rpm, 5),
    )


def of_rows(law: Law, rows: pd.DataFrame) -> tuple[Columns, Columns]:
    """The law for the motor of each row."""
    return law(rows.label.to_numpy(float), rows.mass.to_numpy(float))


def measured_propellers(rows: pd.DataFrame, law: Law, power: pd.Series | None = None) -> pd.DataFrame:
    """CT at ``MIDDLE_RPM``, its power of rpm unless given, and CP of each propeller, from rows under a law."""
    full = rows[rows.full]
    m, _ = of_rows(law, full)
    no_load = no_load_current_a(full.rpm * RPM_RAD_S, m["no_load_a"], m["reference_rad_s"], m["exponent"])
    cp = np.log(2.0 * np.pi * coefficient(m["k_torque"] * (full.amps - IDLE_A - no_load), full.rpm, 5))
    cp = cp.groupby([full.propeller, full.motor]).mean().groupby("propeller").mean()
    seen = rows[rows.rpm > 0.57 * MIDDLE_RPM]
    x, y = np.log(seen.rpm / MIDDLE_RPM), np.log(seen.ct)
    mean_x, mean_y = (each.groupby(seen.propeller).transform("mean") for each in (x, y))
    across, along = (((x - mean_x) * each).groupby(seen.propeller).sum() for each in (y - mean_y, x - mean_x))
    if power is None:
        power = (across + CT_POWER * CT_POWER_WEIGHT) / (along + CT_POWER_WEIGHT)
    ct = np.exp(y.groupby(seen.propeller).mean() - power * x.groupby(seen.propeller).mean())
    return pd.DataFrame({"ct": ct, "power": power, "cp": np.exp(cp)}).dropna()


# ---------------------------------------------------------------- the engine

SUPPLY_V = (2.0, 40.0)
SUPPLY = Chemistry(name="supply", charge=[0, 1], ocv_v=SUPPLY_V, source="a source whose charge sets its volts")
SPEEDS = np.geomspace(3000.0, 60000.0, 16)


def one_train(ct: float, power: float, cp: float) -> PowerTrain:
    """A propeller with CT ~ rpm^power and constant CP at rest, on a stiff supply; the motor's numbers come later."""
    rise = ct * (SPEEDS / MIDDLE_RPM) ** power
    table = CoefficientTable(rpm=SPEEDS, advance_ratio=[0.0, 1.0], ct=np.column_stack([rise, 0.5 * rise]),
                             cp=np.outer(np.ones(SPEEDS.size), [cp, 0.5 * cp]))  # fmt: skip
    return PowerTrain(
        motor=Motor(name="m", kv_rpm_per_v=2000, mass_g=30, resistance_ohm=0.1, no_load_current_a=1.0),
        controller=Controller(name="c", max_current_a=50, mass_g=10, resistance_mohm=0.0),
        pack=Pack(name="p", cells_series=1, capacity_mah=1000, c_rating=50, mass_g=50, chemistry=SUPPLY,
                  cell_resistance_mohm=0.0, lead_resistance_mohm=0.0),
        propeller=Propeller(name="q", diameter_in=DIAMETER_IN, pitch_in=4.0, mass_g=4.0, table=table),
    )  # fmt: skip


def predicted(rows: pd.DataFrame, columns: Columns, *, held: bool, idle: float) -> Columns:
    """rpm, amps, gf of rows with ct, power, cp, volts, in the shape of the columns: at their duty, or their speed."""
    tables, which = np.unique(rows[["ct", "power", "cp"]].to_numpy(), axis=0, return_inverse=True)
    shape = np.broadcast_shapes(*map(np.shape, columns.values()))
    each = np.repeat(np.arange(len(rows)), shape[1] if len(shape) > 1 else 1)
    lanes, _ = train_lanes([one_train(*table) for table in tables])
    wide = {n: np.broadcast_to(x, shape).ravel() for n, x in columns.items()}
    lanes = attrs.evolve(lanes.take(which[each]), **wide, radio_a=np.full(each.size, idle))
    charge = (rows.volts.to_numpy()[each] - SUPPLY_V[0]) / (SUPPLY_V[1] - SUPPLY_V[0])
    still, air, sound = np.zeros(1), np.array([DENSITY]), np.array([340.0])
    if held:
        thrust = (rows.ct * (rows.rpm / MIDDLE_RPM) ** rows.power / coefficient(1.0, rows.rpm, 4)).to_numpy()[each]
        point = hold_lanes(lanes, thrust, still, charge, air, sound)
    else:
        point = solve_lanes(lanes, still, rows.duty.to_numpy()[each], charge, air, sound)
    answers = point.rpm, point.pack_current_a, point.thrust_n / GRAM_FORCE_N
    return {n: x.reshape(shape) for n, x in zip(QUANTITIES, answers, strict=True)}


# ---------------------------------------------------------------- the judgements


def judged(rows: pd.DataFrame, law: Law, *, held: bool = False, idle: float = IDLE_A) -> pd.DataFrame:
    """Rows with errors [%] (``rpm_error`` ...) and, at a duty, whether the 80 % interval covers (``rpm_in`` ...)."""
    columns, spread = of_rows(law, rows)
    found = predicted(rows, columns, held=held, idle=idle)
    out = {f"{n}_error": 100.0 * (found[n] / rows[n] - 1.0) for n in QUANTITIES}
    if spread and not held:
        rng = np.random.default_rng(1)
        wide = drawn(columns, spread, rows.motor, rng)
        ct, cp = np.exp(np.array([CT_SD, CP_SD])[:, None, None] * rng.standard_normal((2, len(rows), LANES)))
        # a propeller with CP s times as large asks a motor of K_t/s for the same current
        lanes = predicted(rows, wide | {"k_torque": wide["k_torque"] / cp}, held=held, idle=idle)
        for n, scale in zip(QUANTITIES, (1.0, 1.0, ct), strict=True):
            low, high = np.nanquantile(lanes[n] * scale, [0.1, 0.9], axis=1)
            out[f"{n}_in"] = 100.0 * ((rows[n] >= low) & (rows[n] <= high))
    return rows.assign(**out)


def on_propellers(rows: pd.DataFrame, table: pd.DataFrame) -> pd.DataFrame:
    """Rows whose propeller is known, with its CT, power and CP, at full duty."""
    known = rows[rows.propeller.isin(table.index)].drop(columns="ct")
    return known.join(table, on="propeller").assign(duty=1.0)


def by_label(rows: pd.DataFrame, law: Law, *, held: bool = False) -> pd.DataFrame:
    """Bench rows at full throttle, or with speed held at part throttle, each motor on the others' propellers."""
    parts = []
    for name, mine in rows.groupby("motor"):
        table = measured_propellers(rows[rows.motor != name], law)
        parts.append(on_propellers(mine[mine.part if held else mine.full], table))
    return judged(pd.concat(parts), law, held=held)


def change(rows: pd.DataFrame) -> pd.DataFrame:
    """Error at 11.1 V less error at 7.4 V of each motor and propeller that has both."""
    errors = [f"{n}_error" for n in QUANTITIES]
    low, high = (rows[rows.nominal == v].set_index(["motor", "propeller"])[errors] for v in (7.4, 11.1))
    return (high - low).dropna().reset_index()


def fitted(rows: pd.DataFrame, law: Law) -> Law:
    """The law for one motor alone, moved to fit its rows at full throttle, without ranges.

    f, c, beta by least squares of V = K w + (R + b w) I with the law's ranges as priors; volts at one speed cannot
    tell the no-load current, which stays the law's.
    """
    start, spread = of_rows(law, rows.iloc[:1])
    sd = np.array([spread["f"][0], math.hypot(spread["c"][0], 5.0 / 3.0 * MASS_SD), spread["beta"][0]])
    w, amps, volts = rows.rpm.to_numpy() * RPM_RAD_S, rows.amps.to_numpy() - IDLE_A, rows.volts.to_numpy()

    def misses(z: Floats) -> Floats:
        m = varied(start, *np.exp(sd * z))
        model = m["k"] * w + resistance_at_speed(m["resistance_ohm"], m["slope_ohm_s"], w) * amps
        return np.append((model / volts - 1.0) / VOLTS_SD, z)

    own = varied(start, *np.exp(sd * least_squares(misses, np.zeros(3)).x))
    return lambda label, _: ({n: np.full(label.size, x[0]) for n, x in own.items()}, {})


def by_low_rows(rows: pd.DataFrame, law: Law) -> pd.DataFrame:
    """11.1 V rows at full throttle from constants and propellers of the same motor's 7.4 V rows.

    How CT rises with rpm is taken from the other motors, which turned the propeller faster.
    """
    parts = []
    for name, mine in rows.groupby("motor"):
        low, high = mine[mine.nominal == 7.4], mine[mine.full & (mine.nominal == 11.1)]
        if low.full.sum() >= 3 and not high.empty:
            own = fitted(low[low.full], law)
            power = measured_propellers(rows[rows.motor != name], law).power
            parts.append(judged(on_propellers(high, measured_propellers(low, own, power)), own))
    return pd.concat(parts)


def speed_at_current(rows: pd.DataFrame, law: Law, idle: float) -> pd.DataFrame:
    """Error of the speed that the law gives at the measured current, full throttle."""
    rows = rows[rows.full]
    m, _ = of_rows(law, rows)
    duty = rows.get("d_full", pd.Series(1.0, rows.index))
    amps = (rows.amps - idle) * controller.eta(duty, m["usual_loss"]) / duty
    ohm = m["resistance_ohm"] + m["alone"] * m.get("switch_ohm", 0.0)
    w = (duty * rows.volts - ohm * amps) / (m["k"] + m["slope_ohm_s"] * amps)
    return rows.assign(rpm_error=100.0 * (w / (rows.rpm * RPM_RAD_S) - 1.0))


# ---------------------------------------------------------------- what is printed


def line(
    what: str, law: str, rows: pd.DataFrame, limits: Columns | None = None, *, median: bool = False
) -> list[Columns]:
    """One line a quantity: bias, its standard error, rms, median and coverage [%], the limit and whether it is kept."""
    out = []
    for n in (n for n in QUANTITIES if f"{n}_error" in rows):
        error = rows[f"{n}_error"].dropna()
        means = error.groupby(rows.motor).mean()
        covered = rows[f"{n}_in"].groupby(rows.motor).mean().mean() if f"{n}_in" in rows else np.nan
        figures = {
            "bias": means.mean(), "se": means.std() / np.sqrt(len(means)), "sd": means.std(),
            "rms": np.sqrt((error**2).mean()), "median": error.abs().median(), "covered": covered,
            "motors": len(means), "rows": len(error),
        }  # fmt: skip
        asked, limit = figures["median" if median else "bias"], (limits or {}).get(n, np.nan)
        over = [f"by {abs(asked) - limit:.1f}"] if abs(asked) > limit else []
        if limits is LEVEL and not COVERED[0] <= covered <= COVERED[1]:
            over.append(f"coverage {covered:.0f}")
        kept = "" if np.isnan(limit) else "no, " + ", ".join(over) if over else "yes"
        out.append({"what": what, "law": law, "of": n, **figures, "limit": limit, "kept": kept})
    return out


def on_bench(rows: pd.DataFrame, name: str, law: Law) -> list[Columns]:
    """The five-inch bench."""
    found, one, held = by_label(rows, law), by_label(rows.assign(mass=ONE_MASS_G), law), by_label(rows, law, held=True)
    out = line("bench, 7.4 V", name, found[found.nominal == 7.4], LEVEL)
    out += line(f"  with {ONE_MASS_G:g} g each", name, one[one.nominal == 7.4])
    out += line("  7.4 to 11.1 V", name, change(found), CHANGE)
    out += line("  11.1 V from 7.4 V constants", name, by_low_rows(rows, law), KNOWN, median=True)
    out += line("  held rpm", name, held[["motor", "amps_error"]], HELD)
    return out + line("  rpm at its current", name, speed_at_current(rows[rows.nominal == 7.4], law, IDLE_A))


def on_stands(rows: pd.DataFrame, name: str, law: Law) -> list[Columns]:
    """The thrust stands, within the law's domain of volts and beyond."""
    torque = rows[(rows.torque_nm > 0) & (rows.gf > 0)]
    found, speed = judged(torque[torque.full], law, idle=0.0), speed_at_current(rows, law, 0.0)
    held = judged(torque[torque.part], law, held=True, idle=0.0)
    out = []
    for where, inside in ((f"up to {DOMAIN_V:g} V", True), (f"above {DOMAIN_V:g} V", False)):
        out += line(f"stands {where}", name, found[(found.volts <= DOMAIN_V) == inside])
        out += line("  rpm at its current", name, speed[(speed.volts <= DOMAIN_V) == inside])
    return out + line("stands, held rpm", name, held[["motor", "amps_error"]], HELD)


def asked(doc: str | None, name: str, **option: Any) -> tuple[Any, pd.DataFrame, pd.DataFrame | None]:
    """An option of the command line, and the rows of the bench and of the stands: of FOLDER, or typed ones."""
    parser = argparse.ArgumentParser(description=doc, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument(name, dest="option", **option)
    parser.add_argument("folder", nargs="?", type=Path, help="holds bench_five_inch/runs.csv and motors/sweeps.csv")
    parser.add_argument("--smoke", action="store_true", help="typed rows, no data needed")
    options = parser.parse_args()
    if options.smoke == (options.folder is not None):
        parser.error("give the folder of the measurements, or --smoke")
    if options.smoke:
        return options.option, bench(TYPED), None
    files = options.folder / "bench_five_inch" / "runs.csv", options.folder / "motors" / "sweeps.csv"
    if missing := [str(file) for file in files if not file.is_file()]:
        parser.error(f"not there: {', '.join(missing)}")
    return options.option, bench(files[0]), stands(files[1])


def main() -> None:
    """Entry point."""
    as_json, one, two = asked(__doc__, "--json", action="store_true", help="numbers instead of a table")
    out = []
    for name, law in (("before", before), ("after", after)):
        out += on_bench(one, name, law) + ([] if two is None else on_stands(two, name, law))
    found = pd.DataFrame(out)
    if as_json:
        print(found.to_json(orient="records", indent=1))
    else:
        print("Errors in per cent, predicted over measured; with constants known the median is judged, else the bias.")
        print(found.to_string(index=False, float_format="{:.1f}".format, na_rep=""))


if __name__ == "__main__":
    main()
