"""The page's server: who is let in, what is wrong with a brief, and numbers equal to those of the Python functions."""

import importlib.util
import json
import os
import re
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from concurrent.futures import BrokenExecutor, Executor, ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path
from threading import Thread
from typing import Any

import httpx
import pytest
from interface.conftest import Ran
from support.checks import one_more_check, reckoned
from support.pages import Served, served
from support.sheets import BRIEF, brief, stock

from propmatch import hookimpl
from propmatch.brief import Brief, load_brief, loads_brief
from propmatch.catalogue.catalogue import load_catalogue
from propmatch.checks.checkrules import CHECKS
from propmatch.checks.limits import Check, Design, run_checks
from propmatch.checks.setting import settings
from propmatch.coupling import solve
from propmatch.hookspecs import ExtraCheck
from propmatch.page.answers import brief_answer, train_answer
from propmatch.page.edit import edited, field_values
from propmatch.page.explain import explanation
from propmatch.page.maps import _IN_WORKER, Dropped, Maps, in_worker
from propmatch.records.fields import replace
from propmatch.records.trainid import PART_KINDS, joined_ids
from propmatch.search.matching import Candidate, match
from propmatch.sheet.aircraftviews import NO_VIEWS, aircraft_views
from propmatch.words.checkwords import check_name, value_text
from propmatch_datasets import path

PLAIN = """
[aircraft]
name = "plain"
bare_mass_g = 265
[limits]
cells = [2, 3]
"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("briefs")


@pytest.fixture(scope="module")
def page(folder: Path) -> Iterator[Served]:
    with served(BRIEF, stock(), folder) as made:
        yield made


def bundled_brief(name: str) -> Brief:
    return loads_brief(path(f"briefs/{name}.toml").read_text(encoding="utf-8"), name)


def best(asked: Brief) -> Candidate:
    found = match(asked, stock(), top=1).best
    assert found is not None
    return found


# ---------------------------------------------------------------- who is let in


def get(page: Served, path: str, **headers: str) -> httpx.Response:
    return httpx.get(f"{page.origin}{path}", headers=headers, trust_env=False)


def test_the_page_itself_is_let_in(page: Served) -> None:
    answer = get(page, f"/{page.token}/")
    assert answer.status_code == 200
    assert answer.headers["content-security-policy"].startswith("default-src 'self'")
    assert "unsafe" not in answer.headers["content-security-policy"]


@pytest.mark.parametrize("path", ["/", "/wrong/", "//", "/a-token-of-a-tes/", "/a-token-of-a-test%00/", "/%C3%A9/"])
def test_a_wrong_token_gets_403(page: Served, path: str) -> None:
    assert get(page, path).status_code == 403


@pytest.mark.parametrize("host", ["parts.example", "127.0.0.1", "127.0.0.1.parts.example:80", "[::1]:80", ""])
def test_a_foreign_host_gets_403(page: Served, host: str) -> None:
    assert get(page, f"/{page.token}/", host=host).status_code == 403


@pytest.mark.parametrize("origin", ["http://parts.example", "null", "https://127.0.0.1", "http://127.0.0.1:1"])
def test_a_foreign_origin_gets_403(page: Served, origin: str) -> None:
    sent = {"text": BRIEF, "changes": {}}
    answer = httpx.post(page.address + "brief", json=sent, headers={"origin": origin}, trust_env=False)
    assert answer.status_code == 403
    assert get(page, f"/{page.token}/start", origin=origin).status_code == 403


def test_a_question_without_an_origin_gets_403(page: Served) -> None:
    assert httpx.post(page.address + "brief", json={"text": BRIEF}, trust_env=False).status_code == 403


def test_it_listens_on_the_loopback_alone(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    import uvicorn

    from propmatch.commands.page import serve

    bound = []
    monkeypatch.setattr(uvicorn.Server, "run", lambda self, sockets: bound.extend(s.getsockname() for s in sockets))
    serve(PLAIN, stock(), port=0, opening=False, folder=tmp_path, file="plain.toml")
    assert [address for address, _ in bound] == ["127.0.0.1"]


def test_the_command_serves_until_it_is_interrupted(tmp_path: Path) -> None:
    (tmp_path / "plain.toml").write_text(PLAIN, encoding="utf-8")
    words = [sys.executable, "-m", "propmatch.cli", "page", "plain.toml", "--no-open"]
    process = subprocess.Popen(words, cwd=tmp_path, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
                               env={**os.environ, "PYTHONUNBUFFERED": "1"})  # fmt: skip
    try:
        assert process.stdout is not None
        found = re.search(r"http://127\.0\.0\.1:\d+/[\w-]{32}/", process.stdout.readline())
        assert found is not None
        address = found[0]
        told = httpx.get(address + "start", trust_env=False).json()
        assert told == {"text": PLAIN, "file": "plain.toml", "folder": str(tmp_path)}
        origin = address.split("/", 3)[:3]
        sent = {"text": PLAIN, "changes": {}}
        head = {"origin": "/".join(origin)}
        answer = httpx.post(address + "map", json=sent, headers=head, timeout=60, trust_env=False)
        assert answer.json()["total"] > 0
        assert len(answer.json()["flight_minutes"]) <= 2000
    finally:
        process.send_signal(signal.SIGINT)
        _, complaints = process.communicate(timeout=30)
    assert complaints == ""


def test_the_worker_ends_with_the_server_however_that_ends(tmp_path: Path) -> None:
    """The worker holds the same standard output: it reads as ended only when both are gone."""
    script = tmp_path / "serving.py"
    script.write_text(
        "import os, time\nfrom concurrent.futures import ProcessPoolExecutor\n"
        "from multiprocessing import get_context\nfrom propmatch.page.server import in_background\n"
        "if __name__ == '__main__':\n"
        "    pool = ProcessPoolExecutor(1, mp_context=get_context('spawn'), initializer=in_background)\n"
        "    print(pool.submit(os.getpid).result(), flush=True)\n    time.sleep(60)\n",
        encoding="utf-8",
    )
    process = subprocess.Popen([sys.executable, str(script)], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL)
    assert process.stdout is not None
    worker = int(process.stdout.readline())
    process.kill()
    try:
        process.communicate(timeout=15)
    except subprocess.TimeoutExpired:
        os.kill(worker, signal.SIGKILL)
        raise


def test_a_malformed_brief_ends_with_all_its_faults(run: Callable[..., Ran], tmp_path: Path) -> None:
    file = tmp_path / "bad.toml"
    file.write_text("[aircraft]\nname = 3\nbare_mass_g = -1\n", encoding="utf-8")
    ran = run("page", str(file), "--no-open")
    assert ran.exit_code == 2
    assert len(ran.faults) == 2


def test_a_missing_extra_is_named(run: Callable[..., Ran], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(importlib.util, "find_spec", lambda name: None)
    ran = run("page", "--no-open")
    assert ran.exit_code == 2
    assert 'pip install "propmatch[page]"' in ran.err


# ---------------------------------------------------------------- numbers


def test_the_picked_train_has_the_numbers_of_python(page: Served) -> None:
    changes = {"aircraft.bare_mass_g": 300.0, "site.altitude_m": 1200, "limits.reserve_charge": 0.25}
    asked = edited(BRIEF, changes)
    chosen = best(asked)
    answer = page.ask("train", text=BRIEF, changes=changes, train=chosen.id, seq=7).json()
    assert answer["seq"] == 7
    got = {each["name"]: each["value"] for each in answer["numbers"]}
    assert got["flight_time"] == pytest.approx(chosen.flight_minutes, rel=1e-12)
    assert got["thrust_to_weight"] == pytest.approx(chosen.thrust_to_weight, rel=1e-12)
    assert got["mass"] == pytest.approx(chosen.all_up_mass_g, rel=1e-12)
    here = settings(asked)[0]
    design = Design.of(chosen.train, here.variant)
    for told, check in zip(answer["checks"], run_checks(design, asked), strict=False):
        assert told["name"] == check.name
        assert told["value"] == (pytest.approx(check.value, rel=1e-12) if check.value == check.value else None)
        assert told["verdict"] == check.verdict
    chart = answer["chart"]
    for curve in chart["curves"]:
        point = solve(chosen.train, airspeed_m_s=chart["airspeed_m_s"], throttle=curve["throttle"],
                      charge=curve["charge"], air=here.air)  # fmt: skip
        assert curve["thrust_n"] == pytest.approx(list(point.thrust_n), rel=1e-9, nan_ok=True)


def test_the_picked_train_says_what_throttle_does_to_trim_and_what_cures_it() -> None:
    logger, catalogue = load_brief(path("briefs/wetland_logger.toml")), load_catalogue(plugins=["bundled"])
    ids = match(logger, catalogue, top=1).best.id
    trim = train_answer(logger, catalogue, ids)["trim"]
    assert any("more up elevator than the glide" in text for text in trim["words"])
    assert trim["heads"][0] == "cure"
    assert len(trim["rows"]) == 5
    left = trim["heads"].index("change left, deg")
    assert f"{float(trim['rows'][0][left]):.1f} degrees" in trim["words"][-1]
    trainer = load_brief(path("briefs/schoolyard_trainer.toml"))
    ids = match(trainer, catalogue, top=1).best.id
    assert train_answer(trainer, catalogue, ids)["trim"] is None


def test_what_a_build_and_its_balance_rest_on_is_said() -> None:
    text = PLAIN.replace("bare_mass_g = 265\n", "") + (
        '[[structure]]\nname = "print"\nslicer_g = 265\nposition_mm = 10\n'
        "[balance]\ntarget_cg_mm = 0\nmotor_mm = -180\n"
        '[[variant]]\nname = "foamed"\nfilament = "foamed"\n'
    )
    asked = loads_brief(text)
    foamed = "foamed parts weigh 0.35 of solid ones"
    assert not any(foamed in each for each in brief_answer(asked)["assumptions"])
    assert any(foamed in each for each in brief_answer(asked, "foamed")["assumptions"])
    told = train_answer(asked, stock(), best(brief()).id)["assumptions"]
    assert any("the controller sits midway between motor and target" in each for each in told)


def ids_of(page: Served, answer: dict[str, Any]) -> list[str]:
    """The combinations of a map by the ids of their parts."""
    parts = page.ask("parts", text=BRIEF, changes={}).json()
    assert parts["stock"] == answer["stock"]
    kinds, at = [parts[kind] for kind in PART_KINDS], answer["parts"]
    rows = [at[i : i + 4] for i in range(0, len(at), 4)]
    return [joined_ids(ids[i] for ids, i in zip(kinds, row, strict=True)) for row in rows]


def test_a_map_that_its_page_gave_up_is_dropped() -> None:
    """The worker looks between two blocks; another page's question goes on."""
    signal, asked = Signalled(), list[int]()
    maps, catalogue = Maps(signal=signal), stock()

    def again() -> None:
        newer.start()
        while not signal.dropped:
            time.sleep(0.01)

    newer = Thread(target=lambda: asked.append(maps.map(brief(), catalogue, page="one")["total"]))
    signal.looked = again
    with pytest.raises(Dropped):
        maps.map(brief(), catalogue, page="one")
    newer.join(timeout=60)
    assert asked == [match(brief(), catalogue, top=1, count=True, on_paper=True).passing]
    assert maps.map(brief(), catalogue, page="two")["total"] == asked[0]


def test_a_worker_that_another_question_finds_dead_meanwhile_is_no_fault() -> None:
    """The first question is on its way to the worker when the second gives the worker up."""

    class Dying(Executor):
        def submit(self, *_: Any, **__: Any) -> Any:
            raise BrokenExecutor

    maps = Maps(Dying())
    inner = maps._submitted

    def late(*some: Any, **more: Any) -> Any:
        maps._worker = None
        return inner(*some, **more)

    maps._submitted = late  # type: ignore[method-assign]
    plain = Maps().map(brief(), stock(), page="one")
    assert maps.map(brief(), stock(), page="one")["total"] == plain["total"]


class Signalled:
    """A signal that tells when it is looked at."""

    def __init__(self) -> None:
        self.dropped, self.looked = 0, lambda: None

    @property
    def value(self) -> int:
        looked, self.looked = self.looked, lambda: None
        looked()
        return self.dropped

    @value.setter
    def value(self, number: int) -> None:
        self.dropped = number


def test_the_worker_keeps_the_rows_and_answers_as_the_search_does() -> None:
    """Steps of the mass through a process of its own, whose first answer is the plain search's."""
    text = (path("briefs/schoolyard_trainer.toml")).read_text(encoding="utf-8")
    catalogue, plain = load_catalogue(plugins=["bundled"]), Maps()
    with ProcessPoolExecutor(1, mp_context=get_context("spawn"), initializer=in_worker) as pool:
        maps = Maps(pool)
        for mass_g in (150.0, 160.0):
            asked = edited(text, {"aircraft.bare_mass_g": mass_g})
            told, same = (each.map(asked, catalogue, moving=mass_g > 150.0) for each in (maps, plain))
            assert (told["total"], told["front"]) == (same["total"], same["front"])
            n = 4 * told["front"]
            rows = [sorted(zip(*[iter(each["parts"][:n])] * 4, strict=True)) for each in (told, same)]
            assert rows[0] == rows[1]
            assert len(json.dumps(told)) < 100_000
        assert pool.submit(kept_rows).result() > 100_000


def kept_rows() -> int:
    """How many rows the worker keeps."""
    return int(_IN_WORKER["maker"]._kept.size)


def test_the_map_holds_what_match_finds(page: Served) -> None:
    found = match(brief(), stock(), top=100)
    answer = page.ask("map", text=BRIEF, changes={}).json()
    at = {name: i for i, name in enumerate(ids_of(page, answer))}
    assert answer["total"] == found.passing == len(at)
    for row in found.rows:
        assert answer["flight_minutes"][at[row.id]] == pytest.approx(row.flight_minutes, rel=5e-6)
        assert answer["thrust_to_weight"][at[row.id]] == pytest.approx(row.thrust_to_weight, rel=5e-6)
        assert answer["all_up_mass_g"][at[row.id]] == pytest.approx(row.all_up_mass_g, rel=5e-6)
    assert page.ask("best", text=BRIEF, changes={}).json()["id"] == found.rows[0].id


def test_explained_inputs_make_the_value(page: Served) -> None:
    chosen = best(brief())

    def told(name: str) -> tuple[float, dict[str, float]]:
        answer = page.ask("explain", text=BRIEF, changes={}, train=chosen.id, name=name).json()
        assert all(each["source"] for each in answer["inputs"])
        return answer["value"], {each["label"]: each["value"] for each in answer["inputs"]}

    mass, parts = told("mass")
    assert sum(parts.values()) == pytest.approx(mass)
    ratio, thrust = told("thrust_to_weight")
    assert thrust["thrust"] / thrust["weight"] == pytest.approx(ratio)
    amps, motor = told("motor_current_static")
    k = 60 / (2 * 3.141592653589793 * motor["speed constant"])
    back_v = k * motor["motor speed"] * 2 * 3.141592653589793 / 60
    assert (motor["motor voltage"] - back_v) / motor["resistance of the motor at this speed"] == pytest.approx(
        amps, rel=1e-6
    )
    volts, cell = told("cell_voltage")
    assert cell["pack voltage under load"] / cell["cells in series"] == pytest.approx(volts)


def test_every_number_shown_can_be_explained(page: Served) -> None:
    chosen = best(brief())
    answer = page.ask("train", text=BRIEF, changes={}, train=chosen.id).json()
    for name in [each["name"] for each in (*answer["numbers"], *answer["checks"])]:
        assert page.ask("explain", text=BRIEF, changes={}, train=chosen.id, name=name).status_code == 200, name


@pytest.mark.parametrize("name", ["club_racer", "schoolyard_trainer", "wetland_logger"])
def test_the_arithmetic_closes_with_the_numbers_as_printed(name: str) -> None:
    """Every formula, reckoned from its inputs to the digits shown, gives the value that is shown."""
    asked, catalogue = bundled_brief(name), load_catalogue()
    chosen = match(asked, catalogue, top=1).best
    assert chosen is not None
    closed = 0
    for each in [*CHECKS, "top_speed"]:
        told = explanation(asked, catalogue, chosen.id, each)
        if told["value"] is None:
            continue
        printed = {i["symbol"]: float(i["text"].split()[0]) for i in told["inputs"] if i["symbol"]}
        shown = value_text(reckoned(told["formula"], printed), told["unit"])
        assert told["title"] == f"{check_name(each)}: {shown}", told["formula"]
        assert told["arithmetic"].endswith(f" = {shown}") or not printed
        closed += 1
    assert closed >= len(CHECKS) - 2, "only balance, throw and take-off run may be left out by a brief"


def test_a_new_check_needs_no_word_of_the_page() -> None:
    chosen = best(brief())
    with one_more_check() as rule:
        told = train_answer(brief(), stock(), chosen.id)
        assert rule.name in [check["name"] for check in told["checks"]]
        answer = explanation(brief(), stock(), chosen.id, rule.name)
    share = chosen.train.pack.mass_g / chosen.all_up_mass_g
    assert answer["value"] == pytest.approx(share)
    assert answer["limit"] == "at most 0.3; from brief: made up for this test"
    assert chosen.train.pack.name in answer["inputs"][0]["source"]
    printed = {each["symbol"]: float(each["text"].split()[0]) for each in answer["inputs"]}
    assert answer["title"] == f"pack share: {value_text(reckoned(answer['formula'], printed), '')}"


# ---------------------------------------------------------------- editing


def test_a_check_of_a_plugin_is_explained_too(folder: Path) -> None:
    catalogue = stock()
    catalogue.plugins.add("club", _ClubChecks())
    with served(BRIEF, catalogue, folder) as page:
        train = best(brief()).id
        told = page.ask("train", text=BRIEF, train=train).json()
        assert "noise" in [check["name"] for check in told["checks"]]
        answer = page.ask("explain", text=BRIEF, train=train, name="noise")
        assert (answer.status_code, answer.json()["value"]) == (200, 70.0)
        assert "plugin" in answer.json()["formula"]


class _ClubChecks:
    @hookimpl
    def propmatch_checks(self) -> list[ExtraCheck]:
        check = Check(
            name="noise", value=70.0, limit=80.0, unit="dB", margin=0.125, verdict="ok", basis="brief", note=""
        )
        return [ExtraCheck(id="noise", description="noise at the fence", run=lambda design, brief: [check])]


def test_another_build_is_judged_as_such(page: Served) -> None:
    """The heavier build of the brief: numbers of its train, map, best and explanation are those of Python."""
    name = "<i>wet</i> wing"
    told = page.ask("brief", text=BRIEF).json()["variants"]
    assert [each["name"] for each in told] == ["as designed", name]
    assert told[1]["bare_mass"].startswith("300")
    found = match(brief(), stock(), top=100, variant=name)
    asked = {"text": BRIEF, "variant": name}
    assert found.best is not None
    assert page.ask("best", **asked).json()["id"] == found.best.id
    assert page.ask("map", **asked).json()["total"] == found.passing
    train = page.ask("train", train=found.best.id, **asked).json()
    mass = next(each["value"] for each in train["numbers"] if each["name"] == "mass")
    assert mass == pytest.approx(found.best.all_up_mass_g)
    why = page.ask("explain", train=found.best.id, name="mass", **asked).json()
    assert why["value"] == pytest.approx(mass)
    answer = page.ask("map", text=BRIEF, variant="of paper")
    assert answer.status_code == 422
    assert "as designed" in answer.json()["faults"][0]["rule"]


def test_a_new_bare_mass_of_a_list_without_print_keeps_its_balance() -> None:
    before, after = brief(), edited(BRIEF, {"aircraft.bare_mass_g": 300})
    assert settings(after)[0].variant.airframe.bare_mass_g == pytest.approx(300)
    one, two = settings(before)[0].build, settings(after)[0].build
    assert one is not None
    assert two is not None
    assert two.position_mm == pytest.approx(one.position_mm)


def test_changes_are_the_same_as_editing_the_brief() -> None:
    changes = {
        "aircraft.bare_mass_g": 301.5,
        "site.temperature_c": 30,
        "limits.cells": [3],
        "limits.min_flight_minutes": None,
    }
    plain = loads_brief(PLAIN)
    wanted = replace(
        plain,
        aircraft=replace(plain.aircraft, bare_mass_g=301.5),
        site=replace(plain.site, temperature_c=30.0),
        limits=replace(plain.limits, cells=(3,)),
    )
    made = edited(PLAIN, changes)
    assert made == wanted
    assert field_values(made)["limits.cells"] == [3]
    assert edited(PLAIN, {"limits.cells": None}).limits.cells == ()


def test_all_faults_of_a_sentence_at_once(page: Served) -> None:
    changes = {
        "aircraft.bare_mass_g": "heavy",
        "site.altitude_m": 90000,
        "limits.reserve_charge": -1,
        "limits.cells": [9],
    }
    answer = page.ask("brief", text=BRIEF, changes=changes, seq=3)
    assert answer.status_code == 422
    told = answer.json()
    assert told["seq"] == 3
    assert {fault["key"].partition("[")[0] for fault in told["faults"]} == set(changes)


def test_all_faults_of_a_text_at_once(page: Served) -> None:
    text = "[aircraft]\nnam = 'x'\nbare_mass_g = -2\n[limits]\nreserve_charge = 'all'\n"
    told = page.ask("map", text=text, changes={}).json()["faults"]
    assert {fault["key"] for fault in told} == {
        "aircraft.nam",
        "aircraft.bare_mass_g",
        "limits.reserve_charge",
    }


@pytest.mark.parametrize("body", [b"", b"[1]", b"{", b'{"text": 3}', b'{"text": "", "changes": []}', b"[" * 100_000])
def test_a_malformed_question_is_a_fault(page: Served, body: bytes) -> None:
    answer = httpx.post(page.address + "train", content=body, headers={"origin": page.origin}, trust_env=False)
    assert answer.status_code == 422
    assert answer.json()["faults"]


def test_an_unknown_part_is_a_fault(page: Served) -> None:
    for train in ("a + b + c + d", "one", ""):
        assert page.ask("train", text=BRIEF, changes={}, train=train).status_code == 422


# ---------------------------------------------------------------- keeping


def test_a_brief_is_saved_and_never_replaced_unasked(page: Served, folder: Path) -> None:
    changes = {"aircraft.bare_mass_g": 280}
    assert page.ask("save", text=BRIEF, changes=changes, file="mine.toml").status_code == 200
    file = folder / "mine.toml"
    assert loads_brief(file.read_text(encoding="utf-8")) == edited(BRIEF, changes)
    file.write_text("# precious", encoding="utf-8")
    again = page.ask("save", text=BRIEF, changes=changes, file="mine.toml")
    assert again.status_code == 409
    assert file.read_text(encoding="utf-8") == "# precious"
    assert page.ask("save", text=BRIEF, changes=changes, file="mine.toml", replace=True).status_code == 200
    assert "reed bed glider" in file.read_text(encoding="utf-8")


@pytest.mark.parametrize("name", ["../up.toml", "/tmp/up.toml", "a/b.toml", "brief.txt", ".toml", "..\\up.toml", ""])
def test_a_brief_is_saved_in_its_folder_alone(page: Served, folder: Path, name: str) -> None:
    before = sorted(folder.iterdir())
    assert page.ask("save", text=BRIEF, changes={}, file=name).status_code == 422
    assert sorted(folder.iterdir()) == before
    assert not (folder.parent / "up.toml").exists()


def test_the_sheet_is_that_of_the_picked_train(page: Served) -> None:
    chosen = best(brief())
    answer = page.ask("sheet", text=BRIEF, changes={}, train=chosen.id)
    assert answer.status_code == 200
    assert answer.headers["content-disposition"].startswith("attachment")
    assert "<!doctype html>" in answer.text.lower()
    assert chosen.train.propeller.name in answer.text


def test_side_and_top_view_are_those_of_the_picked_train(page: Served) -> None:
    chosen = best(brief())
    drawn = page.ask("views", text=BRIEF, changes={}, train=chosen.id, seq=3).json()
    alone = aircraft_views(settings(brief())[0], chosen.train)
    assert alone is not None
    assert (drawn["seq"], drawn["svg"], drawn["words"]) == (3, alone.svg(), alone.summary)
    plain = page.ask("views", text=BRIEF[: BRIEF.index("[balance]")], changes={}, train=chosen.id).json()
    assert (plain["svg"], plain["words"]) == (None, NO_VIEWS)
