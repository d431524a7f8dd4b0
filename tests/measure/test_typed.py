"""What a technician types, and what it is taken for."""

from __future__ import annotations

import json
from typing import get_args

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from knowngood.measure.meter import load_shipped_meter, parse_meter
from knowngood.measure.reading import Reading
from knowngood.measure.spoken import digits_from_words
from knowngood.measure.typed import read_text
from knowngood.measure.units import Quantity

GOOD = load_shipped_meter("generic-6000")
CHEAP = load_shipped_meter("generic-2000")


def read(text: str, quantity: Quantity = "volts", last: Reading | None = None) -> Reading:
    return read_text(text, quantity, GOOD, last)


@pytest.mark.parametrize(
    ("quantity", "text", "value"),
    [
        ("volts", "12.4", 12.4),
        ("volts", "12,4 V", 12.4),
        ("volts", ".3", 0.3),
        ("volts", "-0.02", -0.02),
        ("volts", "−0.02", -0.02),
        ("volts", "１２.４", 12.4),
        ("volts", "12 mV", 0.012),
        ("volts", "12.4 vdc.", 12.4),
        ("volts", "it reads 12.4 volts", 12.4),
        ("volts", "twelve point six volts", 12.6),
        ("volts", "minus zero point oh two", -0.02),
        ("volts", "twenty-five volts", 25.0),
        ("volts", "one hundred and twenty millivolts", 0.12),
        ("ohms", "1k2", 1200.0),
        ("ohms", "4R7", 4.7),
        ("ohms", "0.3 ohm", 0.3),
        ("ohms", "zero point three ohms", 0.3),
        ("ohms", "point three", 0.3),
        ("ohms", "three point three kilohms", 3300.0),
        ("ohms", "2M", 2e6),
        ("ohms", "22m", 0.022),
        ("ac_volts", "2.31 VAC", 2.31),
        ("diode", "0.55", 0.55),
        ("diode", "550", 0.55),
        ("rpm", "23400", 23400.0),
        ("temperature", "95 F", 35.0),
        ("pressure", "1 bar", 1e5),
        ("seconds", "2.5", 2.5),
    ],
)
def test_one_number(quantity: Quantity, text: str, value: float) -> None:
    reading = read(text, quantity)
    assert reading.kind == "value", reading.note
    assert reading.low == reading.high == pytest.approx(value, rel=1e-12)
    assert reading.u > 0


@pytest.mark.parametrize(
    ("quantity", "text", "kind", "low", "high"),
    [
        ("ohms", "OL", "over", 60e6, None),
        ("ohms", "0L", "over", 60e6, None),
        ("ohms", ".OL", "over", 60e6, None),
        ("ohms", "0.OL M", "over", 60e6, None),
        ("ohms", "O.L MΩ", "over", 60e6, None),
        ("ohms", "open", "over", 60e6, None),
        ("ohms", "over limit", "over", 60e6, None),
        ("ohms", ">20M", "over", 20e6, None),
        ("ohms", "more than 20 megohms", "over", 20e6, None),
        ("diode", "OL", "over", 2.0, None),
        ("ohms", "<0.5", "interval", 0.0, 0.5),
        ("volts", "3 to 5", "interval", 3.0, 5.0),
        ("volts", "5-3 V", "interval", 3.0, 5.0),
        ("volts", "–5 to –3", "interval", -5.0, -3.0),
        ("volts", "900 mV to 1.2 V", "interval", 0.9, 1.2),
        ("volts", "about 40", "interval", 36.0, 44.0),
        ("volts", "about zero", "interval", -1.0, 1.0),
        ("volts", "jumps 3-8 V", "unsteady", 3.0, 8.0),
        ("volts", "jumping between three and eight", "unsteady", 3.0, 8.0),
        ("volts", "unsteady", "unsteady", None, None),
        ("ohms", "0.3 to OL", "unsteady", 0.3, None),
        ("ohms", "climbing", "unsteady", None, None),
        ("yes_no", "y", "yes", None, None),
        ("yes_no", "No.", "no", None, None),
    ],
)
def test_other_kinds(
    quantity: Quantity, text: str, kind: str, low: float | None, high: float | None
) -> None:
    reading = read(text, quantity)
    assert (reading.kind, reading.low, reading.high) == (kind, pytest.approx(low), high)


@pytest.mark.parametrize(
    ("quantity", "text", "note"),
    [
        ("volts", "", "nothing typed"),
        ("volts", "skip", "skipped"),
        ("volts", "can't tell", "could not tell"),
        ("volts", "Can’t tell", "could not tell"),
        ("volts", "could not reach", "could not reach"),
        (
            "volts",
            "0.3 ohm",
            "'0.3 ohm' is resistance; this test wants DC volts; type it like 12.4",
        ),
        ("volts", "12 VAC", "is AC volts; this test wants DC volts"),
        ("volts", "yes", "wants DC volts"),
        ("volts", "1.234,5", "more than one point or comma"),
        ("volts", "1,234", "1234 or 1.234"),
        ("volts", "open", "12.4 V"),
        ("volts", "3000", "ends at 1 kV"),
        ("volts", "four seven", "12.4 V"),
        ("volts", "x" * 5000, "too long"),
        ("ohms", "-5", "something is live"),
        ("ohms", "short", "conclusion"),
        ("rpm", "-3", "below zero"),
        ("pressure", "90", "in which unit"),
        ("capacitance", "470", "in which unit"),
        ("temperature", "95", "in which unit"),
        ("seconds", "5 m", "5 min or 5 ms"),
        ("yes_no", "12", "not yes or no"),
        ("volts", "same", "no earlier reading"),
    ],
)
def test_no_evidence_says_why(quantity: Quantity, text: str, note: str) -> None:
    reading = read(text, quantity)
    assert reading.kind == "none"
    assert (reading.low, reading.high) == (None, None)
    assert note in reading.note
    assert len(reading.text) <= 200


def test_same_repeats_the_earlier_reading_of_the_same_quantity() -> None:
    first = read("12.4")
    again = read("same", last=first)
    assert (again.kind, again.low, again.text) == ("value", 12.4, "same")
    assert read("same", "ohms", last=first).kind == "none"
    assert read("same", last=read("skip")).kind == "none"


def test_over_limit_on_a_hand_set_meter_claims_only_the_lowest_range() -> None:
    reading = read_text("OL", "ohms", CHEAP)
    assert (reading.kind, reading.low) == ("over", 200.0)
    assert "lowest range" in reading.note
    assert read_text(">2M", "ohms", CHEAP).low == 2e6


def test_without_a_sheet_the_doubt_is_larger_and_said() -> None:
    bare = read_text("12.4", "volts", None)
    assert bare.meter is None and bare.range_name is None
    assert bare.u > read("12.4").u
    assert "no meter sheet" in read_text("OL", "ohms", None).note
    assert read_text("OL", "amps", None).kind == "none"


def test_fewer_typed_digits_give_more_doubt() -> None:
    assert read("12.40").u < read("12.4").u < read("12").u
    assert read("12.40").resolution == pytest.approx(0.01)


def test_copied_zeros_tell_the_range_of_a_meter_set_by_hand() -> None:
    assert read_text("12.0", "volts", CHEAP).range_name == "200 V"
    assert read_text("12.00", "volts", CHEAP).range_name == "20 V"
    assert read("2.00", "ac_volts").range_name == read("2.000", "ac_volts").range_name == "6 V"


SMALL = (
    "zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten",
    "eleven", "twelve", "thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen",
    "nineteen",
)  # fmt: skip
TENS = ("twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety")
WORDS = (
    "about", "jumps", "to", "and", "-", "OL", "open", "3", "8.5", "1k2", "V", "mV", "ohm", "minus",
    "point", "zero", "twenty", "five", "hundred", "thousand", "same", "between", ">", "<", "~",
    "∞", "½", "²", "٣", "\x00", "\ud800", "yes",
)  # fmt: skip
texts = st.one_of(
    st.text(max_size=40),
    st.text(alphabet="0123456789.,-+ eEkKmMuRΩVol>~<to", max_size=20),
    st.lists(st.sampled_from(WORDS), max_size=7).map(" ".join),
)


@settings(max_examples=300, deadline=None)
@given(texts, st.sampled_from(get_args(Quantity)), st.sampled_from([GOOD, CHEAP, None]))
def test_any_text_gives_a_reading(text: str, quantity: Quantity, meter: object) -> None:
    last = read_text("3", quantity, None)
    reading = read_text(text, quantity, meter, last)  # type: ignore[arg-type]
    assert reading.quantity == quantity
    if reading.kind == "none":
        assert reading.note
    if reading.low is not None and reading.high is not None:
        assert reading.low <= reading.high
    assert Reading.from_dict(json.loads(json.dumps(reading.to_dict()))) == reading


@settings(deadline=None)
@given(st.integers(min_value=0, max_value=999_999))
def test_every_spoken_whole_number_is_understood(number: int) -> None:
    assert digits_from_words(_in_words(number)) == str(number)


@pytest.mark.parametrize(
    "text", ["four seven", "twenty thirty", "point", "hundred", "minus", "and"]
)
def test_spoken_text_that_is_no_number_is_left_alone(text: str) -> None:
    assert digits_from_words(text) != "47"
    assert read(text).kind == "none"


def _in_words(n: int) -> str:
    """English number words, written here on their own so that the parser has something to meet."""
    if n < 20:
        return SMALL[n]
    if n < 100:
        return TENS[n // 10 - 2] + ("-" + SMALL[n % 10] if n % 10 else "")
    if n < 1000:
        rest = f" and {_in_words(n % 100)}" if n % 100 else ""
        return f"{SMALL[n // 100]} hundred{rest}"
    rest = f" {_in_words(n % 1000)}" if n % 1000 else ""
    return f"{_in_words(n // 1000)} thousand{rest}"


def test_a_reading_from_damaged_data_names_the_field() -> None:
    data = read("12.4").to_dict()
    with pytest.raises(ValueError, match="'kind'"):
        Reading.from_dict({k: v for k, v in data.items() if k != "kind"})
    with pytest.raises(ValueError, match="'colour'"):
        Reading.from_dict(data | {"colour": "red"})
    with pytest.raises(ValueError, match="'guess' is not one of"):
        Reading.from_dict(data | {"kind": "guess"})


def test_a_function_the_meter_lacks_falls_back_to_common_practice() -> None:
    assert parse_meter("", "none.yaml")[0] is None
    reading = read_text("1200", "rpm", GOOD)
    assert (reading.kind, reading.meter) == ("value", None)


@pytest.mark.parametrize(
    ("said", "quantity", "value"),
    [
        ("zero point three ohms", "ohms", 0.3),
        ("oh point three ohms", "ohms", 0.3),
        ("four point seven kilo ohms", "ohms", 4700),
        ("a hundred ohms", "ohms", 100),
        ("two thousand three hundred ohms", "ohms", 2300),
        ("fifty seven and a half volts", "volts", 57.5),
        ("twelve and a quarter volts", "volts", 12.25),
        ("half a volt", "volts", 0.5),
        ("minus twelve point four volts", "volts", -12.4),
        ("thirty two hundred rpm", "rpm", 3200),
        ("The meter says fifty-seven point nine volts.", "volts", 57.9),
    ],
)
def test_dictated_as_people_say_it(said: str, quantity: Quantity, value: float) -> None:
    """The values are what an English speaker means by the words."""
    reading = read_text(said, quantity, None)
    assert (reading.kind, reading.low) == ("value", pytest.approx(value))


@pytest.mark.parametrize(("said", "kind"), [("Yes, it does.", "yes"), ("no it isn't", "no")])
def test_dictated_answers(said: str, kind: str) -> None:
    assert read_text(said, "yes_no", None).kind == kind


def test_none_open_says_that_it_is_below_the_end_of_the_meter() -> None:
    reading = read("none open", "ohms")
    assert (reading.kind, reading.low, reading.high) == ("interval", 0.0, GOOD.limit("ohms"))
    assert not read("none open", "volts").is_evidence


@pytest.mark.parametrize("text", [">20M", "20M", "4k7", "1.2k", "12 M"])
@pytest.mark.parametrize("quantity", ["volts", "ac_volts", "amps", "diode"])
@pytest.mark.parametrize("meter", [GOOD, None], ids=["sheet", "none"])
def test_a_bare_large_prefix_is_ohms_and_the_wrong_kind_elsewhere(
    text: str, quantity: str, meter: object
) -> None:
    reading = read_text(text, quantity, meter)  # type: ignore[arg-type]
    assert reading.kind == "none" and "without a unit is read as ohms" in reading.note
    assert read_text(text, "ohms", meter).is_evidence  # type: ignore[arg-type]


def test_above_the_last_range_is_no_reading_of_this_meter() -> None:
    assert "ends at 1 kV" in read_text(">2000", "volts", GOOD).note
    assert read_text(">600", "volts", GOOD).low == 600
