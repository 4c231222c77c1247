"""Chances, ranges and what an answer hangs on, in words; chances of a lognormal mass by closed form (scipy)."""

import math
from types import SimpleNamespace

import attrs
import pytest
from scipy.stats import norm
from support.small_aircraft import small_brief, small_train

from propmatch.checks.chances import least_certain, sureness
from propmatch.checks.judged import judged_trains
from propmatch.checks.limits import CHECKS, Design, checks_of, run_checks
from propmatch.checks.setting import ResolvedBrief
from propmatch.records.fields import replace
from propmatch.words.chancewords import (
    chance_word,
    chance_words,
    check_range,
    hangs_words,
    least_words,
    of_hundred,
    range_words,
    ranged,
    share_words,
    sure_words,
)
from propmatch.words.shown import SYSTEMS
from propmatch.words.verdictwords import doubt_words, headline_words

Z80 = norm.ppf(0.9)


def brief_with(**limits):
    brief = small_brief()
    return replace(brief, limits=replace(brief.limits, **limits))


def checks_with(**limits):
    brief = brief_with(**limits)
    train = small_train()
    return train, {c.name: c for c in run_checks(Design.of(train, ResolvedBrief.of(brief).as_designed.variant), brief)}


@pytest.mark.parametrize("share", [0.97, 1.0, 1.04, 1.2])
def test_the_chance_of_a_mass_is_that_of_a_lognormal(share):
    """The bare mass alone varies, sd of ln 0.05; ends of the interval are its 10 and 90 % quantiles."""
    brief = small_brief()
    setting = ResolvedBrief.of(brief).as_designed
    train = small_train()
    bare = setting.variant.airframe.bare_mass_g
    limit = train.mass_g + share * bare
    heavy = setting.with_variant(attrs.evolve(setting.variant, target_mass_g=limit))
    (checks,) = checks_of(judged_trains(heavy, [train])[0], ("all_up_mass",), [sureness(heavy, train)])
    (check,) = checks
    assert check.chance == pytest.approx(norm.cdf(math.log(share) / 0.05), abs=0.005)
    assert check.low == pytest.approx(train.mass_g + bare * math.exp(-0.05 * Z80), rel=2e-3)
    assert check.high == pytest.approx(train.mass_g + bare * math.exp(0.05 * Z80), rel=2e-3)
    assert check.chance_wanted == 0.8
    assert check.verdict == ("fails" if share < 1 else "close" if share < math.exp(0.05 * norm.ppf(0.8)) else "ok")


def test_close_goes_by_chance_and_what_is_kept_in_every_draw_alike_is_ok():
    _, checks = checks_with(min_thrust_to_weight=0.9)
    for check in checks.values():
        if check.verdict in ("no limit", "unknown", "fails"):
            continue
        if math.isnan(check.chance):
            assert check.verdict == "ok", check.name
        else:
            assert check.verdict == ("close" if check.chance < check.chance_wanted else "ok"), check.name
    assert any(math.isnan(c.chance) and c.margin <= 0.1 for c in checks.values() if c.verdict == "ok")
    assert any(c.chance < c.chance_wanted for c in checks.values())


def test_a_limit_that_is_missed_on_paper_fails_whatever_its_chance():
    _, plain = checks_with()
    value = plain["thrust_to_weight"].value
    _, checks = checks_with(min_thrust_to_weight=1.02 * value)
    assert checks["thrust_to_weight"].verdict == "fails"
    assert 0.2 < checks["thrust_to_weight"].chance < 0.5


def test_a_chance_asked_for_is_the_one_a_check_is_held_to():
    _, plain = checks_with()
    value = plain["thrust_to_weight"].value
    least = {"min_thrust_to_weight": 0.9 * value}
    chance = checks_with(**least)[1]["thrust_to_weight"].chance
    assert 0.55 < chance < 0.95
    assert checks_with(**least, chance=chance - 0.02)[1]["thrust_to_weight"].verdict == "ok"
    assert checks_with(**least, chance=chance + 0.02)[1]["thrust_to_weight"].verdict == "close"


def test_common_practice_has_a_chance_of_its_own_though_it_excludes_nothing():
    brief, train = small_brief(), small_train()
    setting = ResolvedBrief.of(brief).as_designed
    sure = sureness(setting, train)
    _, checks = checks_with()
    practice = [c for c in checks.values() if c.basis == "common practice" and math.isfinite(c.chance)]
    assert practice
    for check in practice:
        measure = sure.measured[check.name]
        share = (measure.value >= check.limit if check.least else measure.value <= check.limit).mean()
        assert check.chance == pytest.approx(share, abs=1e-12)
    for name, chance in sure.chance_by_check.items():
        if math.isfinite(checks[name].chance) and CHECKS[name].may_exclude:
            assert checks[name].chance == chance


def test_without_draws_a_check_has_no_chance():
    setting = ResolvedBrief.of(small_brief()).as_designed
    (checks,) = checks_of(judged_trains(setting, [small_train()])[0])
    assert all(math.isnan(c.chance) and math.isnan(c.low) and math.isnan(c.high) for c in checks)


# ---------------------------------------------------------------- words


@pytest.mark.parametrize(
    ("chance", "text"),
    [(0.97, "97"), (0.994, "99"), (0.9951, "over 99"), (1.0, "100"), (0.004, "under 1"), (0.0, "0"), (math.nan, "-")],
)
def test_a_chance_is_never_rounded_up_to_certainty(chance, text):
    assert of_hundred(chance) == text


def test_the_verdict_of_a_chance():
    assert chance_words(0.97) == "holds in 97 of 100"
    assert sure_words(0.97, 0.9) == "holds in 97 of 100"
    assert sure_words(0.8, 0.8) == "holds in 80 of 100"
    assert sure_words(0.85, 0.9) == "may miss, holds in 85 of 100 (90 asked)"
    assert sure_words(0.899, 0.9) == "may miss, holds in 89 of 100 (90 asked)"
    assert sure_words(0.58, 0.8) == "may miss, holds in 58 of 100 (80 asked)"
    assert sure_words(0.2, 0.8) == "likely misses, holds in 20 of 100 (80 asked)"


@pytest.mark.parametrize(
    ("chance", "word"),
    [(0.9, "very likely"), (0.899, "likely"), (0.66, "likely"), (0.659, "may miss"), (0.33, "may miss"),
     (0.329, "likely misses"), (0.0, "likely misses"), (math.nan, "likely misses")],
)  # fmt: skip
def test_the_word_follows_the_chance(chance, word):
    """Mastrandrea and others, guidance note on the treatment of uncertainties (IPCC, 2010), table 1: likely from 66 %,
    very likely from 90 %, unlikely below 33 %; values from memory."""
    assert chance_word(chance, 0.0) == word


@pytest.mark.parametrize(("chance", "wanted"), [(0.72, 0.9), (0.89, 0.9), (0.95, 0.99), (0.33, 0.9)])
def test_less_than_is_asked_is_never_likely(chance, wanted):
    assert chance_word(chance, wanted) == "may miss"
    assert chance_word(wanted, wanted) == "very likely"


def doubted(short, *, holds=False, together=0.5):
    wanted = {"flight_time": 0.8}
    return SimpleNamespace(
        short=short, holds=holds, chance_all_limits=together, wanted=lambda name: wanted.get(name, 0.9),
        drawn=SimpleNamespace(on_paper=False),
    )  # fmt: skip


def test_first_words_name_all_that_is_less_sure_than_asked():
    """Builds and chances made up; what is said of them follows from the words' own rule."""
    sure = doubted({"flight_time": 0.3, "motor_power": 0.56, "controller_current": 0.72}, together=0.29)
    assert headline_words(sure, ()) == (
        "Likely misses flight time: 30 of 100 builds keep it (80 asked); may miss motor power: 56 (90); "
        "ESC current: 72 (90); in all 29 of 100 builds keep every limit."
    )
    assert headline_words(doubted({}, together=0.72), ()) == "May miss a limit: 72 of 100 builds keep every limit."
    assert headline_words(doubted({}, holds=True, together=0.72), ()) == "Likely: 72 of 100 builds keep every limit."
    assert doubt_words(doubted({}, holds=True, together=0.72)) == ""


def test_ranges_are_in_the_readers_unit_with_digits_that_tell_their_ends_apart():
    assert range_words(0.463, 0.702) == "0.46 to 0.70"
    assert range_words(24.2, 61.3, "min") == "24 to 61"
    assert range_words(6.94, 12.13, "A") == "6.9 to 12.1"
    assert range_words(1.0, 2.0, "thrust") == "102 to 204"  # 1 N = 101.97 gf
    assert range_words(10.0, 20.0, "speed") == "36 to 72"
    assert range_words(10.0, 20.0, "speed", SYSTEMS["si"]) == "10.0 to 20.0"
    assert range_words(283.495, 566.99, "g", SYSTEMS["imperial"]) == "10.0 to 20.0"  # 1 oz = 28.3495 g
    assert range_words(math.nan, 0.7) == "no answer to 0.70"
    assert range_words(math.nan, math.nan) == "no answer"
    assert ranged("0.58", 0.46, 0.7) == "0.58 (0.46 to 0.70)"
    assert ranged("0.58", math.nan, math.nan) == "0.58 (no answer)"
    assert ranged("-", math.nan, math.nan) == "-"


def test_a_check_without_an_answer_in_most_draws_is_told_from_one_that_does_not_vary():
    _, checks = checks_with()
    varied = attrs.evolve(checks["thrust_to_weight"], low=math.nan, high=math.nan)
    assert check_range(varied).endswith(" (no answer)")
    assert "(" not in check_range(attrs.evolve(varied, chance=math.nan)), "nothing varies, or nothing was drawn"


@pytest.mark.parametrize(
    ("share", "word"),
    [(0.95, "nearly all"), (0.75, "three quarters"), (0.65, "two thirds"), (0.5, "half"), (0.33, "a third"),
     (0.25, "a quarter"), (0.2, "a fifth"), (0.1, "a tenth"), (0.02, "little")],
)  # fmt: skip
def test_shares_as_people_say_them(share, word):
    assert share_words(share) == word


def test_what_a_check_hangs_on_names_the_part_and_why():
    brief = small_brief()
    setting = ResolvedBrief.of(brief).as_designed
    train = small_train()
    train = replace(train, propeller=replace(train.propeller, source=replace(train.propeller.source, kind="label")))
    sure = sureness(setting, train)
    assert hangs_words({"propeller": 0.66, "motor": 0.2}, sure) == (
        "two thirds of that from the propeller, which nobody measured"
    )
    said = hangs_words({"drag": 0.4, "bare mass": 0.35}, sure)
    assert said == (
        "a third of that from the drag, which nobody measured; a third from the bare mass, which nobody weighed"
    )
    weighed = replace(brief, uncertainty=replace(brief.uncertainty, bare_mass=0.01))
    sure = sureness(ResolvedBrief.of(weighed).as_designed, train)
    assert hangs_words({"bare mass": 0.95}, sure) == "nearly all of that from the bare mass"
    assert hangs_words({"air": 0.01}, sure) == ""
    assert hangs_words({}, sure) == ""


def test_the_least_certain_check_is_said_with_its_range_and_its_chance():
    _, checks = checks_with()
    brief = brief_with(min_thrust_to_weight=0.97 * checks["thrust_to_weight"].value)
    setting = ResolvedBrief.of(brief).as_designed
    train = small_train()
    sure = sureness(setting, train)
    found = checks_of(judged_trains(setting, [train])[0], sure=[sure])[0]
    check = next(c for c in found if c.name == sure.least_certain)
    said = least_words(sure, found)
    assert check_range(check) in said
    assert f"holds in {of_hundred(check.chance)} of 100" in said
    assert " of that from the " in said
    certain = SimpleNamespace(least_certain=None)
    assert least_words(certain, found) == ""
    for climb, least in ((1.0, None), (0.9, "climb")):
        assert least_certain({"flight_time": 1.0, "climb": climb}, (0.8, 0.8)) == least
    assert least_certain({"flight_time": 0.95, "motor_power": 0.96}, (0.8, 0.9)) == "motor_power", "of what is asked"
    assert least_certain({}, (0.8, 0.8)) is None


def test_what_falls_short_is_what_has_less_than_its_own_chance_least_first():
    setting, train = ResolvedBrief.of(brief_with(min_flight_minutes=60.0)).as_designed, small_train()
    sure = sureness(setting, train)
    short = {name: chance for name, chance in sure.chance_by_check.items() if chance < sure.wanted(name)}
    kept = sure.chance_by_check.keys() - short.keys()
    assert short
    assert kept
    assert sure.short == short
    assert list(sure.short.values()) == sorted(short.values())
