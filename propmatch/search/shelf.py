"""A catalogue as arrays: parts of each kind side by side, put together into lanes by index."""

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from typing import Any, Unpack

import attrs
import numpy as np

from propmatch.checks.ratings import RatingLanes, rating_lanes
from propmatch.models.arrays import Flags, Floats, Index
from propmatch.models.pack import chemistry_of
from propmatch.records.estimates import Assumption, Completed, completed
from propmatch.records.fields import replace
from propmatch.records.packflight import curve_notes, state_notes
from propmatch.records.parts import Controller, Motor, Pack, Part, PowerTrain, Propeller, TrainNumbers
from propmatch.train.lanes import TrainLanes, pack_numbers, train_lanes
from propmatch.train.line import MOTOR_FIELDS

__all__ = ["KIND_FIELDS", "Shelf", "Shelves"]


KIND_FIELDS: dict[str, tuple[str, ...]] = {
    "motor": (
        *MOTOR_FIELDS, "resistance_ohm", "alone", "usual_loss", "motors_g", "motor_stated_a", "motor_burst_a",
        "motor_burst_s", "motor_w", "motor_w_stated", "motor_cells_least", "motor_cells_most",
    ),
    "controller": (
        "switch_ohm", "stated_loss", "throttle_limit", "controllers_g", "supply_g", "supply_separate",
        "controller_a", "controller_estimated", "controller_burst_a", "controller_burst_s", "servo_supply_linear",
        "servo_supply_v", "controller_cells_least", "controller_cells_most",
    ),
    "pack": (
        "cells", "cells_ohm", "leads_ohm", "capacity_ah", "chemistry", "count", "radio_a", "pack_g", "usable_a",
        "burst_a", "pack_nominal_v", "pack_estimated",
    ),
    "propeller": (
        "propeller", "diameter_m", "pitch_in", "ct_scale", "cp_scale", "motor_off", "still_drag_m2",
        "propellers_g", "max_rpm", "max_rpm_stated", "diameter_in",
    ),
}  # fmt: skip
"""Which part brings which field of ``TrainLanes`` and ``RatingLanes``; count and radio ride with the pack."""

_BY_WARMTH = ("cells_ohm", "capacity_ah")
"""Columns that the temperature of the cells changes."""
_MASSES = ("motors_g", "controllers_g", "supply_g", "propellers_g", "pack_g")
_KIND_OF = {field: kind for kind, fields in KIND_FIELDS.items() for field in fields}
_RATED = frozenset(each.name for each in attrs.fields(RatingLanes))


@attrs.frozen(kw_only=True, eq=False)
class Shelf:
    """Parts of each kind, and their numbers as columns.

    Attributes
    ----------
    motors, controllers, packs, propellers : tuples of parts
    like : a power train with what is the same for every combination: count, radio current, pack temperature, what the
        propeller is asked to do with the motor off
    lanes, ratings : columns; the first ``len(motors)`` values of a motor's field belong to the motors, and so on
    assumptions : estimates made for any of the parts
    """

    motors: tuple[Motor, ...]
    controllers: tuple[Controller, ...]
    packs: tuple[Pack, ...]
    propellers: tuple[Propeller, ...]
    like: PowerTrain
    lanes: TrainLanes
    ratings: RatingLanes
    assumptions: tuple[Assumption, ...]
    _trains: dict[tuple[int, int, int, int], PowerTrain] = attrs.field(init=False, factory=dict, repr=False)

    @classmethod
    def of(
        cls,
        motors: Sequence[Motor],
        controllers: Sequence[Controller],
        packs: Sequence[Pack],
        propellers: Sequence[Propeller],
        *,
        complete: Completed | None = None,
        **numbers: Unpack[TrainNumbers],
    ) -> "Shelf":
        """Lay out the parts, of which every kind needs at least one, for trains of these numbers.

        ``complete`` holds the parts that are completed already.

        Raises
        ------
        ValueError
            A kind without a part, or a propeller without a coefficient table.
        """
        kinds = {"motor": motors, "controller": controllers, "pack": packs, "propeller": propellers}
        empty = [kind for kind, parts in kinds.items() if not parts]
        if empty:
            raise ValueError(f"no {' and no '.join(empty)} to choose from")
        trains = [
            PowerTrain(
                motor=motors[i % len(motors)],
                controller=controllers[i % len(controllers)],
                pack=packs[i % len(packs)],
                propeller=propellers[i % len(propellers)],
                **numbers,
            )
            for i in range(max(len(parts) for parts in kinds.values()))
        ]
        complete = complete or Completed()
        lanes, made = train_lanes(trains, complete)
        return cls(
            motors=tuple(motors),
            controllers=tuple(controllers),
            packs=tuple(packs),
            propellers=tuple(propellers),
            like=trains[0],
            lanes=lanes,
            ratings=rating_lanes(trains, complete),
            assumptions=made,
        )

    def warmed(self, pack_temperature_c: float | None) -> "Shelf":
        """The same shelf with cells so warm [degC]; no part is read again."""
        if pack_temperature_c == self.like.pack_temperature_c:
            return self
        like = replace(self.like, pack_temperature_c=pack_temperature_c)
        numbers = [pack_numbers(completed(pack)[0], like.cell_state) for pack in self.packs]
        columns: dict[str, Any] = {
            name: np.resize([each[name] for each in numbers], self.lanes.size) for name in _BY_WARMTH
        }
        kinds = {chemistry_of(pack).name: pack for pack in self.packs}.values()
        was, now = (
            dict.fromkeys(note for pack in kinds for note in state_notes(replace(train, pack=pack)))
            for train in (self.like, like)
        )
        last = curve_notes(self.packs)
        first = (each for each in self.assumptions if each not in was and each not in last)
        return attrs.evolve(
            self,
            like=like,
            lanes=attrs.evolve(self.lanes, **columns),
            assumptions=tuple(dict.fromkeys((*first, *now, *last))),
        )

    def with_packs(self, packs: Index) -> "Shelf":
        """The same shelf with only these packs, by index; no part is read again."""
        return self.only({"pack": packs})

    def only(self, chosen: Mapping[str, Index]) -> "Shelf":
        """The same shelf with only these parts of some kinds, by index; no part is read again."""
        each = {kind: chosen.get(kind, np.arange(len(parts))) for kind, parts in self.kinds.items()}
        size = max(some.size for some in each.values())
        lanes, ratings = self.combine(*(np.resize(some, size) for some in each.values()))
        parts: dict[str, Any] = {f"{kind}s": tuple(self.kinds[kind][at] for at in some) for kind, some in each.items()}
        return attrs.evolve(self, **parts, lanes=lanes, ratings=ratings)

    def holding(self, numbers: Mapping[str, Floats]) -> "Shelf":
        """The same shelf with other numbers of its parts, one for each part of the kind that brings the field."""
        columns: dict[str, Any] = {name: np.resize(x, self.lanes.size) for name, x in numbers.items()}
        return attrs.evolve(
            self,
            lanes=attrs.evolve(self.lanes, **{name: x for name, x in columns.items() if name not in _RATED}),
            ratings=attrs.evolve(self.ratings, **{name: x for name, x in columns.items() if name in _RATED}),
        )

    @property
    def count(self) -> int:
        """Motors on the pack."""
        return self.like.count

    @property
    def radio_current_a(self) -> float:
        """Drawn from the pack beside the motors."""
        return self.like.radio_current_a

    @property
    def kinds(self) -> dict[str, tuple[Part, ...]]:
        """The parts of each kind, in the order of a combination."""
        return {
            "motor": self.motors, "controller": self.controllers, "pack": self.packs, "propeller": self.propellers,
        }  # fmt: skip

    def ids(self, row: Sequence[int]) -> dict[str, str]:
        """The ids of a combination, as the fields of a ``TrainId``."""
        return {f"{kind}_id": str(parts[at].id) for (kind, parts), at in zip(self.kinds.items(), row, strict=True)}

    @property
    def sizes(self) -> tuple[int, int, int, int]:
        """Number of motors, controllers, packs and propellers."""
        return len(self.motors), len(self.controllers), len(self.packs), len(self.propellers)

    @property
    def combinations(self) -> int:
        """Combinations whose cell counts go together."""
        packs = Counter(self.column("cells").tolist())
        spans = [[self.column(f"{kind}_cells_{end}") for end in ("least", "most")] for kind in ("motor", "controller")]
        pairs = {
            cells: math.prod(int(np.count_nonzero((least <= cells) & (cells <= most))) for least, most in spans)
            for cells in packs
        }
        return sum(pairs[cells] * n for cells, n in packs.items()) * len(self.propellers)

    def column(self, field: str) -> Any:
        """One field for the parts that bring it, e.g. ``column("k")`` (motors,)."""
        home: TrainLanes | RatingLanes = self.ratings if field in _RATED else self.lanes
        return getattr(home, field)[: len(self.kinds[_KIND_OF[field]])]

    def combine(self, motor: Index, controller: Index, pack: Index, propeller: Index) -> tuple[TrainLanes, RatingLanes]:
        """Lanes of the combinations whose parts have these indices, (N,) each."""
        index = {"motor": motor, "controller": controller, "pack": pack, "propeller": propeller}
        taken = {field: self._taken(field, index) for field in _KIND_OF}
        ratings = RatingLanes(**{name: taken[name] for name in _RATED})
        lanes = attrs.evolve(self.lanes, **{name: x for name, x in taken.items() if name not in _RATED})
        return lanes, ratings

    def train_mass_g(self, motor: Index, controller: Index, pack: Index, propeller: Index) -> Floats:
        """Mass of the trains of combinations (N,) [g], as :attr:`propmatch.checks.ratings.RatingLanes.mass_g`."""
        index = {"motor": motor, "controller": controller, "pack": pack, "propeller": propeller}
        motors, controllers, supply, propellers, packs = (self._taken(name, index) for name in _MASSES)
        return np.asarray(motors + controllers + supply + propellers + packs)

    def ratings_of(self, motor: Index, controller: Index, pack: Index) -> RatingLanes:
        """Ratings of drives, (N,) each; those of the propeller are the first one's."""
        index = {
            "motor": motor,
            "controller": controller,
            "pack": pack,
            "propeller": np.zeros(motor.size, dtype=np.intp),
        }
        return RatingLanes(**{name: self._taken(name, index) for name in _RATED})

    def _taken(self, field: str, index: dict[str, Index]) -> Any:
        """A field of the parts of combinations."""
        return self.column(field)[index[_KIND_OF[field]]]

    def train(self, motor: int, controller: int, pack: int, propeller: int) -> PowerTrain:
        """The power train of one combination; made once."""
        row = motor, controller, pack, propeller
        if row not in self._trains:
            self._trains[row] = replace(
                self.like,
                motor=self.motors[motor],
                controller=self.controllers[controller],
                pack=self.packs[pack],
                propeller=self.propellers[propeller],
            )
        return self._trains[row]

    def cells_fit(self, motor: Index, controller: Index, pack: Index) -> Flags:
        """Whether the pack's cell count suits motor and controller."""
        cells = self.column("cells")[pack]
        least = np.maximum(self.column("motor_cells_least")[motor], self.column("controller_cells_least")[controller])
        most = np.minimum(self.column("motor_cells_most")[motor], self.column("controller_cells_most")[controller])
        return np.asarray((cells >= least) & (cells <= most))


class Shelves:
    """The same parts for trains of several numbers: where these differ in the warmth of the cells, laid out once."""

    def __init__(self, *parts: Sequence[Any]) -> None:
        self._parts, self._complete = parts, Completed()
        self._laid_out: dict[tuple[Any, ...], Shelf] = {}
        self._warmed: dict[tuple[Any, ...], Shelf] = {}

    def of(self, numbers: TrainNumbers) -> Shelf:
        """The shelf for trains of these numbers."""
        key, warmth = tuple(numbers.values()), numbers["pack_temperature_c"]
        alike = tuple(value for name, value in numbers.items() if name != "pack_temperature_c")
        if alike not in self._laid_out:
            self._laid_out[alike] = Shelf.of(*self._parts, complete=self._complete, **numbers)
        if key not in self._warmed:
            self._warmed[key] = self._laid_out[alike].warmed(warmth)
        return self._warmed[key]
