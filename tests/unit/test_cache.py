"""Answers kept on disk: as good as made again, under another name where anything else went in, remade when damaged."""

import os
from itertools import islice

import attrs
import numpy as np
import pytest
from support.random_cases import random_brief, random_parts

from propmatch import cache
from propmatch.cache import digest, kept
from propmatch.catalogue.catalogue import Catalogue
from propmatch.faults import Unmet
from propmatch.search import matching, picks
from propmatch.search.matching import best_train, match


def case(seed):
    rng = np.random.default_rng(seed)
    parts = random_parts(rng, (5, 3, 6, 5))
    kinds = {k: [attrs.evolve(p, id=f"{k}/{i}", name=f"{k} {i}") for i, p in enumerate(ps)] for k, ps in parts.items()}
    brief = random_brief(rng)
    limits = attrs.evolve(brief.limits, min_flight_minutes=1.0, min_thrust_to_weight=0.2, cutoff_cell_v=None)
    return attrs.evolve(brief, limits=limits), Catalogue.of(**kinds)


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.setenv(cache.VARIABLE, str(tmp_path / "kept"))
    return tmp_path / "kept"


@pytest.fixture
def nothing_kept(monkeypatch):
    """``nothing_kept(make)``: what is made with no folder to keep it in."""

    def fresh(make):
        with monkeypatch.context() as without:
            without.setenv(cache.VARIABLE, "")
            return make()

    return fresh


@pytest.fixture(scope="module")
def some():
    """Random cases in which something passes on paper."""
    os.environ[cache.VARIABLE], before = "", os.environ.get(cache.VARIABLE, "")
    found = (case(seed) for seed in range(24))
    good = list(islice((each for each in found if match(*each, on_paper=True).passing), 2))
    os.environ[cache.VARIABLE] = before
    assert len(good) == 2
    return good


def no_search(*_, **__):
    raise AssertionError("searched again")


def said(found):
    rows = [(row.row, row.failing_in, str(row.checks), row.pick and (row.pick.near, row.pick.chance_by_check))
            for row in found.rows]  # fmt: skip
    by_cells = {cells: [row.id for row in group] for cells, group in found.by_cells.items()}
    paper = {cells: row.row for cells, row in found.paper.items()}
    return rows, by_cells, paper, found.holds, found.passing, found.left_out, found.combinations, found.assumptions


@pytest.mark.parametrize("number", range(2))
@pytest.mark.parametrize("asked", [{}, {"on_paper": True}, {"count": False}], ids=str)
@pytest.mark.slow
def test_a_kept_answer_is_that_of_a_fresh_search(folder, some, nothing_kept, monkeypatch, number, asked):
    brief, stock = some[number]
    fresh = said(nothing_kept(lambda: match(brief, stock, **asked)))
    assert said(match(brief, stock, **asked)) == fresh
    monkeypatch.setattr(matching, "holding", no_search)
    monkeypatch.setattr(matching.Search, "each", no_search)
    monkeypatch.setattr(picks, "Drawn", no_search)
    assert said(match(brief, stock, **asked)) == fresh


@pytest.mark.parametrize("number", range(2))
def test_the_design_nobody_names_is_found_once(folder, some, nothing_kept, monkeypatch, number):
    brief, stock = some[number]
    fresh = nothing_kept(lambda: best_train(brief, stock))
    assert best_train(brief, stock) == fresh
    monkeypatch.setattr(matching, "match", no_search)
    again = best_train(brief, stock)
    assert again == fresh
    assert again.motor is stock.parts("motors")[str(fresh.motor.id)]


def test_a_match_keeps_the_design_for_the_other_commands(folder, some, monkeypatch):
    brief, stock = some[0]
    first = match(brief, stock, top=6).rows[0]
    monkeypatch.setattr(matching, "match", no_search)
    assert best_train(brief, stock) == first.train


def test_that_nothing_meets_the_brief_is_kept_too(folder, some, monkeypatch):
    brief, stock = some[0]
    never = attrs.evolve(brief, limits=attrs.evolve(brief.limits, min_flight_minutes=1000.0))
    for _ in range(2):
        with pytest.raises(Unmet, match="no power train of the catalogue meets the brief"):
            best_train(never, stock)
        monkeypatch.setattr(matching, "match", no_search)


def sealed(path, text):
    return cache._seal(path, text) + b"\n" + text


SPOILED = {
    "bare": lambda path: b"[7]",
    "no text": lambda path: b"\xff\x00",
    "empty": lambda path: b"",
    "half": lambda path: path.read_bytes()[:-2],
    "edited": lambda path: path.read_bytes().replace(b"[12, 3]", b"[13, 3]"),
    "of another name": lambda path: sealed(path.with_name("other"), b"[12, 3]"),
    "no answer": lambda path: sealed(path, b'{"rows": "x"}'),
    "deep": lambda path: sealed(path, b"[" * 200_000),
    "huge": lambda path: sealed(path, b"[1" + b"0" * 400 + b"]"),
    "endless": lambda path: sealed(path, b"[Infinity]"),
}


@pytest.mark.parametrize("content", SPOILED.values(), ids=SPOILED)
def test_what_is_spoiled_is_made_again(folder, caplog, content):
    def read(told):
        return np.array([int(each) for each in told], dtype=np.int64).tolist()

    def again(make):
        return kept("a", "x", make, write=lambda x: x, read=read)

    path = folder / "a" / "x.kept"
    assert again(lambda: [12, 3]) == [12, 3]
    path.write_bytes(content(path))
    assert again(lambda: [12, 4]) == [12, 4]
    assert [record.args[0] for record in caplog.records] == [path]
    assert again(no_search) == [12, 4]


@pytest.mark.parametrize("content", [b"[]", b'{"rows": [[999, 0, 0, 0]], "alike": [0], "hold": true}'])
@pytest.mark.slow
def test_what_is_damaged_is_made_again_and_said(folder, some, nothing_kept, caplog, content):
    brief, stock = some[0]
    fresh = said(nothing_kept(lambda: match(brief, stock)))
    match(brief, stock)
    files = [path for path in folder.rglob("*.kept") if path.parent.name != "best"]
    assert len(files) >= 2
    for path in files:
        path.write_bytes(sealed(path, content))
    assert said(match(brief, stock)) == fresh
    assert {record.args[0] for record in caplog.records} == set(files)
    caplog.clear()
    assert said(match(brief, stock)) == fresh
    assert not caplog.records


@pytest.mark.parametrize("place", ["file", "pipe", "device", "nowhere", "folder"])
def test_only_a_file_of_its_own_is_read_or_replaced(folder, place):
    real, path = folder / "elsewhere.txt", folder / "a" / "x.kept"
    path.parent.mkdir(parents=True)
    real.write_bytes(sealed(path, b"7"))
    links = {"file": real, "device": "/dev/zero", "nowhere": folder / "gone"}
    if place in links:
        path.symlink_to(links[place])
    elif place == "pipe":
        os.mkfifo(path)
    else:
        path.mkdir()
    plain = {"write": lambda x: x, "read": int}
    assert kept("a", "x", lambda: 5, **plain) == 5
    assert real.read_bytes() == sealed(path, b"7")
    assert not (folder / "gone").exists()
    if place != "folder":
        assert kept("a", "x", lambda: 6, **plain) == 5


def test_another_brief_part_or_number_has_another_name(some):
    brief, stock = some[0]
    motors = list(stock.parts("motors").values())
    heavier = [attrs.evolve(motors[0], mass_g=motors[0].mass_g + 1e-9), *motors[1:]]
    windier = attrs.evolve(brief, limits=attrs.evolve(brief.limits, min_flight_minutes=1.0 + 1e-12))
    names = [
        digest(brief, motors), digest(windier, motors), digest(brief, heavier), digest(brief, motors[::-1]),
        digest(brief, motors[:-1]), digest((brief, motors), 1), digest((brief,), motors, 1), digest(1), digest(1.0),
        digest(True), digest("1"), digest(np.ones(2)), digest(np.ones((2, 1))), digest([1, [2]]), digest([[1], 2]),
    ]  # fmt: skip
    assert len(set(names)) == len(names)
    assert None not in names


def test_the_same_content_has_the_same_name():
    assert digest(*case(7)[1].parts("motors").values()) == digest(*case(7)[1].parts("motors").values())
    assert digest(case(7)[0]) == digest(case(7)[0])


def test_other_code_has_another_name(monkeypatch, tmp_path):
    before = digest(1)
    (tmp_path / "search").mkdir()
    (tmp_path / "search" / "more.py").write_text("CODE = 1\n", encoding="utf-8")
    monkeypatch.setattr(cache, "_MAKERS", ("search",))
    monkeypatch.setattr(cache, "__file__", str(tmp_path / "cache.py"))
    one = digest(1)
    cache._digest_of.cache_clear()
    (tmp_path / "search" / "more.py").write_text("CODE = 2\n", encoding="utf-8")
    other = digest(1)
    assert len({before, one, other}) == 3


def test_what_has_no_content_or_no_folder_is_made_each_time(folder, monkeypatch):
    assert digest(object()) is None
    made = []

    def make():
        made.append(1)
        return len(made)

    plain = {"write": lambda x: x, "read": int}
    assert [kept("a", None, make, **plain) for _ in range(2)] == [1, 2]
    assert [kept("a", "x", make, **plain) for _ in range(2)] == [3, 3]
    monkeypatch.setenv(cache.VARIABLE, " ")
    assert digest(1) is None
    assert kept("a", "x", make, **plain) == 4


def test_a_folder_that_cannot_be_written_is_no_fault(monkeypatch, tmp_path, caplog):
    (tmp_path / "file").write_text("", encoding="utf-8")
    monkeypatch.setenv(cache.VARIABLE, str(tmp_path / "file"))
    assert kept("a", digest(1), lambda: 5, write=lambda x: x, read=int) == 5
    assert (tmp_path / "file").read_text(encoding="utf-8") == ""
    assert not caplog.records


def test_the_oldest_give_way(folder):
    for number in range(5):
        kept("a", str(number), lambda number=number: number, write=lambda x: x, read=int, most=3)
        os.utime(folder / "a" / f"{number}.kept", (number, number))
    assert sorted(path.stem for path in (folder / "a").iterdir()) == ["2", "3", "4"]
