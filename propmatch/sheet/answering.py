"""The part of the sheet that answers: tables of the engine, and the words for what a script reads from them.

Numbers are held as whole steps, differences of differences along each axis, so that what is smooth takes little room.
The draws of the sheet's own state are held as whole steps of their margin that do not straddle the limit: there the
chances are those of the engine, elsewhere the draws move with the margin and the spread.
"""

import json
import math
import zlib
from collections.abc import Iterator, Sequence
from typing import Any

import attrs
import numpy as np

from propmatch.checks.chances import INTERVAL
from propmatch.checks.checkrules import CHECKS
from propmatch.checks.limits import Check
from propmatch.checks.rule import margins
from propmatch.columns import Column
from propmatch.models.arrays import Floats, Index
from propmatch.questions.publishing import site_c
from propmatch.questions.whatif import Axes, Row, WhatIf, number_columns, what_if
from propmatch.records.fields import replace
from propmatch.records.parts import PowerTrain
from propmatch.sheet.case import Answering, Case, Control, TrainPanel
from propmatch.words.answerwords import NO_FLIGHT, SHORT, SHORT_MINUTES
from propmatch.words.chancewords import NO_ANSWER, RANGES
from propmatch.words.checkwords import DANGER, bound_text, check_name, joined, parts_text, value_form
from propmatch.words.shown import RANGE_STEPS, Form, Shown
from propmatch.words.verdictwords import verdict_table

__all__ = ["answering", "table_data"]

_PACKS, _ROOM = 3, 22_500
"""Packs of each power train, its own first, and bytes that the tables may take compressed: else there are fewer."""
_FINE = 4
"""Digits of a number that are kept behind its first."""
_ORDERS = (1, 1, 3, 3)
"""How often differences are taken along packs, temperatures, bare masses and heights."""
_BIN_SD = 0.25
"""Steps of the draws over their standard deviation."""
_SIGNS = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_"
_PLACE = {name: at for at, name in enumerate(CHECKS)}
"""Where each check stands among those that fail."""
_FAR_SD = 4.0
"""A check that stays so many standard deviations inside its limit in every state is kept by every build."""


def answering(case: Case) -> Answering:
    """The section of a sheet: its own power train, and the best of the next cell count."""
    options = list(_options(case))
    heaviest = max(each.variant.airframe.bare_mass_g for each in case.resolved.settings)
    found = list(what_if(case.setting, options, heaviest_g=heaviest))
    axes, shown, data = found[0].axes, case.shown, ""
    for most in range(_PACKS, 0, -1):
        found, options = [each.first(most) for each in found], [each[:most] for each in options]
        data = _json(_data(found, case, controls := _controls(case, axes)))
        if len(zlib.compress(data.encode(), 9)) <= _ROOM:
            break
    text = (
        "Move a slider, type a number or fit another pack: verdict and numbers follow, in this file alone.",
        "They are read between states that propmatch worked out: numbers within 0.2 % of it as a rule, chances within "
        f"1 of 100, at worst a few. Outside the ranges nothing is said. {RANGES}",
        *_left_out(case, options),
        "Flight times are steady ones. Timer and charger above hold for the state of the sheet alone.",
    )
    return Answering(
        title="And with another mass, field, day or pack?", text=text, controls=controls,
        panels=tuple(
            TrainPanel(
                cells=f"{each[0].pack.cells_series}S", parts=parts_text(each[0], pack=False),
                title=f"{each[0].pack.cells_series}S: {_whose(each[0], case)}",
                packs=tuple(f"{train.pack.name}, {shown.mass_text(train.pack.mass_g)}" for train in each),
            )
            for each in options
        ),
        options=tuple(map(tuple, options)), data=data,
    )  # fmt: skip


def _whose(train: PowerTrain, case: Case) -> str:
    return "the parts of this sheet" if train is case.train else "the best of the catalogue"


def _controls(case: Case, axes: Axes) -> tuple[Control, ...]:
    air_c, shown = axes.temperature_c[np.isfinite(axes.temperature_c)], case.shown
    unstated = "not stated, as in the brief: standard air" if math.isnan(axes.own[2]) else ""
    return (
        _control("mass", "bare mass, all but the power train", axes.bare_mass_g, axes.own[0], shown.form("mass"), 1.0),
        _control("height", "field height", axes.altitude_m, axes.own[1], shown.form("m", 0), 10.0),
        _control("air", _air_label(case), air_c, site_c(case.setting), Form(1.0, "°C", ((0.0, 0),)), 1.0, unstated),
    )


def _options(case: Case) -> Iterator[list[PowerTrain]]:
    """The sheet's own power train and the best of another cell count, each with the packs that are recommended."""
    own = case.train
    by_cells = case.shortlist.by_cells if case.shortlist is not None else {}
    others = [group[0].train for count, group in by_cells.items() if group and count != own.pack.cells_series]
    listed = [each.train for group in by_cells.values() for each in group]
    for train in sorted([own, *others[:1]], key=lambda train: train.pack.cells_series):
        envelope = case.envelope.cells.get(train.pack.cells_series)
        alike = [each.pack for each in listed if _same_but_pack(each, train)]
        if envelope is not None and envelope.holds and _same_but_pack(envelope.train, train):
            alike += [choice.part for choice in envelope.packs if choice.fits]
        packs = {pack.id: pack for pack in alike if pack.id != train.pack.id}
        yield [train, *(replace(train, pack=pack) for pack in list(packs.values())[: _PACKS - 1])]


def _same_but_pack(one: PowerTrain, other: PowerTrain) -> bool:
    return one.pack.cells_series == other.pack.cells_series and all(
        getattr(one, kind).id == getattr(other, kind).id for kind in ("motor", "propeller", "controller")
    )


def _left_out(case: Case, options: Sequence[Sequence[PowerTrain]]) -> list[str]:
    """Of which cell counts there is nothing to answer with."""
    has = {each[0].pack.cells_series for each in options}
    missing = [count for count in case.brief.limits.cells or (2, 3) if count not in has]
    more = case.shortlist.by_cells if case.shortlist is not None else {}
    none = [f"{count}S" for count in missing if not more.get(count)]
    return [f"Nothing here for {joined(none)}: see 'Cell counts' above."] if none else []


def _air_label(case: Case) -> str:
    cells = case.brief.site.pack_temperature_c
    return "air, the cells as warm" if cells is None else f"air, the cells at {cells:g} °C"


def _control(name: str, label: str, axis: Floats, own: float, form: Form, step: float, unstated: str = "") -> Control:
    """In steps of the shown unit, within the axis."""
    step = step if form.per == 1.0 else {"oz": 0.1, "ft": 50.0}.get(form.unit, step)
    low, high = (math.ceil(axis[0] / form.per / step - 1e-9), math.floor(axis[-1] / form.per / step + 1e-9))
    return Control(
        name=name, label=label, unit=form.unit, per=form.per, low=_short(low * step), high=_short(high * step),
        step=step, value=_short(own / form.per), unstated=unstated,
    )  # fmt: skip


def _short(value: float) -> str:
    return f"{value:.2f}".rstrip("0").rstrip(".")


# ---------------------------------------------------------------- as data


def _data(found: Sequence[WhatIf], case: Case, controls: Sequence[Control]) -> dict[str, Any]:
    axes, sure = found[0].axes, found[0].sure
    own_c = None if math.isnan(axes.own[2]) else axes.own[2]
    wish, rate = sure.drawn.asked
    return {
        "axes": [axes.temperature_c, axes.bare_mass_g, axes.altitude_m], "own": [own_c, *axes.own[:2]],
        "coarse": axes.coarse, "per": [each.per for each in controls], "orders": _ORDERS,
        "cells_c": None if math.isnan(axes.cells_c) else axes.cells_c,
        "usual_c": case.setting.brief.site.pack_temperature_c,
        "asked": [wish, rate], "bare": _bare_draws(found), "reached": found[0].reached_g, "tail": (1 - INTERVAL) / 2,
        "draws": sure.drawn.draws.count, "signs": _SIGNS,
        "verdict": verdict_table((wish, rate), sure.drawn.draws.count), "range": RANGE_STEPS,
        "words": {
            "missing": NO_ANSWER, "no_flight": NO_FLIGHT, "short": SHORT, "danger": DANGER, "to": " to ",
            "chosen": "Chosen: {}.",
            "outside": "Outside what was worked out ({} {} to {} {}): no answer.",
        },
        "short_minutes": SHORT_MINUTES, "trains": [_train_data(each, case.shown) for each in found],
    }  # fmt: skip


def _train_data(found: WhatIf, shown: Shown) -> dict[str, Any]:
    judged, names = found.judged, {column.check or column.name: column for column in number_columns()}
    keys = [*names, *(name for name in judged if name not in names)]
    packed = _Draws()
    return {
        "rows": [
            {
                **({"number": [names[key].label, _form(_column_form(names[key], shown))]} if key in names else {}),
                **({"check": _check_data(row.check, row, found, shown, packed)} if key in judged else {}),
                "value": table_data(row.alone[:, None, :, None] if _by_mass(row) else row.value),
                "ends": [row.low, row.high],
                **({} if math.isnan(row.low) and not row.margins.size else {"spread": row.spread}),
            }
            for key in keys for row in [found.rows[key]]
        ],
    }  # fmt: skip


def _column_form(column: Column, shown: Shown) -> Form:
    return shown.form(column.kind, column.digits)


def _form(form: Form) -> list[Any]:
    return [form.per, form.unit, form.steps]


def _check_data(check: Check | None, row: Row, found: WhatIf, shown: Shown, packed: "_Draws") -> dict[str, Any]:
    assert check is not None
    at = _anywhere(check, row)
    joint = check.excluding and check.name in found.sure.drawn.judged
    limits = row.limit[np.isfinite(row.limit)]
    return {
        "name": check_name(check.name), "place": _PLACE.get(check.name, len(_PLACE)),
        "form": _form(value_form(check.unit, shown)),
        "least": check.least,
        "limit": float(limits[0]) if np.ptp(limits) == 0 else table_data(row.limit), "bound": bound_text(at, shown),
        "excluding": check.excluding,
        "asked": int(found.sure.wanted(check.name) != found.sure.drawn.asked[0]), "joint": joint,
        **({"danger": True} if CHECKS[check.name].danger else {}),
        **({} if math.isinf(row.below_c) else {"below_c": row.below_c}),
        **({"by_mass": True} if _by_mass(row) else packed.of(row, joint)),
    }  # fmt: skip


def _anywhere(check: Check, row: Row) -> Check:
    """The check with a limit, where its own state has none."""
    return check if math.isfinite(check.limit) else attrs.evolve(check, limit=float(np.nanmax(row.limit)))


def _by_mass(row: Row) -> bool:
    """Whether a build of any state is such that the check, which hangs on the bare mass alone, changes."""
    return bool(row.alone.size and np.ptp(np.nan_to_num(row.alone)) > 0)


def _bare_draws(found: Sequence[WhatIf]) -> dict[str, Any] | None:
    """Logarithm of what multiplies the bare mass in each draw, in two signs; None where no check needs it."""
    if not any(_by_mass(row) for each in found for row in each.judged.values()):
        return None
    moved = found[0].sure.of(found[0].sure.drawn.draws.moved("bare_mass"))
    base = len(_SIGNS)
    step = max(float(np.max(np.abs(moved))), 1e-12) / (base**2 / 2 - base)
    high, low = np.divmod(np.round(moved / step).astype(np.int64) + base // 2, base)
    pairs = zip(high.tolist(), low.tolist(), strict=True)
    return {"step": step, "draws": "".join(_SIGNS[one + base // 2] + _SIGNS[other] for one, other in pairs)}


class _Draws:
    """Draws of checks as signs; one that runs beside another is held as its difference from it."""

    def __init__(self) -> None:
        self.kept: list[Index] = []

    def of(self, row: Row, joint: bool) -> dict[str, Any]:
        """Step, steps up to the middle one, and the draws; sorted where they count alone; nothing for what all keep."""
        if not row.margins.size:
            return {}
        spread = float(np.std(np.clip(row.margins, *np.quantile(row.margins, (0.01, 0.99)))))
        least = float(np.nanmin(np.nan_to_num(_margin_table(row), nan=-1.0)))
        if not spread > 0 or least > _FAR_SD * spread * max(float(np.max(each)) for each in row.spread):
            return {}
        step = _BIN_SD * spread
        middle = math.floor(float(np.median(row.margins)) / step)
        half = len(_SIGNS) // 2
        steps = np.clip(np.floor(row.margins / step).astype(np.int64) - middle, -half, half - 1)
        base = self._base(steps) if joint else None
        held = np.sort(steps) if not joint else steps if base is None else steps - self.kept[base]
        if joint:
            self.kept.append(steps)
        signs = "".join(_SIGNS[each + half] for each in held.tolist())
        return {"step": step, "middle": middle, "draws": signs, **({} if base is None else {"base": base})}

    def _base(self, steps: Index) -> int | None:
        """What stays nearest to these; None where none does."""
        apart = [float(np.std(steps - each)) for each in self.kept]
        near = min(range(len(apart)), key=apart.__getitem__, default=None)
        if near is None or apart[near] > 0.5 * float(np.std(steps)):
            return None
        return near if np.abs(steps - self.kept[near]).max() < len(_SIGNS) // 2 else None


def _margin_table(row: Row) -> Floats:
    assert row.check is not None
    return margins(row.value, np.where(np.isnan(row.limit), np.nanmax(row.limit), row.limit), least=row.check.least)


def table_data(values: Floats) -> Any:
    """A table (P, T, M, H) as one number where all are the same, else as step, differences and gaps."""
    sound = np.isfinite(values)
    if not sound.any():
        return None
    if sound.all() and np.ptp(values) == 0:
        return float(values.flat[0])
    largest = float(np.max(np.abs(values[sound])))
    step = 10.0 ** (math.floor(math.log10(largest)) - _FINE) if largest > 0 else 1.0
    filled = np.where(sound, values, np.mean(values[sound]))
    steps = np.round(filled / step).astype(np.int64)
    for axis, times in enumerate(_ORDERS):
        moved = np.moveaxis(steps, axis, 0)
        for order in range(times):
            moved[order + 1 :] -= moved[order:-1].copy()
    gaps = np.flatnonzero(~sound)
    return {"shape": values.shape, "step": step, "steps": steps.ravel(), **({"gaps": gaps} if gaps.size else {})}


def _json(data: Any) -> str:
    """Without room between, and without a sign that ends a script."""

    def plain(value: Any) -> Any:
        if isinstance(value, np.ndarray):
            return plain(value.tolist())
        if isinstance(value, dict):
            return {key: plain(each) for key, each in value.items()}
        if isinstance(value, list | tuple):
            return [plain(each) for each in value]
        if isinstance(value, float):
            return None if not math.isfinite(value) else int(value) if value == int(value) else float(f"{value:.7g}")
        return value

    return json.dumps(plain(data), separators=(",", ":")).replace("<", "\\u003c")
