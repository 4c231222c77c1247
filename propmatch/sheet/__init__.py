"""Charts of a power train and the build sheet: ``operating_chart(...)`` in a notebook, ``sheet_html(...)`` for a file.

Enter: a brief, a design, points, flights. Leave: pictures, HTML, PDF. Imports ``words`` and what that imports.
Needs the ``report`` extra (matplotlib and Jinja2). Names are loaded on first use.
"""

from importlib import import_module
from typing import Any

_HOME = {
    "picture": ("Picture", "Table"),
    "thrustcharts": ("compare_chart", "operating_chart", "sweep_chart", "throttle_chart"),
    "fitcharts": ("fit_chart",),
    "flightcharts": ("flight_chart",),
    "margincharts": ("margin_chart",),
    "balancecharts": ("trim_chart",),
    "aircraftviews": ("aircraft_views",),
    "case": ("Section", "Sheet"),
    "content": ("build_sheet",),
    "html": ("sheet_html",),
    "pdf": ("save_pdf",),
}
_MODULE = {name: module for module, names in _HOME.items() for name in names}

__all__ = sorted(_MODULE)


def __getattr__(name: str) -> Any:
    if name not in _MODULE:
        raise AttributeError(f"module 'propmatch.sheet' has no attribute {name!r}")
    value = getattr(import_module(f"propmatch.sheet.{_MODULE[name]}"), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted(_MODULE)
