"""A lower bound from information: what must be learned has to be paid for.

Whatever the plan, at its end the cure set is known up to the chance of a wrong decision. Each
test brings at most its channel capacity, once, for its own price; a decision may leave entropy
only at the price of errors (Fano's inequality: Cover & Thomas, Elements of Information Theory,
2nd ed., 2.10); fitting wrong parts tells something too, at most the entropy of a sequence of
that mean price. All three are convex in (bits, price), so the cheapest way to a number of bits
takes the pieces in the order of price per bit.
"""

from __future__ import annotations

from functools import cached_property

import numpy as np

from knowngood.isolate.model import Ints, Model
from knowngood.isolate.task import Bools, Floats

RATES = np.array([0.5, 0.7, 1.0])  # of the rate at which `own` stops, where `at` looks
CLOSE = (5.0, 10.0, 20.0, 40.0)  # candidates for "hardly cheaper than giving up"


class Information:
    """Tables bits -> least price, for one model.

    What must be learned is a label of the fault. Goal ``part``: the cure set. Goal ``cured``: one
    of several groups of cure sets, groups sharing no part, or "as good as given up on": what
    nothing cures, and what is hardly cheaper to cure than to give up on. Faults of other sets
    are left out (`family`).
    """

    def __init__(self, model: Model) -> None:
        m = self.model = model
        self.capacity = capacities(m.rows) if m.T else np.zeros(0)
        self.pieces: list[tuple[Floats, Floats, Ints]] = []
        own = _joined(m.sets, m.inside) if m.proof else m.sets
        self._name(own)

    def _name(self, labels: Floats) -> None:
        """(n, K) 0/1: the label of each fault, of none for those left out."""
        self.family: Bools = np.asarray(labels.any(1))
        self.labels: Floats = labels[self.family][:, labels.any(0)]
        self.count = self.labels.shape[1]

    def entropy(self, belief: Floats) -> tuple[Floats, Floats]:
        """(..., n) -> mass of the family and the entropy of its label, in bits."""
        share = belief[..., self.family] @ self.labels
        mass = share.sum(-1)
        part = share / np.where(mass > 0, mass, 1.0)[..., None]
        logs = np.log2(np.where(part > 0, part, 1.0))
        return mass, -(part * logs).sum(-1)

    def table(self, test_price: Floats) -> Floats:
        """(2, K) bits and least price, increasing, goal ``part``."""
        return self._table(test_price, self.wrong)

    @cached_property
    def wrong(self) -> Floats:
        """(2, k) bits that a wrong stop may leave, and what it costs at least, goal ``part``."""
        m = self.model
        if m.wrong is None or self.count < 2:
            return np.zeros((2, 0))
        spread = float(m.stop_extra.max() - m.stop_extra.min())
        unproven = m.task.unproven_price if m.proof else 0.0
        least = max(m.wrong - spread, 0.0)
        return np.array(_fano(self.count, least, unproven, 1.0 - m.task.proof_floor))

    def cured_table(self, part_price: Floats, known: Floats) -> Floats:
        """The same, goal ``cured``, with the labels that make learning dearest at the start.
        ``known`` (n,): the most that each fault costs once it is known."""
        m = self.model
        found: list[tuple[float, int, Floats, Floats]] = []
        cheap = np.where(m.wants, part_price, np.inf).min(1, initial=np.inf)
        free = np.full(m.n, np.inf) if m.give_up is None else np.maximum(m.give_up - known, 0.0)
        free[~m.curable] = 0.0
        for near in CLOSE if m.give_up is not None else CLOSE[:1]:
            labels = _groups(m.wants, m.sets, m.weight, free < near)
            self._name(labels)
            costs = np.array([cheap[s > 0].min(initial=np.inf) for s in labels.T])
            pieces = [_guesses(np.sort(costs[np.isfinite(costs)]), labels.shape[1])]
            ends = np.isfinite(free) & (labels[:, 1:] > 0).any(1)
            if ends.any():
                pieces.append(_fano(labels.shape[1], float(free[ends].min()), 0.0, 1.0))
            table = self._table(m.price[: m.T], np.hstack([np.array(x) for x in pieces]))
            mass, bits = self.entropy(m.weight)
            price = float(mass * np.interp(bits, table[0], table[1]))
            found.append((price, -len(found), labels, table))
        _, which, labels, table = max(found, key=lambda x: x[:2])
        self._name(labels)
        self.pieces = [self.pieces[-which]]
        return table

    def _table(self, test_price: Floats, ends: Floats) -> Floats:
        """From tests and other pieces (2, k), each at most once, the best rate first."""
        use = np.flatnonzero(self.capacity > 1e-12)
        b = np.concatenate([self.capacity[use], ends[0]])
        p = np.concatenate([test_price[use], ends[1]])
        which = np.full(len(b), -1)
        which[: len(use)] = use
        slope = p / np.maximum(b, 1e-300)
        order = np.argsort(slope, kind="stable")
        out = np.zeros((2, len(b) + 1))
        np.cumsum(b[order], out=out[0, 1:])
        np.cumsum(p[order], out=out[1, 1:])
        self.pieces.append((slope[order], b[order], which[order]))
        return out

    def at(self, belief: Floats, price: Floats, rounds: int = 6) -> float:
        """Least price of learning from one belief (n,), sharper and slower than `own`; tests cost
        ``price`` (T, n) under each fault.

        What a test tells on any share of the faults is at most their mean divergence from any
        distribution of its outcomes (Cover & Thomas, chapter 10), so at a rate of L bits for the
        money it tells no more, beyond what it costs, than the sum over faults of mass times
        (divergence - L price) where that is above 0. The distribution is that of the faults for
        which it is, found in a few rounds; each round's bound is valid.
        """
        mass, bits = self.entropy(belief)
        if not self.model.T or not mass * bits > 0:
            return 0.0
        rows, weight = self.model.rows[:, :, self.family], belief[self.family]
        slope, room, which = self.pieces[0]
        rest = which < 0
        last = int(np.searchsorted(np.cumsum(room), bits).clip(0, len(slope) - 1))
        if not slope[last] > 0:
            return 0.0
        rate = RATES / float(slope[last])
        paid = rate[:, None, None] * price[:, self.family]
        logs = np.log2(np.where(rows > 0, rows, 1.0))
        own = (rows * logs).sum(1)
        most = np.full(paid.shape[:2], np.inf)
        share = np.broadcast_to(weight, paid.shape)
        for _ in range(rounds):
            out = (rows @ share[..., None])[..., 0]
            out = np.log2(np.maximum(out / out.sum(2, keepdims=True), 1e-300))
            left = own - (out[:, :, None, :] @ rows)[:, :, 0] - paid
            most = np.minimum(most, np.maximum(left, 0.0) @ weight)
            share = 0.5 * share + weight * np.clip(0.25 + left, 1e-9, 0.5)
        ends = np.maximum(room[rest] - rate[:, None] * (slope[rest] * room[rest]), 0.0)
        return float(((mass * (bits - ends.sum(1)) - most.sum(1)) / rate).max(initial=0.0))

    def own(self, index: int, mass: Floats, bits: Floats, gain: Floats) -> Floats:
        """(B,) least price of learning, where each test brings at most ``gain`` (B, T) in all.

        Outcomes are independent given the fault, so several tests never tell more than the sum
        of what each tells alone; what one tells on the family is at most gain over its mass.
        """
        slope, room, which = self.pieces[index]
        most = np.repeat(room[None, :], len(bits), axis=0)
        tests = np.flatnonzero(which >= 0)
        share = np.where(mass > 0, mass, 1.0)[:, None]
        most[:, tests] = gain[:, which[tests]] / share
        before = np.cumsum(most, axis=1) - most
        return np.asarray(mass * (np.clip(bits[:, None] - before, 0.0, most) @ slope))


def _groups(wants: Bools, sets: Floats, weight: Floats, given_up: Bools) -> Floats:
    """(n, 1 + K) 0/1 labels: first "as good as given up on", then cure sets that share no part with
    those of another label. The heaviest come first; one that shares parts with one label joins it,
    one that shares them with several is left out."""
    labels: list[Bools] = [given_up & ~wants.any(1)]
    owner = np.full(wants.shape[1], -1)  # the label that each part belongs to
    for s in np.argsort(-(weight @ sets), kind="stable"):
        members = sets[:, s] > 0
        asks = np.flatnonzero(wants[members].any(0))
        if not len(asks):
            continue
        near = np.unique(owner[asks])
        near = near[near >= 0]
        home = 0 if given_up[members].any() else int(near[0]) if len(near) else len(labels)
        if (near != home).any():
            continue
        if home == len(labels):
            labels.append(np.zeros(len(members), dtype=bool))
        labels[home] = labels[home] | members
        owner[asks] = home
    return np.array(labels, dtype=float).T


def _joined(sets: Floats, inside: Floats) -> Floats:
    """(n, S) -> (n, K): cure sets of which one contains the other as one. A stop that is proven
    for a set leaves faults open whose cure contains it, so only these are known apart."""
    near = (sets.T @ inside > 0) | (inside.T @ sets > 0)
    for _ in range(len(near).bit_length()):
        near = near.astype(float) @ near > 0
    heads = np.unique(near.argmax(1))
    return np.asarray(sets @ near[:, heads].astype(float))


def capacities(rows: Floats, rounds: int = 12) -> Floats:
    """(T, O, n) rows -> (T,) upper bounds on the channel capacities in bits.

    Blahut-Arimoto; the largest divergence from any output distribution bounds the capacity.
    """
    n = rows.shape[2]
    p = np.full((len(rows), n), 1.0 / n)
    logs = np.where(rows > 0, np.log2(np.where(rows > 0, rows, 1.0)), 0.0)
    own = (rows * logs).sum(1)
    best = np.full(len(rows), np.inf)
    for _ in range(rounds):
        q = (rows @ p[:, :, None])[:, :, 0]
        log_q = np.log2(np.where(q > 0, q, 1.0))
        away = own - (rows * log_q[:, :, None]).sum(1)
        best = np.minimum(best, away.max(1))
        p = p * np.exp2(away)
        p = np.maximum(p / p.sum(1, keepdims=True), 1e-12)
        p /= p.sum(1, keepdims=True)
    return np.asarray(np.maximum(best, 0.0))


def _segments(bits: Floats, price: Floats) -> tuple[Floats, Floats]:
    """Points of a nondecreasing curve -> pieces of a convex polyline below it."""
    x = np.concatenate([[0.0], bits[1:]])
    y = np.concatenate([[0.0], price[:-1]])
    hull: list[int] = []
    for i in range(len(x)):
        while len(hull) >= 2:
            a, b = hull[-2], hull[-1]
            if (y[b] - y[a]) * (x[i] - x[a]) >= (y[i] - y[a]) * (x[b] - x[a]):
                hull.pop()
            else:
                break
        hull.append(i)
    h = np.array(hull)
    return np.diff(x[h]), np.diff(y[h])


def _fano(
    count: int, wrong: float, unproven: float, floor: float, steps: int = 64
) -> tuple[Floats, Floats]:
    """Pieces: bits a decision may leave, and what errors then cost at least."""
    top = 1.0 - 1.0 / count
    e = top * np.linspace(0.0, 1.0, steps) ** 2
    with np.errstate(divide="ignore", invalid="ignore"):
        h = -(e * np.log2(e) + (1 - e) * np.log2(1 - e))
    h = np.where((e > 0) & (e < 1), h, 0.0) + e * np.log2(max(count - 1, 1))
    return _segments(h, wrong * e + unproven * (e > floor + 1e-12))


def _guesses(costs: Floats, count: int, steps: int = 60) -> tuple[Floats, Floats]:
    """Pieces: entropy of a sequence of wrong fits, and its least mean price."""
    if count < 2 or not len(costs):
        return np.zeros(0), np.zeros(0)
    total = np.concatenate([[0.0], np.cumsum(costs)])[:count]
    scale = max(float(total[1]), 1e-9)
    lam = np.concatenate([np.geomspace(30.0, 1e-3, steps) / scale, [0.0]])
    w = np.exp(-lam[:, None] * total)
    p = w / w.sum(1, keepdims=True)
    bits = -(p * np.log2(np.where(p > 0, p, 1.0))).sum(1)
    return _segments(np.concatenate([[0.0], bits]), np.concatenate([[0.0], p @ total]))
