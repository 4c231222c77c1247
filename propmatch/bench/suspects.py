"""What is wrong with a log as a whole or with single rows of it: named, with the reason, and left to the reader.

A log is suspect where rows and priors fit worse than chance allows (chi-square), or its kV lies far from the label's.
Then usual mistakes are tried in turn: the one without which everything fits is named. A single row is named by how much
everything improves without it, and its reading by how far it misses what all others say.
"""

import math
from collections.abc import Mapping
from typing import Any

import attrs
import numpy as np

from propmatch.bench.logged import UNKNOWN_KV_SD, Bench
from propmatch.bench.rowmodel import PACK_LINE, QUANTITIES
from propmatch.bench.solution import Solution, solved
from propmatch.faults import Fault
from propmatch.models.leastsquares import contradictions
from propmatch.models.motor import COPPER_PER_K
from propmatch.records.fields import declared, replace
from propmatch.records.parts import Motor
from propmatch.units import KV_TO_K, RPM_RAD_S

__all__ = ["Suspects", "suspects_of"]

SUSPECT = 0.003
"""A chance below this makes a log suspect."""
FAR_KV = 3.5
"""kV this many sd from the label's belongs to another motor."""
BETTER = 12.0
"""Chi-square that a mistake must explain."""
FACTORS = (*range(2, 13), 1.5, 2 / 3)
"""Of rpm: pole pairs counted as turns, and two blades for three or three for two."""
HOT_SD = 2.5
"""Rise of a resistance from the first repeat to the last, in its standard uncertainty."""
FLAT_VOLTS, LEAST_DROP_V, LEAST_OHM = 0.15, 0.05, 0.008
"""Sag below this share of the least one is none, where that is large enough to be seen; no pack and leads have less."""
_TWIN = ("are those of both motors of a twin, as is any thrust", "say that there are two: --motors 2")
_MOST_NAMED = 3
_WORDS = {"volts": "volts", "amps": "amps", "rpm": "rpm", "thrust_gf": "thrust", "torque_nm": "torque"}
_UNITS = {"volts": "V", "amps": "A", "rpm": "rpm", "thrust_gf": "gf", "torque_nm": "N m"}


@attrs.frozen(kw_only=True, eq=False)
class Suspects:
    """What is wrong.

    Attributes
    ----------
    bench, solution : Bench, Solution
        What the answer is to be made of: the label no longer believed, or the winding warm, where that is wrong.
    faults : tuple of Fault
    remarks : mapping of int to str
        Number of a fitted row to what is wrong with it.
    contradicted : bool
        Whether the log as a whole cannot be believed.
    hot : bool
        Whether the winding got hotter from repeat to repeat.
    """

    bench: Bench
    solution: Solution
    faults: tuple[Fault, ...] = ()
    remarks: Mapping[int, str] = attrs.field(factory=dict)
    contradicted: bool = False
    hot: bool = False


def suspects_of(bench: Bench, solution: Solution) -> Suspects:
    """Everything that is wrong with a log."""
    as_is = Suspects(bench=bench, solution=solution)
    if flat := _flat_volts(bench):
        return attrs.evolve(as_is, faults=tuple(flat), contradicted=True)
    warm = _warm(as_is)
    if _sound(bench, solution):
        return warm or attrs.evolve(as_is, faults=_of_a_twin(bench, solution))
    chance, found = _explained(as_is)
    if warm is not None and (chance < SUSPECT or len(found.remarks) > 1 or warm.solution.chance > chance):
        hot = (warm.solution.chance, warm) if _sound(bench, warm.solution) else _explained(warm)
        chance, found = hot if hot[0] >= SUSPECT else (chance, found)
    return found if chance >= SUSPECT else _unexplained(as_is)


def _sound(bench: Bench, solution: Solution) -> bool:
    return solution.chance >= SUSPECT and not _far_kv(bench, solution)


def _warm(as_is: Suspects) -> Suspects | None:
    """The same with a winding that got hot, where it did."""
    bench, faults = _warmed(as_is.bench, as_is.solution)
    return Suspects(bench=bench, solution=solved(bench.model()), faults=tuple(faults), hot=True) if faults else None


def _explained(as_is: Suspects) -> tuple[float, Suspects]:
    """The likeliest of rows that stand out, a label that is another motor's, and usual mistakes, behind its chance."""
    bench, solution = as_is.bench, as_is.solution
    tried: list[tuple[float, Suspects]] = []
    if solution.chance < SUSPECT:
        remarks, rest = _rows(bench, solution)
        said = tuple(Fault(f"{bench.where}:{bench.readings[at].line}", rule=text, kind="warning")
                     for at, text in remarks.items())  # fmt: skip
        tried.append((rest.chance, attrs.evolve(as_is, remarks=remarks, faults=(*said, *as_is.faults))))
    if bench.label_known:
        free = _unlabelled(bench)
        other = solved(free.model())
        if abs(math.log(bench.prior.motor.kv_rpm_per_v) - other.theta[0]) > FAR_KV * bench.prior.sd[0]:
            fault = _other_motor(bench, other)
            found = attrs.evolve(as_is, bench=free, solution=other, faults=(fault, *as_is.faults))
            tried.append((other.chance, found))
    mistake, chance = _mistake(bench, solution)
    if mistake is not None:
        tried.append((chance, attrs.evolve(as_is, faults=(mistake, *as_is.faults), contradicted=True)))
    return max(tried, key=lambda each: each[0], default=(0.0, as_is))


def _unexplained(as_is: Suspects) -> Suspects:
    """Rows of two motors, or rows that contradict each other."""
    fault = _mixed(as_is.bench)
    if fault is None:
        rule = "the rows contradict each other, and no single row or usual mistake explains it"
        fault = Fault(as_is.bench.where, rule=rule, hint="repeat them with one motor, cold, at full throttle")
    return attrs.evolve(as_is, faults=(fault,), contradicted=True)


def _unlabelled(bench: Bench) -> Bench:
    """The same with a label that says little."""
    return attrs.evolve(bench, prior=attrs.evolve(bench.prior, sd=(UNKNOWN_KV_SD, *bench.prior.sd[1:])))


# ---------------------------------------------------------------- single rows


def _gain_without(solution: Solution, row: int) -> float:
    """How much chi-square falls when a row is left out."""
    j, priors = solution.plain_jacobian, solution.model.priors
    mine = [priors + at for at, (where, q) in enumerate(solution.model.places) if where == row and q != PACK_LINE]
    rest = np.eye(len(mine)) - j[mine] @ np.linalg.solve(j.T @ j, j[mine].T)
    r = solution.plain_r[mine]
    return float(r @ np.linalg.lstsq(rest, r, rcond=1e-6)[0])


def _rows(bench: Bench, solution: Solution) -> tuple[dict[int, str], Solution]:
    """The rows without which the others go together, each with its reason; what is left."""
    left = list(range(len(bench.rows)))
    named: dict[int, str] = {}
    while solution.chance < SUSPECT and len(left) > 2 and len(named) < min(_MOST_NAMED, len(bench.rows) // 3 + 1):
        gains = [_gain_without(solution, at) for at in range(len(left))]
        worst = int(np.argmax(gains))
        named[left[worst]] = _reason(solution, worst)
        del left[worst]
        solution = solved(bench.model([bench.rows[at] for at in left]))
    return named, solution


def _reason(solution: Solution, row: int) -> str:
    """Which reading of a row misses most what all the others say."""
    off, sigmas = contradictions(solution.plain_r, solution.plain_jacobian)
    model, priors = solution.model, solution.model.priors
    mine = [(priors + at, q) for at, (where, q) in enumerate(model.places) if where == row and q != PACK_LINE]
    at, quantity = max(mine, key=lambda each: abs(sigmas[each[0]]))
    order = QUANTITIES.index(quantity)
    given = model.given[order, row]
    expected = given + off[at] * model.sd[order, row]
    unit = _UNITS[quantity]
    if expected <= 0:
        return f"{_WORDS[quantity]} cannot go with all the other readings"
    digits = 0 if quantity in ("rpm", "thrust_gf") else 2
    share = given / expected - 1.0
    far = f"{100 * abs(share):.0f} %" if abs(share) > 0.02 else f"{abs(given - expected):.{digits}f} {unit}"
    return (
        f"{_WORDS[quantity]} {given:.{digits}f} {unit} are {far} {'above' if share > 0 else 'below'} the "
        f"{expected:.{digits}f} {unit} that all the other readings say"
    )


# ---------------------------------------------------------------- mistakes of a whole log


def _mistake(bench: Bench, solution: Solution) -> tuple[Fault | None, float]:
    """The usual mistake without which everything fits best, and the chance of that."""
    tried: list[tuple[float, float, Fault]] = []

    def attempt(corrected: Bench, rule: str, hint: str, key: str) -> None:
        found = solved(corrected.model())
        tried.append((found.chance, -found.chi_square, Fault(bench.where, key, rule=rule, hint=hint)))

    for factor in _rpm_factors(bench):
        attempt(_slower(bench, factor), *_rpm_words(factor), "rpm")
    if any("amps" in row.given for row in bench.rows):
        of_one = "are half of what fits: those of one motor of a twin are written for both"
        both = "are twice what fits: those of both motors of a twin are written for one"
        attempt(_times(bench, "amps", 2.0), of_one, "write the amps of both motors, or fit one motor", "amps")
        attempt(_times(bench, "amps", 0.5), both, "say that there are two motors, or write the amps of one", "amps")
    if bench.count == 1 and any("amps" in row.given for row in bench.rows):
        attempt(attrs.evolve(bench, count=2), *_TWIN, "amps")
    chance, negative, fault = max(tried, key=lambda each: each[:2], default=(0.0, -math.inf, None))
    return (fault, chance) if BETTER - negative < solution.chi_square else (None, 0.0)


def _of_a_twin(bench: Bench, solution: Solution) -> tuple[Fault, ...]:
    """A warning where rows that go together go together better by far as those of both motors of a twin."""
    if bench.count > 1 or solution.chi_square < BETTER or not any("amps" in row.given for row in bench.rows):
        return ()
    rule, hint = _TWIN
    twin = solved(attrs.evolve(bench, count=2).model())
    if twin.chi_square + BETTER > solution.chi_square:
        return ()
    return (Fault(bench.where, "amps", rule=rule, hint=hint, kind="warning"),)


def _times(bench: Bench, quantity: str, factor: float) -> Bench:
    rows = [
        attrs.evolve(row, given={k: v * factor if k == quantity else v for k, v in row.given.items()})
        for row in bench.rows
    ]
    return attrs.evolve(bench, rows=tuple(rows))


def _slower(bench: Bench, factor: float) -> Bench:
    """rpm divided by a factor; a kV that was only guessed from it as well, and with it what goes with K."""
    slower, m = _times(bench, "rpm", 1.0 / factor), bench.prior.motor
    if bench.label_known:
        return slower
    powers = {"kv_rpm_per_v": -1, "resistance_ohm": 2, "resistance_slope_ohm_s": 2, "no_load_current_a": -1}
    changes = {
        rule.name: float(np.clip(getattr(m, rule.name) * factor ** powers[rule.name], rule.ge, rule.le))
        for rule in declared(Motor) if rule.name in powers and getattr(m, rule.name)
    }  # fmt: skip
    return attrs.evolve(slower, prior=attrs.evolve(bench.prior, motor=replace(m, **changes)))


def _rpm_factors(bench: Bench) -> list[float]:
    """Factors of rpm worth trying: those near what kV, volts and rpm say."""
    ratios = []
    for row in bench.rows:
        if row.throttle and row.given.get("rpm") and row.given.get("volts"):
            free = bench.prior.motor.kv_rpm_per_v * row.given["volts"] * row.throttle / bench.prior.motor.gear_ratio
            ratios.append(row.given["rpm"] / free)
    if not ratios:
        return []
    if not bench.label_known:
        return [*map(float, FACTORS)]
    near = float(np.median(ratios))
    every = [*FACTORS, *(1.0 / each for each in FACTORS if each >= 2)]
    return sorted(every, key=lambda each: abs(math.log(each / near / 1.2)))[:4]


def _rpm_words(factor: float) -> tuple[str, str]:
    if factor in (1.5, 2 / 3):
        counted, real = (3, 2) if factor == 1.5 else (2, 3)
        return (f"is {factor:.3g} times what fits: the tachometer is set to {real} blades and counts {counted}",
                f"divide rpm by {factor:.3g}")  # fmt: skip
    if factor > 1:
        return (f"is {factor:.0f} times what fits: counted per pole pair, as of a motor of {2 * factor:.0f} poles",
                f"divide rpm by {factor:.0f}")  # fmt: skip
    part = 1.0 / factor
    return (
        f"is a {part:.0f}th of what fits: divided by the pole pairs or blades once too often",
        f"multiply rpm by {part:.0f}",
    )


def _mixed(bench: Bench) -> Fault | None:
    """The likeliest parting of a log into rows of one motor and, after them, rows of another."""
    rows, free = bench.rows, _unlabelled(bench)
    best: tuple[float, Fault] | None = None
    for at in range(2, len(rows) - 1):
        found = [solved(free.model(part)) for part in (rows[:at], rows[at:])]
        least = min(each.chance for each in found)
        kv = [math.exp(each.theta[0]) for each in found]
        if best is None or least > best[0]:
            first, last = bench.readings[at - 1].line, bench.readings[at].line
            rule = (
                f"the rows are of two motors: up to line {first} one of about {kv[0]:.0f} rpm/V, from line {last} one "
                f"of about {kv[1]:.0f} rpm/V"
            )
            best = (least, Fault(bench.where, rule=rule, hint="fit them one at a time, named in a column motor"))
    return best[1] if best is not None and best[0] > SUSPECT else None


def _far_kv(bench: Bench, solution: Solution) -> bool:
    return bench.label_known and abs(solution.x[0]) > FAR_KV


def _other_motor(bench: Bench, solution: Solution) -> Fault:
    found, said = math.exp(solution.theta[0]), bench.prior.motor.kv_rpm_per_v
    rule = (
        f"the rows are those of a motor of {found:.0f} rpm/V, but {said:.0f} was expected from what is printed: "
        "another motor, another winding, or another label"
    )
    return Fault(bench.where, "label_kv", bench.motor.kv_rpm_per_v, rule, "check which motor was measured", "warning")


def _flat_volts(bench: Bench) -> list[Fault]:
    """Packs whose volts do not fall with the current."""
    faults = []
    for at, (pack, name) in enumerate(zip(bench.packs, bench.pack_names, strict=True)):
        rows = [r for r in bench.rows if r.pack == at and r.throttle == 1.0 and {"volts", "amps"} <= set(r.given)]
        amps, volts = (np.array([row.given[q] for row in rows]) for q in ("amps", "volts"))
        if len(rows) < 2:
            continue
        least = max(pack.resistance_ohm * math.exp(-1.645 * pack.resistance_sd), LEAST_OHM)
        drop = least * float(np.ptp(amps))
        if drop > LEAST_DROP_V and float(np.ptp(volts)) < FLAT_VOLTS * drop:
            rule = (
                f"hardly change from {amps.min():.1f} to {amps.max():.1f} A, where {name} sags by {drop:.2f} V at "
                "least: the volts of the resting pack are written for those of the motor"
            )
            faults.append(Fault(bench.where, "volts", rule=rule, hint="read them at the ESC, under load"))
    return faults


def _warmed(bench: Bench, solution: Solution) -> tuple[Bench, list[Fault]]:
    """Repeats of a row whose resistance rises; the rows with how warm each is beside their mean."""
    groups: dict[Any, list[int]] = {}
    for at, row in enumerate(bench.rows):
        read = {"volts", "rpm"} <= set(row.given) and row.given.get("amps")
        if read and row.propeller is not None and row.throttle == 1.0:
            groups.setdefault((id(row.propeller), row.pack), []).append(at)
    model, fitted = solution.model, solution.readings["ohm"]
    k = KV_TO_K / math.exp(solution.theta[0])
    faults, share = [], np.full(len(bench.rows), np.nan)
    for rows in groups.values():
        volts, amps, rpm = model.given[:3, rows]
        w = rpm * RPM_RAD_S * model.motor.gear_ratio
        ohm = (volts - k * w) / (amps / bench.count)
        sd = math.sqrt(2.0) * model.sd[0, rows[0]] / (amps[0] / bench.count)
        rise = ohm[-1] - ohm[0]
        if rise > HOT_SD * sd and ohm[0] > 0 and np.all(np.diff(ohm) > -sd):
            share[rows] = ohm / ohm[0]
            lines = f"lines {bench.readings[rows[0]].line} to {bench.readings[rows[-1]].line}"
            rule = (
                f"the winding got hot: from repeat to repeat ({lines}) its resistance rises by "
                f"{100 * rise / fitted[rows[0]]:.0f} %; the resistance given is that of a warm motor"
            )
            faults.append(Fault(bench.where, rule=rule, hint="let it cool between rows, 20 s a row", kind="warning"))
    if not faults:
        return bench, []
    known = np.flatnonzero(np.isfinite(share))
    every = np.interp(np.arange(share.size), known, share[known])
    kelvin = (every / every.mean() - 1.0) / COPPER_PER_K
    warm = tuple(attrs.evolve(row, kelvin=float(k)) for row, k in zip(bench.rows, kelvin, strict=True))
    return attrs.evolve(bench, rows=warm), faults
