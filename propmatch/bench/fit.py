"""What bench readings say about a motor, its propellers and packs, and what they leave open.

The most probable constants given rows, instruments and what was known before (:mod:`propmatch.bench.rowmodel`), by
Levenberg-Marquardt with residuals of Student's t, and their 90 % intervals exp(estimate +- 1.645 sd) from the curvature
there (Laplace). A constant is undetermined, and gets no number, where its spread would hardly be smaller than before if
nothing had been known of motor and packs: then a number would only repeat what was expected.
"""

import math
from collections.abc import Mapping, Sequence
from functools import partial
from typing import TYPE_CHECKING, Any

import attrs
import numpy as np

from propmatch.bench.leftopen import left_open
from propmatch.bench.logfit import Constant, FittedRow, LogFit
from propmatch.bench.logged import Bench, bench_of
from propmatch.bench.readings import Reading, read_log
from propmatch.bench.rowmodel import PACK_LINE, QUANTITIES
from propmatch.bench.solution import Solution, solved
from propmatch.bench.spreads import MOTOR, PACK, blades_of, speed_of, spreads_of
from propmatch.bench.suspects import Suspects, suspects_of
from propmatch.models import motor as law
from propmatch.models.air import Air
from propmatch.records.estimates import completed
from propmatch.records.motorfit import CONSTANTS
from propmatch.records.parts import Motor, Pack, Propeller
from propmatch.units import KV_TO_K, RPM_RAD_S

if TYPE_CHECKING:
    from propmatch.catalogue.catalogue import Catalogue

__all__ = ["fit_log"]

WARM_SD = 0.03
"""Of ln R of a winding that got hot over the rows, on top."""


def fit_log(
    log: Any,
    *,
    motor: Motor | str | None = None,
    propellers: Mapping[str, Propeller] | Propeller | None = None,
    packs: Pack | Sequence[Pack] = (),
    instruments: str | Sequence[str] = (),
    count: int = 1,
    air: Air | None = None,
    catalogue: "Catalogue | None" = None,
) -> LogFit:
    """Fit motor, propellers and packs to a log of bench readings.

    Parameters
    ----------
    log : path, mapping, sequence of mappings, or pandas.DataFrame
        Rows with any of motor, label_kv, mass_g, cells, propeller, throttle, volts, amps, rpm, thrust_gf, torque_nm,
        charge_mah, seconds, temperature_c (:class:`propmatch.bench.readings.Reading`).
    motor : Motor or str, optional
        What is known of it, or its name in the log; default the one motor of the catalogue that the log names, else
        what the log says (label_kv, mass_g), and the motor law for the rest. Of a log with several motors, those rows
        are taken that bear its name.
    propellers : Propeller or mapping of name to Propeller, optional
        Those that the log names; one alone serves rows that name none. Others are typed (6x4) or of the catalogue.
    packs : Pack or sequence of Pack, optional
        Told apart by their cells.
    instruments : str or sequence of str, optional
        Classes of :mod:`propmatch.bench.instruments`, such as "clamp, kitchen scale".
    count : int
        Motors on the pack; amps and thrust are those of all.
    air : Air, optional
        Default the standard air at sea level.
    catalogue : Catalogue, optional
        Loaded where motor or propeller need it.

    Returns
    -------
    LogFit

    Raises
    ------
    InputFaults
        Nothing can be read or fitted; every fault at once.
    """
    bench = bench_of(
        read_log(log), motor=motor, propellers=propellers,
        packs=(packs,) if isinstance(packs, Pack) else tuple(packs), instruments=instruments, count=count,
        density_kg_m3=float((air or Air.standard()).density_kg_m3), catalogue=catalogue,
    )  # fmt: skip
    solution = solved(bench.model())
    at_bare = bench.at_bare_row(solution.readings["rpm"])
    if at_bare is not bench:
        bench, solution = at_bare, solved(at_bare.model())
    return _answer(suspects_of(bench, solution))


def _answer(found: Suspects) -> LogFit:
    bench, solution = found.bench, found.solution
    at = speed_of(solution)
    spreads = spreads_of(solution, at)
    warm = WARM_SD if found.hot else 0.0
    if warm:
        ohm = spreads["resistance_ohm"]
        spreads["resistance_ohm"] = attrs.evolve(ohm, sd=math.hypot(ohm.sd, warm))
    believed = {} if found.contradicted else spreads
    said = {key: Constant.of(each.ln, each.sd) for key, each in believed.items() if each.determined}
    packs: dict[str, dict[str, Constant]] = {name: {} for name in bench.pack_names}
    for key, each in said.items():
        name, _, number = key.partition(" ")
        if name in PACK:
            packs[bench.pack_names[int(number)]][PACK[name]] = each
    model, theta = solution.model, solution.theta
    kv, r, b, _, i0 = np.exp(theta[: len(CONSTANTS)])
    ohm_there = law.resistance_at_speed(r, b, model.reference)
    blades = {
        name: {key: Constant.of(each.ln, each.sd) for key, each in both.items() if each.determined and believed}
        for name, both in blades_of(solution).items()
    }
    by_law = [each for each in completed(bench.motor)[1] if each.field in CONSTANTS and each.field not in said]
    assumed = [each for each in bench.assumptions if each.field not in packs.get(each.subject, ())]
    return LogFit(
        where=bench.where, known=bench.motor,
        constants={key: said[key] for key in MOTOR if key in said},
        at_rpm=at / RPM_RAD_S, no_load_rpm=model.reference / RPM_RAD_S,
        no_load_voltage_v=float(law.terminal_voltage_v(model.reference, i0, KV_TO_K / kv, ohm_there)),
        packs=packs, propellers=blades,
        ask=partial(left_open, bench, solution, believed, at),
        rows=_rows(bench, solution, found),
        faults=(*found.faults, *bench.faults), assumptions=(*assumed, *by_law),
        instruments=bench.instruments, names=model.names, ln=theta, covariance=solution.covariance(),
        contradicted=found.contradicted, chance=solution.chance,
        expected=bench.prior.motor, tables=model.propellers, warm_sd=warm,
    )  # fmt: skip


def _rows(bench: Bench, solution: Solution, found: Suspects) -> tuple[FittedRow, ...]:
    """Every row of the log in its order, set aside or not."""
    worst = np.zeros(len(bench.rows))
    for (row, _), off in zip(solution.model.places, solution.r[solution.model.priors :], strict=True):
        worst[row] = off if abs(off) > abs(worst[row]) else worst[row]
    made = [_row(each, used=False, remark="set aside, see the faults") for each in bench.aside]
    for at, reading in enumerate(bench.readings):
        fits: dict[str, float] = {}
        if not found.contradicted:
            says = {"volts": PACK_LINE} if reading.throttle == 0.0 else {q: q for q in QUANTITIES}
            fits = {
                f"fit_{q}": float(solution.readings[of][at])
                for q, of in says.items()
                if getattr(reading, q) is not None
            }
            fits["off_sd"] = float(worst[at])
        made.append(_row(reading, **fits, remark=found.remarks.get(at, "")))
    return tuple(sorted(made, key=lambda each: each.line))


def _row(reading: Reading, **more: Any) -> FittedRow:
    given = {name: getattr(reading, name) for name in ("line", "propeller", "cells", *QUANTITIES)}
    return FittedRow(**given, throttle=1.0 if reading.throttle is None else reading.throttle, **more)
