"""Air: pressure by altitude, density, what a blower moves, one fan at two speeds."""

from __future__ import annotations

import math
from typing import Final

SEA_LEVEL: Final = 101_325.0
"""Pa, International Standard Atmosphere (ISO 2533)."""
_GAS: Final = 8.314472
_WATER: Final = 18.01528e-3
_DRY_AIR: Final = 28.96546e-3


def pressure_at(metres: float) -> float:
    """Air pressure in Pa at an altitude: 101 325 (1 - 0.0065 h / 288.15)^5.25588.

    A day's weather moves it by +-3 %. Raises ValueError outside -430 to 5000 m.
    Source: International Standard Atmosphere, ISO 2533 (constants from memory).
    """
    if not -430 <= metres <= 5000:
        raise ValueError(f"{metres:g} m is outside -430 to 5000 m; write it like 1200 ft or 370 m")
    return float(SEA_LEVEL * (1 - 0.0065 * metres / 288.15) ** 5.25588)


def density(celsius: float, pascal: float = SEA_LEVEL, humidity: float = 50.0) -> float:
    """Density of moist air in kg/m3 at `celsius`, absolute `pascal` and relative `humidity` in %.

    CIPM-2007 (Picard, Davis, Glaeser, Fujii 2008; coefficients from memory), made for 600 to 1100
    hPa and 15 to 27 degC, within 0.1 % from -10 to 45. Raises ValueError outside those wider limits
    or for pressure outside 50 to 110 kPa.
    """
    if not -10 <= celsius <= 45 or not 50e3 <= pascal <= 110e3 or not 0 <= humidity <= 100:
        raise ValueError(
            f"{celsius:g} degC, {pascal:g} Pa, {humidity:g} %: outside -10 to 45 degC,"
            " 50 to 110 kPa (absolute, not sea-level corrected), 0 to 100 %"
        )
    t, kelvin = celsius, celsius + 273.15
    saturation = math.exp(
        1.2378847e-5 * kelvin**2 - 1.9121316e-2 * kelvin + 33.93711047 - 6343.1645 / kelvin
    )
    enhancement = 1.00062 + 3.14e-8 * pascal + 5.6e-7 * t * t
    x = humidity / 100 * enhancement * saturation / pascal
    second = (
        1.58123e-6 - 2.9331e-8 * t + 1.1043e-10 * t * t
        + (5.707e-6 - 2.051e-8 * t) * x + (1.9898e-4 - 2.376e-6 * t) * x * x
    )  # fmt: skip
    ratio = pascal / kelvin
    z = 1 - ratio * second + ratio**2 * (1.83e-11 - 0.765e-8 * x * x)
    return pascal * _DRY_AIR / (z * _GAS * kelvin) * (1 - x * (1 - _WATER / _DRY_AIR))


def jet(
    metres_per_second: float, diameter: float, kg_per_m3: float = 1.2
) -> tuple[float, float, float]:
    """(thrust in N, flow in m3/s, power in the air in W) of a blower's jet with even speed over a
    nozzle of `diameter` in m: rho A v^2, A v, rho A v^3 / 2.

    The speed in the middle is above the mean, often by 10 to 20 % (common practice), so a single
    reading there says too much. Raises ValueError for speed outside 0 to 120 m/s (above, air
    compresses), diameter or density not above zero. Source: textbook, momentum.
    """
    if not 0 <= metres_per_second <= 120 or not 0 < diameter < 10 or not 0 < kg_per_m3 < 10:
        raise ValueError(
            f"{metres_per_second:g} m/s, {diameter:g} m, {kg_per_m3:g} kg/m3: speed 0 to 120 m/s,"
            " diameter in metres and density above zero"
        )
    flow = math.pi / 4 * diameter**2 * metres_per_second
    thrust = kg_per_m3 * flow * metres_per_second
    return thrust, flow, thrust * metres_per_second / 2


def fan_at(speed_ratio: float) -> tuple[float, float, float]:
    """(flow, pressure, power) of the same fan at another speed, as ratios: n, n^2, n^3.

    Same density and the same openings. Raises ValueError outside 0 to 3. Source: fan laws,
    textbook.
    """
    if not 0 <= speed_ratio <= 3:
        raise ValueError(f"a speed ratio of {speed_ratio:g} is outside 0 to 3: new rpm / old rpm")
    return speed_ratio, speed_ratio**2, speed_ratio**3
