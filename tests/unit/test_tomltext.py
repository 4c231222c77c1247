import tracemalloc
from pathlib import Path

import pytest

from propmatch.records.tomltext import key_lines, parse_toml, read_toml

TEXT = '''# a comment with [brackets] and = signs
title = "x = [1]"  # [not a table]
[aircraft]   # here
name = """a
[no table]
b = 3
"""
"odd.key".sub = 1
[[phase]]
numbers = [1,
  2, # ] in a comment
  {x = 1}]
seconds = 2
[[phase]]
literal = 'a # b'
[phase.inner]
deep = 1
[ wide . spaced ]
k=1
[[last]]'''

LINES = {
    "title": 2,
    "aircraft": 3,
    "aircraft.name": 4,
    "aircraft.odd.key.sub": 8,
    "phase": 9,
    "phase[1]": 9,
    "phase[1].numbers": 10,
    "phase[1].seconds": 13,
    "phase[2]": 14,
    "phase[2].literal": 15,
    "phase[2].inner": 16,
    "phase[2].inner.deep": 17,
    "wide.spaced": 18,
    "wide.spaced.k": 19,
    "last": 20,
    "last[1]": 20,
}


def test_line_of_every_key() -> None:
    assert key_lines(TEXT) == LINES
    assert key_lines(TEXT.replace("\n", "\r\n")) == LINES


@pytest.mark.parametrize(
    ("text", "where"),
    [
        ("a = 1\nb = = 2\n", "f.toml:2:5"),
        ("a = 1\na = 2\n", "f.toml:2"),
        ("[x]\ny = 1\n[x]\n", "f.toml:3"),
        ("a = 1\nb = [1,", "f.toml:2"),
        ('a = "no end\n', "f.toml:1"),
        ("a = 0012\n", "f.toml:1"),
        ("x = " + "[" * 20000, "f.toml"),
    ],
)
def test_a_syntax_error_is_one_fault_with_its_place(text: str, where: str) -> None:
    read = parse_toml(text, "f.toml")
    (fault,) = read.faults
    assert fault.where.startswith(where)
    assert "not valid TOML" in fault.rule
    assert read.data == {}


def test_files_that_cannot_be_read(tmp_path: Path) -> None:
    (tmp_path / "glider.toml").write_text("a = 1")
    missing = read_toml(tmp_path / "glidr.toml").faults[0]
    assert (missing.rule, missing.hint) == ("no such file", "did you mean glider.toml?")
    assert "cannot be read" in read_toml(tmp_path).faults[0].rule
    assert "no such file" in read_toml(tmp_path / "no folder" / "x.toml").faults[0].rule
    latin = tmp_path / "latin.toml"
    latin.write_bytes('a = 1\nname = "Höhe"\n'.encode("latin-1"))
    fault = read_toml(latin).faults[0]
    assert fault.where == f"{latin}:2"
    assert "UTF-8" in fault.rule


def test_a_byte_order_mark_is_no_fault(tmp_path: Path) -> None:
    path = tmp_path / "bom.toml"
    path.write_bytes(b"\xef\xbb\xbfa = 1\r\n")
    assert read_toml(path).data == {"a": 1}


@pytest.mark.parametrize("start", ["", "x = {", "["])
def test_a_key_many_tables_deep_is_refused_before_it_is_parsed(start: str) -> None:
    text = "a = 1\n" + start + ".".join(["b"] * 14_000) + " = 1"
    tracemalloc.start()
    (fault,) = parse_toml(text, "x.toml").faults
    _, most = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert fault.where == "x.toml:2"
    assert "goes deeper" in fault.rule
    assert most < 5e6
    assert not parse_toml('a.b.c.d = "1.2.3"  # ...........................', "x.toml").faults


@pytest.mark.parametrize("number", ["9" * 5000, "+" + "9" * 5000, f"{'9' * 5000}x", f"[1, {'9' * 5000}.]"])
def test_a_number_of_thousands_of_digits_is_a_fault(number: str) -> None:
    assert parse_toml(f"a = {number}", "f").faults


@pytest.mark.parametrize(
    ("text", "where", "rule", "hint"),
    [
        ("a = 1\nb = 190,5  # g\n", "x:2:8", "190,5 has a comma", "write 190.5"),
        ("[phase]\n[phase]\n", "x:2:7", "[phase] stands here again", "write [[phase]] each time"),
    ],
)
def test_a_usual_slip_says_what_to_write(text, where, rule, hint):
    (fault,) = parse_toml(text, "x").faults
    assert fault.where == where
    assert rule in fault.rule
    assert hint in fault.hint
