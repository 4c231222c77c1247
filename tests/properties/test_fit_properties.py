"""Whatever stands in a log, a fit answers or names faults; what it answers is finite and inside its own intervals."""

import math

from hypothesis import given, settings
from hypothesis import strategies as st

import bench_fit
from propmatch import InputFaults, fit_log
from propmatch.models.tables import CoefficientTable
from propmatch.records.parts import Propeller

TABLE = CoefficientTable(
    rpm=[3000.0, 30000.0], advance_ratio=[0.0, 0.8], ct=[[bench_fit.CT0, 0.0]] * 2, cp=[[bench_fit.CP0, 0.0]] * 2
)
BLADES = {name: Propeller(name=name, diameter_in=inch, pitch_in=inch / 2, table=TABLE)
          for name, inch in (("small", 5.0), ("large", 11.0))}  # fmt: skip
number = st.floats(-3, 5).map(lambda power: 10.0**power)
rows = st.lists(
    st.fixed_dictionaries(
        {"propeller": st.sampled_from(["none", *BLADES])},
        optional={
            "label_kv": st.just(1400.0), "mass_g": st.just(30.0), "cells": st.integers(0, 15), "volts": number,
            "amps": st.one_of(st.just(0.0), number), "rpm": number, "thrust_gf": number, "torque_nm": number,
            "throttle": st.sampled_from([0.0, 0.5, 1.0]), "temperature_c": st.floats(-80, 300),
        },
    ),
    max_size=5,
)  # fmt: skip


@given(rows=rows, supply=st.booleans())
@settings(max_examples=12)
def test_any_log_is_answered_or_refused_with_faults(rows, supply):
    try:
        fit = fit_log(rows, propellers=BLADES, instruments="bench supply" if supply else "")
    except InputFaults:
        return
    for each in fit.constants.values():
        assert 0 < each.low < each.value < each.high < math.inf
    assert all(each.why for each in fit.undetermined)
    if fit.usable:
        assert fit.part().kv_kind == "measured"
    else:
        assert fit.contradicted or fit.undetermined
