"""Packs at rest and under load: charge from volts, cells in series, inner resistance."""

from __future__ import annotations

import math
from typing import Final, Literal

import numpy as np

LITHIUM_FULL: Final = 4.2
"""Volts of a full lithium-ion cell with a nickel-manganese-cobalt or -aluminium cathode."""

CELL_VOLTS: Final = (
    2.5, 3.2959, 3.4852, 3.5814, 3.6670, 3.7509, 3.8406, 3.9479, 4.0421, 4.0967, 4.2,
)  # fmt: skip
"""Rest volts of a 21700 cell (NMC 811, graphite-silicon) at 0, 10 .. 100 % charge: parameter set of
Chen et al., J. Electrochem. Soc. 167 (2020) 080534, computed with PyBaMM."""

CHEMISTRIES: Final = ("nmc", "nca")
"""Cathodes whose rest volts tell the charge: full at 4.2 V, falling all the way."""

LEAD_ACID: Final = ((11.7, 0.0), (12.0, 25.0), (12.2, 50.0), (12.4, 75.0), (12.6, 100.0))
"""(rest volts, charge %) of a 12 V lead-acid battery at room temperature, surface charge removed
(US Army TM 5-3805-262-20)."""

_TENTHS: Final = np.linspace(0.0, 100.0, len(CELL_VOLTS))


def lithium_charge(cell_volts: float, chemistry: str) -> float:
    """Charge in % from the rest volts of one cell (2.5 to 4.2 V, 20 mV grace), straight lines
    between tenths. `chemistry`: "nmc" or "nca", good to about 10 %; of "lfp" volts tell nothing.

    Raises ValueError for another chemistry and outside the range. Source: `CELL_VOLTS`.
    """
    if chemistry == "lfp":
        raise ValueError(
            "the volts of an iron phosphate cell hardly move between nearly empty and nearly full,"
            " so they tell no charge; charge it fully and measure what comes out"
        )
    if chemistry not in CHEMISTRIES:
        raise ValueError(f"{chemistry!r} is no known chemistry: {', '.join(CHEMISTRIES)}, lfp")
    _within(cell_volts, CELL_VOLTS[0], LITHIUM_FULL + 0.02, "V for one cell", "divide by cells")
    return float(np.interp(cell_volts, CELL_VOLTS, _TENTHS))


def lithium_volts(charge: float) -> float:
    """Rest volts of one cell at `charge` (0 to 100 %). Raises ValueError outside. Source:
    `CELL_VOLTS`."""
    _within(charge, 0.0, 100.0, "% charge", "0 is empty, 100 full")
    return float(np.interp(charge, _TENTHS, CELL_VOLTS))


def lead_acid_charge(volts: float) -> float:
    """Charge in % of a 12 V lead-acid battery from its rest volts (10 to 13.2 V): 0 below 11.7,
    100 above 12.6. Raises ValueError outside: above 13.2 V it is on charge or has surface
    charge. Source: `LEAD_ACID`.
    """
    way_out = "below, a cell is dead; above, draw off the surface charge and read again"
    _within(volts, 10.0, 13.2, "V at rest for a 12 V battery", way_out)
    known, charge = zip(*LEAD_ACID, strict=True)
    return float(np.interp(volts, known, charge))


def series_count(full_volts: float) -> int:
    """Cells in series of a lithium-ion pack whose full charge is `full_volts` (4.2 V each):
    21.0 -> 5, 42.0 -> 10, 58.8 -> 14, 84.0 -> 20.

    Raises ValueError if that is not within 0.05 V of 1 to 30 cells: printed volts may be nominal
    or rounded up (a 20-cell pack sold as 80 V), and then only the maker's sheet tells.
    Source: arithmetic.
    """
    cells = round(full_volts / LITHIUM_FULL) if 0 < full_volts < 1000 else 0
    if not 1 <= cells <= 30 or abs(full_volts - cells * LITHIUM_FULL) > 0.0501:
        raise ValueError(
            f"{full_volts:g} V is no whole number of cells at 4.2 V;"
            " is it the nominal figure? Give the full-charge volts"
        )
    return cells


def inner_ohms(rest_volts: float, loaded_volts: float, amps: float) -> float:
    """Resistance of pack and contacts in ohms from the sag: (rest - loaded) / amps.

    Raises ValueError unless amps are above zero and the loaded volts at or below rest.
    Source: textbook.
    """
    if not 0 < amps < math.inf:
        raise ValueError(f"{amps:g} A: the load must draw current")
    if not loaded_volts <= rest_volts:
        raise ValueError(
            f"{loaded_volts:g} V loaded is above {rest_volts:g} V at rest;"
            " swap them, or let the pack rest first"
        )
    return (rest_volts - loaded_volts) / amps


GOOD_TIMES: Final = 1.5
TIRED_TIMES: Final = 2.0
"""A pack up to `GOOD_TIMES` the ohms of a known-good one of its model is good, from `TIRED_TIMES`
tired: twice the ohms of new is the usual end of life of cells in tests (common practice)."""


def pack_verdict(ohms: float, known_good: float) -> Literal["good", "tired", "can't tell"]:
    """Good or tired by its ohms against those of a known-good pack of the model, both read in the
    same way and as warm. Raises ValueError unless ohms are zero or more and `known_good` above it.
    Source: `TIRED_TIMES`."""
    if not 0 <= ohms < math.inf or not 0 < known_good < math.inf:
        raise ValueError(f"{ohms:g} ohm against {known_good:g}: both above zero")
    times = ohms / known_good
    if times >= TIRED_TIMES:
        return "tired"
    return "good" if times <= GOOD_TIMES else "can't tell"


def dc_resistance(volts_1: float, amps_1: float, volts_2: float, amps_2: float) -> float:
    """DC resistance in ohms from two loads one after the other: (V1 - V2) / (I2 - I1).

    IEC 61960-3: discharge at 0.2 C for 10 s (V1, I1), at once at 1 C for 1 s (V2, I2); amps
    positive out of the cell. Raises ValueError unless amps_2 is above amps_1 and V2 at or below V1.
    """
    if not 0 <= amps_1 < amps_2 < math.inf:
        raise ValueError(
            f"the second load ({amps_2:g} A) must draw more than the first ({amps_1:g} A)"
        )
    if not volts_2 <= volts_1:
        raise ValueError(f"{volts_2:g} V at the larger load is above {volts_1:g} V; swap them")
    return (volts_1 - volts_2) / (amps_2 - amps_1)


def _within(value: float, low: float, high: float, what: str, way_out: str) -> None:
    if not low <= value <= high:
        raise ValueError(f"{value:g} {what} is outside {low:g} to {high:g}; {way_out}")
