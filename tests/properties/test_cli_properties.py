"""Whatever is typed at ``propmatch point`` ends with an exit code of 0, 1 or 2, and never with a traceback."""

from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st
from support.bundled import PROPELLER

from propmatch.cli import propmatch

MOTORS = st.builds(
    "kv={:.6g} mass={:.6g} r={:.6g} i0={:.6g} gear={:.6g}".format,
    st.floats(20, 30500), st.floats(0.5, 5100), st.floats(0, 10.1), st.floats(0, 50.1), st.floats(0.1, 50.1),
)  # fmt: skip
PACKS = st.builds(
    "{}S{}P {:.6g}mAh {:.6g}C 100g cell={:.6g}".format,
    st.integers(1, 15), st.integers(1, 5), st.floats(10, 1e5), st.floats(0.01, 301), st.floats(0, 2010),
)  # fmt: skip
VALUES = st.one_of(
    st.floats(-1, 2).map(str),
    st.tuples(st.floats(0, 1), st.floats(0, 1)).map(lambda ends: f"{ends[0]}..{ends[1]}/3"),
    st.text(max_size=8),
)
SPEEDS = st.one_of(st.floats(-5, 200).map(lambda speed: f"{speed}m/s"), st.just("0..150/4"), st.text(max_size=6))


def ends_well(words):
    result = CliRunner().invoke(propmatch, words, prog_name="propmatch")
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    assert result.exit_code in (0, 1, 2)
    if result.exit_code == 2:
        assert result.stderr.strip()
    else:
        assert max(map(len, result.stdout.splitlines())) <= 100


@given(MOTORS, PACKS, VALUES, SPEEDS, st.sampled_from(["0.5", "1", "0", "x"]))
def test_any_numbers(motor, pack, throttle, airspeed, charge):
    words = ["point", "--motor", motor, "--propeller", PROPELLER, "--pack", pack]
    ends_well([*words, "--throttle", throttle, "--airspeed", airspeed, "--charge", charge])


@given(MOTORS, PACKS, st.floats(0, 60), SPEEDS)
def test_any_thrust(motor, pack, thrust, airspeed):
    words = ["point", "--motor", motor, "--propeller", PROPELLER, "--pack", pack]
    ends_well([*words, "--hold", f"{thrust}N", "--airspeed", airspeed])


@given(st.text(max_size=30), st.text(max_size=30), st.text(max_size=30), st.text(max_size=30))
def test_any_text(motor, propeller, pack, controller):
    ends_well(["point", "--motor", motor, "--propeller", propeller, "--pack", pack, "--controller", controller])
