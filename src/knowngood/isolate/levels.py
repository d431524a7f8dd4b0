"""Where the source of a machine stands, as readings that follow it tell.

The source (a pack, a battery) stands somewhere in its span, the same for all readings of a visit:
a nuisance of the machine, marginalised over nodes. Before a reading follows it, the whole span is
in each reading. Then the span is cut into fine cells, on which the belief is worked out; for what
is planned and told they are joined to a few stretches, fine where the source is likely to stand.
What shows a suspect out is judged on all the cells: where its own source stands does not hang on
how likely the suspect is.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from knowngood.isolate.likelihood import WANDERS, Node, nodes

Array = NDArray[np.float64]

BEYOND = 0.1  # spans below and above its ends, as much as ranges are widened
FAR = 2.5  # standard deviations of what moves it besides
FINE = 1.25  # cells in terms of what the source moves by itself
MOST_LEVELS = 200
MOST_NODES = 12  # stretches, each with the meter's nodes
LIKELY = 1e-4  # cells less likely than this are in one stretch


@dataclass(frozen=True)
class Levels:
    """Cells of (level, cell, beyond, around) as in `Node`, in rising order, and ``weight`` (n,)
    summing to 1."""

    cells: tuple[tuple[float, float, float, float], ...]
    weight: Array

    @cached_property
    def all(self) -> tuple[Node, ...]:
        """A node for each cell; what readings on one meter share of its error shifts all alike."""
        return self._nodes([(i, i + 1) for i in range(len(self.cells))], (Node(0, 0, 1),))

    def chosen(self, likely: Array) -> tuple[tuple[Node, ...], Array]:
        """Nodes of stretches of cells, each with the meter's, the finer the more ``likely`` (n,);
        and which cell lies in which stretch, shape (n, stretches)."""
        kept = likely >= LIKELY * likely.sum()
        change = (kept[1:] != kept[:-1]) | (self._sides[1:] != self._sides[:-1]) | kept[1:]
        ends = np.concatenate([[0], np.flatnonzero(change) + 1, [len(kept)]])
        below = np.concatenate([[0.0], np.cumsum(likely)])
        while len(ends) - 1 > MOST_NODES:  # the two neighbours least likely together become one
            both = below[ends[2:]] - below[ends[:-2]]
            both[self._sides[ends[:-2]] != self._sides[ends[1:-1]]] = np.inf
            least = int(both.argmin())
            if not np.isfinite(both[least]):
                break
            ends = np.delete(ends, least + 1)
        lies = np.zeros((len(kept), len(ends) - 1))
        for k, (a, b) in enumerate(pairwise(ends.tolist())):
            lies[a:b, k] = 1.0
        return self._nodes(list(pairwise(ends.tolist())), nodes(False)), lies

    @cached_property
    def _sides(self) -> Array:
        """Of each cell: below the span (-1), in it (0), above it (1)."""
        return np.sign([beyond for _, _, beyond, _ in self.cells])

    def _nodes(self, spans: Sequence[tuple[int, int]], meter: Sequence[Node]) -> tuple[Node, ...]:
        found = []
        for a, b in spans:
            level, cell, beyond, around = np.array(self.cells[a:b]).T
            weight = float(self.weight[a:b].sum())
            inside = beyond[0] == 0
            place = Node(0.0, _SCALE * float(level.mean()), weight, float(level.mean()),
                         float(cell.sum() if inside else cell[0]), float(beyond.mean()),
                         float(around.sum()))  # fmt: skip
            found += [replace(place, gain=m.gain, weight=m.weight * weight) for m in meter]
        return tuple(found)


_SCALE = float(np.sqrt(6))
"""Half the variance of a level in its span is in the nodes, as for all that rows follow."""


def make_levels(most: float, spread: float) -> Levels:
    """Cells as fine as the source is still, all of the span as likely. ``most``: relative, how far
    a source goes from one end of its span to the other; ``spread``: relative standard deviation of
    what moves it besides, which now and then takes it past the ends."""
    end, fine = 0.5 + BEYOND, FINE * WANDERS
    count = int(np.clip(np.ceil(2 * end * most / fine), 3, MOST_LEVELS))
    inside = list(pairwise(np.linspace(-end, end, count + 1).tolist()))
    beyond = fine * np.arange(int(np.ceil(FAR * spread / fine)) + 1)
    past = list(pairwise(beyond.tolist()))
    cells = [(-end, _KNOWN, -(a + b) / 2, b - a) for a, b in reversed(past)]
    cells += [((a + b) / 2, b - a, 0.0, 0.0) for a, b in inside]
    cells += [(end, _KNOWN, (a + b) / 2, b - a) for a, b in past]
    tail = np.diff(_integral(-beyond[::-1] / spread))[::-1] * spread if past else np.empty(0)
    weight = np.concatenate([tail[::-1], np.full(count, 2 * end * most / count), tail])
    return Levels(tuple(cells), weight / weight.sum())


_KNOWN = 1e-9
"""A cell of no width, of a source that is known."""


def _integral(z: NDArray[np.floating[Any]]) -> Array:
    """Of the normal distribution function."""
    return np.asarray(z * ndtr(z) + np.exp(-0.5 * z * z) / np.sqrt(2 * np.pi))
