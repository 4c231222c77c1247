"""The same aircraft with another cell count, and which other parts will do."""

from collections.abc import Callable
from typing import Any

from propmatch.catalogue.catalogue import Catalogue
from propmatch.checks.setting import ResolvedBrief
from propmatch.questions.cells import CellCase, CellComparison
from propmatch.questions.envelope import parts_envelope
from propmatch.records.parts import PowerTrain
from propmatch.search.candidate import columns
from propmatch.sheet.case import Case
from propmatch.sheet.picture import Table
from propmatch.sheet.ranges import KEPT, ranged_values
from propmatch.words.chancewords import of_hundred, ranged
from propmatch.words.checkwords import NO_CHANGE, check_name, limit_sentences
from propmatch.words.envelopewords import envelope_parts
from propmatch.words.shown import Shown, signed

__all__ = ["cells_table", "cells_text", "envelope_words", "substitutes"]

_MOST = 5


def cells_table(cases: list[CellCase], shown: Shown) -> Table:
    """Cell counts side by side."""

    def ends(case: CellCase, name: str, text: str, kind: str = "") -> str:
        return ranged(text, case.ends[f"{name}_low"], case.ends[f"{name}_high"], kind, shown)

    lines: list[tuple[str, Callable[[CellCase], str]]] = [
        ("pack", lambda c: c.pack.name),
        ("all-up mass", lambda c: shown.mass_text(c.all_up_mass_g)),
        ("flight time", lambda c: ends(c, "flight_minutes", f"{signed(c.flight_minutes)} min")),
        ("thrust to weight, half charge", lambda c: ends(c, "thrust_to_weight", signed(c.thrust_to_weight, 2))),
        ("static thrust, full pack",
         lambda c: ends(c, "thrust_static_n", shown.thrust_text(c.thrust_static_n), "thrust")),
        ("top level speed, half charge",
         lambda c: ends(c, "top_speed_m_s", shown.speed_text(c.top_speed_m_s), "speed")),
        ("best climb, half charge", lambda c: ends(c, "climb_m_s", f"{signed(c.climb_m_s)} m/s")),
        ("propeller speed, full pack", lambda c: f"{signed(c.rpm_static, 0)} rpm"),
        ("motor current, full pack",
         lambda c: ends(c, "motor_current_static_a", f"{signed(c.motor_current_static_a)} A")),
        ("pack power, full pack", lambda c: f"{signed(c.pack_power_static_w, 0)} W"),
        ("heat in one motor, full pack", lambda c: f"{signed(c.motor_heat_static_w)} W"),
        *([("heat in the linear BEC, full pack", lambda c: f"{signed(c.servo_supply_heat_w)} W")]
          if any(c.servo_supply_heat_w > 0 for c in cases) else []),
        ("throttle in level flight", lambda c: f"{signed(100 * c.level_throttle, 0)} %"),
        ("limits missed on paper", lambda c: ", ".join(check_name(check.name) for check in c.failing) or "none"),
        (KEPT, lambda c: of_hundred(c.sure.chance_all_limits)),
    ]  # fmt: skip
    rows = [{"": label, **{f"{c.cells}S": say(c) for c in cases}} for label, say in lines]
    return Table.of(rows, caption="Same motor, propeller and controller; packs of the same energy")


def cells_text(found: CellComparison, cases: list[CellCase], shown: Shown) -> tuple[str, ...]:
    """What each count that misses a limit would take."""
    texts = []
    for case in cases:
        if not case.failing:
            texts.append(f"With {case.cells}S and everything else kept it stays inside every limit of brief and parts "
                         "on paper.")  # fmt: skip
            continue
        failing = ", ".join(check_name(check.name) for check in case.failing)
        text = f"With {case.cells}S and everything else kept it misses {failing}."
        remedy = found.remedies.get(case.cells)
        changes = [] if remedy is None else [
            each.changes
            for group in (remedy.propellers, remedy.controllers, remedy.motors, remedy.packs, remedy.pairs)
            for each in group[:1]
        ]  # fmt: skip
        if changes:
            words = [" and ".join(f"the {kind} {part.name}" for kind, part in each.items()) for each in changes]
            text += f" Changed to {', or to '.join(words)}, it meets the brief again."
        elif remedy is not None:
            text += f" {NO_CHANGE.removesuffix('.')} with {case.cells}S."
        texts.append(" ".join((text, *limit_sentences(case.limited, shown))))
    if any(case.origin == "scaled" for case in cases):
        texts.append("A pack called scaled is not in the catalogue: its mass and resistance follow from packs like it.")
    return tuple(texts)


def envelope_words(
    resolved: ResolvedBrief, catalogue: Catalogue, train: PowerTrain, shown: Shown
) -> tuple[tuple[str, ...], tuple[Table, ...]]:
    """The parts envelope: paragraphs, and a table for each cell count."""
    found = parts_envelope(resolved, catalogue, train)
    parts = [part for part in envelope_parts(found, shown, timer=False) if part.title not in ("Cautions", "Balance")]
    text = [" ".join(parts[0].sentences)]
    text += [f"{part.title.removeprefix('With ')}: {' '.join(part.sentences)}" for part in parts[1:] if part.sentences]
    tables = [Table(heads=("what", "may be"), rows=part.lines, caption=part.title) for part in parts if part.lines]
    return tuple(text), tuple(tables)


def _more(others: int) -> str:
    return f", or {others} other{'s' if others > 1 else ''}" if others else ""


def substitutes(case: Case) -> tuple[Table, ...]:
    """The next best combinations of each cell count, those that differ in the controller alone on one line."""
    tables, shown = [], case.shown
    assert case.shortlist is not None
    for cells, group in sorted(case.shortlist.by_cells.items()):
        alike: dict[tuple[str, str, str], list[Any]] = {}
        for candidate in group:
            alike.setdefault((candidate.motor_id, candidate.propeller_id, candidate.pack_id), []).append(candidate)
        lines = list(alike.values())[:_MOST]
        if not lines:
            continue
        firsts = [first for first, *_ in lines]
        sure = [case.sure_of(first.train) for first in firsts]
        said = {
            column.name: ranged_values(firsts, column, sure, shown) for column in columns()
            if column.name in ("flight_minutes", "thrust_to_weight")
        }  # fmt: skip
        rows = [
            {
                "motor": first.train.motor.name,
                "propeller": first.train.propeller.name,
                "pack": first.train.pack.name,
                "controller": first.train.controller.name + (_more(len(others))),
                "all-up mass": shown.mass_text(first.all_up_mass_g),
                "flight time": said["flight_minutes"][at],
                "thrust to weight": said["thrust_to_weight"][at],
                KEPT: of_hundred(sure[at].chance_all_limits),
            }
            for at, (first, *others) in enumerate(lines)
        ]
        tables.append(Table.of(rows, caption=f"{cells}S, best first"))
    return tuple(tables)
