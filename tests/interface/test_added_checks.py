"""Checks that a plugin adds: the same value, limit and verdict wherever a train is judged."""

import pytest
from support.bundled import SMALL_PARTS
from support.entry_points import point

from propmatch.brief import load_brief
from propmatch.catalogue import plugins
from propmatch.catalogue.catalogue import load_catalogue
from propmatch.checks.limits import Check
from propmatch.hookspecs import ExtraCheck, hookimpl
from propmatch.page.answers import train_answer
from propmatch.search.matching import best_train
from propmatch.sheet import content

BRIEF = (
    """
[aircraft]
name = "judged bird"
bare_mass_g = 250
[limits]
min_thrust_to_weight = 0.4
cells = [2]
"""
    + SMALL_PARTS
)
LIMIT_G = 200.0


def club_mass(design, brief):
    mass = design.all_up_mass_g
    return [Check(name="club_mass", value=mass, limit=LIMIT_G, unit="g", margin=(LIMIT_G - mass) / LIMIT_G,
                  verdict="fails", basis="brief", note="the club's field")]  # fmt: skip


def broken(design, brief):
    raise SystemExit(3)


@pytest.fixture
def bird(monkeypatch, tmp_path):
    """The brief's file, where a plugin adds a check and another that leaves the program."""
    checks = [ExtraCheck(id="mass", description="", run=club_mass), ExtraCheck(id="bad", description="", run=broken)]
    club = point("club", propmatch_checks=hookimpl(lambda: checks))
    monkeypatch.setattr(plugins, "entry_points", lambda **_: [club])
    monkeypatch.setenv("PROPMATCH_CACHE", str(tmp_path / "cache"))
    path = tmp_path / "bird.toml"
    path.write_text(BRIEF, encoding="utf-8")
    return path


def of(checks):
    """Value and verdict of the check, from records or from JSON."""
    (found,) = [each for each in checks if (each["name"] if isinstance(each, dict) else each.name) == "club_mass"]
    return (found["value"], found["verdict"]) if isinstance(found, dict) else (found.value, found.verdict)


def test_every_command_sheet_and_page_show_it_alike(run, bird, monkeypatch):
    matched = run("match", str(bird), "--json").document
    row = matched["rows"][0]
    wanted = (row["all_up_mass_g"], "fails")
    assert of(row["checks"]) == pytest.approx(wanted)
    assert matched["complete"], "it rules nothing out"
    assert any("plugin 'club'" in fault["where"] and "SystemExit: 3" in fault["rule"] for fault in matched["faults"])

    assert "Checks that plugins add: club mass" in run("match", str(bird)).out
    why = run("match", str(bird), "--why", row["id"], "--json").document
    assert of(why["rows"]) == pytest.approx(wanted)
    assert why["failed"] == []

    options = [word for kind in ("motor", "controller", "pack", "propeller")
               for word in (f"--{kind}", row[f"{kind}_id"])]  # fmt: skip
    told = run("point", *options, "--aircraft", str(bird), "--json").document
    assert of(told["extra_checks"]) == pytest.approx(wanted)
    assert "--aircraft BRIEF makes them" in run("point", *options).out

    brief, catalogue = load_brief(bird), load_catalogue()
    for room in ("headline", "decision", "further"):
        monkeypatch.setattr(content, room, lambda case: ())
    sheet = content.build_sheet(brief, catalogue, train=best_train(brief, catalogue))
    assert of(sheet.checks) == pytest.approx((sheet.design.all_up_mass_g, "fails"))
    page = train_answer(brief, catalogue, row["id"])
    assert "club_mass" in str(page["checks"])
