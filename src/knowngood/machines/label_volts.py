"""Volts as they stand on a pack: what they may mean in cells, to be asked before it is believed.

A label is cells times 3.6 V (nominal) or times 4.0 V (the "max" of a catalogue); a full lithium-ion
cell reads 4.2 V (common practice). So 20 V is 5 cells, 18 V nominal, and 36 V may be 10 cells or 9.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final

from knowngood.machines.rescale import CELL_FULL, CELL_RATED

CATALOGUE: Final = 4.0  # V a cell, as catalogues round it
SOLD: Final = {58.0: 14, 82.0: 20}  # labels that are neither, with their cells; common practice
MOST_CELLS: Final = 40
_TYPED: Final = re.compile(r"([0-9]{1,3}(?:[.,][0-9]+)?)\s*V\b\.?\s*(.*)", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Meant:
    """What a label may mean."""

    label: str
    cells: int

    @property
    def words(self) -> str:
        """ "5 cells, 18 V nominal, 20 to 21 V full"."""
        low, full = CATALOGUE * self.cells, CELL_FULL * self.cells
        nominal = CELL_RATED * self.cells
        return f"{self.cells} cells, {nominal:g} V nominal, {low:g} to {full:g} V full"


def volts_typed(answer: str) -> tuple[float, str] | None:
    """The volts of an answer and what was said of them ("nominal", "full"); None if it has none."""
    match = _TYPED.fullmatch(answer.strip())
    return (float(match[1].replace(",", ".")), match[2].casefold()) if match else None


def cells_exactly(volts: float, said: str) -> int | None:
    """Cells where it was said what the volts are; None where it was not, or they do not fit."""
    per = {"nominal": CELL_RATED, "rated": CELL_RATED, "full": CELL_FULL, "max": CATALOGUE}
    return _whole(volts, per[said]) if said in per else None


def meanings(volts: float) -> tuple[Meant, ...]:
    """What volts on a label may mean in cells, the usual one first; empty where nothing fits."""
    each = (_whole(volts, per) for per in (CELL_RATED, CELL_FULL, CATALOGUE))
    ways = (SOLD.get(volts), *each)
    return tuple(Meant(f"{volts:g} V", n) for n in dict.fromkeys(ways) if n)


def _whole(volts: float, per: float) -> int | None:
    cells = round(volts / per)
    return cells if 1 <= cells <= MOST_CELLS and abs(volts - cells * per) < 0.05 else None
