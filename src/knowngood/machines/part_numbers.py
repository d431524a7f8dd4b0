"""Part numbers that lead to two parts of one machine."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from knowngood.machines.machine import ServicePart
from knowngood.machines.safety import Breach


def two_parts_one_number(parts: Sequence[ServicePart]) -> Iterator[Breach]:
    """A number that is two parts' own, and one that is one part's own while a number of another
    part supersedes it. An old number that two parts replace between them is sound: an assembly
    may be sold in pieces later (common practice)."""
    owner: dict[str, str] = {}
    for part in parts:
        for number in dict.fromkeys(x.number for x in part.numbers):
            if number in owner:
                yield (("parts", part.id, "numbers"),
                       f"{number} is the number of {owner[number]} and of {part.id}",
                       "Give each part its own number, or make the two one part")
            owner.setdefault(number, part.id)
    for part in parts:
        for n, x in enumerate(part.numbers):
            for old in x.supersedes:
                other = owner.get(old, part.id)
                if other != part.id:
                    yield (("parts", part.id, "numbers", n, "supersedes"),
                           f"{old} is the number of {other}, and {x.number} of {part.id}"
                           " supersedes it",
                           f"Take {old} out of supersedes, or give {other} its own number")
