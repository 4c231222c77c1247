"""How far each check may move with what is not known exactly: one number at a time to the ends of its range.

Every uncertain number of the train and the airframe is set to the low and to the high end of its range with all others
kept; the moves of a check are added as the root of the sum of squares, upwards and downwards apart. Ranges: those that
stand beside the assumptions (label kV, estimated resistances and currents, drag in words, filament), and CT and CP of a
propeller's table by 1.28 times the relative standard uncertainty of its source (80 %), each by itself. What a motor or
a pack is known for from a label alone gets a label's spread (:mod:`tolerances.samples`). What nobody gave a range
for is taken as exact, so the spread is the least one should expect.
"""

import attrs
import numpy as np

from propmatch.checks.judged import judged_trains
from propmatch.checks.limits import Check, Design, checks_of, measures_of
from propmatch.checks.measures import TrainMeasures
from propmatch.checks.ratings import rating_lanes
from propmatch.checks.rule import margins
from propmatch.checks.setting import ResolvedBrief
from propmatch.records.brief import Brief
from propmatch.records.estimates import Z80, Assumption, completed
from propmatch.records.fields import replace
from propmatch.records.masses import build_lines
from propmatch.records.parts import PowerTrain
from propmatch.tablehtml import number_text
from propmatch.tolerances.samples import part_spread
from propmatch.train.lanes import train_lanes

__all__ = ["Spread", "spread_of"]


@attrs.frozen(kw_only=True)
class Spread:
    """What was varied, and how far each check moved.

    Attributes
    ----------
    varied : tuple of str
        Each uncertain number with its range, in words.
    low, high : dict
        Check name to the lowest and highest value.
    """

    varied: tuple[str, ...] = ()
    low: dict[str, float] = attrs.field(factory=dict)
    high: dict[str, float] = attrs.field(factory=dict)

    def margins(self, check: Check) -> tuple[float, float] | None:
        """Worst and best margin of a check; None where its spread is not known."""
        if check.name not in self.low or not np.isfinite(check.limit) or check.limit == 0:
            return None
        ends = (self.low[check.name], self.high[check.name])
        found = margins(ends, check.limit, least=check.least)
        return float(found.min()), float(found.max())


def spread_of(design: Design, brief: Brief | ResolvedBrief) -> Spread:
    """Spread of every check of a design; empty where every number is stated."""
    resolved = ResolvedBrief.of(brief)
    train, made = completed(design.train)
    _, of_frame = completed(design.airframe)
    trains: list[tuple[str, PowerTrain, PowerTrain]] = []
    for kind in ("motor", "controller", "pack"):
        part = getattr(train, kind)
        for each in made:
            if each.subject == part.name and each.low is not None and each.high is not None:
                low, high = (_with(train, kind, each.field, value) for value in (each.low, each.high))
                trains.append((_range(each), low, high))
    trains += _labelled(design.train, train)
    sure = train.propeller.source.uncertainty
    if sure:
        factors = np.exp(-Z80 * sure), np.exp(Z80 * sure)
        for name in ("ct", "cp"):
            low, high = (_scaled(train, name, factor) for factor in factors)
            text = (
                f"{train.propeller.name}: {name.upper()} {100 * (factors[0] - 1):+.0f} to "
                f"{100 * (factors[1] - 1):+.0f} % (80 %)"
            )
            trains.append((text, low, high))
    pairs: list[tuple[str, dict[str, Check], dict[str, Check]]] = []
    if trains:
        measured, _ = measures_of(attrs.evolve(design, train=train), resolved)
        every = [one for _, low, high in trains for one in (low, high)]
        lists = _named(checks_of(TrainMeasures(measured.setting, train_lanes(every)[0], rating_lanes(every))))
        pairs += [(text, lists[2 * i], lists[2 * i + 1]) for i, (text, *_) in enumerate(trains)]
    for each in of_frame:
        if each.low is not None and each.high is not None:
            low_checks, high_checks = (
                _named(checks_of(measures_of(attrs.evolve(
                    design, train=train, airframe=replace(design.airframe, **{each.field: value})), resolved)[0]))[0]
                for value in (each.low, each.high)
            )  # fmt: skip
            pairs.append((_range(each), low_checks, high_checks))
    pairs += _of_filament(attrs.evolve(design, train=train), resolved)
    if not pairs:
        return Spread()
    middle = checks_of(measures_of(attrs.evolve(design, train=train), resolved)[0])[0]
    return _combined(middle, pairs)


def _of_filament(design: Design, resolved: ResolvedBrief) -> list[tuple[str, dict[str, Check], dict[str, Check]]]:
    """Checks with each number that is assumed of a filament at its ends, in every printed part that rests on it."""
    brief = resolved.as_designed.brief
    build = next((each for each in brief.variant if each.name == design.variant), None)
    setting = next((each for each in resolved.settings if each.variant.name == design.variant), resolved.as_designed)
    if build is not None and build.bare_mass_g is not None:
        return []

    def checks(each: Assumption, value: float) -> dict[str, Check]:
        lines = build_lines(brief.item, brief.structure, build, {each: value})[0]
        more = sum(line.mass_g for line in lines) - sum(line.mass_g for line in setting.variant.lines)
        frame = replace(setting.variant.airframe, bare_mass_g=design.airframe.bare_mass_g + more)
        moved = setting.with_variant(attrs.evolve(setting.variant, airframe=frame, lines=lines))
        return _named(checks_of(judged_trains(moved, [design.train])[0]))[0]

    return [
        (_range(each), checks(each, each.low), checks(each, each.high))
        for each in setting.variant.assumptions
        if each.subject == "filament" and each.low is not None and each.high is not None
    ]


def _labelled(stated: PowerTrain, train: PowerTrain) -> list[tuple[str, PowerTrain, PowerTrain]]:
    """Numbers that a label alone states, at both ends of a label's spread; a label kV has its range by the law."""
    out: list[tuple[str, PowerTrain, PowerTrain]] = []
    for kind, field in (("motor", "kv_rpm_per_v"), ("motor", "resistance_ohm"), ("pack", "cell_resistance_mohm")):
        part = getattr(stated, kind)
        value = getattr(part, field)
        by_law = field == "kv_rpm_per_v" and part.kv_kind == "label"
        if part.source.kind != "label" or not value or by_law:
            continue
        factor = float(np.exp(Z80 * (part.source.uncertainty or part_spread(part, field))))
        each = Assumption(part.name, field, value, "", "", value / factor, value * factor)
        low, high = (_with(train, kind, field, end) for end in (value / factor, value * factor))
        out.append((_range(each), low, high))
    return out


def _named(lists: list[list[Check]]) -> list[dict[str, Check]]:
    return [{check.name: check for check in checks} for checks in lists]


def _combined(middle: list[Check], pairs: list[tuple[str, dict[str, Check], dict[str, Check]]]) -> Spread:
    low, high = {}, {}
    for check in middle:
        ends = np.array([[a[check.name].value, b[check.name].value] for _, a, b in pairs]) - check.value
        if not np.isfinite(ends).all():
            continue
        up, down = (np.sqrt(np.sum(np.max(side, axis=1).clip(0) ** 2)) for side in (ends, -ends))
        if up > 1e-9 * abs(check.value) or down > 1e-9 * abs(check.value):
            low[check.name], high[check.name] = float(check.value - down), float(check.value + up)
    return Spread(varied=tuple(text for text, *_ in pairs), low=low, high=high)


def _with(train: PowerTrain, kind: str, field: str, value: float) -> PowerTrain:
    """The train with one number of one part changed; a value at the end of its declared range stays inside."""
    made: PowerTrain = replace(train, **{kind: replace(getattr(train, kind), **{field: value})})
    return made


def _scaled(train: PowerTrain, name: str, factor: float) -> PowerTrain:
    table = train.propeller.table
    assert table is not None
    made: PowerTrain = replace(train, propeller=replace(train.propeller, table=table.times(**{name: factor})))
    return made


def _plain_name(field: str) -> str:
    """``cell_resistance_mohm`` as ``cell resistance``: the unit follows the numbers."""
    words = field.split("_")
    units = {"mohm", "ohm", "s", "a", "w", "g", "rpm", "per", "v"}
    while len(words) > 1 and words[-1] in units:
        words.pop()
    return " ".join(words).replace("kv", "kV")


def _range(each: Assumption) -> str:
    unit = f" {each.unit}" if each.unit else ""
    return f"{each.subject}: {_plain_name(each.field)} {number_text(each.low, 3)} to {number_text(each.high, 3)}{unit}"
