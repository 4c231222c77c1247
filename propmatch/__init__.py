"""propmatch: matches motor, propeller, controller and pack for small electric model aircraft.

Names are loaded on first use, so that ``import propmatch`` costs next to nothing.
"""

from importlib import import_module
from typing import Any

from propmatch._version import __version__

_HOME = {
    "models.air": ("Air",),
    "bench.fit": ("fit_log",),
    "bench.logfit": ("LogFit",),
    "questions.ask": (
        "capacity_for_minutes",
        "kv_for_current",
        "largest_propeller",
        "mass_range",
        "site_range",
        "throttle_for_current",
    ),
    "aircraft.balance": ("Item",),
    "bench.flightlog": ("Flown", "LevelPower", "level_power"),
    "bench.loggertable": ("logged_flight", "read_flight_table"),
    "records.brief": ("Brief", "Phase", "load_brief"),
    "catalogue.catalogue": ("Catalogue", "load_catalogue"),
    "train.coupling": ("OperatingPoint", "hold_thrust", "solve"),
    "questions.envelope": ("parts_envelope",),
    "questions.fits": ("may_fit",),
    "aircraft.endurance": ("FlightTime", "flight_time"),
    "faults": ("Fault", "InputFaults", "Unmet"),
    "aircraft.flight": ("level_flight",),
    "catalogue.hookspecs": ("hookimpl",),
    "checks.limits": ("Check", "Design", "run_checks"),
    "search.matching": ("Shortlist", "match"),
    "questions.asflown": ("AsFlown", "as_flown"),
    "questions.cells": ("compare_cells",),
    "questions.settings": ("Settings", "settings_of"),
    "questions.shopping": ("BoxAnswer", "shopping_list", "what_fits"),
    "records.parts": ("Airframe", "Controller", "Motor", "Pack", "PowerTrain", "Propeller", "Source"),
    "status": ("Flag", "Status", "StatusError"),
    "models.tables": ("CoefficientTable",),
}
_MODULE = {name: module for module, names in _HOME.items() for name in names}

__all__ = ["__version__", *sorted(_MODULE)]


def __getattr__(name: str) -> Any:
    if name not in _MODULE:
        raise AttributeError(f"module 'propmatch' has no attribute {name!r}")
    value = getattr(import_module(f"propmatch.{_MODULE[name]}"), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted(__all__)
