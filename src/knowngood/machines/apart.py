"""Which faults the tests of a machine tell apart, and which a single reading proves.

Each forecast, blurred by an ordinary meter, becomes probabilities on a few cells; how far two
faults lie apart in a test is the total-variation distance, half the sum of the differences: 0
when no reading tells them apart, 1 when every reading does.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import combinations
from typing import Final

import numpy as np
from numpy.typing import NDArray

from knowngood.isolate.belief import JUMPY
from knowngood.isolate.forecast import Forecast, Piece
from knowngood.isolate.likelihood import Mixture
from knowngood.isolate.table import chance_to_show
from knowngood.machines.machine import Condition, Fault, Machine, Test
from knowngood.machines.table import circumstance_of
from knowngood.measure.sheet import rough_budget
from knowngood.measure.units import Quantity

Array = NDArray[np.float64]

TOLD_APART: Final = 0.25  # total-variation distance that one reading must offer; our own choice
SHOWN_OUT: Final = 0.01  # a reading this improbable shows a suspect out
PROVES: Final = 0.2  # a proof is worth naming when it comes at least this often
_BLURS: Final = (-3.0, -1.0, 0.0, 1.0, 3.0)  # cell edges around each end, in uncertainties


@dataclass(frozen=True, slots=True)
class Pair:
    """Two faults in different service parts that no test tells apart. ``test`` comes nearest to
    it, at ``distance``; None when the tests show the two alike."""

    first: str
    second: str
    test: str | None
    distance: float


@dataclass(frozen=True, slots=True)
class ProofTest:
    """The test that proves a fault most often with one reading: under every fault of other parts
    such a reading has a probability of 1 % or less (two tails, no slip). ``chance`` that the
    reading comes out so when the fault is there; no test is named below a chance of PROVES."""

    fault: str
    test: str | None
    chance: float


def shown(test: Test, fault: Fault, condition: Condition) -> Forecast:
    """What the test shows when the fault is there, shown or not: an intermittent fault is a
    mixture of its own forecast, a reading that jumps, and the good one."""
    bad = test.expect.get(fault.id, test.good)
    if fault.shows is None or fault.id not in test.expect:
        return bad
    chance = chance_to_show(fault.shows, circumstance_of(test, condition))
    if bad.yes is not None and test.good.yes is not None:
        return Forecast(yes=chance * bad.yes + (1 - chance) * test.good.yes)
    return Forecast((
        *(replace(p, share=p.share * chance * (1 - JUMPY)) for p in bad.pieces),
        Piece("unsteady", share=chance * JUMPY),
        *(replace(p, share=p.share * (1 - chance)) for p in test.good.pieces),
    ))


def untold_pairs(machine: Machine) -> tuple[Pair, ...]:
    """Pairs of faults in different service parts that no test of the machine tells apart."""
    best, which = _distances(machine)
    found = []
    for i, j in combinations(range(len(machine.faults)), 2):
        a, b = machine.faults[i], machine.faults[j]
        if set(a.parts) != set(b.parts) and best[i, j] < TOLD_APART:
            test = machine.tests[which[i, j]].id if best[i, j] > 0.01 else None
            found.append(Pair(a.id, b.id, test, round(float(best[i, j]), 3)))
    return tuple(found)


def seen_by(machine: Machine) -> dict[str, tuple[str, float]]:
    """For each fault the test in which it is farthest from a healthy machine, and how far."""
    found: dict[str, tuple[str, float]] = {f.id: ("", 0.0) for f in machine.faults}
    conditions = {c.id: c for c in machine.conditions}
    for test in machine.tests:
        named = [f for f in machine.faults if f.id in test.expect]
        if not named:
            continue
        rows = [shown(test, f, conditions[test.condition]) for f in named]
        p, _ = _cells([*rows, test.good], test.quantity)
        for row, fault in enumerate(named):
            distance = float(0.5 * np.abs(p[row] - p[-1]).sum())
            if distance > found[fault.id][1]:
                found[fault.id] = (test.id, round(distance, 3))
    return found


def proof_tests(machine: Machine) -> tuple[ProofTest, ...]:
    """For each fault with a part, the test that proves it most often with one reading."""
    found = {f.id: ProofTest(f.id, None, 0.0) for f in machine.faults if f.parts}
    conditions = {c.id: c for c in machine.conditions}
    for test in machine.tests:
        if not test.expect:
            continue
        rows = [shown(test, f, conditions[test.condition]) for f in machine.faults]
        p, extreme = _cells([*rows, test.good], test.quantity)
        for i, fault in enumerate(machine.faults):
            if fault.id not in test.expect or fault.id not in found:
                continue
            # a fault that this test lists with no part counts as well; the healthy machine too
            out = [j for j, g in enumerate(machine.faults) if not set(fault.parts) <= set(g.parts)]
            region = extreme[[*out, len(rows)]].max(axis=0) <= SHOWN_OUT
            chance = float(p[i] @ region)
            if chance > max(found[fault.id].chance, PROVES):
                found[fault.id] = ProofTest(fault.id, test.id, round(min(chance, 1.0), 3))
    return tuple(found.values())


def _distances(machine: Machine) -> tuple[Array, NDArray[np.intp]]:
    """The largest distance over the tests for each pair of faults, and the index of its test."""
    n = len(machine.faults)
    best = np.zeros((n, n))
    which = np.zeros((n, n), dtype=np.intp)
    conditions = {c.id: c for c in machine.conditions}
    for k, test in enumerate(machine.tests):
        rows = [shown(test, f, conditions[test.condition]) for f in machine.faults]
        p, _ = _cells(rows, test.quantity)
        apart = 0.5 * np.abs(p[:, None, :] - p[None, :, :]).sum(axis=2)
        which[apart > best] = k
        best = np.maximum(best, apart)
    return best, which


def _cells(rows: list[Forecast], quantity: Quantity) -> tuple[Array, Array]:
    """Probability of each cell under each row, and how extreme a reading in the middle of the
    cell is under it (two tails); both of shape (rows, cells)."""
    mixture = Mixture(rows)
    if quantity == "yes_no":
        both = np.stack([mixture.yes, 1 - mixture.yes], axis=1)
        return both, both
    edges = _edges(rows, quantity)
    aside = np.stack([mixture.over, mixture.unsteady], axis=1)
    if edges.size == 0:
        return aside, aside
    at = np.ones(edges.size)
    below = mixture.cdf(edges, _blur(quantity, edges), at)
    finite = mixture.finite()[:, None]
    inner = np.diff(np.hstack([np.zeros_like(finite), below, finite]), axis=1)
    middles = np.concatenate([edges[:1], 0.5 * (edges[1:] + edges[:-1]), edges[-1:]])
    boxes = mixture.cdf_boxes(middles, _blur(quantity, middles), np.ones(middles.size), 0.0)
    tails = np.minimum(1.0, 2.0 * np.minimum(boxes, 1.0 - boxes))
    extreme = mixture.owner @ (mixture.share[:, None] * tails)
    return (np.hstack([np.clip(inner, 0.0, 1.0), aside]), np.hstack([extreme, aside]))


def _edges(rows: list[Forecast], quantity: Quantity) -> Array:
    """Ends of all pieces with the meter's uncertainty around them, and points inside."""
    points: set[float] = set()
    for row in rows:
        for piece in row.pieces:
            if piece.kind == "around":
                spread = piece.high
                points.update(piece.low + k * spread for k in _BLURS)
            elif piece.kind == "between":
                points.update(np.linspace(piece.low, piece.high, 6).tolist())
            elif piece.kind == "log":
                points.update(np.geomspace(piece.low, piece.high, 9).tolist())
    middle = np.array(sorted(points))
    if middle.size == 0:
        return middle
    blur = _blur(quantity, middle)
    found: Array = np.unique(np.concatenate([middle + k * blur for k in _BLURS]))
    return found


def _blur(quantity: Quantity, values: Array) -> Array:
    """Standard uncertainty of an ordinary hand meter at each value, base units."""
    return np.array([max(rough_budget(quantity, float(v)).u, 1e-9) for v in values])
