"""The rows that are kept answer as the search does, whatever masses and limits are laid over them."""

import numpy as np
import pytest

from propmatch.brief import Brief, load_brief
from propmatch.catalogue.catalogue import load_catalogue
from propmatch.checks.setting import ResolvedBrief, Setting
from propmatch.page.edit import edited, field_values
from propmatch.records.brief import dump_brief
from propmatch.records.fields import replace
from propmatch.search import keptrows
from propmatch.search.front import Passing, passing_map
from propmatch.search.keptrows import KeptRows
from propmatch.search.matching import shelf_for
from propmatch.search.shelf import Shelf
from propmatch_datasets import path

STEPS = 5
pytestmark = pytest.mark.filterwarnings("error")


def here(brief: Brief) -> Setting:
    return ResolvedBrief.of(brief).as_designed


def some_parts(setting: Setting, seed: int) -> Shelf:
    """A quarter of the bundled parts of each kind, so that the plain search does not take long."""
    shelf, rng = shelf_for(setting, load_catalogue(plugins=["bundled"])), np.random.default_rng(seed)
    kinds = [[part for part in parts if rng.random() < 0.25] for parts in shelf.kinds.values()]
    return Shelf.of(*kinds, **setting.train_numbers)


def steps(brief: Brief, rng: np.random.Generator) -> list[dict[str, object]]:
    """Random steps of the numbers that the page moves, one after the other as sliders leave them."""
    values, changes, out = field_values(brief), {}, []
    for _ in range(STEPS):
        for key, spread in (
            ("aircraft.bare_mass_g", 0.15), ("limits.min_flight_minutes", 0.5), ("limits.min_thrust_to_weight", 0.3),
            ("limits.max_propeller_diameter_in", 0.2),
        ):  # fmt: skip
            if rng.random() < 0.5:
                changes[key] = round(values[key] * float(rng.uniform(1 - spread, 1 + spread)), 3)
        if rng.random() < 0.5:
            changes["limits.reserve_charge"] = round(float(rng.uniform(0.05, 0.4)), 2)
        if rng.random() < 0.3:
            changes["limits.cells"] = [[2], [3], [2, 3], None][int(rng.integers(4))]
        out.append(dict(changes))
    return out


def plain(setting: Setting, shelf: Shelf) -> Passing:
    """What the search finds, packs counted as on the whole shelf."""
    cells = setting.brief.limits.cells
    packs = np.flatnonzero(np.isin(shelf.column("cells"), cells or shelf.column("cells")))
    found = passing_map(setting, shelf.with_packs(packs))
    found.combination[:, 2] = packs[found.combination[:, 2]]
    return found


def front(found: Passing) -> set[tuple[int, ...]]:
    return set(map(tuple, found.combination[found.front].tolist()))


def front_in_two(found: Passing) -> set[tuple[int, ...]]:
    """What no other beats in time and thrust, one by one against all."""
    minutes, thrust = found.flight_minutes, found.thrust_to_weight
    beaten = [
        np.any((minutes >= t) & (thrust >= w) & ((minutes > t) | (thrust > w)))
        for t, w in zip(minutes, thrust, strict=True)
    ]
    return set(map(tuple, found.combination[~np.array(beaten, dtype=bool)].tolist()))


@pytest.mark.parametrize("name", ["club_racer", "schoolyard_trainer", "wetland_logger"])
def test_counts_and_front_are_those_of_the_search(name: str) -> None:
    brief = load_brief(path(f"briefs/{name}.toml"))
    shelf, text, rng = some_parts(here(brief), 7), dump_brief(brief), np.random.default_rng(len(name))
    kept, passing = KeptRows.of(here(brief), shelf), 0
    assert kept is not None
    for changes in steps(brief, rng):
        setting = here(edited(text, changes))
        assert kept.serves(setting, shelf)
        same = plain(setting, shelf)
        for moving, wanted in ((True, front_in_two(same)), (False, front(same))):
            told = kept.map(setting, moving=moving)
            assert (told.total, front(told)) == (same.total, wanted), changes
            assert told.cells.tolist() == shelf.column("cells")[told.combination[:, 2]].tolist()
        passing += told.total
    assert passing > 20


def test_no_limit_that_moves_alone_is_answered_by_what_stood_before() -> None:
    brief = load_brief(path("briefs/schoolyard_trainer.toml"))
    shelf, text, totals = some_parts(here(brief), 7), dump_brief(brief), set()
    kept = KeptRows.of(here(brief), shelf)
    assert kept is not None
    for changes in (
        {}, {"aircraft.target_mass_g": 214.0}, {"limits.max_wing_loading_g_dm2": 15.5},
        {"limits.min_thrust_to_weight": 0.9}, {"limits.reserve_charge": 0.35},
        {"limits.max_propeller_diameter_in": 5.4}, {"limits.min_flight_minutes": 9.0}, {},
    ):  # fmt: skip
        setting = here(edited(text, changes))
        told, same = kept.map(setting), plain(setting, shelf)
        assert (told.total, front(told)) == (same.total, front(same)), changes
        totals.add(told.total)
    assert len(totals) == 7


def test_a_brief_that_asks_for_no_time_has_all_that_keeps_the_rest() -> None:
    brief = load_brief(path("briefs/schoolyard_trainer.toml"))
    setting = here(replace(brief, limits=replace(brief.limits, min_flight_minutes=None)))
    shelf = some_parts(setting, 7)
    kept, same = KeptRows.of(setting, shelf), plain(setting, shelf)
    assert kept is not None
    assert kept.map(setting).total == same.total > 0


def test_marks_at_rest_are_computed_and_those_that_move_are_near_them() -> None:
    brief = load_brief(path("briefs/schoolyard_trainer.toml"))
    shelf = some_parts(here(brief), 7)
    kept = KeptRows.of(here(brief), shelf)
    assert kept is not None
    moving, still, same = kept.map(here(brief), moving=True), kept.map(here(brief)), plain(here(brief), shelf)
    minutes = dict(zip(map(tuple, same.combination.tolist()), same.flight_minutes.tolist(), strict=True))
    for told, rel in ((moving, 0.06), (still, 1e-9)):
        rows = [tuple(row) for row in told.combination.tolist()]
        assert told.flight_minutes.tolist() == pytest.approx([minutes[row] for row in rows], rel=rel)


def test_a_map_holds_at_most_so_many_marks_and_the_front_first() -> None:
    brief = load_brief(path("briefs/schoolyard_trainer.toml"))
    shelf = some_parts(here(brief), 7)
    kept = KeptRows.of(here(brief), shelf)
    assert kept is not None
    whole = kept.map(here(brief))
    room = int(whole.front.sum()) + 5
    told = kept.map(here(brief), most=room)
    assert len(told.combination) == room < whole.total == told.total
    assert front(told) == front(whole)


def test_what_no_row_holds_is_left_to_the_search(monkeypatch: pytest.MonkeyPatch) -> None:
    brief = load_brief(path("briefs/schoolyard_trainer.toml"))
    shelf = some_parts(here(brief), 7)
    climbing = replace(brief, limits=replace(brief.limits, min_climb_m_s=1.0))
    assert KeptRows.of(here(climbing), shelf) is None
    kept = KeptRows.of(here(brief), shelf)
    assert kept is not None
    assert not kept.serves(here(climbing), shelf)
    assert not kept.serves(here(edited(dump_brief(brief), {"site.altitude_m": 900})), shelf), "other air"
    monkeypatch.setattr(keptrows, "LARGEST", 10)
    assert KeptRows.of(here(brief), shelf) is None
