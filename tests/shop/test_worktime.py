"""The clock that starts and stops by itself: gaps count nothing."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from knowngood.shop.worktime import worked

START = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)


def at(*minutes: float) -> list[datetime]:
    return [START + timedelta(minutes=m) for m in minutes]


def test_a_gap_is_no_work() -> None:
    assert worked(at(0, 4, 9, 60, 63)) == pytest.approx(12)  # the 51 minutes are lunch


def test_a_long_step_needs_no_entry_in_between() -> None:
    assert worked(at(0, 25)) == 0
    assert worked(at(0, 25), reckoned=10) == pytest.approx(25)


def test_nothing_to_measure() -> None:
    assert worked([]) == worked(at(5)) == 0


@given(st.lists(st.floats(0, 600), max_size=20), st.floats(1, 60))
def test_never_more_than_the_clock_and_no_order_matters(minutes: list[float], idle: float) -> None:
    times = at(*minutes)
    found = worked(times, idle)
    assert found == pytest.approx(worked(reversed(times), idle))
    span = (max(times) - min(times)).total_seconds() / 60 if times else 0
    assert -1e-9 <= found <= span + 1e-9
    assert found <= idle * max(0, len(times) - 1) + 1e-9
