"""From the graph of standings to a plan: the cheapest step known at each, down to its leaves."""

from __future__ import annotations

import numpy as np

from knowngood.isolate.graph import Graph
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
        self.orders: dict[Key, tuple[float, tuple[int, ...]]] = {}

    def entry(self, i: int) -> Found:
        """The plan from entry i, and its exact expected price."""
        if not self.done and not self.orders:
            self._prepare(i)
        if i not in self.done:
            self.done[i] = self._entry(i)
        return self.done[i]

    def _entry(self, i: int) -> Found:
        g = self.g
        node, price = self.leaf(
            g.belief[i], int(g.frame[i]), g.avail[i], g.out[i] if self.m.proof else None,
            (i, -1, -1),
        )  # fmt: skip
        if not g.A:
            return node, price
        q = g.q_high[i]
        a = int(q.argmin())
        if q[a] < price - 1e-12 * (1.0 + price):
            better, lower = self.step(i, a)
            if lower < price:
                return better, lower
        return node, price

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
                belief, after, avail, _ = g.after(np.array([i]), np.array([a]), np.zeros(1, int))
                child = self.leaf(belief[0], int(after[0]), avail[0], None)
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
                belief = g.belief[i] * m.rows[a, o]
                out = None
                if m.shows is not None:
                    out = g.out[i] | m.shows[a, o]
                avail = g.avail[i].copy()
                avail[a] = False
                frame = int(g.bounds.test_frame[g.frame[i], a])
                child = self.leaf(belief / belief.sum(), frame, avail, out, (i, a, o))
            price += p * child[1]
            then.append((name, child[0]))
        return Node("test", test.id, then=tuple(then)), price

    def leaf(
        self, belief: Floats, frame: int, avail: Bools, out: Bools | None, key: Key = (-1, -1, -1)
    ) -> Found:
        """Without looking further: stop, give up, or fit in the best order known."""
        m = self.m
        if not m.cured:
            prices = m.stops(belief, out)
            s = int(prices.argmin())
            if np.isfinite(prices[s]):
                name = m.task.cure_sets[int(m.set_ids[s])]
                return Node("stop", parts=name), float(prices[s])
            return self._separate(belief, frame, avail)
        price, order = self.g.bounds.order(frame, belief)
        if np.any((belief == 0) & ~self.g.bounds.cured[frame]):
            price, order = self._shorter(belief, frame, order, price)
        own, own_order = self.orders.get(key) or self._own_orders([(belief, frame)])[0]
        if own < price:  # in whole sets; part by part it may be less
            price, order = self._shorter(belief, frame, own_order, np.inf)
        if m.give_up is not None and (m.give_up <= price or not order):
            return Node("give_up"), m.give_up
        return Node("fit_order", parts=tuple(m.parts[p].id for p in order)), price

    def _own_orders(self, ends: list[tuple[Floats, int]]) -> list[tuple[float, tuple[int, ...]]]:
        """Price and order by chance per price at each of these beliefs."""
        b = self.g.bounds
        if b.orders is None or not ends:
            return [(np.inf, ())] * len(ends)
        frame = np.array([f for _, f in ends])
        fitted = b.fitted[frame]
        bits = b.orders.open_bits()[b.open_id[frame]]
        price, picks, keep = b.orders.best(np.array([x for x, _ in ends]), fitted, bits)
        return [
            (float(price[i]), b.orders.parts(picks[i], int(keep[i]), fitted[i]))
            for i in range(len(ends))
        ]

    def _prepare(self, root: int) -> None:
        """Orders for all leaves that the plan may end in, in one go."""
        g, m = self.g, self.m
        if not m.cured:
            return
        keys: list[tuple[int, int, int]] = []
        ends: list[tuple[Floats, int]] = []
        todo, seen = [root], {root}
        while todo:
            i = todo.pop()
            keys.append((i, -1, -1))
            ends.append((g.belief[i], int(g.frame[i])))
            if not g.A:
                continue
            a = int(g.q_high[i].argmin())
            if g.q_high[i, a] > g.upper[i] or (a >= m.T and g.child[i, a, 0] < 0):
                continue
            if not g.examined[i, a]:
                g.examine(np.array([i]), np.array([a]))
            for o in range(m.O):
                kid = int(g.child[i, a, o])
                if kid < 0 and g.chance[i, a, o] > 0:
                    belief = g.belief[i] * m.rows[a, o]
                    keys.append((i, a, o))
                    ends.append((belief / belief.sum(), int(g.bounds.test_frame[g.frame[i], a])))
                elif kid >= 0 and kid not in seen:
                    seen.add(kid)
                    todo.append(kid)
        self.orders.update(zip(keys, self._own_orders(ends), strict=True))

    def _shorter(
        self, belief: Floats, frame: int, order: tuple[int, ...], price: float
    ) -> tuple[float, tuple[int, ...]]:
        """The order without parts that only ruled out faults want."""
        m, b = self.m, self.g.bounds
        o = b.orders
        assert o is not None
        fitted, now = b.fitted[frame].copy(), o.open(int(b.open_id[frame])).copy()
        mass, spent, kept = np.where(b.cured[frame], 0.0, belief), 0.0, []
        for p in order:
            if not np.any(m.wants[mass > 0, p]):
                continue
            cost = o.part_price[p] + (o.need[p] & ~now) @ o.cover_price
            spent += float(mass.sum()) * float(cost + (o.shut[p] & now) @ o.close_price)
            now = (now | o.need[p]) & ~o.shut[p]
            fitted[p] = True
            kept.append(p)
            mass = np.where(m.curable & ~(m.wants & ~fitted).any(1), 0.0, mass)
        spent += float(mass.sum()) * (m.give_up or 0.0)
        return (spent, tuple(kept)) if spent < price else (price, order)

    def _separate(self, belief: Floats, frame: int, avail: Bools) -> Found:
        """Test on, by information for the price, until one cure set is left."""
        m, g = self.m, self.g
        g.bounds.ready(np.array([frame]))
        cost = g.bounds.price[frame]
        tests = np.flatnonzero(avail & m.useful(belief[None])[0])
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
