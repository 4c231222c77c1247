"""A key of JSON and CSV has one meaning in all commands, and every number has its unit in its name."""

import csv
import io
import re
from collections import defaultdict

import pytest
from support.commands import TRAIN, TYPED
from support.small_aircraft import small_brief, small_train

from propmatch.aircraft.endurance import PhaseTime
from propmatch.aircraft.speeds import AircraftSpeeds, PhaseStall, Turn
from propmatch.aircraft.wind import WindTrip
from propmatch.bench import flightlog
from propmatch.bench.loggertable import LoggedPhase
from propmatch.bench.next import Worth
from propmatch.checks.limits import CHECKS, Design, closest_limit, run_checks
from propmatch.checks.setting import ResolvedBrief
from propmatch.checks.throttlelimit import limit_columns
from propmatch.columns import UNIT_OF, columns_of
from propmatch.commands.point import POINT
from propmatch.commands.time import FLIGHT
from propmatch.questions import ask
from propmatch.questions.asflown import AsFlown
from propmatch.questions.cells import CellCase
from propmatch.questions.envelope import CellEnvelope
from propmatch.questions.fits import NUMBERS
from propmatch.questions.remedies import Remedies, Remedy
from propmatch.questions.settings import Settings
from propmatch.search.candidate import Candidate

LISTS = {
    "match": columns_of(Candidate),
    "cells": (*columns_of(CellCase), *limit_columns()),
    "cells, remedies": (*columns_of(Remedies), *columns_of(Remedy)),
    "envelope": (*columns_of(CellEnvelope), *limit_columns()),
    "fits": (*NUMBERS, *limit_columns()),
    "time, phases": columns_of(PhaseTime),
    "time, flights": FLIGHT,
    "time, speeds": (*columns_of(AircraftSpeeds), *columns_of(PhaseStall), *columns_of(Turn)),
    "time, wind": columns_of(WindTrip),
    "time, as flown": columns_of(AsFlown),
    "time, settings": columns_of(Settings),
    "point": POINT,
    "ask propeller": columns_of(ask.LargestPropeller),
    "ask kv": columns_of(ask.KvForCurrent),
    "ask throttle": columns_of(ask.ThrottleForCurrent),
    "ask mass": columns_of(ask.MassRange),
    "ask pack": columns_of(ask.CapacityForMinutes),
    "ask pack, packs": columns_of(ask.PackAtHand),
    "ask, parts": columns_of(ask.PartAtHand),
    "ask field": columns_of(ask.SiteRange),
    "flown": columns_of(flightlog.Reading),
    "flown, level power": columns_of(flightlog.LevelPower),
    "flown, minutes": columns_of(flightlog.Minutes),
    "flown, second flight": columns_of(flightlog.SecondFlight),
    "flown, logged phases": columns_of(LoggedPhase),
    "measure": columns_of(Worth),
}
"""Every list of numbers that a command gives, and its columns."""
SUFFIX = {
    "g": "_g", "N": "_n", "m/s": "_m_s", "A": "_a", "W": "_w", "V": "_v", "mAh": "_mah", "in": "_in", "m": "_m",
    "mm": "_mm", "degC": "_c", "ohm": "_ohm", "rpm/V": "_rpm_per_v", "N m": "_nm", "min": "minutes", "rpm": "rpm",
    "deg": "_deg", "mAh/km": "_mah_per_km", "K": "_k", "W/kg": "_w_kg", "kg/m3": "_kg_m3",
}  # fmt: skip
AS_DESIGNED = ("--variant", "as designed")
COMMANDS = {
    "match": ("match", "wetland_logger"),
    "cells": ("cells", "wetland_logger", *TRAIN),
    "envelope": ("envelope", "wetland_logger", *TRAIN),
    "fits": ("fits", "wetland_logger", *TRAIN[:2], "--propeller", "6x4"),
    "time, phases": ("time", "wetland_logger", *TRAIN),
    "point": ("point", *TYPED[:6], "--hold", "100gf"),
    "ask propeller": ("ask", "propeller", *TRAIN),
    "ask kv": ("ask", "kv", *TRAIN),
    "ask throttle": ("ask", "throttle", *TRAIN),
    "ask mass": ("ask", "mass", "wetland_logger", *AS_DESIGNED, *TRAIN),
    "ask pack": ("ask", "pack", "wetland_logger", *AS_DESIGNED, *TRAIN),
    "ask field": ("ask", "field", "wetland_logger", *AS_DESIGNED, *TRAIN),
    "flown": ("flown", "wetland_logger", "--minutes", "12", "--mah", "600", *TRAIN),
}


def test_the_same_key_has_the_same_meaning_and_unit_everywhere():
    meanings = defaultdict(lambda: defaultdict(list))
    for where, columns in LISTS.items():
        for column in columns:
            meanings[column.name][column.label, column.unit].append(where)
    assert {name: dict(found) for name, found in meanings.items() if len(found) > 1} == {}
    assert [name for name, found in meanings.items() if not next(iter(found))[0]] == []


def test_two_keys_of_one_meaning_are_one_key():
    names = defaultdict(set)
    for columns in LISTS.values():
        for column in columns:
            names[column.label].add(column.name)
    assert {label: found for label, found in names.items() if len(found) > 1} == {}


@pytest.mark.parametrize("where", LISTS)
def test_a_number_with_a_unit_names_it(where):
    for column in LISTS[where]:
        if column.unit in ("", "%"):
            continue
        suffix = SUFFIX[column.unit]
        inside = suffix in ("minutes", "rpm")
        assert (suffix in column.name) if inside else column.name.endswith(suffix), column.name
    assert set(UNIT_OF.values()) <= set(SUFFIX)


@pytest.mark.parametrize("where", COMMANDS)
def test_every_number_of_a_row_is_a_column(run, where):
    """What is no column is a word, a list, a count, or names a range or a comparison of columns."""
    names = {column.name for column in LISTS[where]}
    others = {
        "cells",
        "score",
        "closest_limit_margin",
        "receiver_supply_mass_g",
    }
    pack = {"pack_mass_g", "capacity_mah"}
    row = run(*COMMANDS[where], "--json").document["rows"][0]
    numbers = {key for key, value in row.items() if isinstance(value, float | int) and not isinstance(value, bool)}
    numbers -= {
        "chance_all_limits",
        "chance_all_limits_before",
        "chance_brief",
        "chance_ratings",
        "alike",
        "number",
        "rank",
    }
    plain = {re.sub(r"_(low|high)$", "", re.sub(r"_(from|to|before)$", "", key)) for key in numbers - names}
    assert plain - names - others - pack == set()


def test_the_closest_limit_is_the_same_in_text_json_and_csv(run):
    words = ("match", "schoolyard_trainer", "--top", "3", "--on-paper")
    document = run(*words, "--json").document
    lines = list(csv.DictReader(io.StringIO(run(*words, "--csv").out)))
    text = " ".join(run(*words, "--full").out.split())
    for row, line in zip(document["rows"], lines, strict=True):
        judged = [c for c in row["checks"] if CHECKS[c["name"]].graded and c["basis"] != "common practice"]
        least = min(c["margin"] for c in judged if c["margin"] is not None)
        assert row["closest_limit_margin"] == least == pytest.approx(float(line["closest_limit_margin"]))
        assert row["closest_limit"] == line["closest_limit"]
        said = row["closest_limit"].replace("_", " ").replace("all up", "all-up").replace("rpm", "speed")
        assert f"{row['id']}; closest limit: {said} " in text
    assert any(not rule.graded for rule in CHECKS.values())


def test_a_cell_count_is_never_the_closest_limit():
    """It fits or does not: with the most cells that the parts allow its margin is none, and says nothing."""
    brief = small_brief()
    train = small_train(motor={"cells_max": 2})
    checks = run_checks(Design.of(train, ResolvedBrief.of(brief).as_designed.variant), brief)
    count = next(check for check in checks if check.name == "cell_count")
    closest = closest_limit(checks)
    assert count.margin == 0.0
    assert closest.margin > count.margin
    assert closest.name != "cell_count"
