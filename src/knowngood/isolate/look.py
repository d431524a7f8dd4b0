"""Looking into standings: every step from each of them, with bounds on what follows."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from knowngood.isolate.bounds import Bounds
from knowngood.isolate.model import Ints, Model
from knowngood.isolate.task import Bools, Floats

NOTHING = 1e-250


@dataclass(frozen=True, slots=True)
class Seen:
    """Of B standings with A steps (tests, then parts) of O outcomes at most.

    ``cost`` (B, A), inf where a step is of no use; ``chance``, ``low``, ``high`` (B, A, O):
    chance of an outcome and bounds of what follows; ``end``, ``lower``, ``upper``, ``rank``.
    """

    cost: Floats
    chance: Floats
    low: Floats
    high: Floats
    end: Floats
    lower: Floats
    upper: Floats
    rank: Ints


class Look:
    """The steps of standings of one model."""

    def __init__(self, model: Model, bounds: Bounds) -> None:
        m = self.model = model
        self.bounds = bounds
        covers = m.task.covers
        self.full_price: Floats = m.price[: m.T] + np.array(
            [
                sum(c.price for i, c in enumerate(covers) if m.ways[w][0] >> i & 1)
                + sum(c.close_price for i, c in enumerate(covers) if m.ways[w][1] >> i & 1)
                for w in m.way[: m.T]
            ]
        )

    def steps(self, belief: Floats, frame: Ints, avail: Bools, out: Bools | None) -> Seen:
        """All steps of these standings ((B, n), (B,), (B, T), (B, n) or None)."""
        m, bounds = self.model, self.bounds
        bounds.ready(frame)
        g, a = len(belief), m.T + m.P
        cost = np.full((g, a), np.inf)
        chance = np.zeros((g, a, m.O))
        low = np.zeros((g, a, m.O))
        high = np.zeros((g, a, m.O))
        price = bounds.price[frame]
        rank = avail.sum(1)
        i, t = np.nonzero(avail)
        if len(i):
            joint = belief[i, None, :] * m.rows[t]
            p = joint.sum(-1)
            p[p <= NOTHING] = 0.0
            none = p == 0.0
            joint /= np.where(none, 1.0, p)[..., None]
            child = bounds.test_frame[frame[i], t]
            if m.cured:
                lo, hi = self._after_cured(joint, child, avail, i, t)
            else:
                lo, hi = self._after_part(joint, child, avail, out, i, t)
            lo[none] = 0.0
            hi[none] = 0.0
            cost[i, t] = price[i, t]
            chance[i, t], low[i, t], high[i, t] = p, lo, hi
        if not m.cured:
            end = m.stops(belief, out).min(-1)
            known = belief @ m.floor
            lower = np.minimum(end, known + self._learn(belief, frame))
            upper = end if m.wrong is not None else np.minimum(end, avail @ self.full_price)
            return Seen(cost, chance, low, high, end, lower, upper, rank)
        at = (belief[:, None, :] @ bounds.columns[frame])[:, 0]
        alive = (belief > 0).astype(float)
        left = ((alive * ~bounds.cured[frame]) @ m.wants > 0) & ~bounds.fitted[frame]
        part_price = price[:, m.T :]
        orders = at[:, bounds.order_at :]
        best = orders.min(1, initial=np.inf)
        by_first = orders[:, : 2 * m.P].reshape(g, m.P, 2).min(2, initial=np.inf)
        stay = ~bounds.gone[frame]
        rest = (belief[:, None, :] * stay).sum(2)
        safe = np.where(rest > 0, rest, 1.0)
        known = at[:, bounds.known_at]
        cost[:, m.T :] = np.where(left, part_price, np.inf)
        chance[:, m.T :, 0] = rest
        # The child standing knows no more, so its bounds follow from this one's columns.
        lo = np.maximum(at[:, : m.P] - part_price, 0.0) / safe
        hi = np.maximum(np.minimum(by_first, part_price + best[:, None]) - part_price, 0.0) / safe
        none = (rest <= 0) | ~left
        low[:, m.T :, 0] = np.where(none, 0.0, np.minimum(lo, hi))
        high[:, m.T :, 0] = np.where(none, 0.0, hi)
        end = np.full(g, np.inf if m.give_up is None else m.give_up)
        upper = np.minimum(best, end)
        lower = np.minimum(known + self._learn(belief, frame), upper)
        return Seen(cost, chance, low, high, end, lower, upper, rank + left.sum(1))

    def _learn(self, belief: Floats, frame: Ints) -> Floats:
        """Least price of what must still be learned; ``frame`` has the leading shape."""
        info = self.bounds.info
        mass, bits = self.bounds.information.entropy(belief)
        if self.model.cured:
            return np.asarray(mass * np.interp(bits, info[0][0], info[0][1]))
        price = np.empty_like(bits)
        for f in np.unique(frame):
            here = frame == f
            price[here] = np.interp(bits[here], info[f][0], info[f][1])
        return mass * price

    def _cheapest(self, child: Ints, avail: Bools, i: Ints, t: Ints) -> Floats:
        """(k, ways): price of the cheapest test left on each way, once test t is done."""
        m = self.model
        price = np.where(avail[i], self.bounds.price[child][:, : m.T], np.inf)
        price[np.arange(len(t)), t] = np.inf
        return np.asarray(np.minimum.reduceat(price, m.way_starts, axis=1))

    def _after_part(
        self, joint: Floats, child: Ints, avail: Bools, out: Bools | None, i: Ints, t: Ints
    ) -> tuple[Floats, Floats]:
        """Bounds (k, O) after tests t of standings i, goal ``part``."""
        m = self.model
        shown = None
        if out is not None and m.shows is not None:
            shown = out[i, None, :] | m.shows[t]
        stop = m.stops(joint, shown).min(-1)
        cheap = self._cheapest(child, avail, i, t).min(1)
        go_on = np.maximum(cheap[:, None], self._learn(joint, child))
        if m.stop_floor:
            go_on = go_on + joint @ m.floor
        low = np.minimum(stop, go_on)
        if m.wrong is None:
            rest = (avail @ self.full_price)[i] - self.full_price[t]
            stop = np.minimum(stop, rest[:, None])
        return low, stop

    def _after_cured(
        self, joint: Floats, child: Ints, avail: Bools, i: Ints, t: Ints
    ) -> tuple[Floats, Floats]:
        """Bounds (k, O) after tests t of standings i, goal ``cured``."""
        m, bounds = self.model, self.bounds
        columns = bounds.columns
        at = np.empty((len(i), m.O, columns.shape[2]))
        order = np.argsort(child, kind="stable")
        edges = np.flatnonzero(np.diff(child[order], prepend=-1, append=-1))
        for a, b in zip(edges[:-1], edges[1:], strict=True):
            some = order[a:b]
            flat = joint[some].reshape(-1, m.n) @ columns[child[some[0]]]
            at[some] = flat.reshape(b - a, m.O, -1)
        low = at[..., : m.P].min(-1, initial=np.inf)
        cheap = self._cheapest(child, avail, i, t)
        ways = at[..., bounds.way_at : bounds.known_at] + cheap[:, None, :]
        low = np.minimum(low, ways.min(-1, initial=np.inf))
        low = np.maximum(low, at[..., bounds.known_at] + self._learn(joint, child))
        high = at[..., bounds.order_at :].min(-1, initial=np.inf)
        if m.give_up is not None:
            high = np.minimum(high, m.give_up)
        return np.minimum(low, high), high
