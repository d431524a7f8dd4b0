"""Looking into standings: every step from each of them, with bounds on what follows."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np

from knowngood.isolate.bounds import Bounds
from knowngood.isolate.model import Ints, Model
from knowngood.isolate.policy import NOTHING
from knowngood.isolate.task import Bools, Floats

FEW = 12
AT_ONCE = 4


@dataclass(frozen=True, slots=True)
class Seen:
    """Of B standings with A steps (tests, then parts) of O outcomes at most.

    ``cost`` (B, A), inf where a step is of no use; ``chance``, ``low``, ``high`` (B, A, O):
    chance of an outcome and bounds of what follows; ``end``, ``lower``, ``upper``, ``rank``.
    A test that is not ``examined`` (B, A) has one outcome, "whatever comes", with wider bounds.
    ``worth`` (B, T): information for the price, -1 for a test of no use.
    """

    cost: Floats
    chance: Floats
    low: Floats
    high: Floats
    end: Floats
    lower: Floats
    upper: Floats
    rank: Ints
    examined: Bools
    worth: Floats


def entropy(p: Floats) -> Floats:
    """Each -p log2 p."""
    return np.asarray(-p * np.log2(np.where(p > 0, p, 1.0)))


class Look:
    """The steps of standings of one model."""

    def __init__(self, model: Model, bounds: Bounds) -> None:
        m = self.model = model
        self.bounds = bounds
        logs = np.log2(np.where(m.rows > 0, m.rows, 1.0))
        self.noise: Floats = -(m.rows * logs).sum(1)
        self.flat_rows: Floats = np.ascontiguousarray(m.rows.reshape(m.T * m.O, m.n).T)
        self.closes = any(shut for _, shut in m.ways)
        shared = m.sets.sum(0) > 1
        own = ~(m.sets[:, shared] > 0).any(1)  # faults that have their cure set to themselves
        self.alone: Ints = np.flatnonzero(own)
        self.shared: Floats = m.sets[np.ix_(np.flatnonzero(~own), np.flatnonzero(shared))]
        self.rest: Ints = np.flatnonzero(~own)
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
        seen = self._outcomes(belief)
        gain = np.maximum(seen - belief @ self.noise.T, 0.0)
        at = (belief[:, None, :] @ bounds.columns[frame])[:, 0] if m.cured else belief[:, :0]
        if not m.cured:
            end = m.stops(belief, out).min(-1)
            floor = belief @ m.floor
            lower = np.minimum(end, floor + self._learn_own(belief, frame, gain, avail))
            upper = end if m.wrong is not None else np.minimum(end, avail @ self.full_price)
        else:
            end = np.full(g, np.inf if m.give_up is None else m.give_up)
            orders = at[:, bounds.order_at :]
            best = orders.min(1, initial=np.inf)
            if bounds.orders is not None:
                bits = bounds.orders.open_bits()[bounds.open_id[frame]]
                best = np.minimum(best, bounds.orders.best(belief, bounds.fitted[frame], bits)[0])
            upper = np.minimum(best, end)
            learn = self._learn_own(belief, frame, gain, avail)
            lower = np.minimum(at[:, bounds.known_at] + learn, upper)
        examined = np.ones((g, a), dtype=bool)
        worth = np.full((g, m.T), -1.0)
        if m.T:
            can = m.ready(avail)
            cost[:, : m.T] = np.where(can, price[:, : m.T], np.inf)
            i, t = np.nonzero(can)
            tells = self._gain_on_sets(belief, seen) if m.T > FEW and m.n > m.S else gain
            worth = np.where(can, self._worth(tells, price[:, : m.T], avail), -1.0)
            if m.T > FEW:
                low[:, : m.T, 0] = self._guess(belief, frame, gain)
                high[:, : m.T, 0] = self._ignoring(belief, frame, upper)
                low[:, : m.T, 0] = np.minimum(low[:, : m.T, 0], high[:, : m.T, 0])
                chance[:, : m.T, 0] = 1.0
                first = np.argpartition(-worth, AT_ONCE - 1, axis=1)[:, :AT_ONCE]
                examined[:, : m.T] = False
                np.put_along_axis(examined, first, True, axis=1)
                i, t = np.nonzero(can & examined[:, : m.T])
            p, lo, hi = self.examine(belief, frame, avail, out, i, t)
            chance[i, t], low[i, t], high[i, t] = p, lo, hi
        if not m.cured:
            return Seen(cost, chance, low, high, end, lower, upper, rank, examined, worth)
        alive = (belief > 0).astype(float)
        left = ((alive * ~bounds.cured[frame]) @ m.wants > 0) & ~bounds.fitted[frame]
        part_price = price[:, m.T :]
        by_first = orders[:, : m.P]
        stay = ~bounds.gone[frame]
        rest = (belief[:, None, :] * stay).sum(2)
        safe = np.where(rest > 0, rest, 1.0)
        cost[:, m.T :] = np.where(left, part_price, np.inf)
        chance[:, m.T :, 0] = rest
        # The child standing knows no more, so its bounds follow from this one's columns.
        lo = np.maximum(at[:, : m.P] - part_price, 0.0) / safe
        hi = np.maximum(by_first - part_price, 0.0)
        if not self.closes:  # it opens what another part wants shut: no step to be ignored
            hi = np.minimum(hi, best[:, None])
        hi /= safe
        none = (rest <= 0) | ~left
        low[:, m.T :, 0] = np.where(none, 0.0, np.minimum(lo, hi))
        high[:, m.T :, 0] = np.where(none, 0.0, hi)
        rank = rank + left.sum(1)
        return Seen(cost, chance, low, high, end, lower, upper, rank, examined, worth)

    def _ignoring(self, belief: Floats, frame: Ints, upper: Floats) -> Floats:
        """(B, T) upper bound of what follows each test if its answer is not used: the price of the
        plan known without it, except that a proof may be lost by the answer, and a cover moved
        may be one that the plan needs as it was."""
        m, bounds = self.model, self.bounds
        if m.proof and m.wrong is not None:
            upper = m.stops(belief, None).min(-1) + m.task.unproven_price
        if not (m.cured and self.closes):
            return np.repeat(upper[:, None], m.T, axis=1)
        ways = bounds.test_frame[frame][:, m.way_starts]
        orders = bounds.columns[ways][..., bounds.order_at :]
        high = np.einsum("bn,bwnk->bwk", belief, orders).min(-1, initial=np.inf)
        if m.give_up is not None:
            high = np.minimum(high, m.give_up)
        return np.asarray(np.repeat(high, np.diff(np.append(m.way_starts, m.T)), axis=1))

    def _worth(self, tells: Floats, price: Floats, avail: Bools) -> Floats:
        """(B, T) information for the price, of a test or of what waits for it, both paid."""
        gate = self.model.gate
        worth = np.asarray(tells / (price + 1e-9))
        if gate is None:
            return worth
        for q in np.flatnonzero(gate.any(0)):
            behind = gate[:, q] & avail
            both = np.where(behind, tells / (price + price[:, [q]] + 1e-9), 0.0)
            worth[:, q] = np.maximum(worth[:, q], both.max(1))
        return worth

    def examine(
        self, belief: Floats, frame: Ints, avail: Bools, out: Bools | None, i: Ints, t: Ints
    ) -> tuple[Floats, Floats, Floats]:
        """(k, O) chance and bounds after tests t of standings i (places in the arrays)."""
        m = self.model
        joint = belief[i, None, :] * m.rows[t]
        p = joint.sum(-1)
        p[p <= NOTHING] = 0.0
        none = p == 0.0
        joint /= np.where(none, 1.0, p)[..., None]
        child = self.bounds.test_frame[frame[i], t]
        if m.cured:
            low, high = self._after_cured(joint, child, avail, i, t)
        else:
            low, high = self._after_part(joint, child, avail, out, i, t)
        low[none] = 0.0
        high[none] = 0.0
        return p, low, high

    def gain(self, belief: Floats) -> Floats:
        """(B, T) what each test tells about the faults, in bits."""
        return np.asarray(np.maximum(self._outcomes(belief) - belief @ self.noise.T, 0.0))

    def _outcomes(self, belief: Floats) -> Floats:
        """(B, T) entropy of the outcome of each test, in bits."""
        m = self.model
        p = (belief @ self.flat_rows).reshape(len(belief), m.T, m.O)
        return np.asarray(entropy(p).sum(2))

    def _gain_on_sets(self, belief: Floats, seen: Floats) -> Floats:
        """(B, T) what each test tells about the cure set, in bits, where the entropy of its
        outcome is ``seen`` (B, T).

        Where a fault has a set to itself, the entropy of set and outcome together is that of the
        fault and the noise of the test; only the other sets have to be added up.
        """
        m = self.model
        alone = belief[:, self.alone]
        noise = entropy(alone).sum(1)[:, None] + alone @ self.noise[:, self.alone].T
        share = entropy(belief @ m.sets).sum(1)[:, None]
        if len(self.rest):
            rows = m.rows[:, :, self.rest].reshape(1, -1, len(self.rest))
            joint = (belief[:, None, self.rest] * rows) @ self.shared
            noise = noise + entropy(joint).reshape(len(belief), m.T, -1).sum(2)
        return np.asarray(np.maximum(seen + share - noise, 0.0))

    def _guess(self, belief: Floats, frame: Ints, gain: Floats) -> Floats:
        """(B, T) lower bound of what follows each test: the mean entropy left is at least what
        there is less the gain, and the table of prices is convex."""
        m, bounds = self.model, self.bounds
        mass, bits = bounds.information.entropy(belief)
        left = np.maximum(mass[:, None] * bits[:, None] - gain, 0.0)
        after = bounds.test_frame[frame]
        learn = np.empty_like(left)
        if m.cured:
            table = bounds.info[0]
            share = np.where(mass > 0, mass, 1.0)[:, None]
            learn = share * np.interp(left / share, table[0], table[1])
        else:
            for f in np.unique(after):
                here = after == f
                learn[here] = np.interp(left[here], bounds.info[f][0], bounds.info[f][1])
        ways = after[:, m.way_starts]
        counts = np.diff(np.append(m.way_starts, m.T))
        known = np.einsum("bn,bwn->bw", belief, bounds.known[ways])
        return np.asarray(np.repeat(known, counts, axis=1) + learn)

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

    def _learn_own(self, belief: Floats, frame: Ints, gain: Floats, avail: Bools) -> Floats:
        """The same at standings looked into, where the gain of each test is known."""
        info = self.bounds.information
        mass, bits = info.entropy(belief)
        left = np.where(avail, gain, 0.0)
        if self.model.cured:
            return info.own(0, mass, bits, left)
        price = np.empty(len(belief))
        for f in np.unique(frame):
            here = frame == f
            price[here] = info.own(int(f), mass[here], bits[here], left[here])
        return price

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
        for a, b in itertools.pairwise(edges):
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
