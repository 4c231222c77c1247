"""Four ids joined in one text: read in order and in any order, every fault at once."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from propmatch.faults import InputFaults
from propmatch.records.parts import KINDS, PARTS
from propmatch.records.trainid import PART_KINDS, TrainId, joined_ids, parts_in_any_order, parts_in_order

KNOWN = {
    "motor": {"a/m": 1, "a/both": 5},
    "controller": {"a/c": 2},
    "pack": {"a/p": 3, "a/both": 6},
    "propeller": {"a/q": 4},
}
IDS = ["a/m", "a/c", "a/p", "a/q"]


def faults(read, text):
    with pytest.raises(InputFaults) as caught:
        read(text, KNOWN, "here")
    assert all(str(fault).startswith("here: ") for fault in caught.value.faults)
    return [(fault.key, fault.value, fault.rule) for fault in caught.value.faults]


def test_the_kinds_are_named_in_one_order():
    assert tuple(PARTS) == PART_KINDS
    assert tuple(KINDS) == tuple(f"{kind}s" for kind in PART_KINDS)


def test_an_id_is_read_back():
    text = TrainId(motor_id="a/m", controller_id="a/c", pack_id="a/p", propeller_id="a/q").id
    assert text == joined_ids(IDS) == "a/m + a/c + a/p + a/q"
    assert parts_in_order(text, KNOWN, "here") == {"motor": 1, "controller": 2, "pack": 3, "propeller": 4}
    assert list(parts_in_order(text, KNOWN, "here")) == list(PART_KINDS)


@given(st.permutations(IDS))
def test_any_order_means_the_same(ids):
    wanted = {"motor": 1, "controller": 2, "pack": 3, "propeller": 4}
    assert parts_in_any_order(joined_ids(ids), KNOWN, "here") == wanted


def test_an_id_of_two_kinds_fills_the_one_that_is_free():
    found = parts_in_any_order("a/m + a/both + a/c + a/q", KNOWN, "here")
    assert found == {"motor": 1, "pack": 6, "controller": 2, "propeller": 4}


def test_every_fault_at_once():
    assert faults(parts_in_order, "a/x + a/c + a/y + a/q") == [
        ("motor", "a/x", "no part with this id"),
        ("pack", "a/y", "no part with this id"),
    ]
    assert faults(parts_in_order, "a/m")[0][2].startswith("must be ids of motor, controller, pack, propeller")
    assert faults(parts_in_any_order, "a/x + a/c + a/c") == [
        ("", "a/x", "no part with this id"),
        ("", "a/c", "is a second controller"),
    ]
    assert faults(parts_in_any_order, "a/m + a/q") == [("", "a/m + a/q", "names no controller and no pack")]


def test_what_is_said_of_an_unknown_id_may_name_its_kind():
    with pytest.raises(InputFaults, match="no motor that is let in"):
        parts_in_order("a/x + a/c + a/p + a/q", KNOWN, "here", "no {kind} that is let in")


@given(st.text(max_size=60))
def test_no_text_whatever_raises_anything_else(text):
    for read in (parts_in_order, parts_in_any_order):
        with pytest.raises(InputFaults):
            read(text, KNOWN, "here")
