"""Remakes the fitted tables of the propeller prediction from measured propellers. Deterministic.

    python benchmarks/fit_prediction.py FOLDER [--out FOLDER]

FOLDER is a copy of the UIUC Propeller Database, volumes 1-4 (Brandt, Deters, Ananda, Dantsker, Selig), in the form that
``prediction_training/measured.py`` describes. ``--smoke`` fits invented propellers instead, writes nothing that stays,
and says how near the fit comes to them.
"""

import argparse
import datetime
import hashlib
import sys
import tempfile
import time
import tomllib
from collections.abc import Sequence
from pathlib import Path

import propmatch_datasets.prediction as bundled
from prediction_training.accuracy import compare, percentiles
from prediction_training.fit import LEAST_DIAMETER_IN, Workshop, fit_knowledge, predict_measured
from prediction_training.invented import write_invented
from prediction_training.measured import family_of_line, read_measured
from propmatch.files import write_file
from propmatch_plugins.prediction.families import FAMILIES

_ORIGIN = """# Origin of the tables in this folder
[origin]
made_by = "python benchmarks/fit_prediction.py FOLDER (deterministic)"
date = "{date}"
dataset = "UIUC Propeller Database, volumes 1-4, University of Illinois at Urbana-Champaign"
authors = "J. B. Brandt, R. W. Deters, G. K. Ananda, O. D. Dantsker, M. S. Selig"
papers = ["AIAA 2011-1255", "AIAA 2014-2151", "AIAA 2020-2760", "AIAA 2022-4020"]
licence = "open academic data, citation asked, no licence stated; only coefficients fitted to it are kept here"
propellers = {propellers}
left_aside = "propellers below {least} in, of no known family or without a pitch"
units = "angles in rad or deg as the name says; everything else is a pure number (ln of a ratio, ratio, or 1)"

[sha256]
{checksums}
"""


def write_origin(folder: Path, propellers: int) -> None:
    """``origin.toml``: how the tables were made, from what, with their checksums; the date stays if nothing changed."""
    sums = {path.name: hashlib.sha256(path.read_bytes()).hexdigest() for path in sorted(folder.glob("*.csv"))}
    path = folder / "origin.toml"
    date = datetime.date.today().isoformat()
    if path.exists():
        before = tomllib.loads(path.read_text(encoding="utf-8"))
        if before["sha256"] == sums:
            date = before["origin"]["date"]
    lines = "\n".join(f'"{name}" = "{value}"' for name, value in sums.items())
    text = _ORIGIN.format(date=date, propellers=propellers, least=LEAST_DIAMETER_IN, checksums=lines)
    write_file(path, text, force=True)


def fit(folder: Path, out: Path) -> Workshop:
    """Fit the propellers of ``folder`` and write every table and its origin."""
    workshop = Workshop.of(read_measured(folder))
    fit_knowledge(workshop).save(out)
    write_origin(out, len(workshop.propellers))
    return workshop


def smoke() -> int:
    """Fit two invented lines of each family, one with 5 % more thrust; print the time and the errors left.

    A label cannot know its line, so half of the 5 % stays; more than 3 % is an error.
    """
    lines = {}
    for family in FAMILIES:
        own = [line for line, its in family_of_line().items() if its == family]
        lines |= {line: (family, factor) for line, factor in zip(own, (1.0, 1.05), strict=False)}
    with tempfile.TemporaryDirectory() as folder:
        write_invented(Path(folder), lines, ((5, 3), (9, 6)), shapes=True)
        start = time.perf_counter()
        workshop = fit(Path(folder), Path(folder) / "out")
        spent = time.perf_counter() - start
    knowledge = workshop.knowledge()
    medians = {}
    for tier in ("label", "chord and angle", "geometry", "line"):
        found = [(p, predict_measured(knowledge, p, tier)) for p in workshop.propellers]
        medians[tier] = percentiles([compare(p, each) for p, each in found if each is not None], "CT0")[0]
    errors = ", ".join(f"{tier} {median:.1f} %" for tier, median in medians.items())
    print(
        f"{len(workshop.propellers)} invented propellers of {len(lines)} lines in {spent:.1f} s; CT0 misses by {errors}"
    )
    return 0 if max(medians.values()) < 3 else 1


def main(arguments: Sequence[str] | None = None) -> int:
    """Fit and write."""
    parser = argparse.ArgumentParser(description="Fit the propeller prediction to a folder of measured propellers.")
    parser.add_argument("folder", type=Path, nargs="?", help="folder of measured propeller tables")
    parser.add_argument("--out", type=Path, default=Path(bundled.__file__).parent, help="where the tables go")
    parser.add_argument("--smoke", action="store_true", help="fit invented propellers, write nothing that stays")
    options = parser.parse_args(arguments)
    if options.smoke:
        return smoke()
    if options.folder is None:
        parser.error("name the folder of measured propeller tables")
    fit(options.folder, options.out)
    return 0


if __name__ == "__main__":
    sys.exit(main())
