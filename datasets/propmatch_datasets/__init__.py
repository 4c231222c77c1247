"""Bundled tables and briefs with their origin: every part and aircraft in them is invented.

Beside each ``NAME.csv`` stands ``NAME.origin.toml``: how it was made, date, licence, units and checksum.
"""

from importlib.resources import files
from importlib.resources.abc import Traversable

__all__ = ["briefs", "path"]


def path(name: str) -> Traversable:
    """The bundled file of this name, such as ``motors.csv`` or ``briefs/wetland_logger.toml``.

    Raises
    ------
    FileNotFoundError
        No bundled file has this name.
    """
    found = files(__name__).joinpath(*name.split("/"))
    if not found.is_file():
        raise FileNotFoundError(f"no bundled file {name!r}")
    return found


def briefs() -> tuple[str, ...]:
    """Names of the bundled briefs, without folder and extension."""
    folder = files(__name__).joinpath("briefs")
    return tuple(sorted(each.name.removesuffix(".toml") for each in folder.iterdir() if each.name.endswith(".toml")))
