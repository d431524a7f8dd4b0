"""Readings judged by how they differ: typing them, and what falls out of the difference."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from knowngood.measure.compared import read_compared, split_readings
from knowngood.measure.meter import load_shipped_meter
from knowngood.measure.reading import Reading

GOOD = load_shipped_meter("generic-6000")
CHEAP = load_shipped_meter("generic-2000")
NAMES = ("UV", "VW", "WU")


def taken(text: str, meter: object = GOOD, last: Reading | None = None) -> Reading:
    return read_compared(text, "ac_volts", meter, NAMES, last)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    "text",
    [
        "6.52 6.49 6.51",
        "6.52, 6.49, 6.51 V",
        "6,52 6,49 6,51",
        "6.52; 6.49; 6.51",
        "UV 6.52 VW 6.49 WU 6.51 V",
        "uv: 6.52 V, vw: 6.49 V, wu: 6.51 V",
        "6520 6490 6510 mV",
    ],
)
def test_three_readings_in_one_line_are_their_spread(text: str) -> None:
    reading = taken(text)
    assert reading.kind == "value" and reading.value == pytest.approx(0.03)
    assert reading.range_name == "60 V"
    assert "UV and VW differ by 30 mV" in reading.note


def test_one_after_another_they_add_up_until_all_are_there() -> None:
    first = taken("6.52")
    assert not first.is_evidence and first.note == "UV 6.52; still to read: VW WU"
    second = taken("6.49", last=first)
    assert not second.is_evidence and second.text == "6.52; 6.49"
    assert "UV and VW differ by 30 mV ± 60 mV" in second.note and "still to read: WU" in second.note
    third = taken("6.51", last=second)
    assert third == taken("6.52; 6.49; 6.51")
    assert taken("6.52 6.49 6.51", last=second) == taken("6.52 6.49 6.51")


def test_the_doubt_is_that_of_two_readings_without_what_they_share() -> None:
    """JCGM 100:2008, 5.2.2 and F.1.2.3: an effect common to both falls out of a difference; the
    figures are worked out here from the sheet: ±(1 % + 5 counts) on 60 V, 0.9 of its variance
    common, display ± half a count."""
    half = 0.01 * 6.52 + 5 * 0.01
    one = math.sqrt(0.1 * half**2 / 3 + 0.01**2 / 12)
    reading = taken("6.52 6.49 6.51")
    assert reading.u_random == pytest.approx(math.sqrt(2) * one, rel=0.01)
    common = math.sqrt(0.9) * half / math.sqrt(3)
    assert reading.u_shared == pytest.approx(common / 6.52 * 0.03, rel=0.01)
    assert reading.u < 0.5 * common  # the whole doubt of one reading is far above


def test_a_range_that_follows_by_itself_is_not_taken_as_one() -> None:
    held = taken("5.9 6.1 6.0")  # as on the 60 V range, held as the step says
    assert held.range_name == "60 V" and "common to them falls out" in held.note
    moved = taken("5.900 6.10 6.00")  # three decimals: the first was read on 6 V
    assert "not on one meter and range" in moved.note and moved.u > 1.4 * held.u


def test_over_range_and_jumps_are_kept_as_such() -> None:
    one_open = read_compared("OL 0.3 OL", "ohms", GOOD, NAMES)
    assert one_open.kind == "over" and one_open.low == pytest.approx(60e6)
    assert read_compared("OL OL OL", "ohms", CHEAP, NAMES).kind == "over"
    assert taken("6.5 jumps 3-8 6.5").kind == "unsteady"
    assert taken("skip").note == "skipped" and taken("can't tell").note == "could not tell"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("1 2 3 4", "4 readings; wanted, on one range: UV VW WU"),
        ("about 4 5 6", "each is wanted as the meter shows it"),
        ("6.5 6.4 3 ohm", "this test wants AC volts"),
        ("fish", "no number"),
    ],
)
def test_what_cannot_be_compared_says_why(text: str, said: str) -> None:
    reading = taken(text)
    assert not reading.is_evidence and said in reading.note


@given(st.text(max_size=60), st.sampled_from(["ohms", "ac_volts", "diode"]))
def test_any_text_gives_a_reading(text: str, quantity: str) -> None:
    first = read_compared(text, quantity, GOOD, NAMES)  # type: ignore[arg-type]
    again = read_compared(text, quantity, CHEAP, NAMES, first)  # type: ignore[arg-type]
    assert first.quantity == again.quantity == quantity


@given(
    st.lists(st.integers(100, 5999), min_size=3, max_size=3),
    st.sampled_from([" ", "; ", ", ", " V, "]),
)
def test_order_does_not_matter(counts: list[int], between: str) -> None:
    texts = [f"{c / 100:.2f}" for c in counts]
    there, back = (taken(between.join(t)) for t in (texts, texts[::-1]))
    assert there.value == back.value and there.u == pytest.approx(back.u, rel=1e-9)
    assert there.value == pytest.approx((max(counts) - min(counts)) / 100, abs=1e-6)


def test_splitting_leaves_ranges_and_units_whole() -> None:
    assert split_readings("3 to 5 V 6 V") == ["3 to 5 V", "6 V"]
    assert split_readings("0.3 ohm 1.2 kohm") == ["0.3 ohm", "1.2 kohm"]
