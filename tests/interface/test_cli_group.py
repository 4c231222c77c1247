"""The group: lazy, helpful on misspelt words, quick to start."""

import subprocess
import sys

import pytest
from support.bundled import PROPELLER

from propmatch._version import __version__
from propmatch.cli import COMMANDS
from propmatch.commands.options import RENAMED

HEAVY = ("numpy", "scipy", "pandas", "matplotlib", "pluggy")


def modules_after(*words: str) -> set[str]:
    """Top-level modules that a call of the command line leaves loaded, in a fresh interpreter."""
    code = (
        "import sys\n"
        "from propmatch.cli import propmatch\n"
        f"try: propmatch({list(words)!r}, prog_name='propmatch')\n"
        "except SystemExit: pass\n"
        "print('\\n'.join(sorted({name.partition('.')[0] for name in sys.modules})), file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    return set(done.stderr.split())


@pytest.mark.parametrize(
    "words", [("--help",), ("--version",), ("nonsense",), *((name, "--help") for name in COMMANDS)]
)
def test_help_and_errors_load_nothing_heavy(words):
    assert modules_after(*words).isdisjoint(HEAVY)


def test_one_point_loads_neither_scipy_nor_pandas():
    words = ("point", "--motor", "1500kV 28g", "--propeller", PROPELLER, "--pack", "2S 450mAh")
    loaded = modules_after(*words)
    assert "numpy" in loaded
    assert loaded.isdisjoint({"scipy", "pandas", "matplotlib"})


def test_the_help_names_every_command(run):
    done = run("--help")
    assert done.exit_code == 0
    for name, line in COMMANDS.items():
        assert name in done.out
        assert line in done.out


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_has_a_help_that_fits_the_page(run, name):
    done = run(name, "--help")
    assert done.exit_code == 0
    assert max(map(len, done.out.splitlines())) <= 100


def test_a_misspelt_command_brings_a_guess(run):
    done = run("pont")
    assert done.exit_code == 2
    assert "did you mean point?" in done.err


def test_an_unlike_word_brings_the_list_of_commands(run):
    done = run("zzzzzz")
    assert done.exit_code == 2
    assert "the commands are" in done.err
    assert "point" in done.err


def test_a_misspelt_option_brings_a_guess(run):
    done = run("point", "--moter", "x")
    assert done.exit_code == 2
    assert "--motor" in done.err


@pytest.mark.parametrize(("words", "now"), RENAMED.items(), ids=str)
def test_an_option_by_its_former_name_is_told_the_new_one(run, words, now):
    done = run(*words)
    assert done.exit_code == 2
    assert f"No such option '{words[1]}'. Did you mean {now}?" in done.err
    assert now in run(words[0], "--help").out


def test_version(run):
    assert __version__ in run("--version").out


def test_console_script_ends_without_traceback_on_a_closed_pipe():
    code = "from propmatch.cli import main; main()"
    with subprocess.Popen(
        [sys.executable, "-c", code, "schema"], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    ) as running:
        assert running.stdout is not None
        assert running.stderr is not None
        running.stdout.read(10)
        running.stdout.close()
        assert "Traceback" not in running.stderr.read()
