"""What a notebook shows: short texts, and tables in HTML for everything that is an answer."""

import re

import pytest

import propmatch
from propmatch.records.brief import loads_brief
from propmatch_datasets import path


@pytest.fixture(scope="module")
def catalogue():
    return propmatch.load_catalogue()


@pytest.fixture(scope="module")
def shortlist(catalogue):
    brief = loads_brief(path("briefs/schoolyard_trainer.toml").read_text(encoding="utf-8"))
    return propmatch.match(brief, catalogue, top=12, on_paper=True)


def cells(html):
    return re.findall(r"<t[hd][^>]*>([^<]*)</t[hd]>", html)


def test_a_shortlist_is_ten_lines(shortlist):
    lines = repr(shortlist).splitlines()
    assert len(lines) == 10
    assert str(shortlist.passing) in lines[0]
    assert lines[-1] == "... and 4 more rows"
    assert shortlist.best.id in lines[1]


def test_a_candidate_shows_its_numbers_and_checks(shortlist):
    best = shortlist.best
    assert "\n" not in repr(best)
    shown = cells(best._repr_html_())
    assert {"flight_minutes", "min", *(check.name for check in best.checks)} <= set(shown)


def test_parts_show_what_was_stated_with_units(catalogue, shortlist):
    motor = catalogue.find("motors", shortlist.best.motor_id)
    assert len(repr(motor)) < 300
    shown = cells(motor._repr_html_())
    assert shown[shown.index("kv_rpm_per_v [rpm/V]") + 1] == f"{motor.kv_rpm_per_v:.0f}"
    assert len(repr(shortlist.best.train)) < 1500
    pack = propmatch.Pack(name="p", cells_series=2, capacity_mah=450, c_rating=30, mass_g=30)
    assert eval(repr(pack), {"Pack": propmatch.Pack, "Source": propmatch.Source}) == pack


def test_a_fit_shows_every_variant(catalogue, shortlist):
    fit = propmatch.may_fit(
        shortlist.brief, catalogue, shortlist.best.train, pack=catalogue.find("packs", shortlist.rows[3].pack_id)
    )
    assert len(repr(fit).splitlines()) == 1 + len(fit.variants)
    assert {each.variant for each in fit.variants} <= set(cells(fit._repr_html_()))


def test_a_point_shows_what_was_asked(shortlist):
    point = propmatch.solve(shortlist.best.train, throttle=[0.5, 1.0], airspeed_m_s=8.0, charge=0.5)
    assert len(repr(point)) < 250
    shown = cells(point._repr_html_())
    assert {"airspeed_m_s", "charge", "8", "0.5"} <= set(shown)
