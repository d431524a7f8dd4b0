"""Hall sensors, the transistor bridge, thermistors."""

from __future__ import annotations

import math

import pytest

from knowngood.calculate.sensors import (
    HALL_ORDER,
    HALL_ORDER_60,
    PHASES,
    RAILS,
    bridge,
    ntc_celsius,
    ntc_ohms,
    steinhart_hart,
    steinhart_hart_celsius,
)

# Read in a published table of a 10 kohm thermistor, beta 3950: degC, kohm.
TABLE = [
    (-20.0, 90.9311),
    (0.0, 32.5807),
    (10.0, 20.0003),
    (20.0, 12.5266),
    (30.0, 8.0338),
    (80.0, 1.2429),
    (100.0, 0.6730),
]


@pytest.mark.parametrize(("celsius", "error"), [(0.0, 0.60), (100.0, 1.27)])
def test_beta_alone_is_off_at_the_ends(celsius: float, error: float) -> None:
    # Computed from the table.
    found = ntc_celsius(1e3 * dict(TABLE)[celsius])
    assert abs(found - celsius) == pytest.approx(error, abs=0.006)


def test_three_points_give_the_table_between_them() -> None:
    table = dict(TABLE)
    a, b, c = steinhart_hart([(0, 1e3 * table[0.0]), (25, 10e3), (100, 1e3 * table[100.0])])
    # Computed.
    assert (a, b, c) == pytest.approx((1.14713e-3, 2.31160e-4, 9.9607e-8), rel=5e-5)
    errors = {t: abs(steinhart_hart_celsius(1e3 * r, (a, b, c)) - t) for t, r in TABLE}
    outside = errors.pop(-20.0)
    assert max(errors.values()) < 0.2
    assert outside == pytest.approx(1.0, abs=0.05)  # 20 K beyond the points: no longer good


def test_a_thermistor_reads_its_rating_at_25() -> None:
    assert ntc_ohms(25.0) == pytest.approx(10e3)  # definition


def test_hall_order() -> None:
    # Read in application notes of controller makers: 101 100 110 010 011 001.
    assert HALL_ORDER == ("101", "100", "110", "010", "011", "001")


@pytest.mark.parametrize(
    ("order", "middle", "never"),
    [(HALL_ORDER, 120, {"000", "111"}), (HALL_ORDER_60, 60, {"010", "101"})],
)
def test_hall_order_from_where_the_sensors_sit(
    order: tuple[str, ...], middle: int, never: set[str]
) -> None:
    # Independent: three sensors, each on for half a turn of the field.
    places = (0, middle, 2 * middle)
    codes = ["".join(str(int((t - p) % 360 < 180)) for p in places) for t in range(30, 390, 60)]
    first = order.index(codes[0])
    turned = order[first:] + order[:first]
    assert codes in ([*turned], [turned[0], *reversed(turned[1:])])
    assert not never & set(codes)


@pytest.mark.parametrize(
    ("volts", "shorted", "good"),
    [(0.4, False, True), (0.55, False, True), (0.7, False, True), (0.09, True, False)],
)
def test_body_diode_of_a_bridge_transistor(volts: float, shorted: bool, good: bool) -> None:
    # Read in bench-meter manuals and controller makers' notes: 0.4 to 0.7 V one way; under 0.1 V
    # both ways is a short.
    forward = {(phase, rail): volts for phase in PHASES for rail in RAILS}
    swapped = {spot: volts if volts < 0.1 else math.inf for spot in forward}
    found = bridge(forward, swapped)
    assert found.good is good and bool(found.shorted) is shorted
