"""Side and top view of an aircraft to one scale: surfaces, propeller and jet, every mass at its place, the balance."""

import numpy as np

from propmatch.aircraft.balance import MassBuildUp
from propmatch.checks.setting import Setting
from propmatch.records.masses import Item
from propmatch.records.parts import PowerTrain
from propmatch.sheet.case import Case, Section
from propmatch.sheet.picture import Picture, Table
from propmatch.sheet.viewlayout import Layout
from propmatch.sheet.viewpaper import arranged
from propmatch.words.shown import Shown, signed

__all__ = ["NO_VIEWS", "aircraft_views", "views"]

NO_VIEWS = (
    "The brief has no [balance], so nothing says where anything sits, and no side or top view can be drawn. The least "
    "it takes is target_cg_mm, the wanted centre of gravity."
)
_TITLE = "Where does everything sit?"


def aircraft_views(setting: Setting, train: PowerTrain, *, shown: Shown | None = None) -> Picture | None:
    """Side view above top view, nose to the left, to one scale; None where :data:`NO_VIEWS` says why.

    The numbers in it are told below the views.
    """
    layout = Layout.of(setting, train)
    return None if layout is None else _picture(layout, shown or Shown(), key=True)


def views(case: Case) -> Section:
    """The section of the sheet; a table beside the drawing tells its numbers."""
    layout = Layout.of(case.setting, case.train)
    if layout is None:
        return Section(name="views", title=_TITLE, text=(NO_VIEWS,))
    return Section(name="views", title=_TITLE, pictures=(_picture(layout, case.shown, key=False),),
                   tables=(_masses(layout),))  # fmt: skip


def _picture(layout: Layout, shown: Shown, *, key: bool) -> Picture:
    paper = arranged(layout, shown, key=key)
    return Picture(
        name="views", title="Side and top view to scale, nose to the left", summary=_words(layout),
        table=_places(layout), draw=paper.draw, width_in=paper.width_pt / 72, height_in=paper.height_pt / 72,
        plain=True,
    )  # fmt: skip


def _words(layout: Layout) -> str:
    balance, pack = (
        layout.geometry.balance,
        next((m.position_mm for m in layout.masses if m.name == "pack" and m.flown), None),
    )
    target = f"target {balance.target_cg_mm:g} mm, give or take {layout.geometry.cg_tolerance_mm:g}"
    if pack is None or np.isnan(layout.cg_mm):
        text = f"The centre of gravity is drawn at its {target}, because a mass or a place is missing."
    else:
        text = f"With the pack at {pack:.0f} mm the centre of gravity lies at {layout.cg_mm:.0f} mm ({target})."
    if np.isfinite(layout.neutral_mm):
        text += f" The triangle is the neutral point, {layout.neutral_mm:.0f} mm."
    surfaces = "wing and tail have their mean chord"
    if layout.fin_mm is not None:
        surfaces = "wing, tail and fin have their mean chord, the fin's root at the height of the tail"
    return f"{text} Dots are masses, their area in proportion; {surfaces}."


def _places(layout: Layout) -> Table:
    """Surfaces, propeller, balance and masses in numbers."""
    geometry = layout.geometry
    balance, tail, line = geometry.balance, geometry.tail, geometry.thrust_line
    rows: list[tuple[str, float | None, float | None]] = [
        ("target centre of gravity", balance.target_cg_mm, layout.cg_height_mm),
        ("centre of gravity with the pack at its best place", layout.cg_mm, layout.cg_height_mm),
        ("neutral point of wing and tail", layout.neutral_mm, None),
        ("pack range, front", balance.pack_tray_from_mm, balance.pack_height_mm),
        ("pack range, rear", balance.pack_tray_to_mm, balance.pack_height_mm),
        ("propeller disc", geometry.propeller_mm, None if line is None else line.height_mm),
        ("wing, leading edge of the mean chord", geometry.leading_edge_mm, None),
        ("wing, trailing edge of the mean chord", geometry.leading_edge_mm + geometry.chord_mm, None),
    ]
    if tail is not None:
        rows.append(("tail, quarter chord", tail.position_mm, geometry.tail_height_mm))
    if layout.fin_mm is not None:
        rows.append(("fin, quarter chord", layout.controls.fin_position_mm, None))
    rows += [(f"{mass.number}: {mass.name}", mass.position_mm, mass.height_mm) for mass in layout.masses]
    return Table.of([
        {"what": what, "aft of the datum, mm": _mm(x), "above the level line, mm": _mm(z)} for what, x, z in rows
    ])  # fmt: skip


def _mm(length: float | None) -> str:
    return signed(float("nan") if length is None else length, 0)


def _masses(layout: Layout) -> Table:
    """Every mass with its place along the aircraft, and the sum of the masses with its centre."""
    masses = [mass for mass in layout.masses if np.isfinite(mass.mass_g)]
    whole = MassBuildUp(tuple(
        Item(name=mass.name, mass_g=mass.mass_g, position_mm=mass.position_mm) for mass in masses
    ))  # fmt: skip
    lines = [(str(mass.number), mass.name, mass.mass_g, mass.position_mm) for mass in layout.masses]
    lines.insert(len(masses), ("", "all-up", whole.mass_g, whole.position_mm))
    return Table.of([
        {"number": number, "what": name, "mass, g": signed(grams), "aft of the datum, mm": _mm(x)}
        for number, name, grams, x in lines
    ])  # fmt: skip
