"""Units: text to number and back."""

from __future__ import annotations

from typing import get_args

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from knowngood.measure.units import (
    BASE_UNIT,
    DIMENSION_OF,
    EXAMPLE,
    Dimension,
    Quantity,
    UnitError,
    format_value,
    parse_as,
    parse_measured,
    parse_quantity,
)

DIMENSIONS = get_args(Dimension)


@pytest.mark.parametrize(
    ("text", "value", "dimension"),
    [
        ("12.4 V", 12.4, "voltage"),
        ("12,4V", 12.4, "voltage"),
        ("12 mV", 0.012, "voltage"),
        ("5 mohm", 0.005, "resistance"),
        ("10 Mohm", 1e7, "resistance"),
        ("1.2kΩ", 1200.0, "resistance"),
        ("4R7", 4.7, "resistance"),
        ("1k2", 1200.0, "resistance"),
        ("22 K ohm", 22e3, "resistance"),
        ("200 uA", 2e-4, "current"),
        ("470µF", 470e-6, "capacitance"),
        ("23400 rpm", 23400.0, "speed"),
        ("100 kPa", 1e5, "pressure"),
        ("145 psi", 145 * 4.4482216152605 / 0.0254**2, "pressure"),  # lbf and inch as defined
        ("60 Hz", 60.0, "frequency"),
        ("30 mA", 0.03, "current"),
        ("90 s", 90.0, "time"),
        ("1 bar", 1e5, "pressure"),
        ("95 °F", 35.0, "temperature"),
        ("35 C", 35.0, "temperature"),
        ("-20 degC", -20.0, "temperature"),
        ("1.5 N·m", 1.5, "torque"),
        ("1.5 Nm", 1.5, "torque"),
        ("2.5 mm²", 2.5, "area"),
        ("2 min", 120.0, "time"),
        ("5 Ah", 5.0, "charge"),
        ("40%", 40.0, "percent"),
        ("0.5", 0.5, "number"),
        ("１２.４ V", 12.4, "voltage"),
        ("−0.02 V", -0.02, "voltage"),
    ],
)
def test_text_to_base_units(text: str, value: float, dimension: str) -> None:
    assert parse_quantity(text) == (pytest.approx(value, rel=1e-15), dimension)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "no number"),
        ("ohm", "no number"),
        ("3 zz", "not the unit 'zz'"),
        ("1,234 V", "1234 or 1.234"),
        ("1.234,5 V", "more than one point"),
        ("12 MV", "type mV"),
        ("20M", "M of what"),
        ("1e999 V", "too large"),
        ("12.4 V 3", "12.4"),
        ("9" * 2000, "too long"),
    ],
)
def test_what_cannot_be_read_says_what_was_understood(text: str, said: str) -> None:
    with pytest.raises(UnitError, match=said):
        parse_quantity(text)


def test_another_kind_of_unit_is_named() -> None:
    with pytest.raises(
        UnitError, match=r"'0\.3 ohm' is resistance; wanted: volts, such as 12\.4 V"
    ):
        parse_as("0.3 ohm", "voltage")


def test_milli_and_mega_are_never_mixed_up() -> None:
    assert parse_quantity("1 mohm")[0] == 1e-3
    assert parse_quantity("1 Mohm")[0] == 1e6
    assert parse_quantity("1 mΩ")[0] == 1e-3
    with pytest.raises(UnitError, match="milli or M for mega"):
        parse_quantity("1 mOHM")


def test_last_digit_and_copied_zeros() -> None:
    assert parse_measured("12.40 V").resolution == 0.01
    assert parse_measured("12.40 V").as_shown
    assert not parse_measured("12.4 V").as_shown
    assert not parse_measured("1200 ohm").as_shown
    assert parse_measured("0.3 kohm").resolution == pytest.approx(100.0)
    assert parse_measured("12 VAC").coupling == "ac"


@settings(deadline=None)
@given(
    st.floats(allow_nan=False, allow_infinity=False),
    st.sampled_from(DIMENSIONS),
)
def test_writing_then_reading_gives_the_same_number(value: float, dimension: Dimension) -> None:
    assert parse_quantity(format_value(value, dimension)) == (value, dimension)


@settings(deadline=None)
@given(
    st.floats(min_value=1e-9, max_value=1e9),
    st.sampled_from(DIMENSIONS),
    st.integers(min_value=2, max_value=8),
)
def test_rounded_writing_is_within_half_a_digit(
    value: float, dimension: Dimension, digits: int
) -> None:
    back, _ = parse_quantity(format_value(value, dimension, digits))
    assert back == pytest.approx(value, rel=0.5000001 * 10.0 ** (1 - digits))


@settings(deadline=None)
@given(st.text(max_size=60))
def test_any_text_is_read_or_refused_in_words(text: str) -> None:
    try:
        parse_quantity(text)
    except UnitError as error:
        assert len(str(error)) > 10


def test_tables_cover_every_quantity_and_dimension() -> None:
    assert set(DIMENSION_OF) == set(get_args(Quantity))
    assert set(BASE_UNIT) == set(DIMENSIONS) == set(EXAMPLE)
    for dimension in DIMENSIONS:
        assert parse_quantity(EXAMPLE[dimension])[1] == dimension
        assert parse_quantity(f"3 {BASE_UNIT[dimension]}") == (3.0, dimension)


@pytest.mark.parametrize(
    ("value", "dimension", "text"),
    [
        (0.005, "resistance", "0.005 ohm"),
        (0.2, "resistance", "0.2 ohm"),
        (0.99996, "voltage", "1 V"),
        (2.2e7, "resistance", "22 Mohm"),
        (0.0, "voltage", "0 V"),
        (-0.012, "voltage", "-12 mV"),
        (23400.0, "speed", "23400 rpm"),
    ],
)
def test_written_as_the_bench_writes_it(value: float, dimension: Dimension, text: str) -> None:
    assert format_value(value, dimension, 4) == text


def test_what_is_not_finite_is_refused() -> None:
    with pytest.raises(ValueError, match="not a finite number of V"):
        format_value(float("nan"), "voltage")
