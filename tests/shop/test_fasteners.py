"""Fasteners must come out even; the balance is arithmetic, tried on random counts."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from knowngood.shop.fasteners import StepCount, tally

counts = st.builds(
    StepCount,
    words=st.just("cover"),
    out=st.integers(0, 40),
    back=st.none() | st.integers(0, 40),
    over=st.integers(0, 5),
)


@given(st.lists(counts, max_size=12))
def test_the_count_balances(steps: list[StepCount]) -> None:
    found = tally(steps)
    done = [s for s in steps if s.back is not None]
    assert found.out == found.waiting + found.back + found.over + found.missing
    assert found.waiting == sum(s.out for s in steps if s.back is None)
    even = all(s.back == s.out and s.over == 0 for s in done)
    assert found.even is even, "any step that is not even is said, however the others come out"


@given(st.lists(counts, max_size=12))
def test_what_is_uneven_is_said_loudly(steps: list[StepCount]) -> None:
    found = tally(steps)
    for word, there in (
        ("LEFT OVER", any(s.over for s in steps if s.back is not None)),
        ("MISSING", any(s.back is not None and s.out > s.back + s.over for s in steps)),
        ("TOO MANY", any(s.back is not None and s.out < s.back + s.over for s in steps)),
    ):
        assert (word in found.words) is there


def test_two_wrongs_do_not_make_it_even() -> None:
    found = tally([StepCount("cover", 8, 7, 0), StepCount("bay", 3, 4, 0)])
    assert found.missing == 0
    assert not found.even
    assert "MISSING: 1 of 8 from cover" in found.words
    assert "TOO MANY: 1 more went into bay" in found.words


def test_words() -> None:
    assert tally([]).words == "no fasteners counted"
    assert tally([StepCount("cover", 8, 8)]).words == "8 of 8 fasteners back, none left over"
    assert tally([StepCount("cover", 8)]).words == "0 of 8 fasteners back; 8 still to go in"


def test_no_count_below_zero() -> None:
    with pytest.raises(ValueError, match="cover"):
        tally([StepCount("cover", -1)])
