"""A limit missed is said with the same words by every command, a propeller over its speed before all else."""

import json

import pytest

FAST = ("--motor", "2300kV 28g", "--propeller", "7x6 broad", "--pack", "2S 850mAh 35C", "--controller", "20A")
"""Broad blades are good for 60,000 rpm inches (value from memory): 8,571 rpm at 7 inches."""
UNKNOWN = ("--motor", "1500kV 28g", "--propeller", "6x4", "--pack", "2S 850mAh 35C", "--controller", "20A")


def plain(text: str) -> str:
    return " ".join(text.split())


def test_point_says_a_propeller_over_its_speed_first(run) -> None:
    text = plain(run("point", *FAST).out)
    assert text.startswith("Danger: propeller ")
    assert "limit 8571 rpm (by family, unverified)" in text
    swept = plain(run("point", *FAST, "--throttle", "0.3..1").out)
    assert swept.startswith("Danger: propeller ")
    assert not plain(run("point", *FAST, "--throttle", "0.3").out).startswith("Danger")


@pytest.mark.parametrize("words", [("point",), ("ask", "throttle"), ("ask", "kv"), ("cells", "club_racer")])
def test_an_unknown_family_is_asked_for_and_nothing_is_over(run, words) -> None:
    done = run(*words, *UNKNOWN)
    text = plain(done.out)
    assert "The max rpm of 6x4 is not known. Which family is it: thin, thick, broad" in text
    assert "'propmatch parts --which-family SIZE' asks three questions)? Or give its max_rpm." in text
    assert "Danger" not in text


def test_cells_and_ask_name_it_first_and_count_it(run) -> None:
    done = run("cells", "club_racer", *FAST)
    assert ") misses propeller max rpm" in plain(done.out)
    rows = json.loads(run("cells", "club_racer", *FAST, "--json").out)["rows"]
    assert {row["failed"][0] for row in rows} == {"propeller_rpm"}
    assert plain(run("ask", "throttle", *FAST).out).startswith("Danger: propeller max rpm")
    cap = json.loads(run("ask", "throttle", *FAST, "--limit", "30", "--json").out)["rows"][0]
    assert cap["by_speed"] is True
    assert cap["throttle_at_limit"] < 1


def test_fits_refuses_a_propeller_over_its_speed_before_all_else(run) -> None:
    text = plain(run("fits", "club_racer", "--propeller", "7x6 broad", "--motor", "2600kV 40g max=40A").out)
    assert "Why: propeller max rpm" in text


def test_an_estimated_rating_only_warns_where_the_brief_says_so(run, tmp_path) -> None:
    brief = (
        '[aircraft]\nname = "b"\nbare_mass_g = 200\n[limits]\nmin_thrust_to_weight = 0.1\n'
        'estimated_ratings = {}\n[[phase]]\nname = "cruise"\nairspeed_m_s = 12\nshare = 1\n'
    )
    found = {}
    for word in ("exclude", "warn"):
        path = tmp_path / f"{word}.toml"
        path.write_text(brief.format(json.dumps(word)), encoding="utf-8")
        done = run("cells", str(path), "--cells", "2", *FAST, "--json")
        found[word] = next(row for row in json.loads(done.out)["rows"] if row["compared_by"] == "same energy")
    assert "motor_current_static" in found["exclude"]["failed"]
    assert "motor_current_static" not in found["warn"]["failed"]
    assert found["warn"]["outside_practice"][0] == "propeller_rpm"


def test_bursts_serve_only_where_the_brief_says_so_and_that_is_said(run, tmp_path) -> None:
    text = (
        '[aircraft]\nname = "b"\nbare_mass_g = 200\n[limits]\nmin_thrust_to_weight = 0.1\nallow_burst = {}\n'
        '[[phase]]\nname = "up"\nthrottle = 1.0\nseconds = 8\n[[phase]]\nname = "along"\nairspeed_m_s = 12\nshare = 1\n'
    )
    train = ("--motor", "2300kV 28g max=10A burst_current_a=30A burst_seconds=10", "--propeller", "6x4 thin", "--pack",
             "2S 1300mAh 60C", "--controller", "40A")  # fmt: skip
    failing = {}
    for word in ("false", "true"):
        path = tmp_path / f"{word}.toml"
        path.write_text(text.format(word), encoding="utf-8")
        done = run("cells", str(path), "--cells", "2", *train, "--json")
        failing[word] = next(
            row["failed"] for row in json.loads(done.out)["rows"] if row["compared_by"] == "same energy"
        )
    assert {"motor_current_static", "motor_current_phase"} <= set(failing["false"])
    assert not {"motor_current_static", "motor_current_phase"} & set(failing["true"])
    said = plain(run("cells", str(tmp_path / "true.toml"), "--cells", "2", *train).out)
    assert "Burst ratings serve here, as the brief allows for short phases: motor current static" in said
    strong = ("--motor", "2300kV 28g max=40A burst_current_a=60A burst_seconds=10", *train[2:])
    unsaid = plain(run("cells", str(tmp_path / "true.toml"), "--cells", "2", *strong).out)
    assert "motor current static" not in unsaid.partition("Burst ratings serve here")[2].partition(".")[0]


def test_ask_says_whose_rating_it_takes(run) -> None:
    words = ("--propeller", "6x4 thin", "--pack", "2S 850mAh 35C", "--controller", "20A")
    for motor, said in (
        ("2300kV 28g", "13.24 A is the estimated continuous rating of the motor"),  # 3.5 W/g x 28 g/7.4 V
        ("2300kV 28g max=12A", "12 A is the continuous rating of the motor"),
        ("2300kV 28g max=40A", "20 A is the continuous rating of the controller"),
    ):
        for question in ("throttle", "kv", "propeller"):
            assert said in plain(run("ask", question, "--motor", motor, *words).out)
    assert "No current was named" not in run("ask", "throttle", "--motor", "2300kV 28g", *words, "--limit", "9A").out


def test_a_danger_that_only_warns_stands_before_the_picks(run, tmp_path) -> None:
    text = (
        '[aircraft]\nname = "b"\nbare_mass_g = 200\n[limits]\nmin_thrust_to_weight = 0.1\nestimated_ratings = "warn"\n'
        '[prefer]\nthrust_to_weight = 1.0\n[[phase]]\nname = "cruise"\nairspeed_m_s = 12\nshare = 1\n'
    )
    folder = tmp_path / "parts"
    folder.mkdir()
    (folder / "propellers.csv").write_text("name,diameter_in,pitch_in,family,mass_g\nslow flyer,7,5.5,broad,4\n")
    (tmp_path / "brief.toml").write_text(text + '[parts]\npropeller = ["parts/*"]\n', encoding="utf-8")
    out = plain(run("match", str(tmp_path / "brief.toml"), "--parts", str(folder), "--top", "1").out)
    assert "Danger: propeller max rpm" in out.partition("combinations meet the brief")[0]


@pytest.mark.parametrize(("question", "option"), [("kv", "--current"), ("propeller", "--limit")])
def test_what_ask_recommends_is_judged_for_speed(run, question, option) -> None:
    slow = ("--motor", "1000kV 40g", "--propeller", "9x4.5 broad", "--pack", "3S 1150mAh 38C", "--controller", "40A")
    text = plain(run("ask", question, *slow, option, "25A" if question == "kv" else "4A").out)
    assert (
        "Danger: propeller max rpm"
        in text.partition("Reckoned")[0].partition("draws" if question == "kv" else "largest")[2]
    )
