"""Why rows leave a constant open, and the row that would settle it: found by adding it, not by rule."""

from collections.abc import Mapping

import attrs
import numpy as np

from propmatch.bench.logfit import Undetermined
from propmatch.bench.logged import Bench
from propmatch.bench.rowmodel import AT_REST_RPM, PACK_LINE, PackPrior, Row
from propmatch.bench.solution import Solution, evaluated
from propmatch.bench.spreads import PACK, SLOPE, Spread, spreads_of
from propmatch.records.fields import declared, replace
from propmatch.records.parts import Propeller

__all__ = ["left_open"]

ONE_LOAD = 1.3
"""Currents within this factor are one load."""
SMALLER = 0.8
"""Diameter of the propeller that is proposed, over the smallest one's."""
MORE_VOLTS = 1.4
"""Volts of the other pack that is proposed, over the first one's."""
NO_AMPS, MORE_AMPS = "no row has amps: speed, sag and friction cannot be told apart", "read amps too"
NO_ROW = "no single row settles it"


def _why(constant: str, bench: Bench) -> str:
    """Why the rows leave a constant open."""
    rows = [row for row in bench.rows if row.throttle]
    amps = [row.given["amps"] for row in rows if row.given.get("amps")]
    one_load = max(amps) < ONE_LOAD * min(amps)
    many = len(rows) > 1
    if constant in ("kv_rpm_per_v", "resistance_ohm"):
        if not any("rpm" in row.given for row in rows):
            return "no row has rpm: volts and amps alone cannot tell speed from sag"
        if one_load:
            said = "all rows are at one load" if many else "there is one row"
            return f"{said}: kV and resistance cannot be told apart"
        return "the loads of the rows differ too little to tell kV and resistance apart"
    if constant == "no_load_current_a":
        if any(row.propeller is None for row in rows):
            return "the current of the bare run is lost in the error of the ammeter"
        return "no row without a propeller: friction cannot be told from what the propeller takes"
    if constant == SLOPE:
        return "only rows of different speed at one current show it"
    if one_load:
        return "the pack gives one current: its volts and its sag cannot be told apart"
    return "the pack's sag is lost in how far it runs down from row to row"


_READ = "volts, amps and rpm"
_SIZES = tuple(rule for rule in declared(Propeller) if rule.name in ("diameter_in", "pitch_in"))
_UNREAD = dict.fromkeys(("volts", "amps", "rpm"), 1.0)


def _proposals(bench: Bench) -> list[tuple[str, Row, PackPrior | None]]:
    """Rows that a builder can add: words, the row, and its pack where that is another one."""
    first = next((row for row in bench.rows if row.throttle), bench.rows[0])
    sized = [row.propeller for row in bench.rows if row.propeller is not None]
    like = Row(given=_UNREAD, propeller=None, pack=first.pack, at=sum(row.pack == first.pack for row in bench.rows))
    found: list[tuple[str, Row, PackPrior | None]] = [
        (f"add a bare run: full throttle without propeller, {_READ}", like, None)
    ]
    if sized:
        least = min(sized, key=lambda each: each.diameter_in)
        size = {rule.name: SMALLER * getattr(least, rule.name) for rule in _SIZES}
        if all(size[rule.name] >= rule.ge for rule in _SIZES):
            unsure = replace(least.source, uncertainty=None)
            smaller = replace(least, **size, name="a smaller propeller", source=unsure)
            text = f"add a row with a smaller propeller, about {smaller.diameter_in:.1f} in, at full throttle: {_READ}"
            found.append((text, attrs.evolve(like, propeller=smaller), None))
    if first.pack is not None:
        rest = attrs.evolve(like, given={"volts": 1.0}, throttle=0.0)
        found.append(("add the volts of the pack at rest, throttle 0", rest, None))
        prior = bench.packs[first.pack]
        more = attrs.evolve(prior, open_circuit_v=MORE_VOLTS * prior.open_circuit_v)
        other = attrs.evolve(like, propeller=first.propeller, pack=len(bench.packs), at=0)
        same = "of the same propeller" if sized else "without propeller"
        found.append((f"add a row {same} on a pack of more cells: {_READ}", other, more))
    return found


def _with_row(bench: Bench, solution: Solution, row: Row, more: PackPrior | None) -> Solution:
    """The same answer, had a row been read that says what everything else says."""
    packs = bench.packs if more is None else (*bench.packs, more)
    volts = float(np.median([each.given["volts"] for each in bench.rows if "volts" in each.given] or [10.0]))
    asked = attrs.evolve(row, given={**row.given, "volts": volts if more is None else 0.95 * more.open_circuit_v})
    model = bench.model((*bench.rows, asked), packs)
    x = model.carried(solution.x, solution.model)
    read = model.readings(x)
    says = {"volts": "volts" if row.throttle else PACK_LINE}
    given = {key: max(float(read[says.get(key, key)][-1]), 1e-3) for key in asked.given}
    if not row.throttle:
        given["rpm"] = AT_REST_RPM
    return evaluated(model.had_last(given), x)


def left_open(
    bench: Bench, solution: Solution, spreads: Mapping[str, Spread], at_rad_s: float
) -> tuple[Undetermined, ...]:
    """What the rows leave open, each with the first row that would settle it."""
    open_ = [key for key, each in spreads.items() if not each.determined]
    if not any("amps" in row.given for row in bench.rows if row.throttle):
        return tuple(Undetermined(_subject(key, bench), f"{NO_AMPS}; {MORE_AMPS}", MORE_AMPS) for key in open_)
    settles: dict[str, str] = {}
    for words, row, more in _proposals(bench):
        left = [key for key in open_ if key not in settles and (key != SLOPE or more is not None)]
        if left:
            after = spreads_of(_with_row(bench, solution, row, more), at_rad_s)
            settles |= {key: words for key in left if after[key].determined}
    made = []
    for key in open_:
        settled = settles.get(key, _several(bench, packs=key == SLOPE))
        why = _why(key.partition(" ")[0], bench)
        made.append(Undetermined(_subject(key, bench), f"{why}; {settled}", settles.get(key, "")))
    return tuple(made)


def _several(bench: Bench, packs: bool) -> str:
    """Rows that would settle it together, without those that the log has."""
    bare = any(row.propeller is None and row.throttle for row in bench.rows)
    sizes = len({row.propeller.diameter_in for row in bench.rows if row.propeller is not None})
    more = (
        "propellers of other sizes"
        if packs
        else "another propeller of different size"
        if sizes
        else "two propellers of different size"
    )
    each = ", each on packs of two cell counts" if packs else ""
    if bare and sizes > 1 and not packs:
        return f"{NO_ROW}: read the same rows again with finer instruments"
    return f"{NO_ROW}: add {'' if bare else 'a bare run and '}{more}{each}"


def _subject(key: str, bench: Bench) -> str:
    name, _, pack = key.partition(" ")
    return f"{PACK[name]} of {bench.pack_names[int(pack)]}" if name in PACK else name
