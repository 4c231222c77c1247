"""How near the sheet's script comes to the engine: random states of its tables against briefs that state them.

    python benchmarks/sheet_answers.py [BRIEF ...]      needs node; 200 states of each bundled brief
    python benchmarks/sheet_answers.py --smoke          5 states of one

The engine's side is a brief with a variant of the bare mass and a site of height and temperature, resolved anew.
"""

import json
import re
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from propmatch.checks.chances import sureness
from propmatch.checks.judged import judged_trains
from propmatch.checks.limits import checks_of
from propmatch.checks.setting import ResolvedBrief, Setting
from propmatch.files import write_file
from propmatch.questions.cells import Worked
from propmatch.questions.whatif import number_columns
from propmatch.records.brief import Brief
from propmatch.records.fields import replace
from propmatch.records.parts import PowerTrain
from propmatch.records.sections import Variant
from propmatch.sheet.html import TEMPLATES
from propmatch.words.checkwords import check_name
from propmatch.words.verdictwords import headline_words

State = tuple[float, float, float]
"""Air [degC], bare mass [g], height [m]."""
STATES, SEED = 200, 20
ASK = """
const its = answers(data);
return asked.map(([train, pack, air, mass, height]) => {
  const found = its.judged(train, pack, its.stateAt(air, mass, height)), {text} = its.verdict(found);
  const rows = found.found.map((each) => [each.row.number ? each.row.number[0] : null, each.value,
    each.verdict ? each.row.check.name : null, each.margin, each.verdict, each.count / data.draws]);
  return {text, rows, all: found.all / data.draws};
});
"""


def data_of(html: str) -> dict[str, Any]:
    """The tables of a sheet."""
    found = re.search(r'<script type="application/json" id="answering-data">(.*?)</script>', html, re.DOTALL)
    assert found is not None
    return json.loads(found[1])


def random_states(data: dict[str, Any], count: int, seed: int = SEED) -> list[State]:
    """Anywhere between the ends of the tables."""
    axes = [[each for each in axis if each is not None] for axis in data["axes"]]
    rng = np.random.default_rng(seed)
    return [tuple(float(rng.uniform(axis[0], axis[-1])) for axis in axes) for _ in range(count)]


def state_of(brief: Brief, state: State) -> Setting:
    """The brief with another bare mass at another field."""
    air_c, mass_g, height_m = state
    site = replace(brief.site, altitude_m=height_m, temperature_c=air_c)
    moved = replace(brief, site=site, variant=(Variant(name="of this mass", bare_mass_g=mass_g),))
    return ResolvedBrief.of(moved).named("of this mass")


def engine(setting: Setting, train: PowerTrain, *, chances: bool) -> dict[str, Any]:
    """What the engine says of a power train: numbers by label, checks by name, and the verdict."""
    there = replace(train, pack_temperature_c=setting.brief.site.pack_temperature_c)
    measured = judged_trains(setting, [there])[0]
    sure = sureness(setting, there) if chances else None
    checks = checks_of(measured, sure=None if sure is None else [sure])[0]
    numbers = {column.label: float(column(Worked(measured))[0]) for column in number_columns()}
    said = {"numbers": numbers, "checks": {check_name(check.name): check for check in checks}}
    return said if sure is None else said | {"text": headline_words(sure, checks), "sure": sure}


def script(data: dict[str, Any], asked: Sequence[Sequence[Any]]) -> list[dict[str, Any]]:
    """What the sheet's script says, by node."""
    own = (TEMPLATES / "answering.js").read_text(encoding="utf-8")
    with tempfile.TemporaryDirectory() as folder:
        program = Path(folder, "ask.js")
        wanted = f"const data = {json.dumps(data)}, asked = {json.dumps(asked)};\n"
        write_file(program, f"{own}\n{wanted}console.log(JSON.stringify((() => {{{ASK}}})()));")
        done = subprocess.run(["node", program], capture_output=True, text=True, check=True, encoding="utf-8")
    return json.loads(done.stdout)


def compare(answers: Iterable[dict[str, Any]], engines: Iterable[dict[str, Any]]) -> dict[str, list[Any]]:
    """Errors of every number as a share, of those that pass zero as they are, and the verdicts that differ."""
    errors: dict[str, list[Any]] = {"verdicts": [], "texts": [], "chances": []}
    for answer, known in zip(answers, engines, strict=True):
        for label, value, name, margin, verdict, count in answer["rows"]:
            pairs = [(label, known["numbers"].get(label))]
            check = known["checks"].get(name)
            if check is not None:
                pairs.append((name, check.value))
                fails = (check.verdict == "fails") != (verdict == "fails")
                if fails and not abs(check.margin) <= 0.005:
                    errors["verdicts"].append((name, verdict, check.verdict, margin, check.margin))
                if np.isfinite(check.chance):
                    errors["chances"].append((abs(count - check.chance), name, count, check.chance, margin))
            for key, truth in pairs:
                if key is not None and truth is not None:
                    errors.setdefault(key, []).append(error_of(key, value, truth))
        if "text" in known:
            errors["texts"].append((answer["text"], known["text"]))
            errors.setdefault("all limits", []).append(abs(answer["all"] - known["sure"].chance_all_limits))
    return errors


def error_of(key: str, value: float | None, truth: float) -> float:
    """As a share of the truth; in units where it passes zero; infinite where one has no answer."""
    if value is None or not np.isfinite(truth):
        return 0.0 if value is None and not np.isfinite(truth) else np.inf
    return abs(value - truth) if key in ("balance", "hand launch height") else abs(value / truth - 1)


def main(names: Sequence[str], states: int = STATES) -> None:
    from propmatch.catalogue.catalogue import load_catalogue
    from propmatch.commands.briefs import open_brief
    from propmatch.search.matching import match
    from propmatch.sheet import build_sheet, sheet_html

    catalogue = load_catalogue(parts=None)
    for name in names:
        brief = open_brief(name)[0]
        sheet = build_sheet(brief, catalogue, shortlist=match(brief, catalogue, top=40))
        data, options = data_of(sheet_html(sheet)), sheet.answering.options
        rng, asked = np.random.default_rng(SEED), []
        for state in random_states(data, states):
            at = int(rng.integers(len(options)))
            asked.append((at, int(rng.integers(len(options[at]))), *state))
        engines = (engine(state_of(brief, (*state,)), options[at][pack], chances=True) for at, pack, *state in asked)
        print(f"{name}: {states} states")
        report(compare(script(data, asked), engines))


def report(found: dict[str, list[Any]]) -> None:
    """Print the worst of each, and some of the verdicts whose words or numbers differ."""
    print(f"  verdicts that differ beyond a margin of 0.5 %: {found.pop('verdicts')}")
    worst = sorted(found.pop("chances"), reverse=True)
    print("  chances furthest off:", *worst[:3], sep="\n    ")
    for what, each in (("of a check", [off for off, *_ in worst]), ("of all limits", found.pop("all limits"))):
        points = 100 * np.array(each)
        print(f"  chance {what}: worst {points.max():.1f} points, rms {np.sqrt(np.mean(points**2)):.1f}")
    for ours, theirs in [pair for pair in found.pop("texts") if pair[0] != pair[1]][:4]:
        print("   ", ours, "|", theirs)
    for key, errors in found.items():
        each, missing = np.array(errors), np.isinf(errors)
        print(f"  {key:60s} worst {np.max(each[~missing], initial=0):.5f}, no answer on one side {missing.sum()}")


if __name__ == "__main__":
    if shutil.which("node") is None:
        print("nothing measured: there is no node")
    elif sys.argv[1:] == ["--smoke"]:
        main(["schoolyard_trainer"], states=5)
    else:
        main(sys.argv[1:] or ("club_racer", "schoolyard_trainer", "wetland_logger"))
