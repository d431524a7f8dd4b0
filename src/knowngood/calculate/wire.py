"""Copper wire: gauge, area, ohms, volts lost."""

from __future__ import annotations

import math
from typing import Final

from knowngood.calculate.resistance import at_temperature

COPPER_SIEMENS: Final = 58e6
"""Conductivity of annealed copper at 20 degC, S/m: 100 % IACS (IEC 60028)."""
_THICKEST: Final = -3
_THINNEST: Final = 50


def awg_number(text: str) -> int:
    """Gauge number of "18", "18 AWG", "2/0" or "0000"; 0 is 1/0, -3 is 4/0.

    Raises ValueError for anything else. Source: ASTM B258.
    """
    plain = text.strip().lower().removeprefix("awg").removesuffix("awg").strip().removeprefix("#")
    if plain in ("0", "00", "000", "0000"):
        return 1 - len(plain)
    if plain in ("1/0", "2/0", "3/0", "4/0"):
        return 1 - int(plain[0])
    if plain.isascii() and plain.isdigit() and len(plain) <= 2:
        return _gauge(int(plain))
    raise ValueError(f"no wire gauge {text!r}; write it like 18 AWG or 2/0")


def awg_diameter(gauge: int) -> float:
    """Diameter in mm of a solid round wire: 0.127 x 92^((36 - n) / 39). Stranded wire is thicker
    outside but has the same metal area. Gauges -3 (4/0) to 50, else ValueError.

    Source: ASTM B258.
    """
    return float(0.127 * 92 ** ((36 - _gauge(gauge)) / 39))


def awg_area(gauge: int) -> float:
    """Metal area in mm2 of a gauge. Range, errors and source as `awg_diameter`."""
    return math.pi / 4 * awg_diameter(gauge) ** 2


def nearest_awg(mm2: float) -> int:
    """The gauge whose area is nearest by ratio to `mm2`. Raises ValueError for an area outside
    4/0 to 50 AWG (107 to 0.0005 mm2). Source: ASTM B258.
    """
    if not mm2 > 0 or not math.isfinite(mm2):
        raise ValueError(f"{mm2} mm2 is no wire area; write it like 2.5")
    diameter = math.sqrt(4 * mm2 / math.pi)
    return _gauge(round(36 - 39 * math.log(diameter / 0.127) / math.log(92)))


def ohms_per_km(mm2: float, celsius: float = 20.0) -> float:
    """Ohms of 1 km of copper wire of `mm2` at `celsius` (-60 to 250 degC, else ValueError).

    Source: 100 % IACS, 58 MS/m at 20 degC (IEC 60028); tinned or stranded wire is a few % higher.
    """
    if not mm2 > 0:
        raise ValueError(f"{mm2:g} mm2: the area must be above zero")
    return at_temperature(1e9 / (COPPER_SIEMENS * mm2), 20.0, celsius)


def wire_ohms(metres: float, mm2: float, celsius: float = 20.0) -> float:
    """Ohms of one conductor, `metres` long. Raises ValueError for a length below zero; otherwise
    as `ohms_per_km`."""
    if not 0 <= metres < math.inf:
        raise ValueError(f"{metres:g} m: the length must be zero or more")
    return ohms_per_km(mm2, celsius) * metres / 1000


def volts_lost(amps: float, metres: float, mm2: float, celsius: float = 20.0) -> float:
    """Volts lost along a lead and its return, each `metres` long, at `amps`.

    Errors and source as `wire_ohms`.
    """
    return 2 * amps * wire_ohms(metres, mm2, celsius)


def _gauge(gauge: int) -> int:
    if not _THICKEST <= gauge <= _THINNEST:
        raise ValueError(f"gauge {gauge} is outside -3 (4/0) to {_THINNEST}; check the marking")
    return gauge
