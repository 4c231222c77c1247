"""Where nobody names a power train every command takes the same parts, and says so in the same words."""

import math
import re

import numpy as np
import pytest

from propmatch.catalogue.catalogue import load_catalogue
from propmatch.commands import output
from propmatch.commands.briefs import open_brief
from propmatch.page.answers import best_answer
from propmatch.records.trainid import joined_ids
from propmatch.search.matching import UNNAMED, match
from propmatch.sheet.content import build_sheet

KINDS = ("motor", "controller", "pack", "propeller")
COMMANDS = {
    "cells": (), "envelope": (), "time": (), "fits": ("--propeller", "6x4"), "ask propeller": (), "ask kv": (),
    "ask throttle": (), "ask mass": (), "ask pack": ("--minutes", "5"), "ask field": ("--thrust-to-weight", "0.4"),
}  # fmt: skip


@pytest.fixture
def asked(run, monkeypatch):
    """``asked("time", brief)``: what the command answers, before it is printed in one form or another."""
    replies = []
    monkeypatch.setattr(output, "show", lambda reply, form: replies.append(reply))

    def call(command, brief, *words):
        run(*command.split(), brief, *words)
        return replies.pop()

    return call


@pytest.fixture(scope="module")
def catalogue():
    return load_catalogue(parts=None)


@pytest.fixture(scope="module", params=["schoolyard_trainer"])
def best(request, catalogue):
    """A bundled brief, and the ids of the best of all; one brief, since each command takes seconds."""
    train = match(open_brief(request.param)[0], catalogue, top=20).rows[0].train
    return request.param, {kind: getattr(train, kind).id for kind in KINDS}


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_takes_the_best_that_match_finds_and_says_so(asked, best, command):
    brief, parts = best
    reply = asked(command, brief, *COMMANDS[command])
    named = {kind: reply.extra["train"][kind]["id"] for kind in KINDS if command != "fits" or kind != "propeller"}
    assert named == {kind: parts[kind] for kind in named}
    assert UNNAMED in " ".join(reply.headline)


def test_sheet_and_page_take_the_same_and_say_so(best, catalogue):
    brief, parts = best
    stated = open_brief(brief)[0]
    sheet = build_sheet(stated, catalogue)
    assert {kind: getattr(sheet.design.train, kind).id for kind in KINDS} == parts
    assert UNNAMED in sheet.section("answer").text
    page = best_answer(stated, catalogue)
    assert page["id"] == joined_ids(parts.values())
    assert page["how"] == UNNAMED


def test_the_sheet_and_the_envelope_say_the_same_of_every_cell_count(asked, best, catalogue):
    """Yes or no for each cell count that both of them name."""
    brief, _ = best
    section = build_sheet(open_brief(brief)[0], catalogue).section("envelope")
    refused = {int(count) for count in re.findall(r"Do not fit (\d)S", " ".join(section.text))}
    allowed = {int(count) for table in section.tables for count in re.findall(r"^With (\d)S$", table.caption)}
    rows = asked("envelope", brief).rows
    both = [row for row in rows if row["cells"] in refused | allowed]
    assert len(both) >= 2
    assert all(row["holds"] == (row["cells"] in allowed) for row in both)


def test_a_train_that_is_named_is_not_said_to_be_found(asked, best):
    brief, parts = best
    assert UNNAMED not in " ".join(asked("time", brief, "--train", " + ".join(parts.values())).headline)


def test_a_variant_flies_the_same_parts(asked):
    every = asked("time", "wetland_logger", "--json").extra["flights"]
    assert len(every) > 1
    one = asked("time", "wetland_logger", "--variant", every[-1]["variant"], "--json").extra["flights"]
    assert str(one) == str([every[-1]])  # as text: a NaN equals nothing


def test_the_trim_change_and_its_cures_are_the_same_everywhere(asked, catalogue):
    """For the same cases and speeds, and they are named."""
    brief = "wetland_logger"

    def advice(texts):
        return {text for text in texts if text.startswith("Trim change with throttle, for")}

    readings = asked("cells", brief).extra["balance_and_trim"]
    said = advice(readings["same energy"])
    assert len(said) == 1
    assert all(advice(texts) == said for texts in readings.values())
    assert advice(asked("cells", brief, "--cells", "1,4").extra["balance_and_trim"]["same mass"]) == said
    balance = build_sheet(open_brief(brief)[0], catalogue).section("balance")
    assert advice(balance.text) == said
    fitted = asked("fits", brief, "--pack", "3S 1300mAh 45C")
    fits = " ".join(" ".join(block) for block in fitted.details.values())
    (sentence,) = said
    assert sentence in " ".join(fits.split())
    rows = asked("cells", brief).extra["trim_cures"]
    np.testing.assert_equal(fitted.extra["trim_cures"], rows)
    table = next(each for each in balance.tables if each.caption.startswith("Cures"))
    assert [(row[0], row[1], row[-1]) for row in table.rows] == [(r["cure"], r["advice"], r["cost"]) for r in rows]
    assert [row[2] for row in table.rows] == [f"{r['left_deg']:.1f}{'' if r['found'] else ' or more'}" for r in rows]
    cruise = next(phase.airspeed_m_s for phase in open_brief(brief)[0].phase if phase.airspeed_m_s)
    assert f"at {3.6 * cruise:.0f} km/h" in sentence


@pytest.fixture(scope="module")
def sheet(best, catalogue):
    return build_sheet(open_brief(best[0])[0], catalogue)


def lines_of_own_count(sheet):
    """What the sheet allows with the design's own cell count."""
    own = f"With {sheet.design.train.pack.cells_series}S"
    return dict(next(table for table in sheet.section("envelope").tables if table.caption == own).rows)


def ends_in(text):
    """Low and high of every range; one number stands for both."""
    found = re.findall(r"(\d+(?:\.\d+)?)(?: to (\d+(?:\.\d+)?))?", text)
    return [(float(low), float(high or low)) for low, high in found]


def numbers_in(text):
    return [float(number) for number in re.findall(r"\d+(?:\.\d+)?", text)]


def test_a_sheet_has_one_timer(sheet):
    texts = [text for section in sheet.sections for text in (*section.text, *section.points)]
    texts += [cell for section in sheet.sections for table in section.tables for row in table.rows for cell in row]
    rows = dict(row[:2] for row in sheet.section("duration").tables[0].rows)
    timers = [text.split()[0] for what, text in rows.items() if what.startswith("timer setting")]
    assert len(timers) == 1
    minutes, seconds = map(int, timers[0].split(":"))
    assert 0 < minutes + seconds / 60 < 0.9 * sheet.flight.minutes
    assert set(re.findall(r"\b\d+:\d\d\b", " ".join(texts))) == set(timers)


def test_a_sheet_that_says_yes_asks_for_no_rating_above_the_designs_own(sheet):
    lines, train = lines_of_own_count(sheet), sheet.design.train
    assert sheet.section("answer").text[0].startswith("Yes")
    assert numbers_in(lines["ESC rating"])[0] <= train.controller.max_current_a
    motor_a, motor_w = numbers_in(lines["motor rating"])[:2]
    assert motor_a <= (train.motor.max_current_a or math.inf)
    assert motor_w <= (train.motor.max_power_w or math.inf)


def test_the_designs_own_parts_lie_in_the_ranges_of_its_sheet(sheet):
    lines, train = lines_of_own_count(sheet), sheet.design.train
    (low, high), (own, _) = ends_in(lines[f"{train.motor.kv_kind} kV"])[:2]
    assert own == round(train.motor.kv_rpm_per_v)
    assert low <= own <= high
    ((low, high),) = ends_in(lines["motor mass"])
    assert low - 0.5 <= train.motor.mass_g <= high + 0.5
    for value, line in ((train.propeller.diameter_in, "diameter"), (train.propeller.pitch_in, "pitch")):
        ((low, high),) = ends_in(lines[f"propeller {line}"])
        assert low <= value <= high
    _, (least, most) = ends_in(lines["pack"])[:2]
    assert least <= train.pack.capacity_mah <= most
