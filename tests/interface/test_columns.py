"""A number of a shortlist is declared once: text, CSV, JSON, a notebook's table and the page read it from there."""

import csv
import io
import re

import attrs
import pytest
from support.bundled import SMALL_PARTS

from propmatch.brief import load_brief
from propmatch.catalogue.catalogue import load_catalogue
from propmatch.columns import number
from propmatch.page.answers import train_answer
from propmatch.search import candidate
from propmatch.search.candidate import Candidate
from propmatch.search.matching import match
from propmatch.search.ranking import metric_value
from propmatch.words.shown import Shown

BRIEF = (
    """
[aircraft]
name = "test bird"
bare_mass_g = 265
[wing]
area_dm2 = 16.0
span_mm = 1100
[limits]
min_flight_minutes = 15
cells = [2]
[[phase]]
name = "transect"
airspeed_m_s = 11
share = 1.0
[prefer]
flight_time = 1.0
"""
    + SMALL_PARTS
)


@attrs.frozen(kw_only=True, eq=False)
class Wider(Candidate):
    """A row with one column more."""

    spare: float = number(
        "spare {unit}", lambda m: metric_value(m, "margin"), kind="%", digits=0, label="kept back", page="margin"
    )


@pytest.fixture
def brief_file(tmp_path):
    path = tmp_path / "bird.toml"
    path.write_text(BRIEF, encoding="utf-8")
    return str(path)


def found(brief_file, top=20):
    return match(load_brief(brief_file), load_catalogue(plugins=["bundled"]), top=top)


def text_heads(run, brief_file):
    """Heads and first row of the first list, taken apart where two spaces stand."""
    monkeyed = pytest.MonkeyPatch()
    with monkeyed.context() as patch:
        patch.setattr("propmatch.words.shown.page_width", lambda: 300)
        out = run("match", brief_file, "--full").out.splitlines()
    at = next(line for line, text in enumerate(out) if text.strip().startswith("motor  "))
    split = re.compile(r"\s{2,}")
    heads, first = split.split(out[at].strip()), split.split(out[at + 1].strip())
    return dict(zip(["number", *heads], first, strict=True))


def csv_heads(run, brief_file):
    return next(csv.DictReader(io.StringIO(run("match", brief_file, "--csv").out)))


def json_heads(run, brief_file):
    document = run("match", brief_file, "--json").document
    return document["rows"][0]


def html_heads(run, brief_file):
    table = found(brief_file)._repr_html_()
    heads = re.findall(r'<th scope="col">([^<]*)', table)
    return dict(zip(heads, re.findall(r"<t[hd](?: scope=.row.)?>([^<]*)", table), strict=False))


def page_heads(run, brief_file):
    brief, catalogue = load_brief(brief_file), load_catalogue(plugins=["bundled"])
    answer = train_answer(brief, catalogue, match(brief, catalogue, top=1).best.id)
    return {each["label"]: each["value"] for each in answer["numbers"]}


FORMS = {
    "text": (text_heads, lambda c: c.heading.format(unit=Shown().unit(c.kind))),
    "csv": (csv_heads, lambda c: c.name),
    "json": (json_heads, lambda c: c.name),
    "html": (html_heads, lambda c: c.name if c.html else None),
    "page": (page_heads, lambda c: c.label.partition(",")[0] if c.page else None),
}


@pytest.mark.parametrize("form", FORMS)
def test_every_form_has_every_column(run, brief_file, form):
    read, head = FORMS[form]
    shown = read(run, brief_file)
    wanted = {name for column in candidate.columns() if (name := head(column))}
    assert len(wanted) >= 5
    assert wanted <= set(shown)


@pytest.mark.parametrize("form", FORMS)
def test_a_column_more_is_seen_in_every_form(run, monkeypatch, brief_file, form):
    read, head = FORMS[form]
    monkeypatch.setattr(candidate, "Candidate", Wider)
    best, column = found(brief_file).best, candidate.columns()[-1]
    shown = read(run, brief_file)[head(column)]
    if form == "text":
        assert shown == f"{100 * best.spare:.0f}"
    else:
        assert float(shown) == pytest.approx(best.spare, abs=1e-4)
    # the margin is that of the check nearest to its limit, by its definition
    assert best.spare == pytest.approx(best.closest.margin)
