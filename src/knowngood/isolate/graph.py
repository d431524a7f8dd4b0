"""Best-first search over the graph of standings, with bounds at every one of them.

A standing is a belief, the tests that still tell living faults apart, what is open, fitted and
shown out. Equal standings reached by different ways are one entry of the table. Each round
walks down from the root along the most promising steps, looks into the standings whose chance
times gap is largest, many at once, and brings their bounds back up. Every step uses up a test
or a part, so the count of those left orders the graph.
"""

from __future__ import annotations

import time
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from knowngood.isolate.bounds import Bounds
from knowngood.isolate.look import AT_ONCE, FEW, Look
from knowngood.isolate.model import Ints, Model
from knowngood.isolate.task import Bools, Floats

CYCLE = ("roll", "wide", "low")
PART_CYCLE = ("roll", "wide", "low", "high")
LARGE_CYCLE = ("roll", "high", "low")
LEAST = 0.003
WIDE = 4
MIX = 0.5
SHARP = 3.0
ALT = 0.3
PACE = 60_000
SEEDS = 20
LIFT = 4
SWEEP = 4000
SOON = 40
MOST_CELLS = 20_000_000
AT_A_TIME = 15_000  # cells of standings looked into at a time: more do not fit near the processor


class Graph:
    """Standings and their steps in growing arrays; entry 0 is the root.

    Of an entry i: ``belief[i]`` (n,), ``frame[i]``, ``avail[i]`` (T,), ``out[i]`` (n,),
    ``rank[i]``, ``end[i]`` (price of ending at once), ``lower[i]``, ``upper[i]``. Of its steps
    a (tests, then parts) and outcomes o: ``cost[i, a]``, ``chance[i, a, o]``, bounds ``low``
    and ``high`` of what follows, and the entry ``child`` there (-1: not looked into); with
    them, ``q_low`` and ``q_high`` of the step. Outcome 0 of a part is "not cured".
    """

    def __init__(self, model: Model, bounds: Bounds) -> None:
        m = self.model = model
        self.bounds = bounds
        self.look = Look(model, bounds)
        self.A = m.T + m.P
        self.count = 0
        self.some = max(8, AT_A_TIME // (self.A * m.O + 1))
        n, a, o = m.n, self.A, m.O
        self.most = max(64, MOST_CELLS // (a * o + n + 1))
        self.room = min(512, self.most)
        self.belief: Floats = np.empty((self.room, n))
        self.frame: Ints = np.empty(self.room, dtype=np.int64)
        self.avail: Bools = np.empty((self.room, m.T), dtype=bool)
        self.out: Bools = np.empty((self.room, n if m.proof else 0), dtype=bool)
        self.rank: Ints = np.empty(self.room, dtype=np.int64)
        self.end: Floats = np.empty(self.room)
        self.lower: Floats = np.empty(self.room)
        self.upper: Floats = np.empty(self.room)
        self.cost: Floats = np.empty((self.room, a))
        self.q_low: Floats = np.empty((self.room, a))
        self.q_high: Floats = np.empty((self.room, a))
        self.chance: Floats = np.empty((self.room, a, o))
        self.low: Floats = np.empty((self.room, a, o))
        self.high: Floats = np.empty((self.room, a, o))
        self.child: NDArray[np.int32] = np.empty((self.room, a, o), dtype=np.int32)
        self.examined: Bools = np.empty((self.room, a), dtype=bool)
        self.worth: Floats = np.empty((self.room, m.T))
        self.table: dict[bytes, int] = {}
        b = m.weight[None, :]
        self.add(b, np.zeros(1, dtype=np.int64), m.useful(b), m.out0[None, :] if m.proof else None)
        known = float(m.weight @ bounds.known[0])
        least = min(known + bounds.learn(m.weight), float(self.upper[0]))
        self.lower[0] = max(float(self.lower[0]), least)
        self.span = max(float(self.upper[0]), 1e-300)

    def closed(self, first: int = -1) -> bool:
        """Whether the bounds of the root, or of this step there, have met."""
        if first < 0:
            return bool(self.upper[0] - self.lower[0] <= 1e-10 * self.span)
        return bool(self.q_high[0, first] - self.q_low[0, first] <= 1e-10 * self.span)

    def _grow(self, need: int) -> None:
        if need <= self.room:
            return
        self.room = max(need, 2 * self.room)
        for name in (
            "belief", "frame", "avail", "out", "rank", "end", "lower", "upper", "cost", "q_low",
            "q_high", "chance", "low", "high", "child", "examined",
            "worth",
        ):  # fmt: skip
            old = getattr(self, name)
            new = np.empty((self.room, *old.shape[1:]), dtype=old.dtype)
            new[: self.count] = old[: self.count]
            setattr(self, name, new)

    def add(self, belief: Floats, frame: Ints, avail: Bools, out: Bools | None) -> list[int]:
        """Entries for these standings: known ones found again, new ones looked into."""
        parts = [np.round(belief, 12).view(np.uint8), frame[:, None].view(np.uint8)]
        parts.append(avail.view(np.uint8))
        if out is not None:
            parts.append(out.view(np.uint8))
        keys = np.ascontiguousarray(np.hstack(parts))
        flat, width = keys.tobytes(), keys.shape[1]
        found, new, count = [], [], self.count
        for i in range(len(belief)):
            key = flat[i * width : (i + 1) * width]
            at = self.table.setdefault(key, count)
            if at == count:
                count += 1
                new.append(i)
            found.append(at)
        if new:
            self._grow(count)
            for k in range(0, len(new), self.some):
                w = new[k : k + self.some]
                self._add(belief[w], frame[w], avail[w], None if out is None else out[w])
        return found

    def _add(self, belief: Floats, frame: Ints, avail: Bools, out: Bools | None) -> None:
        s = slice(self.count, self.count + len(belief))
        self.count = s.stop
        self.belief[s], self.frame[s], self.avail[s] = belief, frame, avail
        if out is not None:
            self.out[s] = out
        seen = self.look.steps(belief, frame, avail, out)
        self.rank[s], self.end[s] = seen.rank, seen.end
        self.cost[s], self.chance[s] = seen.cost, seen.chance
        self.low[s], self.high[s] = seen.low, seen.high
        self.lower[s], self.upper[s] = seen.lower, seen.upper
        self.child[s] = -1
        self.examined[s], self.worth[s] = seen.examined, seen.worth
        self._settle(np.arange(s.start, s.stop))

    def _settle(self, ids: Ints) -> None:
        """Bounds of entries from their steps."""
        chance, cost = self.chance[ids], self.cost[ids]
        low = cost + np.einsum("iao,iao->ia", chance, self.low[ids])
        high = cost + np.einsum("iao,iao->ia", chance, self.high[ids])
        self.q_low[ids], self.q_high[ids] = low, high
        end = self.end[ids]
        least = np.minimum(end, low.min(1, initial=np.inf))
        most = np.minimum(end, high.min(1, initial=np.inf))
        upper = np.minimum(self.upper[ids], most)
        self.upper[ids] = upper
        self.lower[ids] = np.minimum(np.maximum(self.lower[ids], least), upper)

    def _refresh(self, ids: Ints) -> None:
        child = self.child[ids]
        i, a, o = np.nonzero(child >= 0)
        if len(i):
            kid, at = child[i, a, o], ids[i]
            self.low[at, a, o] = self.lower[kid]
            self.high[at, a, o] = self.upper[kid]
        self._settle(ids)

    def refresh_all(self) -> None:
        """Bring every bound up to date."""
        order = np.argsort(self.rank[: self.count], kind="stable")
        for ids in np.split(order, np.flatnonzero(np.diff(self.rank[order])) + 1):
            self._refresh(ids)

    def round(self, by: str, most: int, first: int = -1) -> int:
        """One round; how many outcomes were followed further (0: none left on this way).

        ``first``: the step to start with at the root, whatever its price.
        """
        with np.errstate(invalid="ignore"):  # no gap where both bounds are infinite
            walked, (i, a, o) = self._walk(by, most, first)
        seen = self.examined[i, a]
        if not seen.all():
            self.examine(i[~seen], a[~seen])
        if seen.any():
            i, a, o = i[seen], a[seen], o[seen]
            self.child[i, a, o] = self.add(*self.after(i, a, o))
        for ids in reversed(walked):
            self._refresh(ids)
        return len(seen)

    def examine(self, i: Ints, a: Ints) -> None:
        """Look at the outcomes of tests that so far had only wide bounds."""
        ids, at = np.unique(i, return_inverse=True)
        out = self.out[ids] if self.model.proof else None
        self.chance[i, a], self.low[i, a], self.high[i, a] = self.look.examine(
            self.belief[ids], self.frame[ids], self.avail[ids], out, at, a
        )
        self.examined[i, a] = True

    def _walk(self, by: str, most: int, first: int) -> tuple[list[Ints], tuple[Ints, Ints, Ints]]:
        """Entries walked through, by falling rank, and the outcomes to follow further."""
        tiny = 1e-10 * self.span
        reach = np.zeros(self.count)
        reach[0] = 1.0
        on = np.zeros(self.count, dtype=bool)
        on[0] = True
        waiting: dict[int, list[Ints]] = {int(self.rank[0]): [np.array([0])]}
        walked: list[Ints] = []
        found: list[tuple[Ints, Ints, Ints, Floats]] = []
        while waiting:
            top = max(waiting)
            here = waiting.pop(top)
            ids = self._once(here)
            if first >= 0 and not walked:
                at, a, share = ids, np.array([first]), np.ones(1)
                follow: Bools | None = np.ones(1, dtype=bool)
            else:
                ids = ids[self.upper[ids] - self.lower[ids] > tiny]
                if not len(ids):
                    continue
                at, a, share, follow = self._choose(ids, by, tiny, on[ids])
            walked.append(ids)
            p = self.chance[at, a] * (reach[at] * share)[:, None]
            child = self.child[at, a]
            gap = p * (self.high[at, a] - self.low[at, a])
            known = child >= 0
            i, o = np.nonzero(known & (p > 0))
            if len(i):
                kid = child[i, o].astype(np.int64)
                np.add.at(reach, kid, p[i, o])
                if follow is not None:
                    on[kid[follow[i]]] = True
                ranks = self.rank[kid]
                for r in set(ranks.tolist()):
                    waiting.setdefault(r, []).append(kid[ranks == r])
            i, o = np.nonzero(~known & (gap > tiny * 1e-3))
            if len(i):
                found.append((at[i], a[i], o, gap[i, o]))
        if not found:
            none = np.empty(0, dtype=np.int64)
            return walked, (none, none, none)
        i, a, o, gap = (np.concatenate(x) for x in zip(*found, strict=True))
        order = np.flatnonzero(gap >= LEAST * gap.max())
        if len(order) > 4 * most:
            order = order[np.argpartition(-gap[order], most)[:most]]
        order = order[np.argsort(-gap[order], kind="stable")[:most]]
        return walked, (i[order], a[order], o[order])

    def _once(self, some: list[Ints]) -> Ints:
        """The entries in order, each once."""
        ids = np.concatenate(some) if len(some) > 1 else some[0]
        if self.count > 50 * len(ids):
            return np.unique(ids)
        here = np.zeros(self.count, dtype=bool)
        here[ids] = True
        return np.flatnonzero(here)

    def _choose(
        self, ids: Ints, by: str, tiny: float, on: Bools
    ) -> tuple[Ints, Ints, Floats, Bools | None]:
        """(entry, step, share of attention) of the steps worth following from entries."""
        low = self.q_low[ids]
        if by == "low":
            return ids, low.argmin(1), np.ones(len(ids)), None
        high, top = self.q_high[ids], self.upper[ids]
        dead = low >= top[:, None]
        if by == "gain":
            worth = np.where(dead[:, : self.model.T], -1.0, self.worth[ids])
            pick = worth.argmax(1)
            none = worth[np.arange(len(ids)), pick] <= 0
            return ids, np.where(none, low.argmin(1), pick), np.ones(len(ids)), None
        if by == "all":
            i, j = np.nonzero(~dead & np.isfinite(low))
            return ids[i], j, np.ones(len(i)), None
        best = np.where(dead, np.inf, high).argmin(1)
        if by == "high":
            return ids, best, np.ones(len(ids)), None
        who = np.flatnonzero(on)
        width = np.fmax(top - self.lower[ids], tiny)
        if by == "roll":
            score = np.where(dead, np.inf, MIX * low + (1 - MIX) * np.minimum(high, 1e300))[who]
            score[np.arange(len(who)), best[who]] = np.inf
            least = np.minimum(score.min(1, keepdims=True), 1e300)
            share = np.exp(-SHARP * (score - least) / width[who, None])
            i, j = np.nonzero(np.isfinite(score) & (share > 0.05))
            more, steps, share = who[i], j, ALT * share[i, j]
        else:
            k = min(WIDE, low.shape[1])
            score = np.where(dead, np.inf, MIX * low + (1 - MIX) * np.minimum(high, 1e300))
            steps = np.argpartition(score, k - 1, axis=1)[:, :k]
            mine = np.take_along_axis(score, steps, 1)
            i, j = np.nonzero(np.isfinite(mine))
            least = np.minimum(mine.min(1, keepdims=True), 1e300)
            share = np.exp(-SHARP * (mine - least) / width[:, None])
            return ids[i], steps[i, j], share[i, j], None
        follow = np.concatenate([on, np.zeros(len(more), dtype=bool)])
        return (
            np.concatenate([ids, ids[more]]),
            np.concatenate([best, steps]),
            np.concatenate([np.ones(len(ids)), share]),
            follow,
        )

    def after(self, i: Ints, a: Ints, o: Ints) -> tuple[Floats, Ints, Bools, Bools | None]:
        """Standings after outcome o of step a of entry i."""
        m, bounds = self.model, self.bounds
        belief, avail, frame = self.belief[i], self.avail[i], self.frame[i]
        out = self.out[i] if m.proof else None
        w = np.flatnonzero(a < m.T)
        aw = a[w]
        belief[w] *= m.rows[aw, o[w]]
        avail[w, aw] = False
        if out is not None and m.shows is not None:
            out[w] |= m.shows[aw, o[w]]
        after = frame.copy()
        after[w] = bounds.test_frame[frame[w], aw]
        k = np.flatnonzero(a >= m.T)
        if len(k):
            after[k] = bounds.after_parts(frame[k], a[k] - m.T)
            belief[k] *= ~bounds.cured[after[k]]
        belief /= belief.sum(1, keepdims=True)
        alive = belief > 0
        less = np.flatnonzero((alive != (self.belief[i] > 0)).any(1))
        if len(less) and m.T:
            avail[less] &= m.useful(belief[less])
        if out is not None:
            out &= alive
        return belief, after, avail, out


def search(
    graph: Graph, *, until: float, max_expansions: int | None, most: int = 128, first: int = -1,
    clock: Callable[[], float] = time.perf_counter,
) -> None:  # fmt: skip
    """Rounds until closed, the clock reads ``until`` or the count of entries is reached.

    ``first``: close the bounds of this step at the root instead of the root's own.
    """
    turn = idle = 0
    thin = False
    m = graph.model
    many = m.T > FEW
    cycle = LARGE_CYCLE if many else CYCLE if m.cured else PART_CYCLE
    size = (AT_ONCE if many else m.T) * m.O * m.n + m.P * m.n * (m.P > 40) + 1
    most = max(4 if m.n > 60 else 16, min(most, PACE // size))
    seeds = SEEDS if many else 0
    last = 0.0
    while idle < 2 * len(cycle):
        began = clock()
        if began + last > until or graph.closed(first):
            break
        room = (graph.most if max_expansions is None else max_expansions) - graph.count
        if room <= 0:
            break
        by = cycle[turn % len(cycle)]
        if first < 0 and turn < seeds:
            by = "low" if turn % LIFT == LIFT - 1 else "gain"
        if turn >= SOON and (graph.count > SWEEP or thin) and turn % 4 == 0:
            by = "all"
        batch = min(SWEEP, 8 * most) if by == "all" else most
        followed = graph.round(by, min(batch, room), first)
        thin = followed < most // 2
        if followed:
            idle = 0
        else:
            idle += 1
            graph.refresh_all()
        turn += 1
        last = clock() - began
    graph.refresh_all()
