"""Which nodes hang together, and which ideal links contradict each other.

Opens are structural: an open branch is no edge. Each island gets one node of reference, the ground
where it has it; volts of the others mean something only inside their island.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import numpy as np

from knowngood.circuit.frame import OPEN, Bools, Frame, Ints
from knowngood.circuit.laws import Floats

_FEW: Final = 1000


def _islands(frame: Frame, edges: Bools) -> Ints:
    """A label for each node under each pattern of edges, (patterns, nodes); labels are unique
    over all patterns."""
    count, nodes = len(edges), len(frame.nodes)
    which, branch = np.nonzero(edges)
    apart = np.nonzero((frame.p != frame.a) | (frame.q != frame.b))[0]
    extra = np.isin(branch, apart)
    heads = np.concatenate(
        [which * nodes + frame.a[branch], (which * nodes + frame.p[branch])[extra]]
    )
    tails = np.concatenate(
        [which * nodes + frame.b[branch], (which * nodes + frame.q[branch])[extra]]
    )
    if len(heads) < _FEW:
        return _joined(count * nodes, heads.tolist(), tails.tolist()).reshape(count, nodes)
    # a slow import, and a machine at the bench seldom comes here
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    ones = np.ones(len(heads), dtype=np.int8)
    graph = coo_array((ones, (heads, tails)), shape=(count * nodes, count * nodes))
    labels: Ints = connected_components(graph, directed=False)[1]
    return labels.reshape(count, nodes)


def _joined(count: int, heads: list[int], tails: list[int]) -> Ints:
    """Labels of a small graph by union and find; below _FEW edges faster than a sparse graph."""
    parent = list(range(count))

    def find(x: int) -> int:
        while parent[x] != x:
            parent[x] = x = parent[parent[x]]
        return x

    for head, tail in zip(heads, tails, strict=True):
        parent[find(head)] = find(tail)
    return np.array([find(x) for x in range(count)], dtype=np.intp)


def patterns(masks: Bools) -> tuple[Ints, Ints]:
    """(one case of each distinct row, which of them each row is)."""
    packed = np.packbits(masks, axis=1)
    keys = np.ascontiguousarray(packed).view(np.dtype((np.void, packed.shape[1])))[:, 0]
    _, first, inverse = np.unique(keys, return_index=True, return_inverse=True)
    return first.astype(np.intp), inverse.astype(np.intp)


def ground(frame: Frame, cv: Floats, ci: Floats, rhs: Floats) -> Ints:
    """Set the rows of the nodes (in place) from those of the branches; labels (cells, nodes)."""
    count = len(frame.branches)
    first, which = patterns(cv[:, :count] != 0)
    labels = _islands(frame, cv[first, :count] != 0)
    _, start = np.unique(labels, return_index=True)
    reference = np.zeros(labels.shape, dtype=bool)
    reference.ravel()[start] = True
    zero = frame.nodes.index(frame.circuit.ground)
    reference &= labels != labels[:, [zero]]
    reference[:, zero] = True
    cv[:, count:] = reference[which]
    ci[:, count:] = ~reference[which]
    rhs[:, count:] = 0.0
    return labels[which]


def stray_draws(frame: Frame, cv: Floats, rhs: Floats, labels: Ints) -> Bools:
    """Cells in which a fixed current has no way back."""
    count = len(frame.branches)
    draws = (cv[:, :count] == 0) & (rhs[:, :count] != 0)
    apart = labels[:, frame.a] != labels[:, frame.b]
    stray: Bools = (draws & apart).any(axis=1)
    return stray


def ideal_loops(
    frame: Frame, cv: Floats, ci: Floats, rhs: Floats
) -> tuple[dict[int, str], dict[int, set[int]]]:
    """Loops of ideal links and sources, which leave their current undecided.

    Where the volts around a loop add up to nothing, one of its links is opened (in place);
    otherwise they contradict. Returns (cell -> message, cell -> branches of undecided current).
    """
    count = len(frame.branches)
    ideal = (ci[:, :count] == 0) & (cv[:, :count] != 0)
    if not ideal.any():
        return {}, {}
    first, which = patterns(ideal)
    wrong: dict[int, str] = {}
    loose: dict[int, set[int]] = {}
    for number, case in enumerate(first):
        loops = list(_loops(frame, np.nonzero(ideal[case])[0]))
        if not loops:
            continue
        for cell in np.nonzero(which == number)[0]:
            for loop in loops:
                volts = np.array([sign * rhs[cell, k] for k, sign in loop])
                if abs(volts.sum()) > 1e-9 * max(1.0, np.abs(volts).max()):
                    wrong[int(cell)] = _contradiction(frame, loop, volts)
                    break
                last = loop[0][0]
                cv[cell, last], ci[cell, last], rhs[cell, last] = OPEN
                loose.setdefault(int(cell), set()).update(k for k, _ in loop)
    return wrong, loose


def _loops(frame: Frame, links: Ints) -> Iterator[list[tuple[int, int]]]:
    """Each link that closes a loop, with the loop: (branch, direction), the closing one first."""
    near: dict[int, list[tuple[int, int, int]]] = {}
    for k in links:
        p, q = int(frame.p[k]), int(frame.q[k])
        path = _path(near, q, p)
        if path is not None:
            yield [(int(k), 1), *path]
            continue
        near.setdefault(p, []).append((q, int(k), 1))
        near.setdefault(q, []).append((p, int(k), -1))


def _path(
    near: dict[int, list[tuple[int, int, int]]], start: int, end: int
) -> list[tuple[int, int]] | None:
    came: dict[int, tuple[int, int, int]] = {start: (start, -1, 0)}
    todo = [start]
    while todo and end not in came:
        here = todo.pop()
        for there, k, sign in near.get(here, []):
            if there not in came:
                came[there] = (here, k, sign)
                todo.append(there)
    if end not in came:
        return None
    path = []
    while end != start:
        end, k, sign = came[end]
        path.append((k, sign))
    return path


def _contradiction(frame: Frame, loop: list[tuple[int, int]], volts: Floats) -> str:
    names = list(dict.fromkeys(frame.labels[k] or "the meter or a leak" for k, _ in loop))
    shown = ", ".join(names[:12])
    return (
        f"contradictory ideal sources: around the loop {shown} the volts add up to "
        f"{abs(volts.sum()):.6g} V with no ohms to take them; give one of them ohms"
    )
