"""Good, bad or can't tell."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from knowngood.calculate.verdict import conformity, global_risk

spread = st.floats(1e-3, 10)


@settings(deadline=None)
@given(st.floats(-50, 50), spread)
def test_the_guard_band_is_where_the_verdict_turns_good(limit: float, u: float) -> None:
    guard = conformity(0.0, u, upper=limit).guard
    assert conformity(limit - 1.001 * guard, u, upper=limit).verdict == "good"
    assert conformity(limit - 0.999 * guard, u, upper=limit).verdict == "can't tell"
    assert conformity(limit + 1.001 * guard, u, upper=limit).verdict == "bad"


@settings(deadline=None)
@given(st.floats(-50, 50), spread, st.floats(-50, 50), spread)
def test_probabilities_add_up(value: float, u: float, lower: float, width: float) -> None:
    found = conformity(value, u, lower, lower + width)
    assert 0 <= found.p_good <= 1
    assert found.p_good + found.consumer_risk_specific == pytest.approx(1, abs=1e-12)
    assert found.producer_risk_specific == found.p_good


@settings(deadline=None)
@given(st.floats(0.01, 5), st.floats(1.01, 10))
def test_more_doubt_never_makes_a_reading_surer(u: float, factor: float) -> None:
    assert conformity(0.4, factor * u, upper=1.0).p_good <= conformity(0.4, u, upper=1.0).p_good
    assert conformity(1.4, factor * u, upper=1.0).p_good >= conformity(1.4, u, upper=1.0).p_good


def test_without_doubt_the_limit_itself_is_good() -> None:
    assert conformity(5.0, 0.0, upper=5.0).verdict == "good"
    assert conformity(5.001, 0.0, upper=5.0).verdict == "bad"


def test_far_outside_keeps_its_small_probability() -> None:
    assert conformity(30.0, 1.0, upper=0.0).p_good == pytest.approx(4.906713927148187e-198)


def test_too_much_doubt_between_narrow_limits_is_neither() -> None:
    found = conformity(12.0, 5.0, 11.0, 13.0)
    assert found.verdict == "can't tell"


@settings(max_examples=25, deadline=None)
@given(st.floats(0.01, 0.1), st.floats(0.0, 0.1))
def test_a_guard_band_trades_one_risk_for_the_other(meter_u: float, guard: float) -> None:
    plain = global_risk(0.0, 0.1, meter_u, -0.2, 0.2)
    guarded = global_risk(0.0, 0.1, meter_u, -0.2, 0.2, guard=guard)
    assert guarded.consumer <= plain.consumer + 1e-12
    assert guarded.producer >= plain.producer - 1e-12


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda: conformity(1, 0.1), "give a lower limit"),
        (lambda: conformity(1, 0.1, 3, 2), "must be below"),
        (lambda: conformity(1, -0.1, upper=2), "zero or more"),
        (lambda: conformity(math.nan, 0.1, upper=2), "finite"),
        (lambda: conformity(1, 0.1, upper=2, sure=1.0), "such as 0.95"),
        (lambda: global_risk(0, 0, 0.1, upper=1), "above zero"),
        (lambda: global_risk(0, 0.1, 0.1, -1, 1, guard=1), "nothing to accept"),
    ],
)
def test_what_makes_no_sense_is_refused(call: object, said: str) -> None:
    with pytest.raises(ValueError, match=said):
        call()  # type: ignore[operator]
