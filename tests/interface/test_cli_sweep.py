"""``propmatch sweep``: the same answers as one match at a time, at every site, for samples of the parts."""

import math

import pytest
from support.bundled import SMALL_PARTS

from propmatch.brief import load_brief
from propmatch.catalogue.catalogue import load_catalogue
from propmatch.records.fields import replace
from propmatch.search.matching import match

BRIEF = (
    """
[aircraft]
name = "meadow bird"
bare_mass_g = 250
target_mass_g = 420
[limits]
min_thrust_to_weight = 0.5
min_flight_minutes = 8
[[phase]]
name = "circuits"
airspeed_m_s = 10
share = 1.0
"""
    + SMALL_PARTS
)


@pytest.fixture
def brief_file(tmp_path):
    path = tmp_path / "bird.toml"
    path.write_text(BRIEF, encoding="utf-8")
    return str(path)


def test_each_site_is_matched_as_alone(run, brief_file):
    document = run("sweep", brief_file, "--altitude", "0,2000", "--temperature", "30", "--json").document
    brief = load_brief(brief_file)
    catalogue = load_catalogue()
    for row, height in zip(document["rows"], (0.0, 2000.0), strict=True):
        alone = match(
            replace(brief, site=replace(brief.site, altitude_m=height, temperature_c=30.0)), catalogue, on_paper=True
        )
        assert row["id"] == alone.best.id
        assert row["flight_minutes"] == alone.best.flight_minutes
        assert row["passing"] == alone.passing
        assert f"{height:g} m, 30 degC" in row["case"]


def test_processes_change_nothing(run, brief_file):
    words = ("sweep", brief_file, "--altitude", "0,1500", "--json")
    assert run(*words).document == run(*words, "--processes", "2").document


def test_samples_count_how_often_the_pick_meets_the_brief(run, brief_file):
    document = run("sweep", brief_file, "--samples", "12", "--json").document
    paper, sure = (next(r for r in document["rows"] if r[name] == 1) for name in ("rank_on_paper", "rank"))
    catalogue = load_catalogue()
    assert paper["id"] == match(load_brief(brief_file), catalogue, on_paper=True).best.id
    held = match(load_brief(brief_file), catalogue).best
    assert sure["id"] == held.id
    assert all(0 <= row["first"] <= row["meets"] <= row["samples"] == 12 for row in document["rows"])
    chance = held.pick.chance_all
    assert abs(sure["meets"] - 12 * chance) <= 3 * math.sqrt(12 * chance * (1 - chance)), "three sd of a binomial"
    others = [row for row in document["rows"] if row["rank"] is None and row["rank_on_paper"] is None]
    assert all(row["first"] >= 1 for row in others)
    assert sum(row["first"] for row in document["rows"]) + document["cases"][0]["nothing_meets"] <= 12
    text = " ".join(run("sweep", brief_file, "--samples", "12").out.split())
    told = f"the pick on paper meets it in {paper['meets']}, the pick that holds in {sure['meets']}."
    assert told in text
    assert "each number from its own uncertainty" in text


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--altitude", "99999"), "--altitude"),
        (("--processes", "2", "--cluster", "127.0.0.1:1"), "goes without --processes"),
        (("--samples", "1"), "--samples"),
    ],
)
def test_bad_options_are_named(run, brief_file, words, said):
    done = run("sweep", brief_file, *words)
    assert done.exit_code == 2
    assert said in done.err
