"""The text of a forecast, and what people get wrong in it."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from knowngood.isolate.forecast import Forecast, Piece
from knowngood.machines.forecast_text import ForecastError, forecast_words, parse_forecast
from knowngood.measure.units import DIMENSION_OF, Quantity


@pytest.mark.parametrize(
    ("text", "quantity", "piece"),
    [
        ("54 V .. 58.8 V", "volts", Piece("between", 54.0, 58.8)),
        ("54 .. 58.8 V", "volts", Piece("between", 54.0, 58.8)),
        ("200 mV .. 1 V", "volts", Piece("between", 0.2, 1.0)),
        ("1 ohm .. 1 Mohm log", "ohms", Piece("log", 1.0, 1e6)),
        ("12.4 V +- 0.2 V", "volts", Piece("around", 12.4, 0.1)),
        ("12.4 V +/- 200 mV", "volts", Piece("around", 12.4, 0.1)),
        ("12.4 ± 0.2 V", "volts", Piece("around", 12.4, 0.1)),
        ("20 degC +- 4 degC", "temperature", Piece("around", 20.0, 2.0)),
        ("0 V", "volts", Piece("around", 0.0, 0.0)),
        ("-5 V .. -3 V", "volts", Piece("between", -5.0, -3.0)),
        ("0.36 V .. 0.68 V", "diode", Piece("between", 0.36, 0.68)),
        ("OL", "ohms", Piece("over")),
        ("ol", "diode", Piece("over")),
        ("unsteady", "volts", Piece("unsteady")),
        ("5 V .. 5 V", "volts", Piece("around", 5.0, 0.0)),
    ],
)
def test_one_piece(text: str, quantity: Quantity, piece: Piece) -> None:
    found = parse_forecast(text, quantity)
    assert found.yes is None
    (got,) = found.pieces
    assert got.kind == piece.kind
    assert (got.low, got.high, got.share) == pytest.approx((piece.low, piece.high, 1.0))


def test_a_temperature_spread_in_fahrenheit_is_a_difference() -> None:
    # 9 degF of difference are 5 K; two standard deviations
    (got,) = parse_forecast("68 degF +- 9 degF", "temperature").pieces
    assert (got.low, got.high) == pytest.approx((20.0, 2.5))


@pytest.mark.parametrize(
    ("text", "chance"),
    [("yes", 0.98), ("no", 0.02), ("yes 0.95", 0.95), ("no 0.97", 0.03), ("YES 1", 1.0)],
)
def test_yes_and_no(text: str, chance: float) -> None:
    assert parse_forecast(text, "yes_no") == Forecast(yes=pytest.approx(chance))


def test_a_mixture_is_normalised_to_one() -> None:
    found = parse_forecast(["70 % OL", "29.95 % 10 ohm .. 1 kohm log"], "ohms")
    assert [p.kind for p in found.pieces] == ["over", "log"]
    assert sum(p.share for p in found.pieces) == pytest.approx(1.0, abs=1e-12)
    assert found.pieces[1].low == pytest.approx(10.0)


@pytest.mark.parametrize(
    ("text", "quantity", "message", "fix"),
    [
        ("50 ohm .. 60 ohm", "volts", "is resistance, the test measures volts", "12.4 V"),
        ("5 mA", "ohms", "is amps, the test measures resistance", "ohm"),
        ("12.4", "volts", "is a plain number", "12.4 V"),
        ("58 V .. 54 V", "volts", "runs downwards", "lower value first"),
        ("0 ohm .. 1 Mohm log", "ohms", "zero or below on a log scale", "above zero"),
        ("12 V +- -1 V", "volts", "negative spread", "+-"),
        ("perhaps", "volts", "cannot read", "12.4 V"),
        ("", "volts", "cannot read", "12.4 V"),
        ("12 V", "yes_no", "for a yes/no test", "yes 0.95"),
        ("yes 1.5", "yes_no", "a chance of 1.5", "between 0 and 1"),
        ("yes", "volts", "cannot read", "12.4 V"),
        ("V" * 5000, "volts", "5000 signs", "12.4 V"),
        ([], "volts", "empty list", "12.4 V"),
        (["70 % OL", "40 % 1 V"], "volts", "make 110 %", "100 %"),
        (["70 % OL", "29.8 % 1 V"], "volts", "make 99.8 %", "100 %"),
        (["100 % OL", "0 % 1 V"], "volts", "make 100 %", "none 0"),
        (["OL", "30 % 1 V"], "volts", "has no share", "30 %"),
        (["50 % yes", "50 % no"], "yes_no", "a list for a yes/no test", "yes 0.7"),
    ],
)
def test_what_is_wrong_and_the_way_out(
    text: str | list[str], quantity: Quantity, message: str, fix: str
) -> None:
    with pytest.raises(ForecastError) as error:
        parse_forecast(text, quantity)
    assert message in str(error.value)
    assert fix in error.value.fix


@given(st.text(max_size=60))
def test_any_text_is_a_forecast_or_a_sentence(text: str) -> None:
    try:
        found = parse_forecast(text, "ohms")
    except ForecastError as error:
        assert str(error) and error.fix
    else:
        assert sum(p.share for p in found.pieces) == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("text", "quantity"),
    [
        ("54 V .. 58.8 V", "volts"), ("12.4 V +- 200 mV", "volts"), ("OL", "ohms"),
        ("10 ohm .. 1 kohm log", "ohms"), ("unsteady", "ohms"),
        ("800 uF .. 1.25 mF", "capacitance"),
    ],
)  # fmt: skip
def test_the_words_are_the_text_again(text: str, quantity: Quantity) -> None:
    assert parse_forecast(forecast_words(parse_forecast(text, quantity), quantity), quantity) == (
        parse_forecast(text, quantity)
    )


def test_the_words_of_a_mixture_and_of_a_chance() -> None:
    mixed = parse_forecast(["70 % OL", "30 % 1 ohm"], "ohms")
    assert forecast_words(mixed, "ohms") == "70 % OL or 30 % 1 ohm"
    assert forecast_words(Forecast(yes=0.03), "yes_no") == "no 0.97"


@pytest.mark.parametrize("quantity", [q for q in DIMENSION_OF if q != "yes_no"])
def test_the_range_that_is_offered_can_be_written_so(quantity: Quantity) -> None:
    with pytest.raises(ForecastError) as raised:
        parse_forecast("3 blue", quantity)
    one, _, offered = raised.value.fix.removeprefix("Write ").partition(", or a range such as ")
    for text in (one, offered):
        assert parse_forecast(text, quantity).pieces, text
