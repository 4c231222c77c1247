"""The guide: read in the terminal, written as HTML, opened from the page; every block of its pages runs."""

import re
from collections import Counter
from html.parser import HTMLParser
from importlib.resources import files
from itertools import pairwise
from pathlib import Path

import click
import httpx
import pytest
from support.guide_blocks import run_page
from support.pages import HERE, served
from support.sheets import BRIEF, stock

from propmatch.cli import propmatch
from propmatch.guide.contents import PAGES, WRITERS, markdown
from propmatch.guide.html import FIRST, folder, policy, single
from propmatch.guide.markup import slug, tree
from propmatch.guide.text import page_text
from propmatch.records.briefkeys import brief_keys
from propmatch.records.fields import declared
from propmatch.records.parts import Motor

WRITTEN = [name for name in PAGES if name not in WRITERS]


class Links(HTMLParser):
    """What a document names and what it points to."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.ids: list[str] = []
        self.targets: list[str] = []
        self.tags: Counter[str] = Counter()
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.tags[tag] += 1
        for name, value in attrs:
            if name == "id":
                self.ids.append(value)
            elif name in ("href", "src"):
                self.targets.append(value)


@pytest.fixture(scope="module")
def whole() -> str:
    return single(propmatch)


@pytest.mark.slow
@pytest.mark.parametrize("name", WRITTEN)
def test_a_page_shows_what_its_commands_print(name, tmp_path):
    page = files("propmatch.guide").joinpath("pages", f"{name}.md").read_text(encoding="utf-8")
    for block, commands in run_page(page, tmp_path):
        for each in commands:
            assert each.exit_code == block.exit_code, f"{each.line}\n" + "\n".join(each.printed)
            assert each.right, f"{each.line}\n" + "\n".join(each.printed) + f"\npython .ci/guide_examples.py {name}"


def test_the_pages_are_those_that_are_listed():
    there = {Path(each.name).stem for each in files("propmatch.guide").joinpath("pages").iterdir()}
    assert set(WRITTEN) <= there <= set(PAGES)
    assert next(iter(PAGES)) == "accuracy"


@pytest.mark.parametrize("name", PAGES)
def test_a_page_begins_with_one_title_and_skips_no_step(name):
    heads = [each for each in tree(markdown(name, propmatch)).children if each.type == "heading"]
    steps = [int(head.tag[1]) for head in heads]
    assert steps[0] == 1
    assert steps.count(1) == 1
    assert all(after <= before + 1 for before, after in pairwise(steps))


def test_the_list_of_pages_has_a_line_for_each(run):
    ran = run("guide")
    assert ran.exit_code == 0
    for name, about in PAGES.items():
        assert re.search(rf"^  {name} ", ran.out, re.MULTILINE)
        assert about in " ".join(ran.out.split())


def test_a_page_is_read_in_the_terminal(run):
    ran = run("guide", "tutorial")
    assert ran.exit_code == 0
    assert ran.out.startswith("From an empty folder to a published sheet\n====")
    assert "    $ propmatch match lapwing.toml" in ran.out
    assert "what is safe to fit (guide safe)" in " ".join(ran.out.split())


def test_paragraphs_lists_and_tables_keep_to_the_width(monkeypatch):
    monkeypatch.setenv("COLUMNS", "60")
    said = page_text(
        "# Head\n\n" + "word " * 40 + "\n\n1. one `code` " + "word " * 30 + "\n   - below\n\n"
        "| part | g |\n|---|---:|\n| " + "long " * 20 + "| 1.5 |\n| b | 20.25 |\n\n```toml file=a.toml\nx = 1\n```\n"
    )
    assert max(map(len, said.splitlines())) <= 60
    assert "1. one 'code' word" in said
    assert "\n   - below\n" in said
    assert re.search(r"^b +20\.25$", said, re.MULTILINE)
    assert "  a.toml:\n    x = 1\n" in said


@pytest.mark.parametrize(("asked", "said"), [("tutoral", "did you mean tutorial?"), ("zzz", "the pages are accuracy,")])
def test_an_unknown_page_names_those_that_are_near(run, asked, said):
    ran = run("guide", asked)
    assert ran.exit_code == 2
    assert said in ran.err


def test_one_file_needs_nothing_else_and_every_link_in_it_leads_somewhere(whole):
    links = Links(whole)
    assert links.tags["script"] == links.tags["img"] == links.tags["link"] == 0
    assert "@import" not in whole
    assert "url(" not in whole
    assert " style=" not in whole
    assert [name for name, count in Counter(links.ids).items() if count > 1] == []
    inside = [target for target in links.targets if target.startswith("#")]
    assert [target for target in inside if target[1:] not in links.ids] == []
    assert [target for target in links.targets if not target.startswith(("#", "https://"))] == []


def test_in_a_folder_every_link_leads_to_a_page_and_a_heading_of_it():
    pages = folder(propmatch)
    assert set(pages) == {FIRST, *(f"{name}.html" for name in PAGES)}
    found = {name: Links(text) for name, text in pages.items()}
    for name, links in found.items():
        for target in links.targets:
            page, _, heading = target.partition("#")
            if not target.startswith("https://"):
                assert (page or name) in pages, f"{name}: {target}"
                assert not heading or heading in found[page or name].ids, f"{name}: {target}"


def test_files_are_written_once(run, tmp_path):
    one, many = tmp_path / "guide.html", tmp_path / "guide"
    assert run("guide", "-o", str(one)).exit_code == 0
    assert run("guide", "-o", str(many)).exit_code == 0
    assert one.read_text(encoding="utf-8").startswith("<!DOCTYPE html>")
    assert (many / FIRST).exists()
    one.write_text("mine")
    refused = run("guide", "-o", str(one))
    assert refused.exit_code == 2
    assert one.read_text() == "mine"
    assert run("guide", "-o", str(many)).exit_code == 2
    assert run("guide", "-o", str(one), "--force").exit_code == 0
    assert one.read_text(encoding="utf-8") != "mine"


@pytest.mark.parametrize("words", [("tutorial", "-o", "a.html"), ("-o", "guide.pdf")])
def test_what_cannot_be_written_is_refused(run, words, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert run("guide", *words).exit_code == 2
    assert list(tmp_path.iterdir()) == []


def test_the_reference_has_every_key_field_and_option():
    keys, parts, said = (markdown(name, propmatch) for name in ("brief", "parts", "commands"))
    assert [key.path for key in brief_keys() if f"- `{key.path.rpartition('.')[2]}`:" not in keys] == []
    assert [rule.name for rule in declared(Motor) if f"- `{rule.name}`:" not in parts] == []
    context = click.Context(propmatch)
    for name in propmatch.list_commands(context):
        for parameter in propmatch.get_command(context, name).params:
            for option in parameter.opts if isinstance(parameter, click.Option) else ():
                assert option in said, f"{name} {option}"


def test_headings_are_named_as_code_hosts_name_them():
    """GitHub Flavored Markdown documents no rule; these follow what its pages show: common practice."""
    assert slug("What others may fit") == "what-others-may-fit"
    assert slug("[[variant.item]]") == "variantitem"
    assert slug("3S instead of 2S?") == "3s-instead-of-2s"


def test_the_page_serves_the_guide_under_a_policy_of_its_own(tmp_path, whole):
    with served(BRIEF, stock(), tmp_path, guide=lambda: (whole, policy())) as page:
        answer = httpx.get(page.address + "guide", **HERE)
        assert answer.text == whole
        assert answer.headers.get_list("content-security-policy") == [policy()]
        assert answer.headers["x-content-type-options"] == "nosniff"
        assert httpx.get(page.origin + "/guide", **HERE).status_code == 403
    with served(BRIEF, stock(), tmp_path) as page:
        assert httpx.get(page.address + "guide", **HERE).status_code == 404
        assert httpx.get(page.address + "start", **HERE).json()["guide"] is False


def test_a_folder_is_made_when_its_pages_are(run, monkeypatch, tmp_path):
    def fails(program):
        raise OSError(5, "cannot be read", "page")

    monkeypatch.setattr("propmatch.guide.html.folder", fails)
    done = run("guide", "-o", str(tmp_path / "guide"))
    assert (done.exit_code, done.err) == (2, "page: cannot be read\n")
    assert list(tmp_path.iterdir()) == []
