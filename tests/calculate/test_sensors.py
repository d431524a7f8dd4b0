"""Hall codes, bridge readings, thermistors and sweeps, each with its fault put in."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from knowngood.calculate.sensors import (
    HALL_ORDER,
    HALL_ORDER_60,
    PHASES,
    RAILS,
    Phase,
    Rail,
    bridge,
    hall_sequence,
    ntc_celsius,
    ntc_ohms,
    steinhart_hart,
    steinhart_hart_celsius,
    sweep,
)

TURN = [*HALL_ORDER, HALL_ORDER[0]]


def test_a_sound_turn_both_ways() -> None:
    ahead, back = hall_sequence(TURN), hall_sequence(TURN[::-1])
    assert ahead.good and ahead.way == 1
    assert back.good and back.way == -1


def test_sixty_degree_sensors_are_known() -> None:
    found = hall_sequence([*HALL_ORDER_60, HALL_ORDER_60[0]])
    assert found.good and "60 degrees" in found.words


@pytest.mark.parametrize("line", [1, 2, 3])
@pytest.mark.parametrize("state", ["0", "1"])
def test_a_stuck_sensor_is_named(line: int, state: str) -> None:
    codes = [code[: line - 1] + state + code[line:] for code in TURN * 2]
    found = hall_sequence(codes)
    assert not found.good and found.stuck == (line,)
    assert f"line {line} stays {state}" in found.words


@pytest.mark.parametrize(
    ("codes", "said"),
    [
        (["000"] * 8, "feed or ground"),
        (["101", "100", "110"], "turn on"),
        ([*HALL_ORDER[:3], "000", *HALL_ORDER[3:]], "000 cannot occur"),
        (["101", "010", "100", "011", "110", "001", "101"], "out of order"),
    ],
)
def test_what_is_not_a_turn(codes: list[str], said: str) -> None:
    found = hall_sequence(codes)
    assert not found.good and said in found.words


SPOTS: list[tuple[Phase, Rail]] = [(p, r) for p in PHASES for r in RAILS]


def readings(
    faults: dict[tuple[Phase, Rail], float], usual: float = 0.48
) -> dict[tuple[Phase, Rail], float]:
    return {spot: faults.get(spot, usual) for spot in SPOTS}


def test_a_sound_bridge() -> None:
    found = bridge(readings({}), readings({}, math.inf))
    assert found.good and "no short" in found.words


@pytest.mark.parametrize("spot", SPOTS)
def test_a_shorted_transistor_is_named(spot: tuple[Phase, Rail]) -> None:
    name = f"{spot[0]} {spot[1]}"
    low = {spot: 0.02}
    sure = bridge(readings(low), readings(low, math.inf))
    assert sure.shorted == (name,) and "confirm" not in sure.words
    assert "confirm" in bridge(readings(low)).words
    one_way = bridge(readings(low), readings({}, math.inf))
    assert one_way.shorted == () and "one way only" in one_way.words


@pytest.mark.parametrize("spot", SPOTS)
def test_an_open_transistor_is_named(spot: tuple[Phase, Rail]) -> None:
    assert bridge(readings({spot: math.inf})).open == (f"{spot[0]} {spot[1]}",)


def test_with_the_motor_connected_one_short_shows_on_all() -> None:
    low = {(p, "plus"): 0.03 for p in PHASES}
    found = bridge(readings(low))  # type: ignore[arg-type]
    assert len(found.shorted) == 3 and "unplug it" in found.words


@pytest.mark.parametrize(
    ("faults", "said"),
    [
        ({("v", "plus"): 0.02, ("v", "minus"): 0.02}, "fuse is gone"),
        ({("w", "minus"): 0.56}, "w minus differs"),
        ({("u", "plus"): 0.2}, "leaky"),
        (dict.fromkeys(SPOTS, math.inf), "probes swapped, or not"),
    ],
)
def test_other_patterns(faults: dict[tuple[Phase, Rail], float], said: str) -> None:
    assert said in bridge(readings(faults)).words


@settings(deadline=None)
@given(st.floats(-50, 145), st.floats(1e3, 1e6), st.floats(2500, 5000))
def test_beta_there_and_back(celsius: float, ohms: float, beta: float) -> None:
    assert ntc_celsius(ntc_ohms(celsius, ohms, beta), ohms, beta) == pytest.approx(
        celsius, abs=1e-6
    )


@settings(deadline=None)
@given(st.floats(-30, 130))
def test_three_points_of_a_beta_part_give_its_beta_back(celsius: float) -> None:
    found = steinhart_hart([(c, ntc_ohms(c)) for c in (0.0, 25.0, 100.0)])
    assert found[2] == pytest.approx(0, abs=1e-12)
    assert steinhart_hart_celsius(ntc_ohms(celsius), found) == pytest.approx(celsius, abs=1e-4)


def rising(count: int, taper: str = "linear") -> np.ndarray:
    place = np.linspace(0, 1, count)
    curves = {"linear": place, "log": (50**place - 1) / 49}
    curves["reverse log"] = 1 - curves["log"][::-1]
    return 50 + 4950 * curves[taper]


@pytest.mark.parametrize("taper", ["linear", "log", "reverse log"])
@pytest.mark.parametrize("count", [8, 12, 25, 100])
@pytest.mark.parametrize("way", [1, -1])
def test_a_sound_potentiometer(taper: str, count: int, way: int) -> None:
    found = sweep(rising(count, taper)[::way])
    assert found.good, found.words
    # Turned the other way the taper is the mirror image.
    mirrored = {"log": "reverse log", "reverse log": "log"}
    assert found.taper == (taper if way == 1 else mirrored.get(taper, taper))
    assert (found.low, found.high) == pytest.approx((50, 5000))


@pytest.mark.parametrize("fault", [math.inf, math.nan, 50.0])
def test_a_dead_spot_is_placed(fault: float) -> None:
    values = rising(21)
    values[14] = fault
    found = sweep(values)
    assert not found.good
    assert found.dead == ((pytest.approx(0.7), pytest.approx(0.7)),)


def test_a_dead_stretch_that_jumps_is_placed() -> None:
    values = rising(21)
    values[8:] += 1500
    assert sweep(values).dead == ((pytest.approx(0.35), pytest.approx(0.4)),)


def test_noise_is_told_from_a_steep_sweep() -> None:
    random = np.random.default_rng(7)
    noisy = sweep(rising(100) + 300 * random.standard_normal(100))
    assert not noisy.good and "scatter" in noisy.words
    assert 3 < noisy.noise < 8
    assert sweep(rising(100) + 5 * random.standard_normal(100)).good


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda: hall_sequence(["10"]), "such as 101"),
        (lambda: hall_sequence([]), "turn slowly"),
        (lambda: bridge({("u", "plus"): 0.5}), "six are needed"),
        (lambda: bridge(readings({("u", "plus"): -0.2})), "charged"),
        (lambda: ntc_celsius(0), "shorted or open"),
        (lambda: ntc_celsius(1e9), "outside -55"),
        (lambda: ntc_ohms(25, 10e3, 10), "beta 1000"),
        (lambda: steinhart_hart([(0, 1)]), "three points"),
        (lambda: steinhart_hart([(0, 1e3), (25, 2e3), (50, 500)]), "ohms that fall"),
        (lambda: sweep([1, 2, 3]), "eight or more"),
        (lambda: sweep([math.inf] * 20), "no contact"),
        (lambda: sweep([5.0] * 20), "does not move"),
    ],
)
def test_what_makes_no_sense_is_refused(call: Callable[[], object], said: str) -> None:
    with pytest.raises(ValueError, match=said):
        call()
