"""``propmatch sweep``: the same answers as one match at a time, at every site, for samples of the parts."""

import numpy as np
import pytest
from support.bundled import SMALL_PARTS, ids
from support.commands import PACK

from propmatch.brief import load_brief
from propmatch.catalogue.catalogue import load_catalogue
from propmatch.records.fields import replace
from propmatch.search.matching import match
from propmatch.search.sweep import Stock
from propmatch.tolerances.samples import SAMPLE_SPREAD

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
        alone = match(replace(brief, site=replace(brief.site, altitude_m=height, temperature_c=30.0)), catalogue)
        assert row["id"] == alone.best.id
        assert row["flight_minutes"] == alone.best.flight_minutes
        assert row["passing"] == alone.passing
        assert f"{height:g} m, 30 degC" in row["case"]


def test_processes_change_nothing(run, brief_file):
    words = ("sweep", brief_file, "--altitude", "0,1500", "--json")
    assert run(*words).document == run(*words, "--processes", "2").document


def test_samples_count_who_comes_first(run, brief_file):
    done = run("sweep", brief_file, "--samples", "4", "--json")
    assert len(done.document["rows"]) == 4
    assert any("kv_rpm_per_v varied by 3%" in str(each) for each in done.document["assumptions"])
    text = " ".join(run("sweep", brief_file, "--samples", "4").out.split())
    assert "first in how many of 4 samples" in text


def test_samples_scatter_as_stated():
    catalogue = load_catalogue().restricted(motors=ids("motors", kv_kind="effective")[0], packs=PACK)
    stock = Stock.of(catalogue)
    some = list(stock.samples(256, seed=3))
    kv = np.log([each.motors[0].kv_rpm_per_v / stock.motors[0].kv_rpm_per_v for each in some])
    spread = stock.motors[0].source.uncertainty or SAMPLE_SPREAD["kv_rpm_per_v"]
    assert np.mean(kv) == pytest.approx(0.0, abs=0.1 * spread)
    assert np.std(kv) == pytest.approx(spread, rel=0.1)
    again = list(stock.samples(256, seed=3))
    assert [e.motors[0].kv_rpm_per_v for e in again] == [e.motors[0].kv_rpm_per_v for e in some]


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
