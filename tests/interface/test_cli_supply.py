"""The separate supply for receiver and servos is part of the train wherever its parts are listed."""

import pytest
from support.bundled import PROPELLER, nearest
from support.commands import MOTOR, PACK, narrow_brief  # noqa: F401

from propmatch.catalogue.catalogue import load_catalogue
from propmatch.checks.setting import settings
from propmatch.page.answers import train_answer
from propmatch.records.brief import load_brief
from propmatch.sheet import build_sheet, sheet_html
from propmatch_datasets import path

IDS, OWN = (
    " + ".join((MOTOR, nearest("controllers", max_current_a=20, servo_supply=supply), PACK, PROPELLER))
    for supply in ("none", "switching")
)
# receiver 0.05 A, four micro servos of 0.05 A, payload 0.3 A by the brief; 3 g and 4 g for each ampere: common
# practice, no published source
RADIO_A = 0.05 + 4 * 0.05 + 0.3
SUPPLY_G = 3 + 4 * RADIO_A
LISTED = f"separate BEC of {SUPPLY_G:.1f} g"
COMMANDS = {
    "cells": ("cells",), "time": ("time",), "envelope": ("envelope",), "mass": ("ask", "mass"), "pack": ("ask", "pack"),
    "fits": ("fits",),
}  # fmt: skip


def flat(text: str) -> str:
    return " ".join(text.split())


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_lists_it(run, narrow_brief, name):  # noqa: F811
    words = (*COMMANDS[name], narrow_brief, "--train")
    more = ("--motor", MOTOR) if name == "fits" else ()
    more += ("--assumptions", "--full", *(() if name == "fits" else ("--on-paper",)))
    out = flat(run(*words, IDS, *more).out)
    assert LISTED in out
    assert "3 g and 4 g per ampere" in out, "and says that it is assumed"
    own = flat(run(*words, OWN, *more).out)
    assert LISTED not in own
    assert "per ampere" not in own
    if name != "time":
        assert "receiver supply 5.2" in out, "a line of the mass build-up"
    document = run(*words, IDS, *more, "--json").document
    assert document["train"]["receiver_supply_mass_g"] == pytest.approx(SUPPLY_G)
    assert document["train"]["radio_current_a"] == pytest.approx(RADIO_A)


def test_match_lists_it_and_the_rows_have_its_mass(run, tmp_path):
    text = path("briefs/wetland_logger.toml").read_text(encoding="utf-8")
    file = tmp_path / "none.toml"
    file.write_text(text + '[parts]\ncontroller = ["bundled/*-none"]\npack = ["bundled/2s-820*"]\n', encoding="utf-8")
    ran = run("match", str(file), "--cells", "2", "--on-paper", "--full")
    assert f"and a {LISTED}" in flat(ran.out)
    assert "-none+BEC " in ran.out
    rows = run("match", str(file), "--cells", "2", "--on-paper", "--json").document["rows"]
    assert [row["receiver_supply_mass_g"] for row in rows] == pytest.approx([SUPPLY_G] * len(rows))
    stated = tmp_path / "stated.toml"
    aboard = file.read_text(encoding="utf-8").replace("[aircraft]", "[aircraft]\nreceiver_supply_mass_g = 0")
    stated.write_text(aboard, encoding="utf-8")
    light = run("match", str(stated), "--cells", "2", "--top", "1000", "--on-paper", "--json").document["rows"]
    masses = {row["id"]: row["all_up_mass_g"] for row in light}
    for row in rows:
        assert row["all_up_mass_g"] - masses[row["id"]] == pytest.approx(SUPPLY_G)


def test_page_and_sheet_list_it(narrow_brief):  # noqa: F811
    brief = load_brief(narrow_brief)
    catalogue = load_catalogue()
    answer = train_answer(brief, catalogue, IDS)
    assert answer["supply"] == LISTED
    assert train_answer(brief, catalogue, OWN)["supply"] == "BEC in the ESC"
    parts = {part["kind"]: catalogue.find(f"{part['kind']}s", part["id"]) for part in answer["parts"]}
    text = flat(sheet_html(build_sheet(brief, catalogue, train=settings(brief)[0].train(**parts), on_paper=True)))
    assert LISTED in text
    assert "3 g and 4 g per ampere" in text
