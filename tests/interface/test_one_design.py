"""Where nobody names a power train every command takes the same parts, and says so in the same words."""

import math
import re

import attrs
import numpy as np
import pytest
from support.sheets import whole_envelope
from support.sheetwords import pages_of, printed_words

from propmatch.catalogue.catalogue import load_catalogue
from propmatch.checks.setting import ResolvedBrief
from propmatch.commands import output
from propmatch.commands.briefs import open_brief
from propmatch.page.answers import best_answer, train_answer
from propmatch.records.trainid import joined_ids
from propmatch.search import matching
from propmatch.search.matching import UNNAMED, match
from propmatch.sheet import content
from propmatch.sheet.content import build_sheet
from propmatch.sheet.html import sheet_html

pytestmark = pytest.mark.slow
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
        reply = replies.pop()
        return attrs.evolve(reply, rows=output.now(reply.rows), extra=output.now(reply.extra))

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


@pytest.mark.parametrize("command", [*COMMANDS, "sheet", "bench", "measure"])
def test_where_nothing_meets_the_brief_every_command_says_so_and_exits_1(run, monkeypatch, command):
    def none(brief, *_, **__):
        raise matching.nothing_meets(ResolvedBrief.of(brief).stated)

    for module in (matching, content):
        monkeypatch.setattr(module, "best_train" if module is matching else "match", none)
    words = (*command.split(), "wetland_logger", *COMMANDS.get(command, ()))
    text, data = run(*words), run(*words, "--json")
    assert (text.exit_code, data.exit_code, text.err, data.err) == (1, 1, "", "")
    assert all(len(line) <= 80 for line in text.out.splitlines())
    said = "no power train of the catalogue meets the brief."
    assert said in " ".join(text.out.split())
    assert said in data.document["notes"][0]
    assert (data.document["rows"], data.document["faults"]) == ([], [])


@pytest.fixture(scope="module")
def sheet(best, catalogue):
    with whole_envelope():
        return build_sheet(open_brief(best[0])[0], catalogue)


@pytest.fixture(scope="module")
def logger(catalogue):
    with whole_envelope():
        return build_sheet(open_brief("wetland_logger")[0], catalogue)


def test_sheet_and_page_take_the_same_and_say_so(best, catalogue, sheet):
    brief, parts = best
    assert {kind: getattr(sheet.design.train, kind).id for kind in KINDS} == parts
    assert UNNAMED in sheet.section("parts").text
    page = best_answer(open_brief(brief)[0], catalogue)
    assert page["id"] == joined_ids(parts.values())
    assert page["how"] == UNNAMED


def test_the_sheet_and_the_envelope_say_the_same_of_every_cell_count(asked, best, sheet):
    """Yes or no for each cell count that both of them name."""
    section = sheet.section("envelope")
    allowed = {int(head[0]) for table in section.tables for head in table.heads[1:]}
    refused = {int(count) for count in re.findall(r"Do not (?:fit|publish) (\d)S", " ".join(section.text))}
    assert not allowed & refused
    both = [row for row in asked("envelope", best[0]).rows if row["cells"] in refused | allowed]
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


def test_the_trim_change_and_its_cures_are_the_same_everywhere(asked, logger):
    """For the same cases and speeds, and they are named."""
    brief = "wetland_logger"

    def advice(texts):
        return {text for text in texts if text.startswith("Trim change with throttle, for")}

    readings = asked("cells", brief).extra["balance_and_trim"]
    said = advice(readings["same energy"])
    assert len(said) == 1
    assert all(advice(texts) == said for texts in readings.values())
    assert advice(asked("cells", brief, "--cells", "1,4").extra["balance_and_trim"]["same mass"]) == said
    balance = logger.section("balance")
    assert advice(balance.text) == said
    fitted = asked("fits", brief, "--pack", "3S 1150mAh 38C")
    fits = " ".join(" ".join(block) for block in fitted.details.values())
    (sentence,) = said
    assert sentence in " ".join(fits.split())
    rows = asked("cells", brief).extra["trim_cures"]
    np.testing.assert_equal(fitted.extra["trim_cures"], rows)
    table = next(each for each in balance.folded if each.caption.startswith("Cures"))
    assert [(row[0], row[1], row[-1]) for row in table.rows] == [(r["cure"], r["advice"], r["cost"]) for r in rows]
    assert [row[2] for row in table.rows] == [f"{r['left_deg']:.1f}{'' if r['found'] else ' or more'}" for r in rows]
    cruise = next(phase.airspeed_m_s for phase in open_brief(brief)[0].phase if phase.airspeed_m_s)
    assert f"at {3.6 * cruise:.0f} km/h" in sentence


def lines_of_own_count(sheet):
    """What the sheet allows with the design's own cell count."""
    (table,) = sheet.section("envelope").tables
    at = table.heads.index(f"{sheet.design.train.pack.cells_series}S")
    return {row[0]: row[at] for row in table.rows}


def ends_in(text):
    """Low and high of every range; one number stands for both."""
    found = re.findall(r"(\d+(?:\.\d+)?)(?: to (\d+(?:\.\d+)?))?", text)
    return [(float(low), float(high or low)) for low, high in found]


def numbers_in(text):
    return [float(number) for number in re.findall(r"\d+(?:\.\d+)?", text)]


def test_timer_and_charge_to_put_back_are_one_value_everywhere(asked, sheet, best, catalogue):
    """In the sheet, the page, ``time`` and ``envelope``."""
    texts = [text for section in sheet.sections for text in (*section.text, *section.points)]
    texts += [
        cell for section in sheet.sections for table in (*section.tables, *section.folded)
        for row in table.rows for cell in row
    ]  # fmt: skip
    rows = dict(sheet.section("settings").tables[0].rows)
    clock = rows["timer setting, as really flown"].split()[0]
    minutes, seconds = map(int, clock.split(":"))
    assert 0 < minutes + seconds / 60 < 0.9 * sheet.flight.minutes
    assert set(re.findall(r"\b\d+:\d\d\b", " ".join(texts))) == {clock}
    back = rows["charge to put back"]
    page = train_answer(open_brief(best[0])[0], catalogue, joined_ids(best[1].values()))["settings"]
    assert [row["to"] for row in page if row["set"] in rows] == [rows[row["set"]] for row in page if row["set"] in rows]
    assert sum("timer" in row["set"] or "put back" in row["set"] for row in page) == 2
    time = " ".join(asked("time", best[0]).headline)
    assert f"Set the timer to {clock} (min:s)" in time
    assert f"put back about {back.replace(' mAh', '')} mAh" in time
    assert len(re.findall(r"\b\d+:\d\d\b", time)) == 1


@pytest.mark.parametrize("brief", ["schoolyard_trainer", "wetland_logger"])
def test_the_printed_words_are_at_most_1800(sheet, logger, brief):
    """What a reader of the paper reads, names of phases and axes in drawings counted apart."""
    html = sheet_html(logger if brief == "wetland_logger" else sheet)
    words = printed_words(html, drawings=False)
    assert 700 < len(words) <= 1800
    text = " ".join(words)
    for said in (
        "What to fit",
        "battery lead, full throttle",
        "Set up radio and ESC with the propeller off",
        "timer setting",
    ):
        assert text.count(said) == 1, "nothing is said twice"
    assert text.index("timer setting") < text.index("How close to the limits")


@pytest.mark.browser
@pytest.mark.parametrize("brief", ["schoolyard_trainer", "wetland_logger"])
def test_it_prints_on_six_pages_the_first_of_them_the_decision(browser, tmp_path, sheet, logger, brief):
    file = tmp_path / "sheet.html"
    file.write_text(sheet_html(logger if brief == "wetland_logger" else sheet), encoding="utf-8")
    browser.open(file)
    assert pages_of(browser.print_pdf(tmp_path / "whole.pdf").read_bytes()) <= 6
    browser.run("document.querySelectorAll('main > section, footer').forEach(each => each.remove())")
    assert pages_of(browser.print_pdf(tmp_path / "first.pdf").read_bytes()) == 1


def test_a_sheet_that_says_likely_asks_for_no_rating_above_the_designs_own(sheet):
    lines, train = lines_of_own_count(sheet), sheet.design.train
    assert sheet.lead[0].startswith("Likely")
    assert numbers_in(lines["ESC rating"])[0] <= train.controller.max_current_a
    motor_a, motor_w = numbers_in(lines["motor rating"])[:2]
    assert motor_a <= (train.motor.max_current_a or math.inf)
    assert motor_w <= (train.motor.max_power_w or math.inf)


def test_the_designs_own_motor_lies_in_the_ranges_of_its_sheet(sheet):
    """By its label, which the trainer's motor states."""
    lines, motor = lines_of_own_count(sheet), sheet.design.train.motor
    (low, high), (own, _) = ends_in(lines["label kV"])[:2]
    assert motor.kv_kind == "label"
    assert own == round(motor.kv_rpm_per_v)
    assert low <= own <= high
    ((low, high),) = ends_in(lines["motor mass"])
    assert low - 0.5 <= motor.mass_g <= high + 0.5
