"""Cutoff and resistance of the cells that a flight assumes."""

import pytest
from support.small_aircraft import lawful_pack, small_brief, small_catalogue, small_train

from propmatch.catalogue.catalogue import Catalogue
from propmatch.checks.judged import judged_trains
from propmatch.checks.setting import settings
from propmatch.faults import InputFaults
from propmatch.records.packflight import cutoff_faults, flight_notes
from propmatch.records.parts import Pack
from propmatch.search.matching import match


def pack(chemistry: str) -> Pack:
    return lawful_pack(2, 1300.0, name=chemistry, chemistry=chemistry)


@pytest.mark.parametrize(
    ("asked", "kinds", "wrong"),
    [
        (2.5, ["lipo"], True), (2.5, ["lipo", "liion"], False), (2.4, ["lipo", "liion"], True), (0.8, ["nimh"], False),
        (3.3, ["nimh"], True), (None, ["lipo"], False), (2.5, [], False),
    ],
)  # fmt: skip
def test_a_cut_off_that_no_pack_allows_is_a_fault(asked: float | None, kinds: list[str], wrong: bool) -> None:
    faults = cutoff_faults(asked, map(pack, kinds))
    assert bool(faults) is wrong
    for fault in faults:
        assert (fault.key, fault.value) == ("limits.cutoff_cell_v", asked)
        assert all(f"for {kind}" in fault.rule for kind in kinds)


def test_what_is_assumed_and_what_is_raised_is_said() -> None:
    shelf = [pack("lipo"), pack("liion"), pack("lipo")]
    noted = flight_notes(None, shelf)
    assert [each.value for each in noted if each.field == "cutoff_cell_v"] == [3.3, 3.0]
    curve, raised, sustained = flight_notes(2.5, shelf)
    assert "open-circuit curve of liion cells" in curve.text
    assert raised.value == 3.0
    assert "raised" in raised.text
    assert (sustained.value, sustained.high) == (1.8, 2.0)
    assert flight_notes(3.0, shelf) == (curve, sustained)
    assert flight_notes(3.0, shelf[:1]) == ()


def asking(volts: float):
    return small_brief(("[limits]\n", f"[limits]\ncutoff_cell_v = {volts}\n"))


def test_match_refuses_a_cut_off_of_none_and_raises_it_on_a_mixed_shelf() -> None:
    stock = small_catalogue()
    with pytest.raises(InputFaults, match="cutoff_cell_v"):
        match(asking(2.5), stock)
    kinds = {name: list(stock.parts(name).values()) for name in ("motors", "controllers", "packs", "propellers")}
    kinds["packs"].append(pack("liion"))
    mixed = match(asking(2.5), Catalogue.of(**kinds))
    assert any("raised to 3 V" in each.text for each in mixed.assumptions)


def test_a_train_flies_to_the_cut_off_of_its_own_cells() -> None:
    """Each flight is that of the same pack with its cutoff stated, in lanes and alone."""
    packs = [pack(kind) for kind in ("lipo", "liion")]
    (usual,), (low,), (stated,) = (settings(brief)[:1] for brief in (small_brief(), asking(2.5), asking(3.0)))
    trains = [small_train(pack=each) for each in packs]
    together, made = judged_trains(usual, trains)
    assert [each.value for each in made if each.field == "cutoff_cell_v"] == [3.3, 3.0]
    assert together.lanes.flown_to_v(None) == pytest.approx([3.3, 3.0])
    for at, train in enumerate(trains):
        alone = usual.flight_time(train)
        assert alone.cutoff_cell_v == (3.3, 3.0)[at]
        assert together.flight.minutes[at] == pytest.approx(alone.minutes, rel=1e-9)
    raised = low.flight_time(trains[0])
    assert raised.cutoff_cell_v == 3.0
    assert raised.minutes == pytest.approx(stated.flight_time(trains[0]).minutes, rel=1e-12)
    assert any("raised" in each.text for each in raised.assumptions)


def test_a_cut_off_above_a_full_cell_leaves_no_flight() -> None:
    (setting,) = settings(asking(3.3))[:1]
    found = setting.flight_time(small_train(pack=lawful_pack(4, 1300.0, chemistry="nimh")))
    assert (found.minutes, found.ended_by) == (0.0, "cutoff")
