"""Ohms of windings: temperature, three terminals, parallel paths. `math.inf` stands for open.

Three resistances are a tuple. Pairs and deltas are in the order ab, bc, ca; wye legs in a, b, c.
"""

from __future__ import annotations

import math
from typing import Final

Three = tuple[float, float, float]

COPPER: Final = 234.5
"""k of annealed copper in degC: where its resistance would reach zero on a straight line."""
COPPER_IEC: Final = 235.0
"""k of copper in degC by IEC 60034-1 (from memory)."""
LOW_OHMS: Final = 1.0
"""Below this the leads of a meter count like the winding."""
FOUR_WIRES: Final = (
    "So few ohms count only with four wires at 0.5 to 3 A; through a meter's two leads, 0.2 to"
    " 0.5 ohm themselves, the pairs can be compared, no more."
)
"""Read in makers' notes on measuring low ohms."""

_COLDEST: Final = -60.0
_HOTTEST: Final = 250.0


def at_temperature(ohms: float, measured_c: float, wanted_c: float, k: float = COPPER) -> float:
    """Ohms of a winding at `wanted_c` degC from `ohms` at `measured_c`: x (k + T2) / (k + T1).

    Range -60 to 250 degC, where copper is straight enough. Raises ValueError outside.
    Source: IEEE 118; k = 234.5 annealed copper, 235 in IEC 60034-1, 225 aluminium.
    """
    _temperature(measured_c)
    _temperature(wanted_c)
    return ohms * (k + wanted_c) / (k + measured_c)


def winding_rise(
    cold_ohms: float, hot_ohms: float, cold_c: float, ambient_c: float, k: float = COPPER
) -> float:
    """Temperature rise of a winding over the ambient at the end of the run, in kelvin:
    (R_hot / R_cold)(k + T_cold) - k - T_ambient.

    Raises ValueError for ohms not above zero or temperatures outside -60 to 250 degC.
    Source: IEC 60034-1, 8.6.2 (method of resistance, from memory).
    """
    _above_zero(cold_ohms, hot_ohms)
    _temperature(cold_c)
    _temperature(ambient_c)
    hot_c = hot_ohms / cold_ohms * (k + cold_c) - k
    if hot_c > _HOTTEST:
        raise ValueError(
            f"{cold_ohms:g} to {hot_ohms:g} ohm means {hot_c:.0f} degC, over {_HOTTEST:g}:"
            " read both again on the same leads and points"
        )
    return hot_c - ambient_c


def parallel(*ohms: float) -> float:
    """Ohms of paths side by side; open paths (inf) do not count, a short (0) wins.

    Raises ValueError without a path or for ohms below zero. Source: textbook.
    """
    if not ohms or any(not r >= 0 for r in ohms):
        raise ValueError(f"need ohms of zero or more, got {ohms or 'none'}")
    if min(ohms) == 0:
        return 0.0
    siemens = sum(1 / r for r in ohms)
    return 1 / siemens if siemens else math.inf


def delta_to_wye(ab: float, bc: float, ca: float) -> Three:
    """Legs (a, b, c) of the wye that reads the same as a delta of finite ohms, all in ohms.

    Raises ValueError unless all are above zero and finite: with an open side use
    `delta_terminals`. Source: textbook (Kennelly 1899).
    """
    _above_zero(ab, bc, ca)
    total = ab + bc + ca
    return ab * ca / total, ab * bc / total, bc * ca / total


def wye_to_delta(a: float, b: float, c: float) -> Three:
    """Sides (ab, bc, ca) of the delta that reads the same as a wye, all in ohms.

    Raises ValueError unless all are above zero and finite. Source: textbook (Kennelly 1899).
    """
    _above_zero(a, b, c)
    products = a * b + b * c + c * a
    return products / c, products / a, products / b


def delta_terminals(ab: float, bc: float, ca: float) -> Three:
    """What the pairs (ab, bc, ca) read on a delta; a side may be open (inf) or shorted (0).

    A healthy delta of R reads 2R/3 on each pair; with one side open 2R, R, R. Raises ValueError
    for ohms below zero. Source: textbook.
    """
    return parallel(ab, bc + ca), parallel(bc, ca + ab), parallel(ca, ab + bc)


def wye_terminals(a: float, b: float, c: float) -> Three:
    """What the pairs (ab, bc, ca) read on a wye; an open leg (inf) opens two of them.

    Raises ValueError for ohms below zero. Source: textbook.
    """
    if any(not r >= 0 for r in (a, b, c)):
        raise ValueError(f"need ohms of zero or more, got {(a, b, c)}")
    return a + b, b + c, c + a


def wye_from_terminals(ab: float, bc: float, ca: float) -> Three:
    """Legs (a, b, c) from the three pair readings of a wye, in ohms: a = (ab + ca - bc) / 2.

    Raises ValueError if the readings cannot come from three resistances (one pair larger than the
    other two together) or one is open. Source: textbook.
    """
    _above_zero(ab, bc, ca)
    legs = ((ab + ca - bc) / 2, (ab + bc - ca) / 2, (bc + ca - ab) / 2)
    if min(legs) < 0:
        raise ValueError(
            f"{ab:g}, {bc:g}, {ca:g} ohm cannot be the pairs of one winding:"
            " one exceeds the other two together; read them again"
        )
    return legs


def _above_zero(*ohms: float) -> None:
    for r in ohms:
        if not 0 < r < math.inf:
            raise ValueError(f"{r} ohm: need ohms above zero and not open")


def _temperature(celsius: float) -> None:
    if not _COLDEST <= celsius <= _HOTTEST:
        raise ValueError(
            f"{celsius:g} degC is outside {_COLDEST:g} to {_HOTTEST:g} degC;"
            " use a temperature the winding can have"
        )
