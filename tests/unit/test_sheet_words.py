"""Words of the build sheet: what is said of counts that hold, of one field alone, and in the reader's units.

A foot is 0.3048 m, a mile 1609.344 m (international definitions of 1959), so a square foot is 9.290304 dm2.
"""

from types import SimpleNamespace as Like
from typing import Any

import attrs
import pytest

from propmatch.aircraft.cures import Cure, TrimCures
from propmatch.checks.limits import Check
from propmatch.sheet import decision, further
from propmatch.sheet.margincharts import margin_chart
from propmatch.words.envelopewords import Part
from propmatch.words.flightwords import height_words
from propmatch.words.shown import SYSTEMS, Shown
from propmatch.words.speedwords import _way

IMPERIAL = SYSTEMS["imperial"]


def test_the_sentences_of_counts_that_hold_are_on_the_sheet(monkeypatch: pytest.MonkeyPatch) -> None:
    said = ("3S needs another part than the design's: the propeller A.", "The design falls short. Long why.")
    parts = [
        Part(title="What this covers", sentences=("Reckoned. Others may be fitted.",)),
        Part(title="With 3S", sentences=(*said, "Heat in the linear BEC: up to 8.2 W."), lines=(("3S pack", "yes"),)),
    ]
    monkeypatch.setattr(further, "envelope_parts", lambda *_, **__: parts)
    text = further._envelope(Like(envelope=None, shown=Shown())).text  # type: ignore[arg-type]
    assert text[1:] == (said[0], "The design falls short.", "Heat in the linear BEC: up to 8.2 W.")


def test_the_chance_is_that_of_one_field_and_where_it_falls_short_is_said() -> None:
    def words(costs: Any, shown: Shown) -> str:
        return decision._elsewhere(Like(
            envelope=Like(cells={2: Like(costs=costs)}), train=Like(pack=Like(cells_series=2)), shown=shown,
            setting=Like(brief=Like(site=Like(altitude_m=30.48)), air=Like(temperature_k=293.15)),
        ))[0]  # type: ignore[arg-type]  # fmt: skip

    least = Like(altitude_m=304.8, temperature_c=35.0, chance=0.799, wanted=0.8)
    assert words(None, Shown()) == "That is for the brief's own field (30 m, 20 °C)."
    assert "(100 ft, 20 °C); of what is published, at 1000 ft and 35 °C it holds in 79 (80 asked)" in words(
        Like(least=least), IMPERIAL
    )


def counted(case: dict[str, Any], count: int = 3) -> str:
    own = Like(
        pack=Like(cells_series=2, name="2S"), motor=Like(id="m"), propeller=Like(id="p"), controller=Like(id="c")
    )
    found = Like(origin="scaled", pack=own.pack, failing=(1,), train=own)
    made = {"brief": Like(limits=Like(cells=())), "train": own, "shortlist": Like(by_cells={}), "on_paper": False,
            "comparison": Like(case=lambda _: found, remedies={3: Like(first=found)})}  # fmt: skip
    return decision._count_words(Like(**(made | case)), count)  # type: ignore[arg-type]


def test_no_pack_that_nobody_sells_stands_in_the_line_of_a_count() -> None:
    assert counted({}) == counted({"shortlist": None}) == "no pack of the catalogue with 3S fits"
    assert counted({"brief": Like(limits=Like(cells=(2,)))}) == "the brief allows 2S alone"
    assert counted({}, 2) == "as above"


def test_the_best_of_match_is_named_with_its_doubt(monkeypatch: pytest.MonkeyPatch) -> None:
    train = Like(pack=Like(name="3S 1150"), motor=Like(id="m"), propeller=Like(id="q", name="6x4"),
                 controller=Like(id="c"))  # fmt: skip
    best = Like(train=train, flight_minutes=20.0, thrust_to_weight=1.0)
    monkeypatch.setattr(decision, "main_numbers", lambda *_: ("20 min", "1.00", "44"))
    sure = Like(chance_all_limits=0.44, holds=False)
    said = counted({"shortlist": Like(by_cells={3: [best]}), "sure_of": lambda _: sure})
    assert said == (
        "3S 1150 with the propeller 6x4: 20 min, thrust to weight 1.00; may miss, 44 of 100 builds keep every limit"
    )


def test_what_no_build_can_change_is_not_among_the_nearest() -> None:
    fixed = Check(name="cell_count", value=2.0, limit=2.0, unit="S", margin=0.0, verdict="ok", basis="brief")
    assert further._settled(fixed)
    assert not further._settled(attrs.evolve(fixed, verdict="fails"))
    assert not further._settled(attrs.evolve(fixed, name="all_up_mass", chance=0.9))


def test_units_are_the_readers() -> None:
    mass = Check(name="all_up_mass", value=283.495, limit=566.99, unit="g", margin=0.5, verdict="ok", basis="brief")
    table = margin_chart([mass], IMPERIAL).table
    assert table is not None
    assert table.rows[0][1:3] == ("10.0 oz", "at most 20 oz")
    assert IMPERIAL.area_text(9.290304) == "1 ft²"
    assert [_way(16093.44, IMPERIAL), _way(309.0, IMPERIAL, most=True)] == ["10.0 miles", "1010 ft"]
    assert [_way(10_160.0, Shown(), most=True), _way(309.0, Shown(), most=True)] == ["10.1 km", "300 m"]
    flight = Like(phases=(), rounds=float("nan"), greatest_height_m=152.4, height_left_m=152.4, minutes=9.0)
    assert height_words(flight, IMPERIAL)[0].startswith("It climbs to 500 ft above")  # type: ignore[arg-type]


def test_thrust_has_the_digits_of_its_range() -> None:
    assert IMPERIAL.thrust_text(20.94 * 0.2780138509537812) == "20.9 oz"  # an ounce-force in N


def test_what_is_left_of_a_change_of_trim_is_said_plainly() -> None:
    cure = Cure(cure="elevator mix", found=True, value=5.1, unit="deg", advice="Mix it", cost="",
                left_deg=1.4, most_deg=2.0)  # fmt: skip
    now = Like(airspeed_m_s=[10.0], names=["2S"], worst_deg=6.5, most_deg=4.6)
    said = TrimCures(now=now, cures=(cure,), lanes_without_answer=0).reading()  # type: ignore[arg-type]
    assert said.endswith("What helps most: mix it; then 1.4 degrees are left.")
