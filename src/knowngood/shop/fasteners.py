"""Fasteners that came out, went back, lie in the tray, or are missing: it must come out even."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class StepCount:
    """One step: pieces that came out; back None while the step is off. ``over``: left in the tray
    when the step was done."""

    words: str
    out: int
    back: int | None = None
    over: int = 0


@dataclass(frozen=True, slots=True)
class Tally:
    """``missing`` below zero: more went in than came out. Of finished steps out = back + over +
    missing."""

    out: int
    back: int
    over: int
    missing: int
    waiting: int
    said: tuple[str, ...]

    @property
    def even(self) -> bool:
        """Of what is finished nothing is left over, missing or too much."""
        return self.over == 0 and not self.said

    @property
    def words(self) -> str:
        """ "12 of 14 fasteners back; 2 wait in their tray"."""
        if not self.out and not self.said:
            return "no fasteners counted"
        start = f"{self.back} of {self.out} {_pieces(self.out)} back"
        waits = f"{self.waiting} still to go in" if self.waiting else ""
        if self.even and not waits:
            return f"{start}, none left over"
        return "; ".join(filter(None, (start, waits, *self.said)))


def tally(steps: Iterable[StepCount]) -> Tally:
    """The count over all steps. Raises ValueError for a count below zero."""
    out = back = over = missing = waiting = 0
    said: list[str] = []
    for one in steps:
        if min(one.out, one.back or 0, one.over) < 0:
            raise ValueError(f"{one.words}: a count is not below zero")
        out += one.out
        if one.back is None:
            waiting += one.out
            continue
        back += one.back
        over += one.over
        off = one.out - one.back - one.over
        missing += off
        if one.over:
            belong = "it belongs" if one.over == 1 else "they belong"
            said.append(f"LEFT OVER: {one.over} from {one.words}; find where {belong}")
        if off > 0:
            said.append(f"MISSING: {off} of {one.out} from {one.words}; look inside the machine")
        if off < 0:
            said.append(f"TOO MANY: {-off} more went into {one.words} than came out")
    return Tally(out, back, over, missing, waiting, tuple(said))


def _pieces(count: int) -> str:
    return "fastener" if count == 1 else "fasteners"
