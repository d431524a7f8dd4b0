"""Orders of fitting without another test: what each costs under each fault.

Orders follow chance per price, the rule of Heckerman, Breese & Rommelse (1995), with covers
counted at several shares of their price, since the plain rule is not optimal with covers
(Ottosen & Jensen). The price of an order is linear in the belief, so a pool of them gives an
upper bound anywhere.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from knowngood.isolate.model import Ints, Model
from knowngood.isolate.task import Bools, Floats


class Orders:
    """A pool of orders of all unfitted parts of a model, and samples of beliefs to judge by.

    ``pool`` (R, P): ``base`` good ones, then for each part one that starts with it; ``cuts``:
    after how many places giving up is weighed; ``samples`` (m, n). ``need``, ``shut``
    (P, covers): what each part needs; ``units`` (S, P): the cure sets.
    """

    def __init__(self, model: Model) -> None:
        m = self.model = model
        covers = m.task.covers
        self.cover_price = np.array([c.price for c in covers])
        self.close_price = np.array([c.close_price for c in covers])
        self.bits = [1 << i for i in range(len(covers))]
        ways = [m.ways[w] for w in m.way[m.T :]]
        shape = (m.P, len(covers))
        self.need = np.array([[bool(w & b) for b in self.bits] for w, _ in ways], bool)
        self.need = self.need.reshape(shape)
        self.shut = np.array([[bool(s & b) for b in self.bits] for _, s in ways], bool)
        self.shut = self.shut.reshape(shape)
        self.part_price = m.price[m.T :]
        self.units: Bools = np.unique(m.wants[m.curable], axis=0)
        same = (m.wants[:, None, :] == self.units[None]).all(2) & m.curable[:, None]
        self.of_unit: Floats = same.astype(float)
        self._bits: list[Bools] = []
        self.samples = self._samples(16 if m.n * m.P > 300 else 40)
        self.pool = self._pool(6 if m.P > 12 else 12)
        self.base = len(self.pool) - m.P
        step = 1 if m.P <= 12 else 2
        self.cuts: Ints = np.unique(np.append(np.arange(0, m.P + 1, step), m.P))

    def open(self, open_id: int) -> Bools:
        """(covers,) of a number of the model's covers."""
        now = self.model.opens[open_id]
        return np.array([bool(now & b) for b in self.bits], dtype=bool)

    def open_bits(self) -> Bools:
        """(opens, covers) of all the model's numbers."""
        opens = self.model.opens
        while len(self._bits) < len(opens):
            self._bits.append(self.open(len(self._bits)))
        return np.array(self._bits, dtype=bool).reshape(len(opens), len(self.bits))

    def _samples(self, most: int) -> Floats:
        """The prior and beliefs after one and two outcomes."""
        m = self.model
        out = [m.weight[None, :]]
        if m.T:
            one = (m.weight * m.rows).reshape(-1, m.n)
            one = one[one.sum(1) > 1e-9]
            one = one[:: max(1, len(one) // most)][:most]
            two = one * np.roll(one, 1, axis=0) / m.weight
            out += [one, two[two.sum(1) > 1e-12]]
        s = np.vstack(out)
        return np.asarray(s / s.sum(1, keepdims=True))

    def _pool(self, most: int) -> NDArray[np.int64]:
        m = self.model
        found: dict[bytes, Ints] = {}
        every = 1 if m.P <= 12 else 4 if m.P <= 100 else 16
        for share in (1.0, 0.3):
            for row in self._greedy(self.samples[::every], share):
                found.setdefault(row.tobytes(), row)
        rows = np.array(list(found.values()))
        price, spent, _ = self.prices(rows, self.open(0)[None], m.wants[None])
        end = spent[0, :, -1:] + (m.give_up or 0.0)
        whole = np.where(m.curable, price[0], end)
        wins = np.bincount((self.samples @ whole.T).argmin(1), minlength=len(rows))
        best = rows[np.argsort(-wins, kind="stable")[:most]]
        lead = [np.concatenate([[p], best[0][best[0] != p]]) for p in range(m.P)]
        return np.vstack([best, *lead])

    def _greedy(self, beliefs: Floats, share: float) -> NDArray[np.int64]:
        """(m, n) -> (m, P): cure sets by chance per price, covers at ``share`` of theirs."""
        m = self.model
        count, who = len(beliefs), np.arange(len(beliefs))
        units = self.units
        mass = beliefs @ self.of_unit
        have = np.zeros((count, m.P), dtype=bool)
        is_open = np.tile(self.open(0), (count, 1))
        order = np.zeros((count, m.P), dtype=np.int64)
        left = np.ones((count, len(units)), dtype=bool)
        unit_need = units.astype(float) @ self.need > 0
        by_part, by_cover = units.T.astype(float), unit_need.T.astype(float)
        for step in range(len(units)):
            cost = (~have * self.part_price) @ by_part
            if len(self.bits):
                cost = cost + (~is_open * (share * self.cover_price)) @ by_cover
            ratio = np.where(left, (mass + 1e-12) / (cost + 1e-9), -1.0)
            pick = ratio.argmax(1)
            left[who, pick] = False
            new = units[pick] & ~have
            order[new] = step
            have |= new
            is_open |= unit_need[pick]
        order[~have] = len(units)
        return np.asarray(order.argsort(1, kind="stable"))

    def best(self, belief: Floats, fitted: Bools, is_open: Bools) -> tuple[Floats, Ints, Ints]:
        """By chance per price at each belief (B, n), parts fitted (B, P), covers open
        (B, covers): price (B,), the cure sets in order (B, S), and how many of them (B,) to
        fit before giving up. Prices are inf where a part needs a cover shut."""
        m, units, count = self.model, self.units, len(belief)
        picks = np.zeros((count, len(units)), dtype=np.int64)
        keep = np.zeros(count, dtype=np.int64)
        end = np.inf if m.give_up is None else m.give_up
        price = np.full(count, end)
        if self.shut.any():
            return np.full(count, np.inf), picks, keep
        mass = belief @ self.of_unit
        none = belief.sum(1) - mass.sum(1)
        asks = units.astype(float) @ self.need > 0
        by_part, by_cover = units.T * self.part_price[:, None], asks.T * self.cover_price[:, None]
        lacking = units.T.astype(float)
        have, now = fitted, is_open
        spent, alive = np.zeros(count), belief.sum(1)
        who, least = np.arange(count), price.copy()  # of the beliefs still worth going on with
        for k in range(len(units)):
            cost = (~have) @ by_part
            if len(self.bits):  # what is fitted has its covers open
                cost += (~now) @ by_cover
            ratio = np.where(mass > 0, mass / (cost + 1e-9), -1.0)
            pick = ratio.argmax(1)
            at = np.arange(len(pick))
            go = (ratio[at, pick] > 0) & (spent < least)  # later cuts only cost more
            if not go.all():
                if not go.any():
                    break
                who, pick, cost, mass = who[go], pick[go], cost[go], mass[go]
                have, now, spent, least = have[go], now[go], spent[go], least[go]
                alive, none = alive[go], none[go]
                at = at[: len(who)]
            picks[who, k] = pick
            spent = spent + cost[at, pick] * alive
            have = have | units[pick]
            now = now | asks[pick]
            mass[((~have) @ lacking) == 0] = 0.0
            alive = mass.sum(1) + none
            total = spent + np.where(alive > 1e-15, alive * end if end < np.inf else np.inf, 0.0)
            better = total < least
            least = np.where(better, total, least)
            price[who] = least
            keep[who[better]] = k + 1
        return price, picks, keep

    def prices(
        self, orders: NDArray[np.int64], is_open: Bools, want: Bools
    ) -> tuple[Floats, Floats, Ints]:
        """What orders (R, P) cost in F frames with covers (F, C) open and parts (F, n, P) still
        wanted by each fault: (F, R, n) price until cured, (F, R, P + 1) spent after k places,
        (F, R, n) the place after which it is cured. Parts that no fault wants are passed over.
        """
        m = self.model
        count, frames = len(orders), len(want)
        wanted = np.asarray(want.any(1), dtype=bool)
        step = np.where(wanted, self.part_price, 0.0)[:, orders]
        position = np.empty_like(orders)
        np.put_along_axis(position, orders, np.arange(m.P)[None, :], axis=1)
        if len(self.bits) and not self.shut.any():
            asks = self.need & wanted[:, :, None] & ~is_open[:, None, :]
            first = np.where(asks[:, None], position[:, :, None], m.P).min(2, initial=m.P)
            padded = np.zeros((frames, count, m.P + 1))
            padded[:, :, : m.P] = step
            i, r = np.ogrid[:frames, :count]
            for c in range(len(self.bits)):
                padded[i, r, first[:, :, c]] += self.cover_price[c]
            step = padded[:, :, : m.P]
        elif len(self.bits):
            now = np.repeat(is_open[:, None, :], count, axis=1)
            for k in range(m.P):
                p = orders[:, k]
                on = wanted[:, p][:, :, None]
                ask, shut = self.need[p] & on, self.shut[p] & on
                step[:, :, k] += (ask & ~now) @ self.cover_price
                step[:, :, k] += (shut & now) @ self.close_price
                now = (now | ask) & ~shut
        spent = np.zeros((frames, count, m.P + 1))
        np.cumsum(step, 2, out=spent[:, :, 1:])
        last = np.zeros((frames, count, m.n), dtype=np.int64)
        left = want.copy()
        for _ in range(int(want.sum(2).max(initial=0))):  # few parts to a fault
            part = left.argmax(2)
            has = np.take_along_axis(left, part[:, :, None], 2)[:, :, 0]
            at = np.where(has[:, None, :], position[:, part].transpose(1, 0, 2) + 1, 0)
            np.maximum(last, at, out=last)
            np.put_along_axis(left, part[:, :, None], False, 2)
        return np.take_along_axis(spent, last, axis=2), spent, last
