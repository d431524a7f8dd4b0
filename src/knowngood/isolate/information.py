"""A lower bound from information: what must be learned has to be paid for.

Whatever the plan, at its end the cure set is known up to the chance of a wrong decision. Each
test brings at most its channel capacity, once, for its own price; a decision may leave entropy
only at the price of errors (Fano's inequality: Cover & Thomas, Elements of Information Theory,
2nd ed., 2.10); fitting wrong parts tells something too, at most the entropy of a sequence of
that mean price. All three are convex in (bits, price), so the cheapest way to a number of bits
takes the pieces in the order of price per bit.
"""

from __future__ import annotations

import numpy as np

from knowngood.isolate.model import Ints, Model
from knowngood.isolate.task import Bools, Floats

DEAR = 0.7


class Information:
    """Tables bits -> least price, for one model."""

    def __init__(self, model: Model) -> None:
        self.model = model
        self.capacity = capacities(model.rows) if model.T else np.zeros(0)
        self.family = self._family()
        self.pieces: list[tuple[Floats, Floats, Ints]] = []
        m = model
        own = (_joined(m.sets, m.inside) if m.proof else m.sets)[self.family]
        self.labels: Floats = own[:, own.any(0)]
        self.count = self.labels.shape[1]

    def _family(self) -> Bools:
        """(n,): faults of cure sets that share no part, the heaviest sets first."""
        m = self.model
        if not m.cured:
            return np.ones(m.n, dtype=bool)
        mass = m.weight @ m.sets
        dear = np.zeros(m.n, dtype=bool)
        if m.give_up is not None:  # giving up on these is no great mistake
            dear = m.curable & (m.wants @ m.price[m.T :] > DEAR * m.give_up)
        taken = np.zeros(m.P, dtype=bool)
        family = np.zeros(m.n, dtype=bool)
        for s in np.argsort(-mass, kind="stable"):
            members = m.sets[:, s] > 0
            wants = m.wants[members].any(0)
            if dear[members].any():
                continue
            if not (wants & taken).any():
                taken |= wants
                family |= members
        return family

    def entropy(self, belief: Floats) -> tuple[Floats, Floats]:
        """(..., n) -> mass of the family and the entropy of its cure set, in bits."""
        share = belief[..., self.family] @ self.labels
        mass = share.sum(-1)
        part = share / np.where(mass > 0, mass, 1.0)[..., None]
        logs = np.log2(np.where(part > 0, part, 1.0))
        return mass, -(part * logs).sum(-1)

    def table(self, test_price: Floats, fits: tuple[Floats, Floats] | None) -> Floats:
        """(2, K) bits and least price, increasing. ``fits`` (goal ``cured``): (n,) the least
        a wrong fit for each fault costs, and (n,) the price of the known fault."""
        m = self.model
        use = self.capacity > 1e-12
        bits = [self.capacity[use]]
        price = [test_price[use]]
        if fits is None:
            if m.wrong is not None and self.count > 1:
                spread = float(m.stop_extra.max() - m.stop_extra.min())
                unproven = m.task.unproven_price if m.proof else 0.0
                left = _fano(
                    self.count, max(m.wrong - spread, 0.0), unproven, 1.0 - m.task.proof_floor
                )
                bits.append(left[0])
                price.append(left[1])
        else:
            least, known = fits
            costs = np.array([least[self.labels_of(s)].min() for s in range(self.count)])
            left = _guesses(np.sort(costs[np.isfinite(costs)]), self.count)
            bits.append(left[0])
            price.append(left[1])
            if m.give_up is not None and self.count > 1:
                most = float(known[self.family & m.curable].max(initial=0.0))
                worth = max(m.give_up - most, 0.0)
                bits.append(np.array([np.log2(max(self.count - 1, 2))]))
                price.append(np.array([worth]))
        b, p = np.concatenate(bits), np.concatenate(price)
        which = np.full(len(b), -1)
        which[: int(use.sum())] = np.flatnonzero(use)
        slope = p / np.maximum(b, 1e-300)
        order = np.argsort(slope, kind="stable")
        out = np.zeros((2, len(b) + 1))
        np.cumsum(b[order], out=out[0, 1:])
        np.cumsum(p[order], out=out[1, 1:])
        self.pieces.append((slope[order], b[order], which[order]))
        return out

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

    def labels_of(self, s: int) -> Bools:
        """(n,): the faults of a label of the family."""
        out = np.zeros(self.model.n, dtype=bool)
        out[np.flatnonzero(self.family)[self.labels[:, s] > 0]] = True
        return out


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
        p = p * np.exp2(2.0 * away)
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
