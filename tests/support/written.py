"""Briefs and small catalogues as a user may write them: every key of a brief is drawn, by its own declaration.

A brief is drawn as the tables of a file, read as a file is, and what the reader finds fault with is drawn again. Ranges
are those that are declared, narrowed where only a part of them makes a flight. Every number is invented.
"""

import json
import re
from collections.abc import Callable, Mapping
from typing import Any

import attrs
import numpy as np

from propmatch.catalogue.catalogue import Catalogue
from propmatch.checks.setting import ResolvedBrief
from propmatch.faults import InputFaults
from propmatch.records.brief import Brief, loads_brief
from propmatch.records.fields import Declared, declared
from propmatch.records.parts import PARTS, CoefficientTable
from propmatch.records.sections import PartsFilter, Prefer
from support.random_cases import named, random_parts

__all__ = ["brief_keys", "stated_keys", "written_brief", "written_catalogue"]

Range = tuple[float, float]
_SECTION, _KEY, _LIMIT, _TRIES = 0.35, 0.4, 0.25, 4
"""How often a section, a key in it and a limit is written; and how often a faulty section is drawn again."""
_OFTEN = {"parts": 0.08, "limits.cells": 0.1, "limits.max_wing_loading_g_dm2": 0.12, "limits.cutoff_cell_v": 0.4,
          "limits.reserve_charge": 0.6, "limits.min_thrust_to_weight": 0.6, "launch": 0.3}  # fmt: skip
"""The same of some keys, so that something passes often enough."""

_NEEDS = {
    "body": ("balance", "thrust_line"), "motor_place": ("balance", "thrust_line"), "control": ("balance",),
    "tail": ("balance",), "thrust_line": ("balance",),
}  # fmt: skip
"""Sections that another one needs beside it."""
_SINKS = 0.08
"""How often a share that sinks stands between two timed phases, the one after it longer than the flight asked for."""


def brief_keys(cls: type = Brief, path: str = "") -> set[str]:
    """Every key that a brief may have, as ``limits.chance`` or ``variant.item.name``."""
    found: set[str] = set()
    for rule in declared(cls):
        nested = isinstance(rule.item, type) and rule.kind in ("one", "many")
        found |= brief_keys(rule.item, f"{path}{rule.name}.") if nested else {path + rule.name}
    return found


def stated_keys(record: Any, path: str = "") -> set[str]:
    """The keys of a record that stand at another value than their default."""
    found: set[str] = set()
    for rule in declared(type(record)):
        value, key = getattr(record, rule.name), path + rule.name
        if rule.kind == "one":
            found |= set() if value is None else stated_keys(value, f"{key}.")
        elif rule.kind == "many" and isinstance(rule.item, type):
            found |= {name for each in value for name in stated_keys(each, f"{key}.")}
        elif rule.required or value != rule.default:
            found.add(key)
    return found


def _ranges(bare_g: float, span_mm: float) -> dict[str, Range]:
    """Where only a part of a declared range makes a flight of a small aircraft; keys of any section by their end."""
    area, length = span_mm**2 / 7.0e4, 0.9 * span_mm
    return {
        "bare_mass_g": (0.95 * bare_g, 1.2 * bare_g), "target_mass_g": (1.5 * bare_g, 3.0 * bare_g),
        "aircraft.motor_count": (1, 2), "variant.motor_count": (1, 2), "radio_current_a": (0.0, 1.0),
        "receiver_supply_mass_g": (0.0, 25.0), "area_dm2": (0.8 * area, 1.3 * area),
        "span_mm": (0.9 * span_mm, 1.1 * span_mm), "cl_max": (0.8, 1.4), "cd0": (0.025, 0.08), "oswald": (0.6, 0.95),
        "installed_thrust": (0.8, 1.0), "receiver_current_a": (0.0, 0.2), "servos": (0, 6),
        "servo_current_a": (0.0, 0.3), "payload_current_a": (0.0, 0.5),
        "min_thrust_to_weight": (0.05, 0.45), "min_flight_minutes": (0.5, 8.0), "min_climb_m_s": (0.2, 3.0),
        "min_launch_thrust_to_weight": (0.05, 0.5), "max_propeller_diameter_in": (6.0, 9.5),
        "max_wing_loading_g_dm2": (20.0, 80.0), "mass_threshold_g": (200.0, 500.0), "cells": (1, 3),
        "reserve_charge": (0.0, 0.5), "cutoff_cell_v": (2.5, 3.5),
        "altitude_m": (-100.0, 2500.0), "temperature_c": (-15.0, 35.0), "pack_temperature_c": (-20.0, 35.0),
        "wind_m_s": (0.0, 8.0), "distance_m": (50.0, 2000.0), "cycles": (0, 300), "rest_h": (0.0, 100.0),
        "throw_speed_m_s": (2.0, 12.0), "launch.height_m": (0.5, 2.5), "max_height_lost_m": (0.0, 2.0),
        "rolling_friction": (0.01, 0.3), "max_run_m": (1.0, 40.0), "factor_sd": (0.0, 0.3),
        "item.mass_g": (1.0, 0.6 * bare_g), "slicer_g": (5.0, 0.7 * bare_g), "weighed_g": (5.0, 0.7 * bare_g),
        "finish_g": (0.0, 4.0), "glue_g": (0.0, 4.0), "hardware_g": (0.0, 4.0), "finish_share": (0.0, 0.3),
        "density_g_cm3": (0.9, 1.5), "slicer_density_g_cm3": (0.9, 1.5), "flow_rate": (0.3, 1.2),
        "slicer_flow": (0.5, 1.2), "filament": (0.5, 1.5),
        "target_cg_mm": (0.25 * length, 0.4 * length), "cg_tolerance_mm": (1.0, 30.0),
        "bare_cg_mm": (0.3 * length, 0.45 * length), "pack_tray_from_mm": (0.05 * length, 0.15 * length),
        "pack_tray_to_mm": (0.2 * length, 0.4 * length), "tail.position_mm": (0.8 * length, 0.9 * length),
        "tail.area_dm2": (0.1 * area, 0.25 * area), "tail.span_mm": (0.3 * span_mm, 0.5 * span_mm),
        "fin_area_dm2": (0.05 * area, 0.15 * area), "fin_height_mm": (50.0, 200.0), "chord_mm": (80.0, 200.0),
        "fin_position_mm": (0.8 * length, 0.9 * length), "leading_edge_mm": (0.15 * length, 0.25 * length),
        "thrust_line.position_mm": (0.0, 30.0), "tilt_deg": (-6.0, 6.0), "thrust_line.side_mm": (0.0, 160.0),
        "motor_place.side_mm": (-160.0, 160.0), "motor_place.position_mm": (0.0, 30.0), "top_mm": (-110.0, -30.0),
        "bottom_mm": (-160.0, -110.0), "half_width_mm": (10.0, 40.0), "nose_mm": (-20.0, 10.0),
        "tail_mm": (0.5 * length, length), "boom_side_mm": (80.0, 300.0), "main_wheel_mm": (100.0, 200.0),
        "main_wheel_height_mm": (-200.0, -90.0), "tail_wheel_mm": (0.6 * length, 0.8 * length),
        "tail_wheel_height_mm": (-60.0, -10.0), "nose_wheel_mm": (0.0, 60.0), "nose_wheel_height_mm": (-200.0, -90.0),
        "wheel_shrink_mm": (0.0, 10.0), "gap_mm": (0.0, 20.0), "position_mm": (0.0, length), "height_mm": (-20.0, 20.0),
        "_mm": (0.0, 0.4 * length),
    }  # fmt: skip


class _Writer:
    """Draws the tables of one brief."""

    def __init__(self, rng: np.random.Generator) -> None:
        self.rng = rng
        self.sinks = bool(rng.spawn(1)[0].random() < _SINKS)
        self.ranges = _ranges(float(rng.uniform(80.0, 300.0)), float(rng.uniform(700.0, 1200.0)))
        self.own: dict[str, Callable[[], Any]] = {"phase": self._phases, "prefer": self._prefer, "parts": self._parts}

    def table(self, cls: type, path: str = "", only: tuple[str, ...] = ()) -> dict[str, Any]:
        """The keys of a section, some of them written; the required ones always."""
        out: dict[str, Any] = {}
        for rule in declared(cls):
            nested = isinstance(rule.item, type) and rule.kind in ("one", "many")
            own, often = f"{path}{rule.name}", 2.0 if path.startswith("variant.") or path.endswith("body.") else 1.0
            usual = often * _OFTEN.get(own, _LIMIT if path == "limits." else _SECTION if nested else _KEY)
            chance = 1.0 if rule.required or rule.name in only else usual
            if self.rng.random() < chance:
                out[rule.name] = self.value(rule, f"{path}{rule.name}")
        return _tidied(out)

    def value(self, rule: Declared, path: str) -> Any:
        """A value that the declaration of a key allows."""
        rng = self.rng
        if path in self.own:
            return self.own[path]()
        if rule.kind == "one":
            return self.table(rule.item, f"{path}.")
        if rule.kind == "many":
            numbers = rng.permutation(3)[: rng.integers(1, 4)]
            if isinstance(rule.item, Declared):
                return [self.value(rule.item, path) for _ in numbers]
            each = [self.table(rule.item, f"{path}.") for _ in numbers]
            return [
                table | ({"name": f"name {n}"} if "name" in table else {})
                for n, table in zip(numbers, each, strict=True)
            ]
        if rule.kind == "text":
            return f"{rule.name} {rng.integers(1, 4)}"
        if rule.kind == "flag":
            return bool(rng.random() < 0.5)
        words = rule.kind == "choice" or (rule.kind == "words or number" and rng.random() < 0.5)
        if words:
            return str(rng.choice(rule.options))
        low, high = self.range_of(rule, path)
        if rng.random() < 0.1:
            low = high = (low, high)[int(rng.integers(2))]
        return (
            int(rng.integers(round(low), round(high) + 1)) if rule.kind == "integer" else float(rng.uniform(low, high))
        )

    def range_of(self, rule: Declared, path: str) -> Range:
        """The narrowed range whose key ends the path the furthest, else the one declared."""
        ends = [key for key in self.ranges if path.endswith(key)]
        if ends:
            return self.ranges[max(ends, key=len)]
        sides = (rule.ge if rule.gt is None else rule.gt + 1e-3, rule.le if rule.lt is None else rule.lt - 1e-3)
        assert None not in sides, path
        return sides  # type: ignore[return-value]

    def _prefer(self) -> dict[str, float]:
        chosen = self.rng.permutation([rule.name for rule in declared(Prefer)])[: self.rng.choice([1, 1, 1, 2, 3])]
        return {str(name): float(self.rng.uniform(0.2, 1.0)) for name in chosen}

    def _parts(self) -> dict[str, list[str]]:
        """Some parts by id or pattern; a kind that matches nothing is a fault of the catalogue."""
        few = [rule.name for rule in declared(PartsFilter) if self.rng.random() < _KEY]
        named = {kind: [str(self.rng.choice([f"{kind}s*", f"{kind}s0", "*1", "*"]))] for kind in few if kind != "only"}
        # parts without a plugin are named by their own id
        return named | ({"only": [f"{kind}s0" for kind in PARTS]} if "only" in few else {})

    def _phases(self) -> list[dict[str, Any]]:
        """Timed phases, shares and timed phases, or a list without shares: throttles, held speeds, glides, heights."""
        rng, speed = self.rng, float(self.rng.uniform(7.0, 15.0))
        if self.sinks:
            return self._around_a_sinking_share(speed)
        before, shares, after = (int(rng.choice(n)) for n in ([0, 0, 1, 2, 3], [0, 1, 1, 2, 3], [0, 0, 1, 2]))
        ends = ["timed"] * before + ["share"] * shares + ["timed"] * after or ["timed", "share"]
        return [self._phase(f"phase {at}", end, speed) for at, end in enumerate(ends, start=1)]

    def _around_a_sinking_share(self, speed: float) -> list[dict[str, Any]]:
        """Its throttle is too low for its airspeed, so that it ends on the ground and the last phase is not flown."""
        rng = self.rng
        away, home = ({"airspeed_m_s": speed, "seconds": float(rng.uniform(*s))} for s in ((2.0, 60.0), (150.0, 500.0)))
        if rng.random() < 0.5:
            away |= {"climb_m_s": float(rng.uniform(0.2, 2.0))}
        sink = {"throttle": float(rng.uniform(0.05, 0.5)), "airspeed_m_s": speed, "share": 1.0}
        more = [self._phase("more", "share", speed)] if rng.random() < 0.3 else []
        return [{"name": "away"} | away, {"name": "sink"} | sink, *more, {"name": "home"} | home]

    def _phase(self, name: str, end: str, speed: float) -> dict[str, Any]:
        rng = self.rng
        kind = rng.choice(["full", "part", "off", "level", "climb", "descent"], p=[0.2, 0.15, 0.15, 0.3, 0.1, 0.1])
        own_speed = float(
            speed * rng.choice([0.5, 0.9, 1.0, 1.0, 1.0, 1.2, 2.0], p=[0.03, 0.2, 0.2, 0.2, 0.2, 0.12, 0.05])
        )
        out: dict[str, Any] = {"name": name}
        if kind in ("full", "part", "off"):
            out["throttle"] = {"full": 1.0, "off": 0.0}.get(str(kind), float(rng.uniform(0.3, 1.0)))
            if rng.random() < 0.4:
                out["airspeed_m_s"] = own_speed if rng.random() < 0.9 else 0.0
        else:
            out["airspeed_m_s"] = own_speed
            if kind != "level":
                out["climb_m_s"] = float(rng.uniform(0.2, 5.0)) * (1.0 if kind == "climb" else -1.0)
            if rng.random() < 0.25:
                out["load_factor"] = float(rng.uniform(0.6, 2.0))
        if end == "share":
            out["share"] = float(rng.choice([0.1, 0.3, 1.0, 5.0]))
        elif kind != "level" and rng.random() < 0.3:
            out["to_height_m"] = float(rng.choice([0.0, 10.0, 60.0, 150.0]) * rng.uniform(0.5, 1.0))
        else:
            out["seconds"] = float(np.exp(rng.uniform(np.log(2.0), np.log(400.0))))
        return out


def _tidied(section: dict[str, Any]) -> dict[str, Any]:
    """Without the keys that cannot stand beside others: one of the two goes."""
    if section.get("removed"):
        return {"name": section["name"], "removed": True}
    out = dict(section)
    if "slicer_g" in out:
        out = {key: value for key, value in out.items() if key not in ("weighed_g", "printed_share")}
    elif "weighed_g" in out:
        added = ("finish_g", "glue_g", "hardware_g", "finish_share")
        drop = added if "printed_share" in out else ()
        out = {key: value for key, value in out.items() if key not in ("slicer_flow", "slicer_density_g_cm3", *drop)}
    only = {"hand": ("surface", "rolling_friction", "max_run_m"),
            "runway": ("throw_speed_m_s", "height_m", "max_height_lost_m",
                       *(["surface"] if "rolling_friction" in out else []))}  # fmt: skip
    return {key: value for key, value in out.items() if key not in only.get(str(out.get("kind")), ())}


def written_brief(rng: np.random.Generator) -> Brief:
    """A brief as a file may have it, read as the file is read; what is faulty is drawn again, and left out at last."""
    writer = _Writer(rng)
    rules = {rule.name: rule for rule in declared(Brief)}
    tables = writer.table(Brief, only=("aircraft", "prefer", "limits", "wing"))
    if rng.random() < 0.93:
        tables["phase"] = writer.value(rules["phase"], "phase")
        if writer.sinks:
            tables["limits"]["min_flight_minutes"] = float(rng.uniform(0.5, 4.0))
    for section, needed in _NEEDS.items():
        for needs in needed if section in tables else ():
            tables[needs] = tables.get(needs) or writer.value(rules[needs], needs)
    lists = {"item", "structure"} & tables.keys()
    if lists and rng.random() < 0.6:
        tables["aircraft"].pop("bare_mass_g", None)
        if "variant" in tables:
            tables |= {key: writer.value(rules[key], key) for key in {"item", "structure"} - lists}
    else:
        tables = {key: value for key, value in tables.items() if key not in lists}
        tables["aircraft"].setdefault("bare_mass_g", float(rng.uniform(*writer.ranges["bare_mass_g"])))
    for tries in range(20 * _TRIES):
        try:
            brief = loads_brief(_as_file(tables))
            ResolvedBrief.of(brief)
            return brief
        except InputFaults as found:
            told = [fault.key for fault in found.faults]
        for path in told:
            top = re.split(r"[.\[]", path)[0]
            if tries >= _TRIES and top not in tables:
                lacks = {key for key in tables if top in _NEEDS.get(key, ()) or key == "variant"}
                tables = {key: value for key, value in tables.items() if key not in lacks}
            elif tries >= _TRIES:
                _leave_out(tables, path)
            elif top != "aircraft":
                tables[top] = writer.value(rules[top], top)
            elif top == "aircraft" and path == "aircraft.bare_mass_g" and not {"item", "structure"} & tables.keys():
                tables[top]["bare_mass_g"] = float(rng.uniform(*writer.ranges["bare_mass_g"]))
    return written_brief(rng)


def _leave_out(tables: dict[str, Any], path: str) -> None:
    """Without what a path names, or without the table that lacks it; of lists the entry."""
    here: Any = tables
    chain: list[tuple[Any, Any]] = []
    for piece in re.findall(r"[^.\[\]]+", path):
        key: Any = int(piece) - 1 if isinstance(here, list) else piece
        missing = key >= len(here) if isinstance(here, list) else key not in here
        if missing:
            break
        chain.append((here, key))
        here = here[key]
        if not isinstance(here, list | dict):
            break
    if chain:
        holder, key = chain[-1]
        del holder[key]
        if not holder and len(chain) > 1:
            del chain[-2][0][chain[-2][1]]


def _toml(value: Any) -> str:
    """A value as TOML writes it in one line."""
    if isinstance(value, Mapping):
        return "{" + ", ".join(f"{key} = {_toml(each)}" for key, each in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(_toml, value)) + "]"
    return json.dumps(value)


def _as_file(tables: Mapping[str, Any]) -> str:
    return "".join(f"{key} = {_toml(table)}\n" for key, table in tables.items())


# ---------------------------------------------------------------- parts


def _falling(rng: np.random.Generator, table: CoefficientTable) -> CoefficientTable:
    """A table in which the torque falls over some speeds: CP falls faster than 1/rpm^2 there."""
    rpm = np.asarray(table.rpm)
    at, power = float(rng.uniform(0.2, 0.7)), float(rng.uniform(2.2, 4.0))
    start = rpm[0] + at * (rpm[-1] - rpm[0])
    fall = np.minimum((rpm / start) ** -power, 1.0)[:, None]
    both = bool(rng.random() < 0.5)
    return attrs.evolve(table, ct=np.asarray(table.ct) * (fall if both else 1.0), cp=np.asarray(table.cp) * fall)


def _more(rng: np.random.Generator, part: Any, **keys: Any) -> Any:
    """A part with some more of its keys stated."""
    stated = {name: draw for name, draw in keys.items() if rng.random() < 0.15}
    try:
        return attrs.evolve(part, **stated)
    except ValueError:
        return part


def written_catalogue(rng: np.random.Generator, most: tuple[int, int, int, int] = (4, 3, 4, 5)) -> Catalogue:
    """A small catalogue: few parts or one of a kind, sometimes none; some with a twin of another name."""
    sizes = tuple(int(n) for n in rng.integers(1, np.add(most, 1)))
    parts = random_parts(rng, sizes)  # type: ignore[arg-type]
    parts["motors"] = [
        _more(
            rng, motor, resistance_slope_ohm_s=float(rng.uniform(0.0, 2e-5)),
            torque_constant_ratio=float(rng.uniform(0.9, 1.0)), controller_included=True,
            gear_ratio=float(rng.uniform(0.5, 4.0)), gear_efficiency=float(rng.uniform(0.8, 1.0)),
        )
        for motor in parts["motors"]
    ]  # fmt: skip
    parts["controllers"] = [
        _more(rng, each, servo_supply_v=float(rng.uniform(4.8, 9.0)), part_throttle_loss=None)
        for each in parts["controllers"]
    ]
    parts["packs"] = [
        _more(rng, pack, cells_parallel=2, lead_resistance_mohm=float(rng.uniform(0.0, 15.0)))
        for pack in parts["packs"]
    ]
    if rng.random() < 0.7:  # mostly of one cell count: each is searched for itself
        parts["packs"] = [attrs.evolve(pack, cells_series=parts["packs"][0].cells_series) for pack in parts["packs"]]
    parts["propellers"] = [
        attrs.evolve(each, table=_falling(rng, each.table)) if rng.random() < 0.12 else each
        for each in parts["propellers"]
    ]
    for kind, some in parts.items():
        if rng.random() < 0.25:
            some.append(some[int(rng.integers(len(some)))])
        parts[kind] = named(some, kind)
    if rng.random() < 0.02:
        parts[str(rng.choice(sorted(parts)))] = []
    return Catalogue.of(**parts)
