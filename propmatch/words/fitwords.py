"""What a fit to bench readings says, in words: constants with intervals, what is left open, rows beside their fit."""

import math
from collections.abc import Mapping

from propmatch.bench.logfit import Constant, LogFit
from propmatch.words.shown import Shown, signed, table, wrapped

__all__ = ["INTERVAL_WORDS", "fit_blocks", "fit_sentences", "open_words"]

INTERVAL_WORDS = "In brackets: the range that holds the true number with a chance of 90 %."
CONSTANT_WORDS = {
    "kv_rpm_per_v": "kV", "resistance_ohm": "resistance", "no_load_current_a": "no-load current",
    "resistance_slope_ohm_s": "rise of the resistance with speed", "open_circuit_v": "volts without load",
}  # fmt: skip
_SLOPE_SCALE = 1e7 * math.pi / 30.0
"""ohm s to mohm for every 10,000 rpm."""


def ranged(constant: Constant, digits: int, scale: float = 1.0) -> str:
    """``1182 (1168 to 1196)``."""
    value, low, high = (f"{scale * each:.{digits}f}" for each in (constant.value, constant.low, constant.high))
    return f"{value} ({low} to {high})"


def _ohm(constant: Constant) -> str:
    scaled = 1e3 * constant.value
    return f"{ranged(constant, 1 if scaled < 100 else 0, 1e3)} mohm"


def fit_sentences(fit: LogFit) -> list[str]:
    """The answer first."""
    found, said = fit.constants, []
    if "kv_rpm_per_v" in found:
        said.append(f"kV {ranged(found['kv_rpm_per_v'], 0)}")
    if "resistance_ohm" in found:
        said.append(f"resistance {_ohm(found['resistance_ohm'])} at {fit.at_rpm:,.0f} rpm, ESC and leads in it")
    if "no_load_current_a" in found:
        said.append(f"no-load current {ranged(found['no_load_current_a'], 2)} A at {fit.no_load_voltage_v:.1f} V")
    if "resistance_slope_ohm_s" in found:
        rise = ranged(found["resistance_slope_ohm_s"], 1, _SLOPE_SCALE)
        said.append(f"resistance higher by {rise} mohm for every 10,000 rpm")
    used = sum(row.used for row in fit.rows)
    rows = f"{used} row{'' if used == 1 else 's'}"
    first = [f"{fit.known.name}, from {rows}: " + ("; ".join(said) or "nothing is determined") + "."]
    if fit.contradicted:
        first = [f"{fit.known.name}, {rows}: the log contradicts itself, so no number is given before that is mended."]
    for name, pack in fit.packs.items():
        parts = []
        if "resistance_ohm" in pack:
            parts.append(f"resistance {_ohm(pack['resistance_ohm'])} with leads")
        if "open_circuit_v" in pack:
            parts.append(f"{ranged(pack['open_circuit_v'], 2)} V without load")
        if parts:
            first.append(f"Pack {name}: " + ", ".join(parts) + ".")
    return [*first, *([INTERVAL_WORDS] if said else [])]


def open_words(fit: LogFit) -> list[str]:
    """What is left open and why, one text for all constants with one reason."""
    reasons: dict[str, list[str]] = {}
    for each in fit.undetermined:
        name, _, of = each.constant.partition(" of ")
        word = CONSTANT_WORDS.get(name, name)
        reasons.setdefault(each.why, []).append(f"{word} of the pack {of}" if of else word)
    return [f"{', '.join(names)}: {why}" for why, names in reasons.items()]


def fit_blocks(fit: LogFit, shown: Shown) -> list[list[str]]:
    """Blocks below the sentences."""
    blocks = []
    if fit.undetermined:
        lines = [line for text in open_words(fit) for line in wrapped(text, first="  - ", rest="    ")]
        blocks.append(["Left open by these rows, so no number is given:", *lines])
    blades = [_blade(name, found) for name, found in fit.propellers.items() if found]
    if blades:
        blocks.append(["Propellers at rest:", *table(blades, left=("propeller",))])
    blocks.append(["Rows as read:" if fit.contradicted else "Rows as read, and as fitted:", *_rows(fit, shown)])
    return blocks


def _blade(name: str, found: Mapping[str, Constant]) -> dict[str, str]:
    row = {"propeller": f"  {name}"}
    for key, head in (("ct0", "thrust coefficient"), ("cp0", "power coefficient")):
        row[head] = ranged(found[key], 4) if key in found else "-"
    return row


def _rows(fit: LogFit, shown: Shown) -> list[str]:
    """Every row with its fit; columns that no row has are left out."""
    scale = shown.thrust_of(9.80665e-3)
    columns = (("volts", "V", 2, 1.0), ("amps", "A", 2, 1.0), ("rpm", "rpm", 0, 1.0),
               ("thrust_gf", shown.thrust_unit, 0 if scale == 1 else 2, scale),
               ("torque_nm", "N m", 3, 1.0))  # fmt: skip
    made = []
    for row in fit.rows:
        cells = {"line": str(row.line), "propeller": row.propeller or "-", "throttle": f"{100 * row.throttle:.0f} %"}
        if all(each.throttle == 1.0 for each in fit.rows):
            del cells["throttle"]
        for name, unit, digits, factor in columns:
            if any(getattr(each, name) is not None for each in fit.rows):
                for head, key in ((unit, name), (f"fit {unit}", f"fit_{name}")):
                    value = getattr(row, key)
                    if key == name or not fit.contradicted:
                        cells[head] = signed(None if value is None else factor * value, digits)
        if not fit.contradicted:
            cells["off, sd"] = signed(row.off_sd)
        made.append(cells)
    return table(made, left=("propeller",))
