"""Readings by visit and test, and which of them are of one source."""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TypeVar

from knowngood.isolate.table import Row, Table
from knowngood.measure.reading import Reading

T = TypeVar("T", bound=Hashable)


class Key(tuple[T, ...]):
    """A long key of which the hash is worked out once."""

    _hash: int

    def __hash__(self) -> int:
        try:
            return self._hash
        except AttributeError:
            self._hash = super().__hash__()
            return self._hash


@dataclass(frozen=True, slots=True)
class Item:
    """One reading as evidence; ``visit`` counts from 0."""

    id: str
    test: str
    reading: Reading
    visit: int = 0


@dataclass(frozen=True)
class Taken:
    """The readings of one test in one visit, and the marks undone by then. ``source``: (visit, how
    often it was filled by then); those with the same read the same one. None: some were read before
    it was filled and some after. ``same``: it is the source as it stands now."""

    row: Row
    items: tuple[Item, ...]
    undone: frozenset[str]
    source: tuple[int, int] | None
    same: bool

    @property
    def follows(self) -> bool:
        return self.source is not None and self.row.mixture.follows

    @cached_property
    def key(self) -> Key[Hashable]:
        return Key((self.items, self.undone, self.same, self.source))


def taken_from(table: Table, items: Sequence[Item]) -> tuple[list[Taken], frozenset[str]]:
    """The readings by visit and test, and the marks undone in the end."""
    by_test: dict[tuple[int, str, frozenset[str]], list[Item]] = {}
    undone = frozenset[str]()
    fills, filled = 0, dict[tuple[int, str, frozenset[str]], set[int]]()
    for item in items:
        if item.reading.is_evidence and item.test in table.rows:
            undone |= table.undoes.get(item.test, frozenset())
            fills += item.test in table.refills
            key = (item.visit, item.test, table.gone(item.test, undone))
            by_test.setdefault(key, []).append(item)
            filled.setdefault(key, set()).add(fills)
    now = (max((visit for visit, _, _ in by_test), default=0), fills)
    found = []
    for key, group in by_test.items():
        source = (key[0], min(filled[key])) if len(filled[key]) == 1 else None
        row = table.without(table.rows[key[1]], key[2])
        found.append(Taken(row, tuple(group), key[2], source, source == now))
    return found, undone
