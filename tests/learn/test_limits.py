"""Limits from known-good readings, whose word counts, and what is asked about."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from knowngood.calculate.tolerance import two_sided_factor
from knowngood.learn.good import GoodReading
from knowngood.learn.limits import (
    FEWEST,
    expected_interval,
    lesson,
    not_learned,
    rounded,
    set_by,
    toleranced,
)
from knowngood.machines.machine import Limits, Machine, Test
from tests.learn.conftest import volts

NEAR = [57.2, 57.4, 57.3, 57.1, 57.5, 57.3, 57.2, 57.4, 57.3, 57.35]


def the(machine: Machine, id: str) -> Test:
    return next(t for t in machine.tests if t.id == id)


def good(
    values: list[float], test: str = "pack_rest", model: str = "brackwater bt-5", u: float = 0.02,
    shared: float = 0.0, quantity: str = "volts", meter: str = "m", standing: str = "",
) -> list[GoodReading]:  # fmt: skip
    return [
        GoodReading(f"j{i}{model}", f"26-{i:04d}", f"r{i}{model}", test, model,
                    volts(v, u, shared, quantity, meter), "2026-01-02", "Ana", False, None,
                    standing)
        for i, v in enumerate(values)
    ]  # fmt: skip


def test_three_readings_help_and_thirty_dominate(small: Machine) -> None:
    test = the(small, "enable")  # 0.45 V .. 0.75 V, limits 0.35 to 0.9 V of common practice
    rng = np.random.default_rng(4)
    values = [float(v) for v in rng.normal(0.68, 0.01, 30)]
    widths = []
    for count in (3, 10, 30):
        it = lesson(test, good(values[:count], "enable", u=0.002, quantity="diode"))
        assert it.next is not None
        low, high = it.next.interval(0.95)
        widths.append(high - low)
        assert low < 0.66 < 0.70 < high
    assert widths[0] < 0.30  # the file's own
    assert widths == sorted(widths, reverse=True)
    # The file's spread still counts as three readings of a spread four times as large: after thirty
    # the interval is less than twice that of the true one, and its middle is within 6 mV of it.
    assert widths[2] < 2 * 2 * 1.96 * 0.01
    assert it.next.mean == pytest.approx(0.68, abs=0.006)


def test_fewer_than_three_are_shown_and_not_used(small: Machine) -> None:
    test = the(small, "enable")
    it = lesson(test, good([0.61] * (FEWEST - 1), "enable", quantity="diode"))
    assert it.next is None and it.limits == test.limits and it.by == "practice"
    assert it.words == "2 known-good readings here"


def test_whose_limit_counts(small: Machine) -> None:
    """Maker's own value, then the shop's readings, then common practice."""
    test = the(small, "enable")
    readings = good([0.61, 0.62, 0.60, 0.61], "enable", quantity="diode")
    shop = lesson(test, readings, "brackwater bt-5")
    assert shop.by == "shop" and shop.limits is not None
    assert shop.limits.source == "from 4 known-good readings of this model"
    maker = replace(test, limits=Limits(0.5, 0.7, "maker's service sheet 12"))
    assert lesson(maker, readings).limits == maker.limits
    assert lesson(maker, readings).by == "maker"
    assert set_by(Limits(1, 2, "14 cells at 3.3 V and 4.2 V (arithmetic)")) == "maker"
    assert set_by(Limits(1, 2, "common practice (10 % sag)")) == "practice"
    assert set_by(Limits(1, 2, "invented for the demo")) == "practice"
    assert set_by(None) == ""


def test_a_limit_on_one_side_stays_on_one_side(small: Machine) -> None:
    it = lesson(the(small, "motor_ohms"),
                good([0.21, 0.22, 0.2, 0.21], "motor_ohms", quantity="ohms"))  # fmt: skip
    assert it.limits is not None and it.limits.low is None
    assert it.limits.high is not None and 0.22 < it.limits.high < 0.5


def test_readings_of_other_models_give_the_expectation(small: Machine) -> None:
    test = the(small, "enable")
    others = good([0.66, 0.67, 0.665, 0.672, 0.668] * 3, "enable", "tolmin x", quantity="diode")
    own = good([0.60, 0.61, 0.605], "enable", quantity="diode")
    alone = lesson(test, others, "brackwater bt-5")
    assert alone.words == "15 known-good readings of this family" and alone.own == ()
    assert alone.limits is not None and alone.limits.source.endswith("of this family")
    both = lesson(test, [*others, *own], "brackwater bt-5")
    assert both.words == "3 known-good readings of this model, 15 of others"
    assert alone.next is not None and both.next is not None
    assert both.next.mean < alone.next.mean
    none = lesson(test, [*others, *own])  # no model named: all count alike
    assert len(none.own) == 18 and none.words == "18 known-good readings here"


def test_a_reading_that_stands_out_is_asked_about(small: Machine) -> None:
    test = the(small, "pack_rest")
    readings = good([*NEAR, 41.0])
    it = lesson(test, readings)
    assert [a.reading.value for a in it.asked] == [41.0]
    assert it.asked[0].once_in > 1000 and it.asked[0].low > 41.0
    assert len(it.own) == 10
    # Kept, it counts and makes the limits wide; wrong or of another kind, it does not.
    kept = lesson(test, [*readings[:-1], replace(readings[-1], standing="keep")])
    assert kept.asked == () and len(kept.own) == 11
    assert kept.next is not None and it.next is not None and kept.next.sd > 2 * it.next.sd
    for answer in ("wrong", "differs"):
        told = lesson(test, [*readings[:-1], replace(readings[-1], standing=answer)])
        assert told.asked == () and [r.value for r in told.apart] == [41.0]
        assert told.next is not None and told.next.mean == pytest.approx(it.next.mean)


def test_two_that_hide_behind_each_other_are_both_asked_about(small: Machine) -> None:
    it = lesson(the(small, "pack_rest"), good([*NEAR, *NEAR, 41.0, 40.0]))
    assert sorted(a.reading.value for a in it.asked) == [40.0, 41.0]


def test_a_slip_of_the_unit_is_asked_about_from_the_first_reading(small: Machine) -> None:
    it = lesson(the(small, "pack_rest"), good([0.0579]))
    assert [a.reading.value for a in it.asked] == [0.0579]


def test_good_readings_are_seldom_asked_about(small: Machine) -> None:
    rng = np.random.default_rng(8)
    asked = 0
    for _ in range(40):
        values = [float(v) for v in rng.normal(57, 0.8, 12)]
        asked += len(lesson(the(small, "pack_rest"), good(values)).asked)
    assert asked <= 3  # 480 readings, each with one chance in a thousand


def test_tolerance_limits_are_those_of_iso_16269_6(small: Machine) -> None:
    found = toleranced(good(NEAR, u=0.0))
    assert found is not None and found.k == pytest.approx(3.3935, abs=1e-4)  # table, n = 10, 95/95
    mean, s = float(np.mean(NEAR)), float(np.std(NEAR, ddof=1))
    assert (found.low, found.high) == pytest.approx((mean - found.k * s, mean + found.k * s))
    assert toleranced(good([57.0])) is None


def test_tolerance_limits_hold_with_meters_that_err() -> None:
    """95 % of the machines with 95 % confidence, two meters with errors in common: by simulation,
    at least that often (600 shops, one standard error 0.9 %)."""
    rng = np.random.default_rng(11)
    held = 0
    for _ in range(600):
        bias = {"a": rng.normal(0, 0.3), "b": rng.normal(0, 0.6)}
        readings = []
        for i in range(8):
            meter, u = ("a", 0.3) if i % 2 else ("b", 0.6)
            value = float(rng.normal(50, 1.0) + bias[meter] + rng.normal(0, 0.2))
            readings += good([value], meter=meter, u=0.2, shared=u)
        found = toleranced(readings)
        assert found is not None
        from scipy.special import ndtr

        held += ndtr(found.high - 50) - ndtr(found.low - 50) >= 0.95
    assert held / 600 >= 0.95
    assert two_sided_factor(8) == pytest.approx(3.7454, abs=1e-3)  # ISO 16269-6 as in the tables


def test_what_is_not_learned_says_why(small: Machine) -> None:
    assert not_learned(the(small, "terminals")) == "a yes or no has no limits"
    assert "compared" in not_learned(replace(the(small, "enable"), compare=("a", "b", "c")))
    assert not_learned(the(small, "enable")) == ""


def test_what_the_file_expects(small: Machine) -> None:
    low, high = expected_interval(the(small, "pack_rest").good)
    assert (low, high) == pytest.approx((54.12, 58.68))  # the middle 95 % of 54 to 58.8 V
    assert rounded(54.864, 58.986) == (54.8, 59.0)
    assert rounded(0.1234, 0.1299) == (0.1234, 0.1299)
