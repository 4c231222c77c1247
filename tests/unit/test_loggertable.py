"""A logger's table: read in pieces, split into phases, held against the aircraft."""

import math
from collections.abc import Callable, Iterable
from pathlib import Path

import numpy as np
import pytest
from support.small_aircraft import small_brief, small_train

from propmatch.bench import loggertable
from propmatch.bench.flightlog import level_power
from propmatch.bench.loggertable import FlightTable, LoggedFlight, logged_flight, read_flight_table, stretches_of
from propmatch.checks.setting import ResolvedBrief
from propmatch.faults import InputFaults

HEAD = "seconds,volts,amps,airspeed_m_s,height_m,throttle"
RADIO_A = 0.2
Write = Callable[..., str]
SETTING = ResolvedBrief.of(small_brief()).as_designed
TRAIN = small_train(**SETTING.train_numbers)


@pytest.fixture
def write(tmp_path: Path) -> Write:
    def made(rows: Iterable[object], head: str = HEAD, name: str = "log.csv") -> str:
        path = tmp_path / name
        lines = [head, *(row if isinstance(row, str) else ",".join(map(str, row)) for row in rows)]
        path.write_text("\n".join(lines) + "\n", encoding="utf-8")
        return str(path)

    return made


def flight(parts: Iterable[tuple[float, float, float, float, float]], step: float = 0.5) -> list[tuple[float, ...]]:
    """Rows of a flight of parts: seconds, amps, airspeed, climb and throttle, at 7.6 V."""
    rows, time, height = [], 0.0, 0.0
    for seconds, amps, speed, climb, throttle in parts:
        for _ in range(round(seconds / step)):
            rows.append((round(time, 3), 8.1 if not rows else 7.6, amps, speed, round(height, 3), throttle))
            time, height = time + step, height + climb * step
    return rows


USUAL = ((20, 0.2, 0, 0, 0.0), (20, 8.0, 9, 5, 1.0), (120, 2.4, 11, 0, 0.6), (30, 0.2, 9, -1, 0.0),
         (60, 4.4, 15, 0, 0.8), (40, 3.0, 11, 2.5, 0.7), (20, 0.2, 0, 0, 0.0))  # fmt: skip


def read(write: Write, **changes: object) -> FlightTable:
    return read_flight_table(write(flight(USUAL, **changes)))


# ---------------------------------------------------------------- reading


@pytest.mark.parametrize("step", [0.1, 0.5, 1.0, 2.0])
def test_charge_is_the_integral_of_the_current(write: Write, step: float) -> None:
    """Against numpy's trapezoidal rule over the rows."""
    rows = np.array(flight(USUAL, step=step))
    table = read_flight_table(write(rows.tolist()))
    assert np.sum(table.amps * table.seconds) == pytest.approx(np.trapezoid(rows[:, 2], rows[:, 0]), rel=1e-9)
    assert np.sum(table.seconds) == pytest.approx(rows[-1, 0])
    assert table.rows == len(rows)
    assert table.used_mah[-1] == pytest.approx(np.trapezoid(rows[:, 2], rows[:, 0]) / 3.6, rel=0.01)


def test_pieces_join_without_a_seam(write: Write, monkeypatch: pytest.MonkeyPatch) -> None:
    path = write(flight(USUAL, step=0.1))
    whole = read_flight_table(path)
    monkeypatch.setattr(loggertable, "_ROWS", 7)
    pieces = read_flight_table(path)
    for name in ("seconds", "amps", "volts", "speed_m_s", "height_m", "throttle"):
        np.testing.assert_allclose(getattr(pieces, name), getattr(whole, name), rtol=1e-9)
    assert pieces.rows == whole.rows


def test_what_is_kept_grows_with_time_not_with_rows(write: Write) -> None:
    sizes = [read_flight_table(write(flight(USUAL, step=step))).amps.size for step in (0.01, 1.0)]
    assert sizes[0] == pytest.approx(sizes[1], abs=2)


@pytest.mark.parametrize("separator", [",", ";", "\t"])
def test_heads_units_and_separators(write: Write, separator: str) -> None:
    head = separator.join(("Milliseconds", "note", "AMPS", "ground_speed_km_h", "throttle_percent"))
    rows = [separator.join((str(1000 * at), "x y", "2.5", "36", "50")) for at in range(30)]
    table = read_flight_table(write(rows, head))
    assert table.speed_kind == "ground speed"
    assert np.allclose(table.speed_m_s, 10.0)
    assert np.allclose(table.throttle, 0.5)
    assert np.sum(table.seconds) == pytest.approx(29.0)
    assert np.isnan(table.volts).all()


def test_empty_cells_are_passed_over(write: Write) -> None:
    rows = [f"{at},,{'' if at % 5 == 0 else 2.0},{'' if at % 2 else 11},0,0.5" for at in range(100)]
    table = read_flight_table(write(rows))
    assert table.rows == 80
    assert np.allclose(table.amps, 2.0)
    assert np.nansum(table.seconds) == pytest.approx(98.0)


# ---------------------------------------------------------------- bad tables


@pytest.mark.parametrize(
    ("lines", "where", "said"),
    [
        ("", "log.csv", "is empty: it needs a head and rows"),
        (HEAD + "\n", "log.csv", "has no two rows with numbers"),
        (HEAD + "\n1,7,2,11,0,.5\n", "log.csv", "has no two rows with numbers"),
        ("second,amp\n1,2\n", "log.csv:1", "has no column seconds and none amps"),
        ("seconds,volts\n1,2\n", "log.csv:1", "has no column amps"),
        (HEAD + "\n1,7,2,11,0,.5\n2,7,two,11,0,.5\n3,7,x,11,0,.5\n", "log.csv:3", "amps = 'two': is no number"),
        (
            HEAD.replace(",", ";") + "\n1;7;2,5;11;0;0\n2;7;2;11;0;0\n",
            "log.csv:2",
            "is no number; write a decimal point",
        ),
        (HEAD + "\n1,7,2,11,0,.5\n2,7,-40,11,0,.5\n", "log.csv:3", "amps = -40.0: must lie in -1 to 1000"),
        (HEAD + "\n1,7,2,11,0,50\n2,7,2,11,0,50\n", "log.csv:2", "throttle = 50.0: must lie in -0.05 to 1.2 (0 to 1)"),
        (HEAD + "\n5,7,2,11,0,.5\n3,7,2,11,0,.5\n", "log.csv:3", "time runs backwards, after 5 s"),
        (HEAD + "\n0,7,2,11,0,.5\n99000,7,2,11,0,.5\n", "log.csv:3", "more than 6 hours from the first row"),
        (HEAD + "\n1,7,2,11,0,.5\n1,7,2,11,0,.5\n", "log.csv", "has no two rows with numbers"),
    ],
)
def test_each_bad_table_has_its_own_sentence(tmp_path: Path, lines: str, where: str, said: str) -> None:
    path = tmp_path / "log.csv"
    path.write_text(lines, encoding="utf-8")
    with pytest.raises(InputFaults) as caught:
        read_flight_table(str(path))
    assert said in str(caught.value)
    assert caught.value.faults[0].where == where


def test_every_text_of_a_piece_is_named_but_not_thousands(write: Write) -> None:
    rows = [f"{at},7,zero,eleven,0,.5" for at in range(1000)]
    with pytest.raises(InputFaults) as caught:
        read_flight_table(write(rows))
    assert 2 <= len(caught.value.faults) <= 10


def test_bytes_that_are_no_text_end_in_a_sentence(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_bytes(bytes(range(256)) * 40)
    with pytest.raises(InputFaults, match="has no column"):
        read_flight_table(str(path))


def test_rows_too_short_are_read_as_far_as_they_go(write: Write) -> None:
    rows = ["0,8,2,11,0,0.5", "1,8,2", "2", "3,8,2,11,0,0.5", "", "4,8,2,11,0,0.5"]
    table = read_flight_table(write(rows))
    assert table.rows == 4
    assert np.nansum(table.seconds) == pytest.approx(4.0)
    assert np.nanmax(table.speed_m_s) == pytest.approx(11.0)


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ("1,8,2,11,0,0.5,9", "log.csv:3: has more fields than the 6 of the first row"),
        ("1,8,2,11,0,0,5,9,9", "log.csv:3: has more fields than the 6 of the first row"),
        ("1,8,#N/A,11,0,0.5", "log.csv:3: amps = '#N/A': is no number"),
        ("1,8,True,11,0,0.5", "log.csv:3: amps = 'True': is no number"),
        ("1e999,8,2,11,0,0.5", "log.csv:3: seconds = 'inf': is no number"),
    ],
)
def test_what_nobody_would_read_as_a_number_is_a_fault(write: Write, row: str, said: str) -> None:
    """One decimal comma too many shifts a row; an error of a formula is no empty cell: what a person reads there."""
    with pytest.raises(InputFaults) as caught:
        read_flight_table(write(["0,8,2,11,0,0.5", row, "2,8,2,11,0,0.5"]))
    assert any(str(fault).startswith(said) for fault in caught.value.faults)


# ---------------------------------------------------------------- phases


@pytest.mark.parametrize("with_throttle", [True, False])
def test_phases_are_found_again(write: Write, with_throttle: bool) -> None:
    """Ground time at both ends is no flight; a steady climb is no held speed."""
    rows = flight(USUAL)
    if with_throttle:
        table = read_flight_table(write(rows))
    else:
        table = read_flight_table(write([row[:-1] for row in rows], HEAD.removesuffix(",throttle")))
    found = stretches_of(table, RADIO_A)
    seconds = {kind: sum(s.seconds for s in found if s.kind == kind) for kind in {s.kind for s in found}}
    assert seconds["full throttle"] == pytest.approx(20, abs=2)
    assert seconds["motor off"] == pytest.approx(30, abs=2)
    assert seconds["held"] == pytest.approx(180, abs=12)
    assert seconds["other"] == pytest.approx(40, abs=12)
    assert sum(seconds.values()) == pytest.approx(270, abs=2)


def test_a_held_climb_slower_than_a_metre_a_second_is_corrected(write: Write) -> None:
    """What the climb takes is in the prediction: the same factor from a level and from a slowly climbing flight."""
    level = prediction(write, climb=0.0)
    climbing = prediction(write, climb=0.8)
    assert climbing.phases[0].predicted_a > 1.15 * level.phases[0].predicted_a
    assert climbing.phases[0].logged_climb_m_s == pytest.approx(0.8, abs=0.02)
    assert climbing.phases[0].logged_ratio < level.phases[0].logged_ratio


def prediction(write: Write, climb: float) -> LoggedFlight:
    table = read_flight_table(write(flight(((10, 8.0, 9, 0, 1.0), (120, 2.4, 11, climb, 0.6)))))
    return logged_flight(TRAIN, SETTING, table)


def test_bands_by_speed(write: Write) -> None:
    found = logged_flight(TRAIN, SETTING, read(write))
    assert [round(each.airspeed_m_s) for each in found.bands] == [11, 15]
    assert [each.amps for each in found.bands] == pytest.approx([2.4, 4.4], rel=0.01)
    assert found.bands[0].charge > found.bands[1].charge
    assert [each.phase for each in found.phases] == [
        "held 11.0 m/s", "held 15.0 m/s", "full throttle", "motor off", "not steady",
    ]  # fmt: skip
    off = next(each for each in found.phases if each.phase == "motor off")
    assert off.predicted_a == pytest.approx(TRAIN.radio_current_a)
    assert all(each.speed_sd == 0.03 for each in found.bands)
    assert sum(each.logged_mah for each in found.phases) == pytest.approx(
        (20 * 8.0 + 120 * 2.4 + 30 * 0.2 + 60 * 4.4 + 40 * 3.0) / 3.6, rel=0.02
    )


def test_without_a_speed_the_brief_says_it(write: Write) -> None:
    rows = [(row[0], row[2], row[5]) for row in flight(USUAL[:4])]
    table = read_flight_table(write(rows, "seconds,amps,throttle"))
    found = logged_flight(TRAIN, SETTING, table)
    (band,) = found.bands
    assert (band.airspeed_m_s, band.speed_sd) == (11.0, 0.0)
    assert math.isnan(found.phases[0].logged_airspeed_m_s)
    power = level_power(TRAIN, SETTING, found.bands, names=found.names)
    assert power.readings[0].ratio == pytest.approx(2.4 / power.readings[0].steady_a, rel=0.01)


def test_a_gap_is_said(write: Write) -> None:
    rows = [row for row in flight(USUAL) if not 60 < row[0] < 80]
    (doubt,) = logged_flight(TRAIN, SETTING, read_flight_table(write(rows))).doubts
    assert "a gap of 20 s" in str(doubt)


# ---------------------------------------------------------------- another aircraft


def at_volts(volts: float) -> list[tuple[float, ...]]:
    return [(row[0], volts, *row[2:]) for row in flight(USUAL)]


@pytest.mark.parametrize(("volts", "said"), [(12.4, "it reads like 3S"), (16.6, "it reads like 4S"), (4.1, "like 1S")])
def test_cells_that_do_not_fit_the_volts(write: Write, volts: float, said: str) -> None:
    with pytest.raises(InputFaults, match=f"a log of another aircraft, or another pack; .*{said}"):
        logged_flight(TRAIN, SETTING, read_flight_table(write(at_volts(volts))))


def test_more_charge_than_the_pack_holds_and_a_motor_that_never_runs(write: Write) -> None:
    with pytest.raises(InputFaults, match="more than the 850 mAh that the pack holds"):
        logged_flight(TRAIN, SETTING, read_flight_table(write(flight([(1800, 2.4, 11, 0, 0.6)]))))
    with pytest.raises(InputFaults, match="the motor never runs"):
        logged_flight(TRAIN, SETTING, read_flight_table(write(flight([(300, 0.2, 0, 0, 0.0)]))))


def test_a_flight_that_holds_no_speed(write: Write) -> None:
    wild = [(4, 3.0, 8 if at % 2 else 16, 0, 0.6) for at in range(30)]
    with pytest.raises(InputFaults, match="holds no speed for 10 s at part throttle"):
        logged_flight(TRAIN, SETTING, read_flight_table(write(flight(wild))))
