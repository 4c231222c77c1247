"""``page --static`` without a runtime, with another one, with a damaged one: every fault on a line, exit code 2."""

import hashlib
import json
from pathlib import Path

import pytest

from propmatch.faults import InputFaults
from propmatch.page import compiling, packing, runtime
from propmatch.page.runtime import FILES, VERSION


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A folder with every name that belongs in it, and nothing right behind them."""
    place = tmp_path / "runtime"
    place.mkdir()
    for name in FILES:
        (place / name).write_text("{}" if name.endswith(".json") else name, encoding="utf-8")
    (place / "package.json").write_text(json.dumps({"version": VERSION}), encoding="utf-8")
    return place


def test_without_a_runtime_it_says_what_belongs_there(run, tmp_path, monkeypatch) -> None:
    monkeypatch.delenv("PROPMATCH_RUNTIME", raising=False)
    done = run("page", "wetland_logger", "--static", str(tmp_path / "page.html"))
    assert done.exit_code == 2
    assert done.faults[0].startswith("--runtime: is missing")
    for line, (name, (of, digest)) in zip(done.faults[1:], FILES.items(), strict=True):
        assert line == f"{name}: is missing; a file of {of}, sha256 {digest}"
    done = run("page", "--static", str(tmp_path / "page.html"), "--runtime", str(tmp_path / "nowhere"))
    assert (done.exit_code, len(done.faults)) == (2, 1 + len(FILES))
    assert "no such folder" in done.faults[0]


def test_another_version_and_damage_are_told_apart(run, tmp_path, folder) -> None:
    target = tmp_path / "page.html"
    done = run("page", "--static", str(target), "--runtime", str(folder))
    assert (done.exit_code, len(done.faults)) == (2, len(FILES))
    assert all("is damaged, or of another version than" in line and "its sha256 is" in line for line in done.faults)
    (folder / "package.json").write_text(json.dumps({"version": "0.29.3"}), encoding="utf-8")
    (folder / "python_stdlib.zip").unlink()
    done = run("page", "--static", str(target), "--runtime", str(folder))
    assert done.exit_code == 2
    assert "version = '0.29.3': must be 0.29.0" in done.faults[0]
    assert [line.partition(":")[0].rpartition("/")[2] for line in done.faults[1:]] == [
        "python_stdlib.zip", next(name for name in FILES if name.endswith(".whl")),
    ]  # fmt: skip
    assert not target.exists()


def test_what_is_there_stays_unless_it_may_go(run, tmp_path, folder, monkeypatch) -> None:
    right = {name: (of, hashlib.sha256((folder / name).read_bytes()).hexdigest()) for name, (of, _) in FILES.items()}
    monkeypatch.setattr(runtime, "FILES", right)
    target = tmp_path / "page.html"
    target.write_text("mine", encoding="utf-8")
    done = run("page", "--static", str(target), "--runtime", str(folder))
    assert (done.exit_code, done.err) == (2, f"{target}: exists already; --force replaces it\n")
    done = run("page", "--static", str(target), "--runtime", str(folder), "--force", "--parts", str(tmp_path / "none"))
    assert done.exit_code == 2
    assert "no such folder" in done.err
    assert target.read_text(encoding="utf-8") == "mine"


def test_parts_go_along_but_nothing_that_is_hidden_or_lies_elsewhere(tmp_path) -> None:
    box = tmp_path / "parts" / "mine"
    box.mkdir(parents=True)
    for name in ("motors.csv", ".secret.csv", "~$packs.csv", "photo.png", "notes.TXT"):
        (box / name).write_text(name, encoding="utf-8")
    (tmp_path / "other.csv").write_text("elsewhere", encoding="utf-8")
    (box / "packs.csv").symlink_to(tmp_path / "other.csv")
    taken = packing.parts_inside(tmp_path / "parts")
    assert taken == {"mine/motors.csv": b"motors.csv", "mine/notes.TXT": b"notes.TXT"}
    (box / "motors.xlsx").write_bytes(b"PK")
    with pytest.raises(InputFaults, match="a workbook, which a browser does not read"):
        packing.parts_inside(tmp_path / "parts")


def test_modules_are_compiled_and_run_without_their_sources(tmp_path) -> None:
    """Loaded by Python's own importer; what cannot be compiled stays as it is, and faults are raised as ever."""
    import importlib.util

    text = b'"""Words."""\ndef f(x):\n    assert x > 1\n    return 1 / x\n'
    made = compiling.compiled({"one.py": text, "bad.py": b"def (", "data.csv": b"1"}, 2)
    assert set(made) == {"one.pyc", "bad.py", "data.csv"}
    (tmp_path / "one.pyc").write_bytes(made["one.pyc"])
    spec = importlib.util.spec_from_file_location("one", tmp_path / "one.pyc")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    assert (module.f(1), module.__doc__) == (1.0, None)
    with pytest.raises(ZeroDivisionError):
        module.f(0)
