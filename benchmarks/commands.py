"""What each command costs, in CPU seconds of its own process, against importing numpy, and numpy and pandas, beside it.

    python benchmarks/commands.py [--brief NAME ...] [--runs N] [--smoke]

Every round starts the two imports and each command once, so that a busy machine slows them alike; median and least of
the rounds, and the median over that of an import. ``fresh`` keeps nothing on disk; ``kept`` finds its picks in the
cache folder, where a round before put them. Bytecode is kept, as it is where the package is installed. One brief and
two rounds take less than two minutes of CPU.

Aims, in CPU seconds or times an import: match --on-paper 2.0 x numpy and pandas, match 5 s; time, cells and point with
a named train 1.5 x numpy on paper and 3 x with ranges; envelope 6 s and 1.2 s on paper; sheet 8 s and 3 s on paper.
"""

import argparse
import json
import os
import statistics
import subprocess
import sys
import tempfile
from pathlib import Path

from propmatch.cache import VARIABLE

BRIEFS = ("wetland_logger", "schoolyard_trainer", "club_racer")
IMPORTS = {"import numpy": "import numpy", "import numpy, pandas": "import numpy, pandas"}
PRIMED = ("match, kept", "match --on-paper, kept", "sheet, kept", "sheet --on-paper, kept")
"""Commands that leave behind what the others find."""
BYTECODE = tempfile.TemporaryDirectory()
CALL = "from propmatch.cli import main; main()"
TYPED = ("point", "--motor", "1500kV 28g", "--propeller", "6x4", "--pack", "2S 450mAh 35C")


def commands(brief, train, folder):
    """What is measured: its name, its words, and whether picks are kept."""
    sheet = ("sheet", brief, "-o", str(Path(folder) / "sheet.html"), "--force")
    named = ("--train", train)
    yield "match, fresh", ("match", brief), False
    yield "match, kept", ("match", brief), True
    yield "match --on-paper, fresh", ("match", brief, "--on-paper"), False
    yield "match --on-paper, kept", ("match", brief, "--on-paper"), True
    for command in ("time", "cells"):
        yield f"{command} --train", (command, brief, *named), True
        yield f"{command} --train --on-paper", (command, brief, *named, "--on-paper"), True
    yield "point", TYPED, True
    yield "point --on-paper", (*TYPED, "--on-paper"), True
    yield "envelope, kept", ("envelope", brief), True
    yield "envelope --on-paper, kept", ("envelope", brief, "--on-paper"), True
    yield "sheet, kept", sheet, True
    yield "sheet --on-paper, kept", (*sheet, "--on-paper"), True


def surroundings(cache):
    """The environment of a command; bytecode is kept for the time being."""
    told = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    return {**told, "PYTHONPYCACHEPREFIX": BYTECODE.name, VARIABLE: cache}


def cpu_s(code, words=(), *, cache=""):
    """CPU seconds of a process, its own and the system's."""
    process = subprocess.Popen(
        [sys.executable, "-c", code, *words],
        env=surroundings(cache),
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    _, status, used = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode not in (0, 1):
        raise SystemExit(f"{' '.join(words)} ended with {process.returncode}")
    return used.ru_utime + used.ru_stime


def best_id(brief, cache):
    """The ids of the design that nobody names."""
    done = subprocess.run(
        [sys.executable, "-c", CALL, "time", brief, "--json"],
        env=surroundings(cache),
        capture_output=True,
        text=True,
        check=False,
    )
    train = json.loads(done.stdout)["train"]
    return " + ".join(train[kind]["id"] for kind in ("motor", "controller", "pack", "propeller"))


def measure(brief, runs, only):
    """One brief: every command in every round."""
    with tempfile.TemporaryDirectory() as folder:
        kept = str(Path(folder) / "kept")
        asked = [each for each in commands(brief, best_id(brief, kept), folder) if only is None or each[0] in only]
        for name, words, _ in asked if only is None else ():
            if name in PRIMED:
                cpu_s(CALL, words, cache=kept)
        times = {name: [] for name in (*IMPORTS, *(name for name, _, _ in asked))}
        for _ in range(runs):
            for name, code in IMPORTS.items():
                times[name].append(cpu_s(code))
            for name, words, keeps in asked:
                times[name].append(cpu_s(CALL, words, cache=kept if keeps else ""))
    numpy, both = (statistics.median(times[name]) for name in IMPORTS)
    print(f"{brief}\n{'':30}{'median s':>10}{'least s':>10}{'x numpy':>10}{'x both':>10}")
    for name, each in times.items():
        median = statistics.median(each)
        print(f"{name:30}{median:10.2f}{min(each):10.2f}{median / numpy:10.1f}{median / both:10.1f}")


def main():
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--brief", nargs="+", choices=BRIEFS, default=BRIEFS[-1:])
    parser.add_argument("--runs", type=int, default=2)
    parser.add_argument("--smoke", action="store_true", help="one brief, one round, two commands")
    args = parser.parse_args()
    if args.smoke:
        measure("schoolyard_trainer", 1, ("time, kept", "point"))
        return
    for brief in args.brief:
        measure(brief, args.runs, None)


if __name__ == "__main__":
    main()
