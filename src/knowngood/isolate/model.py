"""A task as arrays for the bounded search: merged faults, rows of tests, covers, cure sets."""

from __future__ import annotations

import numpy as np
import numpy.ma  # np.unique loads it at its first call: 50 ms, not to be spent while planning
from numpy.typing import NDArray

from knowngood.isolate.task import Bools, Floats, Part, Task, Test

Ints = NDArray[np.int64]


class Model:
    """Arrays of one task. n faults (those alike in all rows and cure set are merged), T unused
    tests of at most O outcomes, P unfitted parts, S cure sets.

    ``weight`` (n,); ``rows`` (T, O, n), padded with zeros; ``shows`` the same, bool, or None
    when proof plays no role; ``sets`` (n, S) 0/1; ``wants`` (n, P): the parts still needed;
    ``curable`` (n,): has parts at all; ``floor`` (n,): what a known fault costs to stop on.
    """

    def __init__(self, task: Task) -> None:
        self.task = task
        self.cured = task.goal == "cured"
        ways: dict[tuple[int, int], int] = {}  # tests that need the same covers stand side by side
        for t in task.tests:
            ways.setdefault((task.must_open(t.needs), task.cover_mask(t.closed)), len(ways))
        unused = [t for t in task.tests if t.id not in task.used]
        unused.sort(key=lambda t: ways[task.must_open(t.needs), task.cover_mask(t.closed)])
        self.tests = tuple(unused)
        self.parts = tuple(p for p in task.parts if p.id not in task.fitted) if self.cured else ()
        self.T, self.P = len(self.tests), len(self.parts)
        self.O = max((len(t.outcomes) for t in self.tests), default=1)
        self.give_up = task.give_up if self.cured else None
        self.proof = not self.cured and task.unproven_price > 0
        self.wrong = task.wrong_price
        self._merge()
        self._cure_sets()
        self._steps()
        few = self.T * self.n * self.n <= 20_000_000
        self.differ = self._differing() if few else None
        self.gate = self._gates()

    def _merge(self) -> None:
        task, alive = self.task, np.flatnonzero(self.task.weights > 0)
        rows = np.zeros((self.T, self.O, len(alive)))
        shows = np.zeros(rows.shape, dtype=bool)
        for i, t in enumerate(self.tests):
            rows[i, : len(t.outcomes)] = t.given[:, alive]
            if t.excludes is not None:
                shows[i, : len(t.outcomes)] = t.excludes[:, alive]
        rows /= np.where(rows.sum(1, keepdims=True) > 0, rows.sum(1, keepdims=True), 1.0)
        rows[rows < 1e-200] = 0.0
        out = np.zeros(len(alive), dtype=bool)
        if task.excluded0 is not None:
            out = task.excluded0[alive]
        label = task.set_of[alive]
        first: dict[tuple[int, bool, bytes, bytes], int] = {}
        group = np.empty(len(alive), dtype=np.int64)
        for f in range(len(alive)):
            seen = shows[:, :, f].tobytes() if self.proof else b""
            key = (int(label[f]), bool(out[f]), rows[:, :, f].tobytes(), seen)
            group[f] = first.setdefault(key, len(first))
        lead = np.array([int(np.flatnonzero(group == g)[0]) for g in range(len(first))])
        self.n = len(lead)
        mass: Floats = task.weights[alive]
        self.weight: Floats = np.bincount(group, weights=mass, minlength=self.n).astype(float)
        self.rows: Floats = np.ascontiguousarray(rows[:, :, lead])
        self.shows: Bools | None = np.ascontiguousarray(shows[:, :, lead]) if self.proof else None
        self.out0: Bools = out[lead]
        self.lead: Ints = alive[lead]
        self.label: Ints = label[lead]

    def _cure_sets(self) -> None:
        task = self.task
        self.set_ids: Ints = np.unique(self.label)
        self.S = len(self.set_ids)
        self.sets: Floats = (self.label[:, None] == self.set_ids[None, :]).astype(float)
        self.curable: Bools = task.curable[self.lead]
        self.inside: Floats = task.inside[np.ix_(self.lead, self.set_ids)].astype(float)
        at = {p.id: i for i, p in enumerate(self.parts)}
        self.wants: Bools = np.zeros((self.n, self.P), dtype=bool)
        for i, f in enumerate(self.lead):
            for p in task.faults[f].parts:
                if p in at:
                    self.wants[i, at[p]] = True
        sp = np.zeros(len(task.cure_sets)) if task.stop_price is None else task.stop_price
        self.stop_extra: Floats = sp[self.set_ids]
        wrong = np.inf if self.wrong is None else self.wrong
        other = wrong + float(sp.min()) if np.isfinite(wrong) else np.inf
        self.floor: Floats = np.minimum(self.stop_extra[np.argmax(self.sets, 1)], other)
        self.stop_floor = bool(np.any(self.floor > 0))

    def _steps(self) -> None:
        task = self.task
        steps: tuple[Test | Part, ...] = (*self.tests, *self.parts)
        kinds: dict[tuple[int, int], int] = {}
        self.way: Ints = np.array(
            [
                kinds.setdefault((task.must_open(s.needs), task.cover_mask(s.closed)), len(kinds))
                for s in steps
            ],
            dtype=np.int64,
        )
        self.ways = list(kinds)
        first = np.flatnonzero(np.diff(self.way[: self.T], prepend=-1))
        self.way_starts: Ints = first
        self.C = len(first)
        self.price: Floats = np.array([s.price for s in steps], dtype=float)
        self.open_ids: dict[int, int] = {task.cover_mask(task.opened): 0}
        self.opens: list[int] = list(self.open_ids)
        self._reach: dict[int, tuple[Floats, Ints]] = {}
        covers = range(len(task.covers))
        self._wants = [
            np.array([[bool(w[k] >> i & 1) for i in covers] for w in self.ways], dtype=bool)
            .reshape(len(self.ways), len(covers)) for k in (0, 1)
        ]  # fmt: skip
        self._opening = np.array([c.price for c in task.covers])
        self._closing = np.array([c.close_price for c in task.covers])

    def reach(self, open_id: int) -> tuple[Floats, Ints]:
        """(T + P,) price of each step with its covers from here, and what is open then."""
        if open_id not in self._reach:
            now = self.opens[open_id]
            bit = 1 << np.arange(len(self.task.covers), dtype=object)
            is_open = (now & bit).astype(bool)
            want, shut = self._wants
            price = (want & ~is_open) @ self._opening + (shut & is_open & ~want) @ self._closing
            to = np.zeros(len(self.ways), dtype=np.int64)
            for w, (need, closed) in enumerate(self.ways):
                then = (now | need) & ~closed
                if then not in self.open_ids:
                    self.open_ids[then] = len(self.opens)
                    self.opens.append(then)
                to[w] = self.open_ids[then]
            self._reach[open_id] = (self.price + price[self.way], to[self.way])
        return self._reach[open_id]

    def _differing(self) -> Bools:
        """(T, n, n): whether a test can tell two faults apart, or shows one of them out."""
        apart = np.zeros((self.T, self.n, self.n), dtype=bool)
        for o in range(self.O):
            apart |= self.rows[:, o, :, None] != self.rows[:, o, None, :]
        if self.shows is not None:
            can = np.asarray(np.any(self.shows & (self.rows > 0), axis=1))
            apart |= can[:, :, None] | can[:, None, :]
        return apart

    def _gates(self) -> Bools | None:
        """(T, T): the first must wait for the second, itself or by way of others; None: no gate."""
        at = {t.id: i for i, t in enumerate(self.tests)}
        gate = np.zeros((self.T, self.T), dtype=bool)
        for i, t in enumerate(self.tests):
            gate[i, [at[q] for q in t.after if q in at]] = True
        if not gate.any():
            return None
        while (more := gate | ((gate.astype(np.int64) @ gate) > 0)).sum() > gate.sum():
            gate = more
        return gate

    def ready(self, avail: Bools) -> Bools:
        """(B, T) tests left -> those of them that wait for none of the others."""
        if self.gate is None:
            return avail
        return np.asarray(avail & ~((avail.astype(np.int64) @ self.gate.T) > 0))

    def useful(self, belief: Floats) -> Bools:
        """(B, n) beliefs -> (B, T): tests that still tell living faults apart, and those that such
        a test waits for."""
        telling = self._telling(belief)
        if self.gate is not None:
            telling |= (telling.astype(np.int64) @ self.gate) > 0
        return telling

    def _telling(self, belief: Floats) -> Bools:
        alive = belief > 0
        if self.differ is None:
            out = np.zeros((len(belief), self.T), dtype=bool)
            for b, live in enumerate(alive):
                rows = self.rows[:, :, live]
                out[b] = (rows.max(2) > rows.min(2)).any(1)
                if self.shows is not None:
                    out[b] |= (self.shows[:, :, live] & (rows > 0)).any((1, 2))
            return out
        first = alive.argmax(1)
        return np.asarray((self.differ[:, first, :] & alive).any(2).T)

    def stops(self, belief: Floats, out: Bools | None) -> Floats:
        """(..., n) beliefs, what is shown out -> (..., S) price of stopping on each set now."""
        share = belief @ self.sets
        if self.wrong is None:
            alone = ((belief > 0).astype(float) @ self.sets > 0).sum(-1, keepdims=True) == 1
            return np.where(alone & (share > 0), self.stop_extra, np.inf)
        price = self.wrong * np.maximum(1.0 - share, 0.0) + self.stop_extra
        if out is not None:
            standing = ((belief > 0) & self.curable & ~out).astype(float)
            open_ = standing.sum(-1, keepdims=True) - standing @ self.inside > 0.5
            believed = belief @ self.inside
            price = price + self.task.unproven_price * (open_ | (believed < self.task.proof_floor))
        return np.asarray(price)
