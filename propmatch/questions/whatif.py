"""Power trains at other bare masses, fields, days and with other packs: their numbers and checks on a grid of states.

All states are lanes of one call; how far single builds lie apart is drawn at a few of them. Between the points of the
grid bare mass and height are smooth; temperatures stand where the laws of the cells bend, so that between two of them
a straight line serves.
"""

from collections.abc import Iterator, Mapping, Sequence
from itertools import groupby, pairwise

import attrs
import numpy as np

from propmatch.checks.chances import SEED, Drawn, Sureness, drawn, intervals
from propmatch.checks.checkrules import CHECKS
from propmatch.checks.coldstart import COLD_C
from propmatch.checks.judged import judged, judged_trains
from propmatch.checks.limits import Check, check_of
from propmatch.checks.measures import TrainMeasures
from propmatch.checks.ratings import rating_lanes
from propmatch.checks.rule import margins
from propmatch.checks.setting import Setting
from propmatch.columns import Column, columns_of
from propmatch.models.air import Air
from propmatch.models.arrays import Floats, Index
from propmatch.models.pack import COLDEST_C, chemistry_of
from propmatch.questions.cells import CellCase, Worked
from propmatch.records.fields import replace
from propmatch.records.masses import stays_g
from propmatch.records.parts import PowerTrain
from propmatch.records.sections import Site
from propmatch.tolerances.draws import normal_draws
from propmatch.train.lanes import train_lanes
from propmatch.units import CELSIUS_K

__all__ = ["NUMBERS", "Axes", "Row", "WhatIf", "number_columns", "there", "what_if"]

NUMBERS = (
    "flight_minutes", "thrust_to_weight", "all_up_mass_g", "motor_current_static_a", "pack_current_static_a",
    "climb_m_s", "top_speed_m_s",
)  # fmt: skip
"""Numbers of each state that need not have a limit, by the names of their columns."""
_MASS_STEP, _BELOW, _ABOVE = 0.07, 3, 4
"""Steps of the bare mass over the aircraft's own, and how many are looked at."""
_HIGHEST_M, _HEIGHTS = 2000.0, 4
_GAP_K = 5.5
"""Fields looked at where what is published does not reach higher, and how far temperatures may stand apart."""
_DRAWS, _LEAST_SPREAD = 128, 1e-9
"""Draws of each state at which the spread is looked at, beside those of the aircraft's own."""
_MASS_ALONE = "balance"
"""The check that hangs on the bare mass alone, which bends it: where the pack no longer balances the aircraft."""
_NODES, _SEARCHED, _BEND = 33, 513, 0.1
"""Bare masses it is held at beside its bends, how many these are looked for at, and how much, as a share of its
steepest slope, the slope changes at one."""


@attrs.frozen(kw_only=True, eq=False)
class Axes:
    """The states of a grid.

    Attributes
    ----------
    bare_mass_g : (M,); altitude_m : (H,), both rising by equal steps
    temperature_c : (T,) of the air, rising; first NaN where the brief states none: the standard air of each height
    own : bare mass, height and temperature of the brief
    cells_c : temperature of the cells where it does not follow the air; NaN where it does
    """

    bare_mass_g: Floats
    altitude_m: Floats
    temperature_c: Floats
    own: tuple[float, float, float]
    cells_c: float

    @classmethod
    def of(cls, setting: Setting, trains: Sequence[PowerTrain], heaviest_g: float) -> "Axes":
        """Around a brief, as far as its variants and what it publishes reach."""
        site, publish, own = setting.brief.site, setting.brief.publish, setting.variant.airframe.bare_mass_g
        step = max(_MASS_STEP * own, (heaviest_g - own) / _ABOVE)
        mass = np.asarray(own + step * np.arange(-_BELOW, _ABOVE + 1), dtype=np.float64)
        height, cells = site.altitude_m or 0.0, setting.stated.site.pack_temperature_c
        ends = (min(0.0, height, publish.altitude_m[0]), max(_HIGHEST_M, height, publish.altitude_m[1]))
        air = [t for t in (*publish.temperature_c, site.temperature_c) if t is not None]
        cold, warm = min(air) if cells is not None else max(min(air), COLDEST_C), max(air)
        bends = {float(t) for train in trains for t in chemistry_of(train.pack).temperature_c if cold < t < warm}
        days = [cold, *sorted(bends), warm]
        between = [np.linspace(a, b, int(np.ceil((b - a) / _GAP_K)), endpoint=False) for a, b in pairwise(days)]
        unstated = [np.nan] if site.temperature_c is None else []
        return cls(
            bare_mass_g=mass[mass > stays_g(setting.build.lines)], altitude_m=np.linspace(*ends, _HEIGHTS),
            temperature_c=np.concatenate([unstated, *between, [warm]]),
            own=(own, height, np.nan if site.temperature_c is None else site.temperature_c),
            cells_c=np.nan if cells is None else cells,
        )  # fmt: skip

    @property
    def coarse(self) -> tuple[Floats, Floats, Floats]:
        """Where spreads are drawn along each axis, rising: its ends and the brief's own."""
        axes = (self.bare_mass_g, self.altitude_m, self.temperature_c[np.isfinite(self.temperature_c)])
        ends = [(axis[0], own, axis[-1]) for axis, own in zip(axes, self.own, strict=True)]
        mass, height, air = (np.unique([each for each in three if np.isfinite(each)]) for three in ends)
        return mass, height, air


def there(setting: Setting, bare_mass_g: float, altitude_m: float, temperature_c: float | None) -> Setting:
    """The aircraft with another bare mass at another field.

    The cells are as warm as the brief states them, else as the air; without a temperature as the brief has them.
    """
    airframe = replace(setting.variant.airframe, bare_mass_g=bare_mass_g)
    brief = replace(setting.brief, site=_site(setting, altitude_m, temperature_c))
    moved = attrs.evolve(setting, brief=brief, air=Air.at_site(altitude_m, temperature_c))
    return moved.with_variant(attrs.evolve(setting.variant, airframe=airframe))


def _site(setting: Setting, altitude_m: float, temperature_c: float | None) -> Site:
    cells = setting.stated.site.pack_temperature_c
    if cells is None:
        cells = setting.brief.site.pack_temperature_c if temperature_c is None else temperature_c
    return replace(
        setting.brief.site, altitude_m=altitude_m, temperature_c=temperature_c, pack_temperature_c=cells
    )  # fmt: skip


@attrs.frozen(kw_only=True, eq=False)
class Row:
    """One number, or the value of one check, of a power train in every state.

    Attributes
    ----------
    value : (P, T, M, H) for each pack, temperature, bare mass and height; NaN without an answer
    limit : the same; NaN without one
    low, high : 80 % interval in the brief's own state; NaN where nothing varies
    spread : for packs, bare mass, height and temperature how far draws lie from their middle, over that of the own
        state, at ``Axes.coarse``
    margins : (N,) of the draws of the own state; empty where none varies or there is no limit
    alone : (P, W) at ``WhatIf.reached_g`` where bare mass alone changes the value; else empty
    check : Check or None, of the own state
    below_c : temperature of the cells below which it is judged; infinite for all
    """

    value: Floats
    limit: Floats
    low: float
    high: float
    spread: tuple[Floats, Floats, Floats, Floats]
    margins: Floats
    alone: Floats
    check: Check | None
    below_c: float


@attrs.frozen(kw_only=True, eq=False)
class WhatIf:
    """A power train and its packs in every state.

    Attributes
    ----------
    trains : with each pack, its own first
    axes : Axes
    sure : Sureness of its own pack in the own state
    reached_g : (W,) bare masses, rising, as far as a build of any state reaches, with a node at every bend
    rows : Row by the name of its check, or of its column where no check has it
    """

    trains: tuple[PowerTrain, ...]
    axes: Axes
    sure: Sureness
    reached_g: Floats
    rows: dict[str, Row]

    def first(self, packs: int) -> "WhatIf":
        """The same with so many packs."""
        rows = {
            name: attrs.evolve(row, value=row.value[:packs], limit=row.limit[:packs], alone=row.alone[:packs],
                               spread=(row.spread[0][:packs], *row.spread[1:]))
            for name, row in self.rows.items()
        }  # fmt: skip
        return attrs.evolve(self, trains=self.trains[:packs], rows=rows)

    @property
    def judged(self) -> dict[str, Row]:
        """What has a limit in any state."""
        return {name: row for name, row in self.rows.items() if np.isfinite(row.limit).any()}


def number_columns() -> tuple[Column, ...]:
    """The columns of ``NUMBERS``."""
    known = {column.name: column for column in columns_of(CellCase)}
    return tuple(known[name] for name in NUMBERS)


def what_if(
    setting: Setting, options: Sequence[Sequence[PowerTrain]], *, heaviest_g: float = 0.0
) -> tuple[WhatIf, ...]:
    """Every state of several power trains.

    Parameters
    ----------
    setting : Setting
    options : of each power train itself with each pack it may have, its own first
    heaviest_g : bare mass that the grid reaches in any case
    """
    trains, own_trains = [train for each in options for train in each], [each[0] for each in options]
    axes = Axes.of(setting, trains, heaviest_g)
    judge = _judge(setting, axes, own_trains)
    table, first = _table(setting, axes, trains, judge), np.cumsum([0, *map(len, options)])
    own, at_own = drawn(setting, own_trains), judged_trains(setting, own_trains)[0]
    wide, ends = _spread(setting, axes, trains, first[:-1], judge), _values(own, judge)
    reached_g, alone = _mass_alone(setting, axes, trains, own) if _MASS_ALONE in judge else (np.zeros(0), np.zeros(0))

    def row(name: str, at: int) -> Row:
        some = slice(first[at], first[at + 1])
        value, limit = (each[some] for each in table[name])
        draws = ends[name][at]
        varies = float(np.ptp(np.nan_to_num(draws))) > _LEAST_SPREAD * float(np.abs(np.nan_to_num(draws)).max())
        low, high = intervals(draws[None])
        return Row(
            value=value, limit=limit,
            low=float(low[0]) if varies else np.nan, high=float(high[0]) if varies else np.nan,
            spread=(wide[0][name][some], *(each[name][at] for each in wide[1:])),
            margins=_margins(own, name, at, limit) if varies else np.zeros(0),
            alone=alone[some] if name == _MASS_ALONE else np.zeros(0),
            check=check_of(at_own, name, at) if name in CHECKS else None, below_c=_below_c(setting, name),
        )  # fmt: skip

    return tuple(
        WhatIf(
            trains=tuple(each), axes=axes, sure=own.each[at], reached_g=reached_g,
            rows={name: row(name, at) for name in table},
        )
        for at, each in enumerate(options)
    )  # fmt: skip


def _below_c(setting: Setting, name: str) -> float:
    """The first minute is judged with cold cells alone; where the brief states how warm they are, that is settled."""
    return COLD_C if name == "first_minute" and setting.stated.site.pack_temperature_c is None else np.inf


# ---------------------------------------------------------------- the grid


def _table(
    setting: Setting, axes: Axes, trains: Sequence[PowerTrain], judge: Sequence[str]
) -> dict[str, tuple[Floats, Floats]]:
    """Value and limit (K, T, M, H) of every number and check; numbers have no limit."""
    shape = (len(trains), axes.temperature_c.size, axes.bare_mass_g.size, axes.altitude_m.size)
    table: dict[str, tuple[Floats, Floats]] = {}
    warm = [
        replace(train, pack_temperature_c=_cells_c(setting, float(t))) for train in trains for t in axes.temperature_c
    ]
    lanes, ratings = train_lanes(warm)[0], rating_lanes(warm)
    for masses, build in _builds(setting, axes):
        k, t, m, h = (each.ravel() for each in np.indices((*shape[:2], masses.size, shape[3])))
        at = k * shape[1] + t
        some = ratings.take(at)
        measured = judged(
            build, lanes.take(at), some, all_up_mass_g=axes.bare_mass_g[masses[m]] + some.mass_g,
            air=_air(axes, h, t),
        )  # fmt: skip
        for name, pair in _pairs(measured, judge).items():
            into = table.setdefault(name, (np.empty(shape), np.empty(shape)))
            for whole, part in zip(into, pair, strict=True):
                whole[:, :, masses] = np.broadcast_to(part, k.shape).reshape(*shape[:2], masses.size, shape[3])
    return table


def _builds(setting: Setting, axes: Axes) -> Iterator[tuple[Index, Setting]]:
    """Bare masses, by number, whose launch is the same, and the setting they are flown in."""
    each = [there(setting, mass, axes.own[1], _coldest(axes)) for mass in axes.bare_mass_g.tolist()]
    for _, group in groupby(range(len(each)), key=lambda at: _launch_key(each, at)):
        some = np.array(list(group))
        yield some, each[some[0]]


def _launch_key(each: Sequence[Setting], at: int) -> int:
    """The first of the settings that launches as this one does."""
    return next(first for first, one in enumerate(each) if one.launch == each[at].launch)


def _coldest(axes: Axes) -> float:
    return float(np.nanmin(axes.temperature_c))


def _cells_c(setting: Setting, temperature_c: float) -> float | None:
    return _site(setting, 0.0, None if np.isnan(temperature_c) else temperature_c).pack_temperature_c


def _air(axes: Axes, height: Index, day: Index) -> Air:
    altitude, temperature = axes.altitude_m[height], axes.temperature_c[day]
    standard = Air.standard(altitude)
    air = Air.standard(altitude, np.where(np.isnan(temperature), 0.0, temperature + CELSIUS_K - standard.temperature_k))
    return air


def _judge(setting: Setting, axes: Axes, trains: Sequence[PowerTrain]) -> tuple[str, ...]:
    """The checks that have a limit, in the cold at least, and those whose numbers are shown anyway."""
    measured = judged_trains(there(setting, axes.own[0], axes.own[1], _coldest(axes)), trains)[0]
    shown = {column.check for column in number_columns()}
    return tuple(name for name in CHECKS if name in shown or np.isfinite(measured[name].limit).any())


def _pairs(measured: TrainMeasures, judge: Sequence[str]) -> dict[str, tuple[Floats, Floats]]:
    """Value and limit of each lane, of checks, and of the numbers that no check has."""
    worked, nothing = Worked(measured), np.full(measured.lanes.size, np.nan)
    numbers = {column.name: (column(worked), nothing) for column in number_columns() if not column.check}
    return {name: (measured[name].value, measured[name].limit) for name in judge} | numbers


def _mass_alone(setting: Setting, axes: Axes, trains: Sequence[PowerTrain], own: Drawn) -> tuple[Floats, Floats]:
    """Bare masses (W,) that builds of any state reach, and the value of the check at them (K, W)."""
    lanes, ratings, factor = train_lanes(trains)[0], rating_lanes(trains), own.draws.factor("bare_mass")

    def values(mass_g: Floats) -> Floats:
        k, m = (each.ravel() for each in np.indices((len(trains), mass_g.size)))
        some = ratings.take(k)
        measured = judged(setting, lanes.take(k), some, all_up_mass_g=mass_g[m] + some.mass_g)
        return np.asarray(measured[_MASS_ALONE].value).reshape(len(trains), mass_g.size)

    low = max(axes.bare_mass_g[0] * factor.min(), stays_g(setting.build.lines) + 0.01)
    searched, nodes = (np.linspace(low, axes.bare_mass_g[-1] * factor.max(), n) for n in (_SEARCHED, _NODES))
    reached_g = np.unique(np.round(np.concatenate([nodes, _bends(searched, values(searched))]), 2))
    return reached_g, values(reached_g)


def _bends(mass_g: Floats, values: Floats) -> Floats:
    """Where values (K, W) at equal steps of mass bend: the lines from both sides of a step meet within it."""
    values = np.nan_to_num(values)
    slope = np.diff(values)
    before, after = slope[:, :-2], slope[:, 2:]
    turns = np.abs(after - before) > _BEND * np.abs(slope).max(axis=1, keepdims=True)
    meets = (slope[:, 1:-1] - after) / np.where(turns, before - after, np.inf)
    lane, step = np.nonzero(turns & (meets >= 0) & (meets <= 1))
    return np.asarray(mass_g[step + 1] + meets[lane, step] * (mass_g[1] - mass_g[0]))


# ---------------------------------------------------------------- how far builds lie apart


def _values(found: Drawn, judge: Sequence[str]) -> dict[str, Floats]:
    """The draws (M, N) of every number and check."""
    return {name: found.by_train(value) for name, (value, _) in _pairs(found.measured, judge).items()}


def _margins(found: Drawn, name: str, at: int, limits: Floats) -> Floats:
    """The margins of the draws of a check; -1 without an answer, empty without a limit in any state."""
    if name not in CHECKS or not np.isfinite(limits).any():
        return np.zeros(0)
    measure = found.measured[name]
    value, limit = (
        found.by_train(np.broadcast_to(each, measure.value.shape))[at] for each in (measure.value, measure.limit)
    )
    limit = np.where(np.isnan(limit), np.nanmax(limits), limit)
    return np.nan_to_num(margins(value, limit, least=CHECKS[name].least), nan=-1.0)


def _spread(
    setting: Setting, axes: Axes, trains: Sequence[PowerTrain], first: Index, judge: Sequence[str]
) -> tuple[Mapping[str, Floats], ...]:
    """How far draws lie apart, over that of the own state: of every pack (K,), and of the trains (M, nodes) along each
    axis.
    """
    raw, (mass, height, air) = normal_draws(_DRAWS, SEED), axes.coarse
    own_c = None if np.isnan(axes.own[2]) else axes.own[2]

    def widths(some: Sequence[PowerTrain], *state: float | None) -> dict[str, Floats]:
        where = there(setting, *state)  # type: ignore[arg-type]
        warm = [replace(train, pack_temperature_c=where.brief.site.pack_temperature_c) for train in some]
        return {name: _width(draws) for name, draws in _values(Drawn(where, warm, raw), judge).items()}

    own, these = widths(trains, *axes.own[:2], own_c), [trains[at] for at in first]
    whose = np.searchsorted(first, np.arange(len(trains)), side="right") - 1
    packs = {name: _over(width, width[first][whose]) for name, width in own.items()}
    along = []
    for states in (
        [(each, axes.own[1], own_c) for each in mass], [(axes.own[0], each, own_c) for each in height],
        [(*axes.own[:2], each) for each in air],
    ):  # fmt: skip
        found = [widths(these, *map(_plain, state)) for state in states]
        along.append({name: np.array([_over(each[name], own[name][first]) for each in found]).T for name in own})
    return packs, *along


def _plain(value: float | None) -> float | None:
    return None if value is None else float(value)


def _width(draws: Floats) -> Floats:
    """Mean distance from the middle of the draws that have an answer, (M, N) to (M,); 0 where there is none."""
    sound = np.where(np.isfinite(draws), draws, np.nan)
    sound[np.isnan(sound).all(axis=1)] = 0.0
    return np.asarray(np.nanmean(np.abs(sound - np.nanmedian(sound, axis=1)[:, None]), axis=1))


def _over(width: Floats, own: Floats) -> Floats:
    """The ratio, 1 where one of the two does not vary."""
    both = (width > 0) & (own > 0)
    return np.where(both, width, 1.0) / np.where(both, own, 1.0)
