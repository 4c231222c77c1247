"""An invented club's bench motors, and its own mass limit as a check."""

from propmatch import hookimpl
from propmatch.hookspecs import ExtraCheck, PartRow, PartSet

NUMBERS = ("kv_rpm_per_v", "mass_g", "resistance_ohm", "no_load_current_a", "max_current_a", "cells_min", "cells_max")
CLUB_LIMIT_G = 500.0


def _load():
    import csv
    from importlib.resources import files

    lines = files(__name__).joinpath("motors.csv").read_text(encoding="utf-8").splitlines()
    for line, row in enumerate(csv.DictReader(lines), start=2):
        values = {key: float(text) if key in NUMBERS else text for key, text in row.items() if text}
        yield PartRow(values=values, where=f"club bench motors.csv:{line}")


@hookimpl
def propmatch_motors():
    return [
        PartSet(
            id="bench",
            description="motors measured on the club's bench",
            source="club bench, wattmeter and optical tachometer (invented)",
            source_kind="measured",
            uncertainty=0.03,
            load=_load,
        )
    ]


def _club_mass(design, brief):
    from propmatch.checks.limits import Check

    mass = design.all_up_mass_g
    return [
        Check(
            name="club_mass",
            value=mass,
            limit=CLUB_LIMIT_G,
            unit="g",
            margin=(CLUB_LIMIT_G - mass) / CLUB_LIMIT_G,
            verdict="ok" if mass <= CLUB_LIMIT_G else "fails",
            basis="common practice",
            note="all-up mass, the club's own field rule",
        )
    ]


@hookimpl
def propmatch_checks():
    return [ExtraCheck(id="club_mass", description="at most 500 g on the club's small field", run=_club_mass)]
