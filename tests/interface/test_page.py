"""The page's server: who is let in, what is wrong with a brief, and numbers equal to those of the Python functions."""

import importlib.util
import os
import re
import signal
import stat
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit
from urllib.request import url2pathname

import attrs
import httpx
import numpy as np
import pytest
from interface.conftest import Ran
from interface.test_page_browser import bench_log
from support.checks import one_more_check, reckoned
from support.commands import TRAIN_ID
from support.pages import HERE, Served, desk_of_stock, served
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
from propmatch.page.desk import Desk, Dropped
from propmatch.page.edit import edited, field_values
from propmatch.page.explain import explanation
from propmatch.page.workers import Ended, Here, Runner, Worker
from propmatch.records.fields import replace
from propmatch.records.trainid import PART_KINDS, joined_ids
from propmatch.search.keptrows import KeptRows
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


def test_the_server_does_not_say_what_it_is(page: Served) -> None:
    assert "server" not in get(page, f"/{page.token}/").headers


def test_the_browser_is_opened_without_the_secret_in_sight(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, folder: Path
) -> None:
    """What another process sees names a file of this user alone, which goes as soon as the page has begun."""
    import webbrowser

    from propmatch.commands import page as command

    opened = list[str]()
    monkeypatch.setattr(webbrowser, "open", opened.append)
    with ExitStack() as door, served(BRIEF, stock(), folder, opened=door.close) as page:
        command._open(page.address, door)
        file = Path(url2pathname(urlsplit(opened[0]).path))
        assert page.token not in opened[0]
        assert page.address in file.read_text(encoding="utf-8")
        assert (stat.S_IMODE(file.stat().st_mode), stat.S_IMODE(file.parent.stat().st_mode)) == (0o600, 0o700)
        get(page, f"/{page.token}/start")
        assert not file.parent.exists()


def get(page: Served, path: str, **headers: str) -> httpx.Response:
    return httpx.get(f"{page.origin}{path}", headers=headers, timeout=60, **HERE)


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
    answer = httpx.post(page.address + "brief", json=sent, headers={"origin": origin}, timeout=60, **HERE)
    assert answer.status_code == 403
    assert get(page, f"/{page.token}/start", origin=origin).status_code == 403


def test_a_question_without_an_origin_gets_403(page: Served) -> None:
    assert httpx.post(page.address + "brief", json={"text": BRIEF}, timeout=60, **HERE).status_code == 403


def test_it_listens_on_the_loopback_alone(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    import uvicorn

    from propmatch.commands.page import serve

    bound = []
    monkeypatch.setattr(uvicorn.Server, "run", lambda self, sockets: bound.extend(s.getsockname() for s in sockets))
    serve(PLAIN, stock, port=0, opening=False, folder=tmp_path, file="plain.toml")
    assert [address for address, _ in bound] == ["127.0.0.1"]


def test_the_command_serves_until_it_is_interrupted(tmp_path: Path) -> None:
    text = PLAIN + "min_thrust_to_weight = 1.2\nmax_propeller_diameter_in = 6\n"
    (tmp_path / "plain.toml").write_text(text, encoding="utf-8")
    words = [sys.executable, "-m", "propmatch.cli", "page", "plain.toml", "--no-open"]
    process = subprocess.Popen(words, cwd=tmp_path, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
                               env={**os.environ, "PYTHONUNBUFFERED": "1", "PROPMATCH_CACHE": ""})  # fmt: skip
    try:
        assert process.stdout is not None
        found = re.search(r"http://127\.0\.0\.1:\d+/[\w-]{32}/", process.stdout.readline())
        assert found is not None
        address = found[0]
        told = httpx.get(address + "start", timeout=60, **HERE).json()
        assert told == {"text": text, "file": "plain.toml", "folder": str(tmp_path), "guide": True}
        asks = Asks(address, {"text": text, "page": "one"})
        answer = asks.ask("map").json()
        assert answer["total"] > 0
        assert len(answer["flight_minutes"]) <= 2000
        threading.Thread(target=asks.ask, args=("sheet",), daemon=True).start()
        later(lambda: "sheet" in asks.ask("progress").json())
    finally:
        process.send_signal(signal.SIGINT)
        asked = time.monotonic()
        _, complaints = process.communicate(timeout=60)
    assert complaints == "Interrupted.\n"
    assert process.returncode == 130
    assert time.monotonic() - asked < 30, "the work under way is not waited for: 2 s on a quiet machine"


@attrs.frozen
class Asks:
    """Asks a page at an address, with what each question carries."""

    address: str
    sent: dict[str, Any]

    def ask(self, what: str) -> httpx.Response:
        origin = "/".join(self.address.split("/", 3)[:3])
        head = {"origin": origin}
        return httpx.post(self.address + what, json=self.sent, headers=head, timeout=60, **HERE)


def test_the_worker_ends_with_the_server_however_that_ends(tmp_path: Path) -> None:
    """The worker holds the same standard output: it reads as ended only when both are gone."""
    script = tmp_path / "serving.py"
    script.write_text(
        "import time\nfrom propmatch import Catalogue\nfrom propmatch.page.desk import Desk\n"
        "from propmatch.page.workers import Worker\ndef opening():\n    return Desk(Catalogue())\n"
        "if __name__ == '__main__':\n"
        "    print(Worker(opening).pid, flush=True)\n    time.sleep(60)\n",
        encoding="utf-8",
    )
    process = subprocess.Popen([sys.executable, str(script)], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL)
    assert process.stdout is not None
    worker = int(process.stdout.readline())
    process.kill()
    try:
        process.communicate(timeout=50)
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
    trim = train_answer(logger, catalogue, TRAIN_ID)["trim"]
    assert any("more up elevator than the glide" in text for text in trim["words"])
    assert trim["heads"][0] == "cure"
    assert len(trim["rows"]) == 5
    left = trim["heads"].index("change left, deg")
    assert f"{float(trim['rows'][0][left]):.1f} degrees" in trim["words"][-1]
    trainer = load_brief(path("briefs/schoolyard_trainer.toml"))
    assert train_answer(trainer, catalogue, TRAIN_ID)["trim"] is None


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


def test_a_map_that_its_page_asks_anew_is_dropped() -> None:
    """What is dropped ends as soon as it looks; another page's question goes on."""
    desk = Desk(stock())
    looking, runner = threading.Event(), Here(desk)
    inner = desk.maps.map

    def slow(*some: Any, tick: Callable[[], None], **more: Any) -> Any:
        looking.set()
        time.sleep(0.05)
        return inner(*some, tick=tick, **more)

    desk.maps.map = slow  # type: ignore[method-assign]
    sent = {"text": BRIEF}
    first, other = runner.submit("map", sent, "one"), runner.submit("map", sent, "two")
    assert looking.wait(10)
    newer = runner.submit("map", sent, "one")
    with pytest.raises(Dropped):
        first.done.result(10)
    total = match(brief(), stock(), top=1, count=True, on_paper=True).passing
    assert [each.done.result(60)["total"] for each in (other, newer)] == [total, total]


@pytest.fixture(scope="module")
def worker() -> Iterator[Worker]:
    made = Worker(desk_of_stock)
    yield made
    made.close()


def later(condition: Callable[[], bool]) -> None:
    """Wait until something holds."""
    end = time.monotonic() + 120
    while not condition():
        assert time.monotonic() < end
        time.sleep(0.01)


def test_the_worker_keeps_the_rows_and_answers_as_the_search_does(
    worker: Worker, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Steps of the mass through a process of its own, with the map of a desk that keeps nothing."""
    monkeypatch.setattr(KeptRows, "of", lambda *_: None)
    for mass_g in (265.0, 270.0, 300.0):
        sent = {"text": BRIEF, "changes": {"aircraft.bare_mass_g": mass_g}, "moving": mass_g > 265.0}
        told = worker.submit("map", sent, "one").done.result(60)
        same = Desk(stock()).answer("map", sent)
        n = 4 * same["front"]
        assert (told["total"], told["front"]) == (same["total"], same["front"])
        rows = [sorted(zip(*[iter(each["parts"][:n])] * 4, strict=True)) for each in (told, same)]
        assert rows[0] == rows[1]


def test_rows_are_measured_while_nobody_asks_and_that_gives_way_to_a_question() -> None:
    desk, asked = Desk(stock()), {"text": BRIEF, "changes": {"aircraft.bare_mass_g": 250}}

    def interrupted() -> None:
        raise Dropped

    before = desk.answer("map", asked)
    rows = desk.maps._maker._kept
    assert rows is not None
    some = np.count_nonzero(rows._unmeasured)
    with pytest.raises(Dropped):
        desk.prepare(interrupted)
    assert np.count_nonzero(rows._unmeasured) == some > 0
    desk.prepare(lambda: None)
    assert not rows._unmeasured.any()
    assert desk.answer("map", asked) == before


def test_a_killed_worker_is_begun_again_and_asked_again(worker: Worker) -> None:
    gone = worker.pid
    job = worker.submit("listening", {"text": ""}, "one")
    later(lambda: job.doing == "Listening")
    os.kill(gone, signal.SIGKILL)
    later(lambda: worker.pid != gone and job.tries == 2)
    later(lambda: [each.what for each in worker.doing("one")] == ["listening"])
    os.kill(worker.pid, signal.SIGKILL)
    with pytest.raises(RuntimeError, match="ended twice"):
        job.done.result(60)
    assert worker.submit("brief", {"text": BRIEF}).done.result(60)["name"] == "reed bed glider"


def no_desk() -> Desk:
    raise OSError("the folder of parts is gone")


def test_a_worker_that_cannot_begin_is_not_begun_for_ever() -> None:
    made = Worker(no_desk)
    with pytest.raises(RuntimeError, match=r"ended twice|as soon as it begins"):
        made.submit("brief", {"text": BRIEF}).done.result(60)
    later(lambda: made._mute > 2 and not made._process.is_alive())
    made.close()


def test_who_waits_for_what_is_closed_hears_that_it_ended() -> None:
    made = Worker(desk_of_stock)
    job = made.submit("deaf", {"text": ""}, "one")
    later(lambda: job.doing != "")
    made.close()
    assert isinstance(job.done.exception(60), Ended)
    assert isinstance(made.submit("brief", {"text": BRIEF}).done.exception(60), Ended)
    later(lambda: not made._process.is_alive())


@pytest.mark.parametrize("what", ["listening", "deaf"])
def test_what_nobody_waits_for_ends_whether_it_listens_or_not(worker: Worker, what: str) -> None:
    """The one that looks goes on living; the other is ended within the time it is given, and begun again."""
    job = worker.submit(what, {"text": ""}, "one")
    later(lambda: job.doing != "")
    before = worker.pid
    started = time.monotonic()
    newer = worker.submit("brief", {"text": BRIEF}, "one")
    with pytest.raises(Dropped):
        job.done.result(0)
    assert newer.done.result(60)["name"] == "reed bed glider"
    assert (worker.pid == before) == (what == "listening")
    assert time.monotonic() - started < 45, "far below the minute that it would take"


def test_a_page_that_goes_away_ends_its_work(worker: Worker, folder: Path) -> None:
    workers: dict[str, Runner] = {"map": worker, "long": worker}
    with served(BRIEF, stock(), folder, workers=workers) as page, httpx.Client(**HERE) as client:
        holding = worker.submit("listening", {"text": ""}, "other")
        sent = {"text": BRIEF, "page": "mine"}
        head = {"origin": page.origin}
        with pytest.raises(httpx.ReadTimeout):
            client.post(page.address + "best", json=sent, headers=head, timeout=httpx.Timeout(10, read=0.3))
        later(lambda: worker.doing("mine") == [])
        told = client.post(page.address + "progress", json={"page": "other"}, headers=head).json()
        assert told == {"listening": {"doing": "Listening", "share": None}} or told["listening"]["doing"] == ""
        worker.drop(holding)
        assert client.post(page.address + "best", json=sent, headers=head, timeout=60).json()["id"] == best(brief()).id


def test_the_desk_loads_no_server_and_answers_without_what_a_browser_lacks(tmp_path: Path) -> None:
    """Every question but the sheet, with libraries and threads barred that a desk in the browser would not have."""
    code = f"""
import builtins, json, sys, threading
barred = {{"scipy", "pandas", "click", "platformdirs", "multiprocessing", "starlette", "uvicorn", "anyio", "matplotlib",
          "jinja2", "numpy.testing", "numpy.fft"}}
plain = builtins.__import__
def guarded(name, *more, **words):
    if name.split(".")[0] in barred or name in barred:
        raise ImportError("barred: " + name)
    return plain(name, *more, **words)
builtins.__import__ = guarded
def none(thread):
    raise RuntimeError("can't start new thread")
threading.Thread.start = none
from support.sheets import stock
from propmatch.page.desk import ANSWERS, Desk
from propmatch.page import inbrowser
from importlib import util
util.find_spec = lambda name: None
desk = Desk(stock(), {BRIEF!r})
def ask(what, **more):
    told = json.loads(inbrowser.answered(desk, what, json.dumps({{"text": desk.text, **more}}), lambda *said: None))
    assert "faults" not in told, (what, told)
    return told
best = ask("best")["id"]
more = {{"swap": {{"kind": "pack", "part": best.split(" + ")[2]}}, "family": {{"name": "6x4 fixed 14mm sheet"}},
        "table": {{"table": {{"name": "motors.csv", "text": "name,kv,mass\\nA,1000,30\\n"}}}},
        "fit": {{"log": {{"name": "log.csv", "text": {bench_log()!r}}}}}, "save": {{"file": "a.toml"}}}}
for what in set(ANSWERS) - {{"sheet"}}:
    told = ask(what, **{{"train": best, "name": "mass", **more.get(what, {{}})}})
    assert what != "views" or "<svg" in told["svg"]
own = inbrowser.opened({str(tmp_path)!r})
assert "tables" in own.answer("form", {{"text": desk.text}})
assert own.catalogue.parts("motors")
print(best)
"""
    tests = Path(__file__).parents[1]
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True,
        env={**os.environ, "PROPMATCH_CACHE": "", "PYTHONPATH": os.pathsep.join([str(tests), *sys.path])},
    )  # fmt: skip
    assert done.stderr == ""
    assert done.stdout.strip() == best(brief()).id


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
    closed = 0
    for each in [*CHECKS, "top_speed"]:
        told = explanation(asked, catalogue, TRAIN_ID, each)
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


@pytest.mark.parametrize(
    "body",
    [
        b"",
        b"[1]",
        b"{",
        b'{"text": 3}',
        b'{"text": "", "changes": []}',
        b"[" * 100_000,
        b'{"text": "\\ud800"}',
        b'{"text": "", "train": 3}',
        b'{"text": "", "log": "x"}',
    ],
)
def test_a_malformed_question_is_a_fault(page: Served, body: bytes) -> None:
    answer = httpx.post(page.address + "train", content=body, headers={"origin": page.origin}, timeout=60, **HERE)
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


def test_saving_goes_through_no_link_and_replaces_only_on_true(page: Served, folder: Path, tmp_path: Path) -> None:
    other = tmp_path / "other.toml"
    other.write_text("# precious", encoding="utf-8")
    link = folder / "link.toml"
    link.symlink_to(other)
    for replacing in (False, "yes", 1, [True]):
        assert page.ask("save", text=BRIEF, file="link.toml", replace=replacing).status_code == 409
    assert link.is_symlink()
    assert page.ask("save", text=BRIEF, file="link.toml", replace=True).status_code == 200
    assert (link.is_symlink(), other.read_text(encoding="utf-8")) == (False, "# precious")
    assert loads_brief(link.read_text(encoding="utf-8")) == brief()
    assert [each.name for each in folder.iterdir() if each.name.endswith(".part")] == []


@pytest.mark.parametrize(
    "name",
    [
        "../up.toml",
        "/tmp/up.toml",
        "a/b.toml",
        "brief.txt",
        ".toml",
        "..\\up.toml",
        "",
        "a\nb.toml",
        "\x7f.toml",
        "\u202e.toml",
        "con.toml",
        "NUL.old.toml",
        "lpt1.toml",
        "a:b.toml",
        "what?.toml",
        "x" * 300 + ".toml",
        " a.toml",
    ],
)
def test_a_brief_is_saved_in_its_folder_alone(page: Served, folder: Path, name: str) -> None:
    before = sorted(folder.iterdir())
    assert page.ask("save", text=BRIEF, changes={}, file=name).status_code == 422
    assert sorted(folder.iterdir()) == before
    assert not (folder.parent / "up.toml").exists()


def test_the_sheet_is_that_of_the_picked_train(page: Served) -> None:
    chosen = best(brief())
    answer = page.ask("sheet", text=BRIEF, changes={}, train=chosen.id)
    assert answer.status_code == 200
    made = answer.json()
    assert (made["file"], made["type"]) == ("sheet.html", "text/html")
    assert "<!doctype html>" in made["text"].lower()
    assert chosen.train.propeller.name in made["text"]


def test_side_and_top_view_are_those_of_the_picked_train(page: Served) -> None:
    chosen = best(brief())
    drawn = page.ask("views", text=BRIEF, changes={}, train=chosen.id, seq=3).json()
    alone = aircraft_views(settings(brief())[0], chosen.train)
    assert alone is not None
    assert (drawn["seq"], drawn["svg"], drawn["words"]) == (3, alone.svg(), alone.summary)
    plain = page.ask("views", text=BRIEF[: BRIEF.index("[balance]")], changes={}, train=chosen.id).json()
    assert (plain["svg"], plain["words"]) == (None, NO_VIEWS)
