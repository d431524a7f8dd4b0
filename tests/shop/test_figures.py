"""Figures of a shop, worked by hand."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from knowngood.shop.figures import JobFacts, figures

FIRST, LAST = date(2026, 3, 1), date(2026, 3, 31)


def by_name(jobs: list[JobFacts]) -> dict[str, tuple[float | None, int]]:
    return {f.name: (f.value, f.of) for f in figures(jobs, FIRST, LAST)}


def test_five_jobs() -> None:
    day = FIRST
    jobs = [
        JobFacts("a", day, day + timedelta(2), "repaired", "", 60, 45),
        JobFacts("b", day, day + timedelta(4), "repaired", "", 30, 30),
        JobFacts("c", day, day + timedelta(9), "no fault found", "", 20, 0),
        JobFacts("d", day, day + timedelta(10), "repaired", "a", 40, 0),
        JobFacts("e", day),  # still here
        JobFacts("f", day, date(2026, 4, 1), "repaired"),  # next month
    ]
    found = by_name(jobs)
    assert found["handed back"] == (4, 4)
    assert found["turnaround, median"] == (6.5, 4)
    assert found["first-time fix"] == (pytest.approx(2 / 3), 3)  # a came back as d
    assert found["comebacks"] == (0.25, 4)
    assert found["no fault found"] == (0.25, 4)
    assert found["sold of worked"] == (0.5, 4)


def test_nothing_yet_is_not_nought() -> None:
    found = figures([], FIRST, LAST)
    shown = {f.name: f.shown for f in found}
    assert shown["first-time fix"] == shown["turnaround, median"] == "nothing yet"
    assert shown["handed back"] == "0 jobs"


@given(st.lists(st.integers(0, 60), min_size=1, max_size=40))
def test_quantiles_are_those_of_numpy(days: list[int]) -> None:
    """numpy.percentile, its default method (type 7 of Hyndman & Fan 1996)."""
    left = date(2026, 3, 15)
    jobs = [JobFacts(str(n), left - timedelta(d), left, "repaired") for n, d in enumerate(days)]
    found = by_name(jobs)
    assert found["turnaround, median"][0] == pytest.approx(np.percentile(days, 50))
    assert found["turnaround, nine of ten"][0] == pytest.approx(np.percentile(days, 90))
