"""The page's questions, and whole command lines, each in this process."""

import json
from functools import lru_cache
from typing import Any

from click.testing import CliRunner

from propmatch.catalogue.catalogue import load_catalogue
from propmatch.cli import COMMANDS, propmatch
from propmatch.page.desk import ANSWERS, Desk

from .documents import LITERALS, _keys, _texts
from .harness import Misread, Trial
from .writing import ODD, Style, number, table_bytes, written

__all__ = ["command_lines", "desk"]

QUICK = ("brief", "train", "form", "choices", "swap", "family", "table", "save", "explain", "views", "throttle")
"""Questions that are answered at once; the others are asked with a brief that has a fault."""
KEYS = ("text", "changes", "train", "variant", "log", "tables", "table", "name", "file", "page", "kind", "part", "form")


@lru_cache
def _desk() -> tuple[Desk, dict[str, list[str]]]:
    catalogue = load_catalogue(parts="")
    kinds = ("motors", "controllers", "packs", "propellers")
    return Desk(catalogue, save=lambda name, text, replace: None), {
        kind: list(catalogue.parts(kind))[:8] for kind in kinds
    }


def _odd(rng: Any) -> Any:
    odd = (
    None, True, 0, -1, 1e308, 10**30, "", "x", "\ud800", "\0", "\u202e", [], {}, [1], {"a": 1}, float("nan"),
    float("inf"), [[]], {"": None}, "9" * 5000, *ODD[:30],
)  # fmt: skip
    return rng.choice(odd)


def _state(trial: Trial) -> dict[str, Any]:
    """What a question, or the address of a page, carries."""
    rng = trial.rng
    _, ids = _desk()
    train = " + ".join(rng.choice(ids[kind]) for kind in ids)
    changes = {
        key.path: rng.choice([number(rng, 0.01, 2000), number(rng, 0.01, 100), _odd(rng)])
        for key in rng.sample(_keys(), rng.randint(0, 3))
    }
    sent: dict[str, Any] = {"text": rng.choice(_texts()), "changes": changes, "train": train, "seq": 1, "variant": None}
    if rng.random() < 0.3:
        rows = [["name", "kv_rpm_per_v", "mass_g"], ["a", written(rng, 1400), "28"], ["b", rng.choice(ODD), "28"]]
        text = table_bytes(rng, rows, Style()).decode()
        sent["table"] = {"name": "t.csv", "text": text if rng.random() < 0.7 else rng.choice(ODD)}
        sent["tables"] = rng.choice([[sent["table"]], [], None, 5, [5], [{}]])
    for key in rng.sample(KEYS, rng.choice([0, 0, 1, 2])):
        sent[key] = _odd(rng)
    if rng.random() < 0.1:
        sent["text"] = str(sent["text"]).replace("=", f"= {rng.choice(LITERALS[:20])} #", 1)
    return sent


def desk(trial: Trial) -> None:
    """A question of the page, as it comes from its address or its hand."""
    rng = trial.rng
    asked, sent = rng.choice([*QUICK, "brief", "brief", "table", "form", rng.choice(list(ANSWERS))]), _state(trial)
    if asked in ("train", "views", "throttle", "explain") and rng.random() < 0.8:
        asked = "brief"
    if asked not in QUICK:
        sent["text"] = "[aircraft]\nname = 5\n"
    anything: Any = _odd(rng) if rng.random() < 0.03 else sent
    trial.show(f"{asked} {anything!r}")
    answer = _desk()[0].answer(asked, anything)
    if not isinstance(answer, dict):
        raise Misread(f"desk, answer: {type(answer).__name__}")
    json.dumps({**answer, "seq": None}, allow_nan=False)
    if asked == "brief" and "values" in answer:
        _judge_changes(trial, anything, answer)


def _judge_changes(trial: Trial, sent: dict[str, Any], answer: dict[str, Any]) -> None:
    """A number that the reader set is the number that the brief now says."""
    for key, value in (sent["changes"] or {}).items():
        if isinstance(value, float) and key in answer["values"]:
            trial.judged += 1
            held = answer["values"][key]
            if held is None or isinstance(held, str) or abs(held - value) > 1e-12 * abs(value):
                raise Misread(f"desk, {key}: {value!r} was set, {held!r} is said")


# ---------------------------------------------------------------- command lines


@lru_cache
def _options(name: str) -> list[tuple[str, bool, str]]:
    command = propmatch.get_command(None, name)  # type: ignore[arg-type]
    found = getattr(command, "commands", None)
    params = [param for each in (found.values() if found else [command]) for param in each.params]
    return [(param.opts[-1], bool(getattr(param, "is_flag", False)), param.param_type_name) for param in params]


def _value(trial: Trial) -> str:
    rng = trial.rng
    text = written(rng, number(rng, 0.001, 5000), Style(mark=rng.choice("...,")))
    return rng.choice(
        [
            text,
            text,
            f"{text}g",
            f"{text}m/s",
            rng.choice(ODD).replace("\0", ""),
            "1500kV 28g",
            "6x4",
            "2S 450mAh 35C",
            "2-3",
            "2,3",
        ]
    )


def command_lines(trial: Trial) -> None:
    """Options of any command; the brief is faulty except for the quick ones, so that only reading is done."""
    rng = trial.rng
    name = rng.choice([*(each for each in COMMANDS if each != "page"), "point", "point", "new", "parts", "words"])
    path = trial.folder / "faulty.toml"
    path.write_text("[aircraft]\nname = 5\n")
    words = [name]
    if name == "point" and rng.random() < 0.8:
        words += ["--motor", "1500kV 28g", "--propeller", "6x4", "--pack", "2S 450mAh 35C"]
    elif name not in ("point", "new", "parts", "words", "schema", "ask"):
        words.append(str(path))
    elif name == "ask":
        words += [
            rng.choice(["", "x", "--help", *(getattr(propmatch.get_command(None, "ask"), "commands", {}))]),
            str(path),
        ]
    for option, flag, kind in rng.sample(_options(name), min(len(_options(name)), rng.randint(0, 4))):
        if (
            option
            in (
                "--cluster",
                "--processes",
                "--help",
                "--output",
                "-o",
                "--plot",
                "--template",
                "--drawing",
                "--pdf",
                "--save",
            )
            or kind == "argument"
        ):
            continue
        words += [option] if flag else [option, _value(trial)]
    if name in ("words", "parts", "new"):
        words += ["-"] if name == "new" else [_value(trial)]
    trial.show(words)
    result = CliRunner().invoke(propmatch, words, prog_name="propmatch")
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    if result.exit_code not in (0, 1, 2):
        raise Misread(f"command line, exit code: {result.exit_code} of {words!r}")
    if result.exit_code == 2 and not (result.stderr.strip() or result.stdout.strip()):
        raise Misread(f"command line, silent: {words!r}")
