"""Writes the bundled tables: ``python -m propmatch_datasets.generate FOLDER``.

Every part is invented, and no label repeats one that many real parts carry. The lists below say which sizes there are;
everything else follows one law for each quantity with a scatter that depends only on the part's id, so that the files
come out the same every time and a new row changes no other.

Motors        Stators of 16, 17, 19, 21, 25, 27 and 29 mm. kV = C/(d h N) with stator diameter d and height h in mm, C
              of 2.6e6 to 3.4e6 by stator and N of 6 to 16 turns, both by hash; rounded to 10 and moved off 00 and 50.
              Mass 0.020 g (d^2 h)^0.91, scatter 5 %. Winding resistance (K/Km)^2 and no-load current by the motor law
              of ``records.estimates``, scatter 20 % between stators and 6 % between windings. Continuous current where
              the winding turns 0.5 W per gram into heat; as many cells as bring that nearest to 4 W of input per gram,
              at least (mass/12 g)^0.5, and only windings that reach 3.3 to 4.6 W/g. Most rows print what a maker
              prints: label kV, winding resistance, no-load current at a voltage. Some are measured under load: kV,
              resistance with controller and leads and its rise with speed, torque constant, all by that law. Some
              leave values out.
Packs         Capacities 190 260 320 380 480 560 680 820 950 1150 1400 1600 1900 2350 mAh, 22 28 38 48 62 C, burst 1.6
              times. Cell resistance by the law of each chemistry in ``models.pack``, scatter 12 %; a cell weighs
              0.0215 g per mAh and 0.00008 more for each C, leads and plugs 0.5 g, 0.6 more for each cell and 0.055 for
              each ampere of the label: LiPo and LiHV 110 to 160 Wh/kg; scatter 3 %.
Controllers   Ratings off the usual steps. Mass 0.5 g + 0.32 g/A without servo supply; with one 0.8 g + 0.36 g/A +
              0.007 g/A^2, 0.8 g more for a linear, 1.2 for a switching one: 3 to 6 g up to 9 A. Resistance 8 mohm below
              20 A, 3 above. The loss at part throttle is left out, as makers leave it.
Propellers    Pitch is diameter times 0.45, 0.55, 0.65, 0.80 or 1.00, to 0.1, moved off whole and half inches.
              Coefficients and their uncertainty from ``prediction`` below, read off on round advance ratios; mass and
              speed limit by ``propmatch.records.estimates``.

The rules for input per gram, Wh/kg and masses are common practice, no published source. Peak efficiency with controller
comes out at 0.70 to 0.82 for nine of ten motors from 12 g up, at 0.64 to 0.70 for lighter ones, as small motors go.
"""

import csv
import hashlib
import io
import math
import sys
from collections.abc import Iterable, Iterator
from functools import cache
from pathlib import Path
from random import Random
from statistics import NormalDist

import numpy as np

from propmatch.files import write_files
from propmatch.models.pack import CHEMISTRIES
from propmatch.records.estimates import (
    KV_LABEL_FACTOR,
    NO_LOAD_EXPONENT,
    NOMINAL_CELL_V,
    RPM_IN,
    TORQUE_CONSTANT_RATIO,
    motor_constant_nm_per_sqrt_w,
    motor_no_load_current_a,
    motor_resistance_ohm,
    motor_resistance_slope_ohm_s,
)
from propmatch.records.parts import propeller_mass_g
from propmatch.units import KV_TO_K
from propmatch_plugins.prediction.arguments import checked
from propmatch_plugins.prediction.knowledge import kept_knowledge
from propmatch_plugins.prediction.predicted import Prediction, predict_from

__all__ = ["files", "main", "prediction"]

DATE = "2026-11-28"
LICENCE = "MIT"

Row = dict[str, str | float | int | None]

# stator diameter [mm]: heights [mm]
STATORS: dict[int, tuple[int, ...]] = {
    16: (2, 3, 5, 9),
    17: (2, 3, 7, 10),
    19: (3, 5, 9, 13),
    21: (3, 4, 8, 11),
    25: (3, 4, 9, 14),
    27: (3, 7, 10, 15),
    29: (5, 9, 12, 17),
}
WINDING_CONSTANT = (2.6e6, 3.4e6)
TURNS = range(6, 17)
WINDINGS = 3
WINDING_W_PER_G, RATED_W_PER_G, RATED_RANGE = 0.5, 4.0, (3.3, 4.6)
MOST_FROM_G, FEWEST_FROM_G = 12.0, 18.0
UNDER_LOAD = ("controller_included", "resistance_slope_ohm_s", "torque_constant_ratio", "no_load_exponent")
LIMITS = ("max_current_a", "burst_current_a", "burst_seconds", "max_power_w")
# shares of the motors: a shop's listing of kV, mass and cells; no resistance; no limits; measured under load
LISTED, NO_RESISTANCE, NO_LIMITS, MEASURED = 0.12, 0.06, 0.06, 0.10

# cells in series, capacity [mAh], C ratings
PACKS: tuple[tuple[int, int, tuple[int, ...]], ...] = (
    (1, 190, (28,)), (1, 320, (38,)), (1, 480, (48,)), (1, 680, (22,)),
    (2, 190, (28,)), (2, 260, (28,)), (2, 320, (38, 62)), (2, 380, (28,)), (2, 480, (38, 62)), (2, 560, (22,)),
    (2, 680, (48,)), (2, 820, (28, 48)), (2, 950, (22, 62)), (2, 1150, (28,)), (2, 1400, (38,)), (2, 1600, (22,)),
    (2, 1900, (28,)), (2, 2350, (28,)),
    (3, 190, (38,)), (3, 260, (48,)), (3, 320, (38,)), (3, 380, (48,)), (3, 480, (28, 62)), (3, 560, (48,)),
    (3, 680, (28, 62)), (3, 820, (38,)), (3, 950, (22, 48)), (3, 1150, (38, 62)), (3, 1400, (28,)), (3, 1600, (38,)),
    (3, 1900, (28,)), (3, 2350, (22,)),
    (4, 480, (62,)), (4, 680, (48,)), (4, 950, (62,)), (4, 1150, (48,)), (4, 1400, (62,)), (4, 2350, (38,)),
)  # fmt: skip
# other chemistries: S, mAh, C, mass of one cell [g]
OTHER_PACKS = (
    ("lihv", 2, 560, 62, 14.2),
    ("lihv", 3, 680, 48, 17.0),
    ("liion", 2, 2350, 9, 44.5),
    ("liion", 3, 2780, 6, 46.0),
)
BURST_C = 1.6
NO_CELL_RESISTANCE = 0.12

# continuous current [A], servo supply, fewest and most cells
CONTROLLERS: tuple[tuple[int, str, int, int], ...] = (
    (5, "linear", 2, 2), (5, "none", 1, 2), (7, "linear", 2, 3), (7, "none", 1, 3), (9, "linear", 2, 3),
    (9, "switching", 2, 3), (11, "linear", 2, 3), (13, "none", 1, 3), (13, "switching", 2, 3), (16, "linear", 2, 3),
    (19, "none", 2, 4), (19, "linear", 2, 3), (22, "switching", 2, 4), (27, "none", 2, 4), (27, "switching", 2, 4),
    (33, "linear", 2, 3), (33, "switching", 2, 4), (43, "none", 2, 4), (43, "switching", 2, 4), (53, "switching", 2, 6),
)  # fmt: skip
NO_CONTROLLER_RESISTANCE = 0.2
SUPPLY_MASS_G = {"linear": 0.8, "switching": 1.2}

# family, blades, diameters [in], pitch over diameter
PROPELLERS: tuple[tuple[str, int, tuple[float, ...], tuple[float, ...]], ...] = (
    ("wide", 2, (3, 3.5, 4, 4.5, 5), (0.65, 0.80)),
    ("wide", 3, (3, 4, 5), (0.80,)),
    ("thin", 2, (5, 6, 7, 8, 9, 10), (0.55, 0.65, 0.80)),
    ("thin", 2, (4.5, 5.5, 6, 7, 8), (1.00,)),
    ("thin", 3, (6, 7, 8), (0.65,)),
    ("thick", 2, (5, 6, 7, 8, 9, 10), (0.55, 0.65)),
    ("broad", 2, (7, 8, 9, 10), (0.45, 0.65)),
    ("folding", 2, (6, 7, 8, 9, 10), (0.55,)),
    ("folding", 2, (6, 8, 9), (0.65,)),
)
NO_MASS, NO_SPEED_LIMIT = 0.08, 0.08
RPM_ROWS, J_STEPS = 8, 24


def share(part: str, quantity: str) -> float:
    """A number from 0 to 1 that depends on the two words alone."""
    return Random(f"{part} {quantity}").random()


def spread(part: str, quantity: str, relative: float) -> float:
    """A factor around 1, lognormal with this relative scatter, that depends on the two words alone."""
    return math.exp(relative * NormalDist().inv_cdf(min(max(share(part, quantity), 0.01), 0.99)))


def scatter(stator: str, part: str, quantity: str) -> float:
    """A motor's factor: 20 % between stators, 6 % between the windings on one."""
    return spread(stator, quantity, 0.20) * spread(part, quantity, 0.06)


def uncommon(value: float, step: int, grid: int) -> int:
    """Round to ``step``, and one step up from a multiple of ``grid``."""
    rounded = step * round(value / step)
    return rounded if rounded % grid else rounded + step


def significant(value: float, digits: int) -> float:
    """Round to significant digits."""
    return float(f"{value:.{digits}g}")


@cache
def prediction(diameter_in: float, pitch_in: float, blades: int, family: str) -> Prediction:
    """CT and CP of a label up to the family's speed limit and past zero thrust, from the tables kept in ``recipe``."""
    step = 50.0 * round(RPM_IN[family] / diameter_in / RPM_ROWS / 50)
    rpm = step * np.arange(1, RPM_ROWS + 1)
    asked = checked(diameter_in, pitch_in, blades=blades, family=family, rpm=rpm)
    return predict_from(kept_knowledge("propmatch_datasets.recipe"), asked)


def windings(stator: str, diameter: int, height: int, mass: float) -> list[tuple[int, float, int]]:
    """Label kV [rpm/V], continuous current [A] and most cells of the motors on a stator."""
    low, high = WINDING_CONSTANT
    constant = low + (high - low) * share(stator, "winding")
    km = motor_constant_nm_per_sqrt_w(mass)
    taken: dict[int, tuple[int, float, int]] = {}
    for turns in sorted(TURNS, key=lambda each: share(stator, f"{each} turns")):
        kv = uncommon(constant / (diameter * height * turns), 10, 50)
        amps = math.sqrt(WINDING_W_PER_G * mass) * km * KV_LABEL_FACTOR * kv / KV_TO_K
        cells = min(4, max(1, round(RATED_W_PER_G * mass / (amps * NOMINAL_CELL_V))))
        usual = RATED_RANGE[0] <= amps * NOMINAL_CELL_V * cells / mass <= RATED_RANGE[1]
        usual = usual and cells**2 >= mass / MOST_FROM_G
        if usual and len(taken) < WINDINGS and not {turns - 1, turns + 1} & set(taken):
            taken[turns] = (kv, amps, cells)
    return [taken[turns] for turns in sorted(taken, reverse=True)]


def motors() -> Iterator[Row]:
    """Rows of motors.csv."""
    for diameter, heights in STATORS.items():
        for height in heights:
            stator = f"{diameter}{height:02d}"
            mass = significant(0.020 * (diameter**2 * height) ** 0.91 * spread(stator, "mass", 0.05), 3)
            for kv, amps, cells in windings(stator, diameter, height, mass):
                yield _motor(stator, mass, kv, amps, cells)


def _motor(stator: str, mass: float, label_kv: int, amps: float, cells: int) -> Row:
    part, kv, volts = f"{stator}-{label_kv}", KV_LABEL_FACTOR * label_kv, NOMINAL_CELL_V * cells
    told = share(part, "told")
    listed = told < LISTED
    limited = not listed and told >= LISTED + NO_LIMITS
    measured = told >= 1 - MEASURED
    k = KV_TO_K / kv
    winding = motor_resistance_ohm(mass, kv) if measured else (k / motor_constant_nm_per_sqrt_w(mass)) ** 2
    idle = motor_no_load_current_a(mass, kv, volts / k) * scatter(stator, part, "no load")
    current = significant(amps * spread(part, "current", 0.02), 2)
    row: Row = {
        "id": part,
        "name": f"outrunner {stator} kV {label_kv}",
        "kv_rpm_per_v": uncommon(kv, 10, 50) if measured else label_kv,
        "kv_kind": "measured" if measured else "label",
        "mass_g": mass,
        "resistance_ohm": significant(winding * scatter(stator, part, "resistance"), 3),
        **dict.fromkeys(UNDER_LOAD),
        "no_load_current_a": significant(idle, 2),
        "no_load_voltage_v": significant(volts, 3),
        "max_current_a": current,
        "burst_current_a": significant(1.25 * current, 2),
        "burst_seconds": 20,
        "max_power_w": significant(current * volts, 2),
        "cells_min": math.ceil(math.sqrt(mass / FEWEST_FROM_G)),
        "cells_max": cells,
    }
    if measured:
        slope = motor_resistance_slope_ohm_s(mass, kv) * scatter(stator, part, "slope")
        ratio = TORQUE_CONSTANT_RATIO * spread(part, "torque", 0.02)
        exponent = NO_LOAD_EXPONENT * spread(part, "exponent", 0.2)
        row |= dict(
            zip(UNDER_LOAD, ("true", significant(slope, 3), round(ratio, 3), significant(exponent, 2)), strict=True)
        )
    left_out = (*(("no_load_current_a", "no_load_voltage_v") if listed else ()), *(() if limited else LIMITS))
    if told < LISTED + NO_LIMITS + NO_RESISTANCE:
        left_out = ("resistance_ohm", *left_out)
    return row | dict.fromkeys(left_out)


def packs() -> Iterator[Row]:
    """Rows of packs.csv."""
    for cells, capacity, ratings in PACKS:
        for rating in ratings:
            yield _pack("lipo", cells, capacity, rating, (0.0215 + 0.00008 * rating) * capacity)
    for each in OTHER_PACKS:
        yield _pack(*each)


def _pack(chemistry: str, cells: int, capacity: int, rating: int, cell_g: float) -> Row:
    part = f"{cells}s-{capacity}-{rating}c" + ("" if chemistry == "lipo" else f"-{chemistry}")
    usual = CHEMISTRIES[chemistry].resistance.cell_mohm(capacity / 1000, rating)
    resistance = usual * spread(part, "resistance", 0.12)
    leads_g = 0.5 + 0.6 * cells + 0.055 * capacity / 1000 * rating
    told = share(part, "told") >= NO_CELL_RESISTANCE
    return {
        "id": part,
        "name": f"{cells}S {capacity} mAh {rating}C" + ("" if chemistry == "lipo" else f" {chemistry}"),
        "chemistry": chemistry,
        "cells_series": cells,
        "capacity_mah": capacity,
        "c_rating": rating,
        "burst_c_rating": round(BURST_C * rating),
        "cell_resistance_mohm": significant(resistance, 3) if told else None,
        "lead_resistance_mohm": (8 if capacity < 1000 else 4) if told else None,
        "mass_g": significant((cells * cell_g + leads_g) * spread(part, "mass", 0.03), 3),
    }


def controllers() -> Iterator[Row]:
    """Rows of controllers.csv."""
    for amps, supply, fewest, most in CONTROLLERS:
        part = f"{amps}a-{supply}"
        fed = supply in SUPPLY_MASS_G
        mass = 0.8 + 0.36 * amps + 0.007 * amps**2 + SUPPLY_MASS_G[supply] if fed else 0.5 + 0.32 * amps
        resistance = (8.0 if amps < 20 else 3.0) * spread(part, "resistance", 0.2)
        told = share(part, "told") >= NO_CONTROLLER_RESISTANCE
        named = f"with {supply} BEC" if fed else "without BEC"
        yield {
            "id": part,
            "name": f"ESC {amps} A {named}",
            "max_current_a": amps,
            "burst_current_a": round(1.3 * amps),
            "burst_seconds": 10,
            "resistance_mohm": significant(resistance, 2) if told else None,
            "servo_supply": supply,
            "servo_supply_v": 5 if fed else None,
            "mass_g": significant(mass * spread(part, "mass", 0.05), 2),
            "cells_min": fewest,
            "cells_max": most,
        }


def labels() -> Iterator[tuple[str, str, int, float, float]]:
    """Id, family, blades, diameter [in] and pitch [in] of every propeller."""
    for family, blades, diameters, ratios in PROPELLERS:
        for diameter in diameters:
            for ratio in ratios:
                pitch = uncommon(10 * ratio * diameter, 1, 5) / 10
                part = f"{diameter:g}x{pitch:g}-{family}" + ("" if blades == 2 else f"-{blades}b")
                yield part, family, blades, diameter, pitch


def propellers() -> Iterator[Row]:
    """Rows of propellers.csv."""
    for part, family, blades, diameter, pitch in labels():
        limit = 100 * round(RPM_IN[family] / diameter / 100)
        mass = propeller_mass_g(diameter, blades) * spread(part, "mass", 0.12)
        source = prediction(diameter, pitch, blades, family).source
        yield {
            "id": part,
            "name": f"{diameter:g}x{pitch:g} {family} {blades}-blade",
            "family": family,
            "diameter_in": diameter,
            "pitch_in": pitch,
            "blades": blades,
            "mass_g": None if share(part, "mass told") < NO_MASS else significant(mass, 2),
            "max_rpm": None if share(part, "limit told") < NO_SPEED_LIMIT else limit,
            "source": f"invented; coefficients {source.text}",
            "uncertainty": significant(source.uncertainty or 0.0, 2),
        }


def propeller_tables() -> Iterator[Row]:
    """Rows of propeller_tables.csv."""
    for part, family, blades, diameter, pitch in labels():
        table = prediction(diameter, pitch, blades, family).table
        j_step = math.floor(1000 * table.advance_ratio[-1] / J_STEPS) / 1000
        ratios = np.round(j_step * np.arange(J_STEPS + 1), 3)
        read = table.lookup(table.rpm[:, None], ratios)
        for row, rpm in enumerate(table.rpm):
            for column, j in enumerate(ratios):
                yield {
                    "propeller": part,
                    "rpm": rpm,
                    "advance_ratio": j,
                    "ct": round(float(read.ct[row, column]), 5),
                    "cp": round(float(read.cp[row, column]), 5),
                }


ORIGINS: dict[str, tuple[str, str, dict[str, str]]] = {
    "motors": (
        "Outrunner motors, invented",
        "Stator sizes chosen to cover small models, windings by hash; mass from the stator's volume, winding "
        "resistance and no-load current from one law each with a stated scatter. Some rows leave values out "
        "on purpose.",
        {"kv_rpm_per_v": "rpm/V", "mass_g": "g", "resistance_ohm": "ohm", "resistance_slope_ohm_s": "ohm s",
         "torque_constant_ratio": "1", "no_load_exponent": "1", "no_load_current_a": "A", "no_load_voltage_v": "V",
         "max_current_a": "A", "burst_current_a": "A", "burst_seconds": "s", "max_power_w": "W", "cells_min": "1",
         "cells_max": "1"},
    ),
    "packs": (
        "Packs of one to four cells, invented",
        "Cell counts and capacities chosen to cover small models, two and three cells most densely; cell resistance "
        "from capacity and C rating, mass from those and the cell count. Some rows leave values out on purpose.",
        {"cells_series": "1", "capacity_mah": "mAh", "c_rating": "1/h", "burst_c_rating": "1/h",
         "cell_resistance_mohm": "mohm", "lead_resistance_mohm": "mohm", "mass_g": "g"},
    ),
    "controllers": (
        "Controllers, invented",
        "Current ratings chosen to cover small models; mass from current rating and kind of servo supply.",
        {"max_current_a": "A", "burst_current_a": "A", "burst_seconds": "s", "resistance_mohm": "mohm",
         "servo_supply_v": "V", "mass_g": "g", "cells_min": "1", "cells_max": "1"},
    ),
    "propellers": (
        "Propellers, invented",
        "Sizes chosen to cover 3 to 10 in five families of blades; mass and speed limit from family and diameter; "
        "the source says what the coefficients rest on and their 80 % interval.",
        {"diameter_in": "in", "pitch_in": "in", "blades": "1", "mass_g": "g", "max_rpm": "rpm", "uncertainty": "1"},
    ),
    "propeller_tables": (
        "Coefficients of the propellers, predicted",
        "Predicted from diameter, pitch, blades and family by propmatch_plugins.prediction, whose constants "
        "were fitted to the UIUC Propeller Database; no propeller of this table was measured.",
        {"rpm": "rpm", "advance_ratio": "1, V/(n D)", "ct": "1, T/(rho n^2 D^4)", "cp": "1, P/(rho n^3 D^5)"},
    ),
}  # fmt: skip


def _csv(rows: Iterable[Row]) -> str:
    """Comma-separated text; numbers in their shortest form, None as an empty field."""
    table = list(rows)
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(table[0])
    for row in table:
        writer.writerow(f"{value:.10g}" if isinstance(value, float) else value for value in row.values())
    return out.getvalue()


def _origin(name: str, text: str) -> str:
    title, made, units = ORIGINS[name]
    lines = [
        f'title = "{title}"',
        f'made = "{made}"',
        'script = "python -m propmatch_datasets.generate"',
        f'date = "{DATE}"',
        f'licence = "{LICENCE}"',
        f"rows = {text.count(chr(10)) - 1}",
        f'sha256 = "{hashlib.sha256(text.encode()).hexdigest()}"',
        "",
        "[units]",
        *(f'{column} = "{unit}"' for column, unit in units.items()),
    ]
    return "\n".join(lines) + "\n"


def files() -> dict[str, str]:
    """File name to text of every generated table and its origin."""
    made = {
        "motors": motors(),
        "packs": packs(),
        "controllers": controllers(),
        "propellers": propellers(),
        "propeller_tables": propeller_tables(),
    }
    out = {}
    for name, rows in made.items():
        text = _csv(rows)
        out[f"{name}.csv"] = text
        out[f"{name}.origin.toml"] = _origin(name, text)
    return out


def main(folder: Path) -> None:
    """Write every table and its origin into ``folder``."""
    write_files([(folder / name, text) for name, text in files().items()], force=True)


if __name__ == "__main__":
    main(Path(sys.argv[1]))
