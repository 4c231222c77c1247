"""The command: see the package."""

import argparse
import contextlib
import signal
import sys
import tempfile
import time
import traceback
from pathlib import Path

from .guided import guided
from .harness import Fuzzer, attempt, readers_by_name, trial_of


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m tests.fuzz", description="Fuzz every way in.")
    parser.add_argument("--seconds", type=float, default=float("inf"), help="CPU seconds, shared by all")
    parser.add_argument("--hours", type=float, default=None, help="wall time")
    parser.add_argument("--inputs", type=float, default=float("inf"), help="how many, by the share of each")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", action="append", default=[], metavar="READER")
    parser.add_argument("--again", metavar="READER:SEED:NUMBER", help="one input once more, shown")
    parser.add_argument("--guided", metavar="READER", help="guided by coverage; needs atheris")
    return parser.parse_args()


def _again(place: str) -> int:
    """One input once more, with everything it was."""
    from .readers import READERS

    name, seed, number = place.rsplit(":", 2)
    reader = readers_by_name(READERS)[name]
    with tempfile.TemporaryDirectory() as folder:
        trial = trial_of(name, int(seed), int(number), Path(folder))
        found = attempt(reader, trial)
        print("\n".join(trial.shown))
        if found is not None:
            print(found)
            try:
                reader.run(trial_of(name, int(seed), int(number), Path(folder)))
            except Exception:
                traceback.print_exc()
    return int(found is not None)


def main() -> int:
    asked = _arguments()
    if asked.again:
        return _again(asked.again)
    if asked.guided:
        guided(asked.guided)
        return 0
    from .readers import READERS

    known = readers_by_name(READERS)
    fuzzer = Fuzzer([known[name] for name in asked.only] or READERS, asked.seed)
    until = float("inf") if asked.hours is None else time.time() + 3600 * asked.hours
    if asked.hours is None and asked.seconds == asked.inputs:
        asked.seconds = 60.0
    signal.signal(signal.SIGTERM, signal.default_int_handler)
    with contextlib.suppress(KeyboardInterrupt):
        fuzzer.run(seconds=asked.seconds, until=until, inputs=asked.inputs)
    print(fuzzer.table(), flush=True)
    return int(fuzzer.findings > 0)


sys.exit(main())
