"""Part numbers that became other part numbers.

A chain is followed to its end; a number that leads back to itself is refused when it is entered.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Chain:
    """`numbers` from the one that was asked for to the one to order now."""

    numbers: tuple[str, ...]

    @property
    def now(self) -> str:
        return self.numbers[-1]

    @property
    def sentence(self) -> str:
        """ "100 became 200, then 300: order 300"; "" when it is still itself."""
        if len(self.numbers) == 1:
            return ""
        first, *rest = self.numbers
        return f"{first} became {', then '.join(rest)}: order {rest[-1]}"


def same_number(number: str) -> str:
    """A part number as it is compared: capitals, without blanks and hyphens."""
    return "".join(c for c in number.upper() if c.isalnum() or c in "./")


def follow(number: str, became: Mapping[str, str]) -> Chain:
    """The chain from a number, by a table of old -> new.

    `became` is keyed by `same_number`. Raises ValueError naming the circle when there is one.
    """
    numbers, seen = [number], {same_number(number)}
    while (new := became.get(same_number(numbers[-1]))) is not None:
        numbers.append(new)
        if same_number(new) in seen:
            raise ValueError(f"these numbers go in a circle: {' -> '.join(numbers)}")
        seen.add(same_number(new))
    return Chain(tuple(numbers))


def add(became: Mapping[str, str], old: str, new: str) -> Mapping[str, str]:
    """The table with one more step. Raises ValueError when that would close a circle."""
    grown = {**became, same_number(old): new}
    follow(old, grown)
    return grown


def circles(became: Mapping[str, str]) -> tuple[tuple[str, ...], ...]:
    """Every circle of a whole table, each once, from its lowest number. Linear time."""
    found: list[tuple[str, ...]] = []
    done: set[str] = set()
    for start in became:
        path: dict[str, None] = {}
        at = start
        while at not in done and at not in path and at in became:
            path[at] = None
            at = same_number(became[at])
        if at in path:
            ring = list(path)[list(path).index(at):]
            low = ring.index(min(ring))
            found.append((*ring[low:], *ring[:low]))
        done.update(path)
    return tuple(sorted(found))
