"""Rows to volts and amps, for many cells at once: directly, or as updates of one inverse.

Curved branches (diodes, lamps) are solved by Newton's method on tangents, shortened by
`Curves.limited`, all cells together until each has settled.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from knowngood.circuit.frame import Bools, Frame, Ints
from knowngood.circuit.laws import Floats

Method = Literal["direct", "update"]

MOST_STEPS: Final = 200
SPARSE: Final = 100
"""Unknowns above which a cell is solved by itself, sparse, not in a stack of full matrices."""
_SETTLED: Final = 1e-10
_CHUNK: Final = 8_000_000  # numbers in one stack of matrices


@dataclass(slots=True)
class Solved:
    """What the cells show at some rows: volts and amps, each (cells, rows); and which settled."""

    volts: Floats
    amps: Floats
    settled: Bools


def solve_direct(
    frame: Frame, cv: Floats, ci: Floats, rhs: Floats, curved: Bools, rows: Ints
) -> Solved:
    """One stacked solve of the whole matrices. `rows` (cells, r) or (r,): where to look."""
    count, n = rhs.shape
    rows = np.broadcast_to(rows, (count, rows.shape[-1]))
    out = Solved(np.empty(rows.shape), np.empty(rows.shape), np.ones(count, dtype=bool))
    for part in _chunks(count, n * n):
        x, settled = _direct(frame, cv[part], ci[part], rhs[part], curved[part])
        volts, amps = _seen(frame, x.T)
        out.volts[part] = np.take_along_axis(volts.T, rows[part], axis=1)
        out.amps[part] = np.take_along_axis(amps.T, rows[part], axis=1)
        out.settled[part] = settled
    return out


def _seen(frame: Frame, x: Floats) -> tuple[Floats, Floats]:
    """phi x and psi x for the columns of x, (n, k) each, without the zeros of phi and psi."""
    nodes = len(frame.nodes)
    volts = np.concatenate([x[frame.p] - x[frame.q], x[:nodes]])
    return volts, np.concatenate([x[nodes:], frame.leaving @ x[nodes:]])


def _direct(
    frame: Frame, cv: Floats, ci: Floats, rhs: Floats, curved: Bools
) -> tuple[Floats, Bools]:
    bent = frame.curves.branch

    def solve(cells: Ints, tangents: tuple[Floats, Floats, Floats] | None) -> Floats:
        c, i, r = cv[cells], ci[cells], rhs[cells]
        if tangents is not None:
            use = curved[cells]
            for rows, new in zip((c, i, r), tangents, strict=True):
                rows[:, bent] = np.where(use, new, rows[:, bent])
        if rhs.shape[1] > SPARSE:
            each = zip(c, i, r, strict=True)
            return np.array([_solve_sparse(frame, *one) for one in each])
        matrix = c[:, :, None] * frame.phi - i[:, :, None] * frame.psi
        x = np.asarray(np.linalg.solve(matrix, r[:, :, None])[:, :, 0], dtype=np.float64)
        volts, amps = _seen(frame, x.T)  # one refinement, as in _solve_sparse
        rest = r - (c * volts.T - i * amps.T)
        x += np.linalg.solve(matrix, rest[:, :, None])[:, :, 0]
        return x

    def volts(x: Floats, cells: Ints) -> Floats:
        return x[:, frame.p[bent]] - x[:, frame.q[bent]]

    return _newton(frame, len(rhs), rhs.shape[1], curved, solve, volts)


def _newton(
    frame: Frame,
    count: int,
    width: int,
    curved: Bools,
    solve: Callable[[Ints, tuple[Floats, Floats, Floats] | None], Floats],
    volts: Callable[[Floats, Ints], Floats],
) -> tuple[Floats, Bools]:
    """Solutions (cells, width) and which cells settled."""
    every = np.arange(count)
    if not curved.any():
        return solve(every, None), np.ones(count, dtype=bool)
    x = np.empty((count, width))
    v = np.zeros((count, curved.shape[1]))
    step = np.full(count, np.inf)
    todo = every
    for _ in range(MOST_STEPS):
        x[todo] = solve(todo, frame.curves.rows(v[todo]))
        new = np.where(curved[todo], volts(x[todo], todo), 0.0)
        short = frame.curves.limited(new, v[todo])
        gap = np.maximum(np.abs(short - v[todo]), np.abs(new - short)) / (1 + 0.1 * np.abs(new))
        v[todo] = short
        step[todo] = gap.max(axis=1)
        todo = todo[step[todo] > _SETTLED]
        if not len(todo):
            break
    return x, step < 1e-6


@dataclass(slots=True)
class Base:
    """One state of the circuit without sources: its rows, and what every row sees of every column
    of the inverse, (n, n) each."""

    cv: Floats
    ci: Floats
    phi_m: Floats
    psi_m: Floats


def base(frame: Frame, cv: Floats, ci: Floats) -> Base:
    """Invert one cell, rows (n,) each, refined once as in `_solve_sparse`; full, because all of the
    inverse is wanted. Raises numpy's LinAlgError if it has none."""
    whole = cv[:, None] * frame.phi - ci[:, None] * frame.psi
    inverse = np.asarray(np.linalg.inv(whole), dtype=np.float64)
    volts, amps = _seen(frame, inverse)
    inverse += inverse @ (np.eye(len(cv)) - (cv[:, None] * volts - ci[:, None] * amps))
    return Base(cv, ci, *_seen(frame, inverse))


def _solve_sparse(frame: Frame, cv: Floats, ci: Floats, rhs: Floats) -> Floats:
    """One cell, rhs (n,) or (n, k): sparse LU with partial pivoting, refined once, which makes
    every row hold to the last digits of its own terms (Skeel 1980); matters where a node hangs on
    the leak of a diode."""
    try:
        from scipy.sparse.linalg import splu  # a slow import, for large circuits only

        factors = splu(frame.sparse.matrix(cv, ci))
    except RuntimeError as error:
        raise np.linalg.LinAlgError(str(error)) from error
    x: Floats = factors.solve(rhs)
    volts, amps = _seen(frame, x)
    rows = (slice(None), None) if rhs.ndim == 2 else slice(None)
    x += factors.solve(rhs - (cv[rows] * volts - ci[rows] * amps))
    return x


def solve_update(
    frame: Frame,
    start: Base,
    cv: Floats,
    ci: Floats,
    rhs: Floats,
    curved: Bools,
    rows: Ints,
) -> Solved:
    """Only the rows K that differ from `start`, k of them, sources included: x = M[:, K] w, where w
    makes these rows hold (a k x k system; Woodbury 1950). Curved rows are always among them."""
    count = len(rhs)
    rows = np.broadcast_to(rows, (count, rows.shape[-1]))
    bent = frame.curves.branch
    differs = (cv != start.cv) | (ci != start.ci) | (rhs != 0)
    rank = np.where(differs, 0, 1)  # rows as they were fill up where a cell has fewer
    rank[:, bent] = 2
    most = int((rank == 0).sum(axis=1).max(initial=0))
    order = np.argsort(rank, axis=1, kind="stable")[:, :most]
    picked = np.concatenate([np.broadcast_to(bent, (count, len(bent))), order], axis=1)
    out = Solved(np.empty(rows.shape), np.empty(rows.shape), np.ones(count, dtype=bool))
    k = picked.shape[1]
    for part in _chunks(count, 3 * k * k + 2 * rows.shape[1] * k):
        at = picked[part]
        w, settled = _update(frame, start, cv[part], ci[part], rhs[part], curved[part], at)
        look = rows[part]
        for seen, sums in ((out.volts, start.phi_m), (out.amps, start.psi_m)):
            reach = sums[look[:, :, None], at[:, None, :]]
            seen[part] = np.einsum("crk,ck->cr", reach, w)
        out.settled[part] = settled
    return out


def _update(
    frame: Frame,
    start: Base,
    cv: Floats,
    ci: Floats,
    rhs: Floats,
    curved: Bools,
    picked: Ints,
) -> tuple[Floats, Bools]:
    count, k = picked.shape
    if k == 0:
        return np.zeros((count, 0)), np.ones(count, dtype=bool)
    each = np.arange(count)[:, None]
    volts_m = start.phi_m[picked[:, :, None], picked[:, None, :]]
    amps_m = start.psi_m[picked[:, :, None], picked[:, None, :]]
    cv, ci, rhs = cv[each, picked], ci[each, picked], rhs[each, picked]
    bent = len(frame.curves.branch)
    if not bent:
        matrix = cv[:, :, None] * volts_m - ci[:, :, None] * amps_m
        w = np.linalg.solve(matrix, rhs[:, :, None])[:, :, 0]
        return np.asarray(w, dtype=np.float64), np.ones(count, dtype=bool)
    # The straight rows are solved once, for the rest and for each curved row: w = y - x w_curved.
    c, i, r = cv[:, bent:, None], ci[:, bent:, None], rhs[:, bent:, None]
    straight = c * volts_m[:, bent:] - i * amps_m[:, bent:]
    right = np.concatenate([straight[:, :, :bent], r], axis=2)
    found = np.linalg.solve(straight[:, :, bent:], right)
    x, y = found[:, :, :bent], found[:, :, bent:]
    volts_b, volts_0 = _reduced(volts_m[:, :bent], x, y)
    amps_b, amps_0 = _reduced(amps_m[:, :bent], x, y)

    def solve(cells: Ints, tangents: tuple[Floats, Floats, Floats] | None) -> Floats:
        c, i, r = cv[cells, :bent], ci[cells, :bent], rhs[cells, :bent]
        if tangents is not None:
            use = curved[cells]
            c, i, r = (np.where(use, new, old)
                       for new, old in zip(tangents, (c, i, r), strict=True))  # fmt: skip
        matrix = c[:, :, None] * volts_b[cells] - i[:, :, None] * amps_b[cells]
        rest = r - (c * volts_0[cells] - i * amps_0[cells])
        return np.asarray(np.linalg.solve(matrix, rest[:, :, None])[:, :, 0], dtype=np.float64)

    def volts(w: Floats, cells: Ints) -> Floats:
        return np.asarray(volts_0[cells] + (volts_b[cells] @ w[:, :, None])[:, :, 0])

    w, settled = _newton(frame, count, bent, curved, solve, volts)
    return np.concatenate([w, (y - x @ w[:, :, None])[:, :, 0]], axis=1), settled


def _reduced(seen: Floats, x: Floats, y: Floats) -> tuple[Floats, Floats]:
    """What curved rows see (cells, d, k) as sums of the curved columns alone (cells, d, d), and
    what they see without them (cells, d)."""
    bent = x.shape[2]
    rest = seen[:, :, bent:]
    return seen[:, :, :bent] - rest @ x, (rest @ y)[:, :, 0]


def _chunks(count: int, numbers: int) -> Iterator[slice]:
    size = max(1, _CHUNK // max(numbers, 1))
    for begin in range(0, count, size):
        yield slice(begin, begin + size)
