"""Figures of a shop, worked by hand."""

from __future__ import annotations

from datetime import date, timedelta
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from knowngood.shop.figures import MOST_MONTHS, JobFacts, by_month, figures

FIRST, LAST = date(2026, 3, 1), date(2026, 3, 31)


def by_name(jobs: list[JobFacts]) -> dict[str, tuple[float | None, int]]:
    return {f.name: (f.value, f.of) for f in figures(jobs, FIRST, LAST)}


def test_five_jobs() -> None:
    day = FIRST
    jobs = [
        JobFacts("a", day, day + timedelta(2), "repaired", "", 60, 45, gone=day + timedelta(3)),
        JobFacts("b", day, day + timedelta(4), "repaired", "", 30, 30, gone=date(2026, 4, 2)),
        JobFacts("c", day, day + timedelta(9), "no fault found", "", 20, 0),
        JobFacts("d", day, day + timedelta(10), "repaired", "a", 40, 0),
        JobFacts("e", day),  # still here
        JobFacts("f", day, date(2026, 4, 1), "repaired"),  # next month
    ]
    found = by_name(jobs)
    assert found["closed"] == (4, 4) and found["handed back"] == (1, 4)
    assert found["turnaround, median"] == (6.5, 4)
    assert found["first-time fix"] == (pytest.approx(2 / 3), 3)  # a came back as d
    assert found["comebacks"] == (0.25, 4)
    assert found["no fault found"] == (0.25, 4)
    assert found["sold of worked"] == (0.5, 4)


def test_why_nothing_was_sold_is_said_beside_it() -> None:
    day = FIRST
    jobs = [
        JobFacts("a", day, day, "repaired", "", 60, 45),
        *(JobFacts(id_, day, day, "fixd", why_none="not closed as repaired") for id_ in "bc"),
        JobFacts("d", day, day, "repaired", why_none="without labour on the estimate"),
        JobFacts("e", day, why_none="without an estimate or a claim sent"),  # still here
    ]
    (sold,) = (f for f in figures(jobs, FIRST, LAST) if f.name == "minutes sold")
    assert sold.how.endswith(
        "; none from 2 jobs not closed as repaired, 1 job without labour on the estimate"
    )


def test_nothing_yet_is_not_nought() -> None:
    found = figures([], FIRST, LAST)
    shown = {f.name: f.shown for f in found}
    assert shown["first-time fix"] == shown["turnaround, median"] == "nothing yet"
    assert shown["handed back"] == "0 jobs"
    assert shown["wrong parts"] == "0.00"  # of a shop that has not said its currency


@given(st.lists(st.integers(0, 60), min_size=1, max_size=40))
def test_quantiles_are_those_of_numpy(days: list[int]) -> None:
    """numpy.percentile, its default method (type 7 of Hyndman & Fan 1996)."""
    left = date(2026, 3, 15)
    jobs = [JobFacts(str(n), left - timedelta(d), left, "repaired") for n, d in enumerate(days)]
    found = by_name(jobs)
    assert found["turnaround, median"][0] == pytest.approx(np.percentile(days, 50))
    assert found["turnaround, nine of ten"][0] == pytest.approx(np.percentile(days, 90))


def test_months_add_up_to_the_whole_time() -> None:
    """Every closing day of two years falls into one month, leap day and ends of months too."""
    first, last = date(2023, 3, 14), date(2025, 2, 10)
    days = [first + timedelta(n) for n in range(-3, (last - first).days + 4)]
    jobs = [JobFacts(str(n), day, day, "repaired", worked=1.0) for n, day in enumerate(days)]
    months = by_month(jobs, first, last)
    assert len(months) == 24 == MOST_MONTHS
    assert (months[0].first, months[-1].last) == (first, last)
    assert months[11].last == date(2024, 2, 29)
    assert all(b.first - a.last == timedelta(1) for a, b in pairwise(months))
    whole = {f.name: f.value for f in figures(jobs, first, last)}
    for name in ("closed", "minutes worked"):
        assert sum(m.value(name) or 0 for m in months) == whole[name] == (last - first).days + 1
    assert months[3].value("first-time fix") == 1.0


def test_of_a_long_time_the_latest_months_are_shown() -> None:
    months = by_month([], date(1, 1, 1), date(2026, 3, 31))
    assert (months[0].first, len(months)) == (date(2024, 4, 1), MOST_MONTHS)
    assert [m.first for m in by_month([], date(1, 1, 1), date(1, 2, 3))] == [
        date(1, 1, 1), date(1, 2, 1),
    ]  # fmt: skip
