"""How a job ends: which words say that the machine went without the repair."""

from __future__ import annotations

from typing import Final

STAYS: Final = ("scrap", "unrepaired", "not repaired", "not fixed", "declined")
NOTHING_FOUND: Final = "no fault found"


def unrepaired(outcome: str) -> bool:
    """Whether a job that ends so was not repaired: "returned unrepaired", "scrapped"."""
    said = outcome.casefold().strip()
    return not said.startswith("repaired") and any(word in said for word in STAYS)


def without_parts(outcome: str) -> bool:
    """Whether nothing was fitted in a job that ends so: not repaired, or nothing found. A mended
    machine that was "closed with blanks" or "handed back" has its parts in it."""
    return unrepaired(outcome) or NOTHING_FOUND in outcome.casefold()
