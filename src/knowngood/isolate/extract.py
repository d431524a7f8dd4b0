"""From the graph of standings to a plan: the cheapest step known at each, down to its leaves."""

from __future__ import annotations

import numpy as np

from knowngood.isolate.fitting import fit_orders
from knowngood.isolate.graph import Graph
from knowngood.isolate.model import Ints
from knowngood.isolate.policy import CURED, NOT_CURED, NOTHING, Node
from knowngood.isolate.task import Bools, Floats

Found = tuple[Node, float]
Key = tuple[int, int, int]


class Extract:
    """Plans and their exact prices from the entries of one graph."""

    def __init__(self, graph: Graph) -> None:
        self.g = graph
        self.m = graph.model
        self.done: dict[int, Found] = {}
        self.ends: dict[Key, Found] = {}
        self.took: dict[int, int] = {}  # entry -> the step of the plan there

    def entry(self, i: int) -> Found:
        """The plan from entry i, and its exact expected price."""
        if not self.done and not self.ends:
            self._prepare(i)
        if i not in self.done:
            self.done[i] = self._entry(i)
        return self.done[i]

    def _entry(self, i: int) -> Found:
        g = self.g
        node, price = self.ends.get((i, -1, -1)) or self.leaf(
            g.belief[i], int(g.frame[i]), g.avail[i], g.out[i] if self.m.proof else None
        )
        if not g.A:
            return node, price
        q = g.q_high[i]
        a = int(q.argmin())
        if q[a] < price - 1e-12 * (1.0 + price):
            better, lower = self.step(i, a)
            if lower < price:
                self.took[i] = a
                return better, lower
        return node, price

    def proof_lost(self) -> Floats:
        """(T,) what it costs more to read a test first and then go on by the plan from entry 0 as
        if it had not been read: its answer may leave too little belief in a part that the plan
        stops on as proven. (What is shown out stays so, and the chance of naming the wrong part
        is the same on average.) Only after `entry`."""
        m = self.m
        lost = np.zeros(m.T)
        if not m.proof or m.wrong is None or not m.T:
            return lost
        belief, out, avail, reach = self._stops()
        price = m.wrong * (1.0 - belief @ m.sets) + m.stop_extra
        stop = m.stops(belief, out)
        best, who = stop.argmin(1), np.arange(len(belief))
        sure = np.flatnonzero(stop[who, best] < price[who, best] + m.task.unproven_price / 2)
        inside = belief[sure] * m.inside[:, best[sure]].T
        rows = m.rows.reshape(m.T * m.O, m.n).T
        p = belief[sure] @ rows
        gone = np.where(inside @ rows < m.task.proof_floor * p, p, 0.0)
        gone = gone.reshape(len(sure), m.T, m.O).sum(2) * avail[sure]
        return np.asarray(m.task.unproven_price * (reach[sure] @ gone))

    def _stops(self) -> tuple[Floats, Bools, Bools, Floats]:
        """Where the plan from entry 0 stops: belief (L, n), shown out (L, n), tests not read and
        of use yet (L, T), and how often it comes there (L,)."""
        g = self.g
        chance: dict[int, float] = {0: 1.0}
        found, todo = [], [0]
        while todo:
            i = todo.pop()
            a = self.took.get(i, -1)
            kids = g.child[i, a].tolist() if a >= 0 else []
            found.append((i, a, kids))
            new = [k for k in kids if k >= 0 and k not in chance]
            chance.update(dict.fromkeys(new, 0.0))
            todo += new
        found.sort(key=lambda x: -int(g.rank[x[0]]))  # every step takes it down
        own, keys, after = [], [], []
        for i, a, kids in found:
            if a < 0:
                own.append(i)
            for o, p in enumerate(g.chance[i, a].tolist() if a >= 0 else []):
                if kids[o] >= 0:
                    chance[kids[o]] += chance[i] * p
                elif p > 0:
                    keys.append((i, a, o))
                    after.append(chance[i] * p)
        ids = np.array(own, dtype=np.int64)
        belief, out, avail = g.belief[ids], g.out[ids], g.avail[ids]
        if keys:
            b, _, v, shown = g.after(*np.array(keys).T)
            assert shown is not None
            belief, avail = np.vstack([belief, b]), np.vstack([avail, v])
            out = np.vstack([out, shown])
        return belief, out, avail, np.array([*(chance[i] for i in own), *after])

    def step(self, i: int, a: int) -> Found:
        """The plan that starts with step a at entry i."""
        g, m = self.g, self.m
        if not g.examined[i, a]:
            g.examine(np.array([i]), np.array([a]))
        price = float(g.cost[i, a])
        then: list[tuple[str, Node]] = []
        if a >= m.T:
            part = m.parts[a - m.T].id
            rest = float(g.chance[i, a, 0])
            kid = int(g.child[i, a, 0])
            if rest > 0 and kid < 0:
                child = self.ends.get((i, a, 0)) or self._after(i, a, 0)
            elif rest > 0:
                child = self.entry(kid)
            if np.any((g.belief[i] > 0) & g.bounds.gone[g.frame[i], a - m.T]):
                fitted = set(m.task.fitted) | {part}
                fitted |= {m.parts[k].id for k in np.flatnonzero(g.bounds.fitted[g.frame[i]])}
                then.append((CURED, Node("stop", parts=m.task.set_key(fitted))))
            if rest > 0:
                price += rest * child[1]
                then.append((NOT_CURED, child[0]))
            return Node("part", part, then=tuple(then)), price
        test = m.tests[a]
        for o, name in enumerate(test.outcomes):
            p = float(g.chance[i, a, o])
            if p <= 0:
                continue
            kid = int(g.child[i, a, o])
            if kid >= 0:
                child = self.entry(kid)
            else:
                child = self.ends.get((i, a, o)) or self._after(i, a, o)
            price += p * child[1]
            then.append((name, child[0]))
        return Node("test", test.id, then=tuple(then)), price

    def _after(self, i: int, a: int, o: int) -> Found:
        """Without looking further after outcome o of step a of entry i."""
        belief, frame, avail, out = self.g.after(np.array([i]), np.array([a]), np.array([o]))
        return self.leaf(belief[0], int(frame[0]), avail[0], None if out is None else out[0])

    def leaf(self, belief: Floats, frame: int, avail: Bools, out: Bools | None) -> Found:
        """Without looking further: stop, give up, or fit in the best order known."""
        shown = None if out is None else out[None]
        node, price = self._leaves(belief[None], np.array([frame]), shown)[0]
        return (node, price) if np.isfinite(price) else self._separate(belief, frame, avail)

    def _leaves(self, belief: Floats, frame: Ints, out: Bools | None) -> list[Found]:
        """The same for many beliefs (L, n) at once; price inf where one cannot end yet."""
        m = self.m
        if m.cured:
            return fit_orders(self.g.bounds, belief, frame)
        prices = m.stops(belief, out)
        best = prices.argmin(1)
        nodes = [Node("stop", parts=m.task.cure_sets[int(s)]) for s in m.set_ids]
        least = prices[np.arange(len(best)), best]
        return [(nodes[k], p) for k, p in zip(best.tolist(), least.tolist(), strict=True)]

    def _prepare(self, root: int) -> None:
        """The ends of all branches that the plan may have, in one go."""
        g, m = self.g, self.m
        keys: list[Key] = []
        todo, seen = [root], {root}
        own: list[int] = []
        while todo:
            i = todo.pop()
            own.append(i)
            if not g.A:
                continue
            a = int(g.q_high[i].argmin())
            if g.q_high[i, a] > g.upper[i]:
                continue
            if not g.examined[i, a]:
                g.examine(np.array([i]), np.array([a]))
            chance = g.chance[i, a].tolist()
            for o, kid in enumerate(g.child[i, a].tolist()):
                if kid < 0 and chance[o] > 0:
                    keys.append((i, a, o))
                elif kid >= 0 and kid not in seen:
                    seen.add(kid)
                    todo.append(kid)
        ids = np.array(own)
        found = self._leaves(g.belief[ids], g.frame[ids], g.out[ids] if m.proof else None)
        ends = list(zip([(i, -1, -1) for i in own], found, strict=True))
        if keys:
            belief, frame, _, out = g.after(*np.array(keys).T)
            ends += zip(keys, self._leaves(belief, frame, out), strict=True)
        self.ends = {key: end for key, end in ends if np.isfinite(end[1])}

    def _separate(self, belief: Floats, frame: int, avail: Bools) -> Found:
        """Test on, by information for the price, until one cure set is left."""
        m, g = self.m, self.g
        g.bounds.ready(np.array([frame]))
        cost = g.bounds.price[frame]
        tests = np.flatnonzero(m.ready((avail & m.useful(belief[None])[0])[None])[0])
        gain = g.look.gain(belief[None])[0][tests]
        t = int(np.argmax((gain + 1e-12) / (cost[tests] + 1e-9)))
        a = int(tests[t])
        rest = avail.copy()
        rest[a] = False
        price, then = float(cost[a]), []
        for o, name in enumerate(m.tests[a].outcomes):
            after = belief * m.rows[a, o]
            p = float(after.sum())
            if p > NOTHING:
                child = self.leaf(after / p, int(g.bounds.test_frame[frame, a]), rest, None)
                price += p * child[1]
                then.append((name, child[0]))
        return Node("test", m.tests[a].id, then=tuple(then)), price
