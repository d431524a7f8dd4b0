"""How a job ends: the words for it, and which say that the machine went without the repair."""

from __future__ import annotations

from typing import Final

from knowngood.machines.nearest import did_you_mean
from knowngood.places.record import Refused

STAYS: Final = ("scrap", "unrepaired", "not repaired", "not fixed", "declined")
NOTHING_FOUND: Final = "no fault found"
REPAIRED: Final = "repaired"
MENDED: Final = frozenset({"fixed", "mended", REPAIRED, "ok", "done", "works", "running"})
OTHERS: Final = ("handed back", "closed with blanks", "closed")
OFFERED: Final = (REPAIRED, "returned unrepaired", "scrapped", NOTHING_FOUND)


def end_of(text: str) -> str:
    """The outcome that these words name, "repaired" for each word of `MENDED`. Raises Refused for
    one that is no end of a job, so that a slip closes nothing."""
    said = " ".join(text.split())
    folded = said.casefold().strip(" .!")
    if folded in MENDED:
        return REPAIRED
    begins = any(f"{folded} ".startswith((f"{end} ", f"{end},")) for end in (REPAIRED, *OTHERS))
    if begins or without_parts(folded):
        return said
    hint = did_you_mean(folded, (*OFFERED, *(one for one in MENDED if len(one) > 4)))
    meant = hint if hint.startswith("Did") else f"A job ends as: {', '.join(OFFERED)}"
    raise Refused(f"{said[:60]!r} is no end of a job. {meant} Nothing was closed")


def unrepaired(outcome: str) -> bool:
    """Whether a job that ends so was not repaired: "returned unrepaired", "scrapped"."""
    said = outcome.casefold().strip()
    return not said.startswith("repaired") and any(word in said for word in STAYS)


def without_parts(outcome: str) -> bool:
    """Whether nothing was fitted in a job that ends so: not repaired, or nothing found. A mended
    machine that was "closed with blanks" or "handed back" has its parts in it."""
    return unrepaired(outcome) or NOTHING_FOUND in outcome.casefold()
