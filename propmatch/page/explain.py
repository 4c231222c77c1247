"""Any number of the page explained: the formula, what goes into it, and where that comes from."""

from collections.abc import Callable
from typing import Any

import attrs
import numpy as np

from propmatch.catalogue.catalogue import Catalogue
from propmatch.checks.limits import Design, checks_of
from propmatch.checks.measures import TrainMeasures
from propmatch.faults import Fault, InputFaults
from propmatch.page.answers import measured_train
from propmatch.records.brief import Brief
from propmatch.records.estimates import completed
from propmatch.records.parts import PowerTrain
from propmatch.words.checkwords import check_name, limit_text, value_text
from propmatch.words.shown import signed

__all__ = ["explanation"]

_ALIAS = {"mass": "all_up_mass", "top_speed": "top_speed"}


@attrs.frozen
class _Known:
    """One train with everything its explanations draw on."""

    train: PowerTrain
    measured: TrainMeasures

    def at(self, field: str, charge: float = 1.0) -> float:
        """A field of full throttle at rest."""
        return float(getattr(self.measured.full(charge), field)[0])


_Input = tuple[str, float, str, str]
_Inputs = Callable[[_Known], list[_Input]]
_MODEL = "solved: motor torque meets propeller torque, motor and pack share one current loop"


def _source(part: Any) -> str:
    return f"{part.name}: {part.source.text} ({part.source.kind})"


def _mass(k: _Known) -> list[_Input]:
    t = k.train
    bare = k.measured.setting.variant.airframe.bare_mass_g
    parts: list[_Input] = [
        (kind, (t.count if kind != "pack" else 1) * float(getattr(t, kind).mass_g), "g", _source(getattr(t, kind)))
        for kind in ("motor", "controller", "propeller", "pack")
    ]
    return [("bare mass", bare, "g", "brief"), *parts]


def _weight(k: _Known) -> _Input:
    return ("weight", float(k.measured.frames.weight_n[0]), "N", "all-up mass times 9.80665 m/s2")


def _thrust(k: _Known) -> list[_Input]:
    p = k.train.propeller
    return [
        ("static thrust at half charge", k.at("thrust_n", 0.5), "N", _MODEL),
        ("propeller speed", k.at("rpm", 0.5), "rpm", _MODEL),
        ("propeller diameter", p.diameter_in, "in", _source(p)),
        ("air density", k.measured.setting.air.density_kg_m3, "kg/m3", "field height and temperature of the brief"),
        _weight(k),
    ]


def _current(k: _Known) -> list[_Input]:
    m = completed(k.train.motor)[0]
    return [
        ("motor voltage", k.at("motor_voltage_v"), "V", "full pack, less the drop in pack, leads and controller"),
        ("motor speed", k.at("motor_rpm"), "rpm", _MODEL),
        ("speed constant", m.kv_rpm_per_v, "rpm/V", _source(k.train.motor)),
        ("winding resistance", m.resistance_ohm, "ohm", _stated(k.train.motor, "resistance_ohm")),
        ("no-load current", m.no_load_current_a, "A", _stated(k.train.motor, "no_load_current_a")),
    ]


def _stated(part: Any, field: str) -> str:
    return _source(part) if getattr(part, field) is not None else f"{part.name}: estimated, see the assumptions"


def _pack(k: _Known) -> list[_Input]:
    p = k.train.pack
    return [
        ("motor current", k.at("motor_current_a"), "A", _MODEL),
        ("receiver, servos and payload", k.train.accessory_current_a, "A", "brief or assumption"),
        ("capacity", p.capacity_mah, "mAh", _source(p)),
    ]


def _flight(k: _Known) -> list[_Input]:
    limits = k.measured.setting.brief.limits
    currents = [float(c[0]) for c in k.measured.flight.phase_current_a]
    phases: list[_Input] = [
        (f"mean pack current, {phase.name}", current, "A", "thrust that the phase needs, pack at its state of charge")
        for phase, current in zip(k.measured.setting.phases, currents, strict=False)
    ]
    return [
        ("capacity", k.train.pack.capacity_mah, "mAh", _source(k.train.pack)),
        ("charge left at the end", float(limits.reserve_charge or 0), "", "brief or assumption"),
        ("lowest cell voltage", float(limits.cutoff_cell_v or 0), "V", "brief or assumption"),
        *phases,
    ]


def _stall(k: _Known) -> list[_Input]:
    frame = k.measured.setting.variant.airframe
    return [
        ("stall speed", float(k.measured.stall_m_s[0]), "m/s", "square root of 2 W/(density S cl_max)"),
        _weight(k),
        ("wing area", frame.wing_area_dm2, "dm2", "brief or assumption"),
        ("highest lift coefficient", float(frame.cl_max or np.nan), "", "brief or assumption"),
    ]


def _climb(k: _Known) -> list[_Input]:
    frame = k.measured.setting.variant.airframe
    return [
        _weight(k),
        ("zero-lift drag coefficient", float(k.measured.frames.cd0[0]), "", "brief or assumption"),
        ("wing area", frame.wing_area_dm2, "dm2", "brief or assumption"),
        ("static thrust at half charge", k.at("thrust_n", 0.5), "N", _MODEL),
    ]


def _rpm(k: _Known) -> list[_Input]:
    return [
        ("static propeller speed, full pack", k.at("rpm"), "rpm", _MODEL),
        ("propeller diameter", k.train.propeller.diameter_in, "in", _source(k.train.propeller)),
        ("speed of sound", k.measured.setting.air.speed_of_sound_m_s, "m/s", "temperature of the brief"),
    ]


def _cell(k: _Known) -> list[_Input]:
    return [
        ("pack voltage under load, half charge", k.at("pack_voltage_v", 0.5), "V", _MODEL),
        ("cells in series", k.train.pack.cells_series, "", _source(k.train.pack)),
    ]


_FORMULAS: dict[str, tuple[str, _Inputs]] = {
    "all_up_mass": ("bare mass + motors + controllers + propellers + pack", _mass),
    "mass_threshold": ("bare mass + motors + controllers + propellers + pack", _mass),
    "wing_loading": ("all-up mass / wing area", _stall),
    "thrust_to_weight": ("T/W; T = CT rho n^2 D^4 at full throttle, at rest, half charge", _thrust),
    "hand_launch": ("installed thrust at half the stall speed / W, half charge", _thrust),
    "climb": ("best of V (T - D)/W over airspeed, full throttle, half charge", _climb),
    "top_speed": ("airspeed at which full throttle just balances the drag, half charge", _climb),
    "motor_current_static": ("I = (V - omega/K)/R at full throttle, at rest, full pack", _current),
    "motor_current_flight": ("I = (V - omega/K)/R, worst of the phases' airspeeds, full pack", _current),
    "controller_current": ("the motor's current, worst of rest and the phases' airspeeds, full pack", _current),
    "motor_power": ("motor voltage x motor current, worst of rest and flight, full pack", _current),
    "pack_burst": ("sets x throttle x motor current + accessories, worst of rest and flight, full pack", _pack),
    "pack_sustained": ("mean pack current of the phase that draws most", _flight),
    "flight_time": ("pack drained phase by phase until reserve or lowest cell voltage: dQ/dt = -I(Q)", _flight),
    "cell_voltage": ("pack voltage / cells at full throttle, at rest, half charge", _cell),
    "cell_count": ("cells in series", _cell),
    "propeller_rpm": ("speed at which motor torque meets propeller torque CQ rho n^2 D^5, full throttle", _rpm),
    "propeller_diameter": ("as stated", _rpm),
    "tip_mach": ("sqrt((pi n D)^2 + V^2)/a, worst of rest and flight", _rpm),
    "pitch_speed_ratio": ("(speed x pitch)/stall speed at full throttle, at rest, half charge", _stall),
    "speed_over_stall": ("slowest powered phase / (stall speed x square root of its load factor)", _stall),
    "level_throttle": ("throttle at which thrust equals drag in the held airspeed, at reserve charge", _climb),
    "servo_supply_heat": ("(pack voltage - supply voltage) x accessory current, linear supplies only", _pack),
    "balance": ("distance from the target, pack at its best place: sum(m x)/sum(m) - target", _mass),
}


_ADDED: tuple[str, _Inputs] = ("a check that a plugin adds; how it is made is the plugin's own", lambda _: [])


def explanation(brief: Brief, catalogue: Catalogue, ids: str, name: str, variant: str | None = None) -> dict[str, Any]:
    """Formula, inputs and sources of one number of one train.

    Raises
    ------
    InputFaults
        No number of this name.
    """
    here, train, measured = measured_train(brief, catalogue, ids, variant)
    asked = _ALIAS.get(name, name)
    checks = {c.name: c for c in checks_of(measured)[0]}
    if asked not in _FORMULAS:
        added = {c.name: c for c in catalogue.extra_checks(Design.of(train, here.variant), brief)}
        if asked not in added:
            known = ", ".join((*_FORMULAS, *added))
            raise InputFaults([Fault("explain", "name", name, f"must be one of {known}")])
        checks |= added
    formula, inputs = _FORMULAS.get(asked, _ADDED)
    check = checks.get(asked)
    value, unit = (float(measured.top.top_speed_m_s[0]), "m/s") if check is None else (check.value, check.unit)
    limit = ""
    if check is not None and np.isfinite(check.limit):
        limit = f"{limit_text(check)}; from {check.basis}"
    return {
        "name": name,
        "title": f"{check_name(asked)}: {value_text(value, unit)}",
        "value": value if np.isfinite(value) else None,
        "unit": unit,
        "formula": formula,
        "inputs": [
            {"label": label, "value": float(v) if np.isfinite(v) else None, "text": _text(v, u), "source": source}
            for label, v, u, source in inputs(_Known(train, measured))
        ],
        "limit": limit,
        "note": "" if check is None else check.note,
        "assumptions": [f"{a.subject}: {a.text}" for a in (*here.brief_assumptions, *completed(train)[1])],
    }


def _text(value: float, unit: str) -> str:
    if not np.isfinite(value):
        return "-"
    size = abs(value)
    digits = 0 if size >= 1000 else 1 if size >= 100 else 2 if size >= 1 else 4
    return f"{signed(value, digits)} {unit}".strip()
