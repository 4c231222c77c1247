"""A small stock of invented parts and a brief for sheets; some names try to be markup."""

from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from typing import Any

import pytest

from propmatch import Catalogue, hookimpl, match
from propmatch.brief import Brief, loads_brief
from propmatch.hookspecs import SheetSection
from propmatch.questions import envelope
from propmatch.records.parts import Propeller, Source
from propmatch.search.matching import Shortlist
from propmatch.sheet import build_sheet, case, sheet_html
from propmatch.sheet.case import Sheet
from support.trains import rising_rpm_table, simple_controller, simple_motor, simple_pack

HOSTILE = '<script>document.title="taken"</script> & "1400"'
HOSTILE_PHASE = "<img src=x onerror=alert(1)>"
HOSTILE_TITLE = "</style><b>bold</b> $x_1$"

BRIEF = f"""
[aircraft]
name = "reed bed glider"
target_mass_g = 480
[[item]]
name = "all but the power train"
mass_g = 265
position_mm = 190
height_mm = 0
[[variant]]
name = "<i>wet</i> wing"
bare_mass_g = 300
[wing]
area_dm2 = 16.0
span_mm = 1100
cl_max = 1.1
cd0 = "clean glider"
[limits]
min_thrust_to_weight = 0.42
min_flight_minutes = 5
cells = [2, 3]
[[phase]]
name = '{HOSTILE_PHASE}'
throttle = 1.0
seconds = 20
[[phase]]
name = "transect"
airspeed_m_s = 11
share = 1.0
[balance]
target_cg_mm = 180
pack_tray_from_mm = 20
pack_tray_to_mm = 260
motor_mm = 30
leading_edge_mm = 140
[tail]
area_dm2 = 3.0
span_mm = 360
position_mm = 640
[thrust_line]
height_mm = 60
position_mm = 10
"""

TAIL_HEAVY = (
    BRIEF.replace(BRIEF[BRIEF.index("[[item]]") : BRIEF.index("[[variant]]")], "bare_mass_g = 265\n")
    .replace("target_mass_g = 480", "target_mass_g = 700")
    .replace("pack_tray_from_mm = 20", "bare_cg_mm = 219\npack_tray_from_mm = 60")
)
"""The same with little room before the pack: within its tolerance, a heavier build cannot be balanced."""


class Sections:
    """A plugin that adds a section to the sheet."""

    @hookimpl
    def propmatch_sheet_sections(self) -> list[SheetSection]:
        def build(design: Any, brief: Any) -> dict[str, str]:
            return {"paint <b>": f"{brief.aircraft.name} & co", "train": design.train.motor.name}

        return [SheetSection(id="paint", title=HOSTILE_TITLE, build=build)]


def stock() -> Catalogue:
    """Two motors, one with a label kV and a hostile name, two propellers, a controller, packs of 2S and 3S."""
    table = rising_rpm_table()
    source = Source(text="made up <em>here</em>", kind="predicted", uncertainty=0.1)
    catalogue = Catalogue.of(
        motors=[
            simple_motor(name=HOSTILE, id="made/hostile", kv_kind="label", kv_rpm_per_v=1300.0),
            simple_motor(name="plain", id="made/plain", kv_rpm_per_v=1000.0, max_current_a=18.0),
        ],
        controllers=[simple_controller(id="made/controller", cells_min=2, cells_max=4)],
        packs=[
            simple_pack(id="made/2s"),
            simple_pack(id="made/3s", name="test pack 3S", cells_series=3, capacity_mah=600.0),
        ],
        propellers=[
            Propeller(name=f"{d}x{p} test", id=f"made/{d}x{p}", diameter_in=float(d), pitch_in=float(p), table=table,
                      mass_g=5.0, max_rpm=25000.0, source=source)
            for d, p in ((7, 4), (6, 4))
        ],
    )  # fmt: skip
    catalogue.plugins.add("painter", Sections())
    return catalogue


def brief() -> Brief:
    return loads_brief(BRIEF, "test brief")


@cache
def found() -> Shortlist:
    """What match finds in the stock."""
    return match(brief(), stock(), top=10)


def fresh_sheet() -> Sheet:
    """The sheet of the best 2S train with the hostile motor."""
    train = next(c.train for c in found().by_cells[2] if c.train.motor.name == HOSTILE)
    made = build_sheet(brief(), stock(), train=train, shortlist=found())
    assert made is not None
    return made


made_sheet = cache(fresh_sheet)


@contextmanager
def whole_envelope() -> Iterator[None]:
    """Sheets made meanwhile take their envelope as their readers get it, in seconds."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(case, "parts_envelope", envelope.parts_envelope)
        yield


@cache
def made_text() -> str:
    """The HTML of ``made_sheet``."""
    return sheet_html(made_sheet())
