"""How long a repaired machine stays away: years from the shop's own closed jobs.

The mean time to the next visit is the time at risk over the number of visits, where machines that
have not come back count with the time since they left: the maximum likelihood estimate for
exponential lives with right censoring (NIST/SEMATECH e-Handbook of Statistical Methods, 8.4.1.2).
A machine that went elsewhere or was scrapped looks as if it were well, so the figure is on the high
side; it is said with its counts, and only from a few visits on.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

LEAST: Final = 5  # visits, common practice of rounding off: with fewer the figure says little
DAYS_OF_A_YEAR: Final = 365.25


@dataclass(frozen=True, slots=True)
class Spell:
    """Days from hand-back to the next visit, or to today where there was none."""

    days: float
    came_back: bool


@dataclass(frozen=True, slots=True)
class Life:
    """`years` is the mean to the next visit, from `repairs` of which `back` came back."""

    years: float
    repairs: int
    back: int

    @property
    def words(self) -> str:
        return (
            f"{self.years:.1f} years to the next visit, from {self.repairs} repairs of this "
            f"machine here of which {self.back} came back"
        )


def years_after_repair(spells: Sequence[Spell]) -> Life | None:
    """The mean years to the next visit; None from fewer than `LEAST` visits. ValueError for days
    below 0."""
    if any(spell.days < 0 for spell in spells):
        raise ValueError("days below 0: a machine does not come back before it left")
    back = sum(spell.came_back for spell in spells)
    whole = sum(spell.days for spell in spells)
    if back < LEAST or whole <= 0:
        return None
    return Life(whole / back / DAYS_OF_A_YEAR, len(spells), back)
