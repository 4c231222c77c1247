"""Writes the bundled tables: ``python -m propmatch_datasets.generate FOLDER``.

Every part is invented. The lists below say which parts there are; masses, resistances, no-load currents and ratings
follow one law for each quantity with a scatter that depends only on the part's id, so that the files come out the same
every time and a new row changes no other.

Motors        mass = 0.020 g (d^2 h)^0.91 from the stator's diameter and height in mm; winding resistance and no-load
              current by the laws of ``records.estimates``, scatter 15 and 20 %; continuous current where the winding
              turns 0.5 W per gram into heat, power limit 4 W of input per gram, scatter 10 %.
Packs         cell resistance = 12 mohm A h (35/C)^0.6 over capacity, scatter 8 %; mass of cells from capacity and C
              rating, of leads and plugs from capacity and cell count, scatter 3 %.
Controllers   mass from the current rating and the kind of servo supply; resistance 8 mohm below 20 A, 3 above.
Propellers    coefficients and their uncertainty from ``prediction`` below, read off on round advance ratios; mass and
              speed limit by ``propmatch.records.estimates``.
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

from propmatch.records.estimates import RPM_IN, motor_no_load_current_a, motor_resistance_ohm
from propmatch.records.parts import propeller_mass_g
from propmatch_plugins.prediction.predicted import Prediction, predict

__all__ = ["files", "main", "prediction"]

DATE = "2026-11-25"
LICENCE = "MIT"

Row = dict[str, str | float | int | None]

# stator diameter and height [mm], kV choices [rpm/V], fewest and most cells
MOTORS: tuple[tuple[int, int, tuple[int, ...], int, int], ...] = (
    (11, 4, (4500, 7500), 1, 2),
    (11, 6, (3800, 6000), 1, 2),
    (12, 4, (4200, 5600), 1, 3),
    (13, 4, (3600, 5200), 1, 3),
    (13, 6, (3100, 4000), 2, 3),
    (14, 4, (2750, 3800, 4600), 2, 3),
    (14, 7, (2200, 3200), 2, 3),
    (15, 4, (2300, 3000), 2, 3),
    (15, 7, (1900, 2700), 2, 3),
    (18, 4, (2000, 2450), 2, 3),
    (18, 6, (1700, 2280, 2700), 2, 3),
    (18, 11, (1500, 2000, 2900), 2, 3),
    (20, 5, (1600, 2100, 2600), 2, 3),
    (22, 3, (1500, 2000), 2, 3),
    (22, 4, (1400, 1800, 2300, 2600), 2, 3),
    (22, 5, (1700, 2300, 2600), 2, 4),
    (22, 6, (1500, 1900, 2200), 2, 4),
    (22, 7, (1750, 2450), 2, 4),
    (22, 8, (1100, 1450, 1800), 2, 4),
    (22, 12, (920, 1400, 2200), 2, 4),
    (22, 16, (880, 1250), 2, 4),
    (23, 6, (1650, 2400), 2, 4),
    (23, 12, (960, 1150), 2, 4),
    (24, 5, (1450, 2000), 2, 4),
    (26, 6, (1350, 1700), 2, 4),
    (28, 8, (1100, 1500), 3, 4),
    (28, 12, (900, 1350), 3, 4),
    (28, 20, (920, 1250), 3, 4),
    (28, 26, (760, 1000), 3, 4),
)
WINDING_W_PER_G, RATED_W_PER_G = 0.5, 4.0
# shop listings that print no more than kV, mass and cell count
LISTINGS = ("1306-3100", "1504-2300", "1806-2280", "2204-1400", "2205-2300", "2208-1800", "2212-1400", "2808-1100")
NO_RESISTANCE = ("1404-3800", "2203-1500", "2306-1650")
NO_CURRENT_LIMIT = ("1104-4500", "1811-2000", "2204-2300", "2606-1350")
GROWING_NO_LOAD = ("1106-6000", "1407-2200", "2005-2100", "2206-1900", "2212-920", "2812-900")

# cells in series, capacity [mAh], C ratings
PACKS: tuple[tuple[int, int, tuple[int, ...]], ...] = (
    (1, 180, (30,)), (1, 300, (35,)), (1, 450, (50,)), (1, 650, (25,)),
    (2, 180, (30,)), (2, 240, (30,)), (2, 300, (35, 70)), (2, 350, (35,)), (2, 450, (35, 75)), (2, 500, (25,)),
    (2, 550, (60,)), (2, 600, (35,)), (2, 650, (45, 75)), (2, 800, (30,)), (2, 850, (45,)), (2, 1000, (25, 60)),
    (2, 1300, (35,)), (2, 1500, (30,)), (2, 1800, (30,)), (2, 2200, (30,)),
    (3, 180, (40,)), (3, 300, (45,)), (3, 350, (35,)), (3, 450, (35, 75)), (3, 500, (30,)), (3, 600, (45,)),
    (3, 650, (75,)), (3, 800, (30,)), (3, 850, (45, 75)), (3, 1000, (30,)), (3, 1300, (45, 75)), (3, 1500, (35,)),
    (3, 1800, (30,)), (3, 2200, (30,)),
    (4, 450, (75,)), (4, 650, (60,)), (4, 850, (75,)), (4, 1300, (45, 75)), (4, 1500, (60,)), (4, 2200, (35,)),
)  # fmt: skip
# round-cell and high-voltage packs: chemistry, S, P, mAh of the pack, C, mass of one cell [g], cell mohm A h
OTHER_PACKS = (
    ("lihv", 2, 1, 520, 60, 13.2, 8.5),
    ("lihv", 3, 1, 720, 60, 18.6, 8.5),
    ("liion", 2, 1, 2500, 8, 45.0, 50.0),
    ("liion", 3, 1, 3000, 5, 46.5, 54.0),
)
NO_CELL_RESISTANCE = ("2s-500-25c", "2s-800-30c", "3s-500-30c", "3s-1000-30c", "1s-650-25c", "2s-1500-30c")

# continuous current [A], servo supply, fewest and most cells
CONTROLLERS: tuple[tuple[int, str, int, int], ...] = (
    (6, "linear", 1, 2), (6, "none", 1, 2), (8, "linear", 2, 3), (10, "linear", 2, 3), (10, "switching", 2, 3),
    (12, "linear", 2, 3), (12, "none", 1, 3), (15, "switching", 2, 3), (18, "linear", 2, 3), (20, "none", 2, 4),
    (20, "linear", 2, 3), (20, "switching", 2, 4), (25, "switching", 2, 4), (30, "linear", 2, 4), (30, "none", 2, 4),
    (30, "switching", 2, 4), (40, "switching", 2, 4), (40, "none", 2, 4), (50, "switching", 2, 4),
    (60, "switching", 2, 6),
)  # fmt: skip
NO_CONTROLLER_RESISTANCE = ("8a-linear", "18a-linear", "30a-none", "50a-switching")
SUPPLY_MASS_G = {"none": 0.0, "linear": 1.6, "switching": 2.6}

# family, blades, sizes (diameter x pitch [in])
PROPELLERS: tuple[tuple[str, int, str], ...] = (
    ("wide", 2, "3x2 3x3 3.5x2.5 4x2.5 4x3 4x4 4.5x3 5x3 5x4 5x4.5"),
    ("wide", 3, "3x3 4x3 5x3.5 5x4"),
    ("thin", 2, "4.5x4 5x3 5x5 5.5x4.5 6x3 6x4 6x5.5 7x4 7x5 7x6 8x4 8x6 8x8 9x4.5 9x6 9x7.5 10x5 10x7"),
    ("thin", 3, "6x4 7x4 7x5 8x5"),
    ("thick", 2, "5x4 6x3 6x4 7x3 7x4 7x6 8x4 8x6 9x4 9x6 10x5 10x6"),
    ("broad", 2, "7x3.5 7x5 8x3.8 8x4.3 8x6 9x3.8 9x4.7 10x3.8 10x4.7"),
    ("folding", 2, "6x3 6x4 7x4 8x4.5 8x5 9x5 9x6 10x6"),
)
NO_MASS = ("5x3-thin", "7x4-thick", "9x3.8-broad", "8x5-folding", "3.5x2.5-wide")
NO_SPEED_LIMIT = ("6x3-thin", "8x4-thick", "8x4.3-broad", "4x3-wide", "9x5-folding")
RPM_ROWS, J_STEPS = 8, 24


def spread(part: str, quantity: str, relative: float) -> float:
    """A factor around 1, lognormal with this relative scatter, that depends on the two words alone."""
    share = Random(f"{part} {quantity}").random()
    return math.exp(relative * NormalDist().inv_cdf(min(max(share, 0.01), 0.99)))


def significant(value: float, digits: int) -> float:
    """Round to significant digits."""
    return float(f"{value:.{digits}g}")


@cache
def prediction(diameter_in: float, pitch_in: float, blades: int, family: str) -> Prediction:
    """CT and CP of a label up to the family's speed limit and past the advance ratio of zero thrust."""
    step = 50.0 * round(RPM_IN[family] / diameter_in / RPM_ROWS / 50)
    rpm = step * np.arange(1, RPM_ROWS + 1)
    return predict(diameter_in, pitch_in, blades=blades, family=family, rpm=rpm)


def motors() -> Iterator[Row]:
    """Rows of motors.csv."""
    for diameter, height, kvs, fewest, most in MOTORS:
        for kv in kvs:
            stator = f"{diameter}{height:02d}"
            part = f"{stator}-{kv}"
            mass = significant(0.020 * (diameter**2 * height) ** 0.91 * spread(stator, "mass", 0.05), 3)
            listing = part in LISTINGS
            idle = motor_no_load_current_a(mass, kv) * spread(part, "no load", 0.20)
            resistance = motor_resistance_ohm(mass, kv) * spread(part, "resistance", 0.15)
            amps = math.sqrt(WINDING_W_PER_G * mass / resistance) * spread(part, "current", 0.10)
            limited = not listing and part not in NO_CURRENT_LIMIT
            yield {
                "id": part,
                "name": f"outrunner {stator} kV {kv}",
                "kv_rpm_per_v": kv,
                "kv_kind": "label" if listing else "effective",
                "mass_g": mass,
                "resistance_ohm": None if listing or part in NO_RESISTANCE else significant(resistance, 3),
                "no_load_current_a": None if listing else significant(idle, 2),
                "no_load_voltage_v": 7.4 if part in GROWING_NO_LOAD else None,
                "no_load_exponent": 0.5 if part in GROWING_NO_LOAD else None,
                "max_current_a": round(2 * amps) / 2 if limited else None,
                "burst_current_a": round(2.5 * amps) / 2 if limited else None,
                "burst_seconds": 20 if limited else None,
                "max_power_w": significant(RATED_W_PER_G * mass * spread(part, "power", 0.10), 2) if limited else None,
                "cells_min": fewest,
                "cells_max": most,
            }


def packs() -> Iterator[Row]:
    """Rows of packs.csv."""
    for cells, capacity, ratings in PACKS:
        for rating in ratings:
            cell_g = (0.0225 + 0.00008 * rating) * capacity
            yield _pack("lipo", cells, 1, capacity, rating, cell_g, 12.0 * (35 / rating) ** 0.6)
    for each in OTHER_PACKS:
        yield _pack(*each)


def _pack(
    chemistry: str, cells: int, parallel: int, capacity: int, rating: int, cell_g: float, cell_mohm_ah: float
) -> Row:
    other = "" if chemistry == "lipo" else chemistry
    part = "-".join(filter(None, (f"{cells}s-{capacity}-{rating}c", other)))
    resistance = cell_mohm_ah / (capacity / parallel / 1000) * spread(part, "resistance", 0.08)
    leads_g = 2.0 + 0.0025 * capacity + 0.8 * cells
    return {
        "id": part,
        "name": f"{cells}S {capacity} mAh {rating}C {other}".rstrip(),
        "chemistry": chemistry,
        "cells_series": cells,
        "cells_parallel": parallel,
        "capacity_mah": capacity,
        "c_rating": rating,
        "burst_c_rating": 2 * rating if rating < 50 else None,
        "cell_resistance_mohm": None if part in NO_CELL_RESISTANCE else significant(resistance, 3),
        "lead_resistance_mohm": None if part in NO_CELL_RESISTANCE else (8 if capacity < 1000 else 4),
        "mass_g": significant((cells * (cell_g * parallel) + leads_g) * spread(part, "mass", 0.03), 3),
    }


def controllers() -> Iterator[Row]:
    """Rows of controllers.csv."""
    for amps, supply, fewest, most in CONTROLLERS:
        part = f"{amps}a-{supply}"
        bare = 0.6 + 0.38 * amps if supply == "none" else 1.5 + 0.72 * amps + SUPPLY_MASS_G[supply]
        resistance = (8.0 if amps < 20 else 3.0) * spread(part, "resistance", 0.2)
        named = "no servo supply" if supply == "none" else f"{supply} servo supply"
        yield {
            "id": part,
            "name": f"controller {amps} A, {named}",
            "max_current_a": amps,
            "burst_current_a": round(1.3 * amps),
            "burst_seconds": 10,
            "resistance_mohm": None if part in NO_CONTROLLER_RESISTANCE else significant(resistance, 2),
            "part_throttle_loss": significant(0.10 * spread(part, "loss", 0.15), 2),
            "servo_supply": supply,
            "servo_supply_v": 5,
            "mass_g": significant(bare * spread(part, "mass", 0.05), 2),
            "cells_min": fewest,
            "cells_max": most,
        }


def labels() -> Iterator[tuple[str, str, int, float, float]]:
    """Id, family, blades, diameter [in] and pitch [in] of every propeller."""
    for family, blades, sizes in PROPELLERS:
        for size in sizes.split():
            diameter, _, pitch = size.partition("x")
            part = f"{size}-{family}" + ("" if blades == 2 else f"-{blades}b")
            yield part, family, blades, float(diameter), float(pitch)


def propellers() -> Iterator[Row]:
    """Rows of propellers.csv."""
    for part, family, blades, diameter, pitch in labels():
        limit = 100 * round(RPM_IN[family] / diameter / 100)
        mass = propeller_mass_g(diameter, blades) * spread(part, "mass", 0.12)
        yield {
            "id": part,
            "name": f"{diameter:g}x{pitch:g} {family} {blades}-blade",
            "family": family,
            "diameter_in": diameter,
            "pitch_in": pitch,
            "blades": blades,
            "mass_g": None if part in NO_MASS else significant(mass, 2),
            "max_rpm": None if part in NO_SPEED_LIMIT else limit,
            "uncertainty": significant(prediction(diameter, pitch, blades, family).source.uncertainty or 0.0, 2),
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
        "Stator sizes and kV values chosen to cover small models; mass from the stator's volume, winding resistance "
        "and no-load current from one law each with a stated scatter. Some rows leave values out on purpose.",
        {"kv_rpm_per_v": "rpm/V", "mass_g": "g", "resistance_ohm": "ohm", "no_load_current_a": "A",
         "no_load_voltage_v": "V", "no_load_exponent": "1", "max_current_a": "A", "burst_current_a": "A",
         "burst_seconds": "s", "max_power_w": "W", "cells_min": "1", "cells_max": "1"},
    ),
    "packs": (
        "Packs of one to four cells, invented",
        "Cell counts and capacities chosen to cover small models, two and three cells most densely; cell resistance "
        "from capacity and C rating, mass from those and the cell count. Some rows leave values out on purpose.",
        {"cells_series": "1", "cells_parallel": "1", "capacity_mah": "mAh", "c_rating": "1/h", "burst_c_rating": "1/h",
         "cell_resistance_mohm": "mohm", "lead_resistance_mohm": "mohm", "mass_g": "g"},
    ),
    "controllers": (
        "Controllers, invented",
        "Current ratings chosen to cover small models; mass from current rating and kind of servo supply.",
        {"max_current_a": "A", "burst_current_a": "A", "burst_seconds": "s", "resistance_mohm": "mohm",
         "part_throttle_loss": "1", "servo_supply_v": "V", "mass_g": "g", "cells_min": "1", "cells_max": "1"},
    ),
    "propellers": (
        "Propellers, invented",
        "Sizes chosen to cover 3 to 10 in five families of blades; mass and speed limit from family and diameter.",
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
    for name, text in files().items():
        (folder / name).write_text(text, encoding="utf-8", newline="")


if __name__ == "__main__":
    main(Path(sys.argv[1]))
