"""The writer: whole or not at all, on a full disk, beside other writers, when it is killed; and nothing else writes."""

import ast
import csv
import io
import os
import re
import stat
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from propmatch import files
from propmatch.files import cell_meant, csv_text, write_file, write_files


def names(folder: Path) -> list[str]:
    return sorted(each.name for each in folder.iterdir())


def test_text_and_bytes_are_kept_as_they_are(tmp_path: Path) -> None:
    path = tmp_path / "a.toml"
    assert write_file(str(path), "höhe = 1\r\nx = 2\n") == path
    assert path.read_bytes() == b"h\xc3\xb6he = 1\r\nx = 2\n"
    write_file(path, b"\x00\xff", force=True)
    assert path.read_bytes() == b"\x00\xff"
    assert names(tmp_path) == ["a.toml"]


def test_a_file_that_is_there_stays_unless_it_may_be_replaced(tmp_path: Path) -> None:
    path = tmp_path / "a.txt"
    write_file(path, "old", force=False)
    with pytest.raises(FileExistsError, match="exists already") as refused:
        write_file(path, "new", force=False)
    assert refused.value.filename == str(path)
    assert path.read_text() == "old"
    assert names(tmp_path) == ["a.txt"]


def test_only_one_of_many_gets_a_name_that_is_free(tmp_path: Path) -> None:
    """Fifty at once: exactly one wins, and what is read afterwards is its content."""
    won, start = [], threading.Barrier(50)

    def write(mark: int) -> None:
        start.wait()
        try:
            write_file(tmp_path / "a.txt", f"{mark}" * 1000, force=False)
        except FileExistsError:
            return
        won.append(mark)

    threads = [threading.Thread(target=write, args=(mark,)) for mark in range(50)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    (mark,) = won
    assert (tmp_path / "a.txt").read_text() == f"{mark}" * 1000
    assert names(tmp_path) == ["a.txt"]


def test_the_mode_of_a_file_stays_and_a_new_one_has_the_usual(tmp_path: Path) -> None:
    """POSIX: a new file has 0666 without the bits of the umask."""
    path = tmp_path / "a.txt"
    before = os.umask(0o027)
    try:
        write_file(path, "1")
    finally:
        os.umask(before)
    assert stat.S_IMODE(path.stat().st_mode) == 0o640
    path.chmod(0o604)
    write_file(path, "2", force=True)
    assert (stat.S_IMODE(path.stat().st_mode), path.read_text()) == (0o604, "2")


def test_a_link_stays_a_link(tmp_path: Path) -> None:
    (tmp_path / "real.txt").write_text("old")
    link = tmp_path / "link.txt"
    link.symlink_to("real.txt")
    write_file(link, "new", force=True)
    assert link.is_symlink()
    assert (tmp_path / "real.txt").read_text() == "new"


def test_a_link_that_is_not_followed_gives_way(tmp_path: Path) -> None:
    (tmp_path / "real.txt").write_text("old")
    for link, place in (("link.txt", "real.txt"), ("nowhere.txt", "gone.txt"), ("null.txt", os.devnull)):
        (tmp_path / link).symlink_to(place)
        write_file(tmp_path / link, "new", force=True, follow=False)
        assert not (tmp_path / link).is_symlink()
        assert (tmp_path / link).read_text() == "new"
    assert (tmp_path / "real.txt").read_text() == "old"
    assert not (tmp_path / "gone.txt").exists()


def test_what_is_no_file_is_written_to(tmp_path: Path) -> None:
    write_file(os.devnull, "gone")
    assert Path(os.devnull).is_char_device()
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    got: list[str] = []
    reader = threading.Thread(target=lambda: got.append(pipe.read_text()))
    reader.start()
    write_file(pipe, "through")
    reader.join()
    assert got == ["through"]


def test_standard_output_is_written_to() -> None:
    """Its name leads to a pipe that has no folder."""
    done = subprocess.run(
        [sys.executable, "-c", "from propmatch.files import write_file; write_file('/dev/stdout', 'through')"],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert (done.stdout, done.stderr) == ("through", "")


@pytest.mark.parametrize("place", ["no folder/a.txt", "file/a.txt", "."])
def test_a_place_that_takes_no_file_is_named(tmp_path: Path, place: str) -> None:
    (tmp_path / "file").write_text("x")
    with pytest.raises(OSError, match=r"its folder does not exist|is a folder") as refused:
        write_file(tmp_path / place, "x")
    assert refused.value.filename == str(tmp_path / place)
    assert names(tmp_path) == ["file"]


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="a device of Linux")
def test_a_device_that_is_full_says_so() -> None:
    with pytest.raises(OSError, match="No space left on device: '/dev/full'"):
        write_file("/dev/full", "x")


def test_a_link_to_nothing_and_where_one_prints_are_no_targets(tmp_path: Path) -> None:
    (tmp_path / "link").symlink_to("gone")
    with pytest.raises(OSError, match="leads nowhere"):
        write_file(tmp_path / "link", "x", force=True)
    code = "import sys; from propmatch.files import write_file; write_file(sys.argv[1], 'x', force=True)"
    with open(tmp_path / "out", "w") as out:
        done = subprocess.run(
            [sys.executable, "-c", code, out.name], stdout=out, stderr=subprocess.PIPE, text=True, check=False
        )
    assert "is where this command prints already" in done.stderr
    assert names(tmp_path) == ["link", "out"]


def test_of_several_files_all_are_written_or_none(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    a, b, c = (tmp_path / name for name in "abc")
    write_files([(a, "1"), (b, "1")])
    (tmp_path / "folder").mkdir()
    with pytest.raises(OSError, match="is a folder"):
        write_files([(a, "2"), (c, "2"), (tmp_path / "folder", "2")], force=True)
    replace, calls = os.replace, []

    def failing(*places: Path) -> None:
        calls.append(places)
        if len(calls) == 3:
            raise OSError(5, "Input/output error")
        replace(*places)

    monkeypatch.setattr(files.os, "replace", failing)
    with pytest.raises(OSError, match=f"Input/output error: '{b}'"):
        write_files([(a, "2"), (c, "2"), (b, "2")], force=True)
    monkeypatch.undo()
    assert (a.read_text(), b.read_text(), names(tmp_path)) == ("1", "1", ["a", "b", "folder"])
    assert write_files([(a, "2"), (c, "2")], force=True) == (a, c)
    assert (a.read_text(), c.read_text(), names(tmp_path)) == ("2", "2", ["a", "b", "c", "folder"])


def test_what_a_stopped_program_left_goes_with_the_next_write(tmp_path: Path) -> None:
    """By its name and its age: what another program is writing now stays."""
    left, now, own = (
        tmp_path / name for name in (f".propmatch-{'0' * 16}.part", f".propmatch-{'1' * 16}.part", ".x.part")
    )
    for path in (left, now, own):
        path.write_text("half")
    for path in (left, own):
        os.utime(path, (0, 0))
    write_file(tmp_path / "a.txt", "x")
    assert names(tmp_path) == [now.name, own.name, "a.txt"]


@pytest.fixture(scope="module")
def writers() -> str:
    """What ``benchmarks/writers.py`` prints, which stops where a file is half or a refusal costs one."""
    script = Path(__file__).resolve().parents[2] / "benchmarks" / "writers.py"
    paths = os.pathsep.join(filter(None, (os.environ.get("PYTHONPATH"), *sys.path)))
    done = subprocess.run(
        [sys.executable, str(script), "--smoke"], capture_output=True, text=True, check=False,
        env={**os.environ, "PYTHONPATH": paths},
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    return done.stdout


@pytest.mark.skipif(not hasattr(os, "fork"), reason="POSIX")
def test_no_writer_loses_anything_when_it_is_killed_or_the_disk_is_full(writers: str) -> None:
    assert "no file was half" in writers.splitlines()[-1]
    rows = [line.split("  ")[-1].split(" | ") for line in writers.splitlines() if " | " in line][1:]
    assert len(rows) >= 7
    for full, read_only, taken in rows:
        assert "File too large" in full or "kept" in full
        assert "cannot be written to" in read_only or "kept" in read_only
        assert "--force replaces it" in taken or "exists already" in taken or taken in ("its own", "code 2")


_WRITES = {"write_text", "write_bytes", "to_csv", "to_json", "to_excel", "to_pickle", "savez", "savetxt", "symlink_to"}
_OF_OS = {"os": {"open", "replace", "rename", "link"}, "shutil": {"copy", "copyfile", "copy2", "move", "copytree"},
          "tempfile": {"mkstemp", "NamedTemporaryFile"}, "np": {"save", "savez", "savetxt"}}  # fmt: skip


def _writes(call: ast.Call) -> bool:
    """Whether a call writes a file, by its name and mode."""
    name = call.func.attr if isinstance(call.func, ast.Attribute) else getattr(call.func, "id", "")
    whose = call.func.value.id if isinstance(call.func, ast.Attribute) and isinstance(call.func.value, ast.Name) else ""
    if name in _WRITES or name in _OF_OS.get(whose, ()):
        return bool(call.args or not name.startswith("to_"))
    modes = [arg.value for arg in call.args if isinstance(arg, ast.Constant) and isinstance(arg.value, str)]
    modes += [kw.value.value for kw in call.keywords if kw.arg == "mode" and isinstance(kw.value, ast.Constant)]
    return name == "open" and any(set(mode) <= set("rwaxbt+") and set(mode) & set("wax+") for mode in modes)


def test_nothing_else_writes_a_file() -> None:
    """Of package, plugins, bundled tables, benchmarks and what runs in continuous integration."""
    root, found = Path(__file__).resolve().parents[2], []
    likely = re.compile(rf"\b(open|{'|'.join(sorted(_WRITES.union(*_OF_OS.values())))})\(")
    for path in sorted(each for room in ("propmatch", "plugins", "datasets", "benchmarks", ".ci")
                       for each in (root / room).rglob("*.py") if "node_modules" not in each.parts):  # fmt: skip
        text = path.read_text(encoding="utf-8")
        tree = ast.walk(ast.parse(text)) if likely.search(text) else ()
        calls = (each for each in tree if isinstance(each, ast.Call))
        found += [f"{path.relative_to(root)}:{call.lineno}" for call in calls if _writes(call)]
    # reads through a handle; forks; keeps a log that grows
    apart = {"propmatch/files.py", "propmatch/cache.py", "benchmarks/writers.py", "benchmarks/mutants.py"}
    assert [each for each in found if each.split(":")[0] not in apart] == []


@pytest.mark.parametrize("text", ["=1+1", "+cmd", "-2+3", "@sum", "\t=1", " =1", "'=1", "'-x"])
def test_no_cell_begins_a_formula_and_each_reads_back(text: str) -> None:
    # The signs and the mark: OWASP, "CSV Injection".
    ((cell,),) = csv.reader(io.StringIO(csv_text([[text]])))
    assert cell[0] == "'"
    assert cell_meant(cell) == text.replace("\t", " ")


@pytest.mark.parametrize("value", ["falke 2109", "-5.2", "it's", "a=b", "", -5.25, None])
def test_other_cells_stay_as_they_are(value: object) -> None:
    ((cell, _),) = csv.reader(io.StringIO(csv_text([[value, 1]])))
    assert cell == ("" if value is None else str(value)) == cell_meant(cell)


def test_control_signs_become_blanks() -> None:
    assert csv_text([["a\x1b[2Jb\r\nc"]]) == "a [2Jb  c\n"


def test_a_file_named_twice_is_refused_whatever_leads_to_it(tmp_path: Path) -> None:
    (tmp_path / "link").symlink_to(tmp_path)
    a = tmp_path / "a"
    with pytest.raises(OSError, match="is named twice"):
        write_files([(a, "1"), (tmp_path / "link" / "a", "2")], force=True)
    assert not a.exists()
