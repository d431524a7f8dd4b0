"""Fuses: bands between the rows, and back from a time to a current."""

from __future__ import annotations

import math
from collections.abc import Callable

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from knowngood.calculate.fuse import Kind, multiple_of, multiples, opening, what_blew

KINDS: list[Kind] = ["blade", "ul", "time-lag"]


@settings(deadline=None)
@given(st.sampled_from(KINDS), st.floats(0, 50), st.floats(0, 50))
def test_more_current_never_takes_longer(kind: Kind, one: float, other: float) -> None:
    low, high = sorted((one, other))
    assert opening(low, kind)[0] >= opening(high, kind)[0]
    assert opening(low, kind)[1] >= opening(high, kind)[1]
    assert opening(low, kind)[0] <= opening(low, kind)[1]


@settings(deadline=None)
@given(st.sampled_from(KINDS), st.floats(1.01, 50), st.floats(0, 1))
def test_a_time_within_the_band_leads_back_to_the_current(
    kind: Kind, multiple: float, place: float
) -> None:
    shortest, longest = opening(multiple, kind)
    longest = min(longest, 1e5)
    seconds = max(shortest + place * (longest - shortest), 1e-3)
    least, most = multiples(seconds, kind)
    assert least <= multiple <= most


@pytest.mark.parametrize(
    ("seconds", "amps", "said"),
    [
        (0.02, (105.0, math.inf), "a short: pinched"),
        (2.0, (30.0, 105.0), "allows both"),
        (90.0, (30.0, 48.0), "overload, not a short"),
    ],
)
def test_what_blew_a_30_amp_blade_fuse(
    seconds: float, amps: tuple[float, float], said: str
) -> None:
    found = what_blew(30, seconds)
    assert (found.least_amps, found.most_amps) == pytest.approx(amps)
    assert said in found.look


def test_between_the_rows_only_what_surely_holds() -> None:
    assert opening(2.5) == (0.08, 5.0)
    assert opening(1.1) == (0.75, math.inf)


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda: opening(-1), "outside 0 to 100"),
        (lambda: opening(2, "glass"), "blade, ul or time-lag"),  # type: ignore[arg-type]
        (lambda: multiples(0), "above zero"),
        (lambda: what_blew(0, 1), "printed on the fuse"),
        (lambda: multiple_of(3, 0), "rating above"),
    ],
)
def test_what_makes_no_sense_is_refused(call: Callable[[], object], said: str) -> None:
    with pytest.raises(ValueError, match=said):
        call()
