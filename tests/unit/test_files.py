"""The writer: whole or not at all, on a full disk, beside other writers, and when it is killed."""

import csv
import io
import os
import resource
import signal
import stat
import subprocess
import sys
import threading
import time
from pathlib import Path
from random import Random

import pytest

from propmatch.files import cell_meant, csv_text, write_file


def names(folder: Path) -> list[str]:
    return sorted(each.name for each in folder.iterdir())


def test_text_and_bytes_are_kept_as_they_are(tmp_path: Path) -> None:
    path = tmp_path / "a.toml"
    assert write_file(str(path), "höhe = 1\r\nx = 2\n") == path
    assert path.read_bytes() == b"h\xc3\xb6he = 1\r\nx = 2\n"
    write_file(path, b"\x00\xff")
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
    write_file(path, "2")
    assert (stat.S_IMODE(path.stat().st_mode), path.read_text()) == (0o604, "2")


def test_a_link_stays_a_link(tmp_path: Path) -> None:
    (tmp_path / "real.txt").write_text("old")
    link = tmp_path / "link.txt"
    link.symlink_to("real.txt")
    write_file(link, "new")
    assert link.is_symlink()
    assert (tmp_path / "real.txt").read_text() == "new"


def test_a_link_that_is_not_followed_gives_way(tmp_path: Path) -> None:
    (tmp_path / "real.txt").write_text("old")
    for link, place in (("link.txt", "real.txt"), ("nowhere.txt", "gone.txt"), ("null.txt", os.devnull)):
        (tmp_path / link).symlink_to(place)
        write_file(tmp_path / link, "new", follow=False)
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
    with pytest.raises(OSError, match=r"No such file|Not a directory|Is a directory") as refused:
        write_file(tmp_path / place, "x")
    assert refused.value.filename == str(tmp_path / place)
    assert names(tmp_path) == ["file"]


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="a device of Linux")
def test_a_device_that_is_full_says_so() -> None:
    with pytest.raises(OSError, match="No space left on device: '/dev/full'"):
        write_file("/dev/full", "x")


WRITER = """
import resource, signal, sys
from propmatch.files import cell_meant, csv_text, write_file
resource.setrlimit(resource.RLIMIT_FSIZE, (10_000, 10_000))
try:
    write_file(sys.argv[1], b"n" * 100_000)
except OSError as error:
    print(error.filename, error.strerror)
    sys.exit(7)
"""


@pytest.mark.skipif(not hasattr(resource, "RLIMIT_FSIZE"), reason="POSIX limit")
def test_a_full_disk_leaves_the_old_content_and_no_rest(tmp_path: Path) -> None:
    path = tmp_path / "a.bin"
    path.write_bytes(b"o" * 50_000)
    done = subprocess.run([sys.executable, "-c", WRITER, str(path)], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stdout) == (7, f"{path} File too large\n"), done.stderr
    assert path.read_bytes() == b"o" * 50_000
    assert names(tmp_path) == ["a.bin"]


WRITES = """
import sys
from propmatch.files import cell_meant, csv_text, write_file
for at in range(1, 10**9):
    write_file(sys.argv[1], str(at % 10) * 3_000_000)
    if at == 1:
        print("once", flush=True)
"""


def test_killed_at_any_moment_the_file_is_of_one_piece(tmp_path: Path) -> None:
    draw, path = Random(1), tmp_path / "a.txt"
    write_file(path, "x" * 3_000_000)
    for _ in range(12):
        child = subprocess.Popen([sys.executable, "-c", WRITES, str(path)], stdout=subprocess.PIPE)
        assert child.stdout is not None
        child.stdout.readline()
        time.sleep(draw.uniform(0, 0.12))
        child.send_signal(signal.SIGKILL)
        child.wait()
        child.stdout.close()
        text = path.read_text()
        assert len(text) == 3_000_000
        assert len(set(text)) == 1, "half of one content and half of another"
        assert "x" not in text
    assert all(name == "a.txt" or (name.startswith(".") and name.endswith(".part")) for name in names(tmp_path))


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
