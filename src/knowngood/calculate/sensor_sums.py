"""The sums of thermistors and potentiometers, by name."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

from knowngood.calculate import sensors
from knowngood.calculate.sums import Given, Input, Output, Sum, sentence

PART: Final = 0.05
"""Tolerance of a thermistor's ohms at 25 degC where its ± is not given (makers print 1 to 5 %)."""
LAW: Final = 0.6 / 25
"""K off per K from 25 degC: what beta alone misses of a 10 kohm 3950 table at 0 degC."""
_PART_SAYS: Final = (
    "the part: 5 % at 25 degC where ohms25 has no ±, and 0.6 K for each 25 K from there"
)
_THERMISTOR: Final = (
    Input("ohms25", "resistance", "its ohms at 25 degC", "10 kohm", "10 kohm"),
    Input(
        "beta",
        "number",
        "its beta in kelvin",
        "3950",
        "3950",
        unit="K",
        units={"K": 1.0, "": 1.0},
    ),
)


def _sweep(given: Given) -> list[float]:
    found = sensors.sweep(given["samples"])
    return [found.low, found.high, found.noise]


def _say_sweep(given: Given, _found: Sequence[float]) -> list[str]:
    found = sensors.sweep(given["samples"])
    return [sentence(found.words), f"Taper: {found.taper}."]


def _thermistor(given: Given) -> list[float]:
    if math.isinf(given["ohms"]):
        return [math.nan]
    return [sensors.ntc_celsius(given["ohms"], given["ohms25"], given["beta"])]


def _say_thermistor(given: Given, _found: Sequence[float]) -> list[str]:
    if math.isinf(given["ohms"]):
        return ["Open circuit: no thermistor reads so at any temperature; it or its wire is open."]
    return []


def _part_kelvin(given: Given, celsius: float) -> float:
    """Half-width in K by which a part is off its print and the beta law off the part."""
    per_kelvin = given["beta"] / (celsius + 273.15) ** 2
    print_off = 0.0 if given["ohms25_u"] else PART / per_kelvin
    return math.hypot(print_off, LAW * abs(celsius - 25))


def _part_ohms(given: Given, ohms: float) -> float:
    per_kelvin: float = given["beta"] / (given["at"] + 273.15) ** 2
    return ohms * per_kelvin * _part_kelvin(given, given["at"])


SENSORS: Final[tuple[Sum, ...]] = (
    Sum(
        "thermistor",
        "Temperature from the ohms of a thermistor",
        (
            Input("ohms", "resistance", "ohms as read", "8 kohm", open=True),
            *_THERMISTOR,
        ),
        (Output("temperature", "temperature"),),
        _thermistor,
        "1/T = 1/298.15 + ln(R / R25) / beta",
        "textbook; 10 kohm 3950 table: off by 0.6 K at 0, 1.3 K at 100 degC",
        "far from 25 degC, with other parts across it, warmed by the meter",
        _say_thermistor,
        spread=lambda g, found: [_part_kelvin(g, found[0])],
        spread_says=_PART_SAYS,
    ),
    Sum(
        "thermistor-ohms",
        "Ohms to expect of a thermistor",
        (Input("at", "temperature", "its temperature", "20 degC"), *_THERMISTOR),
        (Output("ohms", "resistance"),),
        lambda g: [sensors.ntc_ohms(g["at"], g["ohms25"], g["beta"])],
        "R = R25 exp(beta (1/T - 1/298.15))",
        "textbook; 10 kohm 3950 table",
        "far from 25 degC",
        spread=lambda g, found: [_part_ohms(g, found[0])],
        spread_says=_PART_SAYS,
    ),
    Sum(
        "pot-sweep",
        "A potentiometer or trigger turned end to end",
        (
            Input(
                "samples",
                "any",
                "readings at even steps, eight or more",
                "0.1 0.6 1.1 1.7 2.2 2.8 3.3 3.9 kohm",
                many=True,
                open=True,
            ),
        ),
        (Output("lowest", "=samples"), Output("highest", "=samples"), Output("scatter", "percent")),
        _sweep,
        "each against the middle of five; scatter in % of the span",
        "definitions; limits common practice",
        "for steps that are not even, and dead spots between two readings",
        _say_sweep,
    ),
)
