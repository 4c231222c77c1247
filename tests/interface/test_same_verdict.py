"""A check has one verdict and one chance, whichever command says it; chances of the draws by hand (numpy)."""

import math
import re

import pytest
from support.commands import TRAIN, TRAIN_ID

from propmatch.catalogue.catalogue import load_catalogue
from propmatch.checks.chances import sureness
from propmatch.checks.limits import Design, run_checks
from propmatch.checks.setting import ResolvedBrief
from propmatch.commands.briefs import open_brief
from propmatch.commands.choose import train_of_ids
from propmatch.commands.trains import LazyCatalogue
from propmatch.page.answers import train_answer
from propmatch.sheet.content import build_sheet
from propmatch.words.checkwords import check_name
from propmatch.words.verdictwords import doubt_words

BRIEF = "wetland_logger"
KEYS = ("verdict", "chance", "low", "high")


@pytest.fixture(scope="module")
def brief():
    return open_brief(BRIEF)[0]


@pytest.fixture(scope="module")
def train(brief):
    setting = ResolvedBrief.of(brief).as_designed
    return train_of_ids(LazyCatalogue(None, False), TRAIN_ID, **setting.train_numbers)


@pytest.fixture(scope="module")
def own(brief, train):
    """By name, as Python has them."""
    design = Design.of(train, ResolvedBrief.of(brief).as_designed.variant)
    return {check.name: {key: getattr(check, key) for key in KEYS} for check in run_checks(design, brief)}


@pytest.fixture(scope="module")
def doubt(brief, train):
    """First words on the train: it keeps every limit on paper, some less surely than asked, by shares of the draws."""
    sure = sureness(ResolvedBrief.of(brief).as_designed, train)
    kept = {name: sure.of(sure.drawn.measured.passes(name)).mean() for name in sure.drawn.judged}
    short = {name: chance for name, chance in kept.items() if chance < sure.wanted(name)}
    words = doubt_words(sure)
    assert short
    assert sure.short == pytest.approx(short)
    assert words.startswith("may miss ")
    assert all(f"{check_name(name)}: {100 * chance:.0f}" in words for name, chance in short.items())
    return words


def same(told, own):
    """Whether checks as data have the verdicts and chances of Python."""
    assert len(told) >= len(own) - 1
    for check in told:
        for key in KEYS:
            value = own[check["name"]][key]
            missing = isinstance(value, float) and math.isnan(value)
            assert check[key] == (None if missing else pytest.approx(value)), (check["name"], key)


def test_some_check_is_close_by_its_chance_alone(own):
    assert any(each["verdict"] == "close" and each["chance"] < 0.8 for each in own.values())
    assert any(each["verdict"] == "ok" and each["chance"] < 1 for each in own.values())


def test_commands_say_what_python_says(run, own, doubt):
    cells = run("cells", BRIEF, *TRAIN, "--json").document["checks_by_case"][0]
    assert (cells["cells"], cells["compared_by"]) == (2, "same energy")
    same(cells["checks"], own)
    fits = run("fits", BRIEF, *TRAIN, "--propeller", TRAIN_ID.split(" + ")[-1], "--json").document
    same(fits["checks"], own)
    assert (fits["fits"], fits["holds"], fits["verdict"]) == (True, False, f"On paper yes, but {doubt}")
    why = run("match", BRIEF, "--why", TRAIN_ID, "--json").document
    same(why["rows"], own)
    assert (why["holds"], why["short_of_asked"]) == (False, fits["short_of_asked"])
    assert why["verdict"].startswith(f"M{doubt[1:]}")


def test_match_says_of_its_pick_what_python_says(run, brief):
    row = run("match", BRIEF, "--top", "1", "--json").document["rows"][0]
    setting = ResolvedBrief.of(brief).as_designed
    picked = train_of_ids(LazyCatalogue(None, False), row["id"], **setting.train_numbers)
    checks = run_checks(Design.of(picked, setting.variant), brief)
    same(row["checks"], {check.name: {key: getattr(check, key) for key in KEYS} for check in checks})
    assert row["chance_all_limits"] == sureness(setting, picked).chance_all_limits


def test_page_and_sheet_say_what_python_says(brief, train, own, doubt):
    catalogue = load_catalogue(parts=None).restricted(motors=train.motor.id, propellers=train.propeller.id)
    page = train_answer(brief, catalogue, TRAIN_ID)
    same(page["checks"], own)
    assert page["holds"] is False
    sheet = build_sheet(brief, catalogue, train=train)
    assert all(text.startswith(f"M{doubt[1:]}") for text in (page["verdict"], sheet.lead[0]))
    same([{"name": c.name, **{key: _data(getattr(c, key)) for key in KEYS}} for c in sheet.checks], own)


def _data(value):
    return None if isinstance(value, float) and math.isnan(value) else value


def test_fits_says_how_many_builds_keep_all_limits_and_what_is_least_certain(run, brief, train):
    setting = ResolvedBrief.of(brief).as_designed
    ran = run("fits", BRIEF, *TRAIN, "--propeller", TRAIN_ID.split(" + ")[-1], "--json").document
    sure = sureness(setting, train)
    row, judged = ran["rows"][0], list(sure.chance_by_check)
    together = sure.drawn.measured.passes(judged[0])
    for name in judged[1:]:
        together = together & sure.drawn.measured.passes(name)
    assert row["chance_all_limits"] == pytest.approx(together.mean())
    assert row["chance_all_limits"] == row["chance_all_limits_before"], "the substitute is the design's own"
    assert row["chance_by_check"] == pytest.approx(sure.chance_by_check)
    assert row["thrust_to_weight_low"] < row["thrust_to_weight"] < row["thrust_to_weight_high"]
    assert row["thrust_to_weight_low"] == row["thrust_to_weight_low_before"]
    assert ran["least_certain"] == sure.least_certain
    assert ran["hangs_on"] == pytest.approx(sure.hangs_on(sure.least_certain))
    text = " ".join(run("fits", BRIEF, *TRAIN, "--propeller", TRAIN_ID.split(" + ")[-1]).out.split())
    assert f"In {100 * together.mean():.0f} of 100 builds it keeps every limit" in text
    assert text.startswith("On paper yes, but may miss ")
    assert "Least certain: " in text
    assert " of that from the " in text


@pytest.mark.parametrize("words", [("cells",), ("fits", "--propeller", "6x4")])
def test_text_names_the_assumptions_that_matter_and_json_all(run, words):
    command, *more = words
    short = run(command, BRIEF, *TRAIN, *more).out
    long = run(command, BRIEF, *TRAIN, *more, "--assumptions").out
    every = run(command, BRIEF, *TRAIN, *more, "--json").document["assumptions"]
    flat = [" ".join(text.split()) for text in (short, long)]
    assert all(" ".join(each["text"].split()).replace("degC", "°C") in flat[1] for each in every)
    more = int(re.search(r"(\d+) more: --assumptions lists all\.", flat[0]).group(1))
    assert 2 <= len(every) - more <= 5  # two to four numbers, of which receiver and servos are one
    assert 2 <= len(re.findall(r" - (?:flight time|thrust to weight|motor current) by \d+ %: ", flat[0])) <= 4
    assert "--assumptions" not in flat[1]
