"""What is done by hand on the page: each answer is that of the command line or of the Python function behind it."""

import csv
import io
from base64 import b64decode
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest
from interface.conftest import Ran
from support.pages import Served, served
from support.sheets import BRIEF, brief, stock

from propmatch.brief import loads_brief
from propmatch.catalogue.catalogue import load_catalogue
from propmatch.checks.limits import Design, missed, run_checks
from propmatch.checks.setting import ResolvedBrief, settings
from propmatch.coupling import solve
from propmatch.faults import InputFaults
from propmatch.page import downloads
from propmatch.page.edit import edited, field_values
from propmatch.page.forms import form_answer
from propmatch.page.whys import nearest_answer
from propmatch.questions.box import judge_cells
from propmatch.records.fields import declared, replace
from propmatch.records.sections import Brief, Phase, Units, Variant
from propmatch.records.trainid import PART_KINDS
from propmatch.search.matching import match, shelves_of
from propmatch.search.why import why
from propmatch.words.shown import SYSTEMS, Shown
from propmatch.words.standingwords import standing_words

PHASES = [{"name": "up", "throttle": 1, "seconds": 30}, {"name": "along", "airspeed_m_s": 12, "share": 1}]
MOTORS = "name;KV;Weight;Max A\nblue 24;1350;26 g;12\nblue 26;1250;31 g;14\n"


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    with served(BRIEF, stock(), tmp_path_factory.mktemp("briefs")) as made:
        yield made


@pytest.fixture(scope="module")
def best_id() -> str:
    found = match(brief(), stock(), top=1).best
    assert found is not None
    return found.id


# ---------------------------------------------------------------- the brief


def test_any_table_of_the_brief_can_be_changed() -> None:
    plain = brief()
    made = edited(BRIEF, {
        "phase": PHASES, "wing.area_dm2": 18, "aircraft.motor_count": 2, "units.speed": "mph",
        "variant": [{"name": "wet", "bare_mass_g": 310}], "thrust_line": None, "flying.style": "calm",
    })  # fmt: skip
    wanted = replace(
        plain, phase=tuple(Phase(**each) for each in PHASES), wing=replace(plain.wing, area_dm2=18.0),
        aircraft=replace(plain.aircraft, motor_count=2), units=Units(speed="mph"),
        variant=(Variant(name="wet", bare_mass_g=310.0),), thrust_line=None,
        flying=replace(plain.flying, style="calm"),
    )  # fmt: skip
    assert made == wanted


@pytest.mark.parametrize("name", ["phase", "variant", "item"])
def test_what_a_brief_says_can_be_sent_back(name: str) -> None:
    """The list that the page is told, laid over another brief, is the same list there."""
    held = field_values(brief())[name]
    assert getattr(edited(BRIEF, {name: held}), name) == getattr(brief(), name)


def test_what_is_wrong_is_said_at_its_place_all_at_once() -> None:
    changes = {"phase": [{"name": "up", "throttle": 2, "seconds": 3}, {"name": "idle"}], "wing.span_mm": -1,
               "wing.colour": "red", "variant": "two"}  # fmt: skip
    with pytest.raises(InputFaults) as told:
        edited(BRIEF, changes)
    keys = {fault.key for fault in told.value.faults}
    assert {"phase[1].throttle", "phase[2].throttle", "wing.span_mm", "wing.colour", "variant"} <= keys


@pytest.mark.parametrize(
    "changes",
    [{"aircraft": 3}, {"aircraft": None, "aircraft.bare_mass_g": 3}, {"phase": [3]},
     {"item": [], "aircraft.bare_mass_g": "x"}, {"": 1}, {"limits.cells[0]": 2}],
)  # fmt: skip
def test_senseless_changes_are_faults(changes: dict[str, object]) -> None:
    with pytest.raises(InputFaults):
        edited(BRIEF, changes)


def test_a_section_left_empty_is_none() -> None:
    text = "[aircraft]\nname='a'\nbare_mass_g=300\n"
    assert edited(text, {"radio.servos": 2}).radio is not None
    assert edited(text, {"radio.servos": None}).radio is None


def test_everything_of_a_brief_can_be_filled_in() -> None:
    """Every plain key of every table, with its unit and its range, has a field."""
    told = {table["name"]: table for table in form_answer()["tables"]}
    for rule in declared(Brief):
        fields = {field["name"]: field for field in told[rule.name]["fields"]}
        for key in declared(rule.item):
            if key.kind in ("number", "integer"):
                assert fields[key.name]["unit"] == key.unit
                assert fields[key.name]["rule"] == key.rule
    area = next(field for field in told["wing"]["fields"] if field["name"] == "area_dm2")
    assert (area["label"], area["unit"]) == ("area", "dm2")


def test_what_stands_in_is_of_the_brief_at_hand(page: Served) -> None:
    """What is said beside an empty field is an assumption of the same brief, so the two never differ."""
    for changes in ({}, {"site.temperature_c": 15}):
        told = page.ask("brief", text=BRIEF, changes=changes).json()
        assert set(told["left_out"].values()) <= set(told["assumptions"])
    assert "15" in told["left_out"]["site.pack_temperature_c"]


def test_the_units_change_all_numbers_shown(page: Served, best_id: str) -> None:
    changes = {f"units.{name}": getattr(SYSTEMS["imperial"], name) for name in ("thrust", "speed", "wing_loading")}
    told = page.ask("train", text=BRIEF, changes=changes, train=best_id).json()
    mass = next(each for each in told["numbers"] if each["name"] == "mass")
    assert mass["text"] == SYSTEMS["imperial"].mass_text(mass["value"])
    assert mass["text"].endswith(" oz")
    assert "mph" in told["chart"]["words"]


# ---------------------------------------------------------------- picking, locking, only mine


def test_a_part_is_picked_by_name(page: Served, best_id: str) -> None:
    told = page.ask("choices", text=BRIEF).json()
    motors = told["kinds"]["motor"]
    assert [each["id"] for each in motors] == list(stock().motors)
    assert len({each["name"] for each in motors}) == len(motors)
    other = next(each for each in motors if each["id"] != best_id.split(" + ")[0])
    answer = page.ask("swap", text=BRIEF, train=best_id, kind="motor", part=other["id"]).json()
    assert answer["train"] == " + ".join([other["id"], *best_id.split(" + ")[1:]])
    near = page.ask("swap", text=BRIEF, train=best_id, kind="motor", part=other["id"][:-1] + "?")
    assert near.status_code in (200, 422)
    wrong = page.ask("swap", text=BRIEF, train=best_id, kind="motor", part="no such thing").json()
    (fault,) = wrong["faults"]
    assert "'no such thing': no part with this id or name" in fault["rule"]
    assert fault["key"] == "pick.motor"
    assert "propmatch" not in fault["text"]
    assert answer["taken"] == ""
    some = page.ask("swap", text=BRIEF, train=best_id, kind="motor", part=other["name"][:-1] + "*").json()
    if "train" in some:
        assert some["taken"] == next(each["name"] for each in motors if each["id"] == some["train"].split(" + ")[0])
    assert page.ask("swap", text=BRIEF, train="", kind="motor", part=other["id"]).status_code == 422
    assert page.ask("swap", text=BRIEF, train=best_id, kind="wheel", part=other["id"]).status_code == 422


def test_a_locked_part_gives_what_match_gives(page: Served, run: Callable[..., Ran], tmp_path: Path) -> None:
    """The same brief with [parts] by hand, through the command line."""
    others = [row.motor_id for row in match(brief(), stock(), top=50).rows]
    locked = next(each for each in others if each != others[0])
    changes = {"parts.motor": [locked]}
    told = page.ask("best", text=BRIEF, changes=changes).json()
    assert told["id"].split(" + ")[0] == locked
    by_hand = loads_brief(BRIEF + f"[parts]\nmotor = ['{locked}']\n")
    found = match(by_hand, stock(), top=1).best
    assert found is not None
    assert told["id"] == found.id
    total = page.ask("map", text=BRIEF, changes=changes).json()["total"]
    assert total == match(by_hand, stock(), count=True, on_paper=True).passing


def test_a_lock_holds_one_part_alone() -> None:
    """An id that begins another id lets in the one part only."""
    from support.trains import simple_motor

    from propmatch import Catalogue

    some = Catalogue.of(motors=[replace(simple_motor(), id=f"own/22{more}", name=f"22{more}") for more in ("", "05")])
    assert list(some.restricted(motors="own/22").motors) == ["own/22"]
    assert len(some.restricted(motors="own/2").motors) == 2


def test_only_mine_gives_what_match_only_gives(run: Callable[..., Ran], tmp_path: Path) -> None:
    """A box with motors alone: the command and the page say the same of it, and the same is best of a whole one."""
    text = BRIEF.replace("cells = [2, 3]", "cells = [2]")
    file = tmp_path / "brief.toml"
    file.write_text(text, encoding="utf-8")
    run("parts", "motors", "--add", "--save", "--parts", str(tmp_path), typed=MOTORS)
    said = " ".join(run("match", str(file), "--only", "mine", "--parts", str(tmp_path)).out.split())
    catalogue = load_catalogue(parts=tmp_path)
    told = nearest_answer(edited(text, {"parts.only": ["mine"]}), catalogue)
    for each in [*told["first"], *(cell["words"] for cell in told["cells"])]:
        assert " ".join(each.split()).partition(": with")[2] in said
    assert told["first"]
    mine = stock()
    for kind in PART_KINDS:
        parts = stock().parts(f"{kind}s").values()
        mine = mine.with_parts(**{f"{kind}s": [replace(each, id=each.id.replace("made/", "mine/")) for each in parts]})
    only = match(edited(text, {"parts.only": ["mine"]}), mine, top=1).best
    assert only is not None
    assert all(id.startswith("mine/") for id in only.id.split(" + "))
    assert only.id.replace("mine/", "made/") == match(loads_brief(text), stock(), top=1).best.id


# ---------------------------------------------------------------- why


def test_why_a_train_is_left_out_is_what_match_says(page: Served, best_id: str) -> None:
    changes = {"limits.min_flight_minutes": 500}
    for some in ({}, changes):
        told = page.ask("why", text=BRIEF, changes=some, train=best_id).json()
        found = why(edited(BRIEF, some), stock(), best_id)
        assert told["words"] == standing_words(found, Shown())
        assert told["meets"] is (not some)
    out = page.ask("why", text=BRIEF, changes={"parts.motor": ["nothing like it"]}, train=best_id)
    assert out.status_code == 422


def test_a_part_that_the_brief_does_not_let_in_is_said_to_be(page: Served, best_id: str) -> None:
    motor = next(each for each in stock().motors if each != best_id.split(" + ")[0])
    told = page.ask("why", text=BRIEF, changes={"parts.motor": [motor]}, train=best_id).json()
    assert told["meets"] is False
    assert told["words"].endswith("the brief lets in other parts alone; see motor.")


def test_where_nothing_passes_the_nearest_are_named(page: Served) -> None:
    """Each miss is judged again by itself; all-together misses are in order."""
    changes = {"limits.min_flight_minutes": 300, "limits.cells": [2]}
    told = page.ask("nearest", text=BRIEF, changes=changes).json()["cells"]
    assert [each["cells"] for each in told] == [2]
    (found,) = told
    assert found["passing"] == 0
    assert "Everything misses flight time" in found["words"]
    here = settings(edited(BRIEF, changes))[0]
    parts = {kind: getattr(stock(), f"{kind}s") for kind in PART_KINDS}
    for near in found["nearest"]:
        train = here.train(
            **{kind: parts[kind][id] for kind, id in zip(PART_KINDS, near["id"].split(" + "), strict=True)}
        )

        failing = missed(run_checks(Design.of(train, here.variant), edited(BRIEF, changes)))
        assert "flight time" in near["words"]
        assert len(failing) == near["words"].count("(")


def test_a_sampled_nearest_is_near(monkeypatch: pytest.MonkeyPatch) -> None:
    """From a few at random the search leads to one that no other part of one kind brings nearer, judged by force."""
    from propmatch.questions import box as module

    catalogue = load_catalogue(plugins=["bundled"]).restricted(
        motors="bundled/16*", controllers="*none", packs="bundled/2s*", propellers="bundled/6x3*"
    )
    here = ResolvedBrief.of(edited(BRIEF, {"limits.min_flight_minutes": 300, "limits.cells": [2]})).as_designed
    shelf = shelves_of(here, catalogue)[0][2]
    by_force = judge_cells(here, shelf, 2)
    monkeypatch.setattr(module, "JUDGED", 50)
    monkeypatch.setattr(module, "BEST", 5)
    some = judge_cells(here, shelf, 2)
    assert some.judged < by_force.judged / 3
    assert by_force.judged == by_force.combinations
    assert some.nearest[0].total <= 1.01 * by_force.nearest[0].total
    assert some.passing == by_force.passing == 0


# ---------------------------------------------------------------- a table dropped


def test_a_dropped_table_is_shown_as_the_command_line_shows_it(
    page: Served, run: Callable[..., Ran], tmp_path: Path
) -> None:
    said = run("parts", "motors", "--add", "--parts", str(tmp_path), typed=MOTORS).out
    told = page.ask("table", text=BRIEF, table={"name": "motors.csv", "text": MOTORS, "kind": "motors"}).json()
    assert said.startswith(told["sentence"].rstrip("."))
    for column in told["columns"]:
        assert " ".join(column.split()) in " ".join(said.split())
    assert told["usable"]
    (listed,) = told["lists"]
    for row in listed["rows"]:
        assert all(cell in said for cell in row)


def test_a_dropped_table_gives_the_same_as_one_that_was_kept(
    page: Served, run: Callable[..., Ran], tmp_path: Path
) -> None:
    tables = [{"name": "motors.csv", "text": MOTORS, "kind": "motors"}]
    run("parts", "motors", "--add", "--save", "--parts", str(tmp_path), typed=MOTORS)
    kept = load_catalogue(plugins=["parts"], parts=tmp_path)
    changes = {"parts.motor": ["mine/blue*"]}
    told = page.ask("best", text=BRIEF, changes=changes, tables=tables).json()
    found = match(edited(BRIEF, changes), stock().with_parts(motors=kept.motors.values()), top=1).best
    assert found is not None
    assert told["id"] == found.id
    assert page.ask("best", text=BRIEF, changes=changes).status_code == 422
    names = page.ask("choices", text=BRIEF, tables=tables).json()
    assert {"name": "mine", "parts": 2} in names["boxes"]
    total = page.ask("map", text=BRIEF, tables=tables).json()["combinations"]
    assert total > page.ask("map", text=BRIEF).json()["combinations"]


@pytest.mark.parametrize(
    ("table", "rule"),
    [
        ({"name": "a.csv", "text": "no;part\n1;2\n"}, "cannot tell what the rows are"),
        ({"name": "a.csv", "text": ""}, ""),
        ({"name": "a.xlsx", "text": "PK"}, "is not text"),
        ({"name": "a.csv", "text": MOTORS, "kind": "wings"}, "must be one of"),
        ({"name": "a.csv", "text": MOTORS, "box": "bundled"}, "is the name of a plugin"),
        ({"name": 3}, "must be text"),
        (None, "must be text"),
    ],
)
def test_what_is_no_table_of_parts_is_a_fault(page: Served, table: object, rule: str) -> None:
    answer = page.ask("table", text=BRIEF, table=table)
    assert answer.status_code == 422
    assert any(rule in fault["rule"] for fault in answer.json()["faults"])


def test_no_fault_of_a_drop_names_a_command(page: Served) -> None:
    for name, text in (("a.csv", "no;part\n1;2\n"), ("a.csv", "12A 14A 16A\n"), ("a.ods", "PK")):
        for what, key in (("table", "table"), ("fit", "log")):
            faults = page.ask(what, text=BRIEF, **{key: {"name": name, "text": text}}).json()["faults"]
            assert faults
            assert not [each["text"] for each in faults if "propmatch " in each["text"] or " --" in each["text"]]


@pytest.mark.parametrize("name", ["l" * 300 + ".csv", "..", "a/b\0", "." + "c" * 300, ""])
def test_a_log_may_have_any_name(page: Served, name: str) -> None:
    """No name of a file reaches the disk; it is what faults are said of."""
    answer = page.ask("fit", text=BRIEF, log={"name": name, "text": "no;log\n1;2\n"})
    assert answer.status_code == 422
    assert all(each["where"].startswith(name.replace("\0", r"\x00") or "log.csv") for each in answer.json()["faults"])


def test_a_column_of_the_same_name_is_no_line(page: Served) -> None:
    told = page.ask("table", text=BRIEF, table={"name": "m.csv", "text": MOTORS.replace("name", "name", 1)}).json()
    assert told["columns"]
    assert not [each for each in told["columns"] if each.split(" -> ")[0] == each.split(" -> ")[-1]]


def test_a_name_that_is_taken_is_said_before_it_is_used(page: Served) -> None:
    one = {"name": "a.csv", "text": MOTORS, "kind": "motors"}
    other = {**one, "name": "b.csv", "text": MOTORS.replace("1350", "1400")}
    told = page.ask("table", text=BRIEF, tables=[one], table=other).json()
    assert not told["usable"]
    assert any("has motors of this name with other numbers" in each for each in told["wrong"])
    assert page.ask("table", text=BRIEF, tables=[one], table=one).json()["usable"]


# ---------------------------------------------------------------- curves and files


def test_the_throttle_curve_is_that_of_the_operating_points(page: Served, best_id: str) -> None:
    told = page.ask("throttle", text=BRIEF, train=best_id).json()
    here = settings(brief())[0]
    train = here.train(**{kind: getattr(stock(), f"{kind}s")[id]
                          for kind, id in zip(PART_KINDS, best_id.split(" + "), strict=True)})  # fmt: skip
    thrust, current = told["panes"]
    for x, gf, amps in zip(told["x"], thrust["lines"][0]["values"], current["lines"][0]["values"], strict=True):
        point = solve(train, airspeed_m_s=0.0, throttle=x / 100, charge=1.0, air=here.air)
        assert gf == pytest.approx(Shown().thrust_of(float(point.thrust_n)), rel=1e-4)
        assert amps == pytest.approx(float(point.motor_current_a), rel=1e-4)
    band = thrust["bands"][0]
    assert all(low <= high for low, high in zip(band["low"], band["high"], strict=True))


def test_the_timeline_is_the_flight(page: Served, best_id: str) -> None:
    told = page.ask("flight", text=BRIEF, train=best_id).json()
    minutes = page.ask("train", text=BRIEF, train=best_id, moving=True).json()["numbers"]
    wanted = next(each["value"] for each in minutes if each["name"] == "flight_time")
    assert told["x"][-1] == pytest.approx(wanted, rel=1e-3)
    volts, height, charge = told["panes"]
    assert len(volts["lines"]) == len(brief().phase)
    assert charge["lines"][0]["values"][0] == pytest.approx(100.0)
    assert charge["lines"][0]["values"][-1] == pytest.approx(charge["levels"][0]["value"], abs=0.5) or (
        np.nanmin([v for line in volts["lines"] for v in line["values"] if v is not None])
        == pytest.approx(volts["levels"][0]["value"], rel=0.01)
    )
    assert min(v for v in height["lines"][0]["values"] if v is not None) >= 0
    none = page.ask("flight", text=BRIEF, changes={"aircraft.bare_mass_g": 20000}, train=best_id).json()
    assert (none["x"], none["panes"]) == ([], [])
    assert none["words"]


def test_the_shortlist_is_the_csv_of_match(page: Served) -> None:
    told = page.ask("shortlist", text=BRIEF).json()
    rows = list(csv.DictReader(io.StringIO(told["text"])))
    found = match(brief(), stock(), top=5)
    assert told["file"] == "shortlist.csv"
    assert {row["id"] for row in rows} <= {each.id for group in found.by_cells.values() for each in group}
    assert float(rows[0]["flight_minutes"]) == pytest.approx(next(iter(found.by_cells.values()))[0].flight_minutes)


def test_the_sheet_is_given_as_a_pdf(monkeypatch: pytest.MonkeyPatch) -> None:
    """The bytes that the writer of PDFs writes, whatever it is."""
    monkeypatch.setattr(downloads, "sheet_pdf", lambda sheet: b"%PDF-1.7 of a sheet")
    told = downloads.pdf_file(object())  # type: ignore[arg-type]
    assert (told["file"], told["type"]) == ("sheet.pdf", "application/pdf")
    assert b64decode(told["base64"]) == b"%PDF-1.7 of a sheet"
