"""Engines: compression by ratio and altitude, leak-down, fuel mix, ignition coil ohms. Pressures in
Pa; gauge pressure is above the air around it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, Literal

from knowngood.calculate.air import SEA_LEVEL, pressure_at
from knowngood.calculate.resistance import at_temperature

COLD_EXPONENT: Final = 1.2
HOT_EXPONENT: Final = 1.4
"""Exponent n of p V^n while cranking: 1.4 would lose no heat, slow cranking of a cold engine comes
near 1.2 (common practice); 1.3 in between."""


def compression_ratio(swept: float, clearance: float) -> float:
    """(swept + clearance) / clearance volume, in any one unit. On a two-stroke count the stroke
    above the exhaust port only, and the gauge's hose and hole add to the clearance.

    Raises ValueError unless both are above zero and finite and the ratio at most 30. Source:
    textbook.
    """
    if not 0 < swept < math.inf or not 0 < clearance < math.inf:
        raise ValueError(f"swept {swept:g} and clearance {clearance:g} must be above zero")
    ratio = (swept + clearance) / clearance
    if ratio > 30:
        raise ValueError(
            f"swept {swept:g} over {clearance:g} is {ratio:.4g} to 1, outside 1 to 30; is one of"
            " them in another unit?"
        )
    return ratio


def gauge_pressure(ratio: float, n: float = 1.3, metres: float = 0.0) -> float:
    """Pa on a compression gauge after enough pulls: air x (ratio^n - 1), with the air pressure at
    an altitude in m.

    An upper figure: valve timing, leaks and slow pulls take from it, and a decompressor makes it
    meaningless, so give bands (`compression_band`) and compare cylinders or use leak-down. Raises
    ValueError for a ratio outside 1 to 30 or n outside 1 to 1.4. Source: textbook, polytropic.
    """
    if not 1 <= ratio <= 30:
        raise ValueError(f"a compression ratio of {ratio:g} is outside 1 to 30; such as 8")
    if not 1 <= n <= HOT_EXPONENT:
        raise ValueError(f"n = {n:g} is outside 1 to {HOT_EXPONENT}: 1.2 cold and slow, 1.4 ideal")
    return float(pressure_at(metres) * (ratio**n - 1))


def compression_band(ratio: float, metres: float = 0.0) -> tuple[float, float]:
    """(low, high) Pa on the gauge for n of 1.2 and 1.4. Errors and source as `gauge_pressure`."""
    return (
        gauge_pressure(ratio, COLD_EXPONENT, metres),
        gauge_pressure(ratio, HOT_EXPONENT, metres),
    )


def pressure_ratio(metres: float) -> float:
    """Factor on a gauge figure stated for sea level: the *pressure* ratio. Gauge pressure is
    air x (ratio^n - 1), so it goes with the air pressure; a widely copied table uses the density
    ratio, which is nearer to 1 (0.943 instead of 0.930 at 2000 ft). Range as `pressure_at`."""
    return pressure_at(metres) / SEA_LEVEL


def at_altitude(sea_level_gauge: float, metres: float) -> float:
    """Gauge Pa to expect at an altitude from the figure for sea level. Raises ValueError for a
    figure below zero. Source: `pressure_ratio`."""
    if not 0 <= sea_level_gauge < math.inf:
        raise ValueError(f"{sea_level_gauge:g} Pa: the sea-level figure must be zero or more")
    return sea_level_gauge * pressure_ratio(metres)


_AIR: Final = 1.4  # ratio of the specific heats
_CRITICAL: Final = (2 / (_AIR + 1)) ** (_AIR / (_AIR - 1))


@dataclass(frozen=True, slots=True)
class LeakLimits:
    """% of leak-down up to which an engine is good, and above which it is bad. Published figures
    disagree (10 to 30 %), so these are settings; defaults common practice."""

    good: float = 15.0
    bad: float = 30.0


LEAKS: Final = LeakLimits()


@dataclass(frozen=True, slots=True)
class LeakDown:
    """Leak in % of the supply, a verdict by the limits, and where to listen."""

    percent: float
    verdict: Literal["good", "bad", "can't tell"]
    listen: str


def leak_down(supply: float, held: float, limits: LeakLimits = LEAKS) -> LeakDown:
    """Leak-down: 100 x (supply - held) / supply, two gauges about an orifice, gauge Pa.

    Piston at top of the firing stroke, blade off and the crank held: the air swings it. Figures of
    testers with another orifice cannot be compared. Raises ValueError unless supply is above zero
    and held between 0 and supply. Source: definition; limits `LeakLimits`.
    """
    if not 0 < supply < math.inf or not 0 <= held <= supply:
        raise ValueError(
            f"held {held / 1e5:g} of {supply / 1e5:g} bar: supply above zero, held between 0 and"
            " supply; are the two gauges swapped?"
        )
    percent = 100 * (supply - held) / supply
    verdict: Literal["good", "bad", "can't tell"] = "can't tell"
    if percent <= limits.good:
        verdict = "good"
    elif percent > limits.bad:
        verdict = "bad"
    listen = (
        "air at the carburettor: inlet valve; at the muffler: exhaust valve; at the breather or"
        " filler: rings or bore; bubbles or oil at the head joint: gasket"
    )
    return LeakDown(percent, verdict, listen)


def orifice_flow(upstream: float, downstream: float) -> float:
    """Air through an orifice as a share of what it passes at `upstream` when choked, both absolute
    Pa: sqrt((r^(2/k) - r^((k+1)/k)) / its largest) at r = downstream / upstream, 1 below the
    critical ratio of 0.528. k = 1.4. Raises ValueError unless 0 <= downstream <= upstream, upstream
    above zero. Source: St Venant and Wantzel, textbook.
    """
    if not 0 < upstream < math.inf or not 0 <= downstream <= upstream:
        raise ValueError(f"{downstream:g} Pa behind {upstream:g} Pa: air flows to the lower one")
    ratio = max(downstream / upstream, _CRITICAL)
    passed, most = (r ** (2 / _AIR) - r ** ((_AIR + 1) / _AIR) for r in (ratio, _CRITICAL))
    return math.sqrt(max(passed, 0.0) / most)


def leak_at_sea_level(supply: float, held: float, metres: float) -> float:
    """% that the same leak reads at sea level with the same gauge supply, from a reading at an
    altitude: leak and orifice keep their areas, the air outside does not. Gauge Pa in; a leak of
    nothing or all stays so. Errors as `leak_down` and `pressure_at`. Source: `orifice_flow`.
    """
    percent = leak_down(supply, held).percent
    if percent in (0.0, 100.0):
        return percent

    def area(gauge: float, air: float) -> float:
        """Leak over orifice, by area, when the cylinder holds so much."""
        inlet = (supply + air) * orifice_flow(supply + air, gauge + air)
        return inlet / ((gauge + air) * orifice_flow(gauge + air, air))

    wanted = area(held, pressure_at(metres))
    low, high = 0.0, supply  # the more it holds, the smaller the leak
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if area(middle, SEA_LEVEL) > wanted else (low, middle)
    return 100 * (supply - low) / supply


def oil_for(fuel_litres: float, ratio: float) -> float:
    """Litres of oil for `fuel_litres` at `ratio` to 1 (50:1: 20 mL per litre, 75.7 mL per US
    gallon). The maker's ratio and oil go first.

    Raises ValueError for fuel below zero or a ratio outside 10 to 100. Source: definition.
    """
    if not 0 <= fuel_litres < math.inf:
        raise ValueError(f"{fuel_litres:g} L: the fuel must be zero or more")
    if not 10 <= ratio <= 100:
        raise ValueError(f"{ratio:g}:1 is outside 10:1 to 100:1; write it like 50")
    return fuel_litres / ratio


@dataclass(frozen=True, slots=True)
class CoilOhms:
    """Coil ohms brought to 20 degC, their departure from the maker's figure in %, a verdict."""

    at_20: float
    percent: float
    verdict: Literal["good", "bad"]


def coil_ohms(ohms: float, stated: float, celsius: float = 20.0, limit: float = 15.0) -> CoilOhms:
    """A coil's ohms (ignition primary or secondary, solenoid) against the maker's figure at 20
    degC, within `limit` % (common practice where the maker gives none).

    Good ohms prove only that it is neither open nor mostly shorted; a few shorted turns, a leak at
    high volts, and any coil with electronics inside need a spark tester or a swap. A secondary
    with a resistor or diode in its cap reads higher. Open is `math.inf`. Raises ValueError for
    ohms below zero, a figure or limit not above zero. Source: resistance with temperature.
    """
    if not ohms >= 0 or not 0 < stated < math.inf or not 0 < limit < math.inf:
        raise ValueError(
            f"{ohms:g} ohm against {stated:g}, limit {limit:g} %: ohms of zero or more, the"
            " maker's figure and the limit above zero"
        )
    at_20 = at_temperature(ohms, celsius, 20.0)
    percent = 100 * (at_20 / stated - 1)
    return CoilOhms(at_20, percent, "good" if abs(percent) <= limit else "bad")
